"""The manual entry of a diagnostic code, as data."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from bandproof.text.messages import Severity, closing, headline


class Reads(StrEnum):
    """What a sample is: an arrangement file, a rule pack or a script."""

    ARRANGEMENT = "arrangement"
    PACK = "pack"
    SCRIPT = "script"


@dataclass(frozen=True, slots=True)
class Code:
    """One code: what it means, and a broken sample that produces it and nothing else.

    `at` is the line and column of the fault in the sample, `message` and `hint` are what is said about it. A sample
    is a file `sample.toml` beside the files of `bandproof.text.codes.samples.BESIDE`, in the given encoding; a pack or script is also
    applied to the arrangement `PACK_SUBJECT` there.
    """

    code: str
    summary: str
    explanation: str
    sample: str
    at: tuple[int, int]
    message: str
    hint: str
    reads: Reads = Reads.ARRANGEMENT
    encoding: str = "utf-8"
    level: Severity = Severity.ERROR

    @property
    def headline(self) -> str:
        """The first line of the diagnostic that the sample produces."""
        return headline("sample.toml", *self.at, self.message, self.level)

    def explain(self) -> str:
        """The manual entry as text: summary, explanation, the broken sample, and what is said about it."""
        sample = "\n".join(f"    {line}".rstrip() for line in self.sample.rstrip().split("\n"))
        said = f"{self.headline}\n{closing(self.hint, self.code)}"
        return f"{self.code}: {self.summary}\n\n{self.explanation}\n\nFor example:\n\n{sample}\n\n{said}"
