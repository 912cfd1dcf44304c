"""Circles of one part's moves: which there are, and which can be run at one pressure; each proved by hand."""

from __future__ import annotations

from fractions import Fraction

import pytest

from bandproof.machine.circles import Surroundings, can_be_run, circles
from bandproof.machine.hunting import hunting
from bandproof.model.arrangement import Arrangement, Control, Mishap, Move, Part, Volume, VolumeKind
from bandproof.model.conditions import (
    ALWAYS_TRUE,
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
)

BAR = Fraction(100_000)


def below(volume: str, low: int, high: int | None = None, setting: str | None = None) -> Below:
    return Below(volume, low * BAR, (low if high is None else high) * BAR, setting)


def at_least(volume: str, low: int, high: int | None = None, setting: str | None = None) -> AtLeast:
    return AtLeast(volume, low * BAR, (low if high is None else high) * BAR, setting)


def on(part: str) -> InState:
    return InState(part, frozenset({"on"}))


def off(part: str) -> InState:
    return InState(part, frozenset({"off"}))


def to_and_fro(name: str, there: Condition, back: Condition, *, slow: bool = False) -> Part:
    return Part(name, "k", ("off", "on"), (), (Move("off", "on", there), Move("on", "off", back)), slow)


def around(*parts: Part) -> Arrangement:
    return Arrangement(
        "by hand",
        "bar",
        BAR,
        9 * BAR,
        (Volume("v", VolumeKind.LINE), Volume("w", VolumeKind.LINE)),
        parts,
        (Control("lever", ("plain", "turned")),),
        (Mishap("tear"),),
    )


def hunting_parts(*parts: Part) -> set[str]:
    return set(hunting(around(*parts)).parts)


TURNED = InPosition("lever", frozenset({"turned"}))

#: (what, guard there, guard back, whether the part hunts)
GUARDS = [
    ("in the wrong order", at_least("v", 4), below("v", 6), True),
    ("in order", at_least("v", 6), below("v", 4), False),
    ("one exact pressure: at least and below leave nothing", at_least("v", 4), below("v", 4), False),
    ("ranges that overlap", at_least("v", 4), below("v", 3, 6), True),
    ("ranges that touch: below stays open", at_least("v", 4, 5), below("v", 3, 4), False),
    ("ranges that overlap by a little", at_least("v", 4, 5), below("v", 3, 5), True),
    ("one setting is one number", at_least("v", 2, 4, "s"), below("v", 2, 4, "s"), False),
    ("two settings of one range are two numbers", at_least("v", 2, 4, "s"), below("v", 2, 4, "t"), True),
    ("ranges without a name are numbers of their own", at_least("v", 2, 4), below("v", 2, 4), True),
    ("two volumes have two pressures", at_least("v", 6), below("w", 4), True),
    ("compared with each other", Lower("v", "w"), Not(Lower("v", "w")), False),
    ("lower than each other", Lower("v", "w"), Lower("w", "v"), False),
    ("not lower than each other: equal", Not(Lower("v", "w")), Not(Lower("w", "v")), True),
    ("a chain of three", AllOf((Lower("v", "w"), below("w", 4))), at_least("v", 4), False),
    ("a chain of three with room", AllOf((Lower("v", "w"), below("w", 5))), at_least("v", 4), True),
    ("a control stands in one position", TURNED, Not(TURNED), False),
    ("a mishap has happened or not", Happened("tear"), Not(Happened("tear")), False),
    ("always", ALWAYS_TRUE, ALWAYS_TRUE, True),
    ("some way through alternatives", AnyOf((at_least("v", 6), TURNED)), below("v", 4), True),
    ("no way through alternatives", AnyOf((at_least("v", 6), at_least("v", 5))), below("v", 4), False),
    ("above all pressures", at_least("v", 9), below("v", 9), False),
    ("not above the highest pressure", at_least("v", 10), ALWAYS_TRUE, False),
    ("the highest pressure itself", at_least("v", 9), ALWAYS_TRUE, True),
    ("below nothing", below("v", 0), ALWAYS_TRUE, False),
]


