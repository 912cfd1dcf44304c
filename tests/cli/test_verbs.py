"""`draw`, `kinds`, `codes`, `schema`, `recheck` and the command line as a whole."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from importlib import metadata
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from bandproof.api import SCHEMAS
from bandproof.certificates.checks import Excluded
from bandproof.findings.reasons import NoPressures, Unreal
from bandproof.lemmas.lemma import Lemma
from bandproof.model.kinds import catalogue
from bandproof.text.codes import CODES
from bandproof.views.reasons_text import unreal_words
from bandproof.witness import concretise as find_pressures
from bandproof.witness.concretise import Impossible, Unclear
from tests.cli.conftest import Run
from tests.cli.samples import ARRANGEMENT, HEAD, PROVEN

HERE = ("--workers", "0")


def test_help_lists_these_verbs_and_no_other(run: Run) -> None:
    text = run("--help").stdout
    verbs = [row.split()[0] for row in text.splitlines() if re.match("  [a-z]", row)]
    assert sorted(verbs) == ["codes", "draw", "export", "kinds", "prove", "recheck", "run", "schema"]
    assert run().stdout == text
    assert run().exit_code == 2


@pytest.mark.parametrize("verb", ["prove", "draw", "run", "recheck", "export", "kinds", "codes", "schema"])
@pytest.mark.parametrize("columns", [60, 80, 200])
def test_help_is_plain_names_things_by_words_and_keeps_to_the_width(
    run: Run, monkeypatch: pytest.MonkeyPatch, verb: str, columns: int
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    result = run(verb, "--help")
    assert result.exit_code == 0
    assert max(len(row) for row in result.stdout.splitlines()) <= min(columns, 80)
    assert not set("│─╭╰<{\x1b") & set(result.stdout)
    assert result.stdout.startswith(f"bandproof {verb} ")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("prove",), 'MODEL is missing. "bandproof prove --help" says what can stand here.'),
        (("prove", "x", "--tme", "3"), "There is no option --tme. Did you mean --time? "),
        (("prove", "x", "--time", "soon"), "--time takes SECONDS, and what stands there is not that. "),
        (("prove", "x", "--time"), "Option --time cannot stand like this: it needs a value, or takes none. "),
        (("prove", "x", "--time=-1"), "error: --time cannot be -1; the least is 0"),
        (("prove", "x", "--workers=-1"), "error: --workers cannot be -1; the least is 0"),
        (("kinds", "a", "b"), 'There is no place for "b". "bandproof kinds --help" says what can stand here.'),
        (("guess",), 'There is no verb "guess". "bandproof --help" says what can stand here.'),
    ],
)
def test_a_wrong_command_line_is_bad_input_said_in_a_sentence(run: Run, arguments: tuple[str, ...], said: str) -> None:
    result = run(*arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith(said)
    assert len(result.stderr.splitlines()) == 1


def test_the_version_is_that_of_the_package(run: Run) -> None:
    assert (run("--version").stdout, run("--version").exit_code) == (f"bandproof {metadata.version('bandproof')}\n", 0)


@pytest.mark.slow
def test_the_package_runs_as_a_program() -> None:
    done = subprocess.run([sys.executable, "-m", "bandproof", "kinds"], capture_output=True, text=True, check=True)
    assert "check valve" in done.stdout
    assert done.stderr == ""


# ------------------------------------------------------------------------------------------------------------- draw


@pytest.mark.slow
def test_draw_writes_the_piping_and_every_machine_as_svg(model: Path, run: Run) -> None:
    result = run("draw", model)
    names = ["piping.svg", "connections.svg", "machines.svg", "machines/pump.svg", "machines/valve.svg"]
    assert result.stdout.split() == [f"out/hand_valve/{name}" for name in names]
    for name in names:
        assert ET.parse(Path("out/hand_valve") / name).getroot().tag.endswith("svg")  # noqa: S314  (written by this test)


@pytest.mark.slow
def test_draw_can_answer_in_json(model: Path, run: Run) -> None:
    document = json.loads(run("draw", model, "--out", "pictures", "--json").stdout)
    assert document["arrangement"]["name"] == "hand valve"
    assert all(Path(name).is_file() for name in document["drawings"])
    assert document["drawings"][0] == "pictures/hand_valve/piping.svg"


def test_draw_refuses_a_bad_arrangement_and_writes_nothing(model: Path, run: Run) -> None:
    model.write_text(ARRANGEMENT.replace('unit = "psi"', 'unit = "pis"'), encoding="utf-8")
    result = run("draw", model)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("models/hand_valve.toml, line ")
    assert not Path("out").exists()


# --------------------------------------------------------------------------------------------------- kinds, codes, schema


def test_kinds_lists_the_whole_catalogue(run: Run) -> None:
    document = json.loads(run("kinds", "--json").stdout)
    assert [kind["name"] for kind in document["kinds"]] == [kind.name for kind in catalogue()]
    table = run("kinds").stdout
    assert all(kind.name.split()[0] in table for kind in catalogue())


def test_one_kind_is_shown_in_full(run: Run) -> None:
    text = run("kinds", "check valve").stdout
    assert text.startswith("check valve: ")
    assert "inlet -> outlet, open in every state" in text
    passages = json.loads(run("kinds", "check valve", "--json").stdout)["kinds"][0]["passages"]
    assert [(p["from"], p["to"]) for p in passages] == [("inlet", "outlet")]


def test_an_unknown_kind_is_bad_input_with_a_suggestion(run: Run) -> None:
    result = run("kinds", "chek valve")
    assert (result.exit_code, result.stderr) == (
        2,
        'error: there is no kind "chek valve" in the catalogue; did you mean "check valve"?\n',
    )


def test_codes_lists_every_code_and_gives_each_its_entry(run: Run) -> None:
    listed = run("codes").stdout
    assert all(code in listed for code in CODES)
    assert run("codes", "file-missing").stdout == CODES["file-missing"].explain() + "\n"
    entry = json.loads(run("codes", "file-missing", "--json").stdout)["codes"]
    assert [(one["code"], one["level"]) for one in entry] == [("file-missing", "error")]


def test_an_unknown_code_is_bad_input_with_a_suggestion(run: Run) -> None:
    result = run("codes", "file-mising")
    assert (result.exit_code, result.stderr) == (
        2,
        'error: there is no code "file-mising"; did you mean "file-missing"?\n',
    )


@pytest.mark.parametrize(
    ("name", "keys"),
    [("arrangement", {"volumes", "parts"}), ("pack", {"pack", "property"}), ("story", {"steps", "witness"})],
)
def test_schema_prints_the_json_schemas(run: Run, name: str, keys: set[str]) -> None:
    schema = json.loads(run("schema", name).stdout)
    assert keys <= set(schema["properties"])


def test_schema_lists_what_there_is(run: Run) -> None:
    assert run("schema").stdout.split() == list(SCHEMAS)
    result = run("schema", "stroy")
    assert (result.exit_code, result.stdout) == (2, "")
    assert all(name in result.stderr for name in SCHEMAS)


@pytest.mark.parametrize("columns", [60, 80, 132])
def test_the_catalogue_keeps_to_the_width(run: Run, monkeypatch: pytest.MonkeyPatch, columns: int) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    text = run("kinds").stdout
    assert max(len(row) for row in text.splitlines()) <= columns
    assert "check valve" in text
    assert "\x1b" not in text


# --------------------------------------------------------------------------------------------------------- warnings


def test_a_warning_is_told_and_stops_nothing_unless_strict(model: Path, run: Run) -> None:
    model.write_text(ARRANGEMENT + "\n[mishaps]\nhose_torn = {}\n", encoding="utf-8")
    told = "models/hand_valve.toml, line "
    lenient = run("draw", model)
    assert lenient.exit_code == 0
    assert lenient.stderr.startswith(told)
    assert '(warning): nothing uses the mishap "hose_torn".' in lenient.stderr
    strict = run("draw", model, "--strict", "--out", "other")
    assert (strict.exit_code, strict.stdout) == (2, "")
    assert strict.stderr.startswith(told)
    assert "(warning)" not in strict.stderr
    assert run("prove", model, *HERE, "--strict").exit_code == 2
    assert not Path("other").exists()


def test_a_name_that_only_a_rule_pack_uses_is_in_use(model: Path, run: Run) -> None:
    model.write_text(ARRANGEMENT + '\n[bands]\nsoft = "below 50 psi"\n', encoding="utf-8")
    pack = Path("properties/rules.toml")
    assert run("draw", model, "--strict").exit_code == 2
    soft = '\n[[property]]\nid = "soft"\nsays = "s"\nbasis = "b"\nnever = "brake is soft"\n'
    pack.write_text(pack.read_text(encoding="utf-8") + soft, encoding="utf-8")
    assert run("draw", model, "--strict").stderr == ""


def test_what_a_file_inherits_and_does_not_use_is_no_slip_of_its_own(model: Path, run: Run) -> None:
    model.write_text(ARRANGEMENT + "\n[mishaps]\nhose_torn = {}\n", encoding="utf-8")
    heir = model.with_name("heir.toml")
    heir.write_text('format = "bandproof/1"\nextends = "hand_valve.toml"\n', encoding="utf-8")
    assert run("draw", heir, "--strict").stderr == ""
    assert run("draw", model, "--strict").exit_code == 2


def test_a_rule_pack_given_for_an_arrangement_is_told_apart_and_the_command_named(model: Path, run: Run) -> None:
    result = run("prove", "properties/rules.toml", *HERE)
    assert (result.exit_code, result.stdout) == (2, "")
    assert "this is a rule pack, not an arrangement." in result.stderr
    assert f'"bandproof prove {model.as_posix()} --properties properties/rules.toml"' in result.stderr


# ---------------------------------------------------------------------------------------------------------- recheck


@pytest.fixture
def proven(model: Path, run: Run) -> Path:
    """The arrangement after a run: one certificate and one story lie in `out`."""
    assert run("prove", model, *HERE).exit_code == 1
    return model


@pytest.mark.slow
def test_a_certificate_stands_alone_and_against_its_arrangement(proven: Path, run: Run) -> None:
    file = "out/hand_valve/back-vents.smt2"
    found = run("recheck", file)
    assert found.exit_code == 0
    assert "z3" in found.stdout
    assert "written anew from models/hand_valve.toml, found by its sha256" in found.stdout
    proven.rename("renamed.toml")
    alone = run("recheck", file)
    assert alone.exit_code == 0
    assert alone.stdout.splitlines()[0].endswith("stands; nothing but the file was checked")
    Path("models/hand_valve.toml").write_text(ARRANGEMENT.replace('"150 psi"', '"140 psi"'), encoding="utf-8")
    assert "models/hand_valve.toml has another one" in run("recheck", file).stdout
    Path("renamed.toml").rename("models/renamed.toml")
    assert "written anew from models/renamed.toml, found by its sha256" in run("recheck", file).stdout
    proven = Path("models/renamed.toml")
    document = json.loads(run("recheck", file, "--model", proven, "--json").stdout)
    assert (document["kind"], document["property"], document["stands"], document["faults"]) == (
        "certificate",
        "back-vents",
        True,
        [],
    )


@pytest.mark.slow
def test_the_certificate_of_an_empty_claim_shows_that_its_condition_never_happens(proven: Path, run: Run) -> None:
    result = run("recheck", "out/hand_valve/both-ways.smt2", "--model", proven)
    assert result.exit_code == 0, result.stdout
    text = Path("out/hand_valve/both-ways.smt2").read_text(encoding="utf-8")
    assert f"; excludes: {Excluded.CONDITION}\n" in text


@pytest.mark.slow
def test_a_certificate_is_refused_for_an_arrangement_changed_since(proven: Path, run: Run) -> None:
    proven.write_text(ARRANGEMENT.replace('"150 psi"', '"140 psi"'), encoding="utf-8")
    result = run("recheck", "out/hand_valve/back-vents.smt2", "--model", proven)
    assert result.exit_code == 1
    assert "DOES NOT STAND" in result.stdout
    assert "sha256 differs" in result.stdout


@pytest.mark.slow
@pytest.mark.usefixtures("proven")
def test_a_certificate_tampered_with_does_not_stand(run: Run) -> None:
    file = Path("out/hand_valve/back-vents.smt2")
    text = file.read_text(encoding="utf-8")
    spoilt, count = re.subn(r"\(define-fun excluded \(\) Bool \S+\)", "(define-fun excluded () Bool true)", text)
    assert count == 1
    file.write_text(spoilt, encoding="utf-8")
    result = run("recheck", file)
    assert result.exit_code == 1
    assert "the invariant holds a state that it should exclude" in result.stdout


@pytest.mark.slow
@pytest.mark.usefixtures("proven")
def test_a_story_plays_again(run: Run) -> None:
    result = run("recheck", "out/hand_valve/brake-stays-empty.story.json")
    assert result.exit_code == 0
    assert "played again on models/hand_valve.toml" in result.stdout
    assert "by another integrator, does it; the story is that run" in result.stdout


@pytest.mark.slow
@pytest.mark.usefixtures("proven")
def test_a_story_with_a_step_taken_out_does_not_stand(run: Run) -> None:
    file = Path("out/hand_valve/brake-stays-empty.story.json")
    document = json.loads(file.read_text(encoding="utf-8"))
    del document["steps"][1]
    file.write_text(json.dumps(document), encoding="utf-8")
    result = run("recheck", file, "--json")
    answer = json.loads(result.stdout)
    assert (result.exit_code, answer["stands"]) == (1, False)
    assert "events are not what changes" in answer["faults"][0]


@pytest.mark.slow
@pytest.mark.usefixtures("proven")
def test_every_key_at_fault_in_a_story_is_named_with_its_file(run: Run) -> None:
    file = Path("out/hand_valve/brake-stays-empty.story.json")
    document = json.loads(file.read_text(encoding="utf-8"))
    document["steps"][0]["kind"] = "jump"
    del document["start"]
    file.write_text(json.dumps(document), encoding="utf-8")
    result = run("recheck", file)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.splitlines() == [
        f"{file.as_posix()}: story file, start: this key is missing",
        f"{file.as_posix()}: story file, steps[0].kind: \"jump\" is none of 'react', 'flow' or 'act'",
    ]


@pytest.mark.slow
def test_a_story_of_another_arrangement_does_not_stand(proven: Path, run: Run) -> None:
    proven.write_text(ARRANGEMENT.replace('"150 psi"', '"140 psi"'), encoding="utf-8")
    result = run("recheck", "out/hand_valve/brake-stays-empty.story.json")
    assert result.exit_code == 1
    assert "sha256 differs" in result.stdout


@pytest.mark.slow
@pytest.mark.usefixtures("proven")
@pytest.mark.parametrize(
    ("answer", "code", "word"),
    [
        (Impossible(NoPressures(Unreal.AIR, ("brake",)), Lemma((), None)), 1, "DOES NOT STAND"),
        (Unclear(NoPressures(Unreal.GAVE_UP)), 3, "cannot be told"),
    ],
)
def test_a_story_that_air_does_not_allow_does_not_stand(
    run: Run, monkeypatch: pytest.MonkeyPatch, answer: Impossible | Unclear, code: int, word: str
) -> None:
    monkeypatch.setattr(find_pressures, "satisfied_by", lambda *_: None)
    monkeypatch.setattr(find_pressures, "find_pressures", lambda *_, **__: answer)
    file = Path("out/hand_valve/brake-stays-empty.story.json")
    document = json.loads(file.read_text(encoding="utf-8"))
    del document["seconds"], document["witness"]
    file.write_text(json.dumps(document), encoding="utf-8")
    result = run("recheck", file)
    assert result.exit_code == code
    assert word in result.stdout
    assert f"fault: {unreal_words(answer.reason)}" in result.stdout


@pytest.mark.slow
@pytest.mark.usefixtures("proven")
def test_a_story_needs_its_claim(run: Run) -> None:
    Path("properties/rules.toml").write_text(HEAD + PROVEN, encoding="utf-8")
    result = run("recheck", "out/hand_valve/brake-stays-empty.story.json")
    assert result.exit_code == 2
    assert 'no applicable property "brake-stays-empty"' in result.stderr


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("none.smt2", None),
        ("noise.smt2", "(check-sat)"),
        ("text.txt", "hello"),
        ("empty", ""),
        ("broken.json", "{"),
        ("other.json", "{}"),
        ("list.json", '{"arrangement": [], "property": 1}'),
        ("deep.json", '{"a":' * 100_000),
    ],
)
def test_a_file_that_is_neither_is_bad_input(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, run: Run, name: str, content: str | None
) -> None:
    monkeypatch.chdir(tmp_path)
    if content is not None:
        Path(name).write_text(content, encoding="utf-8")
    result = run("recheck", name)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith(name)
