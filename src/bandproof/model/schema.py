"""Pydantic shapes of the TOML files, and the one seam to pydantic.

A shape says which keys a table has and of what type; whether the names in it exist and the pressures make sense is
found out later. `read_shape` turns pydantic's errors into diagnostics at the key that is at fault.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from functools import cache
from typing import Annotated, Any, Literal, TypeVar, get_args

from pydantic import (
    BaseModel,
    ConfigDict,
    Discriminator,
    Field,
    PlainSerializer,
    PlainValidator,
    Tag,
    TypeAdapter,
    ValidationError,
    WithJsonSchema,
)
from pydantic_core import ErrorDetails, PydanticCustomError

from bandproof.terms.names import suggest
from bandproof.text.input_faults import Faults, Place
from bandproof.text.spans import Path

#: The version of the file format that this package reads.
FORMAT = "bandproof/1"


class TableShape(BaseModel):
    """Base of all shapes: only declared keys, no conversions, never changed."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


def _tag(value: Any) -> str | None:
    """Which branch of a union a value belongs to; the tags look like no key, so that they can be told from keys."""
    if isinstance(value, str):
        return "<text>"
    if isinstance(value, dict | BaseModel):
        return "<table>"
    return "<list>" if isinstance(value, list) else None


def _number(value: Any) -> str:
    """A number as text, whether it was written as text or as a TOML number."""
    if isinstance(value, str):
        return value
    if isinstance(value, int | Decimal) and not isinstance(value, bool):
        return f"{value:f}" if isinstance(value, Decimal) and abs(value.adjusted()) < 30 else str(value)
    code, message = "number_type", "a number or text"
    raise PydanticCustomError(code, message)


NumberText = Annotated[
    str,
    PlainValidator(_number),
    PlainSerializer(str),
    WithJsonSchema({"anyOf": [{"type": "string"}, {"type": "number"}]}),
]
_Text = Annotated[str, Tag("<text>")]
TextOrList = Annotated[_Text | Annotated[list[str], Tag("<list>")], Discriminator(_tag)]


class VolumeShape(TableShape):
    """`[volumes.X]`."""

    is_: Literal["tank", "chamber", "line"] = Field(alias="is")
    volume: str | None = None
    says: str = ""


class ControlShape(TableShape):
    """`[controls.X]`."""

    positions: list[str]
    says: str = ""


class MishapShape(TableShape):
    """`[mishaps.X]`."""

    says: str = ""


class SettingShape(TableShape):
    """`[settings.X]` written as a table."""

    value: str
    says: str = ""
    basis: str = ""
    shared: bool = False


class SizeShape(TableShape):
    """`[sizes.X]`, or a size written at a part."""

    C: NumberText
    b: NumberText
    says: str = ""
    basis: str = ""


SettingEntry = Annotated[_Text | Annotated[SettingShape, Tag("<table>")], Discriminator(_tag)]
SizeUse = Annotated[_Text | Annotated[SizeShape, Tag("<table>")], Discriminator(_tag)]


class PartShape(TableShape):
    """`[parts.X]`."""

    kind: str
    ports: dict[str, str] = {}
    settings: dict[str, str] = {}
    sizes: dict[str, SizeUse] = {}
    controls: dict[str, str] = {}
    links: dict[str, str] = {}
    mishaps: dict[str, TextOrList] = {}
    starts_in: str | None = None
    reaction: str | None = None
    says: str = ""


class PassageShape(TableShape):
    """One entry of a kind's `passages`."""

    between: list[str] | None = None
    from_: str | None = Field(None, alias="from")
    to: str | None = None
    open_in: list[str] | None = None
    size: str | None = None


class MoveShape(TableShape):
    """One entry of a kind's `moves`."""

    from_: TextOrList = Field(alias="from")
    to: str
    when: str


class KindShape(TableShape):
    """`[kinds.X]`."""

    says: str = ""
    ports: list[str]
    states: list[str]
    settings: list[str] = []
    sizes: list[str] = []
    controls: list[str] = []
    links: list[str] = []
    mishaps: list[str] = []
    passages: list[PassageShape] = []
    moves: list[MoveShape] = []
    reaction: str = "fast"


class StartShape(TableShape):
    """`[starts.X]`."""

    says: str = ""
    pressures: dict[str, str] = {}
    parts: dict[str, TextOrList] = {}
    controls: dict[str, TextOrList] = {}
    where: str | None = None
    from_: str | None = Field(None, alias="from")
    assumed: bool = False
    settled: bool | None = None


class ArrangementShape(TableShape):
    """`[arrangement]`. What is required is asked for after merging, because a file that extends another may omit it."""

    name: str | None = None
    says: str | None = None
    unit: Literal["psi", "kPa", "bar", "MPa"] | None = None
    highest: str | None = None
    atmosphere: str | None = None
    start: str | None = None
    caution: str | None = None
    leaves_out: str | None = None


