"""What a property says about one finite run, decided by looking at the run: no search, no solver.

Here a monitor (see `bandproof.properties.monitors`) is followed along the states; what it remembers is its state.
"""

from __future__ import annotations

from collections.abc import Sequence

from bandproof.machine.layout import Layout
from bandproof.machine.semantics import Reading, at_rest, maybe, settled, surely, to_and_fro
from bandproof.machine.story import State
from bandproof.model.arrangement import VolumeKind
from bandproof.properties.claim import Property
from bandproof.properties.monitors import (
    Every,
    Fails,
    Formula,
    Holds,
    Monitor,
    Remembers,
    Some,
    Stillness,
)


def watch(layout: Layout, monitor: Monitor, before: str, state: State, previous: State | None = None) -> str:
    """The monitor's state after it has seen `state`, which follows `previous`; before a run it is in its first state."""
    reading = Reading(layout, state)
    faded = monitor.fades and previous is not None and _touched(layout, previous, state)
    seen = monitor.states[0] if faded else before
    for change in monitor.changes:
        if seen == change.source and _true(change.when, reading, seen):
            seen = change.target
    return seen


def _touched(layout: Layout, previous: State, state: State) -> bool:
    """The step between two states is an act, or a tank crosses a threshold in it."""
    volumes = layout.arrangement.volumes
    return (previous.controls, previous.mishaps) != (state.controls, state.mishaps) or any(
        volume.kind is VolumeKind.TANK and was != is_now
        for volume, was, is_now in zip(volumes, previous.bands, state.bands, strict=True)
    )


def bad(layout: Layout, monitor: Monitor, seen: str, state: State) -> bool:
    """The state ends the search: it breaks the claim or, for a `reachable` one, shows it. `seen` includes `state`."""
    return _true(monitor.bad, Reading(layout, state), seen)


def applies(layout: Layout, monitor: Monitor, state: State) -> bool:
    """The condition of a conditional claim holds here, so that the claim is not vacuous; true for the other claims."""
    return monitor.applies is None or _true(monitor.applies, Reading(layout, state), monitor.states[0])


def _true(formula: Formula, reading: Reading, seen: str) -> bool:
    match formula:
        case Holds(condition, sure):
            return surely(reading, condition) if sure else maybe(reading, condition)
        case Stillness.SETTLED:
            return settled(reading.layout, reading.state)
        case Stillness.AT_REST:
            return at_rest(reading.layout, reading.state)
        case Stillness.TO_AND_FRO:
            return _in_to_and_fro(reading, tanks_held=True)
        case Stillness.TO_AND_FRO_AT_REST:
            return _in_to_and_fro(reading, tanks_held=False)
        case Remembers(state):
            return seen == state
        case Fails(item):
            return not _true(item, reading, seen)
        case Every(items):
            return all(_true(item, reading, seen) for item in items)
        case Some(items):
            return any(_true(item, reading, seen) for item in items)


def _in_to_and_fro(reading: Reading, *, tanks_held: bool) -> bool:
    layout, state = reading.layout, reading.state
    return to_and_fro(layout, state, tanks_held=tanks_held) and (settled if tanks_held else at_rest)(layout, state)


def first_bad(layout: Layout, claim: Property, states: Sequence[State]) -> int | None:
    """The index of the first state of a run that is a bad, or None."""
    monitor = layout.monitor(claim)
    seen = monitor.states[0]
    for index, state in enumerate(states):
        seen = watch(layout, monitor, seen, state, states[index - 1] if index else None)
        if bad(layout, monitor, seen, state):
            return index
    return None
