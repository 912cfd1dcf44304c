"""The executable step against the encoded step, state by state, in both directions."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, islice, product

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bandproof.encoding.bits import BitSort
from bandproof.encoding.system import StepRule, pose
from bandproof.machine.layout import Layout
from bandproof.machine.monitor import applies, bad, watch
from bandproof.machine.semantics import (
    at_rest,
    check_step,
    driver_may_act,
    due,
    in_pace,
    is_start,
    may_fall,
    may_rise,
    pending,
    remember,
    settled,
    start_states,
    successors,
)
from bandproof.machine.story import State, Step
from bandproof.properties.claim import Pace
from tests.differential import drawn
from tests.differential.cases import draw_case
from tests.differential.compare import (
    bit_values,
    encoded_successors,
    keeps_form,
    memories_after,
    node_values,
    over_is_final,
)
from tests.oracles.answers import leads_to

SMALL = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
LARGE = settings(SMALL, max_examples=3_000)


def compare_successors(data: st.DataObject) -> None:
    layout, claim = draw_case(data)
    state = data.draw(drawn.states(layout))
    problem = pose(StepRule(layout), claim)
    stepped = {after for _, after in successors(layout, state, claim.pace, claim.mishaps)}
    assert encoded_successors(problem, state, problem.after) - {state} == stepped - {state}
    assert keeps_form(problem, problem.after)


def compare_leaps(data: st.DataObject) -> None:
    """Accelerations lead everywhere steps lead, and nowhere that steps, one after another, do not."""
    layout, claim = draw_case(data, most_volumes=3)
    state = data.draw(drawn.states(layout))
    problem = pose(StepRule(layout), claim)
    leapt = encoded_successors(problem, state, problem.accelerated)
    assert leapt >= {after for _, after in successors(layout, state, claim.pace, claim.mishaps)}
    assert all(leads_to(problem, state, after) for after in leapt)
    assert keeps_form(problem, problem.accelerated)
    assert over_is_final(problem)


def compare_facts(data: st.DataObject) -> None:
    layout, claim = draw_case(data, most_volumes=5)
    layout = replace(layout, imbalances=tuple(data.draw(st.lists(drawn.imbalances(layout), max_size=2))))
    rule, monitor = StepRule(layout), layout.monitor(claim)
    problem = pose(rule, claim)
    c, volumes = rule.circuit, [v.name for v in layout.arrangement.volumes]
    roots = [
        rule.pending,
        rule.final.settled(),
        rule.final.at_rest(),
        *(rule.driver_may_act(pace) for pace in Pace),
        problem.bad,
        problem.applies,
        problem.well_formed,
        *(c.any_of(rule.can_rise[v]) for v in volumes),
        *(c.any_of(rule.can_fall[v]) for v in volumes),
        *(c.any_of(rule.flow.must_rise(v, rank) for rank in range(len(rule.can_rise[v]))) for v in volumes),
        *(c.any_of(rule.flow.must_fall(v, rank) for rank in range(len(rule.can_fall[v]))) for v in volumes),
        *(rule.pace.allows(v, upward=upward) for v in volumes for upward in (True, False)),
    ]
    for state in [data.draw(drawn.states(layout)) for _ in range(10)]:
        seen = watch(layout, monitor, monitor.states[0], state)
        assert c.evaluate(roots, node_values(problem, bit_values(problem, state))) == [
            pending(layout, state),
            settled(layout, state),
            at_rest(layout, state),
            *(driver_may_act(layout, state, pace) for pace in Pace),
            bad(layout, monitor, seen, state),
            applies(layout, monitor, state),
            True,
            *(may_rise(layout, state, v) for v in volumes),
            *(may_fall(layout, state, v) for v in volumes),
            *(due(layout, state, v) is True for v in volumes),
            *(due(layout, state, v) is False for v in volumes),
            *(in_pace(layout, state, v, upward=upward) for v in volumes for upward in (True, False)),
        ]


def compare_starts(data: st.DataObject) -> None:
    layout, claim = draw_case(data, most_volumes=3)
    problem = pose(StepRule(layout), claim)
    starts = set(start_states(layout, layout.arrangement.starts[0]))
    for state in [data.draw(drawn.states(layout)) for _ in range(8)] + sorted(starts, key=repr)[:4]:
        values = node_values(problem, bit_values(problem, state))
        assert is_start(layout, state, layout.arrangement.starts[0]) == (state in starts)
        assert problem.circuit.evaluate([problem.start], values) == [state in starts]


def compare_walks(data: st.DataObject) -> None:
    """The monitor's memory and the bad, along a run of the executable machine."""
    layout, claim = draw_case(data, most_volumes=3)
    problem, monitor = pose(StepRule(layout), claim), layout.monitor(claim)
    monitors = [i for i, bit in enumerate(problem.bits) if bit.sort is BitSort.MONITOR]
    state = data.draw(drawn.states(layout))
    seen = watch(layout, monitor, monitor.states[0], state)
    memory = dict.fromkeys(monitors, False)
    for _ in range(6):
        values = bit_values(problem, state)
        for i, value in memory.items():
            values[i] = value
        (found,) = problem.circuit.evaluate([problem.bad], node_values(problem, values))
        assert found == bad(layout, monitor, seen, state)
        options = [after for _, after in islice(successors(layout, state, claim.pace, claim.mishaps), 40)]
        if not options:
            break
        before, state = state, data.draw(st.sampled_from(options))
        (kept,) = memories_after(problem, values, state)
        memory = dict(zip(monitors, kept, strict=True))
        seen = watch(layout, monitor, seen, state, before)


