"""What hunts, holds and is pumped, in both meanings: it is drawn, it matters, and the two statements agree about it."""

from __future__ import annotations

from collections import Counter
from itertools import islice

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from bandproof.encoding.bits import BitSort
from bandproof.encoding.system import Problem, StepRule, pose
from bandproof.machine.layout import Layout
from bandproof.machine.monitor import bad, watch
from bandproof.machine.semantics import (
    Reading,
    among_lines,
    at_rest,
    check_step,
    excused,
    in_window,
    may_fall,
    may_rise,
    pending,
    settled,
    successors,
    to_and_fro,
)
from bandproof.machine.story import State
from bandproof.model.arrangement import VolumeKind
from bandproof.properties.claim import Property
from tests import strategies
from tests.differential import drawn
from tests.differential.cases import draw_restless
from tests.differential.compare import bit_values, encoded_successors, keeps_form, memories_after, node_values
from tests.differential.test_engines import agree_with_enumeration
from tests.physics.regimes import REGIMES, Regime

SEED = 20_261_126
SMALL = settings(
    max_examples=10,
    deadline=None,
    database=None,
    suppress_health_check=list(HealthCheck),
    phases=(Phase.explicit, Phase.generate),
)
LARGE = settings(SMALL, max_examples=2_000)
#: More successors than these are not asked of the solver one by one.
MANY = 300


def compare(data: st.DataObject, found: Counter[str], regime: Regime | None = None) -> None:
    """Facts, steps and the monitor's memory, of some states."""
    layout, claim = draw_restless(data, regime)
    rule = StepRule(layout)
    problem = pose(rule, claim)
    count_arrangement(layout, problem, found)
    for number in range(4):
        state = data.draw(drawn.states(layout))
        state = data.draw(strategies.windowed(layout, state, problem.windows))
        compare_facts(rule, problem, state, found)
        if number < 2:
            compare_steps(problem, claim, state, data, found)


def count_arrangement(layout: Layout, problem: Problem, found: Counter[str]) -> None:
    """What is drawn, so that a feature that is no longer drawn is missed."""
    arrangement, motion = layout.arrangement, layout.motion
    lines = {v.name for v in arrangement.volumes if v.kind is VolumeKind.LINE}
    chained = [p for part in arrangement.parts for p in part.passages if {p.upstream, p.downstream} <= lines]
    monitor = layout.monitor(problem.claim)
    found["drawn"] += 1
    found["hunts"] += bool(motion.hunting.circles)
    found["watched hunting"] += any(len(late) > 1 for _, late in motion.hunting.excuses)
    found["restless"] += bool(motion.tanks_held)
    found["several restless"] += len(motion.tanks_held) > 1
    found["windows"] += bool(problem.windows)
    found["chain of lines"] += len(chained) > 1
    found["undeclared litres"] += any(v.litres is None for v in arrangement.volumes)
    found["starts at the highest"] += any(p.low == arrangement.highest for _, p in arrangement.starts[0].pressures)
    found["fading monitor"] += monitor.fades


def compare_facts(rule: StepRule, problem: Problem, state: State, found: Counter[str]) -> None:
    layout, c = rule.layout, rule.circuit
    parts = [p.name for p in layout.arrangement.parts]
    volumes = [v.name for v in layout.arrangement.volumes]
    stores = [v.name for v in layout.arrangement.volumes if v.kind is not VolumeKind.LINE]
    crossings = [
        (volume, rank, upward)
        for volume, band in zip(volumes, state.bands, strict=True)
        for rank, upward in ((band, True), (band - 1, False))
        if 0 <= rank < len(layout.thresholds[volume])
    ]
    roots = [
        rule.pending,
        rule.final.settled(),
        rule.final.at_rest(),
        rule.final.to_and_fro(tanks_held=True),
        rule.final.to_and_fro(tanks_held=False),
        *(rule.encoding.excused(part) for part in parts),
        *(rule.flow.among_lines(store) for store in stores),
        *(rule.windows.allows(problem.windows, volume, rank) for volume, rank, _ in crossings),
    ]
    reading = Reading(layout, state)
    late = excused(reading)
    said = [
        pending(layout, state),
        settled(layout, state),
        at_rest(layout, state),
        to_and_fro(layout, state, tanks_held=True),
        to_and_fro(layout, state, tanks_held=False),
        *(part in late for part in parts),
        *(among_lines(reading, store) for store in stores),
        *(in_window(layout, state, problem.windows, volume, upward=upward) for volume, _, upward in crossings),
    ]
    assert c.evaluate(roots, node_values(problem, bit_values(problem, state))) == said
    found["states"] += 1
    found["excused"] += bool(late)
    found["settled in a to and fro"] += said[1] and said[3]
    found["not settled in a to and fro"] += said[3] and not said[1] and not said[0]
    found["at rest in a to and fro"] += said[2] and said[4]
    found["held back by a window"] += any(
        not near and (may_rise if upward else may_fall)(layout, state, volume)
        for (volume, _, upward), near in zip(crossings, said[-len(crossings) :] if crossings else [], strict=True)
    )


