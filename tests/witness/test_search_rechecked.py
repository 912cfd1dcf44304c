"""A witness stands without the search that found it: another integrator, the other simulator, the band machine, a file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import pytest

from bandproof.findings.shapes import read_text
from bandproof.findings.witness import Deed, Witness
from bandproof.findings.witness_records import WitnessRecord, witness_of, witness_record
from bandproof.machine.rig import replay
from bandproof.machine.story import Moved
from bandproof.simulation.script import Occur, Turn
from bandproof.simulation.simulate import simulate
from bandproof.simulation.space import Space
from bandproof.witness.reading import read_bands
from bandproof.witness.rechecking import recheck_witness
from tests.physics.simulator import simulate as other_simulate
from tests.physics.trajectory import Begin, Numbers, Trajectory
from tests.physics.trajectory import Deed as OtherDeed
from tests.strategies import layout_for

from .benches import CASES, FOUND, witness

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("case", FOUND)
def test_what_is_found_is_accepted(case: str) -> None:
    assert recheck_witness(*CASES[case], witness(case)) == []


def changed(one: Witness, table: str, name: str, by: float) -> Witness:
    old = one.vehicle[table][name]
    assert isinstance(old, float)
    vehicle = {key: dict(numbers) for key, numbers in one.vehicle.items()}
    vehicle[table][name] = old + by
    return replace(one, vehicle=vehicle)


def inward(one: Witness, table: str, name: str, middle: float, by: float) -> Witness:
    """With a number moved by so much, towards the middle of its range."""
    value = one.vehicle[table][name]
    assert isinstance(value, float)
    return changed(one, table, name, by if value < middle else -by)


CHANGES: dict[str, Callable[[Witness], Witness]] = {
    "another pressure": lambda w: inward(w, "pressures", "tank", 7.5e5, 2e4),
    "the pressure of a volume that does nothing": lambda w: inward(w, "pressures", "spare", 3.5e5, 2e4),
    "a setting that keeps the claim": lambda w: changed(
        w, "settings", "alarm 580000..620000 Pa", 590_000 - float(w.vehicle["settings"]["alarm 580000..620000 Pa"])
    ),
    "a setting out of its range": lambda w: changed(w, "settings", "alarm 580000..620000 Pa", 50_000),
    "another size": lambda w: inward(w, "c", "drain 0", 1.5, 0.3),
    "a later act": lambda w: replace(w, deeds=tuple(Deed(d.what, d.time + 0.5) for d in w.deeds)),
    "no act": lambda w: replace(w, deeds=()),
    "another act": lambda w: replace(w, deeds=(Deed(Turn("knob", "shut"), w.deeds[0].time),)),
    "an act that there is not": lambda w: replace(w, deeds=(Deed(Turn("handle", "open"), 1.0),)),
    "a mishap more": lambda w: replace(w, deeds=(Deed(Occur("torn"), 0.0), *w.deeds)),
    "another start": lambda w: replace(w, start="elsewhere"),
    "a number missing": lambda w: replace(w, vehicle={**w.vehicle, "litres": {"tank": 15.0}}),
    "a time that is not so": lambda w: replace(w, when=w.when / 2),
    "a larger margin": lambda w: replace(w, margin=w.margin + 10_000),
}


@pytest.mark.parametrize("change", CHANGES)
def test_what_is_changed_is_refused(change: str) -> None:
    assert recheck_witness(*CASES["alarmed"], CHANGES[change](witness("alarmed"))) != []


def test_a_driver_who_waits_may_not_act_too_soon() -> None:
    """The spare line is torn and still empties when the hand turns the knob."""
    arrangement, claim = CASES["patient"]
    one = witness("patient")
    hasty = replace(one, deeds=(Deed(Occur("torn"), max(one.deeds[0].time - 0.01, 0.0)), *one.deeds))
    faults = recheck_witness(arrangement, claim, hasty)
    assert any("before the air has settled" in fault for fault in faults)


@pytest.mark.parametrize("case", FOUND)
def test_the_band_machine_makes_the_run(case: str) -> None:
    arrangement, claim = CASES[case]
    one, layout = witness(case), layout_for(arrangement, claim)
    vehicle = Space(arrangement, arrangement.start("start")).given(one.vehicle)
    (history,) = simulate(arrangement, [vehicle], one.script, until=one.end + 1e-3)
    read = read_bands(layout, claim, vehicle, history)
    assert read.refused is None
    assert replay(layout, read.story, claim) is None
    assert list(read.times) == sorted(read.times)
    assert len(read.times) == len(read.story.steps)


def by_the_other(case: str, one: Witness) -> Trajectory:
    """The run by the independent simulator, with the witness's own numbers."""
    arrangement, claim = CASES[case]
    vehicle = Space(arrangement, arrangement.start("start")).given(one.vehicle)
    settings = dict.fromkeys(["warning"], Fraction(next(iter(vehicle.settings.values()), 0)))
    numbers = Numbers(settings, dict(vehicle.litres), dict(vehicle.sizes))
    begin = Begin({n: Fraction(p) for n, p in vehicle.pressures.items()}, dict(vehicle.parts), dict(vehicle.controls))
    deeds = [
        OtherDeed(d.time, d.what.control, d.what.position)
        if isinstance(d.what, Turn)
        else OtherDeed(d.time, d.what.mishap)
        for d in one.deeds
    ]
    return other_simulate(layout_for(arrangement, claim), numbers, begin, tuple(deeds), until=one.end)


@pytest.mark.parametrize("case", ["leaking", "fed too little"])
def test_the_other_simulator_sees_the_tank_fall(case: str) -> None:
    run = by_the_other(case, witness(case))
    assert run.last_pressures[0] * 1e5 - 101_325 == pytest.approx(witness(case).measured[0].pascals, abs=700)
    assert run.last_pressures[0] * 1e5 - 101_325 < 600_000


def test_the_other_simulator_hears_the_alarm_too_early() -> None:
    run = by_the_other("alarmed", witness("alarmed"))
    rings = [h for h in run.happenings if Moved("alarm", "quiet", "ringing") in h.events]
    assert len(rings) == 1
    assert rings[0].pressures[0] * 1e5 - 101_325 > 600_000


@pytest.mark.parametrize("case", FOUND)
def test_it_is_written_down_and_read_back(case: str) -> None:
    one = witness(case)
    text = witness_record(one).model_dump_json()
    assert witness_of(read_text(WitnessRecord, text, "witness")) == one
