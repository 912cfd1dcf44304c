"""Claims about runs that go on for ever, as searches for a round that a run could go for ever.

What such a round has to be like is said at the head of `bandproof.machine.endless`; this is the same as formulas. What
has to hold in some state of the round each, is a bit that remembers that it has; so are, for each two places that can
be joined, that air could go from one to the other, that nothing joined them, and that the one was well above the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from bandproof.encoding.bits import BitSort
from bandproof.encoding.circuit import FALSE, TRUE, negate
from bandproof.encoding.encode import Encoding
from bandproof.encoding.flow import FlowRule
from bandproof.encoding.loops import Loop, changes, looping
from bandproof.encoding.problem import Problem
from bandproof.model.arrangement import ATMOSPHERE, SOURCE

#: What only acts change.
_HANDS = (BitSort.CONTROL, BitSort.MISHAP)

#: What does not change in a round: the claim's own run has begun, and nobody acts.
_HELD = (*_HANDS, BitSort.PASSED)


def endless(encoding: Encoding, flow: FlowRule, problem: Problem) -> Problem:
    """The search for a fair round without acts in which the problem's `applies` holds throughout, and `bad` once."""
    acts = changes(problem, [bit for bit in problem.bits if bit.sort in _HANDS])
    throughout = problem.circuit.both(problem.applies, negate(acts))
    ends, air = _fair(encoding, flow), _Air(encoding, flow)
    said = (*ends.items(), (problem.bad, "the claim's end fails"), *air.said())
    loop = Loop(tuple(ends), throughout, wanted=(problem.bad,), says=said, noted=air.noted(), closing=air.can_go_round)
    return looping(problem, loop, held=lambda bit: bit.sort in _HELD)


def _fair(encoding: Encoding, flow: FlowRule) -> dict[int, str]:
    """What has to hold in some state of a round each, over the state's bits, with its words."""
    c, quiet = encoding.circuit, negate(encoding.pending())
    ends = {quiet: "time passes"}
    for volume in encoding.arrangement.volumes:
        for upward, way in ((True, "rise"), (False, "fall")):
            for waits, after in _waits(flow, volume.name, upward=upward).items():
                if waits != FALSE:
                    ends.setdefault(c.both(quiet, negate(waits)), f"{volume.name} is not due to {way}{after}")
    for part in encoding.arrangement.parts:
        for move, due in encoding.due_moves(part).items() if part.delayed else ():
            words = f"{part.name} is not due to move from {move.source} to {move.target} (move {part.moves.index(move) + 1})"
            ends.setdefault(negate(due), words)
    return ends


def _waits(flow: FlowRule, volume: str, *, upward: bool) -> dict[int, str]:
    """The volume is due, by itself or after a neighbour; what it is by itself it is after any neighbour too."""
    plain = flow.driven(volume, upward=upward)
    after = {flow.driven(volume, upward=upward, via=via): f" after {via}" for via in flow.neighbours(volume)}
    return {waits: words for waits, words in after.items() if waits != plain} or {plain: ""}


@dataclass(frozen=True, slots=True)
class _Way:
    """From one node to another: while time passes air could go there, or there is no way; the first is well above."""

    could: int
    shut: int
    above: int


class _Air:
    """What goes from where to where in a round."""

    def __init__(self, encoding: Encoding, flow: FlowRule) -> None:
        self._e = encoding
        c, quiet = encoding.circuit, negate(encoding.pending())
        joined: dict[tuple[str, str], list[int]] = {}
        for u, v, is_open in encoding.ways():
            if u != ATMOSPHERE and v != SOURCE and (u, v) != (SOURCE, ATMOSPHERE):
                joined.setdefault((u, v), []).append(is_open)
        self._ways = {
            (u, v): _Way(
                c.all_of([quiet, c.any_of(passages), negate(encoding.surely_above(v, u))]),
                c.both(quiet, negate(c.any_of(passages))),
                flow.apart(u, v),
            )
            for (u, v), passages in joined.items()
        }

        self._filled = {v.name: flow.apart(v.name, ATMOSPHERE) for v in encoding.arrangement.volumes}

    def noted(self) -> tuple[int, ...]:
        """What has to be remembered of a round."""
        of_ways = (literal for way in self._ways.values() for literal in (way.could, way.shut, way.above))
        return (*of_ways, *self._filled.values())

    def said(self) -> tuple[tuple[int, str], ...]:
        """The same with words."""
        found: list[tuple[int, str]] = []
        for (u, v), way in self._ways.items():
            found.append((way.could, f"air can go from {u} to {v}"))
            found.append((way.shut, f"no way is open from {u} to {v}"))
            found.append((way.above, f"the band of {u} is above that of {v} and does not touch it"))
        return (*found, *((filled, f"{volume} is above its lowest band") for volume, filled in self._filled.items()))

    def can_go_round(self, seen: Mapping[int, int]) -> int:
        """No way that air takes for good is from well above to below, and none to the open air from above the lowest band."""
        c = self._e.circuit
        nodes = list(dict.fromkeys(node for ends in self._ways for node in ends))
        could = [(u, v, seen[way.could]) for (u, v), way in self._ways.items()]
        if {ATMOSPHERE, SOURCE} <= set(nodes):
            could.append((ATMOSPHERE, SOURCE, TRUE))
        back = {end: self._e.spread(nodes, {end: TRUE}, could) for end in dict.fromkeys(v for _, v in self._ways)}
        for_good = {(u, v): c.both(negate(seen[way.shut]), negate(back[v][u])) for (u, v), way in self._ways.items()}
        out = self._e.spread(nodes, {ATMOSPHERE: TRUE}, [(v, u, good) for (u, v), good in for_good.items()])
        apart = [c.both(for_good[ends], seen[way.above]) for ends, way in self._ways.items()]
        apart += [c.both(out[volume], seen[filled]) for volume, filled in self._filled.items() if volume in out]
        return c.all_of(map(negate, apart))
