"""Walks: every step of one is a step of the meaning, and what they see is never less than is there."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import islice, pairwise
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bandproof.encoding.system import StepRule, pose
from bandproof.engines.bounded import a_start
from bandproof.engines.walk import Sights, walk, walks
from bandproof.machine.semantics import check_step, is_start, start_states
from bandproof.machine.story import State, Step
from tests.conformance.table import TABLE
from tests.differential import drawn
from tests.differential.cases import draw_case


@pytest.mark.slow
@given(st.data(), st.integers(0, 5))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_every_step_of_a_walk_is_one_of_the_meaning(data: st.DataObject, seed: int) -> None:
    layout, claim = draw_case(data)
    first = data.draw(drawn.states(layout))
    seen = list(islice(walk(layout, claim, first, Random(seed)), 30))  # noqa: S311  (nothing secret is drawn)
    assert seen[0] == first
    for before, after in pairwise(seen):
        assert isinstance(check_step(layout, before, after, claim.pace, claim.mishaps), Step)


@pytest.mark.slow
@given(st.data())
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_a_walk_begins_in_the_start_if_there_is_one(data: st.DataObject) -> None:
    layout, claim = draw_case(data, most_volumes=3)
    start = layout.arrangement.start(claim.during)
    first = a_start(pose(StepRule(layout), claim))
    if first is None:
        assert not list(start_states(layout, start))
    else:
        assert is_start(layout, first, start)


def test_walks_end_where_nothing_is_left_to_do() -> None:
    """A line that only vents: three walks of the same few states, one for every threshold."""
    case = next(c for c in TABLE if c.name == "a line vents")
    layout, claim = case.layout(), case.property()
    first = next(start_states(layout, layout.arrangement.start(claim.during)))
    seen = list(walks(layout, claim, first))
    assert len(seen) <= 3 * (len(layout.thresholds["v"]) + 1)
    assert seen[-1] == replace(first, bands=(0,))


def test_what_was_seen_is_remembered_and_walks_go_no_farther_than_needed() -> None:
    case = TABLE[0]
    layout, claim = case.layout(), case.property()
    first = next(start_states(layout, layout.arrangement.start(claim.during)))
    taken = 0

    def counted() -> Iterator[State]:
        nonlocal taken
        for _ in range(5):
            taken += 1
            yield first

    sights = Sights(counted())
    assert sights.some(lambda state: state == first)
    assert sights.some(lambda state: state == first)
    assert taken == 1
    assert not sights.some(lambda _: False)
    assert taken == 5
