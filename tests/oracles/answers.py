"""One shape for what any engine says about one problem, and the engines and oracles in that shape."""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass, replace
from itertools import pairwise

from bandproof.encoding.system import Problem
from bandproof.engines.bounded import Unrolling
from bandproof.engines.reachability import Reachability, Reached
from bandproof.machine.semantics import check_step
from bandproof.machine.story import State, Story
from bandproof.machine.telling import NotARunError
from tests.oracles.explore import explore
from tests.oracles.induction import prove_by_induction


@dataclass(frozen=True, slots=True)
class Answer:
    """What an engine found out about the problem's bad.

    `steps`: a bad is reachable, and the nearest takes that many steps (None with `reachable` when the engine cannot
    tell how many). `reachable` None: undecided, and `why` says why; `beyond` is then the depth up to which no bad is.
    """

    reachable: bool | None
    steps: int | None = None
    why: str = ""
    beyond: int | None = None
    story: Story | None = None


def by_enumeration(problem: Problem, *, cap: int = 20_000) -> Answer:
    """Explicit enumeration on the executable machine; undecided at the cap."""
    found = explore(problem.layout, problem.claim, cap=cap)
    if found.story is not None:
        return Answer(reachable=True, steps=len(found.story.steps), story=found.story)
    return Answer(reachable=False) if found.complete else Answer(None, why=f"more than {cap} states")


def by_reachability(problem: Problem) -> Answer:
    """The reachability engine run to its end. It accelerates past thresholds that nothing compares, so it counts no steps.

    A run that the executable machine cannot follow, acceleration by acceleration, is no answer but an error.
    """
    outcome = run_reachability(problem)
    if outcome.states is None:
        return Answer(reachable=False)
    states = [problem.state_of(list(values)) for values in outcome.states]
    for before, after in pairwise(states):
        if not leads_to(problem, before, after):
            message = f"no steps lead from {before} to {after}"
            raise NotARunError(message)
    return Answer(reachable=True)


def leads_to(problem: Problem, before: State, after: State) -> bool:
    """Nothing changes, or one step leads there, or flow steps of one volume alone do."""
    layout, claim, windows = problem.layout, problem.claim, problem.windows
    here = before
    while here != after:
        if not isinstance(check_step(layout, here, after, claim.pace, claim.mishaps, windows=windows), str):
            return True
        towards = tuple(b + (a > b) - (a < b) for b, a in zip(here.bands, after.bands, strict=True))
        further = replace(here, bands=towards)
        single = sum(a != b for a, b in zip(here.bands, towards, strict=True)) == 1
        step = check_step(layout, here, further, claim.pace, claim.mishaps, windows=windows)
        if not single or isinstance(step, str):
            return False
        here = further
    return True


def run_reachability(problem: Problem, goal: int | None = None) -> Reached:
    """The outcome of the reachability engine."""
    search = Reachability(problem, goal)
    outcome: list[Reached] = []

    def work() -> Generator[None, None, None]:
        outcome.append((yield from search.run()))

    for _ in work():
        pass
    search.close()
    return outcome[0]


def by_bounded_search(problem: Problem, *, depth: int = 8) -> Answer:
    """Bounded search: it finds a nearest bad, and is undecided when there is none within `depth` steps."""
    unrolling = Unrolling(problem, from_start=True)
    try:
        for steps in range(depth + 1):
            if unrolling.reaches(steps):
                return Answer(reachable=True, steps=steps, story=unrolling.story(steps))
        return Answer(None, why=f"no bad within {depth} steps", beyond=depth)
    finally:
        unrolling.close()


def by_induction(problem: Problem, *, max_k: int = 8) -> Answer:
    """k-induction: it proves, and is undecided when a bad is reachable or a larger k would be needed."""
    k = prove_by_induction(problem, max_k)
    return Answer(None, why=f"no proof with k up to {max_k}") if k is None else Answer(reachable=False)


Engine = Callable[[Problem], Answer]


def agree(truth: Answer, answer: Answer) -> bool:
    """`answer` is undecided without contradicting `truth`, or says the same and counts the same steps."""
    if answer.reachable is None:
        return answer.beyond is None or truth.steps is None or truth.steps > answer.beyond
    return answer.reachable == truth.reachable and (answer.steps is None or answer.steps == truth.steps)
