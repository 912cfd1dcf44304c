"""`run`: a script done to an arrangement, in seconds and in bands; what is said, written, and returned."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from bandproof.deciding.procedures import decided, perform, with_counter
from bandproof.findings.limits import Limits
from bandproof.findings.verdict import Verdict
from bandproof.model.loader import load_arrangement_text
from bandproof.properties.scripts import Procedure, load_script_text, resolve_script
from bandproof.views import performance_plot
from bandproof.views.performance_text import conclusion
from tests.cli.conftest import Run
from tests.cli.samples import ARRANGEMENT
from tests.unit.test_scripts import HEAD
from tests.unit.test_scripts import read as read_steps

STEPS = """
[[step]]
at = "40 s"
turn = { lever = "forward" }

[[step]]
once = "settled"
expect = "valve is feeding"

[[step]]
turn = { lever = "back" }

[[step]]
expect = "brake is below 1 psi"
within = "15 s"

[[step]]
once = "settled"
expect = "brake is below 1 psi and valve is venting"
"""
WRONG = STEPS.replace("brake is below 1 psi and valve is venting", "brake is at least 10 psi")


@pytest.fixture
def script(model: Path) -> Path:
    path = model.parent / "script.toml"
    path.write_text(HEAD + STEPS, encoding="utf-8")
    return path


@pytest.mark.slow
def test_a_script_that_holds_is_told_drawn_and_proven(model: Path, script: Path, run: Run) -> None:
    result = run("run", model, script, "--vehicles", "5")
    assert result.exit_code == 0
    assert "HOLDS in all 6 vehicles: all 3 expectations; 2 of them proven for every vehicle." in " ".join(
        result.stdout.split()
    )
    assert max(map(len, result.stdout.splitlines())) <= 80
    folder = Path("out/hand_valve/script")
    assert (folder / "run.txt").read_text(encoding="utf-8") in result.stdout
    drawn = ET.parse(folder / "run.svg").getroot()  # noqa: S314  (written by this test)
    assert drawn.get("role") == "img"
    words = " ".join("".join(text.itertext()) for text in drawn.iter() if text.tag.endswith("text"))
    assert "B, " in words
    assert "expected: valve is feeding - holds" in words


@pytest.mark.slow
def test_an_expectation_that_vehicles_break_is_shown_with_one_and_refuted(model: Path, script: Path, run: Run) -> None:
    script.write_text(HEAD + WRONG, encoding="utf-8")
    result = run("run", model, script, "--vehicles", "5")
    assert result.exit_code == 1
    text = " ".join(result.stdout.split())
    assert "FAILS: does not hold in the nominal vehicle, and holds in 0 of 5 drawn" in text
    assert "the nominal vehicle: at" in text
    assert "in bands: not so if the acts come at other times, see step-5.txt" in text
    assert "FAILS: what is expected at step 5 is not seen in every vehicle." in text
    assert Path("out/hand_valve/script/step-5.txt").is_file()


@pytest.mark.slow
def test_the_document_has_every_vehicle(model: Path, script: Path, run: Run) -> None:
    document = json.loads(run("run", model, script, "--vehicles", "2", "--no-bands", "--json").stdout)
    assert document["stands"] is True
    assert [step.get("broken") for step in document["steps"]] == [None, 0, None, 0, 0]
    assert len(document["vehicles"]) == 2
    assert len(document["nominal"]["pressures"]) == len(document["volumes"]) == 2
    assert all(vehicle["seen"]["5"]["holds"] for vehicle in document["vehicles"])
    assert document == json.loads(Path("out/hand_valve/script/run.json").read_text(encoding="utf-8"))


def test_a_bad_script_is_told_with_its_place_and_nothing_is_written(model: Path, script: Path, run: Run) -> None:
    script.write_text(HEAD + STEPS.replace("valve is feeding", "valve is fed"), encoding="utf-8")
    result = run("run", model, script)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "script.toml, line" in result.stderr
    assert not Path("out").exists()


def test_a_script_for_another_arrangement_says_what_is_missing(model: Path, script: Path, run: Run) -> None:
    script.write_text(HEAD + '[[step]]\nexpect = "trailer_tank is at least 60 psi"\n', encoding="utf-8")
    result = run("run", model, script)
    assert result.exit_code == 2
    assert 'which has no role "trailer_tank"' in result.stderr


# ------------------------------------------------------------------------------------------------------------- in bands


def test_the_counter_counts_what_is_done_and_notes_what_is_not_in_the_script() -> None:
    counted = with_counter(load_arrangement_text(ARRANGEMENT), read_steps(STEPS))
    part = counted.arrangement.part(counted.part)
    assert counted.states == ("done_1", "done_1", "done_2", "done_2", "done_2")
    assert part.states == ("done_0", "done_1", "done_2", "something_else_done")
    assert {(move.source, move.target) for move in part.moves} == {
        ("done_0", "done_1"),
        ("done_1", "done_2"),
        *((f"done_{n}", "something_else_done") for n in range(3)),
    }
    assert all((counted.part, frozenset({"done_0"})) in start.parts for start in counted.arrangement.starts)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("expect", "verdict"),
    [
        ("valve is venting", Verdict.PROVEN),
        ("brake is below 1 psi", Verdict.PROVEN),
        ("valve is feeding", Verdict.REFUTED),
        ("brake is at least 1 psi", Verdict.REFUTED),
    ],
)
def test_what_is_expected_once_settled_is_a_claim_about_every_vehicle(expect: str, verdict: Verdict) -> None:
    """Proved by hand: lever back, the valve vents (its guard), and an open way to the open air empties the brake."""
    steps = read_steps(STEPS.replace("brake is below 1 psi and valve is venting", expect))
    found = decided(load_arrangement_text(ARRANGEMENT), steps, Limits(60))
    assert found[4].verdict is verdict


def test_bands_say_nothing_of_seconds_nor_after_strokes() -> None:
    arrangement = load_arrangement_text(ARRANGEMENT)
    timed = '[[step]]\nat = "5 s"\nexpect = "valve is venting"\n[[step]]\nonce = "settled"\nexpect = "valve is venting"\nwithin = "2 s"\n'
    assert decided(arrangement, read_steps(timed)) == {}
    strokes = '[[step]]\nturn = { lever = ["forward", "back"] }\ntimes = 2\nevery = "1 s"\n[[step]]\nonce = "settled"\nexpect = "valve is venting"\n'
    assert decided(arrangement, read_steps(strokes)) == {}


@pytest.mark.slow
def test_how_a_run_came_to_a_start_is_no_part_of_the_script() -> None:
    """The start `braked` is reached from `empty` by a turn of the lever, which the script does not have."""
    arrangement = load_arrangement_text(ARRANGEMENT)
    text = HEAD.replace("ends =", 'start = "braked"\nends =') + STEPS.replace('at = "40 s"', 'at = "1 s"')
    found = resolve_script(load_script_text(text), arrangement)
    assert isinstance(found, Procedure)
    assert [finding.verdict for finding in decided(arrangement, found, Limits(60)).values()] == [Verdict.PROVEN] * 2


@pytest.mark.parametrize("highest", [0.3, 1.0, 5.9, 7.99, 8.0, 9.999, 10.0, 61.0, 99.0, 125.0, 861.8])
def test_the_axis_has_a_few_round_steps_whatever_the_unit(highest: float) -> None:
    step = performance_plot._step(highest)
    assert 3 <= performance_plot._ceiling(highest) / step <= 7
    assert performance_plot._ceiling(highest) > highest - step
    assert f"{step:g}".strip("0.")[0] in "125"


@pytest.mark.slow
def test_what_was_done_before_the_start_need_not_be_of_the_script() -> None:
    """The lead run to `braked` sets the lever forward; the script only ever sets it back."""
    text = (
        HEAD.replace("ends =", 'start = "braked"\nends =')
        + """
