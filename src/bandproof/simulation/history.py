"""What a run was: pressures over time, moves of parts and acts, for each vehicle."""

from __future__ import annotations

from abc import ABC, abstractmethod
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from bandproof.model.conditions import Condition
from bandproof.simulation.airflow import Floats
from bandproof.simulation.fleet import Fleet
from bandproof.simulation.margins import Integers, Sight
from bandproof.simulation.script import Occur, Turn


@dataclass(frozen=True, slots=True)
class Moved:
    """`part` went from the state `source` to the state `target`."""

    part: str
    source: str
    target: str


@dataclass(frozen=True, slots=True)
class Happening:
    """What happened at one instant: a move that was made, or what a script does."""

    time: float
    what: Moved | Turn | Occur


@dataclass(frozen=True, slots=True)
class History:
    """One vehicle's run.

    `times` (steps) and `pressures` (steps, volumes; pascals gauge) are those of every step of the integrator, events
    and wanted samples among them; empty when they were not kept. `undone` counts acts of the script that waited for the
    vehicle to settle and did not come about; `forced` the steps that were taken without reaching the wanted accuracy.
    `hunted` names the parts that went to and fro at one pressure: pressures such a part holds are right only within
    `accuracy.HUNTING_PASCALS` and what the air does in `accuracy.HUNTING_SECONDS`. `looks` has the number and the time of
    each look of the script.
    """

    times: Floats
    pressures: Floats
    happenings: tuple[Happening, ...]
    ended: float
    undone: int
    forced: int
    hunted: tuple[str, ...]
    looks: tuple[tuple[int, float], ...] = ()

    def at(self, times: Sequence[float] | Floats) -> Floats:
        """Pressures at these times, (times, volumes): exact at kept times, shape-preserving cubics between them."""
        kept, first = np.unique(self.times, return_index=True)
        if len(kept) < 2:
            return np.repeat(self.pressures[:1], len(times), axis=0)
        found: Floats = PchipInterpolator(kept, self.pressures[first], axis=0)(np.asarray(times, dtype=np.float64))
        return found

    def moves(self) -> list[tuple[float, Moved]]:
        """The moves of parts, in order of time."""
        return [(h.time, h.what) for h in self.happenings if isinstance(h.what, Moved)]

    def states_at(self, time: float, begin: dict[str, str]) -> dict[str, str]:
        """The state of every part at a time (moves of that instant made), from those it began in."""
        last = bisect_right([h.time for h in self.happenings], time)
        made = (h.what for h in self.happenings[:last])
        return begin | {what.part: what.target for what in made if isinstance(what, Moved)}


class Ending(ABC):
    """An observer that ends the runs of those vehicles for which `finished` is true (vehicles)."""

    finished: NDArray[np.bool_]

    @abstractmethod
    def __call__(self, sight: Sight) -> None:
        """Take note of what is seen."""


class Highest:
    """Watches a condition through a run: its greatest margin (pascals) so far, and when, for each vehicle.

    A claim `never C` is broken in a vehicle by the greatest margin of C, where that is positive.
    """

    def __init__(self, fleet: Fleet, condition: Condition) -> None:
        self._margin = fleet.margin(condition)
        self.margins = np.full(len(fleet.vehicles), -np.inf)
        self.times = np.zeros(len(fleet.vehicles))

    def __call__(self, sight: Sight) -> None:
        """Take note of what is seen."""
        margins = self._margin(sight)
        better = margins > self.margins[sight.who]
        who = sight.who[better]
        self.margins[who] = margins[better]
        self.times[who] = sight.times[better]


class Watch:
    """Keeps how a condition stood in every vehicle whenever it was looked at: (time, margin in pascals), in order."""

    def __init__(self, fleet: Fleet, condition: Condition) -> None:
        self._margin = fleet.margin(condition)
        self.seen: list[list[tuple[float, float]]] = [[] for _ in fleet.vehicles]

    def __call__(self, sight: Sight) -> None:
        """Take note of what is seen."""
        for who, time, margin in zip(
            sight.who.tolist(), sight.times.tolist(), self._margin(sight).tolist(), strict=True
        ):
            self.seen[who].append((time, margin))


class Record:
    """Takes down what happens to each vehicle of a fleet while they run."""

    def __init__(self, count: int, volumes: int) -> None:
        self._happenings: list[list[Happening]] = [[] for _ in range(count)]
        self._ends: list[tuple[float, int, int]] = [(0.0, 0, 0)] * count
        self._hunted: list[dict[str, None]] = [{} for _ in range(count)]
        self._looks: list[list[tuple[int, float]]] = [[] for _ in range(count)]
        self._who = [np.zeros(0, dtype=np.intp)]
        self._times = [np.zeros(0)]
        self._pressures = [np.zeros((0, volumes))]

    def keep(self, who: Integers, times: Floats, pressures: Floats) -> None:
        """Keep the pressures (vehicles, volumes; gauge) of these vehicles, each at its time."""
        self._who.append(who)
        self._times.append(times)
        self._pressures.append(pressures)

    def happened(self, who: int, happening: Happening) -> None:
        """Add to the happenings of a vehicle."""
        self._happenings[who].append(happening)

    def looked(self, who: int, number: int, time: float) -> None:
        """Note the time of a look."""
        self._looks[who].append((number, time))

    def hunts(self, who: int, part: str) -> None:
        """Note that a part of a vehicle hunts."""
        self._hunted[who][part] = None

    def ended(self, who: int, time: float, undone: int, forced: int) -> None:
        """Note how a vehicle's run ended, as `History` says."""
        self._ends[who] = time, undone, forced

    def histories(self) -> list[History]:
        """The history of every vehicle, in the order of the fleet."""
        who = np.concatenate(self._who)
        order = np.argsort(who, kind="stable")
        bounds = np.searchsorted(who[order], np.arange(len(self._ends) + 1))
        times, pressures = np.concatenate(self._times)[order], np.concatenate(self._pressures)[order]
        kept = zip(bounds, bounds[1:], self._happenings, self._ends, self._hunted, self._looks, strict=False)
        return [
            History(
                times[a:b],
                pressures[a:b],
                tuple(happenings),
                ended=end,
                undone=undone,
                forced=forced,
                hunted=tuple(sorted(hunted)),
                looks=tuple(looks),
            )
            for a, b, happenings, (end, undone, forced), hunted, looks in kept
        ]
