"""The demand that air runs downhill.

Three consequences are asked for between two points, both true of every real stay however its pressures wander in between:

- no volume ends higher than every pressure that could have fed it began, unless a source feeds it; nor lower than every
  pressure it could drain to began, unless it vents (a *slope*);
- where air went from u to v, v ends above u by no more than what went from u elsewhere, and came to v from elsewhere,
  can account for: when air last went that way, u was no lower than v (no *overshoot*). What went or came by a way that
  air took for the last time before that does not count (*turns*): of three lines filled from one tank, one is the last.

- what goes from u to volumes that are never below L goes while u is at or above L: it is no more than what u held above L
  in the beginning and what came to u; and what comes to v from volumes that are never above H is no more than what v lacked
  below H, and what left it (*levels*).

Most runs that satisfy the rest satisfy turns as well, so a search asks for them only where it has to: see `overtaken`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations

from bandproof.lemmas.accounts import Air, Fact, Way
from bandproof.lemmas.cubes import Needs, ceiling_of, floor_of
from bandproof.lemmas.unknowns import NOTHING
from bandproof.model.arrangement import ATMOSPHERE, SOURCE
from bandproof.model.graph import reachable
from bandproof.solvers.smt_terms import (
    ZERO,
    Bool,
    Difference,
    Number,
    Ordered,
    Quotient,
    Real,
    Scaled,
    Side,
    Sum,
    at_most,
    disjunction,
    over,
    total,
)


@dataclass(frozen=True, slots=True)
class Slope:
    """After `point` the pressure of `volume` ends no higher (`upward`; else no lower) than one of `reached` began."""

    volume: str
    point: int
    upward: bool
    reached: tuple[str, ...]
    needs: Needs

    def broken_by(self, pressure: Mapping[tuple[str, int], Fraction]) -> bool:
        """The pressures do not follow it."""
        after = pressure[self.volume, self.point + 1]
        before = [pressure[name, self.point] for name in self.reached]
        return after > max(before) if self.upward else after < min(before)


def slopes(air: Air) -> Iterator[Slope]:
    """Every slope there is."""
    for t in air.points[:-1]:
        for volume in air.volumes:
            for upward in (True, False):
                slope = _slope(air, volume, t, upward=upward)
                if slope is not None:
                    yield slope


def _slope(air: Air, volume: str, t: int, *, upward: bool) -> Slope | None:
    """None where a source (upward) or the atmosphere (downward) leaves no limit."""
    ways = [(w.source, w.target, w) if upward else (w.target, w.source, w) for w in air.ways[t]]
    reached = reachable([volume], lambda here: [far for far, near, way in ways if near == here and not way.blocked])
    if reached & {SOURCE, ATMOSPHERE}:
        return None
    kept_out = [way.blocked for far, near, way in ways if near in reached and far not in reached]
    return Slope(volume, t, upward, tuple(sorted(reached)), NOTHING.union(*kept_out))


def slope_fact(air: Air, slope: Slope) -> Fact:
    """A slope as a demand on the numbers."""
    return Fact(disjunction(slope_terms(air, slope)), slope.needs)


def slope_terms(air: Air, slope: Slope) -> list[Bool]:
    """What a slope asks of the numbers: some one of these."""
    after = air.pressure[slope.volume, slope.point + 1]
    side = Side.AT_MOST if slope.upward else Side.AT_LEAST
    return [Ordered(side, (after, air.pressure[name, slope.point])) for name in slope.reached]


def overshoots(air: Air) -> Iterator[Bool]:
    """The demands that air which went from one volume to another did not go uphill in the end."""
    for t in air.points[:-1]:
        for way in _between_volumes(air, t):
            yield _overshoot(air, way, t, [(node, other.flow) for node, other in _beside(air, way, t)])


def turns(air: Air, t: int) -> Iterator[Bool]:
    """The same after one point, without what went by a way that air took for the last time before."""
    last = {id(way): air.declare(f"air last took way {order} after {t}") for order, way in enumerate(_taken(air, t))}
    for order, way in enumerate(_between_volumes(air, t)):
        counted: list[tuple[str, Real]] = []
        for number, (node, other) in enumerate(_beside(air, way, t)):
            late = air.declare(f"late air {number} beside way {order} after {t}")
            yield at_most(late, other.flow)
            if node == way.source and other.target in air.volumes and air.exact(other.target):
                # No more than what is in the volume in the end, and what left it by other passages.
                passed = [one.flow for one in _passing(air, other, t)]
                yield at_most(late, total([air.amount[other.target, t + 1], *passed]))
            yield disjunction([over(last[id(other)], last[id(way)]), at_most(late, ZERO)])
            counted.append((node, late))
        yield _overshoot(air, way, t, counted)


@dataclass(frozen=True, slots=True)
class Numbers:
    """Values that satisfy some demands: pressures by volume and point, and flows."""

    pressure: Mapping[tuple[str, int], Fraction]
    flow: Mapping[Real, Fraction]


def overtaken(air: Air, numbers: Numbers) -> list[int]:
    """The points after which the numbers leave no order in which ways were taken for the last time (`turns`).

    A way may be taken last of those that are left where what was found to come later suffices; so the order is found
    from its end, and it does not matter which is picked when there are several.
    """
    return [t for t in air.points[:-1] if _left_over(air, t, numbers)]


def _left_over(air: Air, t: int, numbers: Numbers) -> list[Way]:
    pressure = numbers.pressure
    waiting = [way for way in _between_volumes(air, t) if numbers.flow[way.flow] > 0]
    later = {way.flow for way in _taken(air, t)} - {way.flow for way in waiting}
    picked = True
    while picked:
        picked = False
        for way in list(waiting):
            rise = pressure[way.target, t + 1] - pressure[way.source, t + 1]
            if rise <= _room(air, way, t, numbers, later):
                waiting.remove(way)
                later.add(way.flow)
                picked = True
    return waiting


def _room(air: Air, way: Way, t: int, numbers: Numbers, later: AbstractSet[Real]) -> Fraction:
    """How far the one end of a way can end above the other, for what air went by other ways later."""
    room = Fraction(0)
    flow = numbers.flow
    for node, other in _beside(air, way, t):
        size, moved = air.sizes[node], flow[other.flow] if other.flow in later else Fraction(0)
        held = air.size.get(other.target)
        if moved > 0 and node == way.source and isinstance(held, Number):
            passed = sum((flow[one.flow] for one in _passing(air, other, t)), Fraction(0))
            moved = min(moved, held.value * numbers.pressure[other.target, t + 1] + passed)
        if moved > 0:
            room += air.arrangement.highest if size is None else moved / size.low
    return room


def _between_volumes(air: Air, t: int) -> list[Way]:
    """The ways after a point that can carry air from one volume to another."""
    ends = (SOURCE, ATMOSPHERE)
    return [way for way in air.ways[t] if not way.blocked and way.source not in ends and way.target not in ends]


def _passing(air: Air, way: Way, t: int) -> list[Way]:
    """The ways out of a way's target by other passages."""
    return [one for one in _taken(air, t) if one.source == way.target and one.passage != way.passage]


