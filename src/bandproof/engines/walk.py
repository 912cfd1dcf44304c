"""A walk: one run of the executable machine, made step by step, to see a part of what can be reached without a search.

Most conditions come about by themselves once the driver has acted and the air has been let run. So a walk does that:
air runs downhill, one threshold at a time, lines and chambers before tanks; parts move when they must; and the driver
acts, or a mishap occurs, mostly when the lines have settled. Which of several such steps is taken is drawn from a
seeded source, so the same walk is made every time. A walk shows that states can be reached, never that they cannot.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import islice
from random import Random

from bandproof.machine.fillings import Window, windows
from bandproof.machine.layout import Layout
from bandproof.machine.semantics import (
    Reading,
    acts,
    may_cross,
    may_moves,
    must_moves,
    pending,
    remember,
    settled,
)
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
        self._real: list[State] = []
        self._further = states

    def extend(self, states: tuple[State, ...], *, real: bool = False) -> None:
        """Remember states of a run; a `real` one has pressures throughout."""
        self._known.extend(states)
        if real:
            self._real.extend(states)

    def some_real(self, wanted: Callable[[State], bool]) -> bool:
        """One of the states of real runs is wanted."""
        return any(map(wanted, self._real))

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
    bounds = windows(layout.arrangement, claim)
    while state is not None:
        yield state
        state = (
            _react(layout, state, bounds, draw)
            if pending(layout, state)
            else _go_on(layout, claim, state, bounds, draw)
        )


def _react(layout: Layout, state: State, bounds: tuple[Window, ...], draw: Random) -> State | None:
    """Every part that must move does; None when each must only move to where it is."""
    reading = Reading(layout, state)
    parts: list[str] = []
    for part, here in zip(layout.arrangement.parts, state.parts, strict=True):
        due = [] if part.delayed else [m.target for m in must_moves(reading, part) if m.target != here]
        parts.append(draw.choice(due) if due else here)
    return None if tuple(parts) == state.parts else remember(layout, state, replace(state, parts=tuple(parts)), bounds)


def _go_on(layout: Layout, claim: Property, state: State, bounds: tuple[Window, ...], draw: Random) -> State | None:
    still = draw.random() < _MEDDLING and settled(layout, state)
    done = [after for _, after in acts(layout, state, claim.pace, claim.mishaps, bounds)] if still else []
    if done:
        return draw.choice(done)
    reading = Reading(layout, state)
    driven, other = _crossings(reading)
    quick = [] if still else [(v, up) for v, up in driven if reading.kind(v) is not VolumeKind.TANK]
    for choices in (quick, driven, other):
        after = _one_of(reading, choices, bounds, draw)
        if after is not None:
            return after
    rest = [
        *_may_moves(reading, bounds),
        *(after for _, after in acts(layout, state, claim.pace, claim.mishaps, bounds)),
    ]
    return draw.choice(rest) if rest else None


def _crossings(reading: Reading) -> tuple[list[tuple[str, bool]], list[tuple[str, bool]]]:
    """Volumes, and whether upward: those that what is surely higher or lower drives that way; and the others."""
    ways = [(u, v) for u, v in reading.open_ways() if reading.surely_above(u, v)]
    driven = {**{(v, True): None for _, v in ways}, **{(u, False): None for u, _ in ways}}
    every = [(volume.name, upward) for volume in reading.arrangement.volumes for upward in (True, False)]
    return [x for x in every if x in driven], [x for x in every if x not in driven]


def _one_of(
    reading: Reading, choices: list[tuple[str, bool]], bounds: tuple[Window, ...], draw: Random
) -> State | None:
    """The state after one of the crossings, tried in any order, that flow rule and pace allow."""
    layout, state = reading.layout, reading.state
    for volume, upward in draw.sample(choices, len(choices)):
        if may_cross(layout, state, bounds, volume, upward=upward):
            bands = {**reading.band, volume: reading.band[volume] + (1 if upward else -1)}
            return remember(layout, state, replace(state, bands=tuple(bands.values())), bounds)
    return None


def _may_moves(reading: Reading, bounds: tuple[Window, ...]) -> list[State]:
    """The states to which one move leads that a part may make."""
    layout, state = reading.layout, reading.state
    return [
        remember(
            layout, state, replace(state, parts=(*state.parts[:place], move.target, *state.parts[place + 1 :])), bounds
        )
        for place, part in enumerate(reading.arrangement.parts)
        for move in may_moves(reading, part)
        if move.target != move.source
    ]
