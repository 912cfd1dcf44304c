"""Claims about where runs end: searches against looking at every state, on small arrangements drawn at random."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bandproof.certificates.checks import recheck_against, write_certificate
from bandproof.encoding.system import StepRule, pose
from bandproof.engines.run import decide
from bandproof.findings.finding import Verdict
from bandproof.machine.endless import driven
from bandproof.machine.layout import Layout
from bandproof.machine.rig import replay
from bandproof.machine.semantics import Reading
from bandproof.properties.claim import Property, Shape
from tests.differential import drawn
from tests.differential.cases import draw_case
from tests.differential.compare import bit_values, node_values
from tests.oracles.answers import by_reachability
from tests.oracles.rounds import by_components

SMALL = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
LARGE = settings(SMALL, max_examples=1_500)


def draw_ends(data: st.DataObject) -> tuple[Layout, Property]:
    """An arrangement, and a claim about where its runs end."""
    layout, claim = draw_case(data, most_volumes=3)
    return layout, replace(claim, shape=Shape.ENDS_IN, until=None)


def compare_searches(data: st.DataObject) -> None:
    layout, claim = draw_ends(data)
    ends = by_components(layout, claim, cap=400)
    if ends is None:
        return
    rule = StepRule(layout)
    assert by_reachability(pose(rule, claim)).reachable == ends.broken
    decision = decide(rule, claim, real=False)
    wanted = Verdict.REFUTED if ends.broken else Verdict.PROVEN if ends.met else Verdict.EMPTY
    assert decision.verdict is wanted
    if decision.story is not None:
        assert replay(layout, decision.story, claim) is None
    elif wanted is Verdict.PROVEN:
        text = write_certificate(decision.problem, decision.invariant or ()).text
        assert recheck_against(text, layout.arrangement, claim).ok


def compare_due(data: st.DataObject) -> None:
    """What is due is the same in both meanings, by itself and after any neighbour."""
    layout, claim = draw_case(data, most_volumes=5)
    rule = StepRule(layout)
    problem = pose(rule, claim)
    asked = [
        (v.name, via, upward)
        for v in layout.arrangement.volumes
        for via in (None, *rule.flow.neighbours(v.name))
        for upward in (True, False)
    ]
    roots = [rule.flow.driven(v, upward=upward, via=via) for v, via, upward in asked]
    for state in [data.draw(drawn.states(layout)) for _ in range(10)]:
        reading = Reading(layout, state)
        found = [driven(reading, v, upward=upward, via=via) for v, via, upward in asked]
        assert rule.circuit.evaluate(roots, node_values(problem, bit_values(problem, state))) == found


@pytest.mark.thorough
@pytest.mark.slow
@given(st.data())
@SMALL
def test_searches_agree_with_looking_at_every_state(data: st.DataObject) -> None:
    compare_searches(data)


@pytest.mark.slow
@given(st.data())
@SMALL
def test_what_is_due_is_the_same_in_both_meanings(data: st.DataObject) -> None:
    compare_due(data)


@pytest.mark.long
@given(st.data())
@LARGE
def test_searches_agree_with_looking_at_every_state_large(data: st.DataObject) -> None:
    compare_searches(data)


@pytest.mark.long
@given(st.data())
@LARGE
def test_what_is_due_is_the_same_in_both_meanings_large(data: st.DataObject) -> None:
    compare_due(data)
