"""How long a volume that has to cross a threshold can take, and how short a time another needs for a whole band.

Bands carry no time, so the band machine alone would let a vented pilot line lag behind the filling of a whole trailer.
Where volumes have litres and every passage at them a size, both times can be bounded, and their quotient says how many
whole bands the one can cross while the other is due (MEANING.md, "Pace"). What follows from these numbers for a
step is said twice, in `bandproof.machine.semantics` and in `bandproof.encoding.pace`; here are only the numbers.

Flows are in dm3/s at the reference atmosphere of ISO 8778, 100 kPa, isothermal at its temperature; so a volume of V dm3
with the net inflow q has dp/dt = p0 q / V with p0 = 100 kPa. Both bounds are taken over everything that can touch the
volume: every part in any of its states, the other end of every open passage in any band, every size anywhere in its
range. That takes in combinations that no state has, which makes the longest time longer and the shortest shorter.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import lcm

from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement, Passage, Range
from bandproof.physics.iso6358 import BAR, flow_bounds

#: A volume for which more different sums of flows than this are possible has no longest time. Far more than a valve
#: with a handful of passages needs, and still a matter of milliseconds.
CONFIGURATIONS = 10_000

#: Allowances above this are not watched: they cost bits of state and seldom bind.
LARGEST_ALLOWANCE = 3


@dataclass(frozen=True, slots=True)
class Reacting:
    """A part with a reaction time, of which one move is due: it is made, or no longer due, within that time."""

    part: str


#: What can be due: a volume, by its name, to cross a threshold, or a part to move.
Pending = str | Reacting


@dataclass(frozen=True, slots=True)
class TimingConstraint:
    """While `pending` is due, `mover` can cross at most `allowance` whole bands in one direction.

    Pending is a volume that is due to cross a threshold, or a part that is due to move. `longest` is how long it can take
    for that, `shortest` what `mover` needs for a whole band; seconds.
    """

    pending: Pending
    mover: str
    longest: Fraction
    shortest: Fraction

    @property
    def while_due(self) -> str:
        """What is so while it counts."""
        return f"{self.pending.part} is due to move" if isinstance(self.pending, Reacting) else f"{self.pending} is due"

    @property
    def allowance(self) -> int:
        """How many whole bands the mover may cross meanwhile: so often the shortest time goes into the longest."""
        return int(self.longest // self.shortest)


#: The ascending thresholds of every volume, pascals gauge.
Thresholds = Mapping[str, tuple[Fraction, ...]]


def timing_constraints(arrangement: Arrangement, thresholds: Thresholds) -> tuple[TimingConstraint, ...]:
    """Every watch that can bind: whose allowance is small, and smaller than the mover's number of whole bands."""
    names = [volume.name for volume in arrangement.volumes]
    longest: dict[Pending, Fraction | None] = {name: sigma(arrangement, thresholds, name) for name in names}
    longest |= {Reacting(part.name): part.reaction.high for part in arrangement.parts if part.reaction is not None}
    shortest = {name: tau(arrangement, thresholds, name) for name in names}
    found = [
        TimingConstraint(pending, mover, slow, quick)
        for pending, slow in longest.items()
        for mover, quick in shortest.items()
        if slow is not None and quick is not None and pending != mover
    ]
    return tuple(w for w in found if w.allowance <= min(LARGEST_ALLOWANCE, len(thresholds[w.mover]) - 2))


def sigma(arrangement: Arrangement, thresholds: Thresholds, name: str) -> Fraction | None:
    """The longest time, in seconds, that the volume can be due to cross the threshold above its band, or that below.

    Due: its net inflow is sure to be positive, or negative, over its whole band. The time is that for the whole band at
    the smallest such inflow. None where there is no bound (no litres, a passage without a size, too many combinations),
    or where the volume is never due.
    """
    litres = _litres(arrangement, name)
    if litres is None:
        return None
    times: list[Fraction] = []
    bands = _bands(arrangement, thresholds, name)
    for number, own in enumerate(bands):
        for upward in (True, False):
            if number == (len(bands) - 1 if upward else 0):
                continue
            sums = _sure_sums(arrangement, thresholds, name, own, upward=upward)
            if sums is None:
                return None
            least = min((total for total in sums.totals if total > 0), default=None)
            times += [] if least is None else [_seconds(litres.high, own, Fraction(least, sums.unit))]
    return max(times, default=None)


