"""An arrangement as formulas: the meaning of `machine/MEANING.md` stated a second time, for the solvers.

Written from that page, not from `bandproof.machine.semantics`, which it must never import: comparing the two state by
state is what the differential tests do.

A band is a thermometer: bit k of volume v says `p(v) >= L_k(v)`. A part or control with two states is one bit, with
more it is one bit per state, exactly one true. A step is a total function of the present bits and of *choice* bits:
each choice names an input (this volume up, that part to this state, this control there) and takes effect only where the
step rule allows it, so every assignment of the choices is a step, or changes nothing.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass
from fractions import Fraction

from bandproof.encoding.bits import Bit, BitSort, FrozenChoice, Group
from bandproof.encoding.circuit import FALSE, TRUE, Circuit, negate
from bandproof.machine.layout import Layout
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Move, Part, Passage, Start, VolumeKind
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
from bandproof.model.walker import Walker


@dataclass(frozen=True, slots=True)
class Counted:
    """The bits of one pace counter: `bands[i]`, its mover has crossed more than i whole bands; its last direction."""

    bands: tuple[int, ...]
    none: int
    up: int
    down: int


class Encoding:
    """The state bits of one layout and every formula over a single state.

    Several can share one `circuit`, told apart by their prefixes; each is best made before formulas are built on any,
    for formulas become smaller by what is known of the bits. `frozen` choices are of one value throughout a run: the
    start leaves them open, and no step changes them.
    """

    def __init__(
        self,
        layout: Layout,
        *,
        circuit: Circuit | None = None,
        prefix: str = "",
        frozen: tuple[FrozenChoice, ...] = (),
    ) -> None:
        self.layout = layout
        self.arrangement = layout.arrangement
        self.circuit = Circuit() if circuit is None else circuit
        self.prefix = prefix
        self.frozen = frozen
        self.bits: list[Bit] = []
        self.levels: dict[str, list[int]] = {}
        self._standing: dict[tuple[BitSort, str | int, str], int] = {}
        self._mishap: dict[str, int] = {}
        self._rules: list[int] = []
        self._kind = {v.name: v.kind for v in self.arrangement.volumes}
        for volume in self.arrangement.volumes:
            self._add_thermometer(volume.name)
        for part in self.arrangement.parts:
            self._add_choice_of(BitSort.PART, part.name, part.states)
        for control in self.arrangement.controls:
            self._add_choice_of(BitSort.CONTROL, control.name, control.positions)
        for mishap in self.arrangement.mishaps:
            self._mishap[mishap.name] = self._bit(BitSort.MISHAP, mishap.name, "present")
        #: For each watch of the layout, the bits of its counter.
        self.counted = [
            self._add_counter(number, watch.allowance) for number, watch in enumerate(layout.timing_constraints)
        ]
        for choice in frozen:
            self._add_choice_of(BitSort.FROZEN, choice.name, choice.values)
        self.well_formed = self.circuit.all_of(self._rules)
        self._grant_rules()

    def _grant_rules(self) -> None:
        groups: dict[Group, list[Bit]] = {}
        for bit in self.bits:
            groups.setdefault(bit.group, []).append(bit)
        literals = [([bit.literal for bit in members], members[0].rank >= 0) for members in groups.values()]
        self.circuit.grant(
            self.well_formed,
            [bits for bits, ordered in literals if ordered],
            [bits for bits, ordered in literals if not ordered and len(bits) > 1],
        )

    def _bit(self, sort: BitSort, subject: str | int, value: str | int | Fraction, rank: int = -1) -> int:
        literal = self.circuit.variable(f"{self.prefix}{sort.value} {subject}: {value}")
        self.bits.append(Bit(literal, sort, subject, value, rank, self.prefix))
        return literal

    def _add_thermometer(self, volume: str) -> None:
        marks = self.layout.thresholds[volume]
        bits = [self._bit(BitSort.VOLUME, volume, mark, rank) for rank, mark in enumerate(marks)]
        self.levels[volume] = bits
        self._rules += [self.circuit.implies(high, low) for low, high in itertools.pairwise(bits)]

    def _add_counter(self, number: int, allowance: int) -> Counted:
        bands = tuple(self._bit(BitSort.COUNT, number, rank + 1, rank) for rank in range(allowance))
        self._rules += [self.circuit.implies(high, low) for low, high in itertools.pairwise(bands)]
        self._add_choice_of(BitSort.LAST, number, ("none", "up", "down"))
        return Counted(bands, *(self._standing[BitSort.LAST, number, value] for value in ("none", "up", "down")))

    def _add_choice_of(self, sort: BitSort, subject: str | int, values: tuple[str, ...]) -> None:
        if len(values) == 1:
            self._standing[sort, subject, values[0]] = TRUE
        elif len(values) == 2:
            second = self._bit(sort, subject, values[1])
            self._standing[sort, subject, values[0]] = negate(second)
            self._standing[sort, subject, values[1]] = second
        else:
            bits = [self._bit(sort, subject, value) for value in values]
            self._standing.update(zip(((sort, subject, v) for v in values), bits, strict=True))
            self._rules.append(self.circuit.exactly_one(bits))

    # ---- single facts

    def part_in(self, part: str, state: str) -> int:
        """`part` is in `state`."""
        return self._standing[BitSort.PART, part, state]

    def control_at(self, control: str, position: str) -> int:
        """`control` stands at `position`."""
        return self._standing[BitSort.CONTROL, control, position]

    def chosen(self, choice: str, value: str) -> int:
        """The frozen `choice` is `value`."""
        return self._standing[BitSort.FROZEN, choice, value]

    def present(self, mishap: str) -> int:
        """`mishap` has happened."""
        return self._mishap[mishap]

    def surely_at_least(self, node: str, pressure: Fraction) -> int:
        """The lowest pressure of the node's band is at or above `pressure`."""
        if node == ATMOSPHERE:
            return TRUE if pressure <= 0 else FALSE
        if node == SOURCE:
            return TRUE if pressure <= self.arrangement.highest else FALSE
        if pressure <= 0:
            return TRUE
        marks = self.layout.thresholds[node]
        above = [bit for mark, bit in zip(marks, self.levels[node], strict=True) if mark >= pressure]
        return above[0] if above else FALSE

    def surely_below(self, node: str, pressure: Fraction) -> int:
        """The band of a volume ends at or below `pressure`; an exact node's pressure is at or below it."""
        if node == ATMOSPHERE:
            return TRUE if pressure >= 0 else FALSE
        if pressure >= self.arrangement.highest:
            return TRUE
        if node == SOURCE:
            return FALSE
        marks = self.layout.thresholds[node]
        under = [bit for mark, bit in zip(marks, self.levels[node], strict=True) if mark <= pressure]
        return negate(under[-1]) if under else FALSE

    def surely_above(self, u: str, v: str) -> int:
        """The pressure of `u` is above that of `v` for every pair of pressures in their bands."""
        if u == ATMOSPHERE or v == SOURCE:
            return FALSE
        if v == ATMOSPHERE:
            if u == SOURCE:
                return TRUE
            return self.levels[u][0] if self.levels[u] else FALSE
        if u == SOURCE:
            return negate(self.levels[v][-1]) if self.levels[v] else FALSE
        marks = sorted({*self.layout.thresholds[u], *self.layout.thresholds[v]})
        return self.circuit.any_of(
            self.circuit.both(self.surely_at_least(u, m), self.surely_below(v, m)) for m in marks
        )

    def condition(self, condition: Condition, *, sure: bool) -> int:
        """The condition holds for every (`sure`), or for some, pressure in the bands and setting in its tolerance."""
        return (_Sure(self) if sure else _Possible(self)).walk(condition)

    def possibly(self, free: Collection[str], *, pressures_free: bool = False) -> Callable[[Condition], int]:
        """Says of a condition that it holds for some pressures and settings, and for some states of the parts in `free`.

        With `pressures_free` the pressures are not those of the present bands but any.
        """
        return _Aside(self, free, pressures_free=pressures_free).walk

    # ---- parts

    def may_move(self, part: Part, source: str, target: str) -> int:
        """Some move of `part` from `source` to `target` may be made."""
        guards = [self.condition(m.when, sure=False) for m in part.moves if (m.source, m.target) == (source, target)]
        return self.circuit.both(self.part_in(part.name, source), self.circuit.any_of(guards))

    def due(self, part: Part) -> int:
        """Some move of `part` to another state is sure to be due."""
        return self.circuit.any_of(self.due_moves(part).values())

    def due_moves(self, part: Part) -> dict[Move, int]:
        """For each move of `part` to another state: it is sure to be due."""
        return {
            m: self.circuit.both(self.part_in(part.name, m.source), self.condition(m.when, sure=True))
            for m in part.moves
            if m.source != m.target
        }

    def excused(self, part: str) -> int:
        """The part need not move: all guards of some circle may hold whose part excuses it."""
        hunts = self.layout.motion.hunting
        could = self.possibly(hunts.parts)
        return self.circuit.any_of(
            self.circuit.all_of([could(move.when) for move in circle.moves])
            for circle in hunts.circles
            if part in hunts.excused_by(circle.part)
        )

    def pending(self) -> int:
        """Some part must move now; delayed parts never must, nor those that are excused."""
        return self.circuit.any_of(
            [
                self.circuit.both(self.due(part), negate(self.excused(part.name)))
                for part in self.arrangement.parts
                if not part.delayed
            ]
        )

    # ---- passages

    def is_open(self, part: Part, passage: Passage) -> int:
        """The passage is open."""
        return self.circuit.any_of([self.part_in(part.name, s) for s in part.states if s in passage.open_in])

    def passages(self) -> Iterable[tuple[Part, Passage, int]]:
        """Every passage with its part and the literal that says it is open."""
        for part in self.arrangement.parts:
            for passage in part.passages:
                if passage.upstream != passage.downstream:
                    yield part, passage, self.is_open(part, passage)

    def ways(self) -> list[tuple[str, str, int]]:
        """Every direction (u, v) air can take through a passage, with the literal that says the passage is open."""
        found: list[tuple[str, str, int]] = []
        for _, passage, is_open in self.passages():
            found.append((passage.upstream, passage.downstream, is_open))
            if not passage.one_way:
                found.append((passage.downstream, passage.upstream, is_open))
        return found

    def spread(self, nodes: list[str], seed: dict[str, int], ways: list[tuple[str, str, int]]) -> dict[str, int]:
        """For each node: it is a seed, or a way whose literal holds leads to it from a node reached so.

        The least such sets solve one equation for each node. Each is solved in turn and put into those still to solve;
        what a node's equation says of the node itself can be left out, for the least solution gains nothing from it.
        """
        c = self.circuit
        from_seed = {node: seed.get(node, FALSE) for node in nodes}
        into: dict[str, dict[str, int]] = {node: {} for node in nodes}
        for u, v, passable in ways:
            if v in into and u in into and u != v:
                into[v][u] = c.either(into[v].get(u, FALSE), passable)
        solved: list[str] = []
        waiting = list(nodes)
        while waiting:
            node = min(waiting, key=lambda n: len(into[n]) * sum(n in into[v] for v in waiting))
            waiting.remove(node)
            solved.append(node)
            for v in waiting:
                through = into[v].pop(node, FALSE)
                if through == FALSE:
                    continue
                from_seed[v] = c.either(from_seed[v], c.both(through, from_seed[node]))
                for u, passable in into[node].items():
                    if u != v:
                        into[v][u] = c.either(into[v].get(u, FALSE), c.both(through, passable))
        reached: dict[str, int] = {}
        for node in reversed(solved):
            ends = (c.both(reached[u], passable) for u, passable in into[node].items())
            reached[node] = c.any_of([from_seed[node], *ends])
        return {node: reached[node] for node in nodes}

    def volumes_of(self, kinds: Iterable[VolumeKind]) -> list[str]:
        """The names of all volumes of these kinds."""
        wanted = set(kinds)
        return [name for name, kind in self._kind.items() if kind in wanted]

    # ---- starts

    def start(self, start: Start, settled: Callable[[], int]) -> int:
        """The state belongs to the start, and nothing is remembered. `settled` is asked for only if the start wants it."""
        nothing = [literal for c in self.counted for literal in (c.none, *map(negate, c.bands))]
        return self.circuit.all_of([self.well_formed, *self._belonging(start, settled, nothing)])

    def belongs(self, start: Start, settled: Callable[[], int]) -> int:
        """The state belongs to the start, whatever is remembered."""
        return self.circuit.all_of(self._belonging(start, settled, []))

    def _belonging(self, start: Start, settled: Callable[[], int], further: list[int]) -> list[int]:
        parts = [negate(self.present(m.name)) for m in self.arrangement.mishaps]
        parts += further
        for name, given in start.pressures:
            parts.append(negate(self._surely_under_range(name, given.low)))
            parts.append(negate(self._surely_over_range(name, given.high)))
        parts += [self.circuit.any_of(self.part_in(n, s) for s in sorted(states)) for n, states in start.parts]
        parts += [self.circuit.any_of(self.control_at(n, p) for p in sorted(places)) for n, places in start.controls]
        parts.append(self.condition(start.where, sure=False))
        if start.settled:
            parts.append(settled())
        return parts

    def _surely_under_range(self, volume: str, low: Fraction) -> int:
        """No pressure of the band reaches `low`; the last band includes the highest pressure."""
        if low >= self.arrangement.highest:
            return negate(self.levels[volume][-1]) if self.levels[volume] else FALSE
        return self.surely_below(volume, low)

    def _surely_over_range(self, volume: str, high: Fraction) -> int:
        """Every pressure of the band is above `high`."""
        above = [bit for m, bit in zip(self.layout.thresholds[volume], self.levels[volume], strict=True) if m > high]
        return above[0] if above else FALSE


