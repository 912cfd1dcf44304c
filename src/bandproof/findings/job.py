"""A job: one claim to be decided on one grid within limits, known by a key that no other job has."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version

from bandproof.findings.content import arrangement_hash, content_hash
from bandproof.findings.limits import Limits
from bandproof.machine.layout import Layout
from bandproof.properties.claim import NotApplicable, Property


@dataclass(frozen=True, slots=True)
class Job:
    """What an answer hangs on. The grid counts: other claims beside this one may add thresholds to it."""

    layout: Layout
    claim: Property | NotApplicable
    limits: Limits

    @property
    def key(self) -> str:
        """SHA-256 of the arrangement's content, the grid, the claim, the limits and this program's version."""
        grid = arrangement_hash(self.layout.arrangement), self.layout.thresholds
        return content_hash((program_version(), grid, self.claim, self.limits))


def program_version() -> str:
    """The version of this program; another one may mean or find something else."""
    try:
        return version("bandproof")
    except PackageNotFoundError:
        return ""
