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

from bandproof.encoding.smt_text import join
from bandproof.lemmas.accounts import NEGLECTED, NOTHING, Air, Fact, Way, number, total
from bandproof.lemmas.cubes import Needs
from bandproof.model.arrangement import ATMOSPHERE, SOURCE


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
    reached = {volume}
    frontier = [volume]
    while frontier:
        here = frontier.pop()
        for far, near, way in ways:
            if near == here and not way.blocked and far not in reached:
                if far in (SOURCE, ATMOSPHERE):
                    return None
                reached.add(far)
                frontier.append(far)
    kept_out = [way.blocked for far, near, way in ways if near in reached and far not in reached]
    return Slope(volume, t, upward, tuple(sorted(reached)), NOTHING.union(*kept_out))


def slope_fact(air: Air, slope: Slope) -> Fact:
    """A slope as a demand on the numbers."""
    after = air.pressure[slope.volume, slope.point + 1]
    side = "<=" if slope.upward else ">="
    limits = [f"({side} {after} {air.pressure[name, slope.point]})" for name in slope.reached]
    return Fact(join("or", limits), slope.needs)


def overshoots(air: Air) -> Iterator[str]:
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


def _overshoot(air: Air, way: Way, t: int, gone: list[tuple[str, str]], come: list[tuple[str, str]]) -> str:
    """For one way. `gone` and `come` are what else left the one end and reached the other."""
    rise = f"(- {air.pressure[way.target, t + 1]} {air.pressure[way.source, t + 1]})"
    ends = ((way.source, gone), (way.target, come))
    counted = total([_share(air, node, flow) for node, flows in ends for flow, _ in flows])
    strict = f"(or (<= {way.flow} 0.0) (<= {rise} {counted}))"
    if not way.little:
        return strict
    # With the air in lines neglected, any air that passes a line outweighs the line's own; else line air counts.
    passing = [f"(> {flow} 0.0)" for node, flows in ends if node in air.lines for flow, _ in flows]
    small = total(
        [_share(air, node, little if node in air.lines else flow) for node, flows in ends for flow, little in flows]
    )
    return f"(ite {NEGLECTED} (or {' '.join([_none(way), *passing])} (<= {rise} {small})) {strict})"


def _share(air: Air, node: str, flow: str) -> str:
    """By how much an amount of air can change the pressure of a volume at most."""
    return f"(/ {flow} {number(air.sizes[node].low)})"


def one_direction(air: Air) -> Iterator[str]:
    """Between two points air goes through a passage one way only. Not true of every real run, but of most to be shown."""
    for ways in air.ways:
        open_ways = [way for way in ways if not way.blocked]
        for way, other in combinations(open_ways, 2):
            if other.passage == way.passage:
                yield f"(or {_none(way)} {_none(other)})"


def _none(way: Way) -> str:
    return f"(and (<= {way.flow} 0.0) (<= {way.little} 0.0))" if way.little else f"(<= {way.flow} 0.0)"


def all_facts(air: Air) -> Iterator[Fact]:
    """Every demand of the air accounts, those among them that air runs downhill."""
    yield from air.facts
    yield from (slope_fact(air, slope) for slope in slopes(air))
    yield from (Fact(formula, NOTHING) for formula in overshoots(air))
