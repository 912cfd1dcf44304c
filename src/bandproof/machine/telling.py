"""States that a solver found, told as a story: the executable semantics names every step, or refuses the run."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

from bandproof.machine.fillings import windows
from bandproof.machine.layout import Layout
from bandproof.machine.semantics import check_step
from bandproof.machine.story import State, Step, Story
from bandproof.properties.claim import Property, coming


class NotARunError(Exception):
    """A run from a solver that the executable machine does not accept: the two meanings differ, which is a defect."""


def tell(layout: Layout, claim: Property, states: Sequence[State], loop: int | None = None) -> Story:
    """States of a run, of the claim's pace and mishaps, as a story. NotARunError when some step is none.

    Repeats are left out, and an acceleration is told threshold by threshold. Where a run comes to the claim's start from another,
    `passed` says of each state how far it is; what goes before the claim's own run is told as its lead. `loop` is
    the index of the state from which on the run goes round, if it does.
    """
    story: Story | None = None
    for number, start in enumerate(layout.arrangement.way_to(claim.during)):
        of_part = claim if start.name == claim.during else coming(start.name)
        here = [replace(state, passed=frozenset()) for state in states if len(state.passed) == number]
        if not here:
            message = f"the run does not come to the start {start.name!r}"
            raise NotARunError(message)
        from_there = None if loop is None or start.name != claim.during else loop - len(states) + len(here)
        story = replace(_tell(layout, of_part, here, from_there), lead=story)
    assert story is not None
    return story


def _tell(layout: Layout, claim: Property, states: Sequence[State], loop: int | None) -> Story:
    bounds = windows(layout.arrangement, claim)
    kept = [states[0]]
    steps: list[Step] = []
    told = [0]
    for pair in pairwise(states):
        for state in _threshold_by_threshold(*pair):
            if state == kept[-1]:
                continue
            step = check_step(layout, kept[-1], state, claim.pace, claim.mishaps, windows=bounds)
            if isinstance(step, str):
                message = f"step {len(steps) + 1}: {step}"
                raise NotARunError(message)
            kept.append(state)
            steps.append(step)
        told.append(len(steps))
    return Story(claim.during, tuple(kept), tuple(steps), loop=None if loop is None else told[loop])


def _threshold_by_threshold(before: State, after: State) -> Iterator[State]:
    """The states after `before` up to `after`, a volume that crosses several thresholds crossing one at a time."""
    gap = max((abs(a - b) for b, a in zip(before.bands, after.bands, strict=True)), default=0)
    for k in range(1, gap):
        bands = tuple(b + max(-k, min(k, a - b)) for b, a in zip(before.bands, after.bands, strict=True))
        yield replace(before, bands=bands)
    yield after
