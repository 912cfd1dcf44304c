"""Limits on time and memory: how they are asked for, and the check that an engine calls between two units of work.

Limits: memory is what the system says a process has resident; it is read from /proc, or by `ps` where there is none,
and on a system that has neither a memory limit is refused.
"""

from __future__ import annotations

import os
import subprocess
import time
from dataclasses import dataclass
from pathlib import Path

#: Reading the memory in use costs far more than reading the clock, so it is read at most this often, in seconds.
_MEMORY_EVERY = 0.05


@dataclass(frozen=True, slots=True)
class Limits:
    """`seconds` for each property and `megabytes` for each worker process; None for no limit."""

    seconds: float | None = None
    megabytes: int | None = None

    @property
    def out_of_time(self) -> str:
        """The reason given for a property that took too long."""
        return f"not decided within the time limit of {self.seconds:g} s"

    @property
    def out_of_memory(self) -> str:
        """The reason given for a property that took too much memory."""
        return f"not decided within the memory limit of {self.megabytes} MB"


class GaveUpError(Exception):
    """A limit was reached. Its text is the reason given with the verdict `undecided`."""


class Clock:
    """Watches one property's limits from now on; calling it raises GaveUpError once one is passed."""

    __slots__ = ("_deadline", "_limits", "_next_look")

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        now = time.monotonic()
        self._deadline = None if limits.seconds is None else now + limits.seconds
        self._next_look = now

    def __call__(self) -> None:
        """Raise if a limit has been passed."""
        now = time.monotonic()
        if self._deadline is not None and now > self._deadline:
            raise GaveUpError(self._limits.out_of_time)
        if self._limits.megabytes is not None and now >= self._next_look:
            self._next_look = now + _MEMORY_EVERY
            used = resident_megabytes(os.getpid())
            if used is not None and used > self._limits.megabytes:
                raise GaveUpError(self._limits.out_of_memory)


def resident_megabytes(process: int) -> int | None:
    """The memory a process has resident, in MB; None when the process or the means to ask are not there."""
    try:
        pages = int(Path(f"/proc/{process}/statm").read_text(encoding="ascii").split()[1])
    except (OSError, IndexError, ValueError):
        return _by_ps(process)
    return pages * os.sysconf("SC_PAGE_SIZE") // 1_000_000


def _by_ps(process: int) -> int | None:
    try:
        asked = subprocess.run(  # noqa: S603  (a number, nothing from outside)
            ["ps", "-o", "rss=", "-p", str(process)],  # noqa: S607  (wherever the system keeps it)
            capture_output=True,
            text=True,
            check=True,
        )
        return int(asked.stdout) * 1024 // 1_000_000
    except (OSError, ValueError, subprocess.CalledProcessError):
        return None
