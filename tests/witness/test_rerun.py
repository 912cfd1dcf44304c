"""The run of a witness is made once, and never taken for that of another vehicle, script or arrangement."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bandproof.model.arrangement import Control, Move, Part, VolumeKind
from bandproof.model.conditions import InPosition
from bandproof.simulation.script import Act, Turn
from bandproof.witness.rerun import rerun
from tests.simulation.samples import arranged, passage, vehicle

COCK = Part(
    "cock",
    "cock",
    ("shut", "open"),
    (passage("tank", "line", "open"),),
    (Move("shut", "open", InPosition("lever", frozenset({"on"}))),),
)
BENCH = arranged([COCK], [("tank", VolumeKind.TANK), ("line", VolumeKind.LINE)], [Control("lever", ("off", "on"))])
EARLY, LATE = (Act(Turn("lever", "on"), 0.1),), (Act(Turn("lever", "on"), 0.5),)


def test_a_run_is_remembered_with_all_that_it_hangs_on() -> None:
    one = vehicle(BENCH, {"tank": 6.0, "line": 1.0})
    other = vehicle(BENCH, {"tank": 4.0, "line": 1.0})
    first = rerun(BENCH, one, EARLY, 1.0)
    assert rerun(BENCH, one, EARLY, 1.0) is first
    assert [time for time, _ in rerun(BENCH, one, LATE, 1.0).moves()] != [time for time, _ in first.moves()]
    assert rerun(BENCH, other, EARLY, 1.0).pressures[0, 0] != first.pressures[0, 0]
    assert rerun(BENCH, one, EARLY, 2.0).ended > first.ended
    assert not rerun(replace(BENCH, parts=(replace(COCK, moves=()),)), one, EARLY, 1.0).moves()


def test_the_end_of_a_run_is_among_its_times() -> None:
    history = rerun(BENCH, vehicle(BENCH, {"tank": 6.0, "line": 1.0}), EARLY, 0.7)
    assert np.isin(0.7, history.times)