def _taken(air: Air, t: int) -> list[Way]:
    """The ways after a point that have a flow."""
    return [way for way in air.ways[t] if not (air.known and way.blocked)]


def _beside(air: Air, way: Way, t: int) -> list[tuple[str, Way]]:
    """The other ways by which air leaves the one end of a way, or reaches the other, each with that end."""
    others = [other for other in _taken(air, t) if other.passage != way.passage]
    gone = [(way.source, other) for other in others if other.source == way.source]
    return gone + [(way.target, other) for other in others if other.target == way.target]


def _overshoot(air: Air, way: Way, t: int, beside: Sequence[tuple[str, Real]]) -> Bool:
    """For one way. `beside` is the air that left its one end by other ways or reached the other, each with that end."""
    rise = Difference(air.pressure[way.target, t + 1], air.pressure[way.source, t + 1])
    moved: list[Bool] = []
    shares: list[Real] = []
    for node, flow in beside:
        size = air.sizes[node]
        if size is None:
            # Any air at all can change the pressure of a volume that may be as small as you like by any amount.
            moved.append(over(flow, ZERO))
        else:
            shares.append(Quotient(flow, size.low))
    return disjunction([_none(way), *moved, at_most(rise, total(shares))])


def levels(air: Air) -> Iterator[Fact]:
    """The demands that no air leaves a volume for higher ones, or comes to it from lower ones."""
    for t in air.points[:-1]:
        between = _between_volumes(air, t)
        for volume in air.volumes:
            leaving = [(way, floor_of(air.during(t), way.target)) for way in between if way.source == volume]
            for level in sorted({low for _, (low, _) in leaving if low > 0}):
                above = [(way, needs) for way, (low, needs) in leaving if low >= level]
                held = Difference(air.amount[volume, t], Scaled(level, air.size[volume]))
                yield _level(air, t, volume, above, held, leaving=True)
            coming = [
                (way, ceiling_of(air.layout, air.during(t), way.source)) for way in between if way.target == volume
            ]
            for level in sorted({high for _, (high, _) in coming if high < air.arrangement.highest}):
                below = [(way, needs) for way, (high, needs) in coming if high <= level]
                lacking = Difference(Scaled(level, air.size[volume]), air.amount[volume, t])
                yield _level(air, t, volume, below, lacking, leaving=False)


def _level(air: Air, t: int, volume: str, ways: list[tuple[Way, Needs]], room: Real, *, leaving: bool) -> Fact:
    """What takes these ways is no more than the room there is, if any, and what takes the ways on the other side."""
    moved = total([way.flow for way, _ in ways])
    others = total([way.flow for way in _taken(air, t) if (way.target if leaving else way.source) == volume])
    enough = disjunction([at_most(moved, others), at_most(moved, Sum((room, others)))])
    return Fact(enough, NOTHING.union(*(needs for _, needs in ways)))


def one_direction(air: Air) -> Iterator[Bool]:
    """Between two points air goes through a passage one way only. Not true of every real run, but of most to be shown."""
    for ways in air.ways:
        open_ways = [way for way in ways if not way.blocked]
        for way, other in combinations(open_ways, 2):
            if other.passage == way.passage:
                yield disjunction([_none(way), _none(other)])


def _none(way: Way) -> Bool:
    """No air takes the way."""
    return at_most(way.flow, ZERO)


def all_facts(air: Air) -> Iterator[Fact]:
    """Every demand of the air accounts, those among them that air runs downhill."""
    yield from air.facts
    yield from (slope_fact(air, slope) for slope in slopes(air))
    yield from levels(air)
    yield from (Fact(formula, NOTHING) for formula in overshoots(air))
    yield from (Fact(formula, NOTHING) for t in air.points[:-1] for formula in turns(air, t))
