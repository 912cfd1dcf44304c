"""The catalogue of codes tests itself: every sample produces its code, there, with these words, and nothing else."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

import bandproof
from bandproof.model.loader import load_arrangement_text
from bandproof.text.codes import CODES, Code
from bandproof.text.codes.samples import PACK_SUBJECT, SMALL, VALVE
from bandproof.text.diagnostics import Diagnostic
from bandproof.text.messages import closing
from tests.diagnostics.reading import faults_of

EVERY_CODE = pytest.mark.parametrize("entry", CODES.values(), ids=list(CODES))

#: Codes that are put together at run time from what is looked up, and what each is put together from.
COMPOSED = {
    "unknown-": {"volume", "setting", "size", "control", "part", "mishap", "start", "state", "position"},
    "duplicate-": {"state", "position"},
}


@EVERY_CODE
def test_the_sample_produces_exactly_its_code(entry: Code, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert [fault.headline for fault in faults_of(entry, tmp_path)] == [entry.headline]


@EVERY_CODE
def test_the_sample_produces_exactly_its_hint(entry: Code, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert [fault.hint for fault in faults_of(entry, tmp_path)] == [entry.hint]
    assert entry.hint


@EVERY_CODE
def test_the_entry_reads_well(entry: Code) -> None:
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)+", entry.code)
    assert entry.summary.endswith(".")
    assert entry.explanation.endswith(".")
    assert entry.message[0] == '"' or entry.message[0].islower()
    assert not entry.message.endswith(".")
    assert not entry.hint.endswith(".")
    assert len(entry.message) <= 100
    for text in (entry.summary, entry.explanation, entry.headline, closing(entry.hint, entry.code)):
        assert text in entry.explain()


@pytest.mark.parametrize("text", [SMALL, VALVE, PACK_SUBJECT], ids=["small", "valve", "pack subject"])
def test_the_files_that_samples_build_on_are_good(text: str) -> None:
    assert load_arrangement_text(text).name == "one tank"


def test_no_other_code_can_be_reported() -> None:
    with pytest.raises(ValueError, match="not in the catalogue"):
        Diagnostic("no-such-code", "f", 1, 1, 1, "m")


def test_every_code_named_in_the_source_is_in_the_catalogue_and_the_other_way_round() -> None:
    package = Path(bandproof.__file__).parent
    names: set[str] = set()
    for file in [
        *(package / "model").glob("*.py"),
        *(package / "properties").glob("*.py"),
        *(package / "terms").glob("*.py"),
        package / "text" / "units.py",
        package / "deciding" / "hunts.py",
    ]:
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Constant)
                and isinstance(node.value, str)
                and re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)+", node.value)
            ):
                names.add(node.value)
    composed = {head + tail for head, tails in COMPOSED.items() for tail in tails}
    assert names - {"utf-8", "utf-8-sig"} | composed == set(CODES)
