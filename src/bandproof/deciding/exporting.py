"""A claim's search problem as a file for other engines.

The file lies where `prove` puts what it says of the claim, so a certificate that stands there is found and taken in.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bandproof.deciding.cases import Case, RequestError
from bandproof.deciding.saving import CERTIFICATE
from bandproof.deciding.silences import shown_silent
from bandproof.deciding.writing import write_whole
from bandproof.findings.reasons import Lacking
from bandproof.properties.claim import Property, Shape
from bandproof.terms.names import closest, listed
from bandproof.views.reasons_text import reason_words

if TYPE_CHECKING:
    from bandproof.certificates.basis import Silent

#: How the name of an exported problem ends.
CIRCUIT = ".aig"


@dataclass(frozen=True, slots=True)
class Exported:
    """A file that was written, how much is in it, and what a reader must know of it."""

    file: Path
    inputs: int
    latches: int
    gates: int
    lemmas: int
    notes: tuple[str, ...]


def export(case: Case, name: str, folder: Path, *, bad_state: bool = False) -> Exported:
    """Write the search problem of one claim of a case to `folder`, as binary AIGER.

    Where a certificate of the claim lies there and stands, its thresholds and lemmas are taken in. With `bad_state` the
    bad state is written as such, and not as an output. RequestError when the case has no such claim, it does not apply, or its
    shape has no search problem.
    """
    from bandproof.exporting.aiger import BadAs  # noqa: PLC0415  (as below)
    from bandproof.exporting.asking import ask  # noqa: PLC0415  (solvers, only when they are needed)

    claim = _claim(case, name)
    certificate = folder / f"{name}{CERTIFICATE}"
    text = certificate.read_text(encoding="utf-8", errors="replace") if certificate.is_file() else None
    silent = () if text is None else _silent(text, folder, case)
    asked = ask(case.layout(), claim, text, certificate.as_posix(), silent)
    circuit, file = asked.circuit, folder / f"{name}{CIRCUIT}"
    write_whole(file, circuit.as_bytes(BadAs.PROPERTY if bad_state else BadAs.OUTPUT))
    counts = len(circuit.inputs), len(circuit.latches), len(circuit.gates)
    return Exported(file, *counts, asked.lemmas, asked.notes)


def _silent(text: str, folder: Path, case: Case) -> tuple[Silent, ...]:
    """The parts that a certificate in the folder takes to be silent, where they are shown to be; else none."""
    from bandproof.certificates.basis import read_silent  # noqa: PLC0415  (as above)
    from bandproof.certificates.reader import BadCertificateError, read  # noqa: PLC0415  (as above)

    try:
        silent = read_silent(read(text).fields.get("silent", ""))
    except BadCertificateError:
        return ()
    return silent if silent and not shown_silent(silent, folder, case)[1] else ()


def document(case: Case, name: str, exported: Exported) -> dict[str, Any]:
    """What was exported, as the document that `--json` prints."""
    arrangement = case.arrangement
    return {
        "format": "bandproof/1",
        "arrangement": {"name": arrangement.name, "file": arrangement.file, "sha256": arrangement.sha256},
        "property": name,
        "file": exported.file.as_posix(),
        "inputs": exported.inputs,
        "latches": exported.latches,
        "gates": exported.gates,
        "lemmas": exported.lemmas,
        "notes": list(exported.notes),
    }


def _claim(case: Case, name: str) -> Property:
    claim = next((claim for claim in case.claims if claim.id == name), None)
    if isinstance(claim, Property):
        if claim.shape is Shape.ENDS_IN:
            message = f'property "{name}" is of the shape {claim.shape}, for which there is no search problem'
            raise RequestError(message)
        return claim
    if claim is not None:
        why = reason_words(Lacking(claim.lacks))
        message = f'property "{name}" does not apply to {case.arrangement.file}: {why}'
        raise RequestError(message)
    known = [claim.id for claim in case.claims]
    near = f'did you mean "{like}"?' if (like := closest(name, known)) else f"there are {listed(known)}"
    message = f"no such property: {name}; {near}"
    raise RequestError(message)
