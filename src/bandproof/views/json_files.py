"""Stories and verdicts as JSON-able values, and stories back from JSON.

A story file, format "bandproof-story/1":

    {"format": "bandproof-story/1",
     "arrangement": {"name", "file", "sha256"},          # sha256 is that of the model text the story was found on
     "property": id, "says": sentence, "ending": sentence,
     "unit": "psi",                                       # of every readable pressure in the file
     "thresholds": {volume: [pascals, ...]},               # the grid; exact, as "a" or "a/b"
     "start": name of the start,
     "initial": state,
     "steps": [{"kind": "act" | "react" | "flow",
                "events": [event, ...],
                ... state after the step ...}]}

    state = {"bands": {volume: "34..42 psi"},             # for people; "band_numbers" is what is read back
             "band_numbers": {volume: 2},
             "parts": {part: state}, "controls": {control: position}, "mishaps": [mishap, ...],
             "pressures": {volume: "36.5 psi"},           # {} unless the story was made real
             "pascals": {volume: "251658"}}               # the same, exact
    event = {"control", "from", "to"} | {"part", "from", "to"} | {"mishap"}
          | {"volume", "crosses": "34 psi", "pascals": "a/b", "upward": true | false}

What pace counters remember follows from the start and the steps, so it is not written down but computed anew.
Reading back checks names, states, band numbers and that every step's events are what changed; it does not ask whether
the machine allows the step. That is the replay's business.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import Any

from bandproof.findings.finding import Finding
from bandproof.machine.layout import Layout
from bandproof.machine.semantics import remember
from bandproof.machine.story import Crossed, Event, Moved, Occurred, State, Step, StepKind, Story, Turned
from bandproof.model.arrangement import Arrangement
from bandproof.physics.line_air import neglected
from bandproof.text.units import show_pressure
from bandproof.views.phrases import pressure_number, real_pressure

STORY_FORMAT = "bandproof-story/1"
PROVE_FORMAT = "bandproof/1"

#: What `json.loads` gives for an object.
Document = dict[str, Any]


def story_json(layout: Layout, story: Story, *, claim: str = "", says: str = "", ending: str = "") -> Document:
    """A story as a document of the shape above; `claim` is the property's id and `says` its sentence."""
    arrangement = layout.arrangement
    return {
        "format": STORY_FORMAT,
        "arrangement": _identity(arrangement),
        "property": claim,
        "says": says,
        "ending": ending,
        "unit": arrangement.unit,
        "thresholds": {volume: [str(mark) for mark in marks] for volume, marks in layout.thresholds.items()},
        "start": story.start,
        "initial": _state(layout, story, 0),
        "steps": [
            {
                "kind": str(step.kind),
                "events": [_event(event, arrangement.unit) for event in step.events],
                **_state(layout, story, number),
            }
            for number, step in enumerate(story.steps, start=1)
        ],
    }


def prove_json(
    arrangement: Arrangement,
    findings: Iterable[Finding],
    *,
    certificates: Mapping[str, str] | None = None,
    counterexamples: Mapping[str, str] | None = None,
) -> Document:
    """The document of `prove --json`; the two mappings give the files written for each property id."""
    files, stories = certificates or {}, counterexamples or {}
    return {
        "format": PROVE_FORMAT,
        "arrangement": _identity(arrangement),
        "neglected": neglected(arrangement).sentence(),
        "results": [
            {
                "property": finding.property,
                "says": finding.says,
                "basis": finding.basis,
                "caution": finding.caution,
                "verdict": str(finding.verdict),
                "reason": finding.reason,
                "steps": finding.steps,
                "seconds": round(finding.seconds, 3),
                "engine": finding.engine,
                "certificate": files.get(finding.property),
                "counterexample": stories.get(finding.property),
            }
            for finding in findings
        ],
    }


def _identity(arrangement: Arrangement) -> Document:
    return {"name": arrangement.name, "file": arrangement.file, "sha256": arrangement.sha256}


def _state(layout: Layout, story: Story, number: int) -> Document:
    arrangement, state = layout.arrangement, story.states[number]
    names = [volume.name for volume in arrangement.volumes]
    bands = dict(zip(names, state.bands, strict=True))
    real = dict(zip(names, story.pressures[number], strict=True)) if story.pressures else {}
    return {
        "bands": {name: _range(layout, name, band) for name, band in bands.items()},
        "band_numbers": bands,
        "pressures": {name: real_pressure(layout, name, bands[name], value) for name, value in real.items()},
        "pascals": {name: str(value) for name, value in real.items()},
        "parts": dict(zip((part.name for part in arrangement.parts), state.parts, strict=True)),
        "controls": dict(zip((control.name for control in arrangement.controls), state.controls, strict=True)),
        "mishaps": sorted(state.mishaps),
    }


