"""The executable machine: every part a finite-state machine of `transitions`, the whole stepped from Python.

A `Rig` holds one state and changes it only by steps that the semantics accept. It is what replays counterexamples,
and what a person drives by hand. This is the only module that imports `transitions`.
"""

from __future__ import annotations

from dataclasses import replace

from transitions import Machine, MachineError

from bandproof.machine.endless import goes_round
from bandproof.machine.fillings import Window, windows
from bandproof.machine.layout import Layout
from bandproof.machine.monitor import first_bad
from bandproof.machine.semantics import (
    Reading,
    check_step,
    is_start,
    may_moves,
    pending,
    settled,
    successors,
    with_memory,
)
from bandproof.machine.story import Moved, State, Step, Story
from bandproof.model.arrangement import Part
from bandproof.properties.claim import Pace, Property, coming


class RigError(Exception):
    """A step that the arrangement cannot make."""


class PartMachine:
    """One part as a `transitions` machine; each of its moves is a trigger, open only while the move may be made."""

    def __init__(self, rig: Rig, part: Part, state: str) -> None:
        self._rig = rig
        self._part = part
        self.state = state
        table = [
            {"trigger": _trigger(m.target), "source": m.source, "dest": m.target, "conditions": "allowed"}
            for m in part.moves
        ]
        self._machine = Machine(
            model=self,
            states=list(part.states),
            transitions=table,
            initial=state,
            auto_transitions=False,
            send_event=True,
            model_override=False,
        )

    def allowed(self, event: object) -> bool:
        """The move behind a `transitions` event may be made in the rig's present state."""
        target = getattr(getattr(event, "transition", None), "dest", None)
        return any(m.target == target for m in may_moves(self._rig.reading(), self._part))

    def move(self, target: str) -> None:
        """Make the move to `target`; RigError when the part cannot."""
        try:
            moved = bool(self.trigger(_trigger(target)))  # type: ignore[attr-defined]
        except (MachineError, AttributeError) as error:
            message = f"{self._part.name} has no move from {self.state} to {target}"
            raise RigError(message) from error
        if not moved:
            message = f"{self._part.name} may not move from {self.state} to {target} now"
            raise RigError(message)


class Rig:
    """An arrangement standing in one state, with its part machines."""

    def __init__(self, layout: Layout, state: State, windows: tuple[Window, ...] = ()) -> None:
        self.layout = layout
        self.state = state
        self.windows = windows
        self.parts = {
            part.name: PartMachine(self, part, at)
            for part, at in zip(layout.arrangement.parts, state.parts, strict=True)
        }

    def reading(self) -> Reading:
        """The present state with its look-ups."""
        return Reading(self.layout, self.state)

    def pending(self) -> bool:
        """Some part must move now."""
        return pending(self.layout, self.state)

    def settled(self) -> bool:
        """The present state is settled."""
        return settled(self.layout, self.state)

    def options(self, pace: Pace = Pace.ANY_TIME, mishaps: frozenset[str] = frozenset()) -> list[tuple[Step, State]]:
        """Every step possible now, with the state it leads to."""
        return list(successors(self.layout, self.state, pace, mishaps, self.windows))

    def step(self, after: State, pace: Pace = Pace.ANY_TIME, mishaps: frozenset[str] = frozenset()) -> Step:
        """Step to `after`, each moving part by its own machine; RigError, with the reason, when no step leads there."""
        step = check_step(self.layout, self.state, after, pace, mishaps, windows=self.windows)
        if isinstance(step, str):
            raise RigError(step)
        for event in step.events:
            if isinstance(event, Moved):
                self.parts[event.part].move(event.target)
        self.state = replace(after, parts=tuple(m.state for m in self.parts.values()))
        return step


def _trigger(target: str) -> str:
    return f"to {target}"


def replay(layout: Layout, story: Story, claim: Property) -> str | None:
    """Run a story on the machine. None when it is a run of the arrangement that ends in the bad it claims; else why not.

    Checks the start and the run that comes to it, every step, the kinds and events written beside the steps, and that
    the last state, and no earlier one, is a bad; or, of a claim about where runs end, that it goes round for ever as that
    claim forbids.
    """
    fault = plays(layout, story, claim)
    if fault is not None:
        return fault
    states = with_memory(layout, story.states, windows(layout.arrangement, claim))
    if story.loop is not None or layout.monitor(claim).endless:
        return goes_round(layout, claim, states, story.loop)
    found = first_bad(layout, claim, states)
    if found != len(story.states) - 1:
        where = "no state" if found is None else f"state {found}"
        return f"the run should end in its first bad, but {where} is one"
    return None


def plays(layout: Layout, story: Story, claim: Property) -> str | None:
    """Why a story is no connected run at the claim's pace and with its mishaps, wherever it ends; None when it is one."""
    return _came_about(layout, story) or _goes(layout, story, claim)


def _came_about(layout: Layout, story: Story) -> str | None:
    """Why the story's first state is not shown to come about; None when it is, or when its start asks for nothing."""
    way, lead = layout.arrangement.way_to(story.start), story.lead
    if len(way) == 1:
        return None if lead is None else f"runs begin at the start {story.start!r}, and nothing comes before it"
    if lead is None or lead.start != way[-2].name:
        return f"it does not tell how the start {story.start!r} is reached from {way[-2].name!r}"
    fault = _came_about(layout, lead) or _goes(layout, lead, coming(lead.start))
    if fault is None and _without_memory(lead.states[-1]) != _without_memory(story.states[0]):
        fault = f"it does not end where the run from {story.start!r} begins"
    return None if fault is None else f"on the way from {lead.start!r}: {fault}"


def _without_memory(state: State) -> State:
    return replace(state, counts=(), crossed=())


def _goes(layout: Layout, story: Story, claim: Property) -> str | None:
    """Why a story is no run from its start, at the claim's pace and with its mishaps; None when it is one."""
    bounds = windows(layout.arrangement, claim)
    states = with_memory(layout, story.states, bounds)
    if not is_start(layout, states[0], layout.arrangement.start(story.start)):
        return f"the first state is not one of the start {story.start!r}"
    rig = Rig(layout, states[0], bounds)
    for number, (written, after) in enumerate(zip(story.steps, states[1:], strict=True), start=1):
        try:
            step = rig.step(after, claim.pace, claim.mishaps)
        except RigError as error:
            return f"step {number}: {error}"
        if step.kind is not written.kind or set(step.events) != set(written.events):
            return f"step {number} is written as {written} but is {step}"
    return None
