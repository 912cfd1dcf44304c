"""Margins: positive exactly where a condition holds, and in pascals."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from bandproof.model.arrangement import ATMOSPHERE, Control, Mishap, Part, VolumeKind
from bandproof.model.conditions import (
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Condition,
    Happened,
    InPosition,
    InState,
    Lower,
    Not,
    Truth,
)
from bandproof.simulation.fleet import Fleet
from bandproof.simulation.history import Highest
from bandproof.simulation.margins import EQUAL, Sight
from bandproof.simulation.script import Act, Turn
from bandproof.simulation.simulate import simulate

from .samples import arranged, gauge, passage, vehicle

KPA = Fraction(1000)
VALVE = Part("valve", "valve", ("shut", "open"))
BENCH = arranged(
    [VALVE],
    [("tank", VolumeKind.TANK), ("line", VolumeKind.LINE)],
    [Control("knob", ("out", "in"))],
    [Mishap("burst")],
)


def margins(condition: Condition, *, state: int = 0, position: int = 0, burst: bool = False) -> list[float]:
    """For tanks at 300 and at 500 kPa, the line at 400 kPa."""
    made = [vehicle(BENCH, {"tank": bar, "line": 5.0}) for bar in (4.0, 6.0)]
    fleet = Fleet(BENCH, made)
    seen = fleet.sight()
    sight = Sight(
        seen.times, seen.pressures, seen.parts + state, seen.controls + position, seen.mishaps | burst, seen.who
    )
    found: list[float] = fleet.margin(condition)(sight).tolist()
    return found


def test_a_comparison_has_its_distance_to_the_threshold() -> None:
    assert margins(AtLeast("tank", 350 * KPA, 350 * KPA)) == pytest.approx([-50_000, 150_000], abs=2 * EQUAL)
    assert margins(Below("tank", 350 * KPA, 350 * KPA)) == pytest.approx([50_000, -150_000], abs=2 * EQUAL)
    assert margins(Lower("tank", "line")) == pytest.approx([100_000, -100_000], abs=2 * EQUAL)


def test_equality_counts_as_at_least() -> None:
    at, below = AtLeast("line", 400 * KPA, 400 * KPA), Below("line", 400 * KPA, 400 * KPA)
    assert all(margin > 0 for margin in margins(at))
    assert all(margin < 0 for margin in margins(below))


def test_states_positions_and_mishaps_are_all_or_nothing() -> None:
    inf = float("inf")
    assert margins(InState("valve", frozenset({"open"}))) == [-inf, -inf]
    assert margins(InState("valve", frozenset({"open"})), state=1) == [inf, inf]
    assert margins(InPosition("knob", frozenset({"in"})), position=1) == [inf, inf]
    assert margins(Happened("burst")) == [-inf, -inf]
    assert margins(Happened("burst"), burst=True) == [inf, inf]
    assert margins(Truth(value=True)) == [inf, inf]


def test_not_and_or_compose_by_sign_least_and_greatest() -> None:
    one, two = AtLeast("tank", 350 * KPA, 350 * KPA), Below("line", 390 * KPA, 390 * KPA)
    assert margins(Not(one)) == [-margin for margin in margins(one)]
    assert margins(AllOf((one, two))) == pytest.approx([-50_000, -10_000], abs=2 * EQUAL)
    assert margins(AnyOf((one, two))) == pytest.approx([-10_000, 150_000], abs=2 * EQUAL)
    assert margins(AllOf(())) == [float("inf")] * 2
    assert margins(AnyOf(())) == [-float("inf")] * 2


def test_a_claim_compares_with_exact_pressures_only() -> None:
    with pytest.raises(ValueError, match="toleranced"):
        margins(AtLeast("tank", 300 * KPA, 350 * KPA))


def test_a_claim_is_broken_by_the_greatest_margin_on_the_way() -> None:
    """Never below 4 bar abs while the knob is in: it is pulled in at 0.5 s, out at 1 s, and counts between only."""
    vent = Part("vent", "pipe", ("open",), (passage("tank", ATMOSPHERE),))
    bench = arranged([vent], controls=[Control("knob", ("out", "in"))])
    bad = AllOf((Below("tank", gauge("4"), gauge("4")), InPosition("knob", frozenset({"in"}))))
    watching: list[Highest] = []

    def observers(fleet: Fleet) -> list[Highest]:
        watching.append(Highest(fleet, bad))
        return watching[-1:]

    script = (Act(Turn("knob", "in"), 0.5), Act(Turn("knob", "out"), 1.0))
    made = [vehicle(bench, {"tank": bar}) for bar in (6.0, 7.0, 8.0)]
    histories = simulate(bench, made, script, until=3.0, observers=observers, keep=False)
    # Choked exhaust, derived from ISO 6358: p = p_i exp(-t / tau), tau = 2 s.
    assert watching[0].margins.tolist() == pytest.approx(
        [4e5 - p * 1e5 * np.exp(-0.5) for p in (6.0, 7.0, 8.0)], rel=1e-3
    )
    assert watching[0].times.tolist() == pytest.approx([1.0] * 3)
    assert all(not history.times.size for history in histories)
