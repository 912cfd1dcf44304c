"""*Settled* and *at rest* as formulas over one encoding (MEANING.md, "Settled, and at rest").

Which parts could move for ever, and what they stir, are data of the layout that both meanings read; what follows from
them for a state is said here a second time.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator

from bandproof.encoding.circuit import FALSE, TRUE, negate
from bandproof.encoding.encode import Encoding
from bandproof.encoding.flow import FlowRule
from bandproof.machine.unrest import Restless, fed_in
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Part, Range, VolumeKind
from bandproof.model.conditions import (
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Condition,
    InState,
    Leaf,
    Lower,
    NotInState,
    NotLower,
    Truth,
)
from bandproof.model.walker import Walker, leaves
from bandproof.properties.monitors import Stillness


class FinalRule:
    """What nothing, or nothing but a to and fro without end, would change any more. Built on demand and kept."""

    def __init__(self, encoding: Encoding, flow: FlowRule) -> None:
        self._e = encoding
        self._c = encoding.circuit
        self._flow = flow
        self._ways = encoding.ways()
        self._known: dict[bool, int] = {}
        self._moving: dict[bool, dict[str, int]] = {}

    def settled(self) -> int:
        """With the tanks held, nothing more changes, or not without end."""
        return self._final(tanks_held=True)

    def at_rest(self) -> int:
        """The same with nothing held."""
        return self._final(tanks_held=False)

    def to_and_fro(self, *, tanks_held: bool) -> int:
        """Some part could move for ever from here on."""
        return self._c.any_of(self.moving(tanks_held=tanks_held).values())

    # ---- what could move for ever

    def _restless(self, *, tanks_held: bool) -> tuple[Restless, ...]:
        motion = self._e.layout.motion
        return motion.tanks_held if tanks_held else motion.nothing_held

    def moving(self, *, tanks_held: bool) -> dict[str, int]:
        """For each part that could move for ever: it could from here on."""
        if tanks_held not in self._moving:
            restless = self._restless(tanks_held=tanks_held)
            could = self._e.possibly({one.part for one in restless}, pressures_free=True)
            self._moving[tanks_held] = {one.part: self._runs_one(one, could) for one in restless}
        return self._moving[tanks_held]

    def _runs_one(self, one: Restless, could: Callable[[Condition], int]) -> int:
        part = self._e.arrangement.part(one.part)
        runs = []
        for circle in one.circles:
            inside = self._c.any_of(self._e.part_in(one.part, s) for s in sorted(one.reaches(part, circle)))
            runs.append(
                self._c.all_of([inside, *(could(move.when) for move in circle.moves), *map(could, circle.needs)])
            )
        return self._c.any_of(runs)

    def _fed(self) -> int:
        """A source feeds, or could come to by one part's moves."""
        return self._c.any_of(
            self._e.part_in(part.name, state) for part in self._e.arrangement.parts for state in sorted(fed_in(part))
        )

    # ---- final

    def _final(self, *, tanks_held: bool) -> int:
        if tanks_held not in self._known:
            self._known[tanks_held] = self._build(tanks_held=tanks_held)
        return self._known[tanks_held]

    def _build(self, *, tanks_held: bool) -> int:
        c = self._c
        kinds = [k for k in VolumeKind if not (tanks_held and k is VolumeKind.TANK)]
        inside = self._e.volumes_of(kinds)
        moving = self.moving(tanks_held=tanks_held)
        stirring = TRUE if tanks_held else self._fed()
        restless = self._restless(tanks_held=tanks_held)
        stirred = {
            volume: c.both(stirring, c.any_of(moving[one.part] for one in restless if volume in one.stirs))
            for volume in inside
        }
        rules = [negate(self._has_to_move(part, moving, stirred)) for part in self._e.arrangement.parts]
        rules += self._still(inside, stirred)
        group = frozenset(volume for one in restless for volume in one.stirs)
        rules += [
            c.implies(stirred[v], self._comes_back(v, restless, moving, group)) for v in inside if stirred[v] != FALSE
        ]
        rules += [negate(literal) for literal in self._known_not(tanks_held=tanks_held)]
        return c.all_of(rules)

    def _known_not(self, *, tanks_held: bool) -> Iterator[int]:
        """Where the layout knows that what flows does not balance as a whole."""
        still = Stillness.SETTLED if tanks_held else Stillness.AT_REST
        for one in self._e.layout.imbalances:
            if one.denies(still):
                yield self._c.all_of(
                    [
                        *(self._e.surely_at_least(volume, mark) for volume, mark in one.at_least),
                        *(self._e.surely_below(volume, mark) for volume, mark in one.below),
                        *(self._c.any_of(self._e.part_in(p, s) for s in sorted(states)) for p, states in one.parts),
                    ]
                )

    def _has_to_move(self, part: Part, moving: dict[str, int], stirred: dict[str, int]) -> int:
        """A move is due of a part that could not move for ever, and its guard reads nothing stirred or moving."""
        c = self._c
        due = [
            c.all_of([literal, *(negate(self._read(leaf, moving, stirred)) for leaf in leaves(move.when))])
            for move, literal in self._e.due_moves(part).items()
        ]
        return c.both(negate(moving.get(part.name, FALSE)), c.any_of(due))

    def _read(self, leaf: Leaf, moving: dict[str, int], stirred: dict[str, int]) -> int:
        match leaf:
            case Below(volume) | AtLeast(volume):
                return stirred.get(volume, FALSE)
            case Lower(volume, other) | NotLower(volume, other):
                return self._c.either(stirred.get(volume, FALSE), stirred.get(other, FALSE))
            case InState(part) | NotInState(part):
                return moving.get(part, FALSE)
            case _:
                return FALSE

    # ---- what comes back in a to and fro

    def _comes_back(
        self, volume: str, restless: tuple[Restless, ...], moving: dict[str, int], group: frozenset[str]
    ) -> int:
        """A to and fro can have the volume in its present band again and again."""
        spans = self._flow.spans(volume)
        near = [one for one in restless if self._touches(one.part, volume)]

        def flows(at: int, own: Range, *, inward: bool, strict: bool) -> int:
            if not 0 <= at < len(spans):
                return FALSE
            return self._c.any_of(
                self._c.both(
                    allowed,
                    self._flow.net_can_be(volume, own, inward=inward, strict=strict, stand=stand, stirred=group),
                )
                for stand, allowed in self._stands(near, moving, volume, at)
            )

        rules = []
        for band, span in enumerate(spans):
            low, high = Range(span.low, span.low), Range(span.high, span.high)
            not_falling = self._c.either(
                flows(band, span, inward=True, strict=False), flows(band - 1, low, inward=True, strict=True)
            )
            not_rising = self._c.either(
                flows(band, span, inward=False, strict=False), flows(band + 1, high, inward=False, strict=True)
            )
            rules.append(self._c.implies(self._flow.in_band(volume, band), self._c.both(not_falling, not_rising)))
        return self._c.all_of(rules)

    def _touches(self, part: str, volume: str) -> bool:
        return any(volume in (p.upstream, p.downstream) for p in self._e.arrangement.part(part).passages)

    def _stands(
        self, near: list[Restless], moving: dict[str, int], volume: str, band: int
    ) -> Iterator[tuple[dict[str, str], int]]:
        """Ways in which the parts near the volume may stand while time passes, each with where it is one of them.

        A part that could not move for ever from here on stands where it stands.
        """
        choices = []
        for one in near:
            part = self._e.arrangement.part(one.part)
            turning = {state for circle in one.circles for state in circle.states}
            quiet = {state for state in turning if not self._moves_at_once(part, state, volume, band)}
            choices.append(
                [(state, self._stands_so(one.part, state, quiet, moving[one.part])) for state in part.states]
            )
        for chosen in itertools.product(*choices):
            states = {one.part: state for one, (state, _) in zip(near, chosen, strict=True)}
            yield states, self._c.all_of(allowed for _, allowed in chosen)

    def _stands_so(self, part: str, state: str, quiet: set[str], moves: int) -> int:
        here = self._e.part_in(part, state)
        return self._c.choose(moves, TRUE if state in quiet else FALSE, here)

    def _moves_at_once(self, part: Part, state: str, volume: str, band: int) -> bool:
        """The band of the volume alone makes the part move from the state."""
        if part.delayed or any(part.name in late for _, late in self._e.layout.motion.hunting.excuses):
            return False
        span = self._flow.spans(volume)[band]
        sure = _SureHere(volume, span)
        return any(move.source == state != move.target and sure.walk(move.when) for move in part.moves)

    # ---- what can be still

    def _still(self, inside: list[str], stirred: dict[str, int]) -> list[int]:
        """Rules: the volumes that are not stirred can all be still together."""
        c = self._c
        members = set(inside)
        calm = {volume: negate(stirred[volume]) for volume in inside}
        ways = [(u, v, o) for u, v, o in self._ways if u in members or v in members]
        gentle = [(u, v, c.both(o, negate(self._e.surely_above(v, u)))) for u, v, o in ways]
        back = [(v, u, o) for u, v, o in gentle]
        fed = self._e.spread(
            inside, self._meeting(inside, gentle, lambda n: n not in members and n != ATMOSPHERE), gentle
        )
        drained = self._e.spread(inside, self._meeting(inside, back, lambda n: n not in members and n != SOURCE), back)
        rules = []
        for u, v, o in ways:
            through = c.all_of(
                [
                    fed[u] if u in members else (FALSE if u == ATMOSPHERE else TRUE),
                    drained[v] if v in members else (FALSE if v == SOURCE else TRUE),
                ]
            )
            asked = c.any_of(calm[end] for end in (u, v) if end in members)
            rules.append(c.implies(c.all_of([asked, o, self._e.surely_above(u, v)]), through))
        rules += [c.implies(calm[volume], self._can_balance(volume)) for volume in inside]
        return rules

    def _meeting(
        self, nodes: list[str], ways: list[tuple[str, str, int]], is_end: Callable[[str], bool]
    ) -> dict[str, int]:
        """For each node: a way leads to it from an end."""
        return {node: self._c.any_of(o for u, v, o in ways if v == node and is_end(u)) for node in nodes}

    def _can_balance(self, volume: str) -> int:
        """The net inflow over the volume's present band can be zero."""
        rules = []
        for band, span in enumerate(self._flow.spans(volume)):
            both_signs = self._c.both(
                self._flow.net_can_be(volume, span, inward=True, strict=False),
                self._flow.net_can_be(volume, span, inward=False, strict=False),
            )
            rules.append(self._c.implies(self._flow.in_band(volume, band), both_signs))
        return self._c.all_of(rules)


class _SureHere(Walker[bool]):
    """Conditions that are sure to hold because of one volume's band, whatever else is so."""

    __slots__ = ("span", "volume")

    def __init__(self, volume: str, span: Range) -> None:
        self.volume = volume
        self.span = span

    def other(self, node: Condition) -> bool:
        return node == Truth(value=True)

    def below(self, node: Below) -> bool:
        return node.volume == self.volume and self.span.high <= node.low

    def at_least(self, node: AtLeast) -> bool:
        return node.volume == self.volume and self.span.low >= node.high

    def all_of(self, node: AllOf) -> bool:
        return all(self.walk(item) for item in node.items)

    def any_of(self, node: AnyOf) -> bool:
        return any(self.walk(item) for item in node.items)
