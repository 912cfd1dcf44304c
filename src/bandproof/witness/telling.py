"""The story of a witness: its run in seconds, read off in bands, with the pressures and the time of every state.

Times, pressures, moves and words of what people read so come from one run, and the band machine accepts it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import accumulate, pairwise

import numpy as np

from bandproof.findings.witness import Witness
from bandproof.machine.layout import Layout
from bandproof.machine.rig import replay
from bandproof.machine.story import State, Story
from bandproof.properties.claim import Property
from bandproof.simulation.accuracy import STATED_PASCALS, STATED_SECONDS, STATED_SHARE
from bandproof.simulation.history import History
from bandproof.simulation.space import Space
from bandproof.simulation.vehicle import Vehicle
from bandproof.witness.reading import read_bands
from bandproof.witness.rerun import rerun

#: A story of more steps than this is read by nobody: parts that go to and fro all the time make them.
LONGEST = 400
#: So many differences are named.
MOST_FAULTS = 5
#: Decimals of a second in a story.
DECIMALS = 4


@dataclass(frozen=True, slots=True)
class Unreadable:
    """The bands do not take the run, for the reason `why`; or they might, but it is too `long` to be told."""

    why: str
    long: bool = False


def told(layout: Layout, claim: Property, witness: Witness) -> Story | Unreadable:
    """The story of a witness on a layout: a run of the band machine that breaks the claim, in seconds."""
    vehicle, history = played(layout, witness)
    if len(history.happenings) > LONGEST:
        return Unreadable(f"{len(history.happenings)} moves and acts", long=True)
    read = read_bands(layout, claim, vehicle, history)
    if read.refused is not None:
        return Unreadable(read.refused)
    if len(read.story.steps) > LONGEST:
        return Unreadable(f"{len(read.story.steps)} steps", long=True)
    story = timed(layout, read.story, read.times, history)
    fault = replay(layout, story, claim)
    return story if fault is None else Unreadable(fault)


def same_run(layout: Layout, claim: Property, witness: Witness, story: Story) -> list[str]:
    """In what a story with seconds is not the run of a witness, a sentence each; nothing where it is.

    Pressures and times may differ by what the simulator may err by.
    """
    anew = told(layout, claim, witness)
    if isinstance(anew, Unreadable):
        return [f"its run is not told step by step: {anew.why}"]
    if (anew.states, anew.steps) != (story.states, story.steps):
        return ["its run, read off in bands, is another story"]
    faults = []
    for number, (one, other) in enumerate(zip(anew.seconds, story.seconds, strict=True)):
        if abs(one - other) > STATED_SECONDS + STATED_SHARE * one:
            faults.append(f"state {number} is at {one:g} s, not at {other:g} s")
    atmosphere = float(layout.arrangement.atmosphere)
    for number, (mine, theirs) in enumerate(zip(anew.pressures, story.pressures, strict=True)):
        for volume, here, there in zip(layout.arrangement.volumes, map(float, mine), map(float, theirs), strict=True):
            if abs(here - there) > STATED_PASCALS + STATED_SHARE * (atmosphere + here):
                faults.append(f"{volume.name} is at {here:.0f} Pa in state {number}, not at {there:.0f}")
    return faults[:MOST_FAULTS]


def played(layout: Layout, witness: Witness) -> tuple[Vehicle, History]:
    """The vehicle of a witness, and its run up to where it ends."""
    arrangement = layout.arrangement
    vehicle = Space(arrangement, arrangement.start(witness.start), widened=True).given(witness.vehicle)
    return vehicle, rerun(arrangement, vehicle, witness.script, witness.end)


def timed(layout: Layout, story: Story, times: Sequence[float], history: History) -> Story:
    """A story with the seconds and the pressures of its states.

    Things of one instant may stand in another order than they came in, so seconds never go back; and a pressure that has just
    crossed is told at the end of its band.
    """
    seconds = [round(time, DECIMALS) for time in accumulate((0.0, *times), max)]
    found = history.at(np.array(seconds)).tolist()
    pressures = tuple(_within(layout, state, row) for state, row in zip(story.states, found, strict=True))
    assert all(one <= other for one, other in pairwise(seconds))
    return replace(story, pressures=pressures, seconds=tuple(seconds))


def _within(layout: Layout, state: State, row: Sequence[float]) -> tuple[Fraction, ...]:
    found = []
    for volume, band, pascals in zip(layout.arrangement.volumes, state.bands, row, strict=True):
        low, high = layout.low(volume.name, band), layout.high(volume.name, band)
        found.append(min(max(Fraction(round(pascals)), low), high))
    return tuple(found)
