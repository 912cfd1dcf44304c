"""What the engines found, as plain values: the one thing that reports, drawings and shells depend on."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from bandproof.machine.layout import Layout
from bandproof.machine.story import Story


class Verdict(StrEnum):
    """The five answers of `prove`."""

    PROVEN = "proven"
    REFUTED = "refuted"
    UNDECIDED = "undecided"
    NOT_APPLICABLE = "not applicable"
    EMPTY = "empty"


@dataclass(frozen=True, slots=True)
class Finding:
    """The answer to one property of one arrangement.

    `steps` is the length of the story, where there is one. `story` is the counterexample of a refuted property, or
    the run that shows a proven reachable one; `certificate` is SMT-LIB text for a proof. `layout` is the grid the
    story's bands refer to.
    """

    property: str
    says: str
    basis: str
    verdict: Verdict
    reason: str = ""
    steps: int | None = None
    seconds: float = 0.0
    caution: str = ""
    layout: Layout | None = None
    story: Story | None = None
    certificate: str | None = None
    engine: str = ""