def _range(layout: Layout, volume: str, band: int) -> str:
    unit = layout.arrangement.unit
    low, high = layout.low(volume, band), layout.high(volume, band)
    return f"{pressure_number(low, unit)}..{pressure_number(high, unit)} {unit}"


def _event(event: Event, unit: str) -> Document:
    match event:
        case Turned(control, source, target):
            return {"control": control, "from": source, "to": target}
        case Moved(part, source, target):
            return {"part": part, "from": source, "to": target}
        case Occurred(mishap):
            return {"mishap": mishap}
        case Crossed(volume, threshold, upward):
            return {
                "volume": volume,
                "crosses": show_pressure(threshold, unit),
                "pascals": str(threshold),
                "upward": upward,
            }


# ----------------------------------------------------------------------------------------------------- reading back

#: Exact pascals as this module writes them, bounded so that no file can ask for unbounded work.
_EXACT = re.compile(r"[0-9]{1,1000}(?:/[1-9][0-9]{0,999})?")


def layout_from_json(arrangement: Arrangement, document: object) -> Layout:
    """The grid a story file was written on; ValueError when it is none of this arrangement's."""
    given = _dict(_opened(document), "thresholds", "story file")
    names = [volume.name for volume in arrangement.volumes]
    _same_names(given, names, "thresholds", "volume")
    marks = {
        name: tuple(_exact(text, f"thresholds of {name}") for text in _list(given, name, "thresholds"))
        for name in names
    }
    for name, found in marks.items():
        if any(low >= high for low, high in pairwise((Fraction(0), *found, arrangement.highest))):
            message = f"story file: thresholds of {name} must rise from above 0 to below the highest pressure"
            raise ValueError(message)
    return Layout(arrangement, marks)


def story_from_json(layout: Layout, document: object) -> Story:
    """The story in a document of the shape above; ValueError, naming the place, when it does not fit `layout`."""
    whole = _opened(document)
    if layout_from_json(layout.arrangement, whole).thresholds != layout.thresholds:
        message = "story file: its thresholds are not those of this arrangement and claim; was the model changed since?"
        raise ValueError(message)
    steps = _list(whole, "steps", "story file")
    places = ["initial", *(f"step {number}" for number in range(1, len(steps) + 1))]
    sheets = [_dict(whole, "initial", "story file"), *(_is_dict(s, p) for s, p in zip(steps, places[1:], strict=True))]
    states = [_read_state(layout, sheet, place) for sheet, place in zip(sheets, places, strict=True)]
    found = tuple(_read_step(sheet, place) for sheet, place in zip(sheets[1:], places[1:], strict=True))
    for number, (before, after) in enumerate(pairwise(states), start=1):
        if _applied(layout, before, found[number - 1].events) != after:
            message = f"story file, step {number}: its events are not what changes from the state before"
            raise ValueError(message)
    remembered = [replace(states[0], counts=layout.no_counts())]
    for state in states[1:]:
        remembered.append(remember(layout, remembered[-1], state))
    reals = [_read_pressures(layout, sheet, place) for sheet, place in zip(sheets, places, strict=True)]
    if any(reals) and not all(reals):
        message = "story file: pressures must be given for every state or for none"
        raise ValueError(message)
    story = Story(_text(whole, "start", "story file"), tuple(remembered), found, tuple(reals) if any(reals) else ())
    for number, (sheet, place) in enumerate(zip(sheets, places, strict=True)):
        for key, value in _state(layout, story, number).items():
            if sheet.get(key) != value:
                message = f'story file, {place}: "{key}" does not say what the exact numbers beside it say'
                raise ValueError(message)
    return story


def _opened(document: object) -> Document:
    whole = _is_dict(document, "story file")
    if whole.get("format") != STORY_FORMAT:
        message = f'story file: "format" must be "{STORY_FORMAT}", not {whole.get("format")!r}'
        raise ValueError(message)
    return whole