# --------------------------------------------------------------------------------------------------- conditions


class _Stated(Walker[int]):
    """Conditions as literals: what a state says outright, and how conditions are joined."""

    __slots__ = ("e",)

    def __init__(self, encoding: Encoding) -> None:
        self.e = encoding

    def truth(self, node: Truth) -> int:
        return TRUE if node.value else FALSE

    def in_state(self, node: InState) -> int:
        return self.e.circuit.any_of(self.e.part_in(node.part, s) for s in sorted(node.states))

    def not_in_state(self, node: NotInState) -> int:
        return negate(self.e.circuit.any_of(self.e.part_in(node.part, s) for s in sorted(node.states)))

    def in_position(self, node: InPosition) -> int:
        return self.e.circuit.any_of(self.e.control_at(node.control, p) for p in sorted(node.positions))

    def not_in_position(self, node: NotInPosition) -> int:
        return negate(self.e.circuit.any_of(self.e.control_at(node.control, p) for p in sorted(node.positions)))

    def happened(self, node: Happened) -> int:
        return self.e.present(node.mishap)

    def not_happened(self, node: NotHappened) -> int:
        return negate(self.e.present(node.mishap))

    def all_of(self, node: AllOf) -> int:
        return self.e.circuit.all_of([self.walk(item) for item in node.items])

    def any_of(self, node: AnyOf) -> int:
        return self.e.circuit.any_of([self.walk(item) for item in node.items])


