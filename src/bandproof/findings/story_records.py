"""Stories as pydantic models: the whole value, without the words for people that a story file has beside it."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal

from bandproof.findings.shapes import BadRecordError, Exact, Record
from bandproof.findings.story_file import MovedEvent, OccurredEvent, TurnedEvent
from bandproof.machine.layout import Layout
from bandproof.machine.story import Count, Crossed, Event, Moved, Occurred, State, Step, StepKind, Story, Turned


class CrossedRecord(Record):
    """`Crossed`, in pascals gauge."""

    volume: str
    pascals: Exact
    upward: bool


EventRecord = TurnedEvent | MovedEvent | OccurredEvent | CrossedRecord


class StateRecord(Record):
    """`State`."""

    bands: tuple[int, ...]
    parts: tuple[str, ...]
    controls: tuple[str, ...]
    mishaps: list[str]
    counts: tuple[Count, ...]
    crossed: list[list[int]]


class StepRecord(Record):
    """`Step`."""

    kind: Literal["react", "flow", "act"]
    events: list[EventRecord]


class StoryRecord(Record):
    """`Story`; pressures in pascals gauge, and seconds, where it has them."""

    lead: StoryRecord | None
    start: str
    states: list[StateRecord]
    steps: list[StepRecord]
    pressures: list[list[Exact]]
    seconds: list[float]


def story_record(story: Story) -> StoryRecord:
    """A story, to be written down."""
    return StoryRecord(
        lead=None if story.lead is None else story_record(story.lead),
        start=story.start,
        states=[
            StateRecord(
                bands=state.bands,
                parts=state.parts,
                controls=state.controls,
                mishaps=sorted(state.mishaps),
                counts=state.counts,
                crossed=[sorted(ranks) for ranks in state.crossed],
            )
            for state in story.states
        ],
        steps=[StepRecord(kind=step.kind.value, events=list(map(_event_record, step.events))) for step in story.steps],
        pressures=[[str(value) for value in values] for values in story.pressures],
        seconds=list(story.seconds),
    )


def story_of(layout: Layout, record: StoryRecord) -> Story:
    """The story that was written down; BadRecordError when it cannot be one on `layout`."""
    states = tuple(
        State(
            state.bands,
            state.parts,
            state.controls,
            frozenset(state.mishaps),
            state.counts,
            tuple(map(frozenset, state.crossed)),
        )
        for state in record.states
    )
    steps = tuple(Step(StepKind(step.kind), tuple(map(_event_of, step.events))) for step in record.steps)
    pressures = tuple(tuple(map(Fraction, values)) for values in record.pressures)
    if len(states) != len(steps) + 1 or {len(pressures), len(record.seconds)} - {0, len(states)}:
        message = "finding, story: its states, steps and pressures or seconds do not fit one another"
        raise BadRecordError(message)
    for number, state in enumerate(states):
        if not _fits(layout, state) or (pressures and len(pressures[number]) != len(state.bands)):
            message = f"finding, story.states[{number}]: this is no state of the arrangement"
            raise BadRecordError(message)
    lead = None if record.lead is None else story_of(layout, record.lead)
    return Story(record.start, states, steps, pressures, lead, seconds=tuple(record.seconds))


def _fits(layout: Layout, state: State) -> bool:
    """The arrangement has such a state."""
    arrangement = layout.arrangement
    tops = [len(layout.thresholds[volume.name]) for volume in arrangement.volumes]
    places = [part.states for part in arrangement.parts] + [control.positions for control in arrangement.controls]
    standing = (*state.parts, *state.controls)
    return (
        len(state.bands) == len(tops)
        and all(0 <= band <= top for band, top in zip(state.bands, tops, strict=True))
        and (len(state.parts), len(state.controls)) == (len(arrangement.parts), len(arrangement.controls))
        and all(at in known for at, known in zip(standing, places, strict=True))
        and state.mishaps <= {mishap.name for mishap in arrangement.mishaps}
        and len(state.counts) == len(layout.timing_constraints)
    )


def _event_record(event: Event) -> EventRecord:
    match event:
        case Turned(control, source, target):
            return TurnedEvent(control=control, from_=source, to=target)
        case Moved(part, source, target):
            return MovedEvent(part=part, from_=source, to=target)
        case Occurred(mishap):
            return OccurredEvent(mishap=mishap)
        case Crossed(volume, threshold, upward):
            return CrossedRecord(volume=volume, pascals=str(threshold), upward=upward)


def _event_of(record: EventRecord) -> Event:
    match record:
        case TurnedEvent():
            return Turned(record.control, record.from_, record.to)
        case MovedEvent():
            return Moved(record.part, record.from_, record.to)
        case OccurredEvent():
            return Occurred(record.mishap)
        case CrossedRecord():
            return Crossed(record.volume, Fraction(record.pascals), record.upward)
