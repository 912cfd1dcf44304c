"""The runner: poses one property, lets the engines work side by side, checks what they say, and is the only way out.

A refutation is replayed on the executable machine before it leaves; a proof leaves with its invariant, which
`bandproof.certify` checks with another solver. Engines take turns by a clock of solver steps, not of seconds, so that
two runs give the same answer by the same engine.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from bandproof.engines.bounded import Unrolling, no_state_in, tell
from bandproof.engines.reach import Reachability, Reached
from bandproof.findings import Verdict
from bandproof.limits import GaveUpError
from bandproof.machine.judge import applies
from bandproof.machine.rig import replay
from bandproof.machine.story import State, Story
from bandproof.properties.claim import Property, Shape
from bandproof.smt.circuit import FALSE
from bandproof.smt.system import Problem, StepRule, pose

#: Reachability runs alone for this many solver steps before bounded search joins it: most claims are settled by then.
HEAD_START = 3_000_000

#: Once reachability has found some run, bounded search gets this many solver steps to find a shortest one.
SHORTEST = 100_000_000

#: A clock check between two units of work: raises to stop the search.
Check = Callable[[], None]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a search found: a shortest run to the goal, or the clauses of an invariant that excludes it."""

    story: Story | None
    invariant: tuple[tuple[int, ...], ...] | None
    engine: str
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Decision:
    """The answer to one property, checked. `problem` is what the invariant's literals refer to."""

    verdict: Verdict
    reason: str
    engine: str
    problem: Problem
    story: Story | None = None
    invariant: tuple[tuple[int, ...], ...] | None = None


class DisagreementError(Exception):
    """Two parts of the tool contradict each other. A defect of the tool: no verdict is given."""


def search(problem: Problem, goal: int, check: Check, *, shortest: bool = True) -> Outcome:
    """Find a run to `goal`, a shortest one unless told otherwise, or an invariant that excludes it.

    `check` may raise GaveUpError to stop the search; a run already found is then given all the same.
    """
    if goal == FALSE or no_state_in(problem, goal):
        return Outcome(None, (), "no state")
    reach = Reachability(problem, goal)
    running = reach.run()
    bounded: Unrolling | None = None
    longer: Reached | None = None
    allowance = 0
    depth = 0
    try:
        while True:
            check()
            if bounded is None and (longer is not None or reach.work > HEAD_START):
                bounded = Unrolling(problem, from_start=True, goal=goal)
            if longer is None and (bounded is None or reach.work < HEAD_START + bounded.work):
                try:
                    next(running)
                except StopIteration as end:
                    if end.value.states is None:
                        return Outcome(None, end.value.invariant, "reachability")
                    longer = end.value
                    allowance = SHORTEST + (bounded.work if bounded is not None else 0)
                    if not shortest:
                        return _as_found(problem, longer, depth)
            elif longer is not None and bounded is not None and bounded.work > allowance:
                return _as_found(problem, longer, depth)
            elif bounded is not None:
                if bounded.reaches(depth):
                    return Outcome(bounded.story(depth), None, "bounded search")
                bounded.exclude(depth)
                depth += 1
    except GaveUpError:
        if longer is None:
            raise
        return _as_found(problem, longer, depth)
    finally:
        reach.close()
        if bounded is not None:
            bounded.close()


def _as_found(problem: Problem, reached: Reached, depth: int) -> Outcome:
    """The run that reachability found, when bounded search could not look for a shorter one to the end."""
    assert reached.states is not None
    story = tell(problem, [problem.state_of(list(values)) for values in reached.states])
    reason = f"the story has {len(story.steps)} steps; there may be a shorter one, of at least {depth}"
    return Outcome(story, None, "reachability", reason if len(story.steps) > depth else "")


def decide(
    rule: StepRule, claim: Property, *, check: Check = lambda: None, seen: dict[str, list[State]] | None = None
) -> Decision:
    """Decide one property. `seen` keeps, per start, pace and mishaps, states known to be reachable, to be reused."""
    problem = pose(rule, claim)
    outcome = search(problem, problem.hit, check)
    known = {} if seen is None else seen
    pool = known.setdefault(f"{claim.during}|{claim.pace}|{sorted(claim.mishaps)}", [])
    if outcome.story is not None:
        fault = replay(rule.layout, outcome.story, claim)
        if fault is not None:
            message = f"{claim.id}: {outcome.engine} gave a run that the machine refuses: {fault}"
            raise DisagreementError(message)
        pool.extend(outcome.story.states)
        verdict = Verdict.PROVEN if claim.shape is Shape.REACHABLE else Verdict.REFUTED
        return Decision(verdict, outcome.remark, outcome.engine, problem, story=outcome.story)
    if claim.shape is Shape.REACHABLE:
        reason = "no run from the start gets there"
        return Decision(Verdict.REFUTED, reason, outcome.engine, problem, invariant=outcome.invariant)
    if _is_empty(rule, claim, problem, pool, check):
        reason = "its condition can never happen"
        return Decision(Verdict.EMPTY, reason, outcome.engine, problem, invariant=outcome.invariant)
    return Decision(Verdict.PROVEN, "", outcome.engine, problem, invariant=outcome.invariant)


def _is_empty(
    rule: StepRule, claim: Property, problem: Problem, pool: list[State], check: Check
) -> bool:
    """A conditional claim whose condition holds in no reachable state."""
    if claim.shape not in (Shape.SETTLED, Shape.AT_REST, Shape.HOLDS):
        return False
    if any(applies(rule.layout, claim, state) for state in pool):
        return False
    outcome = search(problem, problem.applies, check, shortest=False)
    if outcome.story is None:
        return True
    pool.extend(outcome.story.states)
    return False
