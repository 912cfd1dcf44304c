"""Reads arrangement files and the files they extend, and merges them entry by entry, each entry with its place.

Nothing is checked here beyond the shape of each entry. An entry whose shape is wrong stays known by its name, so that
what refers to it is not reported a second time.
"""

from __future__ import annotations

import hashlib
import os
import re
import tomllib
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path as FilePath
from typing import Any, Generic, TypeVar

from bandproof.model.repeats import repeat_at
from bandproof.model.schema import (
    FORMAT,
    TABLES,
    ArrangementShape,
    ControlShape,
    FileShape,
    KindShape,
    MishapShape,
    PartShape,
    SettingShape,
    SizeShape,
    StartShape,
    VolumeShape,
    entry_shape,
    keys_of,
    read_shape,
    toml_text,
)
from bandproof.terms.names import suggest
from bandproof.text.diagnostics import Diagnostic
from bandproof.text.input_faults import Faults, Place
from bandproof.text.spans import SourceFile

T = TypeVar("T")

_SYNTAX_PLACE = re.compile(r"(?P<message>.*) \(at line (?P<line>\d+), column (?P<column>\d+)\)", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Entry(Generic[T]):
    """One named entry: where it stands, and its value, or None when its shape was wrong."""

    place: Place
    value: T | None


@dataclass(frozen=True, slots=True)
class Added:
    """An entry that a file adds to what it extends, with the names in that table that it leaves as they are."""

    table: str
    name: str
    place: Place
    inherited: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Merged:
    """All entries of a file and of the files it extends, later ones having replaced earlier ones of the same name."""

    top: SourceFile
    sha256: str
    arrangement: dict[str, Entry[str]] = field(default_factory=dict)
    bands: dict[str, Entry[str]] = field(default_factory=dict)
    settings: dict[str, Entry[str | SettingShape]] = field(default_factory=dict)
    sizes: dict[str, Entry[SizeShape]] = field(default_factory=dict)
    volumes: dict[str, Entry[VolumeShape]] = field(default_factory=dict)
    controls: dict[str, Entry[ControlShape]] = field(default_factory=dict)
    mishaps: dict[str, Entry[MishapShape]] = field(default_factory=dict)
    parts: dict[str, Entry[PartShape]] = field(default_factory=dict)
    roles: dict[str, Entry[str | list[str]]] = field(default_factory=dict)
    starts: dict[str, Entry[StartShape]] = field(default_factory=dict)
    kinds: dict[str, Entry[KindShape]] = field(default_factory=dict)
    added: tuple[Added, ...] = ()


@dataclass(frozen=True, slots=True)
class _Read:
    """One file of a chain, with the bytes its fingerprint is made of."""

    document: SourceFile
    data: bytes


def read_file(path: FilePath, faults: Faults, blame: Place | None = None) -> tuple[SourceFile, bytes] | None:
    """The TOML file at `path`, or None after noting why there is none.

    The fault is put at `blame`, the place that names the file, or else at the top of the file itself.
    """
    try:
        data = _ordinary(path)
    except FileNotFoundError:
        fault = ("file-missing", f'there is no file "{_shown(path)}"', "check the name and the folder")
    except OSError as error:
        reason = error.strerror or "the system refuses"
        fault = ("file-unreadable", f'"{_shown(path)}" cannot be read: {reason}', "name a readable file")
    else:
        text = _decode(data, path, faults, blame)
        document = None if text is None else read_text(text, _shown(path), faults)
        return None if document is None else (document, data)
    code, message, hint = fault
    if blame is None:
        faults.note(Diagnostic(code, _shown(path), 1, 1, 1, message, hint=hint))
    else:
        faults.add(code, blame, message, hint=hint)
    return None


def _ordinary(path: FilePath) -> bytes:
    """The bytes of an ordinary file; OSError for anything else, such as a device that never ends."""
    if path.is_dir():
        raise OSError(0, "it is a folder")
    if path.exists() and not path.is_file():
        raise OSError(0, "it is no ordinary file")
    try:
        return path.read_bytes()
    except (ValueError, NotADirectoryError) as error:
        raise FileNotFoundError from error


def tidy(path: FilePath) -> FilePath:
    """The path without `a/../`, so that messages and reports name a file in one way."""
    # A path with a zero byte names no file; normalising would cut it there and name another.
    return path if "\0" in str(path) else FilePath(os.path.normpath(path))


def _shown(path: FilePath) -> str:
    return path.as_posix()


def _decode(data: bytes, path: FilePath, faults: Faults, blame: Place | None) -> str | None:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        message = f"the file is not UTF-8 text: byte {error.start + 1} is 0x{data[error.start]:02X}"
        hint = "save the file with the encoding UTF-8"
        if blame is not None:
            faults.add("file-not-utf8", blame, message, hint=hint)
            return None
        before = data[: error.start].decode("utf-8-sig", "replace")
        line, column = before.count("\n") + 1, len(before) - before.rfind("\n")
        excerpt = data.decode("utf-8-sig", "replace").split("\n")[line - 1].rstrip("\r")
        faults.note(Diagnostic("file-not-utf8", _shown(path), line, column, 1, message, "", hint, excerpt))
        return None


def read_text(text: str, file: str, faults: Faults) -> SourceFile | None:
    """The values in a TOML text that has a format this package reads, or None after noting why there are none."""
    document = SourceFile(file, text)
    if not text.strip():
        faults.note(
            Diagnostic("file-empty", file, 1, 1, 1, "the file is empty", hint=f'begin with format = "{FORMAT}"')
        )
        return None
    try:
        document.values = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        _note_syntax(document, str(error), faults)
        return None
    except (ValueError, ArithmeticError):
        _note_syntax(document, "a number is too long to be read", faults)
        return None
    except RecursionError:
        _note_syntax(document, "lists or tables are nested too deeply", faults)
        return None
    return document if _good_format(document, faults) else None


def _note_syntax(document: SourceFile, text: str, faults: Faults) -> None:
    found = _SYNTAX_PLACE.fullmatch(text)
    message = found["message"] if found else text.removesuffix(" (at end of document)")
    line, column = (int(found["line"]), int(found["column"])) if found else (1, 1)
    if text.endswith("(at end of document)"):
        line, column = len(document.lines), len(document.lines[-1]) + 1
    again = repeat_at(document, message, line, column)
    if again is not None:
        place = (document.file, again.line, again.column, again.length)
        hint = "remove one of the two, or rename it"
        faults.note(Diagnostic("given-twice", *place, again.message, "", hint, document.line(again.line)))
        return
    message = f"not TOML: {message[:1].lower()}{message[1:]}"
    hint = "text stands in quotes, tables begin with [name], and lists with ["
    faults.note(Diagnostic("toml-syntax", document.file, line, column, 1, message, "", hint, document.line(line)))


def _good_format(document: SourceFile, faults: Faults) -> bool:
    place = Place(document)
    if "format" not in document.values:
        message = "the file does not say which format it is in"
        faults.add("format-missing", place, message, hint=f'begin with format = "{FORMAT}"')
        return True
    version = document.values["format"]
    if version != FORMAT:
        message = f"the format {toml_text(version)} is not known to this version"
        faults.add("format-unknown", place / "format", message, hint=f'this version reads "{FORMAT}"')
        return False
    return True


def read_chain(
    document: SourceFile, data: bytes, path: FilePath | None, base: FilePath | None, faults: Faults
) -> Merged:
    """The file and all it extends, merged. Raises InputError at once when a file of the chain cannot be read."""
    chain = [_Read(document, data)]
    faults.meet(document.file)
    seen = set() if path is None else {path.resolve()}
    folder = (base or FilePath()) if path is None else path.parent
    while "extends" in chain[-1].document.values:
        further = _extended(chain[-1].document, folder, seen, faults)
        read = None if further is None else read_file(further, faults, Place(chain[-1].document) / "extends")
        if further is None or read is None:
            _merge(chain, faults, whole=False)
            faults.stop()
        chain.append(_Read(*read))
        faults.meet(read[0].file)
        seen.add(further.resolve())
        folder = further.parent
    return _merge(chain, faults)


def _extended(document: SourceFile, folder: FilePath, seen: set[FilePath], faults: Faults) -> FilePath | None:
    """The file that `document` extends, or None after noting why there can be none."""
    place, target = Place(document) / "extends", document.values["extends"]
    if not isinstance(target, str):
        message = f'"extends" should be text in quotes, not {toml_text(target)}'
        faults.add("wrong-type", place, message, hint="write text in quotes")
        return None
    further = tidy(folder / target)
    if "\0" not in target and further.resolve() in seen:
        message = f'"{target}" extends itself, by way of this file'
        faults.add("extends-cycle", place, message, hint="remove this line")
        return None
    return further


def _merge(chain: list[_Read], faults: Faults, *, whole: bool = True) -> Merged:
    """All entries of a chain of files; of a chain that is not `whole` only the shapes are checked."""
    digest = hashlib.sha256()
    for read in chain:
        digest.update(read.data)
    tables: dict[str, dict[str, Entry[Any]]] = {table: {} for table in TABLES}
    header: dict[str, Entry[str]] = {}
    added: list[Added] = []
    for read in reversed(chain):
        place = Place(read.document)
        values = read.document.values
        _unknown_tables(values, place, faults)
        if whole:
            _drop(values.get("without", []), tables, place / "without", extends="extends" in values, faults=faults)
        given = values.get("arrangement", {})
        read_shape(ArrangementShape, given, place / "arrangement", faults)
        if isinstance(given, dict):
            for key in keys_of(ArrangementShape):
                if key in given:
                    value = given[key] if isinstance(given[key], str) else None
                    header[key] = Entry(place / "arrangement" / key, value)
        for table in TABLES:
            if "extends" in values:
                added += _added(table, values.get(table, {}), tables[table], place / table)
            _add_table(table, values.get(table, {}), tables[table], place / table, faults)
    return Merged(chain[0].document, digest.hexdigest(), header, **tables, added=tuple(added))


def _added(table: str, given: Any, entries: dict[str, Entry[Any]], place: Place) -> list[Added]:
    """What a table of a file adds to what is there."""
    names = list(given) if isinstance(given, dict) else []
    kept = tuple(name for name in entries if name not in names)
    return [Added(table, name, place / name, kept) for name in names if name not in entries]


def _add_table(table: str, given: Any, entries: dict[str, Entry[Any]], place: Place, faults: Faults) -> None:
    if not isinstance(given, dict):
        message = f'"{table}" should be a table, not {toml_text(given)}'
        faults.add("wrong-type", place, message, hint="write a table")
        return
    for name, value in given.items():
        inner = place / name
        entries[name] = Entry(inner, read_shape(entry_shape(table), value, inner, faults))


def _unknown_tables(values: dict[str, Any], place: Place, faults: Faults) -> None:
    known = keys_of(FileShape)
    for name in values:
        if name not in known:
            hint = suggest(name, known, among="its keys are")
            faults.add("unknown-key", place / name, f'the file has no key "{name}"', hint=hint, key=True)


def _drop(
    without: Any, tables: dict[str, dict[str, Entry[Any]]], place: Place, *, extends: bool, faults: Faults
) -> None:
    if not isinstance(without, list) or not all(isinstance(item, str) for item in without):
        message = f'"without" should be a list of names, not {toml_text(without)}'
        faults.add("wrong-type", place, message, hint='write a list of names, as in ["parts.check"]')
        return
    if without and not extends:
        message = '"without" drops inherited entries, but this file extends no other'
        faults.add("without-extends", place, message, hint='add extends = "…", or remove "without"', key=True)
        return
    for index, item in enumerate(without):
        table, _, name = item.partition(".")
        if name not in tables.get(table, {}):
            known = [f"{table}.{name}" for table, entries in tables.items() for name in entries]
            hint = suggest(item, known, otherwise='write the table and the name, as in "parts.check"')
            faults.add("without-unknown", place / index, f'no entry "{item}" is inherited', hint=hint)
        else:
            del tables[table][name]
