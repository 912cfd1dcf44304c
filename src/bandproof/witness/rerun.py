"""The run of a witness: its vehicle doing its deeds at their times, up to where it ends and a moment longer."""

from __future__ import annotations

from collections import deque

from bandproof.model.arrangement import Arrangement
from bandproof.simulation.history import History
from bandproof.simulation.script import Script
from bandproof.simulation.simulate import simulate
from bandproof.simulation.vehicle import Vehicle

#: Seconds: a run that breaks a claim as it begins is still run for so long.
SHORTEST = 1e-3
#: Seconds: a move at the very end belongs to the run.
TAIL = 1e-5

_Key = tuple[Vehicle, Script, float]
#: The last few runs: what is found is told and drawn at once, and a run may take seconds.
_last: deque[tuple[Arrangement, _Key, History]] = deque(maxlen=4)


def rerun(arrangement: Arrangement, vehicle: Vehicle, script: Script, end: float) -> History:
    """The history of the vehicle under the script, with its pressures kept; `end` (seconds) is among its times."""
    key = vehicle, script, end
    for one, known, history in _last:
        if known == key and one == arrangement:
            return history
    until = max(end, SHORTEST)
    (history,) = simulate(arrangement, [vehicle], script, until=until + TAIL, samples=(until,))
    _last.append((arrangement, key, history))
    return history
