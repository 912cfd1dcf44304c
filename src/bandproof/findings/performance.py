"""What came of a script: how every expectation stood in every vehicle, and what is true of all vehicles. Plain values.

Times in seconds, pressures in pascals gauge.
"""

from __future__ import annotations

from dataclasses import dataclass

from bandproof.findings.finding import Finding
from bandproof.findings.witness import Numbers
from bandproof.model.arrangement import Arrangement
from bandproof.properties.scripts import Procedure


@dataclass(frozen=True, slots=True)
class Seen:
    """How an expectation stood in one vehicle.

    `looked` is when it was looked at, None where the vehicle had not settled by the end; `since` when it held first from
    then on (None: never, in the time it had), and `lost` when it first did not hold, of one that should go on holding.
    """

    looked: float | None
    holds: bool
    since: float | None = None
    lost: float | None = None


@dataclass(frozen=True, slots=True)
class Course:
    """The pressures of one vehicle, volume by volume in the arrangement's order, at `times`."""

    times: tuple[float, ...]
    pressures: tuple[tuple[float, ...], ...]


@dataclass(frozen=True, slots=True)
class VehicleRun:
    """One vehicle's run: when each step came (None: not before the end), how each expectation stood (by its step)."""

    numbers: Numbers
    came: tuple[float | None, ...]
    seen: dict[int, Seen]
    course: Course
    hunted: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Performance:
    """A script done to one arrangement: the nominal vehicle, vehicles drawn at random, and all vehicles in bands.

    `bands` has the finding about all vehicles of those expectations that bands can say something of, by step.
    """

    arrangement: Arrangement
    procedure: Procedure
    nominal: VehicleRun
    drawn: tuple[VehicleRun, ...]
    seed: int
    bands: dict[int, Finding]

    @property
    def runs(self) -> tuple[VehicleRun, ...]:
        """The nominal vehicle and those drawn."""
        return (self.nominal, *self.drawn)

    def broken(self, step: int) -> int:
        """In how many of the vehicles drawn the expectation of a step did not hold."""
        return sum(not run.seen[step].holds for run in self.drawn)

    def counterexample(self, step: int) -> VehicleRun | None:
        """A vehicle in which the expectation of a step did not hold: the nominal one before any drawn."""
        return next((run for run in self.runs if not run.seen[step].holds), None)

    @property
    def stands(self) -> bool:
        """Whether every expectation held in every vehicle.

        What bands refute does not count: there the acts come at any time, and the script says when.
        """
        return all(seen.holds for run in self.runs for seen in run.seen.values())
