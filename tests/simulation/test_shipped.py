"""Vehicles of the shipped arrangement under acts and mishaps drawn at random."""

from __future__ import annotations

import numpy as np
import pytest

from bandproof.model.arrangement import Arrangement
from bandproof.simulation.airflow import BLUR
from bandproof.simulation.script import Act, Occur, Script, Turn
from bandproof.simulation.simulate import simulate
from bandproof.simulation.space import Space

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


@pytest.mark.slow
@pytest.mark.parametrize("start", ["cold", "rolling", "pulling_park"])
def test_pressures_stay_between_the_atmosphere_and_the_highest(start: str) -> None:
    """No vehicle gets stuck, misses its accuracy, or comes out of the range that its sources and vents span."""
    base = shipped("two_knob_tractor.toml")
    generator = np.random.default_rng(30)
    made = Space(base, base.start(start)).draw(generator, 16)
    scripts = [drawn_script(generator, base) for _ in made]
    for history, script in zip(simulate(base, made, scripts, until=8.0), scripts, strict=True):
        assert history.ended == 8.0
        assert history.forced == history.undone == 0
        assert [h.what for h in history.happenings if isinstance(h.what, Turn | Occur)] == [act.what for act in script]
        assert history.pressures.min() > -2 * BLUR
        assert history.pressures.max() < float(base.highest) + 2 * BLUR
        assert (np.diff(history.times) >= 0).all()
