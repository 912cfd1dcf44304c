"""`export`: the file, what is said of it, and whose lemmas are in it."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bandproof.deciding import writing
from tests.cli.conftest import Run
from tests.exporting.reader import Unrolled, read

HERE = ("--workers", "0")
FILE = Path("out/hand_valve/brake-stays-empty.aig")

#: A full cylinder of 1 to 3 L is joined to an empty tank of 50 L: only that air is conserved keeps the tank below 40 psi.
CYLINDER = """\
format = "bandproof/1"

[arrangement]
name = "cylinder"
unit = "psi"
highest = "150 psi"
start = "full"

[volumes]
cylinder = { is = "chamber", volume = "1..3 L" }
tank = { is = "tank", volume = "50 L" }

[controls]
knob = { positions = ["off", "on"] }

[kinds."tap"]
says = "Joins two volumes."
ports = ["one", "other"]
states = ["shut", "open"]
controls = ["knob"]
passages = [{ between = ["one", "other"], open_in = ["open"] }]
moves = [
  { from = "shut", to = "open", when = "knob is on" },
  { from = "open", to = "shut", when = "knob is off" },
]

[parts]
tap = { kind = "tap", ports = { one = "cylinder", other = "tank" }, controls = { knob = "knob" } }

[roles]
tank = "tank"

[starts.full]
pressures = { cylinder = "80 psi" }
"""

CONSERVED = """\
format = "bandproof/1"

[pack]
name = "cylinder rules"
models = ["../models/cylinder.toml"]

[[property]]
id = "tank-stays-low"
says = "The tank never reaches 40 psi."
basis = "common practice, no source"
never = "tank is at least 40 psi"
"""


@pytest.mark.slow
def test_the_problem_is_written_and_an_engine_finds_the_run_that_refutes_the_claim(model: Path, run: Run) -> None:
    result = run("export", model, "--property", "brake-stays-empty")
    assert result.exit_code == 0
    circuit = read(FILE.read_bytes())
    counts = f"{circuit.inputs} inputs, {len(circuit.after)} latches, {len(circuit.gates)} gates"
    assert result.stdout == f"{FILE.as_posix()}\n  {counts}\n"
    assert "no lemmas were at hand" in result.stderr
    assert "may need air that is not there" in result.stderr
    assert circuit.names("o") == ["brake-stays-empty"]
    assert run("prove", model, "--property", "brake-stays-empty", *HERE).exit_code == 1
    steps = json.loads(Path("out/hand_valve/results.json").read_text(encoding="utf-8"))["results"][0]["steps"]
    assert Unrolled(circuit, from_zero=True).shortest(20) == steps + 1
    assert FILE.exists(), "proving leaves an exported problem where it is"


def test_the_bad_state_can_be_written_as_such(model: Path, run: Run) -> None:
    run("export", model, "--property", "back-vents", "--bad-state", "--out", "elsewhere")
    circuit = read(Path("elsewhere/hand_valve/back-vents.aig").read_bytes())
    assert circuit.outputs == ()
    assert circuit.names("b") == ["back-vents"]


def test_json_says_the_same(model: Path, run: Run) -> None:
    result = run("export", model, "--property", "back-vents", "--json")
    document = json.loads(result.stdout)
    assert (document["property"], document["file"], document["lemmas"]) == (
        "back-vents",
        "out/hand_valve/back-vents.aig",
        0,
    )
    circuit = read(Path(document["file"]).read_bytes())
    counts = (circuit.inputs, len(circuit.after), len(circuit.gates))
    assert (document["inputs"], document["latches"], document["gates"]) == counts
    assert len(document["notes"]) == 2
    assert result.stderr == ""


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("back-vent", 'error: no such property: back-vent; did you mean "back-vents"?\n'),
        ("zzzz", "error: no such property: zzzz; there are "),
        ("trailer-vents", 'error: property "trailer-vents" does not apply to models/hand_valve.toml: '),
    ],
)
def test_a_property_that_is_not_there_is_bad_input_and_nothing_is_written(
    model: Path, run: Run, name: str, said: str
) -> None:
    result = run("export", model, "--property", name)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith(said)
    assert not Path("out").exists()


def test_a_claim_about_how_runs_end_has_no_search_problem(model: Path, run: Run) -> None:
    rules = Path("properties/rules.toml")
    rules.write_text(rules.read_text(encoding="utf-8").replace("settled.", "ends_in."), encoding="utf-8")
    result = run("export", model, "--property", "back-vents")
    assert (result.exit_code, result.stdout) == (2, "")
    assert (
        result.stderr == 'error: property "back-vents" is of the shape ends_in, for which there is no search problem\n'
    )
    assert not Path("out").exists()


def test_one_property_must_be_named(model: Path, run: Run) -> None:
    assert run("export", model).exit_code == 2


def test_a_file_that_cannot_be_written_is_bad_input_and_leaves_the_old_one(
    model: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run("export", model, "--property", "brake-stays-empty").exit_code == 0
    before = FILE.read_bytes()

    def full(*_: object) -> int:
        raise OSError(28, "No space left on device", "disk")

    monkeypatch.setattr(writing, "_umask", full)
    result = run("export", model, "--property", "brake-stays-empty", "--bad-state")
    assert (result.exit_code, result.stderr) == (2, "disk: No space left on device.\n")
    assert FILE.read_bytes() == before
    assert list(FILE.parent.iterdir()) == [FILE]


@pytest.mark.slow
def test_a_start_that_is_assumed_is_spoken_of(model: Path, run: Run) -> None:
    rules = Path("properties/rules.toml")
    text = rules.read_text(encoding="utf-8").replace('never = "brake', 'during = "braked"\nnever = "brake')
    rules.write_text(text, encoding="utf-8")
    given = model.read_text(encoding="utf-8")
    assert 'from = "empty"' in given
    model.write_text(given.replace('from = "empty"', "assumed = true"), encoding="utf-8")
    result = run("export", model, "--property", "brake-stays-empty")
    said = 'the start "braked" takes in every state that meets its condition'
    assert said in result.stderr
    assert any(line.startswith(said) for line in read(FILE.read_bytes()).comment)


# ---------------------------------------------------------------------------------------------------------- lemmas


@pytest.fixture
def cylinder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An arrangement with a claim that only lemmas prove."""
    monkeypatch.chdir(tmp_path)
    for name, text in (("models/cylinder.toml", CYLINDER), ("properties/rules.toml", CONSERVED)):
        Path(name).parent.mkdir()
        Path(name).write_text(text, encoding="utf-8")
    return Path("models/cylinder.toml")


