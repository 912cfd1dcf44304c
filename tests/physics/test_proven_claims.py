"""The hunt for a claim that is proven and that a simulated vehicle breaks.

Claims are drawn with the arrangement, decided by the tool, and what is proven is run on simulated vehicles under the
driver and the mishaps that the claim allows. Bands and parts are read off the simulated run; no step is asked for.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from bandproof.encoding.system import StepRule
from bandproof.engines.run import decide
from bandproof.findings.finding import Verdict
from bandproof.machine.layout import Layout, lay_out
from bandproof.machine.monitor import first_bad
from bandproof.machine.story import State
from bandproof.model.conditions import ALWAYS_TRUE, AllOf, AnyOf, AtLeast, Below, Condition, InState
from bandproof.properties.claim import Pace, Property, Shape

from .bandrun import apply
from .random_cases import KPA, Case, cases, numbers_of
from .regimes import REGIMES
from .simulator import simulate
from .trajectory import Deed, Numbers, Trajectory

SEED = 20_261_201
#: Vehicles on which each proven claim is run.
VEHICLES = 3


@st.composite
def leaves(draw: st.DrawFn, case: Case) -> Condition:
    """A pressure or the state of a part."""
    arrangement = case.arrangement
    if draw(st.integers(0, 4)) == 0:
        part = draw(st.sampled_from(arrangement.parts))
        return InState(part.name, frozenset({draw(st.sampled_from(part.states))}))
    mark = Fraction(draw(st.integers(1, 19)) * 50 * KPA)
    volume = draw(st.sampled_from([v.name for v in arrangement.volumes]))
    return Below(volume, mark, mark) if draw(st.booleans()) else AtLeast(volume, mark, mark)


@st.composite
def claims(draw: st.DrawFn, case: Case) -> Property:
    """A claim about a case's arrangement, from its start."""
    leaf = leaves(case)
    mishaps = frozenset(m.name for m in case.arrangement.mishaps if draw(st.booleans()))
    pace = draw(st.sampled_from([Pace.ANY_TIME, Pace.HANDS_OFF]))
    shape = draw(st.sampled_from([Shape.NEVER, Shape.ALWAYS, Shape.HOLDS]))
    until = draw(st.one_of(st.none(), leaf)) if shape is Shape.HOLDS else None
    several = st.lists(leaf, min_size=2, max_size=4).map(tuple)
    when = AllOf(draw(several)) if shape is Shape.NEVER else draw(leaf)
    then = AnyOf(draw(several))
    return Property("drawn", "", "", shape, "begin", when, then, until, pace, mishaps)


def allowed(script: tuple[Deed, ...], claim: Property) -> tuple[Deed, ...]:
    """The deeds that the claim allows."""
    return tuple(
        deed
        for deed in script
        if (deed.name in claim.mishaps if deed.position is None else claim.pace is Pace.ANY_TIME)
    )


def states_of(layout: Layout, run: Trajectory) -> list[State]:
    """Where a run has been, read off its happenings."""
    states = [run.first]
    for happening in run.happenings:
        states.append(apply(layout, states[-1], happening.events))
    return states


def hunt(data: st.DataObject, counts: Counter[str]) -> None:
    """One pair of an arrangement and a claim."""
    drawn: st.SearchStrategy[Case] = data.draw(st.sampled_from([cases(), *(regime.cases for regime in REGIMES)]))
    case = data.draw(drawn)
    claim = data.draw(claims(case))
    arrangement = replace(case.arrangement, starts=(case.start(),))
    layout = lay_out(arrangement, (claim.when, claim.then, claim.until or ALWAYS_TRUE))
    decision = decide(StepRule(layout), claim, real=False)
    counts["pairs"] += 1
    counts[decision.verdict.value] += 1
    if decision.verdict is not Verdict.PROVEN:
        return
    vehicles: list[Numbers] = [case.numbers]
    for _ in range(VEHICLES - 1):
        other = data.draw(numbers_of(arrangement))
        vehicles.append(replace(other, switching=case.numbers.switching, own=case.numbers.own))
    for numbers in vehicles:
        script = allowed(case.script, claim)
        run = simulate(layout, numbers, case.begin, script, until=min(case.until, 10.0), limit=100)
        counts["vehicles"] += 1
        counts["steps"] += len(run.happenings)
        counts["vehicles in which much happens"] += len(run.happenings) >= 5
        assert first_bad(layout, claim, states_of(layout, run)) is None, f"{claim}\n{case}\n{numbers}"


def hunt_batch(number: int, size: int, report: Callable[[str, object], None]) -> Counter[str]:
    """Hunt among `size` pairs drawn from a seed."""
    counts: Counter[str] = Counter()

    @seed(SEED + number)
    @settings(
        max_examples=size,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
        phases=(Phase.generate,),
    )
    @given(st.data())
    def no_vehicle_breaks_what_is_proven(data: st.DataObject) -> None:
        hunt(data, counts)

    try:
        no_vehicle_breaks_what_is_proven()
    finally:
        told = ", ".join(f"{count} {name}" for name, count in sorted(counts.items()))
        report("trajectories", f"seed {SEED + number}: {told}")
    return counts


@pytest.mark.thorough
@pytest.mark.slow
def test_no_vehicle_breaks_what_is_proven(record_property: Callable[[str, object], None]) -> None:
    counts = hunt_batch(0, 30, record_property)
    assert counts["proven"] >= 5
    assert counts["vehicles in which much happens"] >= 5


@pytest.mark.long
@pytest.mark.parametrize("number", range(1, 21))
def test_no_vehicle_breaks_what_is_proven_in_2000_pairs(
    number: int, record_property: Callable[[str, object], None]
) -> None:
    assert hunt_batch(number, 100, record_property)["proven"] >= 15
