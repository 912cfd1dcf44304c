"""What a run of the bands says of a run in seconds: who acts, in which order, in which situation.

A story has no times. It tells in which situation each act comes - how the parts stand, which thresholds have been crossed
and which way - and where the run begins. All that is guidance for a search, none of it a demand: a vehicle that breaks the
claim in another way is as good.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from bandproof.machine.story import Crossed, Event, Moved, Occurred, Step, Story, Turned
from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import ALWAYS_TRUE, AllOf, AtLeast, Below, Condition, InState
from bandproof.properties.claim import Pace, Property
from bandproof.simulation.script import Occur, Turn


@dataclass(frozen=True, slots=True)
class PlannedAct:
    """An act or mishap, and the situation in which the story has it. `settles`: only once the vehicle has settled."""

    what: Turn | Occur
    situation: Condition
    settles: bool = False


@dataclass(frozen=True, slots=True)
class Plan:
    """What a search takes from a story.

    `parts` and `controls` are those the story begins with; `above` and `below` say which side of a threshold a volume
    begins on, where the story crosses one. `loose` are mishaps that the story does not have, and that may come at any time.
    """

    acts: tuple[PlannedAct, ...]
    parts: dict[str, str]
    controls: dict[str, str]
    above: dict[str, Fraction]
    below: dict[str, Fraction]
    loose: tuple[Occur, ...] = ()

    def with_mishaps(self, mishaps: Iterable[str]) -> Plan:
        """The plan with all these mishaps, those that it does not have at any time."""
        planned = {act.what for act in self.acts}
        return replace(self, loose=tuple(what for what in map(Occur, sorted(mishaps)) if what not in planned))

    def without(self, first: int, count: int = 1) -> Plan:
        """The plan without some acts in a row."""
        return replace(self, acts=(*self.acts[:first], *self.acts[first + count :]))

    def pumped(self, positions: Mapping[str, Sequence[str]], times: int, *, settles: bool) -> Iterator[Plan]:
        """For each control: the plan, then that control turned to and fro so many times; those that the plan turns first.

        Little air goes with each turn, so a story of the bands may turn it once, or leave it, where a vehicle needs a hundred
        times. `positions` are those of every control. `settles`: the driver lets the air settle before each turn.
        """
        turned = dict.fromkeys(act.what.control for act in self.acts if isinstance(act.what, Turn))
        for control in (*turned, *(name for name in positions if name not in turned)):
            stands = [self.controls[control], *self._positions(control)]
            others = [one for one in positions[control] if one != stands[-1]]
            other = stands[-2] if len(stands) > 1 and stands[-2] != stands[-1] else others[0]
            back, there = (PlannedAct(Turn(control, one), ALWAYS_TRUE) for one in (other, stands[-1]))
            stroke = replace(back, settles=settles), replace(there, settles=settles)
            yield replace(self, acts=(*self.acts, *stroke * times))

    def _positions(self, control: str) -> list[str]:
        """What the plan sets a control to, in order."""
        turns = [act.what for act in self.acts if isinstance(act.what, Turn)]
        return [what.position for what in turns if what.control == control]


def plan_of(arrangement: Arrangement, claim: Property, story: Story) -> Plan:
    """The acts of a story in their order, and where it begins."""
    acts = []
    for number, step in enumerate(story.steps):
        for event in step.events:
            if isinstance(event, Turned | Occurred):
                settles = isinstance(event, Turned) and claim.pace is Pace.AFTER_SETTLING
                situation = _situation(arrangement, story, number)
                acts.append(PlannedAct(_deed(event), situation, settles))
    names = [part.name for part in arrangement.parts], [control.name for control in arrangement.controls]
    first = story.states[0]
    above, below = _sides(story.steps)
    return Plan(
        tuple(acts),
        dict(zip(names[0], first.parts, strict=True)),
        dict(zip(names[1], first.controls, strict=True)),
        above,
        below,
    )


def _deed(event: Turned | Occurred) -> Turn | Occur:
    return Turn(event.control, event.target) if isinstance(event, Turned) else Occur(event.mishap)


def _situation(arrangement: Arrangement, story: Story, number: int) -> Condition:
    """How the story stands before its step of this number: parts that it moves, and each threshold last crossed."""
    moving = {event.part for step in story.steps for event in step.events if isinstance(event, Moved)}
    parts: list[Condition] = [
        InState(part.name, frozenset({state}))
        for part, state in zip(arrangement.parts, story.states[number].parts, strict=True)
        if part.name in moving
    ]
    last = {event.volume: event for event in _crossings(story.steps[:number])}
    return AllOf((*parts, *map(_after, last.values())))


def _after(event: Crossed) -> Condition:
    side = AtLeast if event.upward else Below
    return side(event.volume, event.threshold, event.threshold)


def _sides(steps: Sequence[Step]) -> tuple[dict[str, Fraction], dict[str, Fraction]]:
    above: dict[str, Fraction] = {}
    below: dict[str, Fraction] = {}
    for event in _crossings(steps):
        if event.volume not in above and event.volume not in below:
            (below if event.upward else above)[event.volume] = event.threshold
    return above, below


def _crossings(steps: Sequence[Step]) -> list[Crossed]:
    events: list[Event] = [event for step in steps for event in step.events]
    return [event for event in events if isinstance(event, Crossed)]