def tau(arrangement: Arrangement, thresholds: Thresholds, name: str) -> Fraction | None:
    """The shortest time, in seconds, in which the volume can cross a band from the threshold below to that above, or back.

    None where there is no bound, no such band, or no flow to cross one.
    """
    litres = _litres(arrangement, name)
    if litres is None:
        return None
    times: list[Fraction] = []
    for own in _bands(arrangement, thresholds, name)[1:-1]:
        most = max(_most(arrangement, name, own, inward=inward) for inward in (True, False))
        times += [_seconds(litres.low, own, most)] if most > 0 else []
    return min(times, default=None)


def _seconds(litres: Fraction, band: Range, flow: Fraction) -> Fraction:
    """The time a steady net flow takes to bring a volume across a band."""
    return litres * (band.high - band.low) / (BAR * flow)


def _litres(arrangement: Arrangement, name: str) -> Range | None:
    """The volume's litres; None when they or the size of a passage at it are not declared."""
    states = _open_passages(arrangement, name)
    unsized = any(passage.size is None for part in states for passages in part for passage in passages)
    return None if unsized else arrangement.volume(name).litres


def _open_passages(arrangement: Arrangement, name: str) -> list[list[list[Passage]]]:
    """For each part and each of its states, the open passages through which air can come to the volume or leave it."""
    return [
        [
            [p for p in part.passages if state in p.open_in and (p.upstream == name) != (p.downstream == name)]
            for state in part.states
        ]
        for part in arrangement.parts
    ]


@dataclass(frozen=True, slots=True)
class _Sums:
    """Sums of fractions as whole numbers over `unit`: they are many, and adding fractions is slow."""

    totals: set[int]
    unit: int


def _sure_sums(
    arrangement: Arrangement, thresholds: Thresholds, name: str, own: Range, *, upward: bool
) -> _Sums | None:
    """The least net inflow (not `upward`: outflow) of the volume in a band, for every combination around it.

    None when there are too many.
    """

    def least(passage: Passage) -> set[Fraction]:
        spans = _bands(arrangement, thresholds, _other_end(passage, name))
        flows = [_inflow(arrangement, passage, name, own, span) for span in spans]
        return {low if upward else -high for low, high in flows}

    parts = [
        [[least(passage) for passage in open_] for open_ in states] for states in _open_passages(arrangement, name)
    ]
    unit = lcm(*(flow.denominator for states in parts for open_ in states for flows in open_ for flow in flows))
    sums = {0}
    for states in parts:
        of_part: set[int] = set()
        for open_ in states:
            here = {0}
            for flows in open_:
                whole = [flow.numerator * (unit // flow.denominator) for flow in flows]
                here = {total + flow for total in here for flow in whole}
                if len(here) > CONFIGURATIONS:
                    return None
            of_part |= here
        sums = {one + other for one in sums for other in of_part}
        if len(sums) > CONFIGURATIONS:
            return None
    return _Sums(sums, unit)


def _most(arrangement: Arrangement, name: str, own: Range, *, inward: bool) -> Fraction:
    """The most air that can go, in all, into (not `inward`: out of) the volume in a band, its neighbours anywhere."""
    most = Fraction(0)
    for states in _open_passages(arrangement, name):
        of_part: list[Fraction] = []
        for passages in states:
            flows = [
                _inflow(arrangement, passage, name, own, _anywhere(arrangement, _other_end(passage, name)))
                for passage in passages
            ]
            of_part.append(sum((high if inward else -low for low, high in flows), Fraction(0)))
        most += max(of_part)
    return most


def _other_end(passage: Passage, name: str) -> str:
    return passage.upstream if passage.downstream == name else passage.downstream


def _anywhere(arrangement: Arrangement, node: str) -> Range:
    """Every pressure that a passage end can have."""
    low = arrangement.highest if node == SOURCE else Fraction(0)
    high = Fraction(0) if node == ATMOSPHERE else arrangement.highest
    return Range(low, high)


def _bands(arrangement: Arrangement, thresholds: Thresholds, node: str) -> list[Range]:
    """The bands of a passage end, as closed ranges."""
    whole = _anywhere(arrangement, node)
    return [Range(low, high) for low, high in pairwise((whole.low, *thresholds.get(node, ()), whole.high))]


def _inflow(
    arrangement: Arrangement, passage: Passage, name: str, own: Range, other: Range
) -> tuple[Fraction, Fraction]:
    """Least and greatest flow into the volume through one open passage with a size."""
    assert passage.size is not None
    inward = passage.downstream == name
    up, down = (other, own) if inward else (own, other)
    flow = flow_bounds(passage.size, up, down, atmosphere=arrangement.atmosphere, one_way=passage.one_way)
    return (flow.low, flow.high) if inward else (-flow.high, -flow.low)
