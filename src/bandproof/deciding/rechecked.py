"""What became of a file that was checked, and what checking certificates and stories have in common."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from bandproof.deciding.cases import Case, RequestError
from bandproof.properties.claim import Property
from bandproof.terms.names import closest
from bandproof.text.errors import FileError


@dataclass(frozen=True, slots=True)
class Rechecked:
    """What became of a file: whether it stands, what was done, and what is wrong with it.

    `unknown` says that nothing contradicts it, but that some solver could not tell. `alone`: nothing but the file was checked.
    """

    kind: str
    claim: str
    arrangement: str
    ok: bool
    done: tuple[str, ...]
    faults: tuple[str, ...] = ()
    unknown: bool = False
    alone: bool = False


class BadFileError(FileError):
    """A file that is neither a certificate nor a story, or one that cannot be read. The text says where and why."""


def read_file(file: Path) -> str:
    """The text of a file; BadFileError when it cannot be read."""
    try:
        return file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not UTF-8 text"
        message = f"{file.as_posix()}: cannot be read: {reason}."
        raise BadFileError(message) from error


def claim_of(case: Case, name: str) -> Property:
    """The claim called so that is made of the arrangement; RequestError when there is none."""
    for claim in case.properties:
        if claim.id == name:
            return claim
    near = closest(name, [claim.id for claim in case.properties])
    hint = f'; did you mean "{near}"?' if near else "; name its rule pack with --properties"
    message = f'{case.arrangement.file} has no applicable property "{name}"{hint}'
    raise RequestError(message)
