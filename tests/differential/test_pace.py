"""Pace counters in both meanings: the cases drawn have them, they bind, and the two statements agree about them."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from bandproof.encoding.circuit import negate
from bandproof.encoding.clauses import Numbered
from bandproof.encoding.system import StepRule, pose
from bandproof.machine.layout import Layout
from bandproof.machine.semantics import awaited, check_step, in_pace, may_fall, may_rise, pending, successors
from bandproof.machine.story import Count, State
from bandproof.properties.claim import Property
from bandproof.solvers.sat import Sat
from tests.differential import drawn
from tests.differential.cases import draw_paced
from tests.differential.compare import encoded_successors, keeps_form
from tests.differential.test_engines import agree_with_enumeration
from tests.differential.test_step import neighbours

SEED = 20_261_125
#: Not made smaller when it fails: that takes minutes, and what fails is told state by state as it is.
SMALL = settings(
    max_examples=40,
    deadline=None,
    database=None,
    suppress_health_check=list(HealthCheck),
    phases=(Phase.explicit, Phase.generate),
)
LARGE = settings(SMALL, max_examples=2_000)


def compare_paced_steps(data: st.DataObject) -> Counter[str]:
    """Successors of states with memory, in both directions; and what `check_step` says of their neighbours."""
    layout, claim = draw_paced(data)
    problem = pose(StepRule(layout), claim)
    assert keeps_form(problem, problem.after)
    assert problem.accelerated == problem.after or not layout.timing_constraints
    found = Counter(drawn=1, watched=bool(layout.timing_constraints))
    for state in [data.draw(drawn.states(layout)) for _ in range(4)]:
        stepped = {after for _, after in successors(layout, state, claim.pace, claim.mishaps)}
        assert encoded_successors(problem, state, problem.after) - {state} == stepped - {state}
        check_neighbours(layout, claim, state, stepped)
        found["states"] += 1
        found["due"] += any(awaited(layout, state, watch.pending) is not None for watch in layout.timing_constraints)
        found["binding"] += binds(layout, state)
        found["counting"] += any(counts.count for after in stepped for counts in after.counts)
        found["forgetting"] += any(
            before != Count() == counts
            for after in stepped
            for before, counts in zip(state.counts, after.counts, strict=True)
        )
    return found


def counts_nothing_at_a_start(data: st.DataObject) -> bool:
    """No state of a start has counted or remembers a crossing, whatever else is true of it; whether there is a counter."""
    layout, claim = draw_paced(data)
    rule = StepRule(layout)
    problem = pose(rule, claim)
    counted = [literal for c in rule.encoding.counted for literal in (*c.bands, negate(c.none))]
    numbered = Numbered(problem.circuit, [problem.start, *counted])
    sat = Sat([*numbered.clauses, [numbered.signed(problem.start)]])
    assert not any(sat.holds([numbered.signed(literal)]) for literal in counted)
    sat.close()
    return bool(counted)


def check_neighbours(layout: Layout, claim: Property, state: State, stepped: set[State]) -> None:
    """`check_step` accepts exactly the successors, and none of them with another memory."""
    for after in neighbours(layout, state)[:40]:
        accepted = not isinstance(check_step(layout, state, after, claim.pace, claim.mishaps), str)
        assert accepted == (after in stepped)
    for after in sorted(stepped, key=repr)[:4]:
        for other in sorted({Count(), Count(1, last=True)} - {after.counts[0]}, key=repr) if after.counts else ():
            forged = replace(after, counts=(other, *after.counts[1:]))
            assert isinstance(check_step(layout, state, forged, claim.pace, claim.mishaps), str)


def binds(layout: Layout, state: State) -> bool:
    """Some volume could cross a threshold if it were not for the pace."""
    return not pending(layout, state) and any(
        rule(layout, state, volume.name) and not in_pace(layout, state, volume.name, upward=upward)
        for volume in layout.arrangement.volumes
        for upward, rule in ((True, may_rise), (False, may_fall))
    )


def test_nothing_is_counted_at_a_start() -> None:
    counters = []

    @seed(SEED)
    @given(st.data())
    @settings(SMALL, max_examples=12)
    def draw(data: st.DataObject) -> None:
        counters.append(counts_nothing_at_a_start(data))

    draw()
    assert any(counters)


@pytest.mark.slow
def test_both_meanings_keep_the_same_pace() -> None:
    """A good share of what is drawn has timing_constraints, and in a good share of the states they stand in the way."""
    found: Counter[str] = Counter()

    @seed(SEED)
    @given(st.data())
    @SMALL
    def compare(data: st.DataObject) -> None:
        found.update(compare_paced_steps(data))

    compare()
    assert found["watched"] >= found["drawn"] / 3, found
    assert found["due"] >= found["states"] / 6, found
    assert min(found["binding"], found["counting"], found["forgetting"]) >= 8, found


@pytest.mark.long
@given(st.data())
@LARGE
def test_both_meanings_keep_the_same_pace_large(data: st.DataObject) -> None:
    compare_paced_steps(data)


@pytest.mark.slow
@given(st.data())
@settings(SMALL, max_examples=20)
def test_engines_agree_with_enumeration_at_pace(data: st.DataObject) -> None:
    agree_with_enumeration(*draw_paced(data))


@pytest.mark.long
@given(st.data())
@LARGE
def test_engines_agree_with_enumeration_at_pace_large(data: st.DataObject) -> None:
    agree_with_enumeration(*draw_paced(data))
