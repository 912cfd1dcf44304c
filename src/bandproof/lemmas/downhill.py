"""The demand that air runs downhill.

Two consequences are asked for between two points, both true of every real stay however its pressures wander in between:

- no volume ends higher than every pressure that could have fed it began, unless a source feeds it; nor lower than every
  pressure it could drain to began, unless it vents (a *slope*);
- where air went from u to v, v ends above u by no more than what went from u elsewhere, and came to v from elsewhere,
  can account for: when air last went that way, u was no lower than v (no *overshoot*).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations

from bandproof.lemmas.accounts import Air, Fact, Way
from bandproof.lemmas.cubes import Needs
from bandproof.lemmas.unknowns import NEGLECTED, NOTHING
from bandproof.model.arrangement import ATMOSPHERE, SOURCE
from bandproof.model.graph import reachable
from bandproof.solvers.smt_terms import (
    ZERO,
    Bool,
    Choice,
    Difference,
    Ordered,
    Quotient,
    Real,
    Side,
    at_most,
    conjunction,
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
    for t, ways in enumerate(air.ways):
        for way in ways:
            if way.blocked or SOURCE in (way.source, way.target) or ATMOSPHERE in (way.source, way.target):
                continue
            others = [
                other for other in ways if other.passage != way.passage and not (air.all_counted and other.blocked)
            ]
            gone = [(other.flow, other.little) for other in others if other.source == way.source]
            come = [(other.flow, other.little) for other in others if other.target == way.target]
            yield _overshoot(air, way, t, gone, come)


#: The air that takes a way, and that of it which is line air.
_Flow = tuple[Real, Real | None]


def _overshoot(air: Air, way: Way, t: int, gone: list[_Flow], come: list[_Flow]) -> Bool:
    """For one way. `gone` and `come` are what else left the one end and reached the other."""
    rise = Difference(air.pressure[way.target, t + 1], air.pressure[way.source, t + 1])
    ends = ((way.source, gone), (way.target, come))
    counted = total(_share(air, node, flow) for node, flows in ends for flow, _ in flows)
    strict = disjunction([at_most(way.flow, ZERO), at_most(rise, counted)])
    if way.little is None:
        return strict
    # With the air in lines neglected, any air that passes a line outweighs the line's own; else line air counts.
    passing = [over(flow, ZERO) for node, flows in ends if node in air.lines for flow, _ in flows]
    shares = [
        _share(air, node, flow if node not in air.lines or little is None else little)
        for node, flows in ends
        for flow, little in flows
    ]
    return Choice(NEGLECTED, disjunction([_none(way), *passing, at_most(rise, total(shares))]), strict)


def _share(air: Air, node: str, flow: Real) -> Real:
    """By how much an amount of air can change the pressure of a volume at most."""
    return Quotient(flow, air.sizes[node].low)


def one_direction(air: Air) -> Iterator[Bool]:
    """Between two points air goes through a passage one way only. Not true of every real run, but of most to be shown."""
    for ways in air.ways:
        open_ways = [way for way in ways if not way.blocked]
        for way, other in combinations(open_ways, 2):
            if other.passage == way.passage:
                yield disjunction([_none(way), _none(other)])


def _none(way: Way) -> Bool:
    """No air takes the way."""
    return conjunction(at_most(flow, ZERO) for flow in (way.flow, way.little) if flow is not None)


def all_facts(air: Air) -> Iterator[Fact]:
    """Every demand of the air accounts, those among them that air runs downhill."""
    yield from air.facts
    yield from (slope_fact(air, slope) for slope in slopes(air))
    yield from (Fact(formula, NOTHING) for formula in overshoots(air))
