"""Pydantic shapes of rule packs. They share the seam to pydantic in `bandproof.model.schema`."""

# ruff: noqa: RUF012 - a shape copies its defaults, so they are not shared

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field

from bandproof.model.schema import TableShape, TextOrList


class ExpectedShape(TableShape):
    """`[pack.expected."MODEL"]`: the properties that come out otherwise than proven there."""

    refuted: list[str] = []
    empty: list[str] = []
    not_applicable: list[str] = []
    undecided: list[str] = []


class PackShape(TableShape):
    """`[pack]`."""

    name: str
    says: str = ""
    models: list[str] = []
    expected: dict[str, ExpectedShape] = {}


class WhenThenShape(TableShape):
    """`settled.when` and `settled.then`, and likewise for other shapes."""

    when: str
    then: str


class WithinShape(TableShape):
    """`within.when`, `within.then` and `within.time`."""

    when: str
    then: str
    time: str


class HoldsShape(TableShape):
    """`holds.once`, `holds.stays` and `holds.until`."""

    once: str
    stays: str
    until: str | None = None


class PropertyShape(TableShape):
    """One `[[property]]`."""

    id: str
    says: str
    basis: str
    caution: str = ""
    belief: bool = False
    during: str | None = None
    driver: Literal["any time", "after settling", "hands off"] = "any time"
    mishaps: TextOrList = "any"
    faults: int = 0
    fillings: int | None = Field(None, json_schema_extra={"minimum": 1})
    never: str | None = None
    always: str | None = None
    settled: WhenThenShape | None = None
    at_rest: WhenThenShape | None = None
    holds: HoldsShape | None = None
    reachable: str | None = None
    ends_in: WhenThenShape | None = None
    within: WithinShape | None = None
    recoverable: str | None = None


class PackFileShape(TableShape):
    """A whole rule pack."""

    format: Literal["bandproof/1"]
    pack: PackShape
    property: list[PropertyShape]


class ScriptShape(TableShape):
    """`[script]`."""

    name: str
    basis: str
    ends: str
    says: str = ""
    caution: str = ""
    start: str | None = None
    models: list[str] = []


class StepShape(TableShape):
    """One `[[step]]` of a script."""

    says: str = ""
    at: str | None = None
    after: str | None = None
    once: Literal["settled"] | None = None
    turn: dict[str, TextOrList] | None = None
    times: int = Field(1, json_schema_extra={"minimum": 1})
    every: str | None = None
    happens: TextOrList | None = None
    expect: str | None = None
    within: str | None = None
    holds_for: str | None = None


class ScriptFileShape(TableShape):
    """A whole script."""

    format: Literal["bandproof/1"]
    script: ScriptShape
    step: list[StepShape]


def script_schema() -> dict[str, Any]:
    """The JSON Schema of a script, for editors."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **ScriptFileShape.model_json_schema()}


def pack_schema() -> dict[str, Any]:
    """The JSON Schema of a rule pack, for editors."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **PackFileShape.model_json_schema()}
