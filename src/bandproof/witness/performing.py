"""A script done to vehicles in seconds: the nominal one, and some drawn at random over all that is left open.

An expectation is looked at after every step of the simulation and after everything that happens; what is said of "within"
and "for" rests on those moments.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bandproof.findings.performance import Course, Seen, VehicleRun
from bandproof.model.arrangement import Arrangement
from bandproof.properties.scripts import Procedure, Step
from bandproof.simulation.accuracy import EVENT_PASCALS, SEARCH_PASCALS
from bandproof.simulation.fleet import Fleet
from bandproof.simulation.history import History, Watch
from bandproof.simulation.script import Act, Look, Occur, Turn
from bandproof.simulation.simulate import BATCH, simulate
from bandproof.simulation.space import Space, numbers_of
from bandproof.simulation.vehicle import Vehicle

#: Points of a course that is kept.
_POINTS = 300

#: Seconds of air in which a vehicle has to come to rest where the start is a settled one, and rounds of drawing.
_REST = 60.0
_PATIENCE = 20

#: Steps of the integrator after which a vehicle is given up: a run of minutes in which parts hunt takes some ten thousand.
_MOST_STEPS = 200_000


def perform(arrangement: Arrangement, procedure: Procedure, *, count: int, seed: int) -> list[VehicleRun]:
    """The runs of the nominal vehicle and of `count` drawn ones; the same for the same seed.

    ValueError where no vehicle drawn keeps the condition of the start.
    """
    space = Space(arrangement, arrangement.start(procedure.start))
    generator = np.random.default_rng(seed)
    vehicles = [space.nominal(), *space.draw(generator, count)]
    if space.start.settled:
        vehicles = _at_rest(space, vehicles, generator)
    acts = tuple(act for number, step in enumerate(procedure.steps) for act in _acts(number, step))
    until = procedure.script.ends
    asked = [number for number, step in enumerate(procedure.steps) if step.expect is not None]
    watches: list[list[Watch]] = []

    def observers(fleet: Fleet) -> Sequence[Watch]:
        conditions = [expect for step in procedure.steps if (expect := step.expect) is not None]
        watches.append([Watch(fleet, condition) for condition in conditions])
        return watches[-1]

    histories = simulate(
        arrangement,
        vehicles,
        acts,
        until=until,
        observers=observers,
        most_steps=_MOST_STEPS,
        hunting_play=SEARCH_PASCALS,
    )
    runs = []
    for number, (vehicle, history) in enumerate(zip(vehicles, histories, strict=True)):
        batch, place = divmod(number, BATCH)
        looks = dict(history.looks)
        came = tuple(looks.get(step) for step in range(len(procedure.steps)))
        seen = {
            step: judged(procedure.steps[step], came[step], watch.seen[place], history.ended)
            for step, watch in zip(asked, watches[batch], strict=True)
        }
        runs.append(VehicleRun(numbers_of(space, vehicle), came, seen, _course(history), history.hunted))
    return runs


def _at_rest(space: Space, vehicles: list[Vehicle], generator: np.random.Generator) -> list[Vehicle]:
    """As many vehicles as stand in a settled start: the air runs first, and who is outside the start then is drawn anew."""
    wanted = len(vehicles)
    found: list[Vehicle] = []
    for _ in range(_PATIENCE):
        found += [vehicle for vehicle in _rested(space.arrangement, vehicles) if _stands_in(space, vehicle)]
        if len(found) >= wanted:
            return found[:wanted]
        vehicles = space.draw(generator, 2 * wanted)
    message = f'few vehicles drawn come to rest in start "{space.start.name}": {len(found)} of {wanted} wanted'
    raise ValueError(message)


def _rested(arrangement: Arrangement, vehicles: list[Vehicle]) -> list[Vehicle]:
    """Those vehicles that come to rest with the hands off, as they stand then."""
    names = [volume.name for volume in arrangement.volumes]
    found = []
    for vehicle, history in zip(vehicles, simulate(arrangement, vehicles, (Act(Look(0)),), until=_REST), strict=True):
        for _, time in history.looks:
            pressures = dict(zip(names, history.at([time])[0].tolist(), strict=True))
            found.append(replace(vehicle, pressures=pressures, parts=history.states_at(time, dict(vehicle.parts))))
    return found


def _stands_in(space: Space, vehicle: Vehicle) -> bool:
    """Whether a vehicle is one of the start's; pressures may be off by what an event may be."""
    start = space.start
    ranges = all(
        within.low - EVENT_PASCALS <= vehicle.pressures[name] <= within.high + EVENT_PASCALS
        for name, within in start.pressures
    )
    return (
        ranges
        and all(vehicle.parts[name] in states for name, states in start.parts)
        and bool(space.keeps([vehicle])[0])
    )


def judged(step: Step, looked: float | None, seen: Sequence[tuple[float, float]], ended: float) -> Seen:
    """How an expectation stood from when it was looked at on; `seen` are moments and margins, in order of time.

    At a moment holds what was seen last there. One that should hold for a time that the run does not have is not held.
    """
    if looked is None:
        return Seen(None, holds=False)
    before = [margin for time, margin in seen if time <= looked]
    now = bool(before) and before[-1] > 0
    after = [(time, margin) for time, margin in seen if time > looked]
    since = looked if now else next((time for time, margin in after if margin > 0), None)
    lost = looked if not now else next((time for time, margin in after if margin <= 0), None)
    if step.within is not None:
        return Seen(looked, since is not None and since <= looked + step.within, since)
    if step.holds_for is not None:
        kept = now and (lost is None or lost > looked + step.holds_for) and ended >= looked + step.holds_for
        return Seen(looked, kept, since, lost)
    return Seen(looked, now, since)


def _acts(number: int, step: Step) -> list[Act]:
    """What is done at a step, all at the same moment, and first a look, so that its time is known."""
    what: list[Turn | Occur | Look] = [Look(number), *(Turn(control, position) for control, position in step.turns)]
    what += [Occur(mishap) for mishap in step.mishaps]
    when = step.when
    if when.at is not None:
        first = Act(what[0], when.at)
    elif when.settled:
        first = Act(what[0])
    else:
        first = Act(what[0], wait=when.after, since=True)
    strokes = [Turn(*stroke) for stroke in step.strokes * step.times]
    waits = [0.0, *[step.every] * (len(strokes) - 1)]
    pumping = [Act(stroke, wait=wait, since=True) for stroke, wait in zip(strokes, waits, strict=False)]
    return [first, *(Act(one, since=True) for one in what[1:]), *pumping]


def _course(history: History) -> Course:
    times = np.linspace(0.0, history.ended, _POINTS)
    return Course(tuple(times.tolist()), tuple(tuple(row) for row in history.at(times).T.tolist()))
