"""`bandproof prove`: what it prints, writes and answers with."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

import bandproof.cli
from bandproof.api import prove
from bandproof.findings.finding import Finding
from bandproof.findings.limits import Limits
from bandproof.text.errors import CrossCheckError
from tests.cli.conftest import Run
from tests.cli.samples import ABSENT, ARRANGEMENT, EMPTY, EXPECTED, HEAD, HURRIED, PROVEN, REFUTED, SHOWN

HERE = ("--workers", "0")


def written(folder: Path) -> set[str]:
    """The files below a folder."""
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


#: What every run leaves besides its findings' own files.
ALWAYS = ("results.json", "time-passes.smt2")


def with_pack(text: str) -> None:
    """Put another pack in place of the sample's."""
    Path("properties/rules.toml").write_text(text, encoding="utf-8")


@pytest.mark.slow
def test_json_has_the_agreed_shape_and_nothing_else_is_on_standard_output(model: Path, run: Run) -> None:
    result = run("prove", model, *HERE, "--json")
    document = json.loads(result.stdout)
    assert document["format"] == "bandproof/1"
    assert set(document["arrangement"]) == {"name", "file", "sha256"}
    assert document["arrangement"]["file"] == "models/hand_valve.toml"
    keys = {"property", "says", "basis", "verdict", "reason", "steps", "seconds", "certificate", "counterexample"}
    assert all(keys <= set(one) for one in document["results"])
    assert [(one["property"], one["verdict"]) for one in document["results"]] == [
        ("back-vents", "proven"),
        ("brake-fills", "proven"),
        ("brake-stays-empty", "refuted"),
        ("trailer-vents", "not applicable"),
        ("both-ways", "empty"),
    ]
    assert result.exit_code == 1


@pytest.mark.slow
def test_files_named_in_the_json_are_there_and_those_in_the_folder_name_their_neighbours(model: Path, run: Run) -> None:
    printed = json.loads(run("prove", model, *HERE, "--json").stdout)["results"]
    kept = json.loads(Path("out/hand_valve/results.json").read_text(encoding="utf-8"))["results"]
    named = [one[key] for one in printed for key in ("certificate", "counterexample", "witness") if one[key]]
    assert len(named) == 4
    assert all(Path(name).is_file() for name in named)
    assert [one["certificate"] for one in kept] == ["back-vents.smt2", None, None, None, "both-ways.smt2"]
    assert [one["counterexample"] for one in kept] == [None, None, "brake-stays-empty.story.json", None, None]
    assert [one["witness"] for one in kept] == [None, "brake-fills.story.json", None, None, None]


@pytest.mark.slow
def test_json_says_what_was_asked_and_what_was_expected(model: Path, run: Run) -> None:
    with_pack(HEAD + EXPECTED + REFUTED + "belief = true\ndriver = 'after settling'\nfillings = 2\n" + ABSENT)
    refuted, absent = json.loads(run("prove", model, *HERE, "--json").stdout)["results"]
    keys = ("start", "driver", "mishaps", "fillings", "expected", "belief")
    assert [refuted[key] for key in keys] == ["empty", "after settling", [], 2, "refuted", True]
    assert [absent[key] for key in keys] == [None, None, None, None, "proven", False]


@pytest.mark.slow
def test_a_refuted_property_leaves_its_story_as_data_text_graph_and_plot(model: Path, run: Run) -> None:
    result = run("prove", model, *HERE, "--property", "brake-stays-empty")
    files = {f"brake-stays-empty{kind}" for kind in (".story.json", ".txt", ".svg", ".pressures.svg")}
    assert written(Path("out/hand_valve")) == {*ALWAYS} | files
    story = json.loads(Path("out/hand_valve/brake-stays-empty.story.json").read_text(encoding="utf-8"))
    assert story["format"] == "bandproof-story/1"
    assert "driver sets the lever to forward" in Path("out/hand_valve/brake-stays-empty.txt").read_text("utf-8")
    for row in (
        "FAILS: 1 claim fails that should not.",
        "1. brake-stays-empty",
        "The brake never holds 20 psi.",
        "Caution: Chock the wheels.",
        "Look at brake-stays-empty.svg",
        "are in out/hand_valve",
    ):
        assert row in result.stdout


