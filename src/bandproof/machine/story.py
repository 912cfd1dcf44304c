"""States, steps and stories: runs of an arrangement as plain values, with no solver and no engine in them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Count:
    """What a pace counter remembers of its mover since its pending volume became due.

    `count`: how many whole bands it has crossed; `last`: whether its last crossing was upward, None when it has
    crossed nothing.
    """

    count: int = 0
    last: bool | None = None


@dataclass(frozen=True, slots=True)
class State:
    """One state of an arrangement.

    `bands`, `parts` and `controls` follow the order of the arrangement's volumes, parts and controls; `mishaps`
    are those present. `counts` follow the layout's timing_constraints; most layouts have none. `crossed` follow the
    windows of the run: for each, the ranks of the thresholds its tank has crossed since air went only into lines.
    `passed` are the starts given by a condition that a connected run has passed; a story tells of each in a part of its own.
    """

    bands: tuple[int, ...]
    parts: tuple[str, ...]
    controls: tuple[str, ...]
    mishaps: frozenset[str] = frozenset()
    counts: tuple[Count, ...] = ()
    crossed: tuple[frozenset[int], ...] = ()
    passed: frozenset[str] = frozenset()


class StepKind(StrEnum):
    """The three kinds of step (MEANING.md, "One step")."""

    REACT = "react"
    FLOW = "flow"
    ACT = "act"


@dataclass(frozen=True, slots=True)
class Crossed:
    """A volume crossed a threshold (pascals gauge), upward or downward."""

    volume: str
    threshold: Fraction
    upward: bool


@dataclass(frozen=True, slots=True)
class Moved:
    """A part changed its state."""

    part: str
    source: str
    target: str


@dataclass(frozen=True, slots=True)
class Turned:
    """The driver changed a control."""

    control: str
    source: str
    target: str


@dataclass(frozen=True, slots=True)
class Occurred:
    """A mishap occurred."""

    mishap: str


Event = Crossed | Moved | Turned | Occurred


@dataclass(frozen=True, slots=True)
class Step:
    """One step: its kind and what changed, in the arrangement's order."""

    kind: StepKind
    events: tuple[Event, ...]


@dataclass(frozen=True, slots=True)
class Story:
    """A run: `states[i]` becomes `states[i + 1]` by `steps[i]`.

    `pressures[i]` gives one real pressure per volume (pascals gauge, the arrangement's order) for `states[i]`, once
    the story has been made real; it is empty before. `seconds[i]` is when, where the run is that of a vehicle in seconds. `lead` is the run that came to `states[0]`, where `start` has to be
    reached from another: it begins there, and ends in `states[0]`.

    A run that goes on for ever goes round: from the last state on, all that follows state `loop` comes again. The last
    state is that state; where `loop` is its own index, the run stays in it. None for a run of which only so much is told.
    """

    start: str
    states: tuple[State, ...]
    steps: tuple[Step, ...]
    pressures: tuple[tuple[Fraction, ...], ...] = ()
    lead: Story | None = None
    loop: int | None = None
    seconds: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if len(self.states) != len(self.steps) + 1:
            message = f"{len(self.states)} states do not fit {len(self.steps)} steps"
            raise ValueError(message)
        if self.loop is not None and not 0 <= self.loop < len(self.states):
            message = f"a run of {len(self.states)} states cannot go round from state {self.loop}"
            raise ValueError(message)

    def parts(self) -> tuple[Story, ...]:
        """The whole connected run, part by part, this story the last."""
        return (self,) if self.lead is None else (*self.lead.parts(), self)


def joined(story: Story) -> Story:
    """The whole connected run as one story from where it begins; each state knows which starts have been passed.

    A start is passed in a step of its own, in which nothing changes.
    """
    parts = story.parts()
    if len(parts) == 1:
        return story
    states: list[State] = []
    steps: list[Step] = []
    for number, part in enumerate(parts):
        passed = frozenset(one.start for one in parts[1 : number + 1])
        steps += [Step(StepKind.ACT, ()), *part.steps] if states else part.steps
        states += [replace(state, passed=passed) for state in part.states]
    loop = None if story.loop is None else story.loop + len(states) - len(story.states)
    return Story(parts[0].start, tuple(states), tuple(steps), loop=loop)


def with_pressures(story: Story, pressures: tuple[tuple[Fraction, ...], ...]) -> Story:
    """The story with the pressures of its whole connected run, which are as many as `joined` has states."""
    own = len(story.states)
    lead = None if story.lead is None else with_pressures(story.lead, pressures[:-own])
    return replace(story, pressures=pressures[-own:], lead=lead)
