"""The JSON Schemas for editors accept every good file of the project and refuse files with unknown keys."""

from __future__ import annotations

import copy
import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from bandproof.model.schema import arrangement_schema
from bandproof.properties.schema import pack_schema
from tests.unit.loader_texts import GOOD as ARRANGEMENT
from tests.unit.pack_texts import GOOD as PACK

ROOT = Path(__file__).parents[2]
MODELS = sorted(path.relative_to(ROOT).as_posix() for path in (ROOT / "models").rglob("*.toml"))
PACKS = sorted(path.relative_to(ROOT).as_posix() for path in (ROOT / "properties").glob("*.toml"))
TYPES: dict[str, type | tuple[type, ...]] = {
    "string": str,
    "object": dict,
    "array": list,
    "integer": int,
    "number": (int, float),
    "boolean": bool,
    "null": type(None),
}


def problems(value: Any, schema: dict[str, Any], root: dict[str, Any], path: str = "") -> Iterator[str]:
    """Why `value` does not fit `schema`: as much of JSON Schema 2020-12 as these schemas use, and no more."""
    unknown = set(schema) - {
        *("$schema", "$defs", "$ref", "title", "description", "default"),
        *("type", "properties", "required", "additionalProperties", "items", "enum", "const", "anyOf", "oneOf"),
    }
    assert unknown == set(), f"the checker does not know {unknown}"
    if "$ref" in schema:
        yield from problems(value, root["$defs"][schema["$ref"].removeprefix("#/$defs/")], root, path)
    if "const" in schema and value != schema["const"]:
        yield f"{path}: not {schema['const']}"
    if "enum" in schema and value not in schema["enum"]:
        yield f"{path}: not one of {schema['enum']}"
    if "type" in schema:
        fits = isinstance(value, TYPES[schema["type"]]) and not (
            schema["type"] != "boolean" and isinstance(value, bool)
        )
        if not fits:
            yield f"{path}: no {schema['type']}"
            return
    for word, wanted in (("anyOf", range(1, 99)), ("oneOf", range(1, 2))):
        if word in schema and sum(not list(problems(value, one, root, path)) for one in schema[word]) not in wanted:
            yield f"{path}: fits {word} wrongly"
    if isinstance(value, dict):
        known = schema.get("properties", {})
        yield from (f"{path}: lacks {key}" for key in schema.get("required", []) if key not in value)
        more = schema.get("additionalProperties", True)
        for key, item in value.items():
            inner = f"{path}.{key}"
            if key in known:
                yield from problems(item, known[key], root, inner)
            elif more is False:
                yield f"{inner}: unknown"
            elif isinstance(more, dict):
                yield from problems(item, more, root, inner)
    if isinstance(value, list) and "items" in schema:
        for index, item in enumerate(value):
            yield from problems(item, schema["items"], root, f"{path}[{index}]")


def arrangement_problems(text: str) -> list[str]:
    return list(problems(tomllib.loads(text), arrangement_schema(), arrangement_schema()))


def pack_problems(text: str) -> list[str]:
    return list(problems(tomllib.loads(text), pack_schema(), pack_schema()))


@pytest.mark.parametrize("file", MODELS)
def test_every_model_of_the_project_fits(file: str) -> None:
    assert arrangement_problems((ROOT / file).read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("file", PACKS)
def test_every_pack_of_the_project_fits(file: str) -> None:
    assert pack_problems((ROOT / file).read_text(encoding="utf-8")) == []


def test_files_that_use_every_part_of_the_format_fit() -> None:
    assert arrangement_problems(ARRANGEMENT) == []
    assert pack_problems(PACK) == []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('unit = "bar"', 'unit = "atm"'),
        ("caution =", "cation ="),
        ('shuts = "2..3 bar"', "shuts = 2"),
        ('kind = "rod"\n', ""),
        ("{ is =", "{ iss ="),
        ("starts_in =", "start_in ="),
        ('lever = "knob"', 'lever = ["knob", 1]'),
        ('format = "bandproof/1"\n', ""),
    ],
)
def test_a_key_or_type_that_is_refused_on_reading_does_not_fit(old: str, new: str) -> None:
    assert arrangement_problems(ARRANGEMENT.replace(old, new)) != []


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('basis = "common practice, no source"', ""),
        ("settled.then", "settled.than"),
        ("faults = 0", 'faults = "0"'),
        ('driver = "hands off"', 'driver = "asleep"'),
    ],
)
def test_a_pack_that_is_refused_on_reading_does_not_fit(old: str, new: str) -> None:
    assert pack_problems(PACK.replace(old, new)) != []


@pytest.mark.parametrize("schema", [arrangement_schema(), pack_schema()], ids=["arrangement", "pack"])
def test_a_schema_is_plain_json_with_sentences_for_the_reader(schema: dict[str, Any]) -> None:
    again = json.loads(json.dumps(schema))
    assert again == copy.deepcopy(schema)
    assert not re.search(r"_\b|Shape is", "".join(again.get("description", "")))
    assert all("description" in one for one in again["$defs"].values())
