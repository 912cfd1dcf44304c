"""Silent parts against explicit enumeration: every state, every step, and the strongly connected sets of them.

A part goes on for ever iff some set of states, from each of which steps inside the set lead to every other, holds a move of
it, and holds a cause for all that needs one. Which steps cannot be part of such a set is found by taking away, again and
again, steps whose cause is not in their set (E. A. Emerson, C.-L. Lei, "Modalities for model checking", 1987, for
fairness of this form).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from itertools import product

import pytest

from bandproof.engines.silence import quietened
from bandproof.machine.layout import Layout, lay_out
from bandproof.machine.semantics import Reading, successors
from bandproof.machine.story import Crossed, Moved, State, Step
from bandproof.machine.unrest import drivers_of, groups_of, held_volumes
from bandproof.model.arrangement import ATMOSPHERE, SOURCE
from bandproof.model.conditions import AtLeast, Below, Lower, NotLower
from bandproof.model.walker import comparisons
from bandproof.properties.claim import Pace
from tests.conformance.case import Case, load
from tests.conformance.small_parts import ONE_SETTING, REGULATOR, piece
from tests.conformance.table_flow import joined, starting, volumes
from tests.conformance.table_holding import COMES_TO_REST, HOLDS_FOR_EVER, KEEPER, LEAK, differential, line
from tests.conformance.table_hunting import HUNTING, IN_ORDER, STAGE

#: A step between two of the states, by their numbers.
Edge = tuple[int, int, Step]
Test = Callable[[Edge], bool]


def edges_of(layout: Layout) -> tuple[list[State], list[Edge]]:
    """Every state, and every step of nature in which tanks stay in their bands and only what could move for ever moves."""
    arrangement = layout.arrangement
    bands = [range(len(layout.thresholds[v.name]) + 1) for v in arrangement.volumes]
    parts = [part.states for part in arrangement.parts]
    controls = [control.positions for control in arrangement.controls]
    present = [(False, True) for _ in arrangement.mishaps]
    names = [mishap.name for mishap in arrangement.mishaps]
    states = [
        State(b, p, c, frozenset(n for n, here in zip(names, m, strict=True) if here), layout.no_counts())
        for b, p, c, m in product(product(*bands), product(*parts), product(*controls), product(*present))
    ]
    restless = {one.part for one in layout.motion.tanks_held}
    tanks = held_volumes(arrangement, tanks=True)

    def goes(step: Step) -> bool:
        return all(
            e.part in restless if isinstance(e, Moved) else not (isinstance(e, Crossed) and e.volume in tanks)
            for e in step.events
        )

    number = {state: n for n, state in enumerate(states)}
    found: list[Edge] = []
    for state in states:  # grows as it is gone through, by states that differ in what pace counters remember
        for step, after in successors(layout, state, Pace.HANDS_OFF, frozenset()):
            if goes(step):
                if after not in number:
                    number[after] = len(states)
                    states.append(after)
                found.append((number[state], number[after], step))
    return states, found


def components(edges: Iterable[Edge]) -> list[list[Edge]]:
    """The steps of each strongly connected set, by the definition: there and back again."""
    onward: dict[int, set[int]] = {}
    back: dict[int, set[int]] = {}
    kept = list(edges)
    for a, b, _ in kept:
        onward.setdefault(a, set()).add(b)
        back.setdefault(b, set()).add(a)
    found: dict[int, int] = {}
    for state in onward:
        if state not in found:
            for other in reached(state, onward) & reached(state, back):
                found[other] = state
    sets: dict[int, list[Edge]] = {}
    for edge in kept:
        if edge[0] in found and found.get(edge[0]) == found.get(edge[1]):
            sets.setdefault(found[edge[0]], []).append(edge)
    return list(sets.values())


def reached(state: int, onward: dict[int, set[int]]) -> set[int]:
    seen, waiting = {state}, [state]
    while waiting:
        for other in onward.get(waiting.pop(), set()) - seen:
            seen.add(other)
            waiting.append(other)
    return seen


def goes_on(edges: list[Edge], wanted: Test, needs: list[tuple[Test, Test]]) -> bool:
    """Some strongly connected set holds a wanted step, and of each pair of needs the second if the first."""
    for inside in components(edges):
        lacking = [one for one, other in needs if not any(map(other, inside))]
        left = [edge for edge in inside if not any(one(edge) for one in lacking)]
        if len(left) == len(inside):
            if any(map(wanted, inside)):
                return True
        elif goes_on(left, wanted, needs):
            return True
    return False


def moves(part: str) -> Test:
    return lambda edge: any(isinstance(e, Moved) and e.part == part for e in edge[2].events)


def causes(layout: Layout, states: list[State], part: str) -> list[tuple[Test, Test]]:
    """What a loop in which the part moves must hold: see `bandproof.encoding.silence`."""
    restless = layout.motion.tanks_held
    needs: list[tuple[Test, Test]] = []
    for one in restless:
        drivers = drivers_of(one, restless)
        if one.part not in layout.motion.swinging:
            needs.append((moves(one.part), lambda edge, drivers=drivers: any(moves(d)(edge) for d in drivers)))  # type: ignore[misc]
    groups = groups_of(layout.arrangement, held_volumes(layout.arrangement, tanks=True))
    for leaf in comparisons(*(move.when for move in layout.arrangement.part(part).moves)):
        read = [leaf.volume] if isinstance(leaf, Below | AtLeast) else []
        read = [leaf.volume, leaf.other] if isinstance(leaf, Lower | NotLower) else read
        for volume in (v for v in read if v in groups):
            for mark in layout.thresholds[volume]:
                for upward in (True, False):
                    event = Crossed(volume, mark, upward=upward)
                    joined_ = [ends_at(layout, state, groups[volume], mark, upward=upward) for state in states]
                    needs.append(
                        (
                            lambda edge, event=event: event in edge[2].events,  # type: ignore[misc]
                            lambda edge, joined_=joined_: joined_[edge[0]],  # type: ignore[misc]
                        )
                    )
    return needs


def ends_at(layout: Layout, state: State, group: frozenset[str], mark: object, *, upward: bool) -> bool:
    """An open passage joins the group to an end perhaps at or above the mark; downward, to one perhaps below it."""
    reading = Reading(layout, state)
    for u, v in reading.open_ways():
        end, inner = (u, v) if upward else (v, u)
        if inner not in group or end in group:
            continue
        low, high = reading.low(end), reading.high(end)
        if upward and end != ATMOSPHERE and (end == SOURCE or high > mark or high >= layout.arrangement.highest):  # type: ignore[operator]
            return True
        if not upward and end != SOURCE and low < mark:  # type: ignore[operator]
            return True
    return False


def falls_silent(layout: Layout, part: str) -> bool:
    """By enumeration."""
    states, edges = edges_of(layout)
    return not goes_on(edges, moves(part), causes(layout, states, part))


SMALL = [
    case
    for case in (*HOLDS_FOR_EVER, *COMES_TO_REST, *HUNTING, *IN_ORDER)
    if any(one.stirs for one in case.layout().motion.tanks_held)
]


@pytest.mark.parametrize("case", SMALL, ids=lambda case: case.name)
def test_a_part_is_silent_just_if_no_loop_of_all_states_moves_it(case: Case) -> None:
    check(case.layout())


def check(layout: Layout) -> None:
    quiet = quietened(layout)
    assert not quiet.undecided
    for one in layout.motion.tanks_held:
        if one.stirs:
            assert (one.part in quiet.layout.silent) is falls_silent(layout, one.part), one.part


HOLE = joined("vent v")


@pytest.mark.parametrize("leak", ["", LEAK, HOLE], ids=["tight", "weak leak", "leak of any size"])
@pytest.mark.parametrize("feeds", ["2", "3..4", "5"])
@pytest.mark.parametrize("bore", ["5", "0.1", ""])
def test_regulators_in_order_and_out_of_it(feeds: str, leak: str, bore: str) -> None:
    text = line(differential(feeds, "4", bore=bore), leak, v="0", kinds=REGULATOR)
    check(lay_out(load(text)))


def test_a_regulator_is_silent_without_a_leak_only() -> None:
    assert falls_silent(lay_out(load(line(KEEPER, kinds=ONE_SETTING))), "keeper")
    assert not falls_silent(lay_out(load(line(KEEPER, LEAK, kinds=ONE_SETTING))), "keeper")


@pytest.mark.parametrize("store", ["line", "tank"])
def test_air_that_is_used_up_is_not_there_again(store: str) -> None:
    """The stage lets air out of v and x whenever v is at 4 bar; a line x in a wide band is no source, a tank is held."""
    settings = {"passes": "4 bar", "vents": "3 bar"}
    ports = {"pilot": "v", "inlet": "v", "outlet": "w"}
    text = volumes(v="line", w="line", x=store) + joined("joint v x")
    layout = lay_out(load(text + piece("stage", "stage", ports=ports, settings=settings) + starting() + STAGE))
    check(layout)
    assert quietened(layout).layout.silent == ({"stage"} if store == "line" else set())


def test_parts_fall_silent_one_after_another() -> None:
    second = KEEPER.replace("parts.keeper", "parts.second").replace('"v"', '"w"')
    layout = lay_out(load(volumes(v="line", w="line") + KEEPER + second + starting() + ONE_SETTING))
    check(layout)
    quiet = quietened(layout)
    assert quiet.layout.silent == {"keeper", "second"}
    assert [(one.part, one.before) for one in quiet.silences] == [
        ("keeper", frozenset()),
        ("second", frozenset({"keeper"})),
    ]
