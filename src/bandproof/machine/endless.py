"""Runs that go on for ever, judged by looking at one: no search, no solver.

A run of finitely many states that goes on for ever comes back to a state: it is a way to that state and a round from it
back to itself. The round may be no step at all: the run stays in the state. With nobody doing anything in it, it can be
the rest of a run only if

- a volume that is due to cross a threshold, in one direction, in every state of the round does cross it;
- a slow part of which one and the same move is due in every state of the round does move;
- time passes in some state of the round: no part must move there;
- where a way is open all the round, and air that takes it cannot come back at any time of it, over other volumes or, once
  it is out, from a source, the band before it is never above that behind it without touching it; and where such ways,
  one after another, lead to the open air, their volumes are in their lowest bands (`lost_for_good`).

Where a part must move no time passes, so nothing is asked of the air there.

Within closed bands a net flow that is above nothing for all pressures is never less than some amount, so the volume
crosses in the end (`driven`). This is so for all sizes; an unsized passage between bands apart carries more than nothing,
however small it is. Where the band of a neighbour begins just where the volume's ends, the two could draw near to that
one pressure for ever; not so if the neighbour has to rise from there (`via`), which is to be the same neighbour all
the round: a to and fro of two can hold both there.

A volume that is due upward in a whole round cannot fall in it, and so cannot come back once it has crossed; nor is a move
of a part due after it has been made. So what is due in every state of a round has not happened in it, and that each
such thing happens is to say that nothing is due in every state of it.

*The last of these:* take the places that air can get to from behind the way, at one time of the round or another. If the
place before it is not among them, those that are not only ever lose air, and they hold no source; so in all that goes
through the way is finite. Pressures do not jump, so if they came to differ by some amount again and again, with the way
always open, some least air would go through it each time. So in the end they do not, and no more do those at the ends of
several such ways (after I. Barbalat, "Systemes d'equations differentielles d'oscillations non lineaires", Rev. Roumaine
Math. Pures Appl. 4 (1959)).
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from bandproof.machine.layout import Layout
from bandproof.machine.monitor import applies, bad
from bandproof.machine.semantics import Reading, must_moves, pending
from bandproof.machine.story import State
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Range
from bandproof.physics.iso6358 import flow_bounds
from bandproof.properties.claim import Property


def goes_round(layout: Layout, claim: Property, states: Sequence[State], loop: int | None) -> str | None:
    """None when the states go round for ever, from that of index `loop` on, as the claim forbids; else why not.

    The states are those of a run, with what pace counters and windows remember.
    """
    monitor = layout.monitor(claim)
    if not monitor.endless:
        return "the claim says nothing of runs that go round for ever"
    if loop is None:
        return "it is not told from which state on the run goes round"
    if states[loop] != states[-1]:
        return f"the last state is not state {loop} again"
    around = states[loop:]
    if any((s.controls, s.mishaps) != (states[loop].controls, states[loop].mishaps) for s in around):
        return "the driver acts, or something happens, while it goes round"
    if not all(applies(layout, monitor, state) for state in around):
        return "the condition of the claim does not hold in all states of the round"
    if not any(bad(layout, monitor, monitor.states[0], state) for state in around):
        return "what the claim says holds in all states of the round"
    waiting = due_throughout(layout, around)
    if waiting:
        return f"in every state of the round {min(waiting)}"
    for volume, end in sorted(lost_for_good(layout, around)):
        return f"air goes from {volume} to {end} for good, round after round"
    return None


def due_throughout(layout: Layout, states: Sequence[State]) -> frozenset[str]:
    """What is due in every one of the states, in words; what volumes owe, in every one in which time passes."""
    lasting = [state for state in states if not pending(layout, state)]
    if not lasting:
        return frozenset({"a part must move, so that no time passes"})
    moves = frozenset.intersection(*(_moves_due(layout, state) for state in states))
    return moves | frozenset.intersection(*(_crossings_due(layout, state) for state in lasting))


def lost_for_good(layout: Layout, states: Sequence[State]) -> frozenset[tuple[str, str]]:
    """From where to where air goes for good in a round through these states, though the two come to differ in some."""
    readings = [Reading(layout, state) for state in states]
    lasting = [reading for reading in readings if not pending(layout, reading.state)]
    could = {way for reading in lasting for way in _ways(reading) if not reading.surely_above(way[1], way[0])}
    always = set[tuple[str, str]].intersection(*map(_ways, lasting))
    ways = {(u, v) for u, v in always if u not in _reached(v, could | {(ATMOSPHERE, SOURCE)})}
    out = _reached(ATMOSPHERE, {(v, u) for u, v in ways}) - {ATMOSPHERE, SOURCE}
    return frozenset(way for way in ways | {(u, ATMOSPHERE) for u in out} if any(apart(r, *way) for r in readings))


def apart(reading: Reading, above: str, below: str) -> bool:
    """The closed band of the one is above that of the other and does not touch it."""
    return reading.low(above) > reading.high(below)


def _reached(start: str, ways: set[tuple[str, str]]) -> set[str]:
    """Where the ways lead from a place, one after another."""
    reached = {start}
    while more := {v for u, v in ways if u in reached and v not in reached}:
        reached |= more
    return reached


def _ways(reading: Reading) -> set[tuple[str, str]]:
    """Where air can go through open passages."""
    return {(u, v) for u, v in reading.open_ways() if u not in (v, ATMOSPHERE) and v != SOURCE} - {(SOURCE, ATMOSPHERE)}


def _crossings_due(layout: Layout, state: State) -> frozenset[str]:
    """The crossings that would have to happen in the end if the run stayed in this state."""
    reading = Reading(layout, state)
    return frozenset(
        f"{volume.name} is due to {'rise' if upward else 'fall'}{f' after {via}' if via else ''}"
        for volume in layout.arrangement.volumes
        for upward in (True, False)
        for via in (None, *reading.band)
        if driven(reading, volume.name, upward=upward, via=via)
    )


def _moves_due(layout: Layout, state: State) -> frozenset[str]:
    """The moves of slow parts that would."""
    reading = Reading(layout, state)
    return frozenset(
        f"{part.name} is due by its move {part.moves.index(move) + 1}"
        for part in layout.arrangement.parts
        if part.delayed
        for move in must_moves(reading, part)
    )


def driven(reading: Reading, volume: str, *, upward: bool, via: str | None = None) -> bool:
    """The volume's net inflow (not `upward`: outflow) stays above nothing as long as all volumes stay in their bands.

    Never upward in the last band, which ends at the highest pressure of all, nor downward in the first. `via` is the
    neighbour, if any, that may draw near to the volume's band, where its own flow is looked at too.
    """
    return _gains(reading, volume, reading.span(volume), upward=upward, via=via)


def _gains(reading: Reading, volume: str, own: Range, *, upward: bool, via: str | None) -> bool:
    """The same for pressures of the volume in `own`.

    It is so when no unsized passage could work against it, and the least that sized passages bring is more than nothing,
    or nothing and there is a passage, of any size, that brings more than it is reckoned with.
    """
    least, more = Fraction(0), False
    for passage in reading.open_passages():
        if (passage.upstream == volume) == (passage.downstream == volume):
            continue
        inward = passage.downstream == volume
        node = passage.upstream if inward else passage.downstream
        other = reading.span(node)
        if passage.size is None:
            with_it = other.low >= own.high if upward else other.high <= own.low
            if not with_it and (not passage.one_way or inward != upward):
                return False
        else:
            up, down = (other, own) if inward else (own, other)
            flow = flow_bounds(
                passage.size, up, down, atmosphere=reading.arrangement.atmosphere, one_way=passage.one_way
            )
            least += flow.low if inward == upward else -flow.high
        if not passage.one_way or inward == upward:
            apart = passage.size is None and (other.low > own.high if upward else other.high < own.low)
            more = more or apart or (node == via and _leaves(reading, node, own, upward=upward))
    return least > 0 or (least == 0 and more)


def _leaves(reading: Reading, node: str, own: Range, *, upward: bool) -> bool:
    """The band of a neighbour begins where `own` ends (not `upward`: ends where it begins), and it cannot stay about there."""
    mark = own.high if upward else own.low
    if mark != (reading.low(node) if upward else reading.high(node)):
        return False
    return _gains(reading, node, Range(mark, mark), upward=upward, via=None)
