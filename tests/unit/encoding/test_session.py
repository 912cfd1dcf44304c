"""A session keeps its states apart, and says of each only what it is asked to."""

from __future__ import annotations

from bandproof.encoding.session import SolverSession
from bandproof.encoding.system import Problem, pose
from tests.conformance.case import step_rule
from tests.conformance.table import TABLE

#: Hand-proved arrangements with a state bit or more.
PROBLEMS = [found for case in TABLE if (found := pose(step_rule(case), case.property())).bits]


def unlike(problem: Problem) -> tuple[int, int]:
    """Two bits of one thermometer, of which the second is true only if the first is."""
    for lower, upper in zip(problem.bits, problem.bits[1:], strict=False):
        if lower.group == upper.group and 0 <= lower.rank < upper.rank:
            return problem.bits.index(lower), problem.bits.index(upper)
    return -1, -1


def test_a_state_is_part_of_models_before_anything_is_said_of_it() -> None:
    session = SolverSession(PROBLEMS[0])
    state = session.new_state()
    assert session.sat.holds()
    assert len(session.sat.model()) == len(state) == len(PROBLEMS[0].bits)
    session.sat.close()


def test_only_the_state_that_must_be_well_formed_is() -> None:
    problem, (lower, upper) = next((p, pair) for p in PROBLEMS if min(pair := unlike(p)) >= 0)
    session = SolverSession(problem)
    free, formed = session.new_state(), session.new_state()
    session.write(free, problem.bad)
    session.write_formed(formed, problem.bad)
    assert session.sat.holds([-free[lower], free[upper]])
    assert not session.sat.holds([-formed[lower], formed[upper]])
    assert session.sat.holds([formed[lower], formed[upper]])
    session.sat.close()


def test_problems_of_one_rule_share_what_is_alike() -> None:
    case = TABLE[0]
    rule = step_rule(case)
    problem = pose(rule, case.property())
    for _ in range(2):
        session = SolverSession(problem)
        session.write(session.new_state(), *problem.after)
        session.sat.close()
    assert problem.templates is rule.templates
    assert list(rule.templates).count((*(b.literal for b in problem.bits), *problem.after, problem.well_formed)) == 1
