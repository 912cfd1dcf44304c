"""Collects the faults and warnings of one reading, so that all are told at once, each at its place in its file."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NoReturn

from bandproof.text.diagnostics import Diagnostic
from bandproof.text.errors import ConditionError, InputError, MeasureError
from bandproof.text.messages import Severity
from bandproof.text.spans import Path, SourceFile


@dataclass(frozen=True, slots=True)
class Place:
    """A key or value in a file."""

    document: SourceFile
    path: Path = ()

    def __truediv__(self, further: str | int | Path) -> Place:
        """The place of a key or index inside the value here."""
        return Place(self.document, (*self.path, *(further if isinstance(further, tuple) else (further,))))


class Faults:
    """A growing set of diagnostics. Errors are what counts and stops; `strict` makes an error of every warning."""

    def __init__(self, *, strict: bool = False) -> None:
        self.strict = strict
        self._found: dict[Diagnostic, None] = {}
        self._files: dict[str, int] = {}

    def __bool__(self) -> bool:
        return len(self) > 0

    def __len__(self) -> int:
        return sum(one.level is Severity.ERROR for one in self._found)

    def add(
        self,
        code: str,
        place: Place,
        message: str,
        *,
        hint: str,
        note: str = "",
        key: bool = False,
        inside: tuple[int, int] | None = None,
        level: Severity = Severity.ERROR,
    ) -> None:
        """Note a fault or warning at the value at `place`, at its key, or at a stretch inside a string value."""
        span = place.document.span(place.path, key=key, inside=inside)
        file, excerpt = place.document.file, place.document.line(span.line)
        self.note(
            Diagnostic(code, file, span.line, span.column, span.length, message, note, hint, excerpt, level),
        )

    def meet(self, file: str) -> None:
        """Note that a file is being read; faults are listed in the order in which files were met."""
        self._files.setdefault(file, len(self._files))

    def note(self, diagnostic: Diagnostic) -> None:
        """Note a fault or warning that is already complete."""
        self.meet(diagnostic.file)
        self._found.setdefault(replace(diagnostic, level=Severity.ERROR) if self.strict else diagnostic)

    def measure(self, place: Place, error: MeasureError, *, inside: tuple[int, int] | None = None) -> None:
        """Note that a quantity could not be read."""
        self.add(error.code, place, error.message, hint=error.hint, inside=inside)

    def condition(self, place: Place, error: ConditionError) -> None:
        """Note that a condition could not be read."""
        self.add(error.code, place, error.message, hint=error.hint, note=error.note, inside=error.at)

    def found(self) -> tuple[Diagnostic, ...]:
        """Every fault and warning, file by file in the order met, each file from top to bottom."""
        return tuple(sorted(self._found, key=lambda d: (self._files[d.file], d.line, d.column)))

    def stop(self) -> NoReturn:
        """Raise InputError with all that was found."""
        raise InputError(self.found())

    def stop_if_any(self) -> None:
        """Raise InputError if there is any error; warnings alone stop nothing."""
        if self:
            self.stop()
