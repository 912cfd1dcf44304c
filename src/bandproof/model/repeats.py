"""Finds what is given twice in a TOML text, from where the reader of TOML stopped.

The reader says that something is written again, not where its key stands, and not in the words of an arrangement.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from bandproof.text.spans import SourceFile

_INLINE = re.compile(r"Duplicate inline table key '(?P<key>.+)'", re.DOTALL)
_TABLE = re.compile(r"Cannot declare \((?P<steps>.+)\) twice", re.DOTALL)
_PAIR = re.compile(r"\s*(?P<key>[^=#]*[^=#\s])\s*=")
_HEADER = re.compile(r"\s*\[+\s*(?P<path>[^\]]+?)\s*\]+")


@dataclass(frozen=True, slots=True)
class Repeat:
    """Where the second of two stands, columns from 1, and what is said of it."""

    line: int
    column: int
    length: int
    message: str


def repeat_at(document: SourceFile, message: str, line: int, column: int) -> Repeat | None:
    """What stands twice, if the reader stopped with `message` because of that; the place is where it stopped."""
    text = document.line(line)
    if found := _INLINE.fullmatch(message):
        key = found["key"]
        at = text.rfind(key, 0, column - 1)
        port = re.search(r"\bports\s*=\s*\{[^}]*$", text[: max(at, 0)]) is not None
        return None if at < 0 else Repeat(line, at + 1, len(key), _said(key, port=port))
    if found := _TABLE.fullmatch(message):
        header = _HEADER.match(text)
        name = ".".join(re.findall(r"'((?:[^'\\]|\\.)*)'", found["steps"]))
        at, end = header.span("path") if header else (0, len(text))
        return Repeat(line, at + 1, max(1, end - at), f"the table [{name}] stands twice")
    if message == "Cannot overwrite a value" and (pair := _PAIR.match(text)):
        at, end = pair.span("key")
        return Repeat(line, at + 1, end - at, _said(pair["key"], port=_header_above(document, line).endswith("ports")))
    return None


def _said(key: str, *, port: bool) -> str:
    return f'the port "{key}" is joined twice' if port else f'"{key}" is given twice'


def _header_above(document: SourceFile, line: int) -> str:
    """The path of the table that a line belongs to; empty at the top of the file."""
    headers = (_HEADER.match(document.line(number)) for number in range(line, 0, -1))
    return next((header["path"] for header in headers if header), "")