@pytest.mark.parametrize(("there", "back", "hunts"), [row[1:] for row in GUARDS], ids=[row[0] for row in GUARDS])
def test_a_part_hunts_where_both_guards_can_hold_at_one_pressure(
    there: Condition, back: Condition, hunts: bool
) -> None:
    assert hunting_parts(to_and_fro("p", there, back)) == ({"p"} if hunts else set())
    assert hunting_parts(to_and_fro("p", there, back, slow=True)) == set()


def test_two_valves_that_undo_each_other_hunt() -> None:
    """Each move has states of its own for the other valve: with one state for the whole circle neither could hunt."""
    assert hunting_parts(to_and_fro("p", off("q"), on("q")), to_and_fro("q", on("p"), off("p"))) == {"p", "q"}


def test_a_valve_that_follows_one_that_stands_still_does_not_hunt() -> None:
    still = Part("q", "k", ("off", "on"), (), (Move("off", "on", ALWAYS_TRUE),))
    assert hunting_parts(to_and_fro("p", off("q"), on("q")), still) == set()


def test_parts_fall_out_one_after_another() -> None:
    """The third does not hunt, so it stands still for the second, and then the second for the first."""
    first = to_and_fro("p", off("q"), on("q"))
    second = to_and_fro("q", off("r"), on("r"))
    third = to_and_fro("r", at_least("v", 6), below("v", 4))
    assert hunting_parts(first, second, third) == set()


def test_each_move_is_at_the_same_pressure_though_the_other_valve_moves() -> None:
    there, back = AllOf((off("q"), at_least("v", 6))), AllOf((on("q"), below("v", 4)))
    assert hunting_parts(to_and_fro("p", there, back), to_and_fro("q", on("p"), off("p"))) == set()


def test_a_guard_about_the_part_itself_is_about_where_it_then_is() -> None:
    assert hunting_parts(to_and_fro("p", on("p"), off("p"))) == set()
    assert hunting_parts(to_and_fro("p", off("p"), on("p"))) == {"p"}


def test_what_watches_a_hunting_part_is_excused_and_nothing_else() -> None:
    flips = to_and_fro("p", ALWAYS_TRUE, ALWAYS_TRUE)
    watches = Part("watcher", "k", ("off", "on"), (), (Move("off", "on", on("p")),))
    farther = Part("farther", "k", ("off", "on"), (), (Move("off", "on", Not(on("watcher"))),))
    alarm = Part("alarm", "k", ("off", "on"), (), (Move("off", "on", at_least("v", 4)),))
    found = hunting(around(flips, watches, farther, alarm))
    assert found.excused_by("p") == {"p", "watcher", "farther"}
    assert found.parts == {"p"}


def test_every_circle_is_told_once_and_each_move_between_two_states_makes_its_own() -> None:
    moves = [
        Move("a", "b", at_least("v", 1)),
        Move("a", "b", at_least("v", 2)),
        Move("b", "a", ALWAYS_TRUE),
        Move("b", "c", ALWAYS_TRUE),
        Move("c", "a", ALWAYS_TRUE),
        Move("c", "c", ALWAYS_TRUE),
    ]
    found = list(circles(Part("p", "k", ("a", "b", "c"), (), tuple(moves))))
    assert len(found) == len(set(found)) == 4
    assert sorted(len(circle.moves) for circle in found) == [2, 2, 3, 3]


def test_only_steady_volumes_have_one_pressure_for_all_moves() -> None:
    part = to_and_fro("p", at_least("v", 6), below("v", 4))
    (circle,) = circles(part)
    arrangement = around(part)
    moving = frozenset({"p"})
    assert not can_be_run(circle, Surroundings(arrangement, frozenset({"v", "w"}), moving))
    assert can_be_run(circle, Surroundings(arrangement, frozenset({"w"}), moving))


def test_a_setting_is_one_number_also_while_pressures_move() -> None:
    """Below 4 at the least and at least 4 at the most: with the pressure free it goes to and fro, with it fixed it cannot."""
    part = to_and_fro("p", at_least("v", 2, 4, "s"), below("v", 2, 4, "s"))
    (circle,) = circles(part)
    arrangement = around(part)
    assert can_be_run(circle, Surroundings(arrangement, frozenset(), frozenset({"p"})))
    assert not can_be_run(circle, Surroundings(arrangement, frozenset({"v"}), frozenset({"p"})))
