"""Every engine against explicit enumeration: the same answer, and the same shortest length."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from bandproof.engines.bounded import Unrolling, inductive, tell
from bandproof.engines.explore import explore
from bandproof.engines.reach import Reachability, Reached
from bandproof.machine.rig import replay
from bandproof.smt.system import Problem, StepRule, pose
from tests.strategies import arrangements, layout_for, properties


def reach(problem: Problem) -> Reached:
    """The reachability engine run to its end."""
    search = Reachability(problem)
    running = search.run()
    try:
        while True:
            next(running)
    except StopIteration as end:
        assert isinstance(end.value, Reached)
        return end.value
    finally:
        search.close()


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_engines_agree_with_enumeration(data: st.DataObject) -> None:
    arrangement = data.draw(arrangements())
    claim = data.draw(properties(arrangement))
    layout = layout_for(arrangement, claim)
    truth = explore(layout, claim, cap=3_000)
    if not truth.complete:
        return
    problem = pose(StepRule(layout), claim)
    outcome = reach(problem)
    assert (outcome.invariant is None) == (truth.story is not None)
    if truth.story is None:
        assert not Unrolling(problem, from_start=True).reaches(6)
        return
    depth = len(truth.story.steps)
    assert outcome.states is not None
    story = tell(problem, [problem.state_of(list(values)) for values in outcome.states])
    assert len(story.steps) == depth
    assert replay(layout, story, claim) is None
    unrolling = Unrolling(problem, from_start=True)
    assert [d for d in range(depth + 1) if unrolling.reaches(d)] == [depth]
    assert replay(layout, unrolling.story(depth), claim) is None
    assert not inductive(problem, 0)
