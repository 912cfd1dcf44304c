"""Limits on time and memory: how they are asked for, and the check that an engine calls between two units of work.

Limits: memory is what the system says a process has resident.
"""

from __future__ import annotations

import os
import time
from dataclasses import dataclass

import psutil

from bandproof.findings.reasons import OutOfMemory, OutOfTime

#: Reading the memory in use costs far more than reading the clock, so it is read at most this often, in seconds.
_MEMORY_EVERY = 0.05


@dataclass(frozen=True, slots=True)
class Limits:
    """`seconds` for each property and `megabytes` for each worker process; None for no limit."""

    seconds: float | None = None
    megabytes: int | None = None


class GaveUpError(Exception):
    """A limit was reached. `reason` is given with the verdict `undecided`."""

    def __init__(self, reason: OutOfTime | OutOfMemory) -> None:
        super().__init__(str(reason))
        self.reason = reason


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
        seconds, megabytes = self._limits.seconds, self._limits.megabytes
        if seconds is not None and self._deadline is not None and now > self._deadline:
            raise GaveUpError(OutOfTime(seconds))
        if megabytes is not None and now >= self._next_look:
            self._next_look = now + _MEMORY_EVERY
            used = resident_megabytes(os.getpid())
            if used is not None and used > megabytes:
                raise GaveUpError(OutOfMemory(megabytes))


def resident_megabytes(process: int) -> int | None:
    """The memory a process has resident, in MB; None when the process is not there or does not say."""
    try:
        return int(psutil.Process(process).memory_info().rss) // 1_000_000
    except (psutil.Error, ValueError):
        return None
