"""Trains of trailers, and a pilot stage that takes its time: what is proven of them, beside vehicles that do it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from bandproof.api import prove
from bandproof.deciding.cases import load_cases
from bandproof.findings.verdict import Verdict
from bandproof.model.loader import load_arrangement
from bandproof.simulation.script import Act, Occur
from bandproof.simulation.simulate import simulate
from bandproof.simulation.space import Space
from tests.trains import PACK, train

ROOT = Path(__file__).resolve().parents[2]

#: What rests on who is quicker: the knob that lets go, the stage that shuts, the air that is lost meanwhile.
RACES = (
    "breakaway-lets-trailer-knob-go",
    "breakaway-spares-tank-1",
    "torn-hose-lets-trailer-knob-go",
    "torn-or-leaking-hose-spares-tank-1",
    "hose-torn-while-stage-opens-spares-tank-1",
    "low-air-lets-trailer-knob-go-before-stage-moves",
    "vented-trailer-stays-vented",
)


def written(folder: Path, units: int) -> Path:
    model = folder / "train.toml"
    model.write_text(train(units), encoding="utf-8")
    (folder / "pack.toml").write_text(PACK, encoding="utf-8")
    return model


@pytest.mark.slow
@pytest.mark.parametrize("units", [1, 2, 4])
def test_every_vehicle_of_a_train_whose_last_hose_tears_lets_the_knob_go_and_parks(tmp_path: Path, units: int) -> None:
    """Seen here: the knob is out after 0.03 to 0.06 s with one trailer, 0.25 to 0.41 s with four."""
    arrangement = load_arrangement(written(tmp_path, units))
    vehicles = Space(arrangement, arrangement.start("rolling")).draw(np.random.default_rng(units), 20)
    torn = arrangement.mishaps[-1].name if units > 1 else "supply_hose_torn"
    last = arrangement.parts[-1].name
    for history in simulate(arrangement, vehicles, (Act(Occur(torn), 1.0),), until=30.0, keep=False):
        moved = {(move.part, move.target): time for time, move in history.moves()}
        assert 1.0 < moved["trailer_control", "out"] < 2.0
        assert moved[last, "applied"] < 30.0


@pytest.mark.packs
@pytest.mark.parametrize("units", [1, 2])
def test_a_train_whose_last_hose_tears_is_parked_once_settled(tmp_path: Path, units: int) -> None:
    (case,) = load_cases([written(tmp_path, units)], [tmp_path / "pack.toml"])
    wanted = ["last-hose-torn-parks-last-trailer", "last-hose-torn-race"][: 3 - units]
    ((*findings,),) = prove([case], only=wanted)
    assert [finding.verdict for finding in findings] == [Verdict.PROVEN] * len(wanted)


@pytest.mark.packs
def test_a_pilot_stage_that_takes_fifty_milliseconds_loses_no_race() -> None:
    (case,) = load_cases([ROOT / "tests/models/reacting_stage.toml"], sorted((ROOT / "properties").glob("*.toml")))
    ((*findings,),) = prove([case], only=RACES)
    assert {finding.property: finding.verdict for finding in findings} == dict.fromkeys(RACES, Verdict.PROVEN)
