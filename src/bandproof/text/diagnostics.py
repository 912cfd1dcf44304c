"""What is wrong with a file, and where: the one shape every fault takes, its text form, and the collector of faults.

A diagnostic's code is stable and names the fault; what each code means is in `bandproof.text.codes`. Nothing here reads or
writes files.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass

from bandproof.text.codes import CODES

#: Unicode categories that are not printed as they are: controls, invisible formatting, lone surrogates, line ends.
_UNSHOWN = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})


@dataclass(frozen=True, slots=True)
class Diagnostic:
    """One fault: `file:line:column` (from 1, in characters), how far it reaches, and what is said about it.

    `excerpt` is the line it stands on, without its end; empty when there is no text to show. `note` stands beside the
    carets, `hint` names an edit that would mend it.
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

    def __post_init__(self) -> None:
        if self.code not in CODES:
            message = f"diagnostic code {self.code!r} is not in the catalogue"
            raise ValueError(message)

    @property
    def headline(self) -> str:
        """The first line, which is enough by itself."""
        return _plain(f"error[{self.code}] {self.file}:{self.line}:{self.column}: {self.message}")

    def render(self) -> str:
        """The whole diagnostic as text: headline, the line with carets, hint."""
        lines = [self.headline]
        if self.excerpt:
            number = f"{self.line:4d}"
            before, marked = _split(self.excerpt, self.column - 1, self.length)
            lines.append(f"{number} | {_plain(self.excerpt)}".rstrip())
            carets = " " * _width(before) + "^" * max(1, _width(marked))
            lines.append(f"{' ' * len(number)} | {carets} {_plain(self.note)}".rstrip())
        elif self.note:
            lines.append(_plain(f"note: {self.note}"))
        if self.hint:
            lines.append(_plain(f"hint: {self.hint}"))
        return "\n".join(lines)


def _split(line: str, start: int, length: int) -> tuple[str, str]:
    plain = _plain(line)
    return plain[:start], plain[start : start + length]


def _plain(line: str) -> str:
    """The text with one blank for every tab and control character, which could move carets or command a terminal."""
    return "".join(" " if unicodedata.category(char) in _UNSHOWN else char for char in line)


def _width(text: str) -> int:
    """Columns the text takes on a terminal: wide characters take two, combining ones none."""
    return sum(
        0 if unicodedata.combining(char) else 2 if unicodedata.east_asian_width(char) in "WF" else 1 for char in text
    )
