"""A walk: one run of the executable machine, made step by step, to see a part of what can be reached without a search.

Most conditions come about by themselves once the driver has acted and the air has been let run. So a walk does that:
air runs downhill, one landmark at a time, lines and chambers before tanks; parts move when they must; and the driver
acts, or a mishap occurs, mostly when the lines have settled. Which of several such steps is taken is drawn from a
seeded source, so the same walk is made every time. A walk shows that states can be reached, never that they cannot.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import islice
from random import Random

from bandproof.machine.layout import Layout
from bandproof.machine.semantics import Reading, acts, may_fall, may_moves, may_rise, must_moves, pending, settled
from bandproof.machine.story import State
from bandproof.model.arrangement import VolumeKind
from bandproof.properties.claim import Property

#: How many walks are made from one start, and how many steps each has.
WALKS, STEPS = 3, 300

#: How often something is done to a settled arrangement whose tanks still fill or empty.
_MEDDLING = 0.4


class Sights:
    """States known to be reachable from one start at one pace with some mishaps: those told of, and those of walks."""

    def __init__(self, states: Iterator[State]) -> None:
        self._known: list[State] = []
        self._further = states

    def extend(self, states: tuple[State, ...]) -> None:
        """Remember states of a run."""
        self._known.extend(states)

    def some(self, wanted: Callable[[State], bool]) -> bool:
        """One of the states is wanted. Walks go on only until one is."""
        if any(map(wanted, self._known)):
            return True
        for state in self._further:
            self._known.append(state)
            if wanted(state):
                return True
        return False


def walks(layout: Layout, claim: Property, first: State) -> Iterator[State]:
    """The states of several walks from `first`, as far as the pace and the mishaps of the claim allow."""
    for seed in range(WALKS):
        yield from islice(walk(layout, claim, first, Random(seed)), STEPS)  # noqa: S311  (nothing secret is drawn)


def walk(layout: Layout, claim: Property, first: State, draw: Random) -> Iterator[State]:
    """The states of one walk, until nothing is left to do."""
    state: State | None = first
    while state is not None:
        yield state
        state = _react(layout, state, draw) if pending(layout, state) else _go_on(layout, claim, state, draw)


def _react(layout: Layout, state: State, draw: Random) -> State | None:
    """Every part that must move does; None when each must only move to where it is."""
    reading = Reading(layout, state)
    parts: list[str] = []
    for part, here in zip(layout.arrangement.parts, state.parts, strict=True):
        due = [] if part.slow else [m.target for m in must_moves(reading, part) if m.target != here]
        parts.append(draw.choice(due) if due else here)
    after = replace(state, parts=tuple(parts))
    return None if after == state else after


def _go_on(layout: Layout, claim: Property, state: State, draw: Random) -> State | None:
    reading = Reading(layout, state)
    driven, possible = _flows(reading)
    still = settled(layout, state)
    if (still and draw.random() < _MEDDLING) or not (driven or possible):
        done = [after for _, after in acts(layout, state, claim.pace, claim.mishaps)]
        if done:
            return draw.choice(done)
    quick = [] if still else [after for after, kind in driven if kind is not VolumeKind.TANK]
    choices = quick or [after for after, _ in driven] or possible
    return draw.choice(choices) if choices else None


def _flows(reading: Reading) -> tuple[list[tuple[State, VolumeKind]], list[State]]:
    """The states that one crossing leads to: driven by what is surely higher or lower; and those merely possible.

    A move that a part may make is among the latter.
    """
    layout, state = reading.layout, reading.state
    ways = list(reading.open_ways())
    driven: list[tuple[State, VolumeKind]] = []
    possible: list[State] = []
    for place, volume in enumerate(reading.arrangement.volumes):
        fed = any(v == volume.name and reading.surely_above(u, v) for u, v in ways)
        drained = any(u == volume.name and reading.surely_above(u, v) for u, v in ways)
        for allowed, sure, change in ((may_rise, fed, 1), (may_fall, drained, -1)):
            if allowed(layout, state, volume.name):
                bands = (*state.bands[:place], state.bands[place] + change, *state.bands[place + 1 :])
                after = replace(state, bands=bands)
                if sure:
                    driven.append((after, volume.kind))
                else:
                    possible.append(after)
    for place, part in enumerate(reading.arrangement.parts):
        possible += [
            replace(state, parts=(*state.parts[:place], move.target, *state.parts[place + 1 :]))
            for move in may_moves(reading, part)
            if move.target != move.source
        ]
    return driven, possible
