"""Certificates of random arrangements: every proof gets one that stands, with nothing in it that can be spared."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bandproof.certificates.checks import Excluded, recheck_against, write_certificate
from bandproof.certificates.invariant import minimised
from bandproof.certificates.smtlib import write
from bandproof.encoding.system import StepRule, pose
from bandproof.engines.run import decide, search
from bandproof.findings.finding import Verdict
from bandproof.properties.claim import Pace, Shape
from bandproof.solvers import z3_solver
from tests.differential.cases import draw_paced
from tests.strategies import arrangements, layout_for, properties


@pytest.mark.thorough
@pytest.mark.slow
@given(st.data())
@settings(max_examples=40, deadline=None)
def test_every_proof_has_a_certificate_that_stands(data: st.DataObject) -> None:
    arrangement = data.draw(arrangements())
    claim = data.draw(properties(arrangement))
    layout = layout_for(arrangement, claim)
    rule = StepRule(layout)
    for earlier in Pace:
        # What a rule was asked before must leave no trace in what is written; the checker starts from nothing.
        pose(rule, replace(claim, pace=earlier, when=claim.then, then=claim.when, shape=Shape.AT_REST))
    decision = decide(rule, claim)
    if decision.invariant is None:
        return
    problem = decision.problem
    text = write_certificate(problem, decision.invariant, lemmas=decision.lemmas).text
    outcome = recheck_against(text, arrangement, claim)
    assert outcome.faults == ()
    assert outcome.ok
    if decision.verdict is Verdict.EMPTY:
        condition = search(problem, problem.applies, lambda: None)
        assert condition.invariant is not None
        text = write_certificate(problem, condition.invariant, Excluded.CONDITION, decision.lemmas).text
        assert recheck_against(text, arrangement, claim).ok


@pytest.mark.slow
@given(st.data())
@settings(max_examples=25, deadline=None)
def test_no_clause_can_be_spared(data: st.DataObject) -> None:
    arrangement = data.draw(arrangements())
    claim = data.draw(properties(arrangement))
    decision = decide(StepRule(layout_for(arrangement, claim)), claim, witnessed=False)
    if decision.invariant is None:
        return
    problem = decision.problem
    clauses = minimised(problem, decision.invariant, problem.bad)
    for left_out in clauses:
        rest = tuple(clause for clause in clauses if clause != left_out)
        assert "sat" in z3_solver.answers(write(problem, rest, Excluded.BAD))


@pytest.mark.slow
@given(st.data())
@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_every_proof_with_pace_counters_has_a_certificate_that_stands(data: st.DataObject) -> None:
    layout, claim = draw_paced(data)
    decision = decide(StepRule(layout), claim, real=False)
    if decision.invariant is None:
        return
    text = write_certificate(decision.problem, decision.invariant).text
    outcome = recheck_against(text, layout.arrangement, claim)
    assert outcome.faults == ()
    assert outcome.ok
