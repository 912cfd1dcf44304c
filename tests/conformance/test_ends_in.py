"""The table of claims about where runs end, by every engine: the verdict proved by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from bandproof.certificates.checks import Excluded, recheck_against, write_certificate
from bandproof.encoding.system import pose
from bandproof.engines.run import decide, search
from bandproof.findings.finding import Verdict
from bandproof.machine.endless import due_throughout, lost_for_good
from bandproof.machine.rig import replay
from bandproof.machine.semantics import start_states, successors
from bandproof.machine.story import Step, StepKind, Story
from bandproof.model.conditions import Not
from bandproof.properties.claim import Pace, Shape
from tests.conformance.case import Case, below, refuted, step_rule
from tests.conformance.small_parts import piece
from tests.conformance.table_ends_in import DUMP, ENDS_IN, ends_in
from tests.conformance.table_holding import line
from tests.oracles.answers import by_bounded_search, by_induction, by_reachability, run_reachability
from tests.oracles.bdd import by_diagrams
from tests.oracles.rounds import by_components

by_case = pytest.mark.parametrize("case", ENDS_IN, ids=lambda case: case.name)
PROVED = [case for case in ENDS_IN if case.verdict is not Verdict.REFUTED]
REFUTED = [case for case in ENDS_IN if case.verdict is Verdict.REFUTED]


def test_the_table_is_a_table() -> None:
    assert len({case.name for case in ENDS_IN}) == len(ENDS_IN) >= 40
    assert all(case.why and "\n" not in case.why for case in ENDS_IN)


@by_case
def test_looking_at_every_state_finds_what_was_proved_by_hand(case: Case) -> None:
    ends = by_components(case.layout(), case.property())
    assert ends is not None
    assert ends.broken is (case.verdict is Verdict.REFUTED), case.why
    assert ends.met is (case.verdict is not Verdict.EMPTY), case.why


@by_case
def test_searches_find_what_was_proved_by_hand(case: Case) -> None:
    problem = pose(step_rule(case), case.property())
    broken = case.verdict is Verdict.REFUTED
    assert by_reachability(problem).reachable is broken, case.why
    assert by_bounded_search(problem, depth=12).reachable is (True if broken else None), case.why
    assert not by_induction(problem).reachable
    assert (run_reachability(problem, problem.applies).states is None) is (case.verdict is Verdict.EMPTY)


@pytest.mark.slow
@pytest.mark.parametrize("case", ENDS_IN[::6], ids=lambda case: case.name)
def test_diagrams_find_what_was_proved_by_hand(case: Case) -> None:
    assert by_diagrams(pose(step_rule(case), case.property())).reachable is (case.verdict is Verdict.REFUTED)


@pytest.mark.slow
@pytest.mark.parametrize("real", [False, True], ids=["bands", "air"])
@by_case
def test_the_runner_decides_as_proved_by_hand(case: Case, real: bool) -> None:
    decision = decide(step_rule(case), case.property(), real=real, witnessed=False)
    assert decision.verdict is case.verdict, case.why
    assert (decision.story is None) == (decision.invariant is not None)
    if decision.story is not None:
        assert decision.story.loop is not None
        assert replay(case.layout(), decision.story, case.property()) is None
        assert bool(decision.story.pressures) is real


@pytest.mark.parametrize("case", PROVED, ids=lambda case: case.name)
def test_every_proof_is_a_certificate_that_stands(case: Case) -> None:
    rule, claim = step_rule(case), case.property()
    decision = decide(rule, claim, real=False)
    invariant, excluded = decision.invariant, Excluded.BAD
    if case.verdict is Verdict.EMPTY:
        excluded = Excluded.CONDITION
        invariant = search(decision.problem, decision.problem.applies, lambda: None).invariant
    assert invariant is not None
    text = write_certificate(decision.problem, invariant, excluded).text
    assert recheck_against(text, case.layout().arrangement, claim).ok
    other = replace(claim, mishaps=claim.mishaps ^ {"tear"}, when=claim.then)
    assert not recheck_against(text, case.layout().arrangement, other).ok


# ------------------------------------------------------------------------------------------- what the machine refuses


def story_of(name: str) -> tuple[Case, Story]:
    """The story of a case that is refuted, on bands."""
    case = next(case for case in REFUTED if case.name == name)
    story = decide(step_rule(case), case.property(), real=False).story
    assert story is not None
    return case, story


def refusal(case: Case, story: Story) -> str:
    """Why the machine refuses a story."""
    return replay(case.layout(), story, case.property()) or "it stands"


def test_a_story_has_to_say_where_it_goes_round() -> None:
    case, story = story_of("a regulator does not end shut")
    assert refusal(case, replace(story, loop=None)) == "it is not told from which state on the run goes round"
    assert refusal(case, replace(story, loop=1)) == "the last state is not state 1 again"


def test_a_story_of_another_shape_does_not_go_round() -> None:
    case, story = story_of("a shut-in line stays")
    never = replace(case, claim=replace(case.claim, shape=Shape.NEVER))
    assert refusal(never, story) == "the claim says nothing of runs that go round for ever"


def refused(name: str, story: Callable[[Case], Story]) -> str:
    """Why the machine refuses a story made up for a case."""
    case = next(case for case in ENDS_IN if case.name == name)
    return refusal(case, story(case))


def staying(case: Case, steps: int = 0) -> Story:
    """A run of a few steps from a start, each the first that the machine offers, that stays where it then is."""
    layout, claim = case.layout(), case.property()
    states = [next(iter(start_states(layout, layout.arrangement.starts[0])))]
    made: list[Step] = []
    for _ in range(steps):
        step, after = next(iter(successors(layout, states[-1], claim.pace, claim.mishaps)))
        made.append(step)
        states.append(after)
    return Story("start", tuple(states), tuple(made), loop=steps)


def test_what_is_due_all_the_time_happens() -> None:
    assert refused("a fed line fills", staying) == "in every state of the round v is due to rise"
    assert refused("a vented line empties", staying) == "in every state of the round v is due to fall"
    slow = "in every state of the round trip is due by its move 1"
    assert refused("a slow part moves in the end", staying) == slow


def test_no_round_is_gone_while_a_part_must_move() -> None:
    stopped = "in every state of the round a part must move, so that no time passes"
    assert refused("a march ends", staying) == stopped


def test_a_round_has_no_acts() -> None:
    def turning(case: Case) -> Story:
        layout = case.layout()
        states = [next(iter(start_states(layout, layout.arrangement.starts[0])))]
        made = []
        for _ in range(2):
            acting = (pair for pair in successors(layout, states[-1], Pace.ANY_TIME, frozenset()))
            step, after = next((step, after) for step, after in acting if step.kind is StepKind.ACT)
            made.append(step)
            states.append(after)
        return Story("start", tuple(states), tuple(made), loop=0)

    reason = refused("a line beside a lever", turning)
    assert reason == "the driver acts, or something happens, while it goes round"


def test_air_that_is_lost_for_good_is_lost_in_the_end() -> None:
    assert refused("a chain empties", staying) == "air goes from near to atmosphere for good, round after round"


def test_what_is_due_in_some_states_only_need_not_happen() -> None:
    case, story = story_of("a slow part that is due again and again, but not for long")
    around = story.states[story.loop : -1]
    turned = [(*around[k:], *around[:k]) for k in range(len(around))]
    assert [due_throughout(case.layout(), states) for states in turned] == [frozenset()] * len(around)
    alone = [due_throughout(case.layout(), [state]) for state in around]
    assert {"trip is due by its move 1" in due for due in alone} == {True, False}


def test_a_way_that_is_open_at_times_may_lose_little() -> None:
    text = line(piece("dump", "dump", ports={"a": "v"}, sizes={"bore": "5"}), v="5", kinds=DUMP)
    layout = refuted("dump", "", text, ends_in(below("v", 2))).layout()
    (shut,) = start_states(layout, layout.arrangement.starts[0])
    wide = replace(shut, parts=("open",))
    assert lost_for_good(layout, [wide]) == {("v", "atmosphere")}
    assert lost_for_good(layout, [wide, replace(shut, bands=(0,))]) == frozenset()


def test_the_end_has_to_fail_in_the_round_and_the_condition_to_hold() -> None:
    case, story = story_of("a shut-in line stays")
    end, never = case.claim.then, Not(case.claim.then)
    assert refusal(replace(case, claim=replace(case.claim, then=never)), story) == (
        "what the claim says holds in all states of the round"
    )
    assert refusal(replace(case, claim=replace(case.claim, when=end)), story) == (
        "the condition of the claim does not hold in all states of the round"
    )
