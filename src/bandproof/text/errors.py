"""The exceptions this package raises on purpose.

Anything a user can cause ends in an `InputError` that carries every fault found, each as a `Diagnostic`. Other
exceptions that escape are faults of this package.
"""

from __future__ import annotations

from bandproof.text.diagnostics import Diagnostic


class BandproofError(Exception):
    """Base of every exception of this package."""


class FileError(BandproofError):
    """A file is at fault. The text begins with the file's name and needs nothing in front of it."""


class InputError(FileError):
    """A file or an argument is at fault. `diagnostics` holds every fault found, in reading order."""

    def __init__(self, diagnostics: tuple[Diagnostic, ...]) -> None:
        self.diagnostics = diagnostics
        super().__init__(diagnostics)

    def __str__(self) -> str:
        return "\n\n".join(diagnostic.render() for diagnostic in self.diagnostics)


class CrossCheckError(BandproofError):
    """Two independent parts of this package disagree, so neither answer is given. Always a fault of this package."""


class MeasureError(BandproofError, ValueError):
    """Text that is not the pressure, volume or size it should be.

    `code`, `message` and `hint` are those of the diagnostic it becomes once its place in a file is known.
    """

    def __init__(self, code: str, message: str, hint: str) -> None:
        self.code = code
        self.message = message
        self.hint = hint
        super().__init__(message)


class ConditionError(BandproofError, ValueError):
    """Text that is no condition. `at` is the stretch of the text that is at fault, in characters from 0."""

    def __init__(self, code: str, at: tuple[int, int], message: str, hint: str, note: str = "") -> None:
        self.code = code
        self.at = at
        self.message = message
        self.hint = hint
        self.note = note
        super().__init__(message)
