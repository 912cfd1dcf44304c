"""Windows of tanks among lines: how wide they are, and where parts' own moves take them away."""

from __future__ import annotations

from fractions import Fraction

import pytest

from bandproof.machine.fillings import COMBINATIONS, Window, reachable_lines, windows
from bandproof.model.arrangement import (
    ATMOSPHERE,
    Arrangement,
    Control,
    Mishap,
    Move,
    Part,
    Passage,
    Range,
    Volume,
    VolumeKind,
)
from bandproof.model.conditions import ALWAYS_TRUE, AtLeast, Below, Condition, Happened, InPosition, Not
from bandproof.properties.claim import Pace, Property, Shape

BAR = Fraction(100_000)
TURNED = InPosition("lever", frozenset({"turned"}))
TORN = Happened("tear")
FILLS = Passage("tank", "v", one_way=False, open_in=frozenset({"on"}))
EMPTIES = Passage("v", ATMOSPHERE, one_way=True, open_in=frozenset({"off"}))


def volume(name: str, kind: VolumeKind, low: str | None, high: str | None = None) -> Volume:
    return Volume(name, kind, None if low is None else Range(Fraction(low), Fraction(high or low)))


TANK = volume("tank", VolumeKind.TANK, "20", "30")
LINE = volume("v", VolumeKind.LINE, "0.2", "0.4")


def arranged(*parts: Part, volumes: tuple[Volume, ...] = (TANK, LINE)) -> Arrangement:
    controls, mishaps = (Control("lever", ("plain", "turned")),), (Mishap("tear"), Mishap("other"))
    return Arrangement("by hand", "bar", BAR, 9 * BAR, volumes, parts, controls, mishaps)


def claim(fillings: int | None = None, pace: Pace = Pace.HANDS_OFF, mishaps: str = "") -> Property:
    return Property("c", "", "", Shape.NEVER, "start", pace=pace, mishaps=frozenset(mishaps.split()), fillings=fillings)


def three_way(there: Condition, back: Condition | None = None, *, slow: bool = False) -> Part:
    """Off it vents the line, on it joins it to the tank."""
    moves = (Move("off", "on", there), *(() if back is None else (Move("on", "off", back),)))
    return Part("valve", "k", ("off", "on"), (FILLS, EMPTIES), moves, slow)


def joint(one: str, other: str) -> Part:
    return Part(f"{one}-{other}", "k", ("open",), (Passage(one, other, False, frozenset({"open"})),))


def test_a_window_is_what_the_lines_hold_at_the_highest_pressure() -> None:
    """N x 0.4 L x 9 bar / 20 L: the most a line holds, the least a tank holds."""
    foot = arranged(three_way(TURNED, Not(TURNED)))
    assert windows(foot, claim(fillings=1)) == (Window("tank", Fraction("0.18") * BAR),)
    assert windows(foot, claim(fillings=10)) == (Window("tank", Fraction("1.8") * BAR),)
    assert windows(foot, claim(fillings=10, pace=Pace.ANY_TIME)) == (Window("tank", Fraction("1.8") * BAR),)


def test_hands_off_it_is_one_more_than_the_mishaps_allowed() -> None:
    foot = arranged(three_way(TURNED, Not(TURNED)))
    assert windows(foot, claim())[0].width == Fraction("0.18") * BAR
    assert windows(foot, claim(mishaps="tear"))[0].width == 2 * Fraction("0.18") * BAR
    assert windows(foot, claim(mishaps="tear other"))[0].width == 3 * Fraction("0.18") * BAR
    for pace in (Pace.ANY_TIME, Pace.AFTER_SETTLING):
        assert windows(foot, claim(pace=pace)) == ()


def test_a_window_as_wide_as_all_pressures_is_none() -> None:
    foot = arranged(three_way(TURNED, Not(TURNED)))
    assert windows(foot, claim(fillings=49))
    assert windows(foot, claim(fillings=50)) == ()