def compare_with_check_step(data: st.DataObject) -> None:
    """`successors` lists a step exactly where `check_step` accepts one, and both name it alike."""
    layout, claim = draw_case(data, most_volumes=3)
    state = data.draw(drawn.states(layout))
    listed: dict[State, Step] = {after: step for step, after in successors(layout, state, claim.pace, claim.mishaps)}
    for after in [data.draw(drawn.states(layout)) for _ in range(6)] + neighbours(layout, state) + list(listed)[:60]:
        step = check_step(layout, state, after, claim.pace, claim.mishaps)
        if after in listed:
            assert not isinstance(step, str)
            assert step.kind is listed[after].kind
            assert set(step.events) == set(listed[after].events)
        else:
            assert isinstance(step, str)


def neighbours(layout: Layout, state: State) -> list[State]:
    """States that differ from `state` by a threshold or two and parts, and by controls, mishaps and little else."""
    arrangement = layout.arrangement
    bands = [
        [b for b in (band, band - 2, band - 1, band + 1) if 0 <= b <= len(layout.thresholds[v.name])]
        for v, band in zip(arrangement.volumes, state.bands, strict=True)
    ]
    parts = [
        (now, *(s for s in part.states if s != now)) for part, now in zip(arrangement.parts, state.parts, strict=True)
    ]
    turned = list(product(*(c.positions for c in arrangement.controls)))
    struck = [frozenset(x) for n in range(3) for x in combinations([m.name for m in arrangement.mishaps], n)]
    flows = (State(b, p, state.controls, state.mishaps) for b, p in product(product(*bands), product(*parts)))
    acts = (
        State(b, p, c, m)
        for b, p, c, m in product(
            [state.bands, *islice(product(*bands), 1, 3)], islice(product(*parts), 2), turned, struck
        )
    )
    return [remember(layout, state, after) for after in (*islice(flows, 60), *islice(acts, 80))]


@pytest.mark.slow
@given(st.data())
@SMALL
def test_both_steps_lead_to_the_same_states(data: st.DataObject) -> None:
    compare_successors(data)


@pytest.mark.slow
@given(st.data())
@SMALL
def test_leaps_are_runs_of_steps(data: st.DataObject) -> None:
    compare_leaps(data)


@pytest.mark.slow
@given(st.data())
@SMALL
def test_both_agree_on_every_single_state_fact(data: st.DataObject) -> None:
    compare_facts(data)


@pytest.mark.slow
@given(st.data())
@SMALL
def test_both_agree_on_the_start(data: st.DataObject) -> None:
    compare_starts(data)


@pytest.mark.slow
@given(st.data())
@SMALL
def test_both_agree_on_hits_along_a_run(data: st.DataObject) -> None:
    compare_walks(data)


@pytest.mark.slow
@given(st.data())
@SMALL
def test_listing_steps_and_checking_one_agree(data: st.DataObject) -> None:
    compare_with_check_step(data)


@pytest.mark.long
@given(st.data())
@LARGE
def test_both_steps_lead_to_the_same_states_large(data: st.DataObject) -> None:
    compare_successors(data)


@pytest.mark.long
@given(st.data())
@LARGE
def test_leaps_are_runs_of_steps_large(data: st.DataObject) -> None:
    compare_leaps(data)


@pytest.mark.long
@given(st.data())
@LARGE
def test_both_agree_on_every_single_state_fact_large(data: st.DataObject) -> None:
    compare_facts(data)


@pytest.mark.long
@given(st.data())
@LARGE
def test_both_agree_on_the_start_large(data: st.DataObject) -> None:
    compare_starts(data)


@pytest.mark.long
@given(st.data())
@LARGE
def test_both_agree_on_hits_along_a_run_large(data: st.DataObject) -> None:
    compare_walks(data)


@pytest.mark.long
@given(st.data())
@LARGE
def test_listing_steps_and_checking_one_agree_large(data: st.DataObject) -> None:
    compare_with_check_step(data)
