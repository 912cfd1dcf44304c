"""What the pydantic shapes of the findings' files have in common, and what is said of a file that has none of them."""

from __future__ import annotations

from typing import Annotated, Any, TypeVar

from pydantic import BaseModel, ConfigDict, StringConstraints, ValidationError
from pydantic_core import ErrorDetails

from bandproof.text.errors import BandproofError

#: An exact number as text, "a" or "a/b", bounded so that no file can ask for unbounded work.
Exact = Annotated[str, StringConstraints(pattern=r"^-?[0-9]{1,1000}(/[1-9][0-9]{0,999})?$")]

#: How many faults of one file are told.
_TOLD = 20

_WANTED = {
    "string_type": "text is wanted here",
    "int_type": "a whole number is wanted here",
    "float_type": "a number is wanted here",
    "bool_type": "true or false is wanted here",
    "list_type": "a list is wanted here",
    "tuple_type": "a list is wanted here",
    "dict_type": "an object is wanted here",
    "model_type": "an object is wanted here",
    "model_attributes_type": "an object is wanted here",
    "dataclass_type": "an object is wanted here",
    "string_pattern_mismatch": 'an exact number as text is wanted here, "a" or "a/b"',
}


class BadRecordError(BandproofError, ValueError):
    """A file, or what was read from it, is not what it should be. The text says where and how, one fault a line."""


class Record(BaseModel):
    """Base of what is written down: nothing is converted or changed; keys of one's own do no harm."""

    model_config = ConfigDict(
        strict=True, frozen=True, extra="ignore", populate_by_name=True, ser_json_inf_nan="constants"
    )


S = TypeVar("S", bound=Record)


def read_text(shape: type[S], text: str, noun: str) -> S:
    """JSON text as a shape; BadRecordError, with every fault and its place, when it has another."""
    try:
        return shape.model_validate_json(text)
    except ValidationError as error:
        raise BadRecordError(faults_of(error, noun)) from None


def read_value(shape: type[S], value: object, noun: str) -> S:
    """What `json.loads` gave, as a shape; BadRecordError, with every fault and its place, when it has another."""
    try:
        return shape.model_validate(value)
    except ValidationError as error:
        raise BadRecordError(faults_of(error, noun)) from None


def faults_of(error: ValidationError, noun: str) -> str:
    """Every fault that pydantic found, each with its place, one a line; `noun` is what the file should be."""
    details = error.errors(include_url=False)
    lines = [
        f"{', '.join(filter(None, (noun, _place(detail['loc']))))}: {_fault(detail)}" for detail in details[:_TOLD]
    ]
    more = len(details) - _TOLD
    return "\n".join([*lines, *([f"{noun}: and {more} more"] if more > 0 else [])])


def _place(path: tuple[int | str, ...]) -> str:
    """A key path as people write it: `thresholds.tank`, `steps[2].events[0].to`."""
    text = ""
    for key in path:
        if isinstance(key, int):
            text += f"[{key}]"
        elif not key.startswith("<"):
            text += f".{key}" if text else key
    return text


def _fault(detail: ErrorDetails) -> str:
    kind, given = detail["type"], detail["input"]
    if kind == "missing":
        return "this key is missing"
    if kind == "json_invalid":
        return f"this is no JSON: {detail['msg'].partition(': ')[2] or detail['msg']}"
    if kind in ("literal_error", "enum"):
        return f"{shown(given)} is none of {detail.get('ctx', {}).get('expected', 'what may stand here')}"
    return f"{_WANTED.get(kind, detail['msg'])}, not {shown(given)}"


def shown(value: Any) -> str:
    """A value of a file for a message, cut short."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict | list):
        return "an object" if isinstance(value, dict) else "a list"
    if value is None:
        return "null"
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else f"{text[:57]}..."
