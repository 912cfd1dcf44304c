"""Findings kept in a folder by the key of their job, so that a run can be taken up again.

Limits: a kept answer is taken at its word; `bandproof.deciding.rechecking` is what looks at certificates and stories
again. A program changed without a new version number does not notice what an earlier state of it has kept.
"""

from __future__ import annotations

from pathlib import Path

from bandproof.deciding.writing import write_whole
from bandproof.findings.finding import Finding, gave_up
from bandproof.findings.job import Job
from bandproof.findings.records import read_finding, write_finding
from bandproof.findings.shapes import BadRecordError


class Store:
    """A folder of findings, made when the first is kept."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def keep(self, job: Job, finding: Finding) -> bool:
        """Keep the finding of a job; whether it was. What was given up is not: another try may find more."""
        waited = finding.waiting is not None and finding.waiting.gave_up is not None
        if gave_up(finding) is not None or waited:
            return False
        key = job.key
        write_whole(self._file(key), write_finding(finding, job=key))
        return True

    def known(self, job: Job) -> Finding | None:
        """The finding kept for a job; None when there is none, or none that can be read."""
        key = job.key
        try:
            return read_finding(self._file(key).read_text(encoding="utf-8"), job.layout.arrangement, job=key)
        except (OSError, UnicodeDecodeError, BadRecordError):
            return None

    def _file(self, key: str) -> Path:
        return self.folder / f"{key}.json"
