"""A run in seconds read off in bands: which threshold each volume crosses when, between acts and moves of parts.

The band machine takes one thing after the other; a run has things at one instant, to within what its numbers are worth, and
parts that take a moment to move. So what comes within INSTANT seconds of the next thing (or a few moving times) may be taken before
it, where only that order is a run of the bands; the order of one volume's crossings, and of one part's moves, stays.

A pressure that goes back over a threshold it has just crossed by less than PLAY has not gone back.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from bandproof.machine.fillings import Window, windows
from bandproof.machine.layout import Layout
from bandproof.machine.monitor import first_bad
from bandproof.machine.semantics import check_step, remember, with_memory
from bandproof.machine.story import Crossed, Event, Moved, Occurred, State, Step, Story, Turned
from bandproof.model.arrangement import Arrangement
from bandproof.properties.claim import Property
from bandproof.simulation.accuracy import STATED_PASCALS
from bandproof.simulation.airflow import Floats
from bandproof.simulation.history import History
from bandproof.simulation.script import Occur, Turn
from bandproof.simulation.vehicle import Vehicle

#: Pascals.
PLAY = STATED_PASCALS
#: Seconds; and how many moving times.
INSTANT = 2e-3
MOVING_TIMES = 3.0
#: Tries at finding an order before a run is called unreadable.
PATIENCE = 20_000


@dataclass(frozen=True, slots=True)
class Timed:
    """An event of the bands and when it is in the run, seconds."""

    time: float
    event: Event


@dataclass(frozen=True, slots=True)
class Read:
    """A run as a story, and the time of each step; `refused`: why the band machine goes no further, None if it does.

    Where it is refused, `story` is what went before. A run that the bands refuse is a fault of their meaning, or of the
    simulator: proofs rest on there being none.
    """

    story: Story
    times: tuple[float, ...]
    refused: str | None = None


def read_bands(layout: Layout, claim: Property, vehicle: Vehicle, history: History) -> Read:
    """The story of a run (kept with pressures) up to where it first breaks the claim, for `bandproof.machine.rig.replay`.

    `refused` also says so where the run breaks the claim nowhere, read in bands.
    """
    reader = _Reader(layout, claim, vehicle)
    events = timed_events(layout, vehicle, history)
    states, steps, times, refused = reader.follow(events)
    bad = first_bad(layout, claim, with_memory(layout, states, windows(layout.arrangement, claim)))
    if bad is not None:
        states, steps, times, refused = states[: bad + 1], steps[:bad], times[:bad], None
    elif refused is None:
        refused = "in bands the run does not break the claim"
    memory = with_memory(layout, states, windows(layout.arrangement, claim))
    return Read(Story(claim.during, tuple(memory), tuple(steps)), tuple(times), refused)


# ------------------------------------------------------------------------------------------------------------ events


def timed_events(layout: Layout, vehicle: Vehicle, history: History) -> list[Timed]:
    """Crossings, moves and acts of a run in the order of time."""
    found = [Timed(h.time, event) for h, event in zip(history.happenings, _happenings(vehicle, history), strict=True)]
    for row, volume in enumerate(layout.arrangement.volumes):
        marks = layout.thresholds[volume.name]
        found += _crossings(volume.name, marks, history.times, history.pressures[:, row])
    # A crossing comes before the move that it makes due, at one and the same time.
    return sorted(found, key=lambda one: (one.time, not isinstance(one.event, Crossed)))


def _happenings(vehicle: Vehicle, history: History) -> Iterator[Event]:
    positions = dict(vehicle.controls)
    for happening in history.happenings:
        match happening.what:
            case Turn(control, position):
                yield Turned(control, positions[control], position)
                positions[control] = position
            case Occur(mishap):
                yield Occurred(mishap)
            case moved:
                yield Moved(moved.part, moved.source, moved.target)


def _crossings(name: str, marks: Sequence[Fraction], times: Floats, pressures: Floats) -> Iterator[Timed]:
    heights = np.array([float(mark) for mark in marks])
    level = int(np.searchsorted(heights, pressures[0], side="right"))
    for k in range(1, len(times)):
        while level < len(heights) and pressures[k] >= heights[level]:
            yield Timed(_when(times, pressures, k, heights[level]), Crossed(name, marks[level], upward=True))
            level += 1
        while level and pressures[k] < heights[level - 1] - PLAY:
            level -= 1
            yield Timed(_when(times, pressures, k, heights[level]), Crossed(name, marks[level], upward=False))


def _when(times: Floats, pressures: Floats, k: int, mark: float) -> float:
    """When a pressure passed a mark, between two kept times or, within the play, just before them."""
    while k > 1 and (pressures[k - 1] - mark) * (pressures[k] - mark) > 0:
        k -= 1
    rise = pressures[k] - pressures[k - 1]
    share = 1.0 if rise == 0 else float(np.clip((mark - pressures[k - 1]) / rise, 0.0, 1.0))
    return float(times[k - 1] + share * (times[k] - times[k - 1]))


# ------------------------------------------------------------------------------------------------------------- steps


class _Reader:
    def __init__(self, layout: Layout, claim: Property, vehicle: Vehicle) -> None:
        self.layout, self.claim, self.vehicle = layout, claim, vehicle
        self.bounds: tuple[Window, ...] = windows(layout.arrangement, claim)
        at_once = [part for part in layout.arrangement.parts if not part.delayed]
        self.near = max(INSTANT, MOVING_TIMES * max((vehicle.moving[part.name] for part in at_once), default=0.0))
        self.tries = 0

    def follow(self, events: list[Timed]) -> tuple[list[State], list[Step], list[float], str | None]:
        """States, steps and their times, as far as the band machine goes, and why no further."""
        states, steps, times = with_memory(self.layout, [self._first()], self.bounds), list[Step](), list[float]()
        left = events
        while left:
            taken = self._next(states[-1], left)
            if taken is None:
                return states, steps, times, self._why(states[-1], left[0], len(steps))
            for one in taken:
                step, after = self._made(states[-1], one)
                if isinstance(step, str):
                    return states, steps, times, self._why(states[-1], one, len(steps))
                states.append(after)
                steps.append(step)
                times.append(one.time)
            left = [one for one in left if one not in taken]
        return states, steps, times, None

    def _first(self) -> State:
        arrangement = self.layout.arrangement
        bands = [self.layout.band_at(v.name, Fraction(self.vehicle.pressures[v.name])) for v in arrangement.volumes]
        return State(tuple(bands), tuple(self.vehicle.parts.values()), tuple(self.vehicle.controls.values()))

    def _next(self, state: State, left: list[Timed]) -> list[Timed] | None:
        """The next event, or, where the machine refuses it, the events of this instant in an order it takes."""
        if not isinstance(self._made(state, left[0])[0], str):
            return left[:1]
        self.tries = 0
        return self._order(state, left, left[0])

    def _order(self, state: State, left: list[Timed], wanted: Timed) -> list[Timed] | None:
        """A way to get to `wanted` by events near it, shortest first in the order of time."""
        self.tries += 1
        if self.tries > PATIENCE:
            return None
        for one in self._free(left, wanted.time + self.near):
            step, after = self._made(state, one)
            if isinstance(step, str):
                continue
            if one is wanted:
                return [one]
            rest = self._order(after, [other for other in left if other is not one], wanted)
            if rest is not None:
                return [one, *rest]
        return None

    @staticmethod
    def _free(left: list[Timed], until: float) -> list[Timed]:
        """The events up to a time before which nothing of the same volume, part or hand has to come."""
        seen: set[str] = set()
        free = []
        for one in left:
            if one.time > until:
                break
            if (subject := _subject(one.event)) not in seen:
                free.append(one)
            seen.add(subject)
        return free

    def _made(self, state: State, one: Timed) -> tuple[Step | str, State]:
        after = remember(self.layout, state, _after(self.layout.arrangement, state, one.event), self.bounds)
        claim = self.claim
        return check_step(self.layout, state, after, claim.pace, claim.mishaps, windows=self.bounds), after

    def _why(self, state: State, one: Timed, done: int) -> str:
        step, _ = self._made(state, one)
        why = step if isinstance(step, str) else "no order of what is near it"
        return f"step {done + 1}, at {one.time:.6f} s, {one.event}: {why}"


def _subject(event: Event) -> str:
    match event:
        case Crossed(volume):
            return f"volume {volume}"
        case Moved(part):
            return f"part {part}"
        case _:
            return "acts"


def _after(arrangement: Arrangement, state: State, event: Event) -> State:
    bands, parts, controls = list(state.bands), list(state.parts), list(state.controls)
    mishaps = set(state.mishaps)
    match event:
        case Crossed(volume, _, upward):
            bands[[v.name for v in arrangement.volumes].index(volume)] += 1 if upward else -1
        case Moved(part, _, target):
            parts[[p.name for p in arrangement.parts].index(part)] = target
        case Turned(control, _, target):
            controls[[c.name for c in arrangement.controls].index(control)] = target
        case Occurred(mishap):
            mishaps.add(mishap)
    return State(tuple(bands), tuple(parts), tuple(controls), frozenset(mishaps))
