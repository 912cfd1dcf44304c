"""Every invariant of the reachability engine, asked of a fresh z3: it holds at the start, every step keeps it, no bad is in it.

Asked of the circuit itself, beside and apart from the certificates that the tool writes.
"""

from __future__ import annotations

import pytest
import z3

from bandproof.encoding.circuit import negate
from bandproof.encoding.system import Problem, pose
from tests.conformance.case import Case, step_rule
from tests.conformance.table import TABLE
from tests.oracles.answers import run_reachability
from tests.oracles.z3_engines import Translated

Clauses = tuple[tuple[int, ...], ...]


def excludes_bad(problem: Problem, invariant: Clauses) -> bool:
    """The three questions, each to be unsatisfiable: start, step, property."""
    c = problem.circuit
    holds = c.all_of([problem.well_formed, *(c.any_of(clause) for clause in invariant)])
    roots = [problem.start, problem.bad, holds, *problem.after, *(b.literal for b in problem.bits)]
    now, then = Translated(c, roots, "now"), Translated(c, roots, "then")
    stepped = [
        then.literal(bit.literal) == now.literal(after) for bit, after in zip(problem.bits, problem.after, strict=True)
    ]
    questions = [
        [now.literal(problem.start), now.literal(negate(holds))],
        [now.literal(holds), *stepped, then.literal(negate(holds))],
        [now.literal(holds), now.literal(problem.bad)],
    ]
    return all(unsatisfiable(question) for question in questions)


def unsatisfiable(question: list[z3.BoolRef]) -> bool:
    solver = z3.Solver()
    solver.add(question)
    return bool(solver.check() == z3.unsat)


SAFE = [case for case in TABLE if case.steps is None]


@pytest.mark.parametrize("case", SAFE, ids=lambda case: case.name)
def test_every_invariant_is_one(case: Case) -> None:
    problem = pose(step_rule(case), case.property())
    outcome = run_reachability(problem)
    assert outcome.invariant is not None
    assert excludes_bad(problem, outcome.invariant)


def test_an_invariant_cut_short_is_noticed() -> None:
    """Two invariants in three need their clauses; and calling a reachable bad impossible is never accepted."""
    problems = [pose(step_rule(case), case.property()) for case in SAFE]
    needed = [p for p in problems if not excludes_bad(p, ())]
    assert len(needed) > 2 / 3 * len(SAFE)
    for case in TABLE:
        if case.steps is not None:
            problem = pose(step_rule(case), case.property())
            assert not excludes_bad(problem, ((negate(problem.bad),),))
