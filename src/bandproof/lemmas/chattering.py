"""Which parts could chatter between states while a run is said to stand in one.

A valve that opens and shuts at the same pressure, or a shuttle between two equal pressures, can flick to and fro faster
than any story tells, and so hold a pressure where it is; the ideal fast part then moves without end in no time. A run
like that is real, so while it is possible the passages of every state involved may carry air. It is possible only where
all moves round some cycle of the part's states can be due at the same pressures.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from fractions import Fraction

from bandproof.lemmas.cubes import Needs
from bandproof.model.arrangement import Move, Part
from bandproof.model.conditions import (
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Condition,
    InState,
    Lower,
    NotInState,
    NotLower,
)
from bandproof.model.walker import Walker

NOTHING: Needs = frozenset()


def cycles(part: Part) -> list[tuple[Move, ...]]:
    """Every way round from a state to itself that passes no state twice, each once."""
    found: list[tuple[Move, ...]] = []
    place = {state: number for number, state in enumerate(part.states)}

    def extend(path: tuple[Move, ...]) -> None:
        for move in part.moves:
            if move.source != path[-1].target or move.target == move.source:
                continue
            if move.target == path[0].source:
                found.append((*path, move))
            elif place[move.target] > place[path[0].source] and move.target not in {m.source for m in path}:
                extend((*path, move))

    for move in part.moves:
        if place[move.target] > place[move.source]:
            extend((move,))
    return found


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What is known while a part might chatter.

    `floor` and `ceiling` give the pressures a volume has, `floor <= p < ceiling`, and `truth` whether a leaf about
    parts, controls and mishaps, of either polarity, holds (None: unknown); each with what says so.
    """

    floor: Callable[[str], tuple[Fraction, Needs]]
    ceiling: Callable[[str], tuple[Fraction, Needs]]
    truth: Callable[[Condition], tuple[bool | None, Needs]]


@dataclass(frozen=True, slots=True)
class _Asked:
    """What has been taken as asked so far: per volume a least and a greatest pressure, and pairs to be in order."""

    least: dict[str, Fraction] = field(default_factory=dict)
    greatest: dict[str, Fraction] = field(default_factory=dict)
    pairs: tuple[Lower, ...] = ()


class Chattering:
    """For every fast part, the states it could take part in while it is said to stand in one of some."""

    def __init__(self, parts: tuple[Part, ...]) -> None:
        self._cycles = {part.name: [] if part.delayed else cycles(part) for part in parts}
        #: Parts that might chatter themselves, so that a guard may find them in any of their states.
        self._restless = {name for name, found in self._cycles.items() if found}

    def reach(self, part: Part, stands: frozenset[str], around: Surroundings) -> tuple[frozenset[str], Needs]:
        """The states the part could be in, and why it could be in no others."""
        reached = set(stands)
        why: Needs = NOTHING
        waiting = list(self._cycles[part.name])
        growing = True
        while growing:
            growing = False
            for cycle in list(waiting):
                states = {move.source for move in cycle}
                if not states & reached or states <= reached:
                    continue
                waiting.remove(cycle)
                clash = _Clash(self._restless | {part.name}, around).of(tuple(move.when for move in cycle))
                if clash is None:
                    reached |= states
                    growing = True
                else:
                    why |= clash
        return frozenset(reached), why


class _Clash(Walker[Needs | None]):
    """Why a condition, what has been `asked` and the `rest` cannot be met at the same pressures; None when they can.

    What is said of parts that may chatter themselves (`restless`) asks for nothing.
    """

    __slots__ = ("_around", "_asked", "_rest", "_restless")

    def __init__(
        self,
        restless: set[str],
        around: Surroundings,
        asked: _Asked | None = None,
        rest: tuple[Condition, ...] = (),
    ) -> None:
        self._restless = restless
        self._around = around
        self._asked = asked or _Asked()
        self._rest = rest

    def of(self, demands: tuple[Condition, ...]) -> Needs | None:
        """The same for several conditions; any `rest` is left aside."""
        if not demands:
            return _compared(self._asked, self._around)
        first, *rest = demands
        return _Clash(self._restless, self._around, self._asked, tuple(rest)).walk(first)

    def _then(self, asked: _Asked) -> Needs | None:
        return _Clash(self._restless, self._around, asked).of(self._rest)

    def all_of(self, node: AllOf) -> Needs | None:
        return self.of((*node.items, *self._rest))

    def any_of(self, node: AnyOf) -> Needs | None:
        found: Needs = NOTHING
        for item in node.items:
            clash = self.walk(item)
            if clash is None:
                return None
            found |= clash
        return found

    def at_least(self, node: AtLeast) -> Needs | None:
        asked = self._asked
        least = max(node.low, asked.least.get(node.volume, node.low))
        return self._then(replace(asked, least={**asked.least, node.volume: least}))

    def below(self, node: Below) -> Needs | None:
        asked = self._asked
        greatest = min(node.high, asked.greatest.get(node.volume, node.high))
        return self._then(replace(asked, greatest={**asked.greatest, node.volume: greatest}))

    def lower(self, node: Lower) -> Needs | None:
        return self._then(replace(self._asked, pairs=(*self._asked.pairs, node)))

    def not_lower(self, node: NotLower) -> Needs | None:
        # Boundaries count as met either way, so this is the pair the other way round.
        return self.lower(Lower(node.other, node.volume))

    def in_state(self, node: InState) -> Needs | None:
        return self._then(self._asked) if node.part in self._restless else self.other(node)

    def not_in_state(self, node: NotInState) -> Needs | None:
        return self._then(self._asked) if node.part in self._restless else self.other(node)

    def other(self, node: Condition) -> Needs | None:
        holds, why = self._around.truth(node)
        return why if holds is False else self._then(self._asked)


def _compared(asked: _Asked, around: Surroundings) -> Needs | None:
    for volume, least in asked.least.items():
        if volume in asked.greatest and least > asked.greatest[volume]:
            return NOTHING
        ceiling, why = around.ceiling(volume)
        if why and least >= ceiling:
            return why
    for volume, greatest in asked.greatest.items():
        floor, why = around.floor(volume)
        if greatest < floor:
            return why
    for pair in asked.pairs:
        floor, low = around.floor(pair.volume)
        ceiling, high = around.ceiling(pair.other)
        if low and high and floor >= ceiling:
            return low | high
    return None
