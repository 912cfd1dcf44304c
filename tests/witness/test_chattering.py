"""Which parts can chatter between states, and what it takes to rule that out."""

from __future__ import annotations

from fractions import Fraction

import pytest

from bandproof.lemmas.chattering import Chattering, Surroundings, cycles
from bandproof.lemmas.cubes import Literal, Needs
from bandproof.model.arrangement import Move, Part
from bandproof.model.conditions import (
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Condition,
    InPosition,
    InState,
    Lower,
    Not,
    NotInPosition,
    NotInState,
)
from bandproof.model.walker import opposite

HIGHEST = 1000


def at_least(volume: str, low: int, high: int | None = None) -> Condition:
    return AtLeast(volume, Fraction(low), Fraction(high or low))


def below(volume: str, low: int, high: int | None = None) -> Condition:
    return Below(volume, Fraction(low), Fraction(high or low))


def part(*moves: tuple[str, str, Condition], slow: bool = False) -> Part:
    states = tuple(dict.fromkeys(s for source, target, _ in moves for s in (source, target)))
    return Part("valve", "valve", states, (), tuple(Move(*move) for move in moves), slow)


def reach(
    valve: Part, *, truth: bool | None = None, others: tuple[Part, ...] = (), **spans: tuple[int, int]
) -> tuple[frozenset[str], Needs]:
    """Standing in its first state, with pressures known to be in half-open ranges."""

    def floor(volume: str) -> tuple[Fraction, Needs]:
        low = spans.get(volume, (0, HIGHEST))[0]
        return Fraction(low), frozenset({(0, Literal("level", volume, low))}) if low else frozenset()

    def ceiling(volume: str) -> tuple[Fraction, Needs]:
        high = spans.get(volume, (0, HIGHEST))[1]
        atom = Literal("level", volume, high, holds=False)
        return Fraction(high), frozenset({(0, atom)}) if high < HIGHEST else frozenset()

    def known(condition: Condition) -> tuple[bool | None, Needs]:
        turned = isinstance(condition, NotInState | NotInPosition)
        fact = opposite(condition) if turned else condition
        holds = truth if truth is None else truth != turned
        return holds, frozenset({(0, Literal("control", str(fact)))})

    chattering = Chattering((valve, *others))
    return chattering.reach(valve, frozenset({valve.states[0]}), Surroundings(floor, ceiling, known))


def plain(low: int, high: int | None = None) -> Part:
    """Opens and shuts at one setting."""
    return part(("shut", "open", at_least("v", low, high)), ("open", "shut", below("v", low, high)))


@pytest.mark.parametrize(
    ("span", "chatters"),
    [((200, 300), False), ((200, 301), True), ((300, 400), True), ((301, 400), False), ((0, HIGHEST), True)],
)
def test_a_valve_with_one_setting_hovers_at_it(span: tuple[int, int], chatters: bool) -> None:
    reached, why = reach(plain(300), v=span)
    assert (reached == {"shut", "open"}) is chatters
    assert chatters or len(why) == 1


def test_a_tolerance_widens_where_it_hovers() -> None:
    assert reach(plain(300, 350), v=(340, 400))[0] == {"shut", "open"}
    assert reach(plain(300, 350), v=(351, 400))[0] == {"shut"}
    assert reach(plain(300, 350), v=(200, 300))[0] == {"shut"}


def test_play_between_two_settings_keeps_a_valve_from_hovering_whatever_the_pressure() -> None:
    valve = part(("shut", "open", at_least("v", 400)), ("open", "shut", below("v", 200)))
    assert reach(valve) == (frozenset({"shut"}), frozenset[object]())
    assert reach(valve, v=(200, HIGHEST)) == (frozenset({"shut"}), frozenset[object]())
    overlapping = part(("shut", "open", at_least("v", 200, 400)), ("open", "shut", below("v", 300)))
    assert reach(overlapping, v=(100, 350))[0] == {"shut", "open"}


