"""The flow rule as formulas over one encoding (MEANING.md, "Flow rule" and "The air in lines").

Sums of sized flows are compared with zero by a decision diagram over the passages: at each passage the diagram branches
on whether it is open and on the other end's band, and stops as soon as the rest cannot change the sign.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from math import inf, lcm

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


@dataclass(frozen=True, slots=True)
class _Same:
    """Sums from `low` to `high` all ask the same of the terms that follow: that `literal` is true."""

    low: float
    high: float
    literal: int

    def moved(self, share: int) -> _Same:
        """The sums before a share was added."""
        return _Same(self.low - share, self.high - share, self.literal)


class FlowRule:
    """Formulas about flow, built on demand and kept."""

    def __init__(self, encoding: Encoding) -> None:
        self._e = encoding
        self._c = encoding.circuit
        self._ways = encoding.ways()
        self._touching = {
            v.name: [(a, p, o) for a, p, o in encoding.passages() if v.name in (p.upstream, p.downstream)]
            for v in encoding.arrangement.volumes
        }
        self._rises: dict[tuple[str, int], int] = {}
        self._falls: dict[tuple[str, int], int] = {}
        self._shares: dict[tuple[int, str, Fraction, Fraction, bool, bool], tuple[Fraction, ...]] = {}
        self._sized_gains: dict[tuple[str, Range, bool], tuple[int, int]] = {}

    # ---- may rise, may fall

    def may_rise(self, volume: str, rank: int) -> int:
        """From the band under threshold `rank`, the volume may rise across it; the band itself is not tested here."""
        if (volume, rank) not in self._rises:
            mark = self._e.layout.thresholds[volume][rank]
            self._rises[volume, rank] = self.net_can_be(volume, Range(mark, mark), inward=True, strict=True)
        return self._rises[volume, rank]

    def may_fall(self, volume: str, rank: int) -> int:
        """From the band above threshold `rank`, the volume may fall across it; the band itself is not tested here."""
        if (volume, rank) not in self._falls:
            mark = self._e.layout.thresholds[volume][rank]
            self._falls[volume, rank] = self.net_can_be(volume, Range(mark, mark), inward=False, strict=True)
        return self._falls[volume, rank]

    # ---- must rise, must fall

    def must_rise(self, volume: str, rank: int) -> int:
        """The volume is in the band under threshold `rank`, and its net inflow is positive all over it."""
        kept = self.net_can_be(volume, self.spans(volume)[rank], inward=False, strict=False)
        return self._c.all_of([self.in_band(volume, rank), negate(kept)])

    def must_fall(self, volume: str, rank: int) -> int:
        """The volume is in the band above threshold `rank`, and its net inflow is negative all over it."""
        kept = self.net_can_be(volume, self.spans(volume)[rank + 1], inward=True, strict=False)
        return self._c.all_of([self.in_band(volume, rank + 1), negate(kept)])

    def neighbours(self, volume: str) -> list[str]:
        """The volumes that passages can join to this one."""
        ends = [end for _, p, _ in self._touching[volume] for end in (p.upstream, p.downstream)]
        return [end for end in dict.fromkeys(ends) if end != volume and end in self._touching]

    def driven(self, volume: str, *, upward: bool, via: str | None = None) -> int:
        """The volume's net inflow (not `upward`: outflow) stays above nothing as long as all volumes stay in their bands.

        In some band that it can leave so, for all sizes. `via` is the neighbour, if any, that may draw near to the
        volume's band, where its own flow is looked at too: see `bandproof.machine.endless`.
        """
        bands = range(len(self._e.levels[volume])) if upward else range(1, len(self._e.levels[volume]) + 1)
        return self._c.any_of(
            self._c.both(
                self.in_band(volume, band), self._gains(volume, self.spans(volume)[band], upward=upward, via=via)
            )
            for band in bands
        )

    def _gains(self, volume: str, own: Range, *, upward: bool, via: str | None) -> int:
        """The same for pressures of the volume in `own`."""
        c = self._c
        more: list[int] = []
        against: list[int] = []
        for _, passage, is_open in self._touching[volume]:
            into = passage.downstream == volume
            other = passage.upstream if into else passage.downstream
            if passage.size is None and (not passage.one_way or into != upward):
                against.append(c.both(is_open, self._beyond(other, own, frozenset(), inward=not upward)))
            if not passage.one_way or into == upward:
                apart = self._apart(other, own, above=upward) if passage.size is None else FALSE
                leaves = self._leaves(other, own, upward=upward) if other == via else FALSE
                more.append(c.both(is_open, c.either(apart, leaves)))
        gains, keeps = self._sized(volume, own, upward=upward)
        return c.all_of([*map(negate, against), c.either(gains, c.both(keeps, c.any_of(more)))])

    def _sized(self, volume: str, own: Range, *, upward: bool) -> tuple[int, int]:
        """Through its sized passages alone the volume gains; gains or keeps."""
        if (volume, own, upward) not in self._sized_gains:
            terms: list[_Term] = []
            for _, passage, is_open in self._touching[volume]:
                if passage.size is not None:
                    into = passage.downstream == volume
                    other = passage.upstream if into else passage.downstream
                    values = self._values(passage, other, own, into=into, inward=not upward)
                    terms.append(_Term(is_open, other, values))
            gains = negate(self._sum_positive(terms, strict=False))
            keeps = negate(self._sum_positive(terms, strict=True))
            self._sized_gains[volume, own, upward] = gains, keeps
        return self._sized_gains[volume, own, upward]

    def _apart(self, other: str, own: Range, *, above: bool) -> int:
        """The closed band of the other end lies wholly above (not `above`: below) the range `own`, without touching it."""
        spans = self.spans(other)
        levels = self._e.levels.get(other, [])
        if above:
            first = next((band for band, span in enumerate(spans) if span.low > own.high), None)
            return FALSE if first is None else TRUE if first == 0 else levels[first - 1]
        last = max((band for band, span in enumerate(spans) if span.high < own.low), default=None)
        return FALSE if last is None else TRUE if last == len(spans) - 1 else negate(levels[last])

    def apart(self, u: str, v: str) -> int:
        """The closed bands of two nodes do not touch, and that of `u` is the one above."""
        if v == ATMOSPHERE:
            return self._apart(u, Range(Fraction(0), Fraction(0)), above=True)
        spans = self.spans(v)
        return self._c.any_of(
            self._c.both(self._e.surely_below(v, span.high), self._apart(u, span, above=True)) for span in spans
        )

    def _leaves(self, other: str, own: Range, *, upward: bool) -> int:
        """The other end is in the band that begins where `own` ends (not `upward`: the reverse), and has to leave there."""
        mark = own.high if upward else own.low
        marks = self._e.layout.thresholds[other]
        if mark not in marks:
            return FALSE
        band = marks.index(mark) + upward
        return self._c.both(self.in_band(other, band), self._gains(other, Range(mark, mark), upward=upward, via=None))

    def in_band(self, volume: str, band: int) -> int:
        """The volume is in its band of this number."""
        levels = self._e.levels[volume]
        return self._c.all_of([*levels[max(0, band - 1) : band], *map(negate, levels[band : band + 1])])

    def net_can_be(
        self,
        volume: str,
        own: Range,
        *,
        inward: bool,
        strict: bool,
        stand: Mapping[str, str] | None = None,
        stirred: frozenset[str] = frozenset(),
    ) -> int:
        """The net flow into (or, not `inward`, out of) the volume can be positive; not `strict`: or zero.

        For some pressures of the neighbours in their bands, some sizes, and, for a non-degenerate `own`, the end of
        it that favours this most. Parts in `stand` are in the states given there, and neighbours that are `stirred` at
        any pressure.
        """
        unbounded: list[int] = []
        terms: list[_Term] = []
        for part, passage, present in self._touching[volume]:
            at = None if stand is None else stand.get(part.name)
            is_open = present if at is None else (TRUE if at in passage.open_in else FALSE)
            if is_open == FALSE:
                continue
            into = passage.downstream == volume
            other = passage.upstream if into else passage.downstream
            if passage.size is None:
                if not passage.one_way or into == inward:
                    unbounded.append(self._c.both(is_open, self._beyond(other, own, stirred, inward=inward)))
                continue
            values = self._values(passage, other, own, into=into, inward=inward)
            if other in stirred:
                values = (max(values),)
            terms.append(_Term(is_open, other, values))
        if not strict and not terms:
            return TRUE
        return self._c.any_of([*unbounded, self._sum_positive(terms, strict=strict)])

    def _beyond(self, other: str, own: Range, stirred: frozenset[str], *, inward: bool) -> int:
        """The other end can be above (not `inward`: below) some pressure of the volume's own range."""
        if other in stirred:
            return TRUE if (self._e.arrangement.highest > own.low if inward else own.high > 0) else FALSE
        if inward:
            return negate(self._e.surely_below(other, own.low))
        return negate(self._e.surely_at_least(other, own.high))

    def _values(self, passage: Passage, other: str, own: Range, *, into: bool, inward: bool) -> tuple[Fraction, ...]:
        """The greatest share of a sized passage for each band of its other end."""
        asked = (id(passage), other, own.low, own.high, into, inward)
        if asked not in self._shares:
            self._shares[asked] = tuple(self._share(passage, other, own, into=into, inward=inward))
        return self._shares[asked]

    def _share(self, passage: Passage, other: str, own: Range, *, into: bool, inward: bool) -> Iterator[Fraction]:
        assert passage.size is not None
        for span in self.spans(other):
            up, down = (span, own) if into else (own, span)
            flow = flow_bounds(
                passage.size,
                up,
                down,
                atmosphere=self._e.arrangement.atmosphere,
                one_way=passage.one_way,
            )
            yield flow.high if into == inward else -flow.low

    def spans(self, node: str) -> list[Range]:
        """The closed bands of a node."""
        highest = self._e.arrangement.highest
        if node == ATMOSPHERE:
            return [Range(Fraction(0), Fraction(0))]
        if node == SOURCE:
            return [Range(highest, highest)]
        ends = [Fraction(0), *self._e.layout.thresholds[node], highest]
        return [Range(low, high) for low, high in itertools.pairwise(ends)]

    def _sum_positive(self, terms: list[_Term], *, strict: bool) -> int:
        """The sum of all terms is above zero (not `strict`: or zero).

        Terms are looked at one by one. What is still wanted of the rest is the same for all sums so far between two numbers,
        and is built once for them (Abio and others, A new look at BDDs for pseudo-Boolean constraints, 2012).
        """
        scale = lcm(*(value.denominator for term in terms for value in term.values))
        shares = [[int(value * scale) for value in term.values] for term in terms]
        wanted = 1 if strict else 0
        least, most = [0] * (len(terms) + 1), [0] * (len(terms) + 1)
        for i in range(len(terms) - 1, -1, -1):
            least[i] = least[i + 1] + min(0, *shares[i])
            most[i] = most[i + 1] + max(0, *shares[i])
        known: list[list[_Same]] = [[] for _ in terms]

        def build(i: int, total: int) -> _Same:
            if total + least[i] >= wanted:
                return _Same(wanted - least[i], inf, TRUE)
            if total + most[i] < wanted:
                return _Same(-inf, wanted - 1 - most[i], FALSE)
            found = next((same for same in known[i] if same.low <= total <= same.high), None)
            if found is None:
                rest = [build(i + 1, total + share).moved(share) for share in shares[i]]
                shut = build(i + 1, total)
                literal = self._c.choose(
                    terms[i].is_open, self._of_bands(terms[i], [r.literal for r in rest]), shut.literal
                )
                low, high = max(r.low for r in (*rest, shut)), min(r.high for r in (*rest, shut))
                found = _Same(low, high, literal)
                known[i].append(found)
            return found

        return build(0, 0).literal

    def _of_bands(self, term: _Term, literals: list[int]) -> int:
        """The literal that belongs to the band of the term's other end."""
        pairs = list(itertools.pairwise(term.values))
        rising, falling = all(a <= b for a, b in pairs), all(a >= b for a, b in pairs)
        levels = self._e.levels.get(term.other, []) if len(literals) > 1 else []
        branch = literals[0]
        for bit, there in zip(levels, literals[1:], strict=True):
            # A greater share is enough wherever a smaller one is.
            if rising:
                branch = self._c.either(branch, self._c.both(bit, there))
            elif falling:
                branch = self._c.either(there, self._c.both(negate(bit), branch))
            else:
                branch = self._c.choose(bit, there, branch)
        return branch

    # ---- the air in lines

    def among_lines(self, tank: str) -> int:
        """No open passages and lines join the tank to a source, the atmosphere or another tank or chamber."""
        lines = self._e.volumes_of([VolumeKind.LINE])
        ways = [*self._ways, *((v, u, o) for u, v, o in self._ways)]
        seed = {line: self._c.any_of(o for u, v, o in ways if u == tank and v == line) for line in lines}
        joined = {tank: TRUE, **self._e.spread(lines, seed, ways)}
        return self._c.all_of(negate(self._c.both(joined[u], o)) for u, v, o in ways if u in joined and v not in joined)
