"""Stories read back from a story file.

Reading back checks the shape, names, states, band numbers and that every step's events are what changed; it does not
ask whether the machine allows the step. That is the replay's business. What pace counters remember is computed anew.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import Any

from bandproof.findings.shapes import BadRecordError, read_value
from bandproof.findings.story_file import (
    CrossedEvent,
    LeadShape,
    MovedEvent,
    OccurredEvent,
    StateShape,
    StepShape,
    StoryFile,
    TurnedEvent,
)
from bandproof.machine.layout import Layout
from bandproof.machine.semantics import remember
from bandproof.machine.story import Crossed, Event, Moved, Occurred, State, Step, StepKind, Story, Turned
from bandproof.model.arrangement import Arrangement
from bandproof.views.json_files import state_shape

_NOUN = "story file"


def read_story_file(document: object) -> StoryFile:
    """What `json.loads` gave, as a story file; BadRecordError, naming every key at fault, when it is none."""
    return document if isinstance(document, StoryFile) else read_value(StoryFile, document, _NOUN)


def layout_from_json(arrangement: Arrangement, document: object) -> Layout:
    """The grid a story file was written on; BadRecordError when it is none of this arrangement's."""
    given = read_story_file(document).thresholds
    names = [volume.name for volume in arrangement.volumes]
    _same_names(given, names, "thresholds", "volume")
    marks = {name: tuple(map(Fraction, given[name])) for name in names}
    for name, found in marks.items():
        if any(low >= high for low, high in pairwise((Fraction(0), *found, arrangement.highest))):
            message = f"story file: thresholds of {name} must rise from above 0 to below the highest pressure"
            raise BadRecordError(message)
    return Layout(arrangement, marks)


def story_from_json(layout: Layout, document: object) -> Story:
    """The story in a story file; BadRecordError, naming the place, when it does not fit `layout`."""
    file = read_story_file(document)
    if layout_from_json(layout.arrangement, file).thresholds != layout.thresholds:
        message = "story file: its thresholds are not those of this arrangement and claim; was the model changed since?"
        raise BadRecordError(message)
    return _story(layout, file, "")


def read_json(text: str) -> object:
    """What a story file's text holds; ValueError where it is no JSON, or where it says something twice."""

    def once(pairs: list[tuple[str, object]]) -> dict[str, object]:
        if len(pairs) != len(dict(pairs)):
            message = f"a key is given twice among {', '.join(key for key, _ in pairs)[:80]}"
            raise ValueError(message)
        return dict(pairs)

    return json.loads(text, object_pairs_hook=once)


def differing(document: object, written: object) -> str | None:
    """The first place in which a story file does not say what the one written anew says; None when it says the same.

    The name of the arrangement's file is left aside, and so are keys that a story file does not have (`further_keys`).
    """
    return _differing(_dumped(document), _dumped(written), "")


def _dumped(document: object) -> dict[str, Any]:
    dump = read_story_file(document).model_dump(mode="json", by_alias=True)
    del dump["arrangement"]["file"]
    return dump


def _differing(one: Any, other: Any, place: str) -> str | None:
    pairs: list[tuple[Any, Any, str]] = []
    if isinstance(one, dict) and isinstance(other, dict) and one.keys() == other.keys():
        pairs = [(one[key], other[key], f"{place}.{key}" if place else key) for key in one]
    elif isinstance(one, list) and isinstance(other, list) and len(one) == len(other):
        pairs = [(mine, theirs, f"{place}[{n}]") for n, (mine, theirs) in enumerate(zip(one, other, strict=True))]
    elif one != other:
        return place
    return next((found for pair in pairs if (found := _differing(*pair)) is not None), None)


def further_keys(document: object) -> list[str]:
    """The keys of a file's document that a story file does not have, and that nothing is therefore known of."""
    known = read_story_file(document).model_dump(mode="json", by_alias=True)
    return sorted(_further(document, known, ""))


def _further(one: Any, known: Any, place: str) -> Iterator[str]:
    if isinstance(one, dict) and isinstance(known, dict):
        for key, value in one.items():
            at = f"{place}.{key}" if place else str(key)
            yield from _further(value, known[key], at) if key in known else (at,)
    elif isinstance(one, list) and isinstance(known, list):
        for number, (mine, theirs) in enumerate(zip(one, known, strict=True)):
            yield from _further(mine, theirs, f"{place}[{number}]")


def _story(layout: Layout, sheet: StoryFile | LeadShape, within: str) -> Story:
    """The story on a sheet and the runs before it; `within` says before its places that they are in one of those."""
    lead = None if sheet.lead is None else _story(layout, sheet.lead, f"{within}lead, ")
    places = [f"{within}initial", *(f"{within}step {number}" for number in range(1, len(sheet.steps) + 1))]
    sheets: list[StateShape] = [sheet.initial, *sheet.steps]
    states = [_read_state(layout, one, place) for one, place in zip(sheets, places, strict=True)]
    steps = tuple(map(_read_step, sheet.steps))
    for place, step, (before, after) in zip(places[1:], steps, pairwise(states), strict=True):
        if _applied(layout, before, step.events) != after:
            message = f"story file, {place}: its events are not what changes from the state before"
            raise BadRecordError(message)
    reals = [_read_pressures(layout, one, place) for one, place in zip(sheets, places, strict=True)]
    if any(reals) and not all(reals):
        message = "story file: pressures must be given for every state or for none"
        raise BadRecordError(message)
    loop = sheet.loop if isinstance(sheet, StoryFile) else None
    if loop is not None and not 0 <= loop < len(states):
        message = f'story file: "loop" must be the number of a state, from 0 to {len(steps)}, not {loop}'
        raise BadRecordError(message)
    seconds = tuple(sheet.seconds or ()) if isinstance(sheet, StoryFile) else ()
    if len(seconds) not in (0, len(states)) or list(seconds) != sorted(seconds):
        message = 'story file: "seconds" must be one for each state, and must not go back'
        raise BadRecordError(message)
    reals = reals if any(reals) else []
    story = Story(sheet.start, _remembered(layout, states), steps, tuple(reals), lead, loop, seconds)
    _says_what_it_is(layout, story, sheets, places)
    return story


