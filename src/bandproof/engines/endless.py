"""Runs from a start that go round for ever with the hands off: found with their story, or shown not to be there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from bandproof.encoding.bits import BitSort
from bandproof.encoding.circuit import negate
from bandproof.encoding.loops import changes, looping
from bandproof.encoding.silence import endless
from bandproof.encoding.system import Problem, StepRule, pose
from bandproof.engines.reachability import Reached
from bandproof.engines.silence import certified, searched
from bandproof.machine.layout import Layout
from bandproof.machine.story import Moved, Story
from bandproof.machine.telling import tell
from bandproof.model.arrangement import VolumeKind
from bandproof.model.conditions import ALWAYS_TRUE
from bandproof.properties.claim import Pace, Property, Shape

#: The searches from all starts of an arrangement together may take this many solver steps.
LIMIT = 24_000_000

#: One search may take this many.
LIMIT_OF_ONE = LIMIT // 4


@dataclass(frozen=True, slots=True)
class Endless:
    """A run that goes round for ever from its state number `loop` on, and the parts that move in it; or proofs of none.

    `due`: every move in the loop is sure to be due when it is made, whatever the numbers of the settings.
    """

    story: Story | None = None
    loop: int | None = None
    parts: tuple[str, ...] = ()
    due: bool = False
    proofs: tuple[tuple[str, str], ...] = ()


class EndlessRuns:
    """Searches for such runs on one layout; together they take at most LIMIT solver steps."""

    def __init__(self, layout: Layout, check: Callable[[], None] = lambda: None) -> None:
        self.layout = layout
        self._rule = StepRule(layout)
        self._check = check
        self._left = LIMIT

    def from_start(self, start: str, mishaps: frozenset[str]) -> Endless | None:
        """A run from the start without acts that comes back to a state, while parts move and tanks stay in their bands.

        One whose moves in the loop are all due, if there is one. None when the search was not finished.
        """
        if self._left <= 0:
            return None
        name = f"endless-from-{_slug(start)}{'-with-mishaps' if mishaps else ''}"
        says = f'from start "{start}", with the hands off and the tanks held, the parts come to rest'
        basis = "no run comes back to a state in such a way that some part could move for ever"
        claim = Property(name, says, basis, Shape.NEVER, start, ALWAYS_TRUE, pace=Pace.HANDS_OFF, mishaps=mishaps)
        any_moves = self._question(claim, due=False)
        found = self._search(any_moves)
        if found is None:
            return None
        if found.states is None:
            assert found.invariant is not None
            return Endless(proofs=((f"{name}.smt2", certified(any_moves, name, found.invariant)),))
        sure = self._search(self._question(claim, due=True))
        due = sure is not None and sure.states is not None
        states = sure.states if sure is not None and sure.states is not None else found.states
        problem = pose(self._rule, claim)
        seen = [problem.state_of(list(values[: len(problem.bits)])) for values in states]
        return _gone_round(tell(self.layout, claim, seen), due=due)

    def _search(self, problem: Problem) -> Reached | None:
        found, steps = searched(problem, min(self._left, LIMIT_OF_ONE), self._check)
        self._left -= steps
        return found

    def _question(self, claim: Property, *, due: bool) -> Problem:
        rule, problem = self._rule, pose(self._rule, claim)
        motion = self.layout.motion
        tanks = frozenset(rule.encoding.volumes_of([VolumeKind.TANK]))
        loop = endless(rule, problem, [one.part for one in motion.tanks_held], motion.tanks_held, motion.hunting.parts)
        wanted = [
            negate(changes(problem, [b for b in problem.bits if b.sort is BitSort.VOLUME and b.subject in tanks]))
        ]
        for part in self.layout.arrangement.parts if due else ():
            moved = changes(problem, [b for b in problem.bits if b.sort is BitSort.PART and b.subject == part.name])
            wanted.append(rule.circuit.implies(moved, rule.encoding.due(part)))
        return looping(problem, replace(loop, throughout=rule.circuit.all_of(wanted)))


def _gone_round(story: Story, *, due: bool) -> Endless:
    """The story with where its loop begins, and who moves in it."""
    loop = story.states.index(story.states[-1])
    moved = [event.part for step in story.steps[loop:] for event in step.events if isinstance(event, Moved)]
    return Endless(story, loop, tuple(dict.fromkeys(moved)), due)


def _slug(name: str) -> str:
    return "-".join("".join(c if c.isalnum() else " " for c in name).split())
