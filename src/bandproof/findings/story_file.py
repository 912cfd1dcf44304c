"""The shape of a story file, format "bandproof-story/1", and its JSON Schema.

What people read stands beside the exact values that programs read: `bands` beside `band_numbers`, `pressures` beside
`pascals`, `crosses` beside `pascals` of an event. What pace counters remember follows from the start and the steps, so
it is not written down.

Limits: whether names, states and numbers fit an arrangement is asked by who reads a file for one
(`bandproof.views.story_files`).
"""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal

from pydantic import Discriminator, Field, Tag

from bandproof.findings.shapes import Exact, Record
from bandproof.findings.witness_records import WitnessRecord

STORY_FORMAT: Final = "bandproof-story/1"


class Identity(Record):
    """The arrangement a file is about; `sha256` is that of the model text."""

    name: str
    file: str
    sha256: str


class TurnedEvent(Record):
    """The driver sets a control."""

    control: str
    from_: str = Field(alias="from")
    to: str


class MovedEvent(Record):
    """A part changes its state."""

    part: str
    from_: str = Field(alias="from")
    to: str


class OccurredEvent(Record):
    """A mishap occurs."""

    mishap: str


class CrossedEvent(Record):
    """A volume crosses a threshold; `pascals` is the exact gauge pressure of `crosses`."""

    volume: str
    crosses: str
    pascals: Exact
    upward: bool


def _sort(value: Any) -> str:
    """Which event a value is; the tags look like no key, so that they can be told from keys."""
    keys = value if isinstance(value, dict) else vars(value) if isinstance(value, Record) else ()
    return next((f"<{key}>" for key in ("control", "part", "mishap") if key in keys), "<volume>")


EventShape = Annotated[
    Annotated[TurnedEvent, Tag("<control>")]
    | Annotated[MovedEvent, Tag("<part>")]
    | Annotated[OccurredEvent, Tag("<mishap>")]
    | Annotated[CrossedEvent, Tag("<volume>")],
    Discriminator(_sort),
]


class StateShape(Record):
    """One state; pressures are {} unless the story was made real."""

    bands: dict[str, str]
    band_numbers: dict[str, int]
    pressures: dict[str, str]
    pascals: dict[str, Exact]
    parts: dict[str, str]
    controls: dict[str, str]
    mishaps: list[str]


class _StepHead(Record):
    """What a step has before the state after it."""

    kind: Literal["react", "flow", "act"]
    events: list[EventShape]


class StepShape(StateShape, _StepHead):
    """One step, and the state after it."""


class LeadShape(Record):
    """The run from the start called `start` that came to the first state of what follows; `lead`: the run before it."""

    start: str
    driver: Literal["after settling"] | None = None
    lead: LeadShape | None = None
    initial: StateShape
    steps: list[StepShape]


class StoryFile(Record):
    """A whole story file; `lead` is there where the story's start has to be reached from another.

    `loop` is there where the run goes on for ever: all that follows the state of that number (the initial one is 0) comes
    again and again, and the last state is that state. `driver` is there where the story is told of a driver who lets the air
    settle before each act, though the claim is of any.
    """

    format: Literal["bandproof-story/1"]
    arrangement: Identity
    property: str
    says: str = ""
    ending: str = ""
    unit: str
    thresholds: dict[str, list[Exact]]
    start: str
    driver: Literal["after settling"] | None = None
    lead: LeadShape | None = None
    initial: StateShape
    steps: list[StepShape]
    loop: int | None = None
    seconds: list[float] | None = None
    witness: WitnessRecord | None = None


def story_schema() -> dict[str, Any]:
    """The JSON Schema of a story file, for editors."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **StoryFile.model_json_schema()}