def _read_state(layout: Layout, sheet: Document, place: str) -> State:
    arrangement = layout.arrangement
    bands = _dict(sheet, "band_numbers", place)
    _same_names(bands, [volume.name for volume in arrangement.volumes], place, "volume")
    for name, band in bands.items():
        if not isinstance(band, int) or isinstance(band, bool) or not 0 <= band <= len(layout.thresholds[name]):
            message = f"story file, {place}: {name} has no band {band!r}"
            raise ValueError(message)
    parts = _chosen(sheet, "parts", place, {part.name: part.states for part in arrangement.parts})
    controls = _chosen(sheet, "controls", place, {c.name: c.positions for c in arrangement.controls})
    known = {mishap.name for mishap in arrangement.mishaps}
    mishaps = _list(sheet, "mishaps", place)
    for mishap in mishaps:
        if not isinstance(mishap, str) or mishap not in known:
            message = f"story file, {place}: there is no mishap {mishap!r}"
            raise ValueError(message)
    return State(tuple(bands[volume.name] for volume in arrangement.volumes), parts, controls, frozenset(mishaps))


def _chosen(sheet: Document, key: str, place: str, choices: dict[str, tuple[str, ...]]) -> tuple[str, ...]:
    given = _dict(sheet, key, place)
    _same_names(given, list(choices), place, key.removesuffix("s"))
    for name, allowed in choices.items():
        if given[name] not in allowed:
            message = f"story file, {place}: {name} cannot be {given[name]!r}; it is one of {', '.join(allowed)}"
            raise ValueError(message)
    return tuple(given[name] for name in choices)


def _read_step(sheet: Document, place: str) -> Step:
    kind = _text(sheet, "kind", place)
    if kind not in set(StepKind):
        message = f"story file, {place}: {kind!r} is no kind of step; it is one of {', '.join(StepKind)}"
        raise ValueError(message)
    events = tuple(_read_event(_is_dict(event, place), place) for event in _list(sheet, "events", place))
    return Step(StepKind(kind), events)


def _read_event(event: Document, place: str) -> Event:
    if "control" in event:
        return Turned(_text(event, "control", place), _text(event, "from", place), _text(event, "to", place))
    if "part" in event:
        return Moved(_text(event, "part", place), _text(event, "from", place), _text(event, "to", place))
    if "mishap" in event:
        return Occurred(_text(event, "mishap", place))
    threshold = _exact(event.get("pascals"), place)
    if not isinstance(event.get("upward"), bool):
        message = f'story file, {place}: a crossing needs "upward", true or false'
        raise ValueError(message)  # noqa: TRY004  (one exception for every fault of a file)
    return Crossed(_text(event, "volume", place), threshold, event["upward"])


def _read_pressures(layout: Layout, sheet: Document, place: str) -> tuple[Fraction, ...]:
    given = _dict(sheet, "pascals", place)
    if not given:
        return ()
    names = [volume.name for volume in layout.arrangement.volumes]
    _same_names(given, names, place, "volume")
    found = tuple(_exact(given[name], f"{place}, pascals of {name}") for name in names)
    for name, value in zip(names, found, strict=True):
        if value > layout.arrangement.highest or layout.band_at(name, value) != sheet["band_numbers"][name]:
            message = f"story file, {place}: the pressure of {name} lies outside its band"
            raise ValueError(message)
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


def _same_names(given: Document, wanted: list[str], place: str, noun: str) -> None:
    for name in given:
        if name not in wanted:
            message = f"story file, {place}: this arrangement has no {noun} {name!r}"
            raise ValueError(message)
    for name in wanted:
        if name not in given:
            message = f"story file, {place}: {noun} {name!r} is missing"
            raise ValueError(message)


def _is_dict(value: object, place: str) -> Document:
    if not isinstance(value, dict):
        message = f"{place}: an object is wanted here, not {type(value).__name__}"
        raise ValueError(message)  # noqa: TRY004  (one exception for every fault of a file)
    return value


def _dict(sheet: Document, key: str, place: str) -> Document:
    return _is_dict(sheet.get(key), f'{place}, "{key}"')


def _list(sheet: Document, key: str, place: str) -> list[Any]:
    value = sheet.get(key)
    if not isinstance(value, list):
        message = f'{place}: "{key}" must be a list'
        raise ValueError(message)  # noqa: TRY004  (as above)
    return value


def _text(sheet: Document, key: str, place: str) -> str:
    value = sheet.get(key)
    if not isinstance(value, str):
        message = f'{place}: "{key}" must be text'
        raise ValueError(message)  # noqa: TRY004  (as above)
    return value


def _exact(value: object, place: str) -> Fraction:
    if not isinstance(value, str) or not _EXACT.fullmatch(value):
        message = f'{place}: exact pascals are written as "a" or "a/b", not {value!r}'
        raise ValueError(message)
    return Fraction(value)
