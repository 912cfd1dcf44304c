"""Writes a sample to a folder and reads it the way a user's file is read."""

from __future__ import annotations

from pathlib import Path

from bandproof.deciding.hunts import warn_of_hunting
from bandproof.model.loader import load_arrangement, load_arrangement_text
from bandproof.properties.language import load_pack, resolve_pack
from bandproof.properties.scripts import load_script, resolve_script
from bandproof.text.codes import Code, Reads
from bandproof.text.codes.samples import BESIDE, PACK_SUBJECT
from bandproof.text.diagnostics import Diagnostic
from bandproof.text.errors import InputError
from bandproof.text.input_faults import Faults


def faults_of(entry: Code, folder: Path) -> tuple[Diagnostic, ...]:
    """Every diagnostic that the entry's sample produces; the working folder must be `folder`."""
    for name, text in BESIDE.items():
        (folder / name).write_text(text, encoding="utf-8")
    (folder / "sample.toml").write_bytes(entry.sample.encode(entry.encoding))
    warnings = Faults()
    try:
        if entry.reads is Reads.PACK:
            resolve_pack(load_pack(Path("sample.toml")), load_arrangement_text(PACK_SUBJECT))
        elif entry.reads is Reads.SCRIPT:
            resolve_script(load_script(Path("sample.toml")), load_arrangement_text(PACK_SUBJECT))
        else:
            warn_of_hunting(load_arrangement(Path("sample.toml"), warnings), warnings)
    except InputError as error:
        return error.diagnostics
    return warnings.found()
