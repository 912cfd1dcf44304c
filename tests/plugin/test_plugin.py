"""Rule packs as pytest modules: what is collected, what passes, and what a failure says."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

import bandproof.certificates.checks
import bandproof.engines.run
import bandproof.views.story_text
from tests.cli.samples import ABSENT, ALL, ARRANGEMENT, EMPTY, HEAD, PROVEN, REFUTED, lay
from tests.unit.test_scripts import HEAD as SCRIPT

pytestmark = pytest.mark.slow

#: Pytest runs inside this one forget what they import; what is imported here they need not import anew.
LOADED = (bandproof.certificates.checks, bandproof.engines.run, bandproof.views.story_text)

EXPECTING = HEAD + '\n[pack.expected."../models/hand_valve.toml"]\n'


@pytest.fixture
def packs(pytester: pytest.Pytester) -> pytest.Pytester:
    """A project of its own in which the plugin is at work."""
    pytester.makeini("[pytest]\n")
    return pytester


def run(packs: pytest.Pytester, pack: str, *arguments: str) -> pytest.RunResult:
    """Put down the sample with a pack and run pytest on the packs' folder."""
    lay(packs.path, pack)
    return packs.runpytest("-p", "no:xdist", "-p", "no:hypothesispytest", "properties", *arguments)


def test_every_pair_of_arrangement_and_claim_is_one_test(packs: pytest.Pytester) -> None:
    result = run(packs, ALL, "--collect-only", "-q")
    names = ["back-vents", "brake-fills", "brake-stays-empty", "trailer-vents", "both-ways"]
    result.stdout.fnmatch_lines([f"properties/rules.toml::hand_valve::{name}" for name in names])
    assert result.ret == 0


def test_a_proven_claim_passes_and_one_that_does_not_apply_is_skipped_with_the_reason(packs: pytest.Pytester) -> None:
    result = run(packs, HEAD + PROVEN + ABSENT, "-rs")
    result.assert_outcomes(passed=1, skipped=1)
    result.stdout.fnmatch_lines(['SKIPPED*not applicable: the arrangement has no role "trailer_line"*'])


def test_a_refuted_claim_fails_with_its_story_and_no_traceback(packs: pytest.Pytester) -> None:
    result = run(packs, HEAD + REFUTED)
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(
        [
            "*hand_valve: brake-stays-empty*",
            "refuted: The brake never holds 20 psi.",
            "basis: common practice, no source",
            "caution: Chock the wheels.",
            "Start: empty",
            "*driver sets the lever to forward*",
            "Claim broken: The brake never holds 20 psi.",
            "drawn by: bandproof prove *hand_valve.toml --property brake-stays-empty",
            "FAILED properties/rules.toml::hand_valve::brake-stays-empty*",
        ]
    )
    result.stdout.no_fnmatch_line("*Traceback*")
    result.stdout.no_fnmatch_line("*bandproof_pytest.py*")


def test_an_empty_claim_fails(packs: pytest.Pytester) -> None:
    result = run(packs, HEAD + EMPTY)
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(["empty: With the lever in both positions*", "reason: its condition can never happen"])


def test_an_undecided_claim_fails_with_the_reason(packs: pytest.Pytester) -> None:
    result = run(packs, HEAD + PROVEN, "--bandproof-time", "1e-9")
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(["undecided: *", "reason: not decided within the time limit of 1e-09 s"])


@pytest.mark.parametrize(
    ("claims", "key", "name"),
    [
        (REFUTED, "refuted", "brake-stays-empty"),
        (EMPTY, "empty", "both-ways"),
        (ABSENT, "not_applicable", "trailer-vents"),
    ],
)
def test_what_the_pack_expects_passes(packs: pytest.Pytester, claims: str, key: str, name: str) -> None:
    run(packs, f'{EXPECTING}{key} = ["{name}"]\n{claims}').assert_outcomes(passed=1)


def test_a_time_limit_can_be_expected_to_run_out(packs: pytest.Pytester) -> None:
    pack = f'{EXPECTING}undecided = ["back-vents"]\n{PROVEN}'
    run(packs, pack, "--bandproof-time", "1e-9").assert_outcomes(passed=1)


def test_a_refutation_that_does_not_come_fails(packs: pytest.Pytester) -> None:
    result = run(packs, f'{EXPECTING}refuted = ["back-vents"]\n{PROVEN}')
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(["proven, expected refuted: With the lever back *"])


def test_what_is_expected_to_fall_and_does_not_apply_fails(packs: pytest.Pytester) -> None:
    expected = '[pack.expected."../models/hand_valve.toml"]\nrefuted = ["trailer-vents"]\n'
    result = run(packs, HEAD + expected + ABSENT)
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(["not applicable, expected refuted: *"])


def test_the_report_for_machines_holds_verdict_and_story(packs: pytest.Pytester) -> None:
    run(packs, HEAD + PROVEN + REFUTED, "--junitxml=report.xml")
    suite = ET.parse(packs.path / "report.xml").getroot()[0]  # noqa: S314  (written by this test)
    assert (suite.get("tests"), suite.get("failures")) == ("2", "1")
    good, bad = suite.iter("testcase")
    assert (good.get("classname"), good.get("name")) == ("properties.rules.toml.hand_valve", "back-vents")
    kept = {p.get("name"): p.get("value") for p in bad.iter("property")}
    assert (kept["verdict"], kept["steps"], kept["basis"]) == ("refuted", "4", "common practice, no source")
    failure = bad.find("failure")
    assert failure is not None
    assert "driver sets the lever to forward" in (failure.text or "")


# ------------------------------------------------------------------------------------------------- what is a pack


