"""Circles: moves of one part that lead it back to where it began, and whether they can be made one after another.

Both questions about moves without end start here: can parts move for ever while no time passes
(`bandproof.machine.hunting`), and can they move for ever with the hands off (`bandproof.machine.unrest`)?

A circle *can be run* when each of its guards can hold with

- one number for every setting with tolerance: a part that uses a setting in two guards has one number for it;
- one position for every control and one answer for every mishap;
- one pressure for every volume that stands still; for the others each move has a pressure of its own;
- one state for every part that stands still; for those that move too each move has a state of its own.

Limits: nothing is asked of how the pressures and the other parts get from one move to the next, so more circles can be
run here than in any vehicle.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import product

from bandproof.model.arrangement import Arrangement, Move, Part
from bandproof.model.conditions import (
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Condition,
    Happened,
    InPosition,
    InState,
    Leaf,
    Lower,
    NotHappened,
    NotInPosition,
    NotInState,
    NotLower,
    Truth,
)
from bandproof.model.walker import Walker, leaves, normal_form, opposite


@dataclass(frozen=True, slots=True)
class Circle:
    """Moves of `part`, each from where the one before it leads, the first from where the last one leads.

    `needs` are conditions that have to hold besides the moves' guards, all the time that it is run.
    """

    part: str
    moves: tuple[Move, ...]
    needs: tuple[Condition, ...] = ()

    @property
    def states(self) -> frozenset[str]:
        """The states it goes through."""
        return frozenset(move.source for move in self.moves)


def circles(part: Part) -> Iterator[Circle]:
    """Every circle of a part that goes through no state twice. Of several moves between two states each makes its own.

    A part that moves without end runs some of these without end. A move that leads to where the part is changes
    nothing and makes none.
    """
    order = {state: number for number, state in enumerate(part.states)}
    moves = [move for move in part.moves if move.source != move.target]

    def onward(path: tuple[Move, ...]) -> Iterator[Circle]:
        first, here = path[0].source, path[-1].target
        if here == first:
            yield Circle(part.name, path)
            return
        passed = {move.source for move in path}
        for move in moves:
            # Each circle is told once, from the first of its states.
            if move.source == here and move.target not in passed - {first} and order[move.target] >= order[first]:
                yield from onward((*path, move))

    for move in moves:
        if order[move.target] > order[move.source]:
            yield from onward((move,))


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What stands still while a circle is run: volumes at one pressure. Parts in `moving` move too; others do not."""

    arrangement: Arrangement
    steady: frozenset[str]
    moving: frozenset[str]


def can_be_run(circle: Circle, around: Surroundings) -> bool:
    """Whether every guard of the circle can hold, as said at the head of this module."""

    def from_move(number: int, known: _Known) -> bool:
        if number == len(circle.moves):
            return True
        move = circle.moves[number]
        return any(
            (more := known.with_all(way, _Naming(around, circle.part, move.source, number))) is not None
            and from_move(number + 1, more)
            for way in _ways(move.when)
        )

    known = _Known(around.arrangement)
    for ways in product(*map(_ways, circle.needs)):
        begun = known.with_all(tuple(leaf for way in ways for leaf in way), _Naming(around, circle.part, "", -1))
        if begun is not None and from_move(0, begun):
            return True
    return False


def staying(part: Part, circle: Circle, around: Surroundings) -> Circle:
    """The circle, with what it needs if its part is not to leave it by a move that is due whatever the pressures do.

    In a state of the circle in which the part has to wait for pressures to change, a move with a guard about controls and
    mishaps alone would be made at once. It has to wait where the guards of the moves to and from the state cannot hold
    at one pressure.
    """
    still = Surroundings(around.arrangement, frozenset(v.name for v in around.arrangement.volumes), around.moving)
    before = dict(zip((move.target for move in circle.moves), circle.moves, strict=True))
    needs = [
        opposite(exit_.when)
        for onward in circle.moves
        for exit_ in part.moves
        if exit_.source == onward.source
        and exit_ not in circle.moves
        and exit_.target != exit_.source
        and all(isinstance(leaf, _CONSTANT) for leaf in leaves(exit_.when))
        and not can_be_run(Circle(part.name, (before[onward.source], onward)), still)
    ]
    return Circle(circle.part, circle.moves, tuple(dict.fromkeys(needs)))


#: What stands still with the hands off.
_CONSTANT = (InPosition, NotInPosition, Happened, NotHappened, Truth)


# ------------------------------------------------------------------------------------ conditions as lists of leaves


def _ways(condition: Condition) -> list[tuple[Leaf, ...]]:
    """Lists of leaves; the condition holds where all leaves of one list do."""
    return _WAYS.walk(normal_form(condition))


class _Ways(Walker[list[tuple[Leaf, ...]]]):
    __slots__ = ()

    def other(self, node: Condition) -> list[tuple[Leaf, ...]]:
        assert isinstance(node, Leaf)
        return [(node,)]

    def truth(self, node: Truth) -> list[tuple[Leaf, ...]]:
        return [()] if node.value else []

    def all_of(self, node: AllOf) -> list[tuple[Leaf, ...]]:
        return [tuple(leaf for way in ways for leaf in way) for ways in product(*map(self.walk, node.items))]

    def any_of(self, node: AnyOf) -> list[tuple[Leaf, ...]]:
        return [way for item in node.items for way in self.walk(item)]


