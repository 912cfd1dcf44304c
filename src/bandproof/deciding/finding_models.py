"""Finds the arrangement that a certificate or story is about: by the hash of its text, whatever its file is called.

Looked at are the file that is named, its neighbours, and the folders `models` at or above the working directory and the
file that is checked, with all that is in them.

Limits: a few hundred files at most are looked at.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import islice
from pathlib import Path

from bandproof.model.loader import content_hash

#: The folder in which arrangements are looked for.
MODEL_FOLDER = "models"

#: So many files are looked at, at most.
MOST = 400


def find_model(named: str, sha256: str, beside: Path) -> Path | None:
    """The file of the arrangement with this hash, or None. `named` is what it was called, `beside` the file checked."""
    seen: set[Path] = set()
    for path in islice(_candidates(named, beside), MOST):
        if path.resolve() not in seen:
            seen.add(path.resolve())
            if content_hash(path) == sha256:
                return path
    return None


def _candidates(named: str, beside: Path) -> Iterator[Path]:
    if named and "\0" not in named:
        yield Path(named)
        yield from _within(Path(named).parent, "*.toml")
    here = Path.cwd()
    for folder in dict.fromkeys((here, *here.parents, *beside.resolve().parents)):
        models = folder / MODEL_FOLDER
        for path in _within(models, "**/*.toml"):
            yield path.relative_to(here) if path.is_relative_to(here) else path


def _within(folder: Path, pattern: str) -> list[Path]:
    try:
        return sorted(folder.glob(pattern)) if folder.is_dir() else []
    except OSError:
        return []
