"""The flow rule, *settled* and *at rest* as formulas over one encoding (design section 2).

Sums of sized flows are compared with zero by a decision diagram over the passages: at each passage the diagram branches
on whether it is open and on the other end's band, and stops as soon as the rest cannot change the sign.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from bandproof.encoding.circuit import FALSE, TRUE, negate
from bandproof.encoding.encode import Encoding
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Passage, Range, VolumeKind
from bandproof.physics.iso6358 import flow_bounds


@dataclass(frozen=True, slots=True)
class _Term:
    """One sized passage's share of a sum: `values[b]` while it is open and the other end is in band b, else zero."""

    is_open: int
    other: str
    values: tuple[Fraction, ...]


class FlowRule:
    """Formulas about flow, built on demand and kept."""

    def __init__(self, encoding: Encoding) -> None:
        self._e = encoding
        self._c = encoding.circuit
        self._ways = encoding.ways()
        self._touching = {
            v.name: [(p, o) for p, o in encoding.passages() if v.name in (p.upstream, p.downstream)]
            for v in encoding.arrangement.volumes
        }
        self._still: dict[frozenset[VolumeKind], int] = {}
        self._line_reach: dict[tuple[Fraction, bool], dict[str, int]] = {}
        self._rises: dict[tuple[str, int], int] = {}
        self._falls: dict[tuple[str, int], int] = {}

    # ---- may rise, may fall

    def may_rise(self, volume: str, rank: int) -> int:
        """From the band under threshold `rank`, the volume may rise across it; the band itself is not tested here."""
        if (volume, rank) not in self._rises:
            mark = self._e.layout.thresholds[volume][rank]
            local = self._net_can_be(volume, Range(mark, mark), inward=True, strict=True)
            path = TRUE if self._e.is_line(volume) else self._path_up(volume, mark)
            self._rises[volume, rank] = self._c.both(local, path)
        return self._rises[volume, rank]

    def may_fall(self, volume: str, rank: int) -> int:
        """From the band above threshold `rank`, the volume may fall across it; the band itself is not tested here."""
        if (volume, rank) not in self._falls:
            mark = self._e.layout.thresholds[volume][rank]
            local = self._net_can_be(volume, Range(mark, mark), inward=False, strict=True)
            path = TRUE if self._e.is_line(volume) else self._path_down(volume, mark)
            self._falls[volume, rank] = self._c.both(local, path)
        return self._falls[volume, rank]

    # ---- must rise, must fall

    def must_rise(self, volume: str, rank: int) -> int:
        """The volume is in the band under threshold `rank`, nothing keeps its air in there, and it may rise across it."""
        kept = self._net_can_be(volume, self._spans(volume)[rank], inward=False, strict=False)
        path = TRUE if self._e.is_line(volume) else self._path_up(volume, self._e.layout.thresholds[volume][rank])
        return self._c.all_of([self._in_band(volume, rank), negate(kept), path])

    def must_fall(self, volume: str, rank: int) -> int:
        """The volume is in the band above threshold `rank`, nothing keeps its air up there, and it may fall across it."""
        kept = self._net_can_be(volume, self._spans(volume)[rank + 1], inward=True, strict=False)
        path = TRUE if self._e.is_line(volume) else self._path_down(volume, self._e.layout.thresholds[volume][rank])
        return self._c.all_of([self._in_band(volume, rank + 1), negate(kept), path])

    def _in_band(self, volume: str, band: int) -> int:
        levels = self._e.levels[volume]
        return self._c.all_of([*levels[max(0, band - 1) : band], *map(negate, levels[band : band + 1])])

    def _net_can_be(self, volume: str, own: Range, *, inward: bool, strict: bool) -> int:
        """The net flow into (or, not `inward`, out of) the volume can be positive; not `strict`: or zero.

        For some pressures of the neighbours in their bands, some sizes, and, for a non-degenerate `own`, the end of
        it that favours this most.
        """
        unbounded: list[int] = []
        terms: list[_Term] = []
        for passage, is_open in self._touching[volume]:
            into = passage.downstream == volume
            other = passage.upstream if into else passage.downstream
            if passage.size is None:
                if passage.one_way and into != inward:
                    continue
                reach = (
                    negate(self._e.surely_below(other, own.low))
                    if inward
                    else negate(self._e.surely_at_least(other, own.high))
                )
                unbounded.append(self._c.both(is_open, reach))
            else:
                terms.append(_Term(is_open, other, self._values(passage, other, own, into=into, inward=inward)))
        if not strict and not terms:
            return TRUE
        return self._c.any_of([*unbounded, self._sum_positive(terms, strict=strict)])

    def _values(self, passage: Passage, other: str, own: Range, *, into: bool, inward: bool) -> tuple[Fraction, ...]:
        """The greatest share of a sized passage for each band of its other end."""
        assert passage.size is not None
        values: list[Fraction] = []
        for span in self._spans(other):
            up, down = (span, own) if into else (own, span)
            flow = flow_bounds(
                passage.size,
                up,
                down,
                atmosphere=self._e.arrangement.atmosphere,
                one_way=passage.one_way,
            )
            values.append(flow.high if into == inward else -flow.low)
        return tuple(values)

    def _spans(self, node: str) -> list[Range]:
        highest = self._e.arrangement.highest
        if node == ATMOSPHERE:
            return [Range(Fraction(0), Fraction(0))]
        if node == SOURCE:
            return [Range(highest, highest)]
        ends = [Fraction(0), *self._e.layout.thresholds[node], highest]
        return [Range(low, high) for low, high in itertools.pairwise(ends)]

    def _sum_positive(self, terms: list[_Term], *, strict: bool) -> int:
        """The sum of all terms is above zero (not `strict`: or zero)."""
        least = [Fraction(0)] * (len(terms) + 1)
        most = [Fraction(0)] * (len(terms) + 1)
        for i in range(len(terms) - 1, -1, -1):
            least[i] = least[i + 1] + min(Fraction(0), *terms[i].values)
            most[i] = most[i + 1] + max(Fraction(0), *terms[i].values)
        known: dict[tuple[int, Fraction], int] = {}

        def holds(total: Fraction) -> bool:
            return total > 0 or (total == 0 and not strict)

        def build(i: int, total: Fraction) -> int:
            if holds(total + least[i]):
                return TRUE
            if not holds(total + most[i]):
                return FALSE
            if (i, total) not in known:
                term = terms[i]
                branch = build(i + 1, total + term.values[0])
                pairs = list(itertools.pairwise(term.values))
                rising, falling = all(a <= b for a, b in pairs), all(a >= b for a, b in pairs)
                levels = self._e.levels.get(term.other, [])
                for bit, value in zip(levels, term.values[1:], strict=True):
                    there = build(i + 1, total + value)
                    # A greater share is enough wherever a smaller one is.
                    if rising:
                        branch = self._c.either(branch, self._c.both(bit, there))
                    elif falling:
                        branch = self._c.either(there, self._c.both(negate(bit), branch))
                    else:
                        branch = self._c.choose(bit, there, branch)
                known[i, total] = self._c.choose(term.is_open, branch, build(i + 1, total))
            return known[i, total]

        return build(0, Fraction(0))

    # ---- where a tank's or chamber's air can come from and go to

    def _path_up(self, volume: str, mark: Fraction) -> int:
        reach = self._lines_with_path(mark, upward=True)
        return self._c.any_of(
            self._c.both(is_open, self._origin(u, mark, reach)) for u, v, is_open in self._ways if v == volume
        )

    def _path_down(self, volume: str, mark: Fraction) -> int:
        reach = self._lines_with_path(mark, upward=False)
        return self._c.any_of(
            self._c.both(is_open, self._goal(v, mark, reach)) for u, v, is_open in self._ways if u == volume
        )

    def _origin(self, node: str, mark: Fraction, reach: dict[str, int]) -> int:
        if node == ATMOSPHERE:
            return FALSE
        return reach[node] if node in reach else self._e.surely_at_least(node, mark)

    def _goal(self, node: str, mark: Fraction, reach: dict[str, int]) -> int:
        if node == SOURCE:
            return FALSE
        return reach[node] if node in reach else self._e.surely_below(node, mark)

    def _lines_with_path(self, mark: Fraction, *, upward: bool) -> dict[str, int]:
        """For each line: it is on the right side of `mark` and so is a path of lines to an origin (or a goal)."""
        key = (mark, upward)
        if key not in self._line_reach:
            lines = self._e.volumes_of([VolumeKind.LINE])
            own = self._e.surely_at_least if upward else self._e.surely_below
            fits = {line: own(line, mark) for line in lines}
            ways = self._ways if upward else [(v, u, o) for u, v, o in self._ways]
            end = self._origin if upward else self._goal
            seed = {
                line: self._c.any_of(
                    self._c.both(o, end(u, mark, {})) for u, v, o in ways if v == line and u not in fits
                )
                for line in lines
            }
            inside = [(u, v, self._c.both(o, fits[u])) for u, v, o in ways if u in fits and v in fits]
            led_to = self._e.spread(lines, seed, inside)
            self._line_reach[key] = {line: self._c.both(fits[line], led_to[line]) for line in lines}
        return self._line_reach[key]

    # ---- settled, at rest

    def settled(self) -> int:
        """No move is due, and lines and chambers can all be still, tanks taken at their present bands."""
        return self._can_be_still(frozenset({VolumeKind.LINE, VolumeKind.CHAMBER}))

    def at_rest(self) -> int:
        """No move is due, and every volume can be still."""
        return self._can_be_still(frozenset(VolumeKind))

    def _can_be_still(self, kinds: frozenset[VolumeKind]) -> int:
        if kinds not in self._still:
            self._still[kinds] = self._build_still(kinds)
        return self._still[kinds]

    def _build_still(self, kinds: frozenset[VolumeKind]) -> int:
        c = self._c
        still = self._e.volumes_of(kinds)
        inside = set(still)
        ways = [(u, v, o) for u, v, o in self._ways if u in inside or v in inside]
        gentle = [(u, v, c.both(o, negate(self._e.surely_above(v, u)))) for u, v, o in ways]
        back = [(v, u, o) for u, v, o in gentle]
        fed = self._e.spread(
            still, self._meeting(still, gentle, lambda node: node not in inside and node != ATMOSPHERE), gentle
        )
        drained = self._e.spread(
            still, self._meeting(still, back, lambda node: node not in inside and node != SOURCE), back
        )
        rules = [negate(self._e.due(part)) for part in self._e.arrangement.parts]
        for u, v, o in ways:
            through = c.all_of(
                [
                    fed[u] if u in inside else (FALSE if u == ATMOSPHERE else TRUE),
                    drained[v] if v in inside else (FALSE if v == SOURCE else TRUE),
                ]
            )
            rules.append(c.implies(c.both(o, self._e.surely_above(u, v)), through))
        rules += [self._can_balance(volume) for volume in still]
        return c.all_of(rules)

    def _meeting(
        self, nodes: list[str], ways: list[tuple[str, str, int]], is_end: Callable[[str], bool]
    ) -> dict[str, int]:
        """For each node: a way leads to it from an end."""
        return {node: self._c.any_of(o for u, v, o in ways if v == node and is_end(u)) for node in nodes}

    def _can_balance(self, volume: str) -> int:
        """The net inflow over the volume's present band can be zero."""
        if all(passage.size is None for passage, _ in self._touching[volume]):
            return TRUE
        rules = []
        for band, span in enumerate(self._spans(volume)):
            here = self._in_band(volume, band)
            both_signs = self._c.both(
                self._net_can_be(volume, span, inward=True, strict=False),
                self._net_can_be(volume, span, inward=False, strict=False),
            )
            rules.append(self._c.implies(here, both_signs))
        return self._c.all_of(rules)