def compare_steps(problem: Problem, claim: Property, state: State, data: st.DataObject, found: Counter[str]) -> None:
    """Successors in both directions, checked one by one too; then one of them with what the monitor remembers."""
    layout, windows, monitor = problem.layout, problem.windows, problem.layout.monitor(claim)
    stepped = {after for _, after in islice(successors(layout, state, claim.pace, claim.mishaps, windows), MANY + 1)}
    if not stepped or len(stepped) > MANY:
        return
    encoded = encoded_successors(problem, state, problem.after)
    assert (encoded - stepped - {state}, stepped - encoded - {state}) == (set(), set()), state
    assert keeps_form(problem, problem.after)
    ordered = sorted(stepped, key=repr)
    for after in ordered[:6]:
        assert not isinstance(check_step(layout, state, after, claim.pace, claim.mishaps, windows=windows), str)
    values = bit_values(problem, state)
    places = [i for i, bit in enumerate(problem.bits) if bit.sort is BitSort.MONITOR]
    seen = data.draw(st.sampled_from(monitor.states))
    for i in places:
        values[i] = problem.bits[i].subject == seen
    now = watch(layout, monitor, seen, state)
    assert problem.circuit.evaluate([problem.bad], node_values(problem, values)) == [bad(layout, monitor, now, state)]
    for after in data.draw(st.lists(st.sampled_from(ordered), min_size=1, max_size=3)):
        (kept,) = memories_after(problem, values, after)
        named = [str(problem.bits[i].subject) for i, held in zip(places, kept, strict=True) if held]
        before = named[0] if named else monitor.states[0]
        assert len(named) <= 1
        assert watch(layout, monitor, now, after, state) == watch(layout, monitor, before, after)
        found["remembered"] += monitor.fades and bool(named)
        found["faded"] += monitor.fades and now != monitor.states[0] and not named
        found["windows crossed"] += any(after.crossed)


def compare_some(number: int, found: Counter[str], regime: Regime) -> None:
    """Compare cases of one regime, drawn from the seed `number`; more of those in which windows come up."""

    @seed(number)
    @given(st.data())
    @settings(SMALL, max_examples=40 if regime.observed == "by lines alone" else 10)
    def draw(data: st.DataObject) -> None:
        compare(data, found, regime)

    draw()


@pytest.mark.thorough
@pytest.mark.slow
def test_both_meanings_agree_on_what_hunts_holds_and_is_pumped() -> None:
    """As much is drawn of each regime. A good share of what is drawn has each feature, and of the states show it."""
    found: Counter[str] = Counter()

    for number, regime in enumerate(REGIMES):
        compare_some(SEED + number, found, regime)
    for feature in ("hunts", "restless", "windows", "chain of lines", "undeclared litres", "fading monitor"):
        assert found[feature] >= found["drawn"] / 20, (feature, found)
    for feature in ("watched hunting", "several restless", "starts at the highest"):
        assert found[feature] >= found["drawn"] / 40, (feature, found)
    for feature in ("excused", "settled in a to and fro", "not settled in a to and fro", "at rest in a to and fro"):
        assert found[feature] >= found["states"] / 60, (feature, found)
    for feature in ("held back by a window", "windows crossed", "remembered", "faded"):
        assert found[feature] >= 1, (feature, found)


@pytest.mark.long
@given(st.data())
@LARGE
def test_both_meanings_agree_on_what_hunts_holds_and_is_pumped_large(data: st.DataObject) -> None:
    compare(data, Counter())


@pytest.mark.slow
@given(st.data())
@settings(SMALL, max_examples=15)
def test_engines_agree_with_enumeration_about_what_hunts_holds_and_is_pumped(data: st.DataObject) -> None:
    agree_with_enumeration(*draw_restless(data))


@pytest.mark.long
@given(st.data())
@LARGE
def test_engines_agree_with_enumeration_about_what_hunts_holds_and_is_pumped_large(data: st.DataObject) -> None:
    agree_with_enumeration(*draw_restless(data))
