"""Source text with positions: where in a TOML file the key or value at a given path stands.

`tomllib` reads the values and `tree-sitter-toml` the positions, because TOML readers keep no positions for values
(which is why the way from one to the other is kept by hand).
The second reading happens only when a position is asked for, so good files never pay for it. Where the two readers
disagree about an odd file, the nearest enclosing position is given: a position is an aid, never a fact to build on.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import tree_sitter
import tree_sitter_toml

#: The way from the root of a file to a key or value: names and, in arrays, indices.
Path = tuple[str | int, ...]


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of one line: line and column from 1, counted in characters."""

    line: int
    column: int
    length: int


@dataclass(frozen=True, slots=True)
class _Spot:
    """Where a key and its value stand. `flat` says that the value is a one-line string without escapes."""

    key: Span
    value: Span
    flat: bool = False


class SourceFile:
    """One file: its name, its text and the values in it."""

    def __init__(self, file: str, text: str, values: dict[str, Any] | None = None) -> None:
        self.file = file
        self.text = text
        self.values: dict[str, Any] = {} if values is None else values

    @cached_property
    def lines(self) -> list[str]:
        """The lines of the text, without their ends."""
        return [line.removesuffix("\r") for line in self.text.split("\n")]

    def line(self, number: int) -> str:
        """Line `number`, counted from 1; empty beyond the end."""
        return self.lines[number - 1] if 0 < number <= len(self.lines) else ""

    def span(self, path: Path, *, key: bool = False, inside: tuple[int, int] | None = None) -> Span:
        """Where the value at `path` stands, or its key.

        `inside` is a stretch (start, end) of a string value: the span of that stretch if the string is on one line
        and has no escapes, else the span of the whole string.
        """
        for end in range(len(path), 0, -1):
            spot = self._spots.get(path[:end])
            if spot is None:
                continue
            if end < len(path):
                return spot.key
            if inside is not None and spot.flat and spot.value.length > 2:
                return Span(spot.value.line, spot.value.column + 1 + inside[0], max(1, inside[1] - inside[0]))
            return spot.key if key else spot.value
        return Span(1, 1, 1)

    @cached_property
    def _spots(self) -> dict[Path, _Spot]:
        return _Reader(self.text).read()


class _Reader:
    """Walks the syntax tree of a text once and notes where every path stands."""

    def __init__(self, text: str) -> None:
        self._lines = text.encode("utf-8", "surrogatepass").split(b"\n")
        parser = tree_sitter.Parser(tree_sitter.Language(tree_sitter_toml.language()))
        self._root = parser.parse(b"\n".join(self._lines)).root_node
        self._spots: dict[Path, _Spot] = {}
        self._counts: dict[Path, int] = {}

    def read(self) -> dict[Path, _Spot]:
        for node in self._root.named_children:
            if node.type == "pair":
                self._pair(node, ())
            elif node.type in {"table", "table_array_element"}:
                self._table(node)
        return self._spots

    def _table(self, node: tree_sitter.Node) -> None:
        # Broken text can leave a table without a header: then nothing in it has a path.
        for header in node.named_children[:1]:
            path = self._header(_keys(header), is_list=node.type == "table_array_element")
            for child in node.named_children[1:]:
                if child.type == "pair":
                    self._pair(child, path)

    def _header(self, keys: list[tree_sitter.Node], *, is_list: bool) -> Path:
        """The path of the table that a header begins."""
        path: Path = ()
        for step in keys[:-1]:
            path = self._current((*path, _name(step)))
            self._note(path, step, step)
        path = (*path, _name(keys[-1]))
        if is_list:
            self._note(path, keys[-1], keys[-1])
            index = self._counts[path] = self._counts.get(path, -1) + 1
            path = (*path, index)
        self._note(path, keys[-1], keys[-1])
        return path

    def _current(self, path: Path) -> Path:
        """The path, or that of the last element so far when it is an array of tables."""
        return (*path, self._counts[path]) if path in self._counts else path

    def _pair(self, node: tree_sitter.Node, path: Path) -> None:
        # A comment at the end of the line is a child too; broken text can leave a pair without a value.
        for key, value in zip(node.named_children[:1], node.named_children[1:2], strict=False):
            keys = _keys(key)
            for step in keys[:-1]:
                path = (*path, _name(step))
                self._note(path, step, step)
            self._value(value, (*path, _name(keys[-1])), keys[-1])

    def _value(self, node: tree_sitter.Node, path: Path, key: tree_sitter.Node) -> None:
        self._note(path, key, node)
        if node.type == "inline_table":
            for child in node.named_children:
                if child.type == "pair":
                    self._pair(child, path)
        elif node.type == "array":
            items = [child for child in node.named_children if child.type != "comment"]
            for index, item in enumerate(items):
                self._value(item, (*path, index), item)

    def _note(self, path: Path, key: tree_sitter.Node, value: tree_sitter.Node) -> None:
        flat = False
        if value.type == "string":
            text = value.text or b""
            flat = not text.startswith((b'"""', b"'''")) and (text.startswith(b"'") or b"\\" not in text)
        self._spots.setdefault(path, _Spot(self._span(key), self._span(value), flat))

    def _span(self, node: tree_sitter.Node) -> Span:
        start, end = node.start_point, node.end_point
        line = self._lines[start.row] if start.row < len(self._lines) else b""
        before = line[: start.column].decode("utf-8", "replace")
        to = end.column if end.row == start.row else len(line)
        length = len(line[start.column : to].decode("utf-8", "replace").rstrip())
        return Span(start.row + 1, len(before) + 1, max(1, length))


def _keys(node: tree_sitter.Node) -> list[tree_sitter.Node]:
    """The parts of a key, left to right. Dotted keys nest to the left, so no recursion is needed."""
    parts: list[tree_sitter.Node] = []
    while node.type == "dotted_key" and len(node.named_children) == 2:
        node, last = node.named_children
        parts.append(last)
    parts.append(node)
    return parts[::-1]


def _name(node: tree_sitter.Node) -> str:
    text = (node.text or b"").decode("utf-8", "replace")
    if node.type != "quoted_key":
        return text
    try:
        return next(iter(tomllib.loads(f"{text} = 0")))
    except (tomllib.TOMLDecodeError, StopIteration):
        return text.strip("\"'")
