"""What a property says about one finite run, decided by looking at the run: no search, no solver.

Each shape is a small monitor that walks along the states. `MonitorState` is its memory: for `holds` whether the first `once`
has been seen and whether `until` has released it; for the other shapes nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum

from bandproof.machine.layout import Layout
from bandproof.machine.semantics import Reading, at_rest, settled, surely
from bandproof.machine.story import State
from bandproof.properties.claim import Property, Shape


class MonitorState(StrEnum):
    """The memory of a `holds` monitor."""

    WAITING = "waiting"
    BOUND = "bound"
    RELEASED = "released"


def watch(layout: Layout, claim: Property, before: MonitorState, state: State) -> MonitorState:
    """The monitor's memory after it has seen `state`."""
    if claim.shape is not Shape.HOLDS:
        return MonitorState.WAITING
    reading = Reading(layout, state)
    if before is MonitorState.WAITING and surely(reading, claim.when):
        before = MonitorState.BOUND
    if before is MonitorState.BOUND and claim.until is not None and surely(reading, claim.until):
        return MonitorState.RELEASED
    return before


def bad(layout: Layout, claim: Property, seen: MonitorState, state: State) -> bool:
    """The state ends the search: it breaks the claim or, for a `reachable` one, shows it. `seen` includes `state`."""
    reading = Reading(layout, state)
    match claim.shape:
        case Shape.NEVER | Shape.REACHABLE:
            return surely(reading, claim.when)
        case Shape.ALWAYS:
            return not surely(reading, claim.then)
        case Shape.HOLDS:
            return seen is MonitorState.BOUND and not surely(reading, claim.then)
        case Shape.SETTLED:
            return surely(reading, claim.when) and not surely(reading, claim.then) and settled(layout, state)
        case Shape.AT_REST:
            return surely(reading, claim.when) and not surely(reading, claim.then) and at_rest(layout, state)


def applies(layout: Layout, claim: Property, state: State) -> bool:
    """The condition of a conditional claim holds here, so that the claim is not empty; true for the other shapes."""
    match claim.shape:
        case Shape.HOLDS:
            return surely(Reading(layout, state), claim.when)
        case Shape.SETTLED:
            return surely(Reading(layout, state), claim.when) and settled(layout, state)
        case Shape.AT_REST:
            return surely(Reading(layout, state), claim.when) and at_rest(layout, state)
        case _:
            return True


def first_bad(layout: Layout, claim: Property, states: Sequence[State]) -> int | None:
    """The index of the first state of a run that is a bad, or None."""
    seen = MonitorState.WAITING
    for index, state in enumerate(states):
        seen = watch(layout, claim, seen, state)
        if bad(layout, claim, seen, state):
            return index
    return None
