"""Vehicles of one arrangement, run in seconds: the way into this package."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from bandproof.model.arrangement import Arrangement
from bandproof.simulation.accuracy import HUNTING_PASCALS
from bandproof.simulation.fleet import Fleet
from bandproof.simulation.history import History
from bandproof.simulation.script import Act, Script, check_script
from bandproof.simulation.stepping import MOST_STEPS, Run, RunObserver
from bandproof.simulation.vehicle import Vehicle

#: Vehicles stepped in one array: enough to spread the cost of a call, few enough to stay in a processor's cache.
BATCH = 256


def simulate(
    arrangement: Arrangement,
    vehicles: Sequence[Vehicle],
    script: Script | Sequence[Script] = (),
    *,
    until: float,
    samples: Sequence[float] = (),
    observers: Callable[[Fleet], Sequence[RunObserver]] | None = None,
    keep: bool = True,
    most_steps: int = MOST_STEPS,
    hunting_play: float = HUNTING_PASCALS,
) -> list[History]:
    """Run every vehicle from its start to `until` seconds under its script (one for all, or one for each).

    Steps end exactly at `samples`. `observers` makes, for each batch of vehicles, what is to see them at their start,
    after every step and after every event; one that is an `Ending` also ends runs. A vehicle is given up, and its run ends
    where it is, after `most_steps` steps. `hunting_play` is what a part that hunts is given (see `accuracy`). Pressures are kept with `keep`. ValueError for a script that does not fit.
    """
    scripts = _scripts(script, len(vehicles))
    for one in dict.fromkeys(scripts):
        check_script(arrangement, one)
    found: list[History] = []
    for first in range(0, len(vehicles), BATCH):
        fleet = Fleet(arrangement, vehicles[first : first + BATCH])
        watching = () if observers is None else observers(fleet)
        run = Run(
            fleet,
            scripts[first : first + BATCH],
            until,
            samples,
            watching,
            keep=keep,
            most_steps=most_steps,
            hunting_play=hunting_play,
        )
        found += run.finish()
    return found


def _scripts(script: Script | Sequence[Script], count: int) -> list[Script]:
    one = [item for item in script if isinstance(item, Act)]
    if len(one) == len(script):
        return [tuple(one)] * count
    several = [tuple(item) for item in script if not isinstance(item, Act)]
    if len(several) != count:
        message = f"{len(several)} scripts for {count} vehicles"
        raise ValueError(message)
    return several
