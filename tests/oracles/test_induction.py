"""k-induction finds the least k, and needs different states along a run to be complete."""

from __future__ import annotations

from bandproof.encoding.circuit import FALSE, TRUE
from bandproof.encoding.system import Problem, StepRule, pose
from tests.conformance.case import Case, at_least, never, proven, refuted, stands
from tests.conformance.table_flow import joined, starting, volumes
from tests.oracles.induction import prove_by_induction

LATE = volumes(v="line") + 'parts.march = { kind = "march" }\nstarts.start = { parts = { march = "three" } }\n'


def posed(case: Case) -> Problem:
    return pose(StepRule(case.layout()), case.property())


BEHIND = posed(proven("behind", "two comes before three, never after it", LATE, never(stands("march", "two"))))


def test_least_k_counts_the_ways_into_a_hit() -> None:
    """Two is entered from one, and one from nowhere: no run of two different quiet states ends in two."""
    assert prove_by_induction(BEHIND, 5) == 2


def test_without_different_states_a_run_may_wait_before_the_hit() -> None:
    assert prove_by_induction(BEHIND, 5, distinct=False) is None


def test_k_may_not_suffice() -> None:
    assert prove_by_induction(BEHIND, 1) is None


def test_a_goal_takes_the_place_of_the_hit() -> None:
    assert prove_by_induction(BEHIND, 0, goal=FALSE) == 0
    assert prove_by_induction(BEHIND, 5, goal=TRUE) is None


def test_one_step_induction() -> None:
    dead_end = proven(
        "dead end",
        "no air comes",
        volumes(v="line", w="line") + joined("oneway v w") + starting(),
        never(at_least("v", 2)),
    )
    assert prove_by_induction(posed(dead_end), 5) == 1


def test_a_reachable_hit_is_never_proven() -> None:
    fed = refuted(
        "fed", "the feed fills it", volumes(v="line") + joined("feed v") + starting(), never(at_least("v", 2)), 1
    )
    assert prove_by_induction(posed(fed), 9) is None


def test_an_arrangement_with_one_state() -> None:
    alone = proven("alone", "nothing can change", volumes(v="line") + starting(), never(at_least("v", 9)))
    assert posed(alone).bits == ()
    assert prove_by_induction(posed(alone), 3) == 0
