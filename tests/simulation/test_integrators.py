"""The simulator against SciPy's stiff integrators, on random small arrangements with valves that switch."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from bandproof.simulation.accuracy import STATED_PASCALS, STATED_SECONDS, STATED_SHARE
from bandproof.simulation.airflow import Floats
from bandproof.simulation.history import History
from bandproof.simulation.simulate import simulate

from .reference import Method, Reference
from .samples import random_arrangement, random_vehicle

SAMPLES = [0.01, 0.05, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0]


def around(time: float) -> list[float]:
    """A time, and what an error of the stated size could have made of it."""
    error = STATED_SECONDS + STATED_SHARE * time
    return [time + error * k / 4 for k in range(-4, 5)]


def within(history: History, reference: Floats) -> bool:
    """Whether the pressures are the reference's, but for the stated errors."""
    for row, time in zip(reference, SAMPLES, strict=True):
        near = history.at(around(time)) + 1e5
        slack = STATED_PASCALS + STATED_SHARE * row
        if (row < near.min(axis=0) - slack).any() or (row > near.max(axis=0) + slack).any():
            return False
    return True


def disagreements(seeds: Sequence[int], method: Method) -> list[int]:
    """The seeds for which the two tell different things: other moves, other times of moves or other pressures."""
    found = []
    samples = [t for time in SAMPLES for t in around(time)]
    for seed in seeds:
        generator = np.random.default_rng(seed)
        arrangement = random_arrangement(generator)
        made = random_vehicle(generator, arrangement)
        (history,) = simulate(arrangement, [made], until=10.1, samples=samples)
        reference = Reference(arrangement, made, method)
        pressures = reference.run(SAMPLES)
        both = list(zip(history.moves(), reference.moves, strict=False))
        # Where one tells of more moves than the other, they come at the end, where the other run was over.
        late = [time for time, _ in history.moves()[len(both) :]] + [move[0] for move in reference.moves[len(both) :]]
        same = all(what.part == part and what.target == target for (_, what), (_, part, target) in both)
        on_time = all(abs(mine - time) <= STATED_SECONDS + STATED_SHARE * time for (mine, _), (time, _, _) in both)
        on_time &= all(time >= 10 * (1 - STATED_SHARE) for time in late)
        if not (same and on_time and within(history, pressures)):
            found.append(seed)
    return found


@pytest.mark.slow
def test_random_arrangements_run_as_bdf_has_them() -> None:
    assert disagreements(range(16), "BDF") == []


@pytest.mark.slow
def test_random_arrangements_run_as_radau_has_them() -> None:
    assert disagreements([3, 4, 5, 6, 8], "Radau") == []


@pytest.mark.long
def test_many_random_arrangements_run_as_bdf_has_them() -> None:
    assert disagreements(range(100, 400), "BDF") == []
