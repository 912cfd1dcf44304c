"""The form in which something is said about a place in a file: where and what in a sentence, the hint, the code.

It belongs to no one else: a reader who has never seen it can read it aloud. Nothing here reads files or knows codes.
"""

from __future__ import annotations

import unicodedata
from enum import StrEnum

#: Unicode categories that are not printed as they are: controls, invisible formatting, lone surrogates, line ends.
_UNSHOWN = frozenset({"Cc", "Cf", "Cs", "Zl", "Zp"})


class Severity(StrEnum):
    """How much a diagnostic weighs: an error refuses the file, a warning says that something in it looks odd."""

    ERROR = "error"
    WARNING = "warning"


def headline(file: str, line: int, column: int, message: str, level: Severity = Severity.ERROR) -> str:
    """Where it is and what it is, as a sentence; a warning says that it is one."""
    weight = " (warning)" if level is Severity.WARNING else ""
    return f"{plain(file)}, line {line}, column {column}{weight}: {_stopped(plain(message))}"


def closing(hint: str, code: str) -> str:
    """The last line: the hint as a sentence, if there is one, and the code in brackets."""
    return f"{sentence(hint)} [{code}]".lstrip()


def sentence(phrase: str) -> str:
    """A phrase as a sentence on one line: a capital letter in front, a stop behind."""
    text = plain(phrase)
    return _stopped(text[:1].upper() + text[1:])


def _stopped(text: str) -> str:
    return text if not text or text.endswith((".", "?", "!")) else f"{text}."


def plain(line: str) -> str:
    """The text with one blank for every tab and control character, which could move carets or command a terminal."""
    return "".join(" " if unicodedata.category(char) in _UNSHOWN else char for char in line)
