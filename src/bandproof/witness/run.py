"""Candidates for a witness run in batches: simulated, judged, and looked at again with every number moved by its error."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from bandproof.model.arrangement import Arrangement
from bandproof.properties.claim import Property
from bandproof.simulation.accuracy import SEARCH_PASCALS, STATED_PASCALS, STATED_SECONDS, STATED_SHARE
from bandproof.simulation.airflow import Floats
from bandproof.simulation.fleet import Fleet
from bandproof.simulation.history import History
from bandproof.simulation.script import Script
from bandproof.simulation.simulate import simulate
from bandproof.simulation.stepping import RunObserver
from bandproof.simulation.vehicle import Vehicle
from bandproof.witness.judging import FirstTime, Judge, allowance
from bandproof.witness.points import Points, moved

#: Steps after which a vehicle is left where it is: a part that goes to and fro for ever is not worth more.
MOST_STEPS = 1500
#: The same while acts are left out.
FEWER_SHAKES = 2
#: How many times every number of a candidate is moved by its error, one way or the other at random.
SHAKES = 8


@dataclass(frozen=True, slots=True)
class Verdicts:
    """What became of some vehicles: margins, when first broken, when broken by most, histories without pressures."""

    margins: Floats
    first: Floats
    times: Floats
    histories: list[History]


def judged(
    arrangement: Arrangement,
    claim: Property,
    vehicles: Sequence[Vehicle],
    scripts: Sequence[Script] | Script,
    until: float,
    *,
    wanted: int | None = None,
    most_steps: int = MOST_STEPS,
    hunting_play: float = SEARCH_PASCALS,
) -> Verdicts:
    """Run vehicles, each for at most `most_steps` steps, and judge them as they ran; stop once `wanted` have broken it."""
    judges: list[Judge] = []

    def watch(fleet: Fleet) -> Sequence[RunObserver]:
        judges.append(Judge(fleet, claim, wanted=wanted))
        return (judges[-1],)

    histories = simulate(
        arrangement,
        vehicles,
        scripts,
        until=until,
        observers=watch,
        keep=False,
        most_steps=most_steps,
        hunting_play=hunting_play,
    )
    margins, first, times = (
        np.concatenate([np.zeros(0), *(getattr(judge, name) for judge in judges)])
        for name in ("margins", "first", "times")
    )
    return Verdicts(margins, first, times, histories)


def situated(points: Points, rows: Floats, until: float) -> Floats:
    """The points with each act at the moment when its situation in the plan first comes about, or is nearest."""
    vehicles = points.vehicles(rows)
    for number, act in enumerate(points.plan.acts):
        if act.settles:
            continue
        before = points.gaps(rows)[:, :number].sum(axis=1)
        watching: list[FirstTime] = []
        scripts = points.scripts(points.gaps(rows), number)
        simulate(
            points.space.arrangement,
            vehicles,
            scripts,
            until=until,
            observers=_first_time(points, number, before, watching),
            keep=False,
            most_steps=MOST_STEPS,
        )
        times = np.concatenate([one.times for one in watching])
        rows = points.with_gap(rows, number, times - before)
    return rows


def _first_time(
    points: Points, number: int, before: Floats, watching: list[FirstTime]
) -> Callable[[Fleet], Sequence[RunObserver]]:
    def watch(fleet: Fleet) -> Sequence[RunObserver]:
        done = sum(len(one.times) for one in watching)
        after = before[done : done + len(fleet.vehicles)]
        watching.append(FirstTime(fleet, points.plan.acts[number].situation, after))
        return (watching[-1],)

    return watch


def surviving(
    candidates: Sequence[tuple[Points, Floats]],
    claim: Property,
    until: float,
    seed: int,
    *,
    most_steps: int = MOST_STEPS,
    shakes: int = SHAKES,
) -> list[bool]:
    """Whether each point still breaks a claim with every pressure, setting and time moved by the simulator's stated error.

    All are run together: a step of many vehicles takes hardly longer than one of a few.
    """
    if not candidates:
        return []
    arrangement = candidates[0][0].space.arrangement
    atmosphere = float(arrangement.atmosphere)
    shaken = [_shaken(points, row, shakes, np.random.default_rng(seed)) for points, row in candidates]
    vehicles = [vehicle for some, _ in shaken for vehicle in some]
    scripts = [script for _, some in shaken for script in some]
    found = judged(arrangement, claim, vehicles, scripts, until, most_steps=most_steps)
    verdicts = []
    for first in range(0, len(vehicles), shakes + 1):
        some = slice(first, first + shakes + 1)
        hunted = any(history.hunted for history in found.histories[some])
        enough = allowance(atmosphere, claim, hunted=hunted)
        verdicts.append(bool(found.margins[first] > enough and (found.margins[some] > 0).all()))
    return verdicts


def _shaken(
    points: Points, row: Floats, shakes: int, generator: np.random.Generator
) -> tuple[list[Vehicle], list[Script]]:
    """The vehicle and the script of a point, and so many moved by errors after them."""
    (vehicle,) = points.vehicles(row[None])
    atmosphere = float(points.space.arrangement.atmosphere)

    def errors(values: Sequence[float]) -> Floats:
        signs = generator.choice([-1.0, 1.0], size=len(values))
        return np.asarray(signs * (STATED_PASCALS + STATED_SHARE * (np.array(values) + atmosphere)))

    others = [
        moved(vehicle, errors([*vehicle.pressures.values()]), errors([*vehicle.settings.values()]))
        for _ in range(shakes)
    ]
    gaps = np.repeat(points.gaps(row[None]), shakes, axis=0)
    gaps += generator.choice([-1.0, 1.0], size=gaps.shape) * (STATED_SECONDS + STATED_SHARE * gaps)
    gaps = np.concatenate([points.gaps(row[None]), np.maximum(gaps, 0.0)])
    return [vehicle, *others], list(points.scripts(gaps))
