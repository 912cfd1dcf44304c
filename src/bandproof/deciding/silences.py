"""Whether parts that a certificate takes to be silent are: each is shown by the file that is named for it, or anew."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from bandproof.deciding.cases import Case
from bandproof.deciding.rechecked import read_file

if TYPE_CHECKING:
    from bandproof.certificates.basis import Silent


def shown_silent(silent: tuple[Silent, ...], folder: Path, case: Case) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What was done about parts that a certificate in a folder takes to be silent, and what is wrong with that."""
    from bandproof.certificates.basis import hash_of  # noqa: PLC0415  (as above)
    from bandproof.certificates.checks import BadCertificateError, recheck_posed  # noqa: PLC0415  (as above)
    from bandproof.certificates.comparing import about_silence  # noqa: PLC0415  (as above)

    done, faults, parts = [], [], {part.name for part in case.arrangement.parts}
    for number, one in enumerate(silent):
        file = folder / one.file
        text = None
        if one.part in parts and file.is_file():
            text = read_file(file)
        if text is None or hash_of(text) != one.sha256:
            if one.part in _silent_anew(case):
                done.append(f"that {one.part} falls silent was shown anew: the file with its proof is not there")
            else:
                faults.append(f"{one.part} is not shown to fall silent: there is no file {one.file} with its sha256")
            continue
        try:
            checked = recheck_posed(text, about_silence(case.arrangement, one.part, silent[:number]), file.as_posix())
        except BadCertificateError as error:
            faults.append(str(error))
            continue
        faults += [f"{one.file}: {fault}" for fault in checked.faults]
        done.append(f"{one.file}, which it names, was checked in the same way")
    return tuple(done), tuple(faults)


def _silent_anew(case: Case) -> frozenset[str]:
    from bandproof.engines.silence import quietened  # noqa: PLC0415  (as above)

    return quietened(case.layout()).layout.silent