def _remembered(layout: Layout, states: list[State]) -> tuple[State, ...]:
    """The states, with what their pace counters remember."""
    found = [replace(states[0], counts=layout.no_counts())]
    for state in states[1:]:
        found.append(remember(layout, found[-1], state))
    return tuple(found)


def _says_what_it_is(layout: Layout, story: Story, sheets: list[StateShape], places: list[str]) -> None:
    """BadRecordError where what people read is not what the exact numbers beside it say."""
    for number, (sheet, place) in enumerate(zip(sheets, places, strict=True)):
        for key, value in state_shape(layout, story, number):
            if getattr(sheet, key) != value:
                message = f'story file, {place}: "{key}" does not say what the exact numbers beside it say'
                raise BadRecordError(message)


def _read_state(layout: Layout, sheet: StateShape, place: str) -> State:
    arrangement = layout.arrangement
    bands = sheet.band_numbers
    _same_names(bands, [volume.name for volume in arrangement.volumes], place, "volume")
    for name, band in bands.items():
        if not 0 <= band <= len(layout.thresholds[name]):
            message = f"story file, {place}: {name} has no band {band!r}"
            raise BadRecordError(message)
    parts = _chosen(sheet.parts, place, "part", {part.name: part.states for part in arrangement.parts})
    controls = _chosen(sheet.controls, place, "control", {c.name: c.positions for c in arrangement.controls})
    known = {mishap.name for mishap in arrangement.mishaps}
    for mishap in sheet.mishaps:
        if mishap not in known:
            message = f"story file, {place}: there is no mishap {mishap!r}"
            raise BadRecordError(message)
    return State(tuple(bands[volume.name] for volume in arrangement.volumes), parts, controls, frozenset(sheet.mishaps))


def _chosen(given: Mapping[str, str], place: str, noun: str, choices: Mapping[str, tuple[str, ...]]) -> tuple[str, ...]:
    _same_names(given, choices, place, noun)
    for name, allowed in choices.items():
        if given[name] not in allowed:
            message = f"story file, {place}: {name} cannot be {given[name]!r}; it is one of {', '.join(allowed)}"
            raise BadRecordError(message)
    return tuple(given[name] for name in choices)


def _read_step(sheet: StepShape) -> Step:
    return Step(StepKind(sheet.kind), tuple(map(_read_event, sheet.events)))


def _read_event(event: TurnedEvent | MovedEvent | OccurredEvent | CrossedEvent) -> Event:
    match event:
        case TurnedEvent():
            return Turned(event.control, event.from_, event.to)
        case MovedEvent():
            return Moved(event.part, event.from_, event.to)
        case OccurredEvent():
            return Occurred(event.mishap)
        case CrossedEvent():
            return Crossed(event.volume, Fraction(event.pascals), event.upward)


def _read_pressures(layout: Layout, sheet: StateShape, place: str) -> tuple[Fraction, ...]:
    given = sheet.pascals
    if not given:
        return ()
    names = [volume.name for volume in layout.arrangement.volumes]
    _same_names(given, names, place, "volume")
    found = tuple(Fraction(given[name]) for name in names)
    for name, value in zip(names, found, strict=True):
        band = sheet.band_numbers[name]
        # Closed: what has come to the end of its band stands there before it is across.
        if not layout.low(name, band) <= value <= layout.high(name, band):
            message = f"story file, {place}: the pressure of {name} lies outside its band"
            raise BadRecordError(message)
    return found


def _applied(layout: Layout, state: State, events: tuple[Event, ...]) -> State | None:
    """The state that `events` lead to; None when one of them does not fit `state`."""
    arrangement = layout.arrangement
    bands = dict(zip((volume.name for volume in arrangement.volumes), state.bands, strict=True))
    parts = dict(zip((part.name for part in arrangement.parts), state.parts, strict=True))
    controls = dict(zip((control.name for control in arrangement.controls), state.controls, strict=True))
    mishaps = set(state.mishaps)
    for event in events:
        match event:
            case Turned(name, source, target) if controls.get(name) == source:
                controls[name] = target
            case Moved(name, source, target) if parts.get(name) == source:
                parts[name] = target
            case Occurred(name) if name not in mishaps:
                mishaps.add(name)
            case Crossed(name, threshold, upward) if name in bands and threshold in layout.thresholds[name]:
                below = layout.thresholds[name].index(threshold)
                if bands[name] != (below if upward else below + 1):
                    return None
                bands[name] += 1 if upward else -1
            case _:
                return None
    return State(tuple(bands.values()), tuple(parts.values()), tuple(controls.values()), frozenset(mishaps))


def _same_names(given: Iterable[str], wanted: Iterable[str], place: str, noun: str) -> None:
    known, found = list(wanted), list(given)
    for name in found:
        if name not in known:
            message = f"story file, {place}: this arrangement has no {noun} {name!r}"
            raise BadRecordError(message)
    for name in known:
        if name not in found:
            message = f"story file, {place}: {noun} {name!r} is missing"
            raise BadRecordError(message)