def test_a_broken_pack_is_a_collection_error_with_every_fault(packs: pytest.Pytester) -> None:
    spoilt = PROVEN.replace("lever is back", "lever is is back").replace("settled.then", "settled.than")
    result = run(packs, HEAD + spoilt)
    assert result.ret == 2
    result.stdout.fnmatch_lines(["*rules.toml, line *, column *: *.", "* [[]*[]]"])


def test_a_pack_that_is_no_longer_toml_is_not_passed_over(packs: pytest.Pytester) -> None:
    result = run(packs, HEAD + PROVEN + "this is no key\n")
    assert result.ret == 2
    result.stdout.fnmatch_lines(["*rules.toml, line *: not TOML*", "* [[]toml-syntax[]]"])


def test_a_broken_arrangement_is_a_collection_error(packs: pytest.Pytester) -> None:
    lay(packs.path, HEAD + PROVEN, ARRANGEMENT.replace('"psi"', '"pis"'))
    result = packs.runpytest("-p", "no:xdist", "properties")
    assert result.ret == 2
    result.stdout.fnmatch_lines(["*hand_valve.toml, line *", "* [[]unknown-choice[]]"])


def test_a_missing_arrangement_is_a_collection_error(packs: pytest.Pytester) -> None:
    lay(packs.path, (HEAD + PROVEN).replace("hand_valve", "foot_valve"))
    result = packs.runpytest("-p", "no:xdist", "properties")
    assert result.ret == 2
    result.stdout.fnmatch_lines(["*rules.toml, line *foot_valve*", "* [[]file-missing[]]"])


def test_other_toml_files_are_left_alone(packs: pytest.Pytester) -> None:
    lay(packs.path, HEAD + PROVEN)
    for name, text in {
        "other": "[pack]\nname = 1\n",
        "arrangement": ARRANGEMENT,
        "later": HEAD.replace("bandproof/1", "bandproof/9"),
        "noise": "format = ",
    }.items():
        (packs.path / "properties" / f"{name}.toml").write_text(text, encoding="utf-8")
    (packs.path / "properties" / "latin.toml").write_bytes(b"\xff\xfe")
    packs.runpytest("-p", "no:xdist", "properties").assert_outcomes(passed=1)


def test_arrangements_with_one_stem_are_told_apart(packs: pytest.Pytester) -> None:
    both = HEAD.replace('["../models/hand_valve.toml"]', '["../models/**/hand_valve.toml"]')
    lay(packs.path, both + PROVEN)
    (packs.path / "models" / "old").mkdir()
    (packs.path / "models" / "old" / "hand_valve.toml").write_text(ARRANGEMENT, encoding="utf-8")
    result = packs.runpytest("-p", "no:xdist", "properties", "-v")
    result.assert_outcomes(passed=2)
    result.stdout.fnmatch_lines(["*models/hand_valve.toml::back-vents*", "*models/old/hand_valve.toml::back-vents*"])


# ---------------------------------------------------------------------------------------------- how it is carried out


def test_one_arrangement_is_encoded_once_however_many_packs_name_it(
    packs: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> None:
    from bandproof.encoding import system

    built: list[object] = []
    made = system.StepRule.__init__

    def counted(self: system.StepRule, layout: object) -> None:
        built.append(layout)
        made(self, layout)  # type: ignore[arg-type]

    monkeypatch.setattr(system.StepRule, "__init__", counted)
    lay(packs.path, HEAD + PROVEN)
    (packs.path / "properties" / "second.toml").write_text(HEAD + EMPTY + REFUTED, encoding="utf-8")
    packs.runpytest("-p", "no:xdist", "properties").assert_outcomes(passed=1, failed=2)
    assert len(built) == 1


@pytest.mark.thorough
def test_the_same_run_spread_over_processes_gives_the_same_outcomes(packs: pytest.Pytester) -> None:
    lay(packs.path, ALL)
    done = packs.runpytest_subprocess("properties", "-n", "2", "--dist", "loadgroup")
    done.assert_outcomes(passed=2, failed=2, skipped=1)


def test_starting_pytest_imports_nothing_of_the_package() -> None:
    script = (
        "import sys, pytest; import bandproof_pytest; "
        "print(sorted(name for name in sys.modules if name.split('.')[0] in ('bandproof', 'z3', 'pysat', 'pydantic')))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_a_run_without_packs_imports_nothing_of_the_package(tmp_path: Path) -> None:
    (tmp_path / "test_nothing.py").write_text(
        "import sys\n\ndef test_absent():\n    assert 'bandproof_pytest' in sys.modules\n    assert 'bandproof' not in sys.modules\n",
        encoding="utf-8",
    )
    (tmp_path / "pytest.ini").write_text("[pytest]\n", encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout


def test_a_script_is_a_test_for_each_arrangement_it_names(packs: pytest.Pytester) -> None:
    lay(packs.path, ALL)
    folder = packs.path / "properties" / "scripts"
    folder.mkdir()
    head = SCRIPT.replace("ends =", 'models = ["../../models/hand_valve.toml"]\nends =')
    good, bad = (f'{head}\n[[step]]\nat = "1 s"\nexpect = "valve is {state}"\n' for state in ("venting", "feeding"))
    (folder / "good.toml").write_text(good, encoding="utf-8")
    (folder / "bad.toml").write_text(bad, encoding="utf-8")
    (folder / "broken.toml").write_text(good.replace("valve is", "valve"), encoding="utf-8")
    result = packs.runpytest(
        "-p", "no:xdist", "-p", "no:hypothesispytest", "properties/scripts", "--continue-on-collection-errors"
    )
    result.assert_outcomes(passed=1, failed=1, errors=1)
    result.stdout.fnmatch_lines(["*FAILS: what is expected at step 1 is not seen in every vehicle.*"])
    result.stdout.no_fnmatch_line("*Traceback*")
