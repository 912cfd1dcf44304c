"""The simulator against the independent one that judges the band machine: the same vehicles, the same acts.

Both are told the same numbers. The other one moves its parts at once and solves by BDF, so times may differ by the moving
times of the parts that moved before.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from bandproof.machine.layout import lay_out
from bandproof.machine.story import Moved, Occurred
from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import AtLeast, Below
from bandproof.model.walker import leaves
from bandproof.simulation.history import History
from bandproof.simulation.script import Act, Occur, Script, Turn
from bandproof.simulation.simulate import simulate
from bandproof.simulation.space import Space
from bandproof.simulation.vehicle import SettingUse, Vehicle
from tests.physics.simulator import simulate as other_simulate
from tests.physics.trajectory import Begin, Deed, Numbers, Trajectory

from .samples import shipped

PSI = 6894.757
SAMPLES = [0.5, 0.9, 1.5, 2.0, 3.0, 5.0]
BREAKAWAY = (Act(Occur("breakaway"), 1.0),)
PARK = (Act(Turn("park_knob", "pulled"), 1.0), Act(Turn("park_knob", "free"), 1.6))
BRAKE = (
    Act(Turn("pedal", "applied"), 1.0),
    Act(Turn("trailer_knob", "pulled"), 4.0),
    Act(Turn("pedal", "released"), 4.4),
)
TORN = (Act(Turn("trailer_knob", "pushed"), 0.2), Act(Occur("supply_hose_torn"), 1.0), Act(Occur("engine_stop"), 2.0))

SCENARIOS = [
    ("two_knob_tractor.toml", "rolling", BREAKAWAY),
    ("two_knob_tractor.toml", "rolling", PARK),
    ("two_knob_tractor.toml", "rolling", BRAKE),
    ("two_knob_tractor.toml", "pushing_park", (Act(Turn("park_knob", "free"), 4.0),)),
    ("twins/no_pilot_stage.toml", "rolling", TORN),
    ("twins/protection_valve_stays_open.toml", "rolling", BREAKAWAY),
]


#: The shuttle goes to and fro between tanks at one pressure, each simulator in its own rhythm.
TO_AND_FRO = "double_check"
#: Seconds the parts of these vehicles take to move, since those of the other simulator move at once.
MOVING = 1e-4
#: Seconds that a few moves one after the other, and the error of times, can make between the two.
LATE = 2e-3

#: Tanks so far apart that the shuttle has a side to stand on: to and fro would end the other simulator's run.
APART = {"wet_tank": 101 * PSI, "service_tank_1": 119 * PSI, "service_tank_2": 101 * PSI}


def vehicles(arrangement: Arrangement, start: str, count: int) -> list[tuple[Vehicle, Numbers]]:
    """Vehicles drawn at random in which every setting is one number for all parts that use it, as the other one has it."""
    found = []
    for drawn in Space(arrangement, arrangement.start(start)).draw(np.random.default_rng(20), count):
        named: dict[str, float] = {}
        settings = dict(drawn.settings)
        for part in arrangement.parts:
            for atom in (a for m in part.moves for a in leaves(m.when) if isinstance(a, Below | AtLeast)):
                use = SettingUse(part.name, atom.low, atom.high)
                settings[use] = named.setdefault(str(atom.setting), settings[use])
        pressures = dict(drawn.pressures) | APART
        made = replace(drawn, settings=settings, pressures=pressures, moving=dict.fromkeys(drawn.moving, MOVING))
        exact = {name: Fraction(value) for name, value in named.items()}
        found.append((made, Numbers(exact, dict(made.litres), dict(made.sizes))))
    return found


def run_other(arrangement: Arrangement, made: Vehicle, numbers: Numbers, script: Script) -> Trajectory:
    """The independent simulator's run, with a mishap without effect at each sample, to have the pressures there."""
    begin = Begin({n: Fraction(p) for n, p in made.pressures.items()}, dict(made.parts), dict(made.controls))
    deeds = [Deed(time, f"sample at {time}") for time in SAMPLES]
    for act in script:
        assert act.time is not None
        match act.what:
            case Turn(control, position):
                deeds.append(Deed(act.time, control, position))
            case Occur(mishap):
                deeds.append(Deed(act.time, mishap))
    return other_simulate(lay_out(arrangement), numbers, begin, tuple(deeds), until=SAMPLES[-1] + 0.1, limit=3000)


def moves_by_part(history: History) -> dict[str, list[tuple[float, str]]]:
    found: dict[str, list[tuple[float, str]]] = {}
    for time, what in history.moves():
        found.setdefault(what.part, []).append((time, what.target))
    return found


def others_moves_by_part(run: Trajectory) -> dict[str, list[tuple[float, str]]]:
    found: dict[str, list[tuple[float, str]]] = {}
    for happening in run.happenings:
        for event in happening.events:
            if isinstance(event, Moved):
                found.setdefault(event.part, []).append((happening.time, event.target))
    return found


@pytest.mark.thorough
@pytest.mark.slow
@pytest.mark.parametrize(("model", "start", "script"), SCENARIOS)
def test_both_simulators_tell_the_same(model: str, start: str, script: Script) -> None:
    arrangement = shipped(model)
    compared = 0
    for made, numbers in vehicles(arrangement, start, 1):
        (mine,) = simulate(arrangement, [made], script, until=SAMPLES[-1] + 0.1, samples=SAMPLES)
        other = run_other(arrangement, made, numbers, script)
        here, there = moves_by_part(mine), others_moves_by_part(other)
        for part in (here.keys() | there.keys()) - {TO_AND_FRO}:
            ours, theirs = (
                [m for m in moves.get(part, []) if m[0] < other.last_time - 0.05] for moves in (here, there)
            )
            assert [target for _, target in ours] == [target for _, target in theirs], part
            assert [time for time, _ in ours] == pytest.approx([time for time, _ in theirs], rel=2e-3, abs=LATE), part
        for happening in other.happenings:
            name = next((e.mishap for e in happening.events if isinstance(e, Occurred)), "")
            if not name.startswith("sample"):
                continue
            around = [happening.time + error for error in (-LATE, -LATE / 2, 0.0, LATE / 2, LATE)]
            ours_now = mine.at(around) + float(arrangement.atmosphere)
            theirs_now = np.array(happening.pressures) * 1e5
            slack = np.maximum(0.005 * theirs_now, 0.1 * PSI)
            assert (ours_now.min(axis=0) - slack <= theirs_now).all(), name
            assert (theirs_now <= ours_now.max(axis=0) + slack).all(), name
            compared += 1
    # A run of the other simulator ends where a part goes to and fro faster than it can resolve.
    assert compared >= 4
