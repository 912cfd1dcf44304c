"""k-induction: a proof by two bounded questions, asked for one k after another.

If none of the first k states of a run from the start is a bad, and no run of k steps through different states, none of
them a bad, ends in one, then no reachable state is a bad. Asking for different states makes the method complete: a run
through different states cannot be longer than there are states. That number is only practical for small models, so
this engine serves as a second opinion; the runner proves by reachability.
"""

from __future__ import annotations

from bandproof.encoding.system import Problem
from bandproof.engines.bounded import Unrolling


class DistinctRun(Unrolling):
    """Runs from any well-formed state whatever, through states that all differ."""

    def __init__(self, problem: Problem, length: int, goal: int | None = None) -> None:
        super().__init__(problem, from_start=False, goal=goal)
        self.grow_to(length + 1)
        for later in range(1, length + 1):
            for earlier in range(later):
                self._tell_apart(earlier, later)

    def _tell_apart(self, earlier: int, later: int) -> None:
        """Demand that some bit differs between the two copies."""
        differs: list[int] = []
        for one, other in zip(self._copies[earlier], self._copies[later], strict=True):
            fresh = self._session.new_variable()
            self._sat.add_all([[-fresh, one, other], [-fresh, -one, -other]])
            differs.append(fresh)
        self._sat.add(differs)


def prove_by_induction(problem: Problem, max_k: int, *, goal: int | None = None, distinct: bool = True) -> int | None:
    """Find the least k <= `max_k` for which k-induction proves that no reachable state is a bad, or None.

    `goal` takes the place of the problem's bad. None means undecided or refuted: a bad within `max_k` steps of the
    start ends the search. With `distinct` the states of a run must differ.
    """
    base = Unrolling(problem, from_start=True, goal=goal)
    try:
        for k in range(max_k + 1):
            if _step_holds(problem, k, goal, distinct=distinct):
                return k
            if base.reaches(k):
                return None
        return None
    finally:
        base.close()


def _step_holds(problem: Problem, k: int, goal: int | None, *, distinct: bool) -> bool:
    """No run of `k` steps whose first `k` states are no hits ends in a bad."""
    run = (
        DistinctRun(problem, k, goal) if distinct and problem.bits else Unrolling(problem, from_start=False, goal=goal)
    )
    try:
        for earlier in range(k):
            run.exclude(earlier)
        return not run.reaches(k)
    finally:
        run.close()
