"""The five answers there are."""

from __future__ import annotations

from enum import StrEnum


class Verdict(StrEnum):
    """The five answers of `prove`."""

    PROVEN = "proven"
    REFUTED = "refuted"
    UNDECIDED = "undecided"
    NOT_APPLICABLE = "not applicable"
    EMPTY = "empty"