[[step]]
once = "settled"
turn = { lever = "back" }
[[step]]
once = "settled"
expect = "brake is below 1 psi"
"""
    )
    arrangement = load_arrangement_text(ARRANGEMENT)
    found = resolve_script(load_script_text(text), arrangement)
    assert isinstance(found, Procedure)
    (finding,) = decided(arrangement, found, Limits(60)).values()
    assert finding.verdict is Verdict.PROVEN


@pytest.mark.slow
def test_vehicles_of_a_settled_start_stand_still_in_it() -> None:
    """Where the lever is back the brake empties, so no vehicle with air in it rests there; one that begins at rest keeps it."""
    text = (
        HEAD.replace("ends =", 'start = "braked"\nends =')
        + """
[[step]]
expect = "brake is at least 99 psi"
holds_for = "30 s"
"""
    )
    arrangement = load_arrangement_text(ARRANGEMENT)
    found = resolve_script(load_script_text(text), arrangement)
    assert isinstance(found, Procedure)
    assert perform(arrangement, found, count=8, bands=False).stands


def test_what_is_looked_at_as_soon_as_something_is_turned_is_no_claim_in_bands() -> None:
    steps = read_steps(
        '[[step]]\nonce = "settled"\nturn = { lever = "forward" }\n[[step]]\nexpect = "valve is feeding"\n'
    )
    assert decided(load_arrangement_text(ARRANGEMENT), steps) == {}


def test_one_vehicle_of_those_drawn_is_enough_to_break_a_script() -> None:
    """In 10 s the brake of the nominal vehicle empties, and not of every one drawn."""
    steps = read_steps(STEPS.replace('"15 s"', '"10 s"'))
    done = perform(load_arrangement_text(ARRANGEMENT), steps, count=5, bands=False)
    assert done.nominal.seen[3].holds
    assert done.broken(3) > 0
    assert not done.stands
    assert conclusion(done) == "FAILS: what is expected at step 4 is not seen in every vehicle."


@pytest.mark.slow
def test_what_bands_refute_at_other_times_breaks_no_script() -> None:
    """At 40 s the tank has air in every vehicle; a hand that comes at once finds none, and the script is not about that one."""
    steps = '[[step]]\nat = "40 s"\nturn = { lever = "forward" }\n[[step]]\nonce = "settled"\nexpect = "brake is at least 5 psi"\n'
    done = perform(load_arrangement_text(ARRANGEMENT), read_steps(steps), count=5, limits=Limits(60))
    assert done.bands[1].verdict is Verdict.REFUTED
    assert done.stands
    assert conclusion(done).startswith("HOLDS in all 6 vehicles")


@pytest.mark.slow
def test_a_mishap_of_the_script_happens_in_bands_too() -> None:
    """By hand: once the pipe has burst it stays so, and it does burst; with no mishap the claim would be about nothing."""
    arrangement = load_arrangement_text((Path(__file__).parent / "bay_door.toml").read_text(encoding="utf-8"))
    text = HEAD + '[[step]]\nat = "1 s"\nhappens = "pipe_burst"\n[[step]]\nonce = "settled"\nexpect = "pipe is burst"\n'
    found = resolve_script(load_script_text(text), arrangement)
    assert isinstance(found, Procedure)
    (finding,) = decided(arrangement, found, Limits(60)).values()
    assert finding.verdict is Verdict.PROVEN


# ---------------------------------------------------------------------------------------------- found by attacks from outside

RAMP = (Path(__file__).parent / "ramp_lock.toml").read_text(encoding="utf-8")

AT_ONCE = """
[[step]]
once = "settled"
turn = { lock_lever = "set", ramp_lever = "down" }
[[step]]
once = "settled"
expect = "keeper is not lock_then_ramp or bell is calm"
"""
WAITED = """
[[step]]
once = "settled"
turn = { lock_lever = "set" }
[[step]]
once = "settled"
turn = { ramp_lever = "down" }
[[step]]
once = "settled"
expect = "keeper is lock_then_ramp and bell is calm and lock_chamber is at least 1 bar"
"""


@pytest.mark.thorough
@pytest.mark.slow
@pytest.mark.parametrize(("steps", "bell", "number"), [(AT_ONCE, "rung", 1), (WAITED, "calm", 2)])
def test_two_hands_at_once_are_no_patient_driver(steps: str, bell: str, number: int) -> None:
    """The chamber of 6 dm3 fills through C = 0.06 in a minute or more: lowered at once the ramp finds it empty, waited for full."""
    arrangement = load_arrangement_text(RAMP)
    script = load_script_text(HEAD.replace("1 min", "10 min") + steps)
    found = resolve_script(script, arrangement)
    assert isinstance(found, Procedure)
    done = perform(arrangement, found, count=3, limits=Limits(60))
    assert all(run.seen[number].holds is (bell == "calm") for run in done.runs)
    assert (done.bands[number].verdict is Verdict.PROVEN) is (bell == "calm")
