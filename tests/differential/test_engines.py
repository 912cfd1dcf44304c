"""Every engine of the package against explicit enumeration: the same answer, and the same shortest length."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bandproof.encoding.system import StepRule, pose
from bandproof.engines.bounded import no_state_in
from bandproof.engines.run import decide
from bandproof.findings.finding import Verdict
from bandproof.machine.layout import Layout
from bandproof.machine.rig import replay
from bandproof.properties.claim import Property, Shape
from tests.differential.cases import draw_case, impossible
from tests.oracles.answers import by_bounded_search, by_enumeration, by_induction, by_reachability
from tests.oracles.induction import prove_by_induction

SMALL = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
LARGE = settings(SMALL, max_examples=2_000)


def compare_engines(data: st.DataObject) -> None:
    agree_with_enumeration(*draw_case(data, most_volumes=3))


def agree_with_enumeration(layout: Layout, claim: Property) -> None:
    """Every engine that decides says of the claim what enumeration says."""
    problem = pose(StepRule(layout), claim)
    truth = by_enumeration(problem, cap=2_000)
    if truth.reachable is None:
        return
    reached = by_reachability(problem)
    assert reached.reachable == truth.reachable
    bounded = by_bounded_search(problem, depth=6 if truth.steps is None else truth.steps)
    assert (bounded.reachable or False, bounded.steps) == (truth.reachable, truth.steps)
    for answer in (truth, bounded):
        if answer.story is not None:
            assert replay(layout, answer.story, claim) is None
    proof = by_induction(problem, max_k=6)
    assert proof.reachable is None or not truth.reachable
    weaker = prove_by_induction(problem, 3, distinct=False)
    assert weaker is None or not truth.reachable
    if truth.reachable:
        assert not no_state_in(problem, problem.bad)


def compare_runner(data: st.DataObject) -> None:
    """The runner says what enumeration says, and tells an empty claim from a proven one."""
    layout, claim = draw_case(data, most_volumes=3)
    rule = StepRule(layout)
    truth = by_enumeration(pose(rule, claim), cap=2_000)
    if truth.reachable is None:
        return
    decision = decide(rule, claim, real=False)
    assert (None if decision.story is None else len(decision.story.steps)) == truth.steps
    good, bad = (
        (Verdict.REFUTED, Verdict.PROVEN) if claim.shape is Shape.REACHABLE else (Verdict.PROVEN, Verdict.REFUTED)
    )
    if truth.reachable:
        assert decision.verdict is bad
        return
    conditional = claim.shape in (Shape.SETTLED, Shape.AT_REST, Shape.HOLDS)
    met = not conditional or by_enumeration(pose(rule, impossible(claim)), cap=10_000).reachable
    assert met is not None
    # Air may exclude a condition that the bands meet; such an answer rests on lemmas, which enumeration does not know.
    by_air = met and decision.verdict is Verdict.EMPTY and bool(decision.lemmas)
    assert by_air or decision.verdict is (good if met else Verdict.EMPTY)


@pytest.mark.slow
@given(st.data())
@SMALL
def test_engines_agree_with_enumeration(data: st.DataObject) -> None:
    compare_engines(data)


@pytest.mark.thorough
@pytest.mark.slow
@given(st.data())
@SMALL
def test_the_runner_agrees_with_enumeration(data: st.DataObject) -> None:
    compare_runner(data)


@pytest.mark.long
@given(st.data())
@LARGE
def test_engines_agree_with_enumeration_large(data: st.DataObject) -> None:
    compare_engines(data)


@pytest.mark.long
@given(st.data())
@LARGE
def test_the_runner_agrees_with_enumeration_large(data: st.DataObject) -> None:
    compare_runner(data)
