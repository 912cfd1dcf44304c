"""The hash of what a value says: the same for equal values in every process, another for any change."""

from __future__ import annotations

import hashlib
import json
from dataclasses import fields, is_dataclass, replace
from enum import Enum
from fractions import Fraction

from bandproof.model.arrangement import Arrangement


def content_hash(value: object) -> str:
    """SHA-256, as hexadecimal digits, of frozen values nested in any way; TypeError for anything else in them.

    What two values are not compared by leaves no trace.
    """
    text = json.dumps(_plain(value), sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def arrangement_hash(arrangement: Arrangement) -> str:
    """The hash of all that an arrangement is, its kinds worked out; which file it comes from leaves no trace."""
    return content_hash(replace(arrangement, file="", sha256=""))


def _plain(value: object) -> object:
    """A value as JSON that no other value is written as."""
    match value:
        case float() if value.is_integer():
            return int(value)  # 300.0 and 300 are equal, and so are their hashes
        case None | bool() | int() | float():
            return value
        case Enum():
            return {type(value).__name__: value.name}
        case str():
            return value
        case Fraction():
            return {"Fraction": str(value)}
        case tuple() | list():
            return [_plain(item) for item in value]
        case dict():
            return {"dict": sorted(([_plain(key), _plain(item)] for key, item in value.items()), key=json.dumps)}
        case frozenset():
            return {"frozenset": sorted((_plain(item) for item in value), key=json.dumps)}
        case _ if is_dataclass(value):
            return {type(value).__name__: {f.name: _plain(getattr(value, f.name)) for f in fields(value) if f.compare}}
        case _:
            message = f"{type(value).__name__} has no content hash"
            raise TypeError(message)