def test_a_shuttle_hovers_where_the_pressures_can_be_equal() -> None:
    shuttle = part(("first", "second", Lower("a", "b")), ("second", "first", Lower("b", "a")))
    assert reach(shuttle, a=(100, 200), b=(100, 200))[0] == {"first", "second"}
    reached, why = reach(shuttle, a=(100, 200), b=(200, 300))
    assert reached == {"first"}
    assert {atom.subject for _, atom in why} == {"a", "b"}


def test_a_slow_part_and_one_that_never_comes_back_do_not_hover() -> None:
    moves = (("shut", "open", at_least("v", 300)), ("open", "shut", below("v", 300)))
    assert reach(part(*moves, slow=True))[0] == {"shut"}
    assert reach(part(moves[0]))[0] == {"shut"}


@pytest.mark.parametrize(("truth", "chatters"), [(True, False), (False, False), (None, True)])
def test_a_knob_that_stands_still_does_not_make_a_part_hover(truth: bool | None, chatters: bool) -> None:
    turned = InPosition("knob", frozenset({"on"}))
    valve = part(("shut", "open", turned), ("open", "shut", Not(turned)))
    reached, why = reach(valve, truth=truth)
    assert (reached == {"shut", "open"}) is chatters
    assert chatters or len(why) == 1


def test_each_way_out_of_a_choice_has_to_be_ruled_out() -> None:
    either = AnyOf((at_least("v", 300), at_least("w", 300)))
    valve = part(("shut", "open", either), ("open", "shut", AllOf((below("v", 300), below("w", 300)))))
    assert reach(valve, v=(0, 200), w=(0, HIGHEST))[0] == {"shut", "open"}
    reached, why = reach(valve, v=(0, 200), w=(0, 250))
    assert reached == {"shut"}
    assert {atom.subject for _, atom in why} == {"v", "w"}


def test_two_linked_parts_can_hover_together() -> None:
    """What another part that might chatter stands in is not known, so it rules nothing out."""
    linked = InState("other", frozenset({"up"}))
    valve = part(("shut", "open", AllOf((linked, at_least("v", 300)))), ("open", "shut", Not(linked)))
    restless = Part(
        "other",
        "flag",
        ("down", "up"),
        (),
        (Move("down", "up", at_least("v", 300)), Move("up", "down", below("v", 300))),
    )
    calm = Part("other", "flag", ("down", "up"), (), (Move("down", "up", at_least("v", 300)),))
    assert reach(valve, truth=False, others=(restless,), v=(300, 400))[0] == {"shut", "open"}
    assert reach(valve, truth=False, others=(calm,), v=(300, 400))[0] == {"shut"}


def test_a_longer_way_round_counts_as_well() -> None:
    ring = part(("a", "b", at_least("v", 300)), ("b", "c", at_least("v", 200, 300)), ("c", "a", below("v", 300)))
    assert [len(cycle) for cycle in cycles(ring)] == [3]
    assert reach(ring, v=(250, 350))[0] == {"a", "b", "c"}
    assert reach(ring, v=(310, 350))[0] == {"a"}


def test_one_hovering_leads_on_to_the_next() -> None:
    chain = part(
        ("a", "b", at_least("v", 300)),
        ("b", "a", below("v", 300)),
        ("b", "c", at_least("w", 100)),
        ("c", "b", below("w", 100)),
    )
    assert reach(chain, v=(250, 350), w=(50, 150))[0] == {"a", "b", "c"}
    assert reach(chain, v=(250, 300), w=(50, 150))[0] == {"a"}
    assert reach(chain, v=(250, 350), w=(50, 100))[0] == {"a", "b"}


def test_every_cycle_is_found_once() -> None:
    always = at_least("v", 1)
    full = part(*((s, t, always) for s in "abc" for t in "abc" if s != t))
    found = [tuple(move.source for move in cycle) for cycle in cycles(full)]
    assert sorted(found) == [("a", "b"), ("a", "b", "c"), ("a", "c"), ("a", "c", "b"), ("b", "c")]
