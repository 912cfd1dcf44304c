"""What is wrong with a file, and where: the one shape every fault and every warning takes, and its text form.

A diagnostic's code is stable and names the fault; what each code means is in `bandproof.text.codes`. Nothing here reads or
writes files.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

from bandproof.text.codes import CODES
from bandproof.text.messages import Severity, closing, headline, plain, sentence

#: Blanks before the line of the file that a diagnostic shows.
_INDENT = " " * 4

#: Signs of a line that are shown, and what stands for the rest of a longer one.
_LONGEST, _MORE = 200, "... "


@dataclass(frozen=True, slots=True)
class Diagnostic:
    """One fault: file, line and column (from 1, in characters), how far it reaches, and what is said about it.

    `excerpt` is the line it stands on, without its end; empty when there is no text to show. `note` stands beside the
    carets, `hint` names an edit that would mend it. Message and hint are phrases; `render` makes sentences of them.
    """

    code: str
    file: str
    line: int
    column: int
    length: int
    message: str
    note: str = ""
    hint: str = ""
    excerpt: str = ""
    level: Severity = Severity.ERROR

    def __post_init__(self) -> None:
        if self.code not in CODES:
            message = f"diagnostic code {self.code!r} is not in the catalogue"
            raise ValueError(message)

    @property
    def headline(self) -> str:
        """The first line, a sentence that is enough by itself."""
        return headline(self.file, self.line, self.column, self.message, self.level)

    def render(self) -> str:
        """The whole diagnostic as text: headline, the line with carets, then the hint with the code behind it."""
        lines = [self.headline]
        if self.excerpt:
            shown, start = _around(plain(self.excerpt), self.column - 1)
            before, marked = shown[:start], shown[start : start + self.length]
            lines.append(f"{_INDENT}{shown}".rstrip())
            carets = " " * _width(before) + "^" * max(1, _width(marked))
            lines.append(f"{_INDENT}{carets} {plain(self.note)}".rstrip())
        elif self.note:
            lines.append(sentence(self.note))
        return "\n".join([*lines, closing(self.hint, self.code)])


def _around(line: str, start: int) -> tuple[str, int]:
    """The line, or, of a very long one, what stands around `start`; and where `start` is in that."""
    if len(line) <= _LONGEST:
        return line, start
    first = max(0, min(start - _LONGEST // 3, len(line) - _LONGEST))
    left, right = _MORE if first else "", _MORE if first + _LONGEST < len(line) else ""
    return f"{left}{line[first : first + _LONGEST]}{right}", start - first + len(left)


def _width(text: str) -> int:
    """Columns the text takes on a terminal: wide characters take two, combining ones none."""
    return sum(
        0 if unicodedata.combining(char) else 2 if unicodedata.east_asian_width(char) in "WF" else 1 for char in text
    )
