"""Which parts could move for ever with the hands off, and what they stir: each by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from bandproof.machine.hunting import swinging
from bandproof.machine.unrest import Restless, unrest
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement, Move, Part, Passage, Range, Volume, VolumeKind
from bandproof.model.conditions import ALWAYS_TRUE, AtLeast, Below, Condition
from tests.unit.machine.test_circles import BAR, at_least, below, on, to_and_fro

VOLUMES = (
    Volume("tank", VolumeKind.TANK),
    Volume("v", VolumeKind.LINE),
    Volume("w", VolumeKind.LINE),
    Volume("x", VolumeKind.LINE),
)


def keeper(name: str, there: Condition, back: Condition, *ways: Passage, slow: bool = False) -> Part:
    return Part(name, "k", ("off", "on"), ways, (Move("off", "on", there), Move("on", "off", back)), slow)


def way(one: str, other: str, *states: str) -> Passage:
    return Passage(one, other, one_way=False, open_in=frozenset(states))


def pipe(one: str, other: str) -> Part:
    return Part(f"{one}-{other}", "k", ("open",), (way(one, other, "open"),))


def found(*parts: Part, tanks_held: bool = True, silent: str = "") -> dict[str, Restless]:
    arrangement = Arrangement("by hand", "bar", BAR, 9 * BAR, VOLUMES, parts)
    restless = unrest(arrangement, swinging(arrangement), tanks_held=tanks_held, silent=frozenset(silent.split()))
    return {one.part: one for one in restless}


FEEDS = way(SOURCE, "v", "on")


def test_a_part_that_feeds_what_its_guards_read_moves_for_ever_and_stirs_it() -> None:
    assert found(keeper("p", below("v", 4), at_least("v", 4), FEEDS))["p"].stirs == {"v"}


def test_what_shares_the_air_is_stirred_too_but_not_past_a_tank_that_is_held() -> None:
    part = keeper("p", below("v", 4), at_least("v", 4), FEEDS)
    joined = (part, pipe("v", "w"), pipe("w", "tank"), pipe("tank", "x"))
    assert found(*joined)["p"].stirs == {"v", "w"}
    assert found(*joined, tanks_held=False)["p"].stirs == {"v", "w", "tank", "x"}


def test_a_part_that_stirs_nothing_its_guards_read_comes_to_rest() -> None:
    assert found(keeper("p", below("w", 4), at_least("w", 4), FEEDS)) == {}
    assert found(keeper("p", below("w", 4), at_least("w", 4), FEEDS), pipe("v", "w")).keys() == {"p"}


def test_a_passage_that_is_open_all_the_way_round_stirs_nothing() -> None:
    assert found(keeper("p", below("v", 4), at_least("v", 4), way(SOURCE, "v", "off", "on"))) == {}


def test_a_circle_that_cannot_be_run_is_not_run() -> None:
    """The tank is held: it is not below 4 and then at least 4 bar. Nothing is below nothing."""
    of_tank = keeper("p", below("tank", 4), at_least("tank", 4), way(SOURCE, "tank", "on"))
    assert found(of_tank) == {}
    assert found(of_tank, tanks_held=False).keys() == {"p"}
    assert found(Part("p", "k", ("off", "on"), (FEEDS,), (Move("off", "on", below("v", 4)),))) == {}
    never = keeper("r", below("v", 0), at_least("v", 4), FEEDS)
    assert found(never) == {}


def test_a_part_is_driven_by_the_state_or_the_air_of_another_that_moves_for_ever() -> None:
    first = keeper("p", below("v", 4), at_least("v", 4), FEEDS)
    follows = to_and_fro("q", on("p"), below("v", 4))
    reads = keeper("r", below("v", 3), at_least("v", 5))
    farther = keeper("s", below("x", 3), at_least("x", 5))
    assert found(first, follows, reads, farther).keys() == {"p", "q", "r"}


def test_what_hunts_moves_for_ever_though_it_stirs_nothing() -> None:
    assert found(to_and_fro("p", ALWAYS_TRUE, ALWAYS_TRUE)).keys() == {"p"}
    swapped = keeper("q", at_least("tank", 4), below("tank", 6))
    assert found(swapped).keys() == {"q"}


def test_slow_parts_move_for_ever_as_others_do() -> None:
    assert found(keeper("p", below("v", 4), at_least("v", 4), FEEDS, slow=True)).keys() == {"p"}


def test_parts_known_to_fall_silent_are_left_out_and_drive_nothing() -> None:
    first = keeper("p", below("v", 4), at_least("v", 4), FEEDS)
    reads = keeper("r", below("v", 3), at_least("v", 5))
    assert found(first, reads, silent="p") == {}
    assert found(first, reads, silent="r").keys() == {"p"}


def test_a_part_that_vents_stirs_what_it_vents() -> None:
    assert found(keeper("p", at_least("v", 4), below("v", 4), way("v", ATMOSPHERE, "on")))["p"].stirs == {"v"}


def test_a_slow_part_whose_guards_both_hold_at_one_pressure_moves_for_ever() -> None:
    """It takes its time for every move, so time passes; but it is never at rest."""
    above = AtLeast("v", BAR, BAR)
    slow = Part("x", "k", ("on", "off"), (), (Move("on", "off", above), Move("off", "on", above)), slow=True)
    assert set(found(slow)) == {"x"}
    timed = replace(slow, slow=False, reaction=Range(Fraction(0), Fraction(1, 20)))
    assert set(found(timed)) == {"x"}
    parted = (Move("on", "off", above), Move("off", "on", Below("v", BAR, BAR)))
    assert not found(replace(slow, moves=parted))
