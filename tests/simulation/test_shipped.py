"""Vehicles of the shipped arrangement under acts and mishaps drawn at random."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from bandproof.model.arrangement import Arrangement
from bandproof.simulation.accuracy import HUNTING_PASCALS
from bandproof.simulation.airflow import BLUR
from bandproof.simulation.script import Act, Occur, Script, Turn
from bandproof.simulation.simulate import simulate
from bandproof.simulation.space import Space
from bandproof.simulation.vehicle import Vehicle

from .samples import shipped


def drawn_script(generator: np.random.Generator, arrangement: Arrangement) -> Script:
    """Four acts or mishaps within some seconds of one another."""
    time, acts = 0.0, []
    for _ in range(4):
        time += float(generator.choice([0.05, 0.5, 2.0]))
        if generator.random() < 0.3:
            mishaps = [m.name for m in arrangement.mishaps]
            acts.append(Act(Occur(str(generator.choice(mishaps))), time))
        else:
            control = arrangement.controls[int(generator.integers(len(arrangement.controls)))]
            acts.append(Act(Turn(control.name, str(generator.choice(control.positions))), time))
    return tuple(acts)


def felt(vehicle: Vehicle, script: Script) -> Iterator[Turn | Occur]:
    """What changes something: a turn to where the control stands does not, nor the same mishap again."""
    controls, occurred = dict(vehicle.controls), set[str]()
    for act in script:
        if isinstance(act.what, Turn):
            if controls[act.what.control] != act.what.position:
                yield act.what
            controls[act.what.control] = act.what.position
        elif isinstance(act.what, Occur):
            if act.what.mishap not in occurred:
                yield act.what
            occurred.add(act.what.mishap)


@pytest.mark.slow
@pytest.mark.parametrize("start", ["cold", "rolling", "pulling_park"])
def test_pressures_stay_between_the_atmosphere_and_the_highest(start: str) -> None:
    """No vehicle gets stuck, misses its accuracy, or comes out of the range that its sources and vents span."""
    base = shipped("two_knob_tractor.toml")
    generator = np.random.default_rng(30)
    made = Space(base, base.start(start)).draw(generator, 16)
    scripts = [drawn_script(generator, base) for _ in made]
    for made_as, history, script in zip(made, simulate(base, made, scripts, until=8.5), scripts, strict=True):
        assert history.ended == 8.5
        assert history.forced == history.undone == 0
        assert [h.what for h in history.happenings if isinstance(h.what, Turn | Occur)] == list(felt(made_as, script))
        error = 2 * BLUR + (HUNTING_PASCALS if history.hunted else 0.0)
        assert history.pressures.min() > -error
        assert history.pressures.max() < float(base.highest) + error
        assert (np.diff(history.times) >= 0).all()
