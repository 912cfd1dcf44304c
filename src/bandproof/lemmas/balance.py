"""What a settled state has to satisfy as a whole, and how it is shown of a state that it does not.

In a settled state the network of open passages that no part stirs stays as it is, and its pressures run to an equilibrium
without leaving their closed bands (MEANING.md, "Settled, and at rest"). There every volume has a pressure and every passage a
flow, upstream to downstream, and with the tanks held (at rest: with nothing held)

bands      each pressure is in its closed band;
balance    what comes to a volume that is not held is what goes from it;
shut       nothing goes through a passage that no state its part may be in opens;
direction  air goes downhill: nothing from u to v where p(u) <= p(v), something through an open passage where p(u) > p(v);
bounds     a flow by ISO 6358 rises with the pressure before the passage and falls with that behind it. So at any two pressures
           a and b, for all sizes in their ranges: p(u) >= a and p(v) <= b make the flow at least that between a and b, and
           p(u) <= a and p(v) >= b at most that.

Bounds are asked at some *marks* only: each is true whatever they are, and all of it is linear. A contradiction shows that no
state of a cube is settled. Where it rests on the ends of bands alone it names, by A. J. Hoffman's circulation theorem ("Some
recent applications of the theory of linear inequalities to extremal combinatorial analysis", 1960), a connected set of volumes
that has to lose, or to gain, over its boundary.

Volumes that a part which could move for ever stirs need not balance, and its passages end at no others that do.

*Without it*, asked one by one, each line of a chain behind a torn hose can balance at 100 psi, fed by the line before it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction

from bandproof.lemmas.cubes import Cube, Literal, Needs, whole
from bandproof.lemmas.unknowns import NOTHING
from bandproof.machine.imbalance import Imbalance
from bandproof.machine.layout import Layout
from bandproof.machine.story import State
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Passage, Range, VolumeKind
from bandproof.physics.iso6358 import flow_bounds
from bandproof.properties.monitors import Stillness
from bandproof.solvers.smt_terms import (
    ZERO,
    Bool,
    BoolSymbol,
    Negation,
    Number,
    Real,
    RealSymbol,
    Symbol,
    assertion,
    at_least,
    at_most,
    declaration,
    disjunction,
    equal,
    over,
    total,
)
from bandproof.solvers.z3_solver import Answer, Session

#: One demand on pressures and flows, and what has to be known of the state for it to be made.
Demand = tuple[Bool, Needs]

#: Pressures at which the bounds of flows are asked, by volume, pascals gauge.
Marks = Mapping[str, tuple[Fraction, ...]]

#: Steps of z3's own clock for one question; those about an arrangement of a hundred passages take a thousandth.
_LIMIT = 20_000_000

#: So often marks are added before a state is taken to balance.
_ROUNDS = 14

#: Marks are multiples of this, pascals, so that their numbers stay short.
_GRID = Fraction(10)

#: A flow within this share of what its pressures let through, or within this much, dm3/s, is taken to be right.
_CLOSE = Fraction(1, 200)


@dataclass(frozen=True, slots=True)
class _Way:
    """One passage: the symbol of its flow, what is known of whether it is open, and what says so."""

    passage: Passage
    flow: RealSymbol
    standing: Needs
    is_open: bool
    is_shut: bool


@dataclass(slots=True, frozen=True)
class _Network:
    """The symbols for a cube of states: a pressure for each volume and a flow for each passage."""

    layout: Layout
    cube: Cube
    still: Stillness
    pressures: dict[str, Real] = field(init=False)
    ways: tuple[_Way, ...] = field(init=False)

    def __post_init__(self) -> None:
        arrangement = self.layout.arrangement
        pressures: dict[str, Real] = {v.name: RealSymbol(f"|pressure of {v.name}|") for v in arrangement.volumes}
        ways = []
        for part in arrangement.parts:
            stands, standing = self.cube.stands(part.name)
            for order, passage in enumerate(part.passages, start=1):
                if passage.upstream != passage.downstream:
                    flow = RealSymbol(f"|flow through {part.name} {order}|")
                    is_open, is_shut = stands <= passage.open_in, not stands & passage.open_in
                    ways.append(_Way(passage, flow, standing, is_open, is_shut))
        object.__setattr__(self, "pressures", pressures)
        object.__setattr__(self, "ways", tuple(ways))

    def symbols(self) -> list[Symbol]:
        """Everything that has to be declared."""
        known = [symbol for symbol in self.pressures.values() if isinstance(symbol, RealSymbol)]
        return [*known, *(way.flow for way in self.ways)]

    def pressure(self, node: str) -> Real:
        """The pressure of a node."""
        if node == ATMOSPHERE:
            return ZERO
        return Number(self.layout.arrangement.highest) if node == SOURCE else self.pressures[node]

    def demands(self) -> Iterator[Demand]:
        """All that holds of them whatever the marks are."""
        yield from self._in_bands()
        yield from self._balances()
        for way in self.ways:
            yield from self._runs_downhill(way)

    def _in_bands(self) -> Iterator[Demand]:
        highest = self.layout.arrangement.highest
        for volume, symbol in self.pressures.items():
            low, floor = self.cube.floor(volume)
            high, ceiling = self.cube.ceiling(volume)
            yield at_least(symbol, Number(low)), floor
            yield at_most(symbol, Number(min(high, highest))), ceiling

    def _balances(self) -> Iterator[Demand]:
        motion = self.layout.motion
        restless = motion.nothing_held if self.still is Stillness.AT_REST else motion.tanks_held
        exempt = frozenset[str]().union(*(one.stirs for one in restless))
        for volume in self.layout.arrangement.volumes:
            held = volume.kind is VolumeKind.TANK and self.still is Stillness.SETTLED
            coming = [way.flow for way in self.ways if way.passage.downstream == volume.name]
            going = [way.flow for way in self.ways if way.passage.upstream == volume.name]
            if not held and volume.name not in exempt and (coming or going):
                yield equal(total(coming), total(going)), NOTHING

    def _runs_downhill(self, way: _Way) -> Iterator[Demand]:
        flow = way.flow
        if way.is_shut:
            yield equal(flow, ZERO), way.standing
            return
        before, behind = self.pressure(way.passage.upstream), self.pressure(way.passage.downstream)
        yield disjunction([over(behind, before), at_least(flow, ZERO)]), NOTHING
        yield disjunction([over(before, behind), at_most(flow, ZERO)]), NOTHING
        if way.passage.one_way:
            yield at_least(flow, ZERO), NOTHING
        if way.is_open:
            yield disjunction([at_least(behind, before), over(flow, ZERO)]), way.standing
            if not way.passage.one_way:
                yield disjunction([at_least(before, behind), over(ZERO, flow)]), way.standing

    # ---- bounds

    def bounds(self, marks: Marks) -> Iterator[Demand]:
        """The bounds of every flow through a sized passage at all marks of its two ends."""
        for way in self.ways:
            if way.passage.size is not None and not way.is_shut:
                for before in self._at(way.passage.upstream, marks):
                    for behind in self._at(way.passage.downstream, marks):
                        yield from self._bound(way, before, behind)

    def _at(self, node: str, marks: Marks) -> tuple[Fraction, ...]:
        if node in (ATMOSPHERE, SOURCE):
            return (Fraction(0) if node == ATMOSPHERE else self.layout.arrangement.highest,)
        return marks.get(node, ())

    def between(self, way: _Way, before: Fraction, behind: Fraction) -> Range:
        """The flow between two pressures, pascals gauge, for all sizes in their ranges; dm3/s."""
        assert way.passage.size is not None
        found = flow_bounds(
            way.passage.size,
            Range(before, before),
            Range(behind, behind),
            atmosphere=self.layout.arrangement.atmosphere,
            one_way=way.passage.one_way,
        )
        # A passage that may be shut may let nothing through.
        return Range(found.low, found.high) if way.is_open else Range(min(found.low, _NONE), max(found.high, _NONE))

    def _bound(self, way: _Way, before: Fraction, behind: Fraction) -> Iterator[Demand]:
        flow, found = way.flow, self.between(way, before, behind)
        p, q = self.pressure(way.passage.upstream), self.pressure(way.passage.downstream)
        least, most = Number(found.low), Number(found.high)
        needs = way.standing if found.low > 0 else NOTHING
        yield disjunction([over(Number(before), p), over(q, Number(behind)), at_least(flow, least)]), needs
        needs = way.standing if found.high < 0 else NOTHING
        yield disjunction([over(p, Number(before)), over(Number(behind), q), at_most(flow, most)]), needs


_NONE = Fraction(0)


def unbalanced(layout: Layout, imbalance: Imbalance) -> str:
    """That a state of an imbalance is still all the same, as SMT-LIB text: to be unsatisfiable."""
    network = _Network(layout, Cube(layout, 0, literals_of(layout, imbalance)), imbalance.still)
    formulas = [formula for formula, _ in (*network.demands(), *network.bounds(dict(imbalance.marks)))]
    lines = ["(set-logic QF_LRA)", *map(declaration, network.symbols()), *map(assertion, formulas)]
    return "\n".join([*lines, "(check-sat)"]) + "\n"


def literals_of(layout: Layout, imbalance: Imbalance) -> frozenset[Literal]:
    """The states of an imbalance as a cube. ValueError where the layout does not have a threshold that it names."""
    marks = layout.thresholds
    return frozenset(
        [
            *(Literal("level", volume, marks[volume].index(mark)) for volume, mark in imbalance.at_least),
            *(Literal("level", volume, marks[volume].index(mark), holds=False) for volume, mark in imbalance.below),
            *(Literal("part", part, values=states) for part, states in imbalance.parts),
        ]
    )


def imbalance_of(layout: Layout, literals: Iterable[Literal], still: Stillness, marks: Marks) -> Imbalance:
    """A cube of levels and parts as an imbalance."""
    ordered = sorted(literals, key=lambda one: one.order)
    levels = [one for one in ordered if one.sort == "level"]
    return Imbalance(
        still,
        tuple((one.subject, layout.thresholds[one.subject][one.rank]) for one in levels if one.holds),
        tuple((one.subject, layout.thresholds[one.subject][one.rank]) for one in levels if not one.holds),
        tuple((one.subject, one.values) for one in ordered if one.sort == "part"),
        tuple((volume, marks[volume]) for volume in sorted(marks) if marks[volume]),
    )


# ---------------------------------------------------------------------------------------------- finding an imbalance


def imbalance_in(
    layout: Layout, state: State, still: Stillness, check: Callable[[], None] | None = None
) -> Imbalance | None:
    """An imbalance of the state and of as many others as is found; None when the state can balance, or may."""
    known = frozenset(one for one in whole(layout, state) if one.sort in ("level", "part"))
    search = _Search(layout, known, still, check)
    needed = search.needed()
    if needed is None:
        return None
    marks = search.marks_of_use()
    found = imbalance_of(layout, _widened(layout, needed, still, marks, check), still, marks)
    return found if _contradicts(layout, found, check) else None


def _contradicts(layout: Layout, imbalance: Imbalance, check: Callable[[], None] | None) -> bool:
    """Shown by a fresh solver from what an imbalance says alone."""
    text = unbalanced(layout, imbalance).replace("(check-sat)\n", "")
    return Session(text, check, {"rlimit": _LIMIT}, logic="QF_LRA").ask() is Answer.NO


class _Search:
    """Adds marks where a solution's flows are not those of its pressures, until there is none, or its flows are right."""

    def __init__(
        self, layout: Layout, literals: frozenset[Literal], still: Stillness, check: Callable[[], None] | None
    ) -> None:
        self._network = _Network(layout, Cube(layout, 0, literals), still)
        ordered = sorted(literals, key=lambda one: one.order)
        self._switch = {literal: BoolSymbol(f"|known {number}|") for number, literal in enumerate(ordered)}
        self._marks = {volume: set(self._ends(volume)) for volume in self._network.pressures}
        self._told: set[Demand] = set()
        lines = [declaration(symbol) for symbol in (*self._network.symbols(), *self._switch.values())]
        self._session = Session("\n".join(lines), check, {"rlimit": _LIMIT}, logic="QF_LRA")
        self._tell(self._network.demands())
        self._tell(self._network.bounds(self.marks_of_use()))

    def _ends(self, volume: str) -> Iterator[Fraction]:
        cube = self._network.cube
        yield cube.floor(volume)[0]
        yield cube.ceiling(volume)[0]

    def marks_of_use(self) -> dict[str, tuple[Fraction, ...]]:
        """The marks of the volumes that a sized passage ends at."""
        sized = [way.passage for way in self._network.ways if way.passage.size is not None and not way.is_shut]
        ends = {node for passage in sized for node in (passage.upstream, passage.downstream)}
        return {volume: tuple(sorted(marks)) for volume, marks in self._marks.items() if volume in ends}

    def _tell(self, demands: Iterable[Demand]) -> None:
        new = [demand for demand in dict.fromkeys(demands) if demand not in self._told]
        self._told.update(new)
        self._session.extend("\n".join(assertion(self._switched(demand)) for demand in new))

    def _switched(self, demand: Demand) -> Bool:
        formula, needs = demand
        off = [Negation(self._switch[one]) for _, one in sorted(needs, key=lambda item: item[1].order)]
        return disjunction([*off, formula])

    def needed(self) -> frozenset[Literal] | None:
        """The literals that a contradiction rests on; None when none is found."""
        switches = list(self._switch.values())
        for _ in range(_ROUNDS):
            answer = self._session.ask(switches)
            if answer is Answer.NO:
                return self._without_needless()
            if answer is not Answer.YES or not self._add_marks():
                return None
        return None

    def _without_needless(self) -> frozenset[Literal]:
        kept = self._core()
        for symbol in list(kept):
            fewer = [one for one in kept if one != symbol]
            if symbol in kept and self._session.ask(fewer) is Answer.NO:
                kept = self._core()
        return frozenset(literal for literal, symbol in self._switch.items() if symbol in kept)

    def _core(self) -> list[BoolSymbol]:
        core = self._session.core()
        return [symbol for symbol in self._switch.values() if symbol in core]

    def _add_marks(self) -> bool:
        """Marks at which the last solution's flows are refused; False when its flows are right."""
        nodes = [symbol for symbol in self._network.pressures.values() if isinstance(symbol, RealSymbol)]
        found = dict(zip(self._network.pressures, self._session.numbers(nodes), strict=True))
        flows = [way.flow for way in self._network.ways]
        added = False
        for way, flow in zip(self._network.ways, self._session.numbers(flows), strict=True):
            if way.passage.size is not None and not way.is_shut:
                for volume, mark in self._refusing(way, found, flow):
                    added |= mark not in self._marks[volume]
                    self._marks[volume].add(mark)
        self._tell(self._network.bounds(self.marks_of_use()))
        return added

    def _refusing(self, way: _Way, found: Mapping[str, Fraction], flow: Fraction) -> Iterator[tuple[str, Fraction]]:
        """Marks at the ends of a passage that exclude a flow which its pressures do not let through."""
        passage = way.passage
        fixed = {ATMOSPHERE: Fraction(0), SOURCE: self._network.layout.arrangement.highest}
        before, behind = ({**found, **fixed}[node] for node in (passage.upstream, passage.downstream))
        through = self._network.between(way, before, behind)
        slack = _CLOSE * (1 + abs(flow))
        if through.low - slack <= flow <= through.high + slack:
            return
        too_little = flow < through.low

        def refuses(one: Fraction, other: Fraction) -> bool:
            at = self._network.between(way, one, other)
            return flow < at.low if too_little else flow > at.high

        for node, own in ((passage.upstream, before), (passage.downstream, behind)):
            if node in found:
                upstream = node == passage.upstream
                yield node, _rounded(own, up=upstream is not too_little)
                # Half way to the last pressure at which the flow is still refused: so few marks do, and with room.
                far = Fraction(0) if upstream is too_little else fixed[SOURCE]
                moved = _nearest(
                    own, far, (lambda p: refuses(p, behind)) if upstream else (lambda p: refuses(before, p))
                )
                yield node, _rounded((own + moved) / 2, up=upstream is too_little)


