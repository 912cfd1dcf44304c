"""The margins of all guards of a fleet's moves, worked out together, for every step asks for all of them.

The same numbers as `margins` gives one guard at a time (a test compares them): first the leaves, as differences of two
rows of pressures or as entries of a table of states, then the `and`s and `or`s above them, those of one height together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import (
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Condition,
    Happened,
    InPosition,
    InState,
    Lower,
    NotHappened,
    NotInPosition,
    NotInState,
    NotLower,
    Truth,
)
from bandproof.model.walker import Walker, normal_form
from bandproof.simulation.airflow import Floats
from bandproof.simulation.margins import EQUAL, Integers, Sight, Thresholds


@dataclass(frozen=True, slots=True)
class _Leaf:
    """A leaf: its number among the differences of pressures, or among the states looked up."""

    number: int
    looked_up: bool


@dataclass(frozen=True, slots=True)
class _Join:
    """The least (`and`) or the greatest (`or`) of some items; `height` above the leaves."""

    join: np.ufunc
    items: tuple[_Leaf | _Join, ...]
    height: int


_Node = _Leaf | _Join


class Guards:
    """Gives the margins of the guards of moves, (moves, vehicles), for a Sight of the fleet."""

    def __init__(self, arrangement: Arrangement, count: int, guards: Sequence[tuple[Condition, Thresholds]]) -> None:
        """`guards`: the condition of each move, with the thresholds that the `count` vehicles of the fleet have there."""
        leaves = _Leaves(arrangement, count)
        roots = [_Tree(leaves, thresholds).walk(normal_form(when)) for when, thresholds in guards]
        self._more, self._less = (np.array(rows, dtype=np.intp) for rows in (leaves.more, leaves.less))
        self._offset = np.array(leaves.offsets).reshape(len(leaves.offsets), count)
        self._rows = np.array(leaves.rows, dtype=np.intp)
        self._which = np.arange(len(leaves.rows), dtype=np.intp)[:, None]
        self._signs = leaves.table()
        self._layers, self._roots = _layers(roots, len(leaves.offsets), len(leaves.rows))

    def __call__(self, sight: Sight) -> Floats:
        """The margins of all guards, pascals."""
        pressures = np.concatenate([sight.pressures, np.zeros((1, len(sight.who)))])
        states = np.concatenate([sight.parts, sight.controls, sight.mishaps], dtype=np.intp, casting="unsafe")
        differences = pressures[self._more] - pressures[self._less] - self._offset[:, sight.who]
        known = np.concatenate([differences, self._signs[self._which, states[self._rows]]])
        for join, members, starts in self._layers:
            known = np.concatenate([known, join.reduceat(known[members], starts, axis=0)])
        return np.asarray(known[self._roots])


class _Leaves:
    """The leaves met so far.

    Rows of pressures are the volumes and, last, nothing; rows of states are parts, controls and mishaps.
    """

    def __init__(self, arrangement: Arrangement, count: int) -> None:
        self.more: list[int] = []
        self.less: list[int] = []
        self.offsets: list[Floats] = []
        self.rows: list[int] = []
        self._signs: list[list[float]] = []
        self._count = count
        self._volumes = {name: i for i, name in enumerate([*(v.name for v in arrangement.volumes), ""])}
        states = [(part.name, part.states) for part in arrangement.parts]
        states += [(control.name, control.positions) for control in arrangement.controls]
        self._states = {name: (i, names) for i, (name, names) in enumerate(states)}
        self._mishaps = {mishap.name: len(states) + i for i, mishap in enumerate(arrangement.mishaps)}

    def difference(self, more: str, less: str, offset: Floats | float) -> _Leaf:
        """How far one volume exceeds another by more than an offset; "" stands for nothing."""
        self.more.append(self._volumes[more])
        self.less.append(self._volumes[less])
        self.offsets.append(np.full(self._count, offset))
        return _Leaf(len(self.offsets) - 1, looked_up=False)

    def state(self, name: str, states: frozenset[str], *, wanted: bool) -> _Leaf:
        """Whether a part or a control is in one of some states or positions."""
        row, names = self._states[name]
        return self._looked_up(row, [(one in states) is wanted for one in names])

    def mishap(self, name: str, *, wanted: bool) -> _Leaf:
        """Whether a mishap has happened."""
        return self._looked_up(self._mishaps[name], [not wanted, wanted])

    def _looked_up(self, row: int, right: list[bool]) -> _Leaf:
        self.rows.append(row)
        self._signs.append([np.inf if one else -np.inf for one in right])
        return _Leaf(len(self.rows) - 1, looked_up=True)

    def table(self) -> Floats:
        """The margin of every looked-up leaf (rows) in every state (columns)."""
        found = np.zeros((len(self._signs), max(map(len, self._signs), default=0)))
        for row, signs in zip(found, self._signs, strict=True):
            row[: len(signs)] = signs
        return found


class _Tree(Walker[_Node]):
    """Makes the nodes of a guard in negation normal form."""

    __slots__ = ("_leaves", "_thresholds")

    def __init__(self, leaves: _Leaves, thresholds: Thresholds) -> None:
        self._leaves, self._thresholds = leaves, thresholds

    def truth(self, node: Truth) -> _Node:
        return self._leaves.difference("", "", -np.inf if node.value else np.inf)

    def below(self, node: Below) -> _Node:
        return self._leaves.difference("", node.volume, EQUAL - self._thresholds(node))

    def at_least(self, node: AtLeast) -> _Node:
        return self._leaves.difference(node.volume, "", self._thresholds(node) - EQUAL)

    def lower(self, node: Lower) -> _Node:
        return self._leaves.difference(node.other, node.volume, EQUAL)

    def not_lower(self, node: NotLower) -> _Node:
        return self._leaves.difference(node.volume, node.other, -EQUAL)

    def in_state(self, node: InState) -> _Node:
        return self._leaves.state(node.part, node.states, wanted=True)

    def not_in_state(self, node: NotInState) -> _Node:
        return self._leaves.state(node.part, node.states, wanted=False)

    def in_position(self, node: InPosition) -> _Node:
        return self._leaves.state(node.control, node.positions, wanted=True)

    def not_in_position(self, node: NotInPosition) -> _Node:
        return self._leaves.state(node.control, node.positions, wanted=False)

    def happened(self, node: Happened) -> _Node:
        return self._leaves.mishap(node.mishap, wanted=True)

    def not_happened(self, node: NotHappened) -> _Node:
        return self._leaves.mishap(node.mishap, wanted=False)

    def all_of(self, node: AllOf) -> _Node:
        return self._joined(np.minimum, node.items)

    def any_of(self, node: AnyOf) -> _Node:
        return self._joined(np.maximum, node.items)

    def _joined(self, join: np.ufunc, items: tuple[Condition, ...]) -> _Node:
        found = tuple(self.walk(item) for item in items)
        if not found:
            return self.truth(Truth(join is np.minimum))
        return _Join(join, found, 1 + max(_height(one) for one in found))


def _height(node: _Node) -> int:
    return node.height if isinstance(node, _Join) else 0


def _layers(
    roots: Sequence[_Node], differences: int, looked_up: int
) -> tuple[list[tuple[np.ufunc, Integers, Integers]], Integers]:
    """The joins by height, each layer as (join, rows of its members, where each begins), and the rows of the roots."""
    layers: dict[tuple[int, np.ufunc], list[_Join]] = {}
    for root in roots:
        for node in _joins(root):
            layers.setdefault((node.height, node.join), []).append(node)
    ordered = sorted(layers.items(), key=lambda one: (one[0][0], one[0][1] is np.minimum))
    row: dict[int, int] = {}
    made: list[tuple[np.ufunc, Integers, Integers]] = []

    def at(node: _Node) -> int:
        if isinstance(node, _Leaf):
            return node.number + differences * node.looked_up
        return row[id(node)]

    for (_, join), nodes in ordered:
        members = np.array([at(item) for node in nodes for item in node.items], dtype=np.intp)
        starts = np.cumsum([0, *(len(node.items) for node in nodes[:-1])], dtype=np.intp)
        made.append((join, members, starts))
        for node in nodes:
            row[id(node)] = differences + looked_up + len(row)
    return made, np.array([at(root) for root in roots], dtype=np.intp)


def _joins(node: _Node) -> list[_Join]:
    if isinstance(node, _Leaf):
        return []
    return [node, *(join for item in node.items for join in _joins(item))]
