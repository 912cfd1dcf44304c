"""A story is as short as can be, and it runs on the machine built of `transitions` machines, step by step."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bandproof.encoding.system import StepRule, pose
from bandproof.engines.bounded import Unrolling
from bandproof.engines.run import decide
from bandproof.machine.fillings import windows
from bandproof.machine.rig import Rig, RigError, replay
from bandproof.machine.semantics import check_step
from bandproof.machine.story import Crossed, Step, StepKind, Story
from bandproof.properties.claim import Shape
from tests.conformance.case import Case, below, never, refuted, some, step_rule
from tests.conformance.table import TABLE
from tests.conformance.table_flow import joined, starting, volumes
from tests.differential.cases import draw_case
from tests.oracles.answers import by_enumeration

TOLD = [case for case in TABLE if case.steps is not None]
LONGER = [case for case in TOLD if case.steps]

#: A `holds` claim remembers what a run has seen, so there alone a detour through a state can be needed.
DIRECT = [case for case in TOLD if case.claim.shape is not Shape.HOLDS]

by_case = pytest.mark.parametrize("case", TOLD, ids=lambda case: case.name)


def told(case: Case) -> Story:
    """The story the tool tells for a case."""
    story = decide(step_rule(case), case.property(), real=False).story
    assert story is not None
    return story


@by_case
def test_no_shorter_run_exists(case: Case) -> None:
    """Proved by hand, counted by enumeration, and no shorter run in the unrolled step."""
    length = len(told(case).steps)
    assert length == case.steps == by_enumeration(pose(step_rule(case), case.property())).steps
    unrolling = Unrolling(pose(step_rule(case), case.property()), from_start=True)
    assert not any(unrolling.reaches(depth) for depth in range(length))
    unrolling.close()


@pytest.mark.parametrize("case", DIRECT, ids=lambda case: case.name)
def test_no_part_of_a_story_can_be_skipped(case: Case) -> None:
    story, claim = told(case), case.property()
    assert len(set(story.states)) == len(story.states)
    for earlier, later in combinations(range(len(story.states)), 2):
        if later > earlier + 1:
            found = check_step(case.layout(), story.states[earlier], story.states[later], claim.pace, claim.mishaps)
            assert isinstance(found, str)


@by_case
def test_the_rig_makes_every_step_of_a_story(case: Case) -> None:
    story, claim = told(case), case.property()
    rig = Rig(case.layout(), story.states[0], windows(case.layout().arrangement, claim))
    for step, after in zip(story.steps, story.states[1:], strict=True):
        made = rig.step(after, claim.pace, claim.mishaps)
        assert (made.kind, set(made.events)) == (step.kind, set(step.events))
        assert rig.state == after
        assert tuple(machine.state for machine in rig.parts.values()) == after.parts
    assert replay(case.layout(), story, claim) is None


@pytest.mark.parametrize("case", LONGER, ids=lambda case: case.name)
def test_replay_refuses_a_story_that_is_not_one(case: Case) -> None:
    story, claim, layout = told(case), case.property(), case.layout()
    other = {StepKind.FLOW: StepKind.ACT, StepKind.ACT: StepKind.REACT, StepKind.REACT: StepKind.FLOW}
    wrong_kind = Step(other[story.steps[-1].kind], story.steps[-1].events)
    spoilt = {
        "cut short": Story(story.start, story.states[:-1], story.steps[:-1]),
        "begun late": Story(story.start, story.states[1:], story.steps[1:]),
        "a step called another kind": replace(story, steps=(*story.steps[:-1], wrong_kind)),
        "a step without its events": replace(story, steps=(*story.steps[:-1], Step(story.steps[-1].kind, ()))),
        "a step that changes nothing": Story(
            story.start, (story.states[0], *story.states), (story.steps[0], *story.steps)
        ),
    }
    assert {name for name, bad in spoilt.items() if replay(layout, bad, claim) is None} == set()


def test_the_rig_refuses_a_move_that_a_part_may_not_make() -> None:
    case = next(c for c in TABLE if c.name == "lift cannot")
    story = by_enumeration(pose(step_rule(case), case.property()))
    assert story.reachable is False
    first = next(c for c in TABLE if c.name == "lift may")
    start, tripped = told(first).states
    rig = Rig(case.layout(), replace(start, bands=(0,)))
    with pytest.raises(RigError, match="may not move from calm to tripped"):
        rig.parts["trip"].move("tripped")
    with pytest.raises(RigError, match="cannot move from calm to tripped"):
        rig.step(replace(tripped, bands=(0,)))
    with pytest.raises(RigError, match="has no move from calm to calm"):
        rig.parts["trip"].move("calm")


@pytest.mark.parametrize(("line", "tank"), [("a", "z"), ("z", "a")])
def test_of_a_line_and_a_tank_the_line_moves(line: str, tank: str) -> None:
    """Either would do, whichever has the earlier name; but the tank takes more air to move."""
    text = volumes(**{line: "line", tank: "tank"}) + joined(f"vent {line}", f"vent {tank}") + starting(a="3", z="3")
    case = refuted("a line beside a tank", "", text, never(some(below("a", 2), below("z", 2))), 1)
    (step,) = told(case).steps
    assert [event.volume for event in step.events if isinstance(event, Crossed)] == [line]


@pytest.mark.slow
@given(st.data())
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_stories_of_random_arrangements_have_nothing_to_skip(data: st.DataObject) -> None:
    layout, claim = draw_case(data, most_volumes=3)
    story = decide(StepRule(layout), claim, real=False).story
    if story is None:
        return
    assert replay(layout, story, claim) is None
    if claim.shape is Shape.HOLDS:
        return
    for earlier, later in combinations(range(len(story.states)), 2):
        if later > earlier + 1:
            skipped = check_step(layout, story.states[earlier], story.states[later], claim.pace, claim.mishaps)
            assert isinstance(skipped, str)