class _Sure(_Stated):
    """For every pressure in the bands and every setting in its tolerance."""

    __slots__ = ()

    def below(self, node: Below) -> int:
        return self.e.surely_below(node.volume, node.low)

    def at_least(self, node: AtLeast) -> int:
        return self.e.surely_at_least(node.volume, node.high)

    def lower(self, node: Lower) -> int:
        return self.e.surely_above(node.other, node.volume)

    def not_lower(self, node: NotLower) -> int:
        return self.e.surely_above(node.volume, node.other)


class _Possible(_Stated):
    """For some pressure in the bands and some setting in its tolerance: the opposite is not sure."""

    __slots__ = ()

    def below(self, node: Below) -> int:
        return negate(self.e.surely_at_least(node.volume, node.high))

    def at_least(self, node: AtLeast) -> int:
        return negate(self.e.surely_below(node.volume, node.low))

    def lower(self, node: Lower) -> int:
        return negate(self.e.surely_above(node.volume, node.other))

    def not_lower(self, node: NotLower) -> int:
        return negate(self.e.surely_above(node.other, node.volume))


class _Aside(_Possible):
    """The same, where some parts may be in any state; and, with `pressures_free`, every volume at any pressure."""

    __slots__ = ("free", "pressures_free")

    def __init__(self, encoding: Encoding, free: Collection[str], *, pressures_free: bool = False) -> None:
        super().__init__(encoding)
        self.free = free
        self.pressures_free = pressures_free

    def in_state(self, node: InState) -> int:
        return TRUE if node.part in self.free else super().in_state(node)

    def not_in_state(self, node: NotInState) -> int:
        return TRUE if node.part in self.free else super().not_in_state(node)

    def below(self, node: Below) -> int:
        return TRUE if self.pressures_free else super().below(node)

    def at_least(self, node: AtLeast) -> int:
        return TRUE if self.pressures_free else super().at_least(node)

    def lower(self, node: Lower) -> int:
        return TRUE if self.pressures_free else super().lower(node)

    def not_lower(self, node: NotLower) -> int:
        return TRUE if self.pressures_free else super().not_lower(node)