def _nearest(good: Fraction, far: Fraction, holds: Callable[[Fraction], bool]) -> Fraction:
    """Between a pressure at which something holds and one further off, about the last one at which it does."""
    if holds(far):
        return far
    while abs(far - good) > _GRID:
        middle = (good + far) / 2
        good, far = (middle, far) if holds(middle) else (good, middle)
    return good


def _rounded(pressure: Fraction, *, up: bool) -> Fraction:
    """A multiple of the grid beside a pressure."""
    steps = pressure / _GRID
    return (-(-steps // 1) if up else steps // 1) * _GRID


def _widened(
    layout: Layout, literals: frozenset[Literal], still: Stillness, marks: Marks, check: Callable[[], None] | None
) -> frozenset[Literal]:
    """With each level as far from the state as the contradiction allows, and parts in as many states."""
    for first in sorted(literals, key=lambda one: one.order):
        literal = first
        for wider in _wider(layout, first):
            other = literals - {literal} | {wider}
            if not _contradicts(layout, imbalance_of(layout, other, still, marks), check):
                break
            literals, literal = other, wider
    return literals


def _wider(layout: Layout, literal: Literal) -> Iterator[Literal]:
    """The same literal of more and more states, each wider than the one before."""
    if literal.sort == "level":
        last = len(layout.thresholds[literal.subject])
        ranks = range(literal.rank - 1, -1, -1) if literal.holds else range(literal.rank + 1, last)
        yield from (replace(literal, rank=rank) for rank in ranks)
    elif literal.sort == "part":
        values = literal.values
        for state in layout.arrangement.part(literal.subject).states:
            if state not in values:
                values |= {state}
                yield replace(literal, values=values)