@pytest.mark.slow
def test_a_quick_hands_story_stands_beside_a_patient_drivers_and_both_can_be_checked(model: Path, run: Run) -> None:
    with_pack(HEAD + HURRIED + PROVEN)
    (refuted, _) = json.loads(run("prove", model, *HERE, "--json").stdout)["results"]
    kinds = (".story.json", ".txt", ".svg", ".pressures.svg")
    files = {f"follows-at-once{more}{kind}" for more in ("", ".quick") for kind in kinds}
    folder = Path("out/hand_valve")
    assert written(folder) == {*ALWAYS, "back-vents.smt2"} | files
    assert refuted["quick"] == "out/hand_valve/follows-at-once.quick.story.json"
    assert "quick hand" in (folder / "follows-at-once.quick.pressures.svg").read_text("utf-8")
    texts = [(folder / f"follows-at-once{more}.txt").read_text("utf-8") for more in ("", ".quick")]
    assert "A quick hand's story is" in texts[0]
    assert "The story of a driver who lets the air settle is" in texts[1]
    for more in ("", ".quick"):
        told = run("recheck", f"out/hand_valve/follows-at-once{more}.story.json", "--model", model)
        assert told.exit_code == 0, told.stdout
    assert json.loads((folder / "follows-at-once.story.json").read_text("utf-8"))["driver"] == "after settling"
    quick = json.loads((folder / "follows-at-once.quick.story.json").read_text("utf-8"))
    assert "driver" not in quick
    (folder / "forged.story.json").write_text(json.dumps(quick | {"driver": "after settling"}), "utf-8")
    told = run("recheck", "out/hand_valve/forged.story.json", "--model", model)
    assert told.exit_code == 1, "a quick hand's run is no patient driver's"
    with_pack(HEAD + PROVEN)
    run("prove", model, *HERE)
    assert written(folder) == {*ALWAYS, "back-vents.smt2", "forged.story.json"}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("claims", "code"),
    [
        (PROVEN, 0),
        (PROVEN + SHOWN + ABSENT, 0),
        (PROVEN + REFUTED, 1),
        (REFUTED + EMPTY, 1),
        (PROVEN + EMPTY, 3),
        (ABSENT, 3),
        (EXPECTED + PROVEN + REFUTED, 0),
        (EXPECTED + REFUTED, 0),
        (EXPECTED + REFUTED + SHOWN.replace("at least 100", "at least 20").replace("reachable", "never"), 1),
        (EXPECTED + REFUTED.replace("never", "reachable"), 1),
        (EXPECTED + REFUTED.replace("brake is", "trailer_line is"), 3),
        (EXPECTED.replace("refuted", "empty") + REFUTED + EMPTY, 1),
        (EXPECTED.replace("refuted", "empty").replace("brake-stays-empty", "both-ways") + EMPTY, 0),
    ],
    ids=[
        "proven",
        "what does not apply counts for nothing",
        "refuted",
        "refuted comes first",
        "empty",
        "nothing proven",
        "refuted as expected",
        "nothing proven, and nothing expected to be",
        "one more than expected",
        "expected to fall and proven",
        "expected to fall and not applicable",
        "expected to fall otherwise",
        "empty as expected",
    ],
)
def test_exit_codes(model: Path, run: Run, claims: str, code: int) -> None:
    with_pack(HEAD + claims)
    assert run("prove", model, *HERE).exit_code == code


def test_out_of_time_is_undecided_with_the_reason(model: Path, run: Run) -> None:
    with_pack(HEAD + PROVEN)
    result = run("prove", model, *HERE, "--time", "1e-9", "--json")
    found = json.loads(result.stdout)["results"][0]
    assert (found["verdict"], found["reason"]) == ("undecided", "not decided within the time limit of 1e-09 s")
    assert result.exit_code == 3


def test_out_of_memory_is_undecided_with_the_reason(model: Path, run: Run) -> None:
    with_pack(HEAD + PROVEN)
    result = run("prove", model, *HERE, "--memory", "1", "--json")
    found = json.loads(result.stdout)["results"][0]
    assert (found["verdict"], found["reason"]) == ("undecided", "not decided within the memory limit of 1 MB")


@pytest.mark.slow
def test_several_arrangements_are_one_document_and_equal_stems_get_their_own_folders(model: Path, run: Run) -> None:
    with_pack(HEAD + PROVEN)
    other = Path("models/old/hand_valve.toml")
    other.parent.mkdir()
    other.write_text(ARRANGEMENT, encoding="utf-8")
    document = json.loads(run("prove", model, other, *HERE, "--json").stdout)
    assert document["format"] == "bandproof/1"
    assert [one["arrangement"]["file"] for one in document["arrangements"]] == [model.as_posix(), other.as_posix()]
    assert written(Path("out")) == {
        f"{folder}/{file}" for folder in ("hand_valve", "hand_valve-2") for file in (*ALWAYS, "back-vents.smt2")
    }


