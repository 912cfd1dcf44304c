"""Writes files whole or not at all: what is written goes to a file beside the target, which then takes the target's name.

Limits: a reader never sees half a file, but nothing is promised about two programs that write the same file at once
beyond that one of them wins.
"""

from __future__ import annotations

import os
import tempfile
from contextlib import suppress
from pathlib import Path


def write_whole(path: Path, content: str | bytes) -> None:
    """Write bytes, or text as UTF-8, to `path`, making its folders.

    Whatever goes wrong, no part of a new file is left there.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    beside = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
        # mkstemp lets only the owner read; a report is for everyone the folder's own rules allow.
        beside.chmod(0o666 & ~_umask())
        beside.replace(path)
    except BaseException:
        with suppress(OSError):
            beside.unlink()
        raise


def _umask() -> int:
    """The permissions this process takes away from new files; the system tells them only in exchange for new ones."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
