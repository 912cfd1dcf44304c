"""Longer stories: what a story does more than once, done more often.

A line that is filled from a tank and emptied again and again empties the tank, a little each time. A search among bands
finds the few strokes that cross the thresholds, which take more air than there is; with enough of them the air is there.
So where a story comes back to a state, the steps in between are repeated, and pressures are looked for again.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from bandproof.machine.story import State, Story

#: How often the steps are made once more: each is tried.
TIMES = (8, 16, 32, 64)

#: A story is not made longer than this.
LONGEST = 300


def pumped(story: Story, most: int | None = None) -> Iterator[Story]:
    """The story with what lies between its first return to a state made more often; none where it returns to none.

    `most`: no more often than this, with what the story itself does, if there is a limit.
    """
    loop = _loop(story)
    if loop is None:
        return
    first, last = loop
    period = last - first
    options = set(TIMES)
    if most is not None:
        own = story.states.count(story.states[first])
        options = {times for times in (*TIMES, most - own) if 0 < times <= most - own}
    for times in sorted(options):
        if len(story.steps) + times * period <= LONGEST:
            states = (*story.states[:last], *story.states[first:last] * times, *story.states[last:])
            steps = (*story.steps[:last], *story.steps[first:last] * times, *story.steps[last:])
            yield replace(story, states=states, steps=steps)


def _loop(story: Story) -> tuple[int, int] | None:
    """The first two places that have the same state with no other return in between; the shortest of these."""
    seen: dict[State, int] = {}
    found: list[tuple[int, int]] = []
    for place, state in enumerate(story.states):
        if state in seen:
            found.append((seen[state], place))
        seen[state] = place
    return min(found, key=lambda pair: (pair[1] - pair[0], pair)) if found else None
