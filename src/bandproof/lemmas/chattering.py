"""Which parts could chatter between states while a run is said to stand in one.

A valve that opens and shuts at the same pressure, or a shuttle between two equal pressures, can flick to and fro faster
than any story tells, and so hold a pressure where it is; the ideal fast part then moves without end in no time. A run
like that is real, so while it is possible the passages of every state involved may carry air. It is possible only where
all moves round some cycle of the part's states can be due at the same pressures.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction

from bandproof.lemmas.cubes import Needs
from bandproof.model.arrangement import Move, Part
from bandproof.model.conditions import AllOf, AnyOf, AtLeast, Below, Condition, InState, Lower, Not

#: A demand inside a guard: a condition, and whether it is to hold or to fail.
Demand = tuple[Condition, bool]

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

    `floor` and `ceiling` give the pressures a volume has, `floor <= p < ceiling`, and `truth` whether a condition on
    parts, controls and mishaps holds (None: unknown); each with what says so.
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
        self._cycles = {part.name: [] if part.slow else cycles(part) for part in parts}
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
                clash = self._clash([(move.when, True) for move in cycle], _Asked(), part.name, around)
                if clash is None:
                    reached |= states
                    growing = True
                else:
                    why |= clash
        return frozenset(reached), why

    def _clash(self, demands: list[Demand], asked: _Asked, own: str, around: Surroundings) -> Needs | None:
        """None when all demands can be met at the same pressures; else what is known that rules it out."""
        if not demands:
            return _compared(asked, around)
        (condition, want), *rest = demands
        match condition:
            case Not(item):
                return self._clash([(item, not want), *rest], asked, own, around)
            case AllOf(items) | AnyOf(items):
                if isinstance(condition, AllOf) == want:
                    return self._clash([*((item, want) for item in items), *rest], asked, own, around)
                found: Needs = NOTHING
                for item in items:
                    clash = self._clash([(item, want), *rest], asked, own, around)
                    if clash is None:
                        return None
                    found |= clash
                return found
            case Below(volume, low, high) | AtLeast(volume, low, high):
                if isinstance(condition, AtLeast) == want:
                    least = {**asked.least, volume: max(low, asked.least.get(volume, low))}
                    return self._clash(rest, _Asked(least, asked.greatest, asked.pairs), own, around)
                greatest = {**asked.greatest, volume: min(high, asked.greatest.get(volume, high))}
                return self._clash(rest, _Asked(asked.least, greatest, asked.pairs), own, around)
            case Lower(volume, other):
                pair = condition if want else Lower(other, volume)
                return self._clash(rest, _Asked(asked.least, asked.greatest, (*asked.pairs, pair)), own, around)
            case InState(name) if name in self._restless or name == own:
                return self._clash(rest, asked, own, around)
            case _:
                holds, why = around.truth(condition)
                return self._clash(rest, asked, own, around) if holds in (None, want) else why


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
