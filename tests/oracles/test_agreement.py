"""Second opinions on random arrangements: decision diagrams, z3's bounded search, z3's stock Horn engine.

All engines agree with explicit enumeration, or, where that is cut short, with decision diagrams; z3 may be undecided at
its limit, bounded searches beyond their depth, k-induction beyond its k.
"""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bandproof.encoding.system import StepRule, pose
from tests.differential.cases import draw_case
from tests.oracles.answers import agree, by_bounded_search, by_enumeration, by_induction, by_reachability
from tests.oracles.bdd import by_diagrams
from tests.oracles.z3_engines import by_z3_bounded_search, by_z3_horn

SMALL = settings(max_examples=10, deadline=None, suppress_health_check=[HealthCheck.too_slow])
LARGE = settings(SMALL, max_examples=500)


def compare_opinions(data: st.DataObject) -> None:
    layout, claim = draw_case(data, most_volumes=3)
    problem = pose(StepRule(layout), claim)
    truth = by_enumeration(problem, cap=2_000)
    if truth.reachable is None:
        truth = by_diagrams(problem)
    for engine in (
        by_diagrams,
        by_reachability,
        by_bounded_search,
        by_induction,
        by_z3_bounded_search,
        by_z3_horn,
    ):
        assert agree(truth, engine(problem)), engine.__name__


@pytest.mark.slow
@given(st.data())
@SMALL
def test_opinions_agree(data: st.DataObject) -> None:
    compare_opinions(data)


@pytest.mark.long
@given(st.data())
@LARGE
def test_opinions_agree_large(data: st.DataObject) -> None:
    compare_opinions(data)
