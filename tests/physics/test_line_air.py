"""The one tolerance of the soundness test: what it forgives, and that it forgives no more."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from bandproof.machine.story import Crossed
from bandproof.model.arrangement import (
    ATMOSPHERE,
    Arrangement,
    Control,
    Move,
    Part,
    Passage,
    Setting,
    Volume,
    VolumeKind,
)
from bandproof.model.conditions import AtLeast, Below, InPosition, Not

from .bandrun import Account, follow
from .random_cases import Case
from .simulator import simulate
from .trajectory import Begin, Deed, Numbers

MARK = Fraction(400_000)
#: 40 L of tank and 0.08 L of line: filling the line from nothing to 4 bar costs the tank 0.002 x 4 bar = 800 Pa.
LITRES = {"tank": 40.0, "line": 0.08}


def fill_a_dead_end(above: int, *, accounted: float = LITRES["line"]) -> Account:
    """A tank this far above the threshold (Pa) is opened to an empty line that leads nowhere."""
    pulled = InPosition("knob", frozenset({"pulled"}))
    tap = Part(
        "tap",
        "tap",
        ("shut", "open"),
        (Passage("tank", "line", False, frozenset({"open"})),),
        (Move("shut", "open", pulled),),
    )
    arrangement = Arrangement(
        name="dead end",
        unit="kPa",
        atmosphere=Fraction(101_325),
        highest=Fraction(1_000_000),
        volumes=(Volume("tank", VolumeKind.TANK), Volume("line", VolumeKind.LINE)),
        parts=(tap,),
        controls=(Control("knob", ("pushed", "pulled")),),
    )
    numbers = Numbers({}, LITRES, {("tap", 0): (1.0, 0.3)})
    begin = Begin({"tank": MARK + above, "line": Fraction(0)}, {"tap": "shut"}, {"knob": "pushed"})
    case = Case(arrangement, (AtLeast("tank", MARK, MARK),), numbers, begin, (Deed(1.0, "knob", "pulled"),), 5.0)
    run = simulate(case.layout(), numbers, begin, case.script, until=case.until)
    fell = any(Crossed("tank", MARK, upward=False) in h.events for h in run.happenings)
    assert fell is (above < 800)
    return follow(case.layout(), replace(numbers, litres={**LITRES, "line": accounted}), run)


@pytest.mark.parametrize("above", [300, 700])
def test_filling_a_line_may_cost_a_tank_its_threshold(above: int) -> None:
    account = fill_a_dead_end(above)
    assert account.escape is None
    assert account.counts["forgiven"] == 1
    assert [s.kind.value for s in account.story.steps] == ["act", "react"]


def test_a_tank_far_enough_from_its_threshold_keeps_it_and_nothing_is_forgiven() -> None:
    account = fill_a_dead_end(900)
    assert account.escape is None
    assert account.counts["forgiven"] == 0


def test_no_more_is_forgiven_than_the_lines_hold() -> None:
    account = fill_a_dead_end(700, accounted=LITRES["line"] / 4)
    assert account.escape is not None
    assert "tank cannot fall" in account.escape


def test_a_tank_that_falls_past_its_threshold_may_be_lifted_back_by_a_line() -> None:
    """A valve stops venting a tank as it passes the threshold; the line behind it, still higher, lifts it back at once.

    Both crossings are at one pressure, so they are ordered together; the last change before the second is the first.
    """
    below = Below("tank", MARK, MARK, "closes")
    vent = Passage("tank", ATMOSPHERE, True, frozenset({"open"}))
    valve = Part(
        "valve", "vent", ("open", "shut"), (vent,), (Move("open", "shut", below), Move("shut", "open", Not(below)))
    )
    joint = Part("joint", "pipe", ("open",), (Passage("tank", "line", False, frozenset({"open"})),))
    arrangement = Arrangement(
        name="lifted back",
        unit="kPa",
        atmosphere=Fraction(101_325),
        highest=Fraction(1_000_000),
        volumes=(Volume("tank", VolumeKind.TANK), Volume("line", VolumeKind.LINE)),
        parts=(valve, joint),
        settings=(Setting("closes", MARK, MARK),),
    )
    litres, sizes = {"tank": 4.0, "line": 0.008}, {("valve", 0): (1.0, 0.0), ("joint", 0): (0.02, 0.0)}
    numbers = Numbers({"closes": MARK}, litres, sizes)
    begin = Begin({"tank": MARK + 100_000, "line": MARK + 100_000}, {"valve": "open", "joint": "open"}, {})
    case = Case(arrangement, (), numbers, begin, (), 5.0)
    run = simulate(case.layout(), numbers, begin, until=case.until)
    assert Crossed("tank", MARK, upward=True) in [e for h in run.happenings for e in h.events]
    account = follow(case.layout(), numbers, run)
    assert account.escape is None
    assert account.counts["forgiven"] >= 1