@pytest.mark.parametrize("which", [0, 1])
def test_no_window_without_litres(which: int) -> None:
    volumes = [TANK, LINE]
    volumes[which] = volume(volumes[which].name, volumes[which].kind, None)
    assert windows(arranged(three_way(TURNED), volumes=tuple(volumes)), claim(fillings=1)) == ()


def test_all_lines_that_can_be_reached_over_lines_count_and_no_others() -> None:
    kinds = {"v": "line", "w": "line", "c": "chamber", "x": "line"}
    volumes = (TANK, *(volume(name, VolumeKind(kind), "0.4") for name, kind in kinds.items()))
    arrangement = arranged(joint("tank", "v"), joint("w", "v"), joint("w", "c"), joint("c", "x"), volumes=volumes)
    assert reachable_lines(arrangement, "tank") == {"v", "w"}
    assert reachable_lines(arrangement, "c") == {"v", "w", "x"}
    alone = arranged(joint("tank", "v"), joint("w", "v"), joint("c", "x"), volumes=volumes)
    assert Window("tank", Fraction("0.36") * BAR) in windows(alone, claim())


#: (what, the moves there and back, whether the part pumps)
VALVES = [
    ("a lever", TURNED, Not(TURNED), False),
    ("a mishap", TORN, Not(TORN), False),
    ("a pressure", Below("v", BAR, BAR), AtLeast("v", BAR, BAR), True),
    ("by itself", ALWAYS_TRUE, ALWAYS_TRUE, True),
    ("there by a pressure, back by a lever", Below("v", BAR, BAR), TURNED, True),
    ("there and never back", ALWAYS_TRUE, None, False),
    ("a lever there, a mishap back", TURNED, TORN, True),
]


@pytest.mark.parametrize(("there", "back", "pumps"), [row[1:] for row in VALVES], ids=[row[0] for row in VALVES])
def test_a_part_that_fills_and_empties_a_line_by_itself_pumps(
    there: Condition, back: Condition | None, pumps: bool
) -> None:
    """With the lever turned *and* the hose torn a valve that goes by either moves for ever."""
    assert bool(windows(arranged(three_way(there, back)), claim(fillings=1))) is not pumps
    assert bool(windows(arranged(three_way(there, back, slow=True)), claim(fillings=1))) is not pumps


def tap(name: str, one: str, other: str, there: Condition, back: Condition) -> Part:
    passage = Passage(one, other, False, frozenset({"on"}))
    return Part(name, "k", ("off", "on"), (passage,), (Move("off", "on", there), Move("on", "off", back)))


def test_two_parts_pump_together() -> None:
    """One joins the line to the tank, the other to the atmosphere, each by its pressure."""
    low, high = Below("v", BAR, BAR), AtLeast("v", BAR, BAR)
    fills, empties = tap("fills", "tank", "v", low, high), tap("empties", "v", ATMOSPHERE, high, low)
    assert windows(arranged(fills, empties), claim(fillings=1)) == ()
    assert windows(arranged(fills), claim(fillings=1)) != ()


def test_a_part_that_opens_to_the_atmosphere_again_and_again_pumps_a_line_that_is_always_joined() -> None:
    """The line is joined to the tank, and at times to the atmosphere too."""
    vents = tap("vents", "v", ATMOSPHERE, AtLeast("v", BAR, BAR), Below("v", BAR, BAR))
    assert windows(arranged(joint("tank", "v"), vents), claim(fillings=1)) == ()
    assert windows(arranged(joint("tank", "v")), claim(fillings=1)) != ()


def test_more_combinations_than_are_looked_through_leave_no_window() -> None:
    parts = [tap(f"t{i}", "tank", "v", TURNED, Not(TURNED)) for i in range(14)]
    assert COMBINATIONS < 2**14 * 2
    assert windows(arranged(*parts), claim(fillings=1)) == ()
    assert windows(arranged(*parts[:6]), claim(fillings=1)) != ()