def shortest(run: Run, model: Path) -> tuple[int | None, str]:
    """The step at which the exported problem is bad, if there is one within twelve, and what was noted."""
    result = run("export", model, "--property", "tank-stays-low")
    assert result.exit_code == 0, result.stderr
    circuit = read(Path("out/cylinder/tank-stays-low.aig").read_bytes())
    return Unrolled(circuit, from_zero=True).shortest(12), result.stderr


@pytest.mark.slow
def test_what_lemmas_prove_is_bad_without_them_and_not_with_them(cylinder: Path, run: Run) -> None:
    certificate = Path("out/cylinder/tank-stays-low.smt2")
    step, notes = shortest(run, cylinder)
    assert step is not None
    assert f"there is no certificate {certificate}, so no lemmas were at hand" in notes
    assert run("prove", cylinder, *HERE).exit_code == 0
    step, notes = shortest(run, cylinder)
    assert step is None
    assert f"1 lemma taken from the certificate {certificate}, which stands" in notes
    comment = read(Path("out/cylinder/tank-stays-low.aig").read_bytes()).comment
    assert "Lemmas taken in here: 1, shown in the certificate tank-stays-low.smt2." in comment


@pytest.mark.slow
def test_lemmas_stand_on_the_thresholds_that_the_proof_had(cylinder: Path, run: Run) -> None:
    """A second pack compares the tank with 20 psi, so the certificate has that threshold; the first pack alone has not."""
    further = (
        CONSERVED.replace("cylinder rules", "further rules").replace("stays-low", "stays-lower").replace("40", "20")
    )
    Path("properties/further.toml").write_text(further, encoding="utf-8")
    run("prove", cylinder, "--property", "tank-stays-low", *HERE)
    result = run("export", cylinder, "--property", "tank-stays-low", "--properties", "properties/rules.toml")
    assert "1 lemma taken from the certificate" in result.stderr
    circuit = read(Path("out/cylinder/tank-stays-low.aig").read_bytes())
    assert "tank is at least 20 psi" in circuit.names("l")
    assert Unrolled(circuit, from_zero=True).shortest(12) is None


@pytest.mark.slow
def test_nothing_is_taken_from_a_certificate_that_does_not_stand(cylinder: Path, run: Run) -> None:
    assert run("prove", cylinder, *HERE).exit_code == 0
    cylinder.write_text(CYLINDER.replace("50 L", "5 L"), encoding="utf-8")
    step, notes = shortest(run, cylinder)
    assert step is not None
    assert "does not stand, so no lemmas were taken from it: it was written for another arrangement file" in notes
    Path("out/cylinder/tank-stays-low.smt2").write_text("(check-sat)", encoding="utf-8")
    step, notes = shortest(run, cylinder)
    assert step is not None
    assert "is no certificate, so no lemmas were taken from it" in notes


@pytest.mark.slow
def test_a_certificate_without_lemmas_gives_its_thresholds(model: Path, run: Run) -> None:
    run("prove", model, "--property", "back-vents", *HERE)
    result = run("export", model, "--property", "back-vents")
    assert "thresholds, and no lemmas, taken from the certificate out/hand_valve/back-vents.smt2" in result.stderr
    assert Unrolled(read(Path("out/hand_valve/back-vents.aig").read_bytes()), from_zero=True).shortest(12) is None