@pytest.mark.slow
@pytest.mark.parametrize("columns", [60, 80, 132])
def test_the_screen_keeps_to_the_width_and_says_the_same(
    model: Path, run: Run, monkeypatch: pytest.MonkeyPatch, columns: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    monkeypatch.setenv("NO_COLOR", "1")
    short = run("prove", model, *HERE).stdout
    assert max(len(row) for row in short.splitlines()) <= min(columns, 80)
    text = run("prove", model, *HERE, "--all").stdout
    assert text.startswith(short.rstrip("\n"))
    rows = [row for row in text.splitlines() if not row.startswith("  story: ")]
    assert max(len(row) for row in rows) <= columns
    assert "\x1b" not in text
    results = json.loads(Path("out/hand_valve/results.json").read_text(encoding="utf-8"))["results"]
    said = " ".join(text.split())
    for result in results:
        assert result["property"] in said
        assert result["verdict"] in said
        assert columns == 132 or " ".join(result["reason"].split()) in said


# ------------------------------------------------------------------------------------------------------- bad input


def test_bad_input_reports_every_fault_of_every_file_and_writes_nothing(model: Path, run: Run) -> None:
    model.write_text(
        ARRANGEMENT.replace('"150 psi"', '"150 spi"').replace('is = "tank"', 'is = "bucket"'), encoding="utf-8"
    )
    with_pack(HEAD + PROVEN.replace("is back", "is is back"))
    result = run("prove", model, *HERE, "--json")
    assert (result.exit_code, result.stdout) == (2, "")
    faults = [line for line in result.stderr.splitlines() if ", column " in line]
    assert [fault.split(", line ")[0] for fault in faults] == [
        "models/hand_valve.toml",
        "models/hand_valve.toml",
        "properties/rules.toml",
    ]
    assert not Path("out").exists()


def test_two_packs_with_one_id_are_refused(model: Path, run: Run) -> None:
    Path("properties/second.toml").write_text(HEAD + PROVEN, encoding="utf-8")
    result = run("prove", model, *HERE)
    assert result.exit_code == 2
    assert (
        'properties/second.toml, line 8, column 6: the id "back-vents" is used in properties/rules.toml too.'
        in result.stderr
    )


def test_an_arrangement_without_a_rule_pack_is_bad_input(model: Path, run: Run) -> None:
    Path("properties/rules.toml").unlink()
    result = run("prove", model, *HERE)
    assert result.exit_code == 2
    assert (
        result.stderr
        == 'error: models/hand_valve.toml has no rule pack: no folder "properties" beside it or above holds one\n'
    )


def test_an_unknown_property_is_bad_input_with_a_suggestion(model: Path, run: Run) -> None:
    result = run("prove", model, *HERE, "--property", "back-vent")
    assert (result.exit_code, result.stderr) == (2, 'error: no such property: back-vent; did you mean "back-vents"?\n')
    assert not Path("out").exists()


def test_a_missing_model_is_bad_input(model: Path, run: Run) -> None:
    result = run("prove", model.with_name("none.toml"), *HERE)
    assert result.exit_code == 2
    assert result.stderr.startswith('models/none.toml, line 1, column 1: there is no file "models/none.toml".')


def test_a_folder_that_cannot_be_written_is_bad_input(model: Path, run: Run) -> None:
    with_pack(HEAD + PROVEN)
    Path("out").write_text("in the way", encoding="utf-8")
    result = run("prove", model, *HERE)
    assert result.exit_code == 2
    assert result.stderr == "out/hand_valve: Not a directory.\n"


# ---------------------------------------------------------------------------------------------------- what is kept


@pytest.mark.slow
def test_packs_can_be_named(model: Path, run: Run) -> None:
    elsewhere = Path("elsewhere.toml")
    elsewhere.write_text(HEAD + SHOWN, encoding="utf-8")
    document = json.loads(run("prove", model, *HERE, "--json", "--properties", elsewhere).stdout)
    assert [one["property"] for one in document["results"]] == ["brake-fills"]


@pytest.mark.slow
def test_the_folder_mirrors_the_last_run_and_leaves_other_files_alone(model: Path, run: Run) -> None:
    run("prove", model, *HERE)
    own = Path("out/hand_valve/notes.txt")
    own.write_text("mine", encoding="utf-8")
    with_pack(HEAD + PROVEN)
    run("prove", model, *HERE)
    assert written(Path("out/hand_valve")) == {*ALWAYS, "back-vents.smt2", "notes.txt"}


@pytest.mark.slow
def test_results_that_name_a_path_outside_remove_nothing_there(model: Path, run: Run) -> None:
    with_pack(HEAD + PROVEN)
    Path("precious.txt").write_text("mine", encoding="utf-8")
    Path("out/hand_valve").mkdir(parents=True)
    spoilt = {"results": [{"property": "../../precious"}]}
    Path("out/hand_valve/results.json").write_text(json.dumps(spoilt), encoding="utf-8")
    run("prove", model, *HERE)
    assert Path("precious.txt").read_text(encoding="utf-8") == "mine"


@pytest.mark.slow
def test_two_runs_differ_in_seconds_only(model: Path, run: Run) -> None:
    def once(out: str) -> tuple[Any, dict[str, bytes]]:
        document = json.loads(run("prove", model, *HERE, "--json", "--out", out).stdout.replace(f"{out}/", ""))
        for one in document["results"]:
            assert one.pop("seconds") >= 0
        return document, {n: (Path(out) / n).read_bytes() for n in written(Path(out)) if not n.endswith("results.json")}

    assert once("first") == once("second")


@pytest.mark.slow
def test_interruption_keeps_what_is_finished_and_says_what_is_not(
    model: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*args: Any, observer: Any, **kwargs: Any) -> None:
        def hear(case: int, claim: int, finding: Finding) -> None:
            observer(case, claim, finding)
            raise KeyboardInterrupt

        prove(*args, observer=hear, **kwargs)

    monkeypatch.setattr(bandproof.cli, "prove", interrupted)
    result = run("prove", model, *HERE, "--json")
    assert result.exit_code == 130
    kept = json.loads(Path("out/hand_valve/results.json").read_text(encoding="utf-8"))["results"]
    assert [one["verdict"] for one in kept[:3]] == ["proven", "undecided", "undecided"]
    assert kept[1]["reason"] == "not decided: the run was interrupted"
    assert Path("out/hand_valve/back-vents.smt2").is_file()
    assert [one["verdict"] for one in json.loads(result.stdout)["results"]] == [one["verdict"] for one in kept]
    for option in ((), ("--all",)):
        screen = run("prove", model, *HERE, *option).stdout
        assert "NOT FINISHED: nothing has failed so far that should not." in screen
        assert "2 claims: 1 proven, 1 not applicable." in screen
        assert "3 claims not reached before the run was interrupted." in screen
        assert not any(name in screen for name in ("brake-fills", "brake-stays-empty", "both-ways"))


def test_a_contradiction_inside_the_program_stops_the_run_with_its_own_exit_code(
    model: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    def contradicted(*_: Any, **__: Any) -> None:
        message = "the engines differ"
        raise CrossCheckError(message)

    monkeypatch.setattr(bandproof.cli, "prove", contradicted)
    result = run("prove", model, *HERE, "--json")
    assert (result.exit_code, result.stdout) == (70, "")
    assert result.stderr.startswith("defect: ")
    assert "the engines differ" in result.stderr


def test_limits_are_passed_on_and_zero_seconds_means_none(
    model: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: dict[str, Any] = {}
    monkeypatch.setattr(bandproof.cli, "prove", lambda _, **given: seen.update(given))
    run("prove", model, "--time", "0", "--memory", "900", "--workers", "3", "--property", "back-vents")
    assert seen["limits"] == Limits(None, 900)
    assert (seen["processes"], seen["only"]) == (3, ["back-vents"])


def test_roles_that_a_pack_needs_and_the_arrangement_lacks_are_named_at_the_end(model: Path, run: Run) -> None:
    with_pack(HEAD + ABSENT)
    result = run("prove", model, *HERE)
    said = "models/hand_valve.toml has no role trailer_line: 1 claim of properties/rules.toml does not apply."
    assert result.stderr.splitlines()[-1] == said
    assert said not in run("prove", model, *HERE, "--property", "trailer-vents").stderr


@pytest.mark.usefixtures("model")
def test_what_stands_in_the_way_is_told_before_anything_is_decided_or_written(run: Run) -> None:
    """`results.json` is a folder; or the arrangement's own folder is a file."""
    blocked = Path("out/hand_valve/results.json")
    blocked.mkdir(parents=True)
    result = run("prove", "models/hand_valve.toml")
    assert result.exit_code == 2
    assert f"{blocked} is in the way" in result.stderr
    assert [path.name for path in Path("out/hand_valve").iterdir()] == ["results.json"]
    blocked.rmdir()
    blocked.parent.rmdir()
    blocked.parent.write_text("mine", encoding="utf-8")
    result = run("prove", "models/hand_valve.toml")
    assert result.exit_code == 2
    assert f"{blocked.parent} is in the way" in result.stderr
    assert blocked.parent.read_text(encoding="utf-8") == "mine"
