"""The longest time to a threshold that is due, and the shortest time for a whole band: numbers worked by hand.

Surroundings at 1 bar absolute, a source at 10, b = 1/2: choked, a passage carries C times the upstream absolute pressure in
bar, as long as that is at least twice the other one. V litres with the net flow q dm3/s take V x bars / q seconds.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from bandproof.encoding.bits import BitSort
from bandproof.encoding.system import StepRule
from bandproof.machine import pace
from bandproof.machine.layout import Layout
from bandproof.machine.pace import TimingConstraint, sigma, tau, timing_constraints
from bandproof.machine.semantics import check_step, due, in_pace, is_start, remember
from bandproof.machine.story import Count, State, Step
from bandproof.model.arrangement import (
    ATMOSPHERE,
    SOURCE,
    Arrangement,
    Part,
    Passage,
    Range,
    Size,
    Start,
    Volume,
    VolumeKind,
)
from bandproof.properties.claim import Pace

BAR = Fraction(100_000)
OPEN = frozenset({"open"})


def span(low: str, high: str = "") -> Range:
    return Range(Fraction(low), Fraction(high or low))


def way_of(upstream: str, downstream: str, c: str, high: str = "", *, open_in: frozenset[str] = OPEN) -> Passage:
    return Passage(upstream, downstream, True, open_in, Size(span(c, high), span("1/2")))


def marks(*bars: int) -> tuple[Fraction, ...]:
    return tuple(bar * BAR for bar in bars)


def built(litres: dict[str, Range | None], *passages: Passage, one_valve: bool = False) -> Arrangement:
    """Volumes, and for each passage a valve that is open or shut; or one valve for all."""
    volumes = tuple(Volume(name, VolumeKind.LINE, size) for name, size in litres.items())
    valves = [passages] if one_valve else [(passage,) for passage in passages]
    parts = tuple(Part(f"valve{i}", "valve", ("open", "shut"), ways) for i, ways in enumerate(valves))
    return Arrangement("by hand", "bar", BAR, 9 * BAR, volumes, parts, starts=(Start("start"),))


def test_a_vented_volume_takes_longest_where_it_is_driven_least() -> None:
    """Down to 1 bar, at 2 absolute and C = 5: 10 dm3/s, so 4 x (9 - 1) / 10 s; from 3 to 1 bar a quarter of that."""
    vented = built({"u": span("1/2", "4")}, way_of("u", ATMOSPHERE, "5", "6"))
    assert sigma(vented, {"u": marks(1)}, "u") == Fraction(32, 10)
    # Down to 3 bar: 4 x 6 / 20 = 1.2 s; from 3 to 1: 4 x 2 / 10 = 0.8 s.
    assert sigma(vented, {"u": marks(1, 3)}, "u") == Fraction(12, 10)


def test_a_fed_volume_takes_longest_where_it_is_driven_least() -> None:
    """Up to 4 bar, 5 absolute, C = 2 from 10 is still choked: 20 dm3/s, so 3 x 4 / 20 s."""
    fed = built({"u": span("3")}, way_of(SOURCE, "u", "2"))
    assert sigma(fed, {"u": marks(4)}, "u") == Fraction(12, 20)
    # At 8 bar, 9 absolute: 2 x 10 x sqrt(1 - (0.4 / 0.5)^2) = 12 dm3/s, so from 4 to 8 bar 3 x 4 / 12 = 1 s.
    assert sigma(fed, {"u": marks(4, 8)}, "u") == 1


def test_every_combination_of_open_passages_counts() -> None:
    """A feed of 20 against a vent of 5 x 3 = 15 at 2 bar leaves 5, so 3 x 2 / 5 s; down, the vent alone takes 3 x 7 / 15."""
    ways = way_of(SOURCE, "u", "2"), way_of("u", ATMOSPHERE, "5")
    assert sigma(built({"u": span("3")}, *ways), {"u": marks(2)}, "u") == max(Fraction(6, 5), Fraction(21, 15))
    # Both open at once, or both shut: only the sum is there.
    assert sigma(built({"u": span("3")}, *ways, one_valve=True), {"u": marks(2)}, "u") == Fraction(6, 5)


def test_one_valve_is_not_in_two_states_at_once() -> None:
    """Filled by 20 in one state, emptied by 15 and more in the other: 3 x 2 / 20 s up, 3 x 7 / 15 s down."""
    ways = way_of(SOURCE, "u", "2"), way_of("u", ATMOSPHERE, "5", open_in=frozenset({"shut"}))
    assert sigma(built({"u": span("3")}, *ways, one_valve=True), {"u": marks(2)}, "u") == Fraction(21, 15)
    assert sigma(built({"u": span("3")}, *ways), {"u": marks(2)}, "u") == Fraction(21, 15)
    # From 2 to 4 bar the feed brings 20 at most, and the vent takes 5 x 5 at most.
    assert tau(built({"u": span("3")}, *ways, one_valve=True), {"u": marks(2, 4)}, "u") == Fraction(6, 25)


def test_a_neighbour_counts_in_each_of_its_bands() -> None:
    """From v in its last band, 6 bar and up, C = 1 brings at least 7 as long as u is below 2.5 bar."""
    filled = built({"u": span("1"), "v": None}, way_of("v", "u", "1"))
    assert sigma(filled, {"u": marks(2), "v": marks(2, 6)}, "u") == Fraction(2, 7)
    # In the band from 3 to 6 bar it is 4 absolute against 3: 4 x sqrt(1 - (0.25 / 0.5)^2) = 3.46, which takes longer.
    slower = sigma(filled, {"u": marks(2), "v": marks(3, 6)}, "u")
    assert slower is not None
    assert Fraction(2 * 1000, 3465) < slower < Fraction(2 * 1000, 3464)


def test_a_volume_that_nothing_drives_for_sure_is_never_due() -> None:
    assert sigma(built({"u": span("1")}), {"u": marks(2)}, "u") is None
    # Just above 0 bar nothing is sure to flow out, and there is no threshold below; no threshold, no crossing.
    assert sigma(built({"u": span("1")}, way_of("u", ATMOSPHERE, "5")), {"u": ()}, "u") is None
    # A vent that may have no size at all.
    assert sigma(built({"u": span("1")}, way_of("u", ATMOSPHERE, "0", "5")), {"u": marks(2)}, "u") is None


def test_what_is_not_declared_has_no_bound() -> None:
    unsized = Passage("u", ATMOSPHERE, True, frozenset({"shut"}))
    for arrangement in (
        built({"u": None}, way_of("u", ATMOSPHERE, "5")),
        built({"u": span("1")}, way_of("u", ATMOSPHERE, "5"), unsized),
    ):
        assert sigma(arrangement, {"u": marks(2, 4)}, "u") is None
        assert tau(arrangement, {"u": marks(2, 4)}, "u") is None


def test_too_many_combinations_have_no_bound(monkeypatch: pytest.MonkeyPatch) -> None:
    many = built({"u": span("1")}, *(way_of("u", ATMOSPHERE, c) for c in ("1", "2", "4")))
    assert sigma(many, {"u": marks(1)}, "u") == Fraction(8, 2)
    monkeypatch.setattr(pace, "CONFIGURATIONS", 8)
    assert sigma(many, {"u": marks(1)}, "u") == Fraction(8, 2)
    monkeypatch.setattr(pace, "CONFIGURATIONS", 7)
    assert sigma(many, {"u": marks(1)}, "u") is None
    joined = built({"u": span("1"), "v": None}, way_of("v", "u", "1"), one_valve=True)
    assert sigma(joined, {"u": marks(2), "v": marks(4, 5, 6, 7, 8)}, "u") is not None
    monkeypatch.setattr(pace, "CONFIGURATIONS", 3)
    assert sigma(joined, {"u": marks(2), "v": marks(4, 5, 6, 7, 8)}, "u") is None


def test_a_whole_band_takes_the_smaller_volume_and_the_most_air_that_can_go_one_way() -> None:
    """Both feeds bring 20 + 10, and the vent takes 6 x 5 = 30 at 4 bar, 5 absolute: in 2 to 4 bar 3 x 2 / 30 s."""
    rushed = built(
        {"v": span("3", "9")}, way_of(SOURCE, "v", "2"), way_of(SOURCE, "v", "1/2", "1"), way_of("v", ATMOSPHERE, "6")
    )
    assert tau(rushed, {"v": marks(2, 4)}, "v") == Fraction(6, 30)
    # All behind one valve, what goes out counts against what comes in: 30 - 18 at 2 bar, and at 4 bar 30 - 25 out.
    together = built({"v": span("3", "9")}, *(p for part in rushed.parts for p in part.passages), one_valve=True)
    assert tau(together, {"v": marks(2, 4)}, "v") == Fraction(6, 12)
    # At 6 bar, 7 absolute, the vent takes 42: from 4 to 6 bar 6 / 42 s.
    assert tau(rushed, {"v": marks(2, 4, 6)}, "v") == Fraction(6, 42)
    # The outer bands have no threshold at one end: nothing is known of how far inside them a crossing begins.
    assert tau(rushed, {"v": marks(2)}, "v") is None
    assert tau(built({"v": span("3")}), {"v": marks(2, 4)}, "v") is None


def test_the_other_end_of_a_passage_can_be_anywhere() -> None:
    """From a tank at 9 bar, 10 absolute, C = 1 brings 10, whatever thresholds the tank carries."""
    filled = built({"v": span("5"), "tank": None}, way_of("tank", "v", "1"))
    assert tau(filled, {"v": marks(2, 4), "tank": marks(3)}, "v") == 1


def raced(feed: str) -> Arrangement:
    """A line `u` that empties in 0.4 s, and a volume `v` that fills."""
    return built(
        {"u": span("1/2"), "v": span("50")}, way_of("u", ATMOSPHERE, "5"), way_of(SOURCE, "v", feed), one_valve=True
    )


@pytest.mark.parametrize(
    ("feed", "allowances"), [("12", [0]), ("12.5", [1]), ("24.9", [1]), ("25", [2]), ("37.4", [2]), ("37.5", [])]
)
def test_the_allowance_is_how_often_the_one_time_goes_into_the_other(feed: str, allowances: list[int]) -> None:
    """0.5 x 8 / 10 = 0.4 s against 50 x 1 / (10 C) s, for three whole bands: an allowance of three never binds."""
    found = timing_constraints(raced(feed), {"u": marks(1), "v": marks(1, 2, 3, 4)})
    assert [w.allowance for w in found if w.pending == "u"] == allowances


def test_a_watch_binds_only_where_there_are_bands_enough() -> None:
    times = Fraction(4, 10), Fraction(4, 10)
    grid = {"u": marks(1), "v": marks(2, 4)}
    assert timing_constraints(raced("25"), grid) == ()
    assert timing_constraints(raced("25"), {**grid, "v": marks(2, 4, 6)}) == (TimingConstraint("u", "v", *times),)
    assert timing_constraints(raced("24"), grid) == (TimingConstraint("u", "v", times[0], Fraction(100, 240)),)


def test_the_largest_allowances_are_not_watched(monkeypatch: pytest.MonkeyPatch) -> None:
    grid = {"u": marks(1), "v": marks(2, 4, 6)}
    assert [w.allowance for w in timing_constraints(raced("25"), grid)] == [1]
    monkeypatch.setattr(pace, "LARGEST_ALLOWANCE", 0)
    assert timing_constraints(raced("25"), grid) == ()


# ---------------------------------------------------------------------------------------------------------- memory


@pytest.fixture
def layout() -> Layout:
    """While `u` empties, `v` has one whole band; thresholds of `v` at 2, 4 and 6 bar."""
    return Layout(raced("25"), {"u": marks(1, 3), "v": marks(2, 4, 6)})


def at(u: int, v: int, *counts: Count, valve: str = "open") -> State:
    return State((u, v), (valve,), (), counts=counts)


def test_a_run_counts_whole_bands_only() -> None:
    """Up across 2, back down, up again: nothing. On to 4: one. Back and on again: still one. Then 6 has to wait."""
    layout = Layout(raced("25"), {"u": marks(1), "v": marks(2, 4, 6)})
    state = at(1, 0, Count())
    for band, counts in (
        (1, Count(0, last=True)),
        (0, Count(0, last=False)),
        (1, Count(0, last=True)),
        (2, Count(1, last=True)),
        (1, Count(1, last=False)),
        (2, Count(1, last=True)),
    ):
        upward = band > state.bands[1]
        assert in_pace(layout, state, "v", upward=upward)
        state = remember(layout, state, at(1, band))
        assert state.counts == (counts,)
    assert not in_pace(layout, state, "v", upward=True)
    assert in_pace(layout, state, "v", upward=False)
    assert in_pace(layout, state, "u", upward=False)
    assert in_pace(layout, state, "u", upward=True)


@pytest.mark.parametrize(
    ("least", "most", "band", "way"),
    [("1", "1.1", 0, None), ("0.9", "1", 1, None), ("1.01", "1.1", 0, True), ("0.9", "0.99", 1, False)],
)
def test_a_volume_is_due_only_where_its_net_flow_is_sure(least: str, most: str, band: int, way: bool | None) -> None:
    """At 1 bar the vent takes 5 x 2 = 10 dm3/s; a feed that may bring 10 may stand still there, coming from either side."""
    balanced = built({"u": span("1")}, way_of(SOURCE, "u", least, most), way_of("u", ATMOSPHERE, "5"), one_valve=True)
    layout = Layout(balanced, {"u": marks(1)})
    assert due(layout, State((band,), ("open",), ()), "u") is way
    rule = StepRule(layout)
    literals = [rule.flow.must_rise("u", 0), rule.flow.must_fall("u", 0)]
    values = {bit.literal >> 1: bool(band) for bit in rule.encoding.bits if bit.rank == 0}
    assert rule.circuit.evaluate(literals, values) == [way is True, way is False]


def test_a_tank_beside_a_dead_end_is_due_whether_that_is_a_line_or_a_chamber() -> None:
    """Air goes where pressure is lower, and comes from where it is higher."""
    for kind, up, down in ((VolumeKind.LINE, True, False), (VolumeKind.CHAMBER, True, False)):
        joint = built({"t": span("9"), "w": span("1")}, Passage("t", "w", False, OPEN, Size(span("1"), span("1/2"))))
        store = replace(joint.volumes[0], kind=VolumeKind.TANK), replace(joint.volumes[1], kind=kind)
        layout = Layout(replace(joint, volumes=store), {"t": marks(2, 4, 6), "w": marks(2, 4, 6)})
        high, low = State((0, 3), ("open",), ()), State((3, 0), ("open",), ())
        assert (due(layout, high, "t"), due(layout, low, "t")) == (up, down)
        rule = StepRule(layout)
        literals = [rule.flow.must_rise("t", 0), rule.flow.must_fall("t", 2)]
        for state, expected in ((high, [up is True, False]), (low, [False, down is False])):
            bands = dict(zip(("t", "w"), state.bands, strict=True))
            volumes = [b for b in rule.encoding.bits if b.sort is BitSort.VOLUME]
            values = {b.literal >> 1: bands[str(b.subject)] > b.rank for b in volumes}
            assert rule.circuit.evaluate(literals, values) == expected


def test_nothing_is_remembered_across_a_change_of_what_is_due(layout: Layout) -> None:
    assert [w.allowance for w in layout.timing_constraints if w.pending == "u"] == [0]
    seen = Count(0, last=True)
    assert due(layout, at(2, 1, seen), "u") is False
    assert remember(layout, at(2, 1, seen), at(2, 1)).counts == (seen,)
    assert remember(layout, at(2, 1, seen), at(1, 1)).counts == (Count(),)
    assert remember(layout, at(2, 1, seen), at(2, 1, valve="shut")).counts == (Count(),)
    assert remember(layout, at(2, 0, Count(), valve="shut"), at(2, 1)).counts == (Count(),)


def test_checking_a_step_minds_the_pace(layout: Layout) -> None:
    seen = Count(0, last=True)
    for before, after, found in (
        (at(2, 1, seen), at(2, 2, Count(1, last=True)), "v cannot rise again so soon"),
        (at(2, 1, seen), at(1, 1, seen), "the pace counters or windows do not follow from the step"),
        (at(2, 0, Count()), at(2, 1, Count()), "the pace counters or windows do not follow from the step"),
    ):
        assert check_step(layout, before, after, Pace.ANY_TIME, frozenset()) == found
    fine = check_step(layout, at(2, 0, Count()), at(2, 1, seen), Pace.ANY_TIME, frozenset())
    assert isinstance(fine, Step)


def test_a_start_remembers_nothing(layout: Layout) -> None:
    start = layout.arrangement.start("start")
    assert is_start(layout, at(2, 0, Count()), start)
    assert not is_start(layout, at(2, 0, Count(0, last=True)), start)
