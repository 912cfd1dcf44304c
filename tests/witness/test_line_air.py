"""The hand-proved cases about the air in lines, one number for a setting and empty conditions, decided with real runs."""

from __future__ import annotations

import pytest

from bandproof.encoding.system import StepRule
from bandproof.engines.run import decide
from bandproof.findings.finding import Verdict
from bandproof.findings.reasons import Lemmas
from bandproof.machine.rig import replay
from bandproof.machine.story import State, Step, StepKind, Story
from bandproof.witness.pumping import LONGEST, pumped
from tests.conformance.case import Case
from tests.conformance.table_edges import NEEDS_ONE_NUMBER, NO_SUCH_AIR, ONE_NUMBER
from tests.conformance.table_holding import HOLDS_FOR_EVER
from tests.conformance.table_line_air import AIR_KEPT, LINE_AIR, MANY_LINES, NEEDS_FILLINGS

FED_BY_A_TANK = [case for case in HOLDS_FOR_EVER if "fed by a tank" in case.name]
CASES = [*LINE_AIR, *AIR_KEPT, *MANY_LINES, *ONE_NUMBER, *NEEDS_ONE_NUMBER, *NO_SUCH_AIR, *FED_BY_A_TANK]


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_case_is_decided_with_real_runs(case: Case) -> None:
    layout, claim = case.layout(), case.property()
    decision = decide(StepRule(layout), claim, witnessed=False)
    assert decision.verdict is case.verdict, decision.reasons
    if case.verdict is Verdict.REFUTED:
        assert decision.story is not None
        assert decision.story.pressures
        assert replay(layout, decision.story, claim) is None


@pytest.mark.parametrize(
    "name", ["many lines take no more than they hold", "a setting is not above and below one pressure"]
)
def test_a_proof_that_takes_an_account_says_so(name: str) -> None:
    (case,) = (case for case in CASES if case.name == name)
    decision = decide(StepRule(case.layout()), case.property())
    assert decision.lemmas
    assert decision.reasons == (Lemmas(len(decision.lemmas)),)


def test_a_regulator_fed_by_a_tank_is_among_the_cases() -> None:
    assert len(FED_BY_A_TANK) == 2


@pytest.mark.parametrize("case", NEEDS_FILLINGS[:2], ids=lambda case: case.name)
def test_a_few_strokes_are_proven(case: Case) -> None:
    assert case.fillings is not None
    assert decide(StepRule(case.layout()), case.property()).verdict is Verdict.PROVEN


# ---------------------------------------------------------------------------------------------------------- pumping


def story(*bands: int) -> Story:
    states = tuple(State((band,), (), ()) for band in bands)
    return Story("start", states, (Step(StepKind.FLOW, ()),) * (len(bands) - 1))


def walked(longer: Story) -> list[int]:
    return [state.bands[0] for state in longer.states]


def test_what_is_done_twice_is_done_more_often() -> None:
    assert [walked(longer) for longer in pumped(story(3, 1, 2, 1, 0), most=4)] == [[3, 1, 2, 1, 2, 1, 2, 1, 0]]
    assert [len(longer.steps) for longer in pumped(story(3, 1, 2, 1, 0))] == [4 + 2 * n for n in (8, 16, 32, 64)]


def test_what_is_done_once_is_left_as_it_is() -> None:
    assert list(pumped(story(3, 2, 1, 0))) == []
    assert list(pumped(story(3, 1, 2, 1, 0), most=2)) == []


def test_no_story_is_made_too_long() -> None:
    around = (*range(1, 20), *range(20, 0, -1))
    assert max(len(longer.steps) for longer in pumped(story(*around, *around[1:], 0))) <= LONGEST
