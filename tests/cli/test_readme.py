"""The README's example is a good arrangement and a good pack, with the verdicts it expects; its commands are those there are."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path
from textwrap import indent

import pytest

from bandproof.api import prove
from bandproof.cli import AS_EXPECTED, BAD_INPUT, DEFECT, INTERRUPTED, OPEN, OTHERWISE
from bandproof.deciding.cases import load_cases
from bandproof.deciding.procedures import load_procedure, perform
from bandproof.findings.finding import Verdict
from bandproof.model.loader import load_arrangement_text
from bandproof.properties.claim import Shape
from bandproof.properties.packs import expected_verdicts, load_pack
from bandproof.text.errors import InputError
from bandproof.text.input_faults import Faults
from tests.cli.conftest import Run

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.slow
def test_the_example_comes_out_as_it_expects(tmp_path: Path) -> None:
    arrangement, pack, _ = re.findall(r"```toml\n(.*?)```", TEXT, re.DOTALL)
    model, rules = tmp_path / "models" / "hand_valve.toml", tmp_path / "properties" / "rules.toml"
    for path, text in ((model, arrangement), (rules, pack)):
        path.parent.mkdir()
        path.write_text(text, encoding="utf-8")
    (findings,) = prove(load_cases([model]))
    expected = expected_verdicts(load_pack(rules), model)
    assert {f.property: str(f.verdict) for f in findings} == {
        f.property: expected.get(f.property, "proven") for f in findings
    }
    assert len(findings) == 3


def test_the_script_shown_holds_for_the_arrangement_shown(tmp_path: Path) -> None:
    arrangement, _, script = re.findall(r"```toml\n(.*?)```", TEXT, re.DOTALL)
    model, steps = tmp_path / "hand_valve.toml", tmp_path / "script.toml"
    model.write_text(arrangement, encoding="utf-8")
    steps.write_text(script, encoding="utf-8")
    done = perform(*load_procedure(model, steps, Faults()), count=5)
    assert done.stands
    assert [str(finding.verdict) for finding in done.bands.values()] == ["proven"]


def test_the_tables_list_what_there_is(run: Run) -> None:
    for verb in ("prove", "draw", "run", "recheck", "export", "kinds", "codes", "schema"):
        assert f"| `bandproof {verb}" in TEXT
    for option in set(re.findall(r"--[a-z]+", run("prove", "--help").stdout)) - {"--help"}:
        assert f"`{option}" in TEXT, option
    for verdict in Verdict:
        assert f"| {verdict} |" in TEXT
    for code in (AS_EXPECTED, OTHERWISE, BAD_INPUT, OPEN, DEFECT, INTERRUPTED):
        assert f"\n| {code} |" in TEXT
    for shape in Shape:
        assert re.search(rf"`{shape}(\.when)?\b", TEXT), shape


def test_the_two_commands_are_single_lines_that_ask_for_nothing_but_python() -> None:
    commands = re.findall(r"^    (\S.*(?:bandproof prove|pytest).*)$", TEXT.split("## Commands")[0], re.MULTILINE)
    assert len(commands) == 2
    assert commands[0].endswith(" && .venv/bin/bandproof prove models/two_knob_tractor.toml")
    assert all(
        step.split()[0] in ("python3", ".venv/bin/python", ".venv/bin/bandproof")
        for c in commands
        for step in c.split(" && ")
    )


def test_continuous_integration_runs_the_last_command_on_all_packs_as_well() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    command = ".venv/bin/python -m pytest -n auto --dist loadgroup"
    assert script.splitlines()[-1] == f'exec {command} --bandproof-time 1200 -m "not long and not huge" "$@"'
    assert f"    {command}\n" in TEXT


def test_files_and_folders_named_are_there() -> None:
    for name in re.findall(r"`((?:models|tests|properties)/[a-z_./*]+)`", TEXT):
        assert list(ROOT.glob(name.rstrip("/"))), name


@pytest.mark.thorough
@pytest.mark.slow
def test_the_picture_is_of_the_story_that_is_found_on_the_twin() -> None:
    """Which vehicle is found, and its pressures, may change with a library's version; these do not."""
    shown = re.search(r"!\[.*\]\((.*)\)", TEXT)
    assert shown is not None
    words = " ".join(re.findall(r"<text[^>]*>([^<]*)</text>", (ROOT / shown[1]).read_text(encoding="utf-8")))
    drawn = " ".join(unescape(words).split())
    (case,) = load_cases([ROOT / "models" / "twins" / "fed_from_one_tank.toml"])
    ((finding,),) = prove([case], only=["knobs-stay-fed-without-tank-1"])
    assert finding.verdict is Verdict.REFUTED
    assert f"{finding.property}, {case.arrangement.name}" in drawn
    assert finding.witness is not None
    assert "service tank 1 loses its air" in drawn
    assert "limit of the claim: 60 psi, low warning" in drawn


def test_the_message_shown_is_what_is_said() -> None:
    arrangement = re.findall(r"```toml\n(.*?)```", TEXT, re.DOTALL)[0]
    spoilt = arrangement.replace('ports = { supply = "tank"', 'ports = { supply = "tnak"')
    with pytest.raises(InputError) as caught:
        load_arrangement_text(spoilt, "models/hand_valve.toml")
    assert indent(str(caught.value), "    ") in TEXT
