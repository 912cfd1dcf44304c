"""How many vehicles the simulator runs in a second of processor time, and how many SciPy's integrators do one by one.

    python -m tests.benchmarks.simulation --vehicles 256 --seconds 30 --singly 4

Asked: the shipped two-knob tractor, drawn at random from the start "rolling", whose trailer breaks away after one second;
30 s of air. The ensemble steps all vehicles together; SciPy's `solve_ivp` is given one vehicle at a time, the same equations with
the same blur and the guards as events, at tolerances that give about the same error (and with tanks so far apart that the
shuttle between them does not go to and fro, which the ensemble has to live with). Times are of the processor. Nothing
here is asserted.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from bandproof.model.arrangement import Arrangement
from bandproof.model.loader import load_arrangement
from bandproof.simulation.airflow import BLUR
from bandproof.simulation.script import Act, Occur
from bandproof.simulation.simulate import simulate
from bandproof.simulation.space import Space
from bandproof.simulation.vehicle import Vehicle
from tests.simulation.reference import Method, Reference

MODEL = Path(__file__).resolve().parents[2] / "models" / "two_knob_tractor.toml"
METHODS: tuple[Method, ...] = ("LSODA", "BDF", "Radau")
PSI = 6894.757
APART = {"wet_tank": 101 * PSI, "service_tank_1": 119 * PSI, "service_tank_2": 101 * PSI}
SCRIPT = (Act(Occur("breakaway"), 1.0),)
TOLERANCE = 2e-5


def measured(work: Callable[[], object]) -> float:
    """Seconds of processor time that `work` takes."""
    begin = time.process_time()
    work()
    return time.process_time() - begin


def vehicles(arrangement: Arrangement, count: int) -> list[Vehicle]:
    """Vehicles drawn at random; the same for the same count."""
    return Space(arrangement, arrangement.start("rolling")).draw(np.random.default_rng(1), count)


def ensemble(arrangement: Arrangement, count: int, seconds: float) -> float:
    """Processor seconds for `count` vehicles together."""
    drawn = vehicles(arrangement, count)
    return measured(lambda: simulate(arrangement, drawn, SCRIPT, until=seconds, keep=False))


def singly(arrangement: Arrangement, count: int, seconds: float, method: Method) -> float:
    """Processor seconds for `count` vehicles one after the other."""
    drawn = [replace(v, pressures=dict(v.pressures) | APART) for v in vehicles(arrangement, count)]
    runs = [Reference(arrangement, v, method, tolerance=TOLERANCE, blur=BLUR) for v in drawn]
    return measured(lambda: [run.run([seconds], SCRIPT) for run in runs])


def tell(line: str) -> None:
    """Write a line at once."""
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def main() -> None:
    """Print vehicles per second of processor time for the ensemble and for each integrator."""
    parser = argparse.ArgumentParser(description="vehicles per second of processor time")
    parser.add_argument("--vehicles", type=int, default=256, help="how many in the ensemble")
    parser.add_argument("--seconds", type=float, default=30.0, help="of air")
    parser.add_argument("--singly", type=int, default=2, help="how many for each of SciPy's integrators")
    asked = parser.parse_args()
    arrangement = load_arrangement(MODEL)
    took = ensemble(arrangement, asked.vehicles, asked.seconds)
    tell(f"ensemble of {asked.vehicles}: {asked.vehicles / took:.1f} vehicles/s")
    for method in METHODS:
        took = singly(arrangement, asked.singly, asked.seconds, method)
        tell(f"solve_ivp, {method}: {asked.singly / took:.3f} vehicles/s")


if __name__ == "__main__":
    main()
