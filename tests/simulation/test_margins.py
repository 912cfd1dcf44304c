"""Margins: positive exactly where a condition holds, and in pascals."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

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
from bandproof.simulation.guards import Guards
from bandproof.simulation.history import Highest
from bandproof.simulation.margins import EQUAL, Sight, exact
from bandproof.simulation.script import Act, Turn
from bandproof.simulation.simulate import simulate
from bandproof.simulation.space import Space

from .samples import arranged, gauge, passage, shipped, vehicle

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


LEAVES: st.SearchStrategy[Condition] = st.sampled_from(
    [
        AtLeast("tank", 350 * KPA, 350 * KPA),
        Below("line", 390 * KPA, 390 * KPA),
        Lower("tank", "line"),
        InState("valve", frozenset({"open"})),
        InPosition("knob", frozenset({"in"})),
        Happened("burst"),
        Truth(value=True),
        AllOf(()),
        AnyOf(()),
    ]
)
TREES = st.recursive(
    LEAVES,
    lambda inner: st.one_of(
        inner.map(Not),
        st.lists(inner, max_size=3).map(lambda items: AllOf(tuple(items))),
        st.lists(inner, max_size=3).map(lambda items: AnyOf(tuple(items))),
    ),
    max_leaves=12,
)


@given(st.lists(TREES, min_size=1, max_size=4), st.integers(0, 1), st.integers(0, 1), st.booleans())
def test_guards_together_have_the_margins_that_each_has_alone(
    conditions: list[Condition], state: int, position: int, burst: bool
) -> None:
    fleet = Fleet(BENCH, [vehicle(BENCH, {"tank": bar, "line": 5.0}) for bar in (4.0, 6.0, 4.5)])
    seen = fleet.sight()
    parts, controls, mishaps = seen.parts + state, seen.controls + position, seen.mishaps | burst
    sight = Sight(seen.times[1:], seen.pressures[:, 1:], parts[:, 1:], controls[:, 1:], mishaps[:, 1:], seen.who[1:])
    together = Guards(BENCH, 3, [(condition, exact) for condition in conditions])(sight)
    alone = [fleet.margin(condition)(sight) for condition in conditions]
    assert together.tolist() == [margin.tolist() for margin in alone]


@pytest.mark.parametrize("name", ["two_knob_tractor.toml", "twins/release_below_stage.toml"])
def test_guards_of_a_shipped_arrangement_together_are_the_guards_alone(name: str) -> None:
    arrangement = shipped(name)
    generator = np.random.default_rng(4)
    fleet = Fleet(arrangement, Space(arrangement, arrangement.starts[0]).draw(generator, 5))
    seen = fleet.sight()
    for _ in range(20):
        pressures = generator.uniform(0.0, float(arrangement.highest), seen.pressures.shape)
        parts = np.array([generator.integers(0, len(part.states), 5) for part in arrangement.parts])
        sight = Sight(seen.times, pressures, parts, seen.controls, seen.mishaps, seen.who)
        alone = [guard(sight).tolist() for guard in fleet.guards()]
        assert fleet.all_guards()(sight).tolist() == alone
