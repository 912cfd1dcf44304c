"""A run in seconds cut into what people take for one thing: a hand's act, a part that moves, air that flows meanwhile; what matters in it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from bandproof.machine.story import Crossed, Moved, Occurred, Story, Turned
from bandproof.model.walker import leaves
from bandproof.properties.claim import Property

#: A control turned to and fro so often is told as a rhythm.
RHYTHM = 4


@dataclass(frozen=True, slots=True)
class Passage:
    """Steps `first` to `last` of a story (counted from 1), told together. `strokes`: how often `rhythm` is turned in them."""

    first: int
    last: int
    rhythm: str = ""
    strokes: int = 0


def passages(story: Story) -> list[Passage]:
    """All steps of a story: rhythms, and beside them acts and moves one by one, with the air that flows before them together."""
    found: list[Passage] = []
    number = 1
    for rhythm in _rhythms(story):
        found += _plainly(story, number, rhythm.first - 1)
        found.append(rhythm)
        number = rhythm.last + 1
    return [*found, *_plainly(story, number, len(story.steps))]


def _plainly(story: Story, first: int, last: int) -> Iterator[Passage]:
    """Steps in which only air flows are told together; all others alone."""
    begun = first
    for number in range(first, last + 1):
        flows = _only_flows(story, number)
        if not flows or number == last or not _only_flows(story, number + 1):
            yield Passage(begun, number)
            begun = number + 1


def _only_flows(story: Story, number: int) -> bool:
    return all(isinstance(event, Crossed) for event in story.steps[number - 1].events)


def _rhythms(story: Story) -> list[Passage]:
    """Where one control goes to and fro at least RHYTHM times and nobody does anything else, knobs that jump included."""
    found: list[Passage] = []
    turns: list[tuple[int, str]] = []
    for number, step in enumerate(story.steps, start=1):
        for event in step.events:
            if isinstance(event, Turned):
                if turns and turns[-1][1] != event.control:
                    found += _rhythm(turns, number - 1)
                    turns = []
                turns.append((number, event.control))
            elif isinstance(event, Occurred):
                found += _rhythm(turns, number - 1)
                turns = []
    return [*found, *_rhythm(turns, len(story.steps))]


def _rhythm(turns: Sequence[tuple[int, str]], last: int) -> list[Passage]:
    """The first stroke is told in full, so that one sees what a stroke does; so is what comes of the last turn."""
    strokes = len(turns) // 2
    if strokes < RHYTHM:
        return []
    return [Passage(turns[2][0], min(turns[-1][0] - 1, last), turns[0][1], (len(turns) - 3 + 1) // 2)]


def moves(story: Story, passage: Passage) -> list[tuple[int, Moved]]:
    """The moves of parts in a passage, with the numbers of their steps."""
    numbers = range(passage.first, passage.last + 1)
    return [(n, event) for n in numbers for event in story.steps[n - 1].events if isinstance(event, Moved)]


def matters(story: Story, claim: Property | None) -> set[str]:
    """Volumes, parts and controls that change in a story or that the claim names."""
    names: set[str] = set()
    for event in (event for step in story.steps for event in step.events):
        match event:
            case Crossed(name) | Moved(name) | Turned(name):
                names.add(name)
    for leaf in (*leaves(claim.when), *leaves(claim.then)) if claim is not None else ():
        names |= {value for key in ("volume", "other", "part", "control") if (value := getattr(leaf, key, None))}
    return names
