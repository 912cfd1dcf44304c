"""Which thresholds each volume carries: the grid on which both meanings of an arrangement stand.

A volume carries the thresholds compared at it and those of every volume it can exchange air with, closed over passages
(MEANING.md, "Bands"). Volumes that are compared with each other carry each other's too.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction

from bandproof.machine.imbalance import Imbalance
from bandproof.machine.pace import TimingConstraint, timing_constraints
from bandproof.machine.story import Count
from bandproof.machine.unrest import Motion, motion_of
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement
from bandproof.model.conditions import AtLeast, Below, Condition, Lower, NotLower
from bandproof.model.walker import comparisons
from bandproof.properties.claim import Property, Shape
from bandproof.properties.monitors import Monitor, monitor_of


@dataclass(frozen=True, slots=True)
class Layout:
    """An arrangement and the ascending thresholds of each of its volumes (pascals gauge, all above zero).

    `silent` are parts that a search has shown to stop moving with the hands off and the tanks held. `imbalances` say of
    states that they are not settled, or not at rest. The rest follows: the pace counters that a state of this layout carries, and which parts could move for ever.
    """

    arrangement: Arrangement
    thresholds: dict[str, tuple[Fraction, ...]]
    silent: frozenset[str] = frozenset()
    imbalances: tuple[Imbalance, ...] = ()
    timing_constraints: tuple[TimingConstraint, ...] = field(init=False, repr=False, compare=False)
    motion: Motion = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "timing_constraints", timing_constraints(self.arrangement, self.thresholds))
        object.__setattr__(self, "motion", motion_of(self.arrangement, self.silent))

    def monitor(self, claim: Property) -> Monitor:
        """What a claim means on this layout."""
        motion = self.motion
        restless = motion.nothing_held if claim.shape is Shape.AT_REST else motion.tanks_held
        return monitor_of(claim, restless=bool(restless))

    def no_counts(self) -> tuple[Count, ...]:
        """The memory of the pace counters where nothing is remembered, as at every start."""
        return (Count(),) * len(self.timing_constraints)

    def low(self, volume: str, band: int) -> Fraction:
        """Lower end of a band (included), pascals gauge; zero for band 0."""
        return self.thresholds[volume][band - 1] if band else Fraction(0)

    def high(self, volume: str, band: int) -> Fraction:
        """Upper end of a band (excluded), pascals gauge; the highest pressure for the last band."""
        marks = self.thresholds[volume]
        return marks[band] if band < len(marks) else self.arrangement.highest

    def band_at(self, volume: str, pressure: Fraction) -> int:
        """The number of the band, counted from 0, that holds `pressure` (pascals gauge)."""
        return bisect_right(self.thresholds[volume], pressure)


def lay_out(arrangement: Arrangement, claims: Iterable[Condition] = ()) -> Layout:
    """The layout for an arrangement and the conditions that are to be decided on it."""
    guards = (move.when for part in arrangement.parts for move in part.moves)
    starts = (start.where for start in arrangement.starts)
    compared: dict[str, set[Fraction]] = {volume.name: set() for volume in arrangement.volumes}
    groups = _Groups(compared)
    for leaf in comparisons(*guards, *starts, *claims):
        match leaf:
            case Below(volume, low, high) | AtLeast(volume, low, high):
                compared[volume] |= {low, high}
            case Lower(volume, other) | NotLower(volume, other):
                groups.join(volume, other)
    for part in arrangement.parts:
        for passage in part.passages:
            if not {passage.upstream, passage.downstream} & {ATMOSPHERE, SOURCE}:
                groups.join(passage.upstream, passage.downstream)
    shared: dict[str, set[Fraction]] = {}
    for volume, marks in compared.items():
        shared.setdefault(groups.leader(volume), set()).update(marks)
    inside = {
        volume: tuple(sorted(m for m in shared[groups.leader(volume)] if 0 < m < arrangement.highest))
        for volume in compared
    }
    return Layout(arrangement, inside)


def grid_fault(
    arrangement: Arrangement, thresholds: Mapping[str, tuple[Fraction, ...]], claims: Iterable[Condition]
) -> str | None:
    """Why thresholds are no grid on which the claims can be decided; None when they are.

    More thresholds than `lay_out` gives only make bands narrower, but volumes that share their air must share them too.
    """
    claims = list(claims)
    needed = lay_out(arrangement, claims).thresholds
    if set(thresholds) != set(needed):
        return "its volumes are not those of the arrangement"
    for volume, marks in needed.items():
        if any(not 0 < mark < arrangement.highest for mark in thresholds[volume]):
            return f"it has a threshold of {volume} that is not between 0 and the highest pressure"
        if not set(marks) <= set(thresholds[volume]):
            return f"it leaves out a threshold of {volume}"
    given = [AtLeast(volume, mark, mark) for volume, marks in thresholds.items() for mark in marks]
    for volume, marks in lay_out(arrangement, [*claims, *given]).thresholds.items():
        if marks != tuple(thresholds[volume]):
            return f"its thresholds of {volume} are not shared with the volumes that it exchanges air with"
    return None


class _Groups:
    """Disjoint sets of volume names."""

    def __init__(self, names: Iterable[str]) -> None:
        self._parent = {name: name for name in names}

    def leader(self, name: str) -> str:
        while self._parent[name] != name:
            name = self._parent[name]
        return name

    def join(self, one: str, other: str) -> None:
        self._parent[self.leader(one)] = self.leader(other)
