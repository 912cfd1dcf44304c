"""Air accounts: the linear arithmetic that a run has to satisfy if it is to be real.

What is demanded of a run through places 0..n
---------------------------------------------
A place is what is known of a state, or of a stay in several: see `bandproof.lemmas.cubes`. The run is looked at when it
*enters* a place and once *within* it, at points entering 0, within 0, entering 1, ..., within n. Between two points
parts stand still and air moves. At each point every volume has a real gauge pressure p and holds V p of air above the
atmosphere's (isothermal), V its size. Tanks, chambers and lines are alike in this: no air is neglected.

bands      within place k every p is in the closed range known of place k; on entering k it is between the ranges of
           k - 1 and k, so that the volumes crossing in one step may cross in any order;
balance    between two points V p changes by what passages bring and take, nothing else; sources give and the
           atmosphere takes without end;
direction  nothing passes a shut passage (shut also in every state that its part could chatter to, see
           `bandproof.lemmas.chattering`), nor a one-way passage backwards, nor from u to v while the range of u is wholly under
           that of v;
downhill   where pressures can be compared directly, none ends higher than every pressure that could have fed it began,
           unless a source does, and none lower than every pressure it could drain to, unless it vents; and where air
           went from u to v, the pressure of v ends above that of u by no more than what went from u elsewhere, and
           came to v from elsewhere, can account for (when air last went from u to v, u was no lower than v);
settings   a toleranced setting is one number in its range for the whole run, for each part that uses it or for all;
moves      a part that moves from k to k + 1 does so when its guard holds at that moment. Where a pressure is the very
           number of a setting, it is below it or not, and the same for all who look at that moment; it comes to be below
           only where time passes and air could go, and ceases to be only where air could come;
quiet      while time passes no fast part's guard holds: it would have moved. A stay that lasts no time is exempt; slow
           parts owe nothing, nor do parts that can hunt and those that watch them. A guard counts as failing at the very
           boundary too, because it may hold next;
start      on entering place 0 the pressures are in the start's ranges, if the run begins there; and on entering a place
           where a start has been passed that had not been before, in the ranges of that start.

Every run of the continuous model that the band machine follows satisfies all of this, so a contradiction shows that
there is none. Two parts may name the same setting and still differ: each has its own number, unless the file says it is
shared. And a stay in one place of several states is one longer stay: the demands between two points add up.

Valve mechanics are taken as fast against flow, as in a react step: while a part that has to move has not moved yet, no
air flows. A part that takes its time has to say so.

A size that is a range makes V p a product of unknowns. The amount V p is then an unknown of its own, held between the
four planes that bound a product over the ranges of its factors, and it rises and falls with p. A size that is not
declared may be anything above zero: of the four planes two are left. Everything is SMT-LIB text, of the logic QF_LRA.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from bandproof.lemmas.chattering import Chattering, Surroundings
from bandproof.lemmas.cubes import Cube, Literal, Needs, ceiling_of, floor_of
from bandproof.lemmas.unknowns import NOTHING, Guard, Sizes, Unknowns
from bandproof.machine.layout import Layout
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Part, Passage, Start
from bandproof.model.conditions import Condition
from bandproof.model.walker import opposite
from bandproof.solvers.smt_terms import (
    FALSE,
    TRUE,
    ZERO,
    Bool,
    Difference,
    Implication,
    Minus,
    Negation,
    Number,
    Ordered,
    Real,
    Same,
    Scaled,
    Side,
    Sum,
    at_least,
    at_most,
    conjunction,
    disjunction,
    equal,
    over,
    total,
)

#: The flow of a way that has no symbol of its own.
_NO_FLOW = ZERO


@dataclass(frozen=True, slots=True)
class Fact:
    """One demand on the numbers, and what has to be known for it to be made; `start`: only of runs that begin here."""

    formula: Bool
    needs: Needs
    start: bool = False


@dataclass(frozen=True, slots=True)
class Way:
    """One direction through one passage between two points; `flow` is the air that takes it.

    `blocked` is why none can; empty when some can. `chattering`: only because the part could chatter. The two directions of
    a passage have the same `passage`.
    """

    source: str
    target: str
    flow: Real
    blocked: Needs
    chattering: bool
    passage: str


class Air(Unknowns):
    """The demands on a run through places. `start` names the start it begins at, None for anywhere.

    With `known` ways that carry nothing have no symbols: for runs whose every state is known, where no reason is asked for.
    """

    def __init__(
        self,
        layout: Layout,
        places: list[frozenset[Literal]],
        start: str | None,
        sizes: Sizes,
        *,
        known: bool = False,
    ) -> None:
        super().__init__(layout, sizes, range(2 * len(places)))
        self.known = known
        self.places = [Cube(layout, number, atoms) for number, atoms in enumerate(places)]
        self.start = start
        self.facts: list[Fact] = []
        self._hovering = Chattering(self.arrangement.parts)
        hunts = layout.motion.hunting
        self._excused = frozenset[str]().union(*(hunts.excused_by(name) for name in hunts.parts))
        self.lasting = [self.declare_truth(f"time passes in place {k}") for k in range(len(places))]
        self.ways = [list(self._ways(t)) for t in self.points[:-1]]
        self._bound()
        self._balance()
        self._rest()
        self._mechanics()
        self._stand_at_edges()
        self._begin()

    def around(self, t: int) -> list[Cube]:
        """The places whose ranges are possible at a point."""
        place = t // 2
        return self.places[max(0, place - 1) : place + 1] if t % 2 == 0 else [self.places[place]]

    def during(self, t: int) -> list[Cube]:
        """The places whose ranges are possible between a point and the next."""
        return self.around(t + t % 2)

    # ---- bands

    def _bound(self) -> None:
        for (volume, t), pressure in self.pressure.items():
            low, below = floor_of(self.around(t), volume)
            high, above = ceiling_of(self.layout, self.around(t), volume)
            if below:
                self.facts.append(Fact(at_least(pressure, Number(low)), below))
            if above:
                self.facts.append(Fact(at_most(pressure, Number(high)), above))
            if not self.exact(volume):
                self._bound_product(volume, t, (low, below), (high, above))

    def _bound_product(self, volume: str, t: int, low: tuple[Fraction, Needs], high: tuple[Fraction, Needs]) -> None:
        """The amount of air is a size times a pressure, each between its ends."""
        size, pressure, amount = self.size[volume], self.pressure[volume, t], self.amount[volume, t]
        known = self.sizes[volume]
        for end, needs, at_smallest, at_largest in (
            (*low, Side.AT_LEAST, Side.AT_MOST),
            (*high, Side.AT_MOST, Side.AT_LEAST),
        ):
            if known is None:
                self.facts.append(Fact(Ordered(at_smallest, (amount, Scaled(end, size))), needs))
                continue
            for s, side in ((known.low, at_smallest), (known.high, at_largest)):
                plane = Difference(Sum((Scaled(s, pressure), Scaled(end, size))), Number(s * end))
                self.facts.append(Fact(Ordered(side, (amount, plane)), needs))

    # ---- passages

    def _ways(self, t: int) -> Iterator[Way]:
        """Every direction air might take between two points, shut ones included: that they are shut is a fact."""
        for part in self.arrangement.parts:
            stands, known = self.places[t // 2].stands(part.name)
            possible, why = self._possible(part, stands, t)
            for order, passage in enumerate(part.passages):
                if passage.upstream == passage.downstream:
                    continue
                shut = known | why if not possible & passage.open_in else NOTHING
                for u, v in directions(passage):
                    name = f"{part.name} {order + 1}"
                    blocked = shut or self._uphill(u, v, t)
                    flow = self._flow(f"{name}: {u} to {v} after {t}", blocked)
                    yield Way(u, v, flow, blocked, not stands & passage.open_in, name)

    def _flow(self, name: str, blocked: Needs) -> Real:
        """The air that takes a way."""
        if self.known and blocked:
            return _NO_FLOW
        flow = self.declare(name)
        self.axioms.append(at_least(flow, ZERO))
        if blocked:
            self.facts.append(Fact(equal(flow, ZERO), blocked))
        return flow

    def _possible(self, part: Part, stands: frozenset[str], t: int) -> tuple[frozenset[str], Needs]:
        """The states a part can be in between two points, and why it can be in no others."""
        places = self.during(t)
        here = self.places[t // 2]
        around = Surroundings(
            lambda volume: floor_of(places, volume),
            lambda volume: ceiling_of(self.layout, places, volume),
            here.truth,
        )
        return self._hovering.reach(part, stands, around)

    def _uphill(self, u: str, v: str, t: int) -> Needs:
        """Why air cannot go from `u` to `v` between two points: the range of `u` is wholly under that of `v`."""
        if ATMOSPHERE in (u, v) or SOURCE in (u, v):
            return NOTHING
        high, above = ceiling_of(self.layout, self.during(t), u)
        low, below = floor_of(self.during(t), v)
        return above | below if above and below and high <= low else NOTHING

    def _balance(self) -> None:
        for t, ways in enumerate(self.ways):
            for volume in self.volumes:
                gained = Difference(self.amount[volume, t + 1], self.amount[volume, t])
                self.axioms.append(equal(gained, _net(volume, ways)))

    def _stay(self, place: int) -> list[int]:
        """The points at which the run is entering, within and leaving a place."""
        return [t for t in (2 * place, 2 * place + 1, 2 * place + 2) if t in self.points]

    def _rest(self) -> None:
        """Where no time passes nothing changes."""
        for place, lasts in enumerate(self.lasting):
            same = conjunction(self.same(a, b) for a, b in pairwise(self._stay(place)))
            self.axioms.append(disjunction([lasts, same]))

    # ---- guards

    def _mechanics(self) -> None:
        for part in self.arrangement.parts:
            for place in self.places:
                stands, needs = place.stands(part.name)
                if len(stands) != 1:
                    continue
                (state,) = stands
                if not part.delayed and part.name not in self._excused:
                    self._add_quiet(part, place, state, needs)
                if place.number + 1 < len(self.places):
                    after, more = self.places[place.number + 1].stands(part.name)
                    if len(after) == 1 and after != stands:
                        self._add_move(part, place, (state, *after), needs | more)

    def _add_move(self, part: Part, place: Cube, ends: tuple[str, ...], needs: Needs) -> None:
        options: list[Bool] = []
        for order, move in enumerate(part.moves):
            if (move.source, move.target) == ends:
                point = 2 * place.number + 2
                formula, why = self._guard(move.when, (part.name, f"move {order + 1}"), place, point, moving=True)
                options.append(formula)
                needs |= why
        if TRUE not in options:
            self.facts.append(Fact(disjunction(option for option in options if option != FALSE), needs))

    def _add_quiet(self, part: Part, place: Cube, state: str, needs: Needs) -> None:
        demands: list[Bool] = []
        for order, move in enumerate(part.moves):
            if move.source == state and move.target != state:
                for t in self._stay(place.number):
                    formula, why = self._guard(opposite(move.when), (part.name, f"move {order + 1}"), place, t)
                    demands.append(formula)
                    needs |= why if formula != TRUE else NOTHING
        demands = [demand for demand in dict.fromkeys(demands) if demand != TRUE]
        if demands:
            self.facts.append(Fact(disjunction([Negation(self.lasting[place.number]), conjunction(demands)]), needs))

    def _guard(
        self, condition: Condition, key: tuple[str, ...], place: Cube, t: int, *, moving: bool = False
    ) -> tuple[Bool, Needs]:
        """The condition holds at point `t`, boundary included, as far as is known of the place.

        With `moving` a part moves by it there. What is not known asks for nothing: `true`.
        """
        return Guard(self, key, place, t, moving=moving).walk(condition)

    def _stand_at_edges(self) -> None:
        """What is at an edge stays on its side while no time passes; below while no air can come, above while none can go.

        Unless the pressure changes, and with it the edge.
        """
        for volume in self.at_edges():
            for t, ways in enumerate(self.ways):
                under, later = self.edge(volume, t), self.edge(volume, t + 1)
                before, after = self.pressure[volume, t], self.pressure[volume, t + 1]
                self.axioms.append(disjunction([self.lasting[t // 2], Same(under, later)]))
                coming = [way.blocked for way in ways if way.target == volume]
                going = [way.blocked for way in ways if way.source == volume]
                if all(coming):
                    stays = disjunction([over(before, after), Implication(under, later)])
                    self.facts.append(Fact(stays, NOTHING.union(*coming)))
                if all(going):
                    stays = disjunction([over(after, before), Implication(later, under)])
                    self.facts.append(Fact(stays, NOTHING.union(*going)))

    # ---- the start

    def _begin(self) -> None:
        if self.start is not None:
            self._be_at(self.arrangement.start(self.start), self.places[0], NOTHING, begins=True)
        for before, place in pairwise(self.places):
            coming = before.passed(holds=False)
            for name, atom in place.passed(holds=True).items():
                if name in coming:
                    needs = frozenset({(before.number, coming[name]), (place.number, atom)})
                    self._be_at(self.arrangement.start(name), place, needs, begins=False)

    def _be_at(self, start: Start, place: Cube, needs: Needs, *, begins: bool) -> None:
        """On entering the place the pressures are in the start's ranges: the run begins, or passes the start, there."""
        t = 2 * place.number
        for volume, given in start.pressures:
            ends = at_most(Number(given.low), self.pressure[volume, t], Number(given.high))
            self.facts.append(Fact(ends, needs, start=begins))
            if not self.exact(volume):
                size = self.size[volume]
                ends = at_most(Scaled(given.low, size), self.amount[volume, t], Scaled(given.high, size))
                self.facts.append(Fact(ends, needs, start=begins))
        formula, why = self._guard(start.where, ("start",) if begins else ("start", start.name), place, t)
        if formula != TRUE:
            self.facts.append(Fact(formula, needs | why, start=begins))


def directions(passage: Passage) -> list[tuple[str, str]]:
    """The directions in which a passage can carry air at all."""
    both = [(passage.upstream, passage.downstream)]
    if not passage.one_way:
        both.append((passage.downstream, passage.upstream))
    return [(u, v) for u, v in both if u != ATMOSPHERE and v != SOURCE]


def _net(volume: str, ways: list[Way]) -> Real:
    """What flows bring a volume, less what they take."""
    ways = [way for way in ways if way.flow != _NO_FLOW]
    inward = [way.flow for way in ways if way.target == volume]
    return total([*inward, *(Minus(way.flow) for way in ways if way.source == volume)])