_WAYS = _Ways()


# --------------------------------------------------------------------------- what has been taken to hold, all at once

#: An unknown pressure or setting; `()` stands for gauge pressure zero.
_Unknown = tuple[object, ...]
_ZERO: _Unknown = ()

#: The difference of two unknowns is at most this; below it where the second is False.
_Bound = tuple[Fraction, bool]


@dataclass(frozen=True, slots=True)
class _Naming:
    """Which unknowns the leaves of one move's guard speak of: `number` is the move's place in its circle."""

    around: Surroundings
    part: str
    source: str
    number: int

    def pressure(self, volume: str) -> _Unknown:
        return ("p", volume) if volume in self.around.steady else ("p", volume, self.number)

    def part_state(self, part: str) -> object:
        return ("part", part, self.number) if part in self.around.moving else ("part", part)


@dataclass(frozen=True, slots=True)
class _Known:
    """Leaves that hold together, so far as is seen: differences of unknowns, and what everything else may be."""

    arrangement: Arrangement
    bounds: dict[tuple[_Unknown, _Unknown], _Bound] = field(default_factory=dict)
    choices: dict[object, frozenset[object]] = field(default_factory=dict)

    def with_all(self, way: tuple[Leaf, ...], naming: _Naming) -> _Known | None:
        """The same with more leaves; None when they contradict each other."""
        more = _Known(self.arrangement, dict(self.bounds), dict(self.choices))
        if all(more._add(leaf, naming) for leaf in way) and more._consistent():
            return more
        return None

    def _add(self, leaf: Leaf, naming: _Naming) -> bool:
        """Take a leaf in; False when it contradicts a choice."""
        match leaf:
            case Below(volume, _, _):
                self._at_most(self._pressure(naming, volume), self._setting(leaf), closed=False)
            case AtLeast(volume, _, _):
                self._at_most(self._setting(leaf), self._pressure(naming, volume), closed=True)
            case Lower(volume, other):
                self._at_most(self._pressure(naming, volume), self._pressure(naming, other), closed=False)
            case NotLower(volume, other):
                self._at_most(self._pressure(naming, other), self._pressure(naming, volume), closed=True)
            case InState(part, states):
                return self._stands(naming, part, states)
            case NotInState(part, states):
                return self._stands(naming, part, frozenset(self.arrangement.part(part).states) - states)
            case InPosition(control, positions):
                return self._choose(("control", control), positions)
            case NotInPosition(control, positions):
                rest = frozenset(self.arrangement.control(control).positions) - positions
                return self._choose(("control", control), rest)
            case Happened(mishap):
                return self._choose(("mishap", mishap), frozenset({True}))
            case NotHappened(mishap):
                return self._choose(("mishap", mishap), frozenset({False}))
            case Truth(value):
                return value
        return True

    def _stands(self, naming: _Naming, part: str, states: frozenset[str]) -> bool:
        if part == naming.part:
            return naming.source in states
        return self._choose(naming.part_state(part), states)

    def _choose(self, key: object, values: frozenset[str] | frozenset[bool]) -> bool:
        left = self.choices.get(key, values) & values
        self.choices[key] = frozenset(left)
        return bool(left)

    def _pressure(self, naming: _Naming, volume: str) -> _Unknown:
        unknown = naming.pressure(volume)
        self._within(unknown, Fraction(0), self.arrangement.highest)
        return unknown

    def _setting(self, leaf: Below | AtLeast) -> _Unknown:
        """The unknown number a leaf compares with. An unnamed one is a number of its own each time: that only adds runs."""
        name = (leaf.setting, leaf.low, leaf.high)
        unknown: _Unknown = ("s", *name) if leaf.setting is not None else ("s", *name, len(self.bounds))
        self._within(unknown, leaf.low, leaf.high)
        return unknown

    def _within(self, unknown: _Unknown, low: Fraction, high: Fraction) -> None:
        self._difference(unknown, _ZERO, (high, True))
        self._difference(_ZERO, unknown, (-low, True))

    def _at_most(self, one: _Unknown, other: _Unknown, *, closed: bool) -> None:
        self._difference(one, other, (Fraction(0), closed))

    def _difference(self, one: _Unknown, other: _Unknown, bound: _Bound) -> None:
        """`one` minus `other` is at most (below, where the bound is not closed) the bound."""
        known = self.bounds.get((one, other))
        self.bounds[one, other] = bound if known is None else min(known, bound)

    def _consistent(self) -> bool:
        """Some numbers satisfy all differences: no chain of them leads from an unknown to less than itself.

        R. W. Floyd, "Algorithm 97: Shortest Path" (1962); a closed bound is the larger of two with one number.
        """
        unknowns = list({unknown for pair in self.bounds for unknown in pair})
        least = dict(self.bounds)
        for via in unknowns:
            for one in unknowns:
                first = least.get((one, via))
                for other in unknowns if first is not None else ():
                    second = least.get((via, other))
                    if first is None or second is None:
                        continue
                    through = (first[0] + second[0], first[1] and second[1])
                    if (one, other) not in least or through < least[one, other]:
                        least[one, other] = through
        return all(least.get((unknown, unknown), (Fraction(0), True)) >= (Fraction(0), True) for unknown in unknowns)