class FileShape(TableShape):
    """A whole arrangement file."""

    format: Literal["bandproof/1"]
    extends: str | None = None
    without: list[str] = []
    arrangement: ArrangementShape = ArrangementShape()
    bands: dict[str, str] = {}
    settings: dict[str, SettingEntry] = {}
    sizes: dict[str, SizeShape] = {}
    volumes: dict[str, VolumeShape] = {}
    controls: dict[str, ControlShape] = {}
    mishaps: dict[str, MishapShape] = {}
    parts: dict[str, PartShape] = {}
    roles: dict[str, TextOrList] = {}
    starts: dict[str, StartShape] = {}
    kinds: dict[str, KindShape] = {}


class CatalogueShape(TableShape):
    """A file of the catalogue: kinds only."""

    format: Literal["bandproof/1"]
    kinds: dict[str, KindShape] = {}


def arrangement_schema() -> dict[str, Any]:
    """The JSON Schema of an arrangement file, for editors."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **FileShape.model_json_schema()}


T = TypeVar("T")

#: The tables of an arrangement file whose entries have names, in the order in which they are read.
TABLES = ("bands", "settings", "sizes", "volumes", "controls", "mishaps", "parts", "roles", "starts", "kinds")


@cache
def entry_shape(table: str) -> Any:
    """The annotation of one entry of a table of an arrangement file."""
    return get_args(FileShape.model_fields[table].annotation)[1]


@cache
def _adapter(shape: Any) -> TypeAdapter[Any]:
    return TypeAdapter(shape)


def read_shape(shape: type[T], value: Any, place: Place, faults: Faults) -> T | None:
    """`value` as `shape`, or None after adding every way in which it is not."""
    try:
        adapter: TypeAdapter[T] = _adapter(shape)  # type: ignore[arg-type]  # every type is hashable
        return adapter.validate_python(value, strict=True)
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            _add(shape, detail, place, faults)
        return None


def keys_of(shape: type[BaseModel]) -> list[str]:
    """The keys a table of this shape may have."""
    return [field.alias or name for name, field in shape.model_fields.items()]


_KINDS = {
    "string_type": "text in quotes",
    "literal_error": "text in quotes",
    "bool_type": "true or false",
    "int_type": "a whole number",
    "list_type": "a list",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "union_tag_not_found": "text in quotes",
    "union_tag_invalid": "text in quotes",
    "number_type": "a number",
}


def _add(shape: Any, detail: ErrorDetails, place: Place, faults: Faults) -> None:
    path: Path = tuple(step for step in detail["loc"] if not (isinstance(step, str) and step.startswith("<")))
    if detail["type"] == "missing":
        inner = place / path[:-1]
        message = f'{place_name(inner.path)} has no "{path[-1]}"'
        faults.add("missing-key", inner, message, hint=f"add {path[-1]} = …", key=True)
    elif detail["type"] == "extra_forbidden":
        known = keys_of(_shape_at(shape, path[:-1]))
        name = str(path[-1])
        message = f'{place_name((place / path[:-1]).path)} has no key "{name}"'
        hint = suggest(name, known, among="its keys are")
        faults.add("unknown-key", place / path, message, hint=hint, key=True)
    elif detail["type"] == "literal_error" and isinstance(detail["input"], str):
        choices = str(detail.get("ctx", {}).get("expected", "")).replace("'", '"')
        message = f'"{path[-1]}" cannot be {toml_text(detail["input"])}'
        faults.add("unknown-choice", place / path, message, hint=f"use {choices}")
    else:
        wanted = _KINDS.get(detail["type"], detail["msg"])
        message = f'"{path[-1] if path else place.path[-1]}" should be {wanted}, not {toml_text(detail["input"])}'
        faults.add("wrong-type", place / path, message, hint=_as_wanted(wanted, detail["input"]))


def _as_wanted(wanted: str, value: Any) -> str:
    """The edit that turns a value of the wrong type into one that is wanted."""
    if wanted == "text in quotes" and isinstance(value, int | Decimal) and not isinstance(value, bool):
        return f'write "{toml_text(value)}" in quotes, with its unit if it has one'
    return f"write {wanted}"


def _shape_at(shape: Any, path: Path) -> type[BaseModel]:
    """The shape of the table at `path`, found by following annotations as far as they name shapes."""
    current: type[BaseModel] = next(_shapes(shape))
    for step in path:
        for name, field in current.model_fields.items():
            if (field.alias or name) == step:
                current = next(_shapes(field.annotation), current)
                break
    return current


def _shapes(annotation: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in get_args(annotation):
        yield from _shapes(inner)


def place_name(path: Path) -> str:
    """A table as people call it: `parts.wet_check`, or `the file`."""
    return ".".join(str(step + 1) if isinstance(step, int) else step for step in path) if path else "the file"


def toml_text(value: Any) -> str:
    """A value for a message, cut short."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
