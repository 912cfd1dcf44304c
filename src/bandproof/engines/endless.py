"""Runs from a start that go round for ever with the hands off: found with their story, or shown not to be there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from bandproof.certificates.basis import Silent, basis_of
from bandproof.encoding.problem import Problem
from bandproof.encoding.silence import endless_claim, endless_problem
from bandproof.encoding.system import StepRule, pose
from bandproof.engines.reachability import Reached
from bandproof.engines.silence import certified, searched
from bandproof.machine.layout import Layout
from bandproof.machine.story import Moved, Story
from bandproof.machine.telling import tell

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
    """Searches for such runs on one layout; together they take at most LIMIT solver steps.

    `silent` are the layout's silent parts with their proofs.
    """

    def __init__(
        self, layout: Layout, silent: tuple[Silent, ...] = (), check: Callable[[], None] = lambda: None
    ) -> None:
        self.layout = layout
        self._basis = basis_of(layout, silent)
        self._rule = StepRule(layout)
        self._check = check
        self._left = LIMIT

    def from_start(self, start: str, mishaps: frozenset[str]) -> Endless | None:
        """A run from the start without acts that comes back to a state, while parts move and tanks stay in their bands.

        One whose moves in the loop are all due, if there is one. None when the search was not finished.
        """
        if self._left <= 0:
            return None
        claim = endless_claim(start, mishaps)
        any_moves = endless_problem(self._rule, claim, due=False)
        found = self._search(any_moves)
        if found is None:
            return None
        if found.states is None:
            assert found.invariant is not None
            proof = certified(any_moves, claim.id, found.invariant, self._basis)
            return Endless(proofs=((f"{claim.id}.smt2", proof),))
        sure = self._search(endless_problem(self._rule, claim, due=True))
        due = sure is not None and sure.states is not None
        states = sure.states if sure is not None and sure.states is not None else found.states
        problem = pose(self._rule, claim)
        seen = [problem.state_of(list(values[: len(problem.bits)])) for values in states]
        return _gone_round(tell(self.layout, claim, seen), due=due)

    def _search(self, problem: Problem) -> Reached | None:
        found, steps = searched(problem, min(self._left, LIMIT_OF_ONE), self._check)
        self._left -= steps
        return found


def _gone_round(story: Story, *, due: bool) -> Endless:
    """The story with where its loop begins, and who moves in it."""
    loop = story.states.index(story.states[-1])
    moved = [event.part for step in story.steps[loop:] for event in step.events if isinstance(event, Moved)]
    return Endless(story, loop, tuple(dict.fromkeys(moved)), due)
