"""A lesson forbids the stories that taught it, forbids no real run, and is agreed to by a second solver."""

from __future__ import annotations

from itertools import islice, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandproof.engines.bounded import tell
from bandproof.engines.run import decide, search
from bandproof.findings import Verdict
from bandproof.machine.layout import Layout
from bandproof.machine.semantics import start_states, successors
from bandproof.machine.story import State, Step, StepKind, Story
from bandproof.model.arrangement import Arrangement
from bandproof.properties.claim import Pace, Property
from bandproof.smt import cvc5_solver, z3_solver
from bandproof.smt.learned import Lesson, contradiction, forbids, lesson_of, refine
from bandproof.smt.places import Atom, true_of, whole
from bandproof.smt.realise import Impossible, Real, Unclear, realise
from bandproof.smt.system import Problem, StepRule, pose
from tests.realise.balance import wrong_with
from tests.realise.samples import at_least, cylinder, learn, lock, never, ring
from tests.strategies import arrangements, layout_for, properties

Sample = tuple[Arrangement, Property]


def watched(rule: StepRule, problem: Problem, story: Story) -> bool:
    """The problem's own watch, followed along a story by evaluating its formulas: some lesson forbids the story."""
    circuit = problem.circuit
    literal = {(bit.group, bit.value): bit.literal for bit in problem.bits}
    dead = [literal[key] for key in literal if key[0].startswith("lesson ") and key[0].endswith("forbidden")]
    memory = {bit.literal >> 1: False for bit in problem.bits if bit.group.startswith("lesson ")}
    after = {bit.literal >> 1: value for bit, value in zip(problem.bits, problem.after, strict=True)}
    for state in story.states:
        values = {**bit_values(rule, state), **memory}
        nodes = sorted(memory)
        truth = circuit.evaluate([after[node] for node in nodes], values)
        memory = dict(zip(nodes, truth, strict=True))
    return any(memory[x >> 1] for x in dead)


def bit_values(rule: StepRule, state: State) -> dict[int, bool]:
    """The state bits of a state, by node."""
    e, arrangement = rule.encoding, rule.layout.arrangement
    values: dict[int, bool] = {}
    for volume, band in zip(arrangement.volumes, state.bands, strict=True):
        values.update({bit >> 1: rank < band for rank, bit in enumerate(e.levels[volume.name])})
    for part, now in zip(arrangement.parts, state.parts, strict=True):
        for name in part.states:
            x = e.part_in(part.name, name)
            values[x >> 1] = (name == now) != bool(x & 1)
    for control, position in zip(arrangement.controls, state.controls, strict=True):
        for name in control.positions:
            x = e.control_at(control.name, name)
            values[x >> 1] = (name == position) != bool(x & 1)
    for mishap in arrangement.mishaps:
        values[e.present(mishap.name) >> 1] = mishap.name in state.mishaps
    values.pop(0, None)
    return values


def taught(sample: Sample) -> tuple[Layout, Story, Lesson]:
    arrangement, claim = sample
    layout = layout_for(arrangement, claim)
    problem = pose(StepRule(layout), claim)
    story = search(problem, problem.hit, lambda: None).story
    assert story is not None
    answer = realise(layout, story, claim)
    assert isinstance(answer, Impossible)
    assert answer.reason
    return layout, story, answer.lesson


SAMPLES = [cylinder("1"), cylinder(("1", "40")), ring(600), ring(890), lock()]


@pytest.mark.parametrize("sample", SAMPLES)
def test_two_solvers_agree_that_the_accounts_of_a_lesson_contradict_each_other(sample: Sample) -> None:
    layout, story, lesson = taught(sample)
    text = contradiction(layout, lesson)
    assert z3_solver.answers(text) == ("unsat",)
    assert cvc5_solver.answers(text) == ("unsat",)
    assert forbids(layout, lesson, story)


@pytest.mark.parametrize("sample", SAMPLES)
def test_nothing_in_a_lesson_can_be_spared(sample: Sample) -> None:
    layout, _, lesson = taught(sample)
    for number, place in enumerate(lesson.places):
        for atom in place:
            places = [frozenset(p - {atom}) if i == number else p for i, p in enumerate(lesson.places)]
            assert z3_solver.answers(contradiction(layout, Lesson(tuple(places), lesson.start))) == ("sat",)


def test_a_lesson_of_a_start_is_of_that_start_only() -> None:
    layout, _, lesson = taught(cylinder("1"))
    assert lesson.start == "start"
    assert z3_solver.answers(contradiction(layout, Lesson(lesson.places, None))) == ("sat",)


HIGH, LOW = Atom("level", "tank", 0), Atom("level", "tank", 0, holds=False)
FULL = Atom("level", "pilot", 0)


@pytest.mark.parametrize("start", [None, "start"])
@pytest.mark.parametrize(
    "places",
    [
        [{LOW, FULL}, {HIGH}, {LOW}],
        [{LOW, FULL}, {LOW}, {HIGH}],
        [{LOW}, {LOW, FULL}, {FULL}],
        [{LOW}, set(), {HIGH, FULL}],
        [{HIGH}],
    ],
)
def test_the_watch_forgets_nothing_and_skips_nothing(places: list[set[Atom]], start: str | None) -> None:
    """The watch and the plain walk agree on every order of states, also where one state fits two places."""
    arrangement, claim = cylinder("1")
    layout = layout_for(arrangement, claim)
    rule = StepRule(layout)
    states = [State((pilot, tank), ("shut",), ("off",)) for pilot in (0, 1) for tank in (0, 1)]
    lesson = Lesson(tuple(map(frozenset, places)), start)
    problem = refine(rule, pose(rule, claim), lesson)
    orders = list(product(states, repeat=3))
    found = 0
    for order in orders:
        story = Story("start", order, (Step(StepKind.FLOW, ()),) * 2)
        assert watched(rule, problem, story) == forbids(layout, lesson, story)
        found += forbids(layout, lesson, story)
    assert 0 < found < len(orders)


def test_a_contradiction_that_a_fresh_solver_does_not_see_teaches_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bandproof.smt.realise.contradiction", lambda *_: "(declare-const |a b| Bool)\n(check-sat)\n")
    arrangement, claim = cylinder("1")
    layout = layout_for(arrangement, claim)
    problem = pose(StepRule(layout), claim)
    story = search(problem, problem.hit, lambda: None).story
    assert story is not None
    answer = realise(layout, story, claim)
    assert isinstance(answer, Unclear)
    assert "not confirmed" in answer.reason


@pytest.mark.parametrize("claim", [never(at_least("tank", 100)), never(at_least("pilot", 100))])
def test_a_search_that_a_hint_cuts_short_has_proven_nothing(monkeypatch: pytest.MonkeyPatch, claim: Property) -> None:
    """The hint forbids every run, so none is left to be found; but it was never shown that none is real."""
    hint = Unclear("it is not known", Lesson((frozenset(),), None))
    monkeypatch.setattr("bandproof.engines.run.make_real", lambda *_, **__: hint)
    arrangement, _ = cylinder("1")
    decision = decide(StepRule(layout_for(arrangement, claim)), claim)
    assert decision.verdict is Verdict.UNDECIDED
    assert "it is not known" in decision.reason


def test_a_lesson_of_another_start_does_not_speak_of_this_one() -> None:
    arrangement, claim = cylinder("1")
    layout = layout_for(arrangement, claim)
    lesson = Lesson((frozenset(),), "another")
    assert not forbids(layout, lesson, Story("start", (State((1, 0), ("shut",), ("off",)),), ()))


def test_alike_neighbours_become_one_place() -> None:
    one, other = Atom("level", "v", 0), Atom("level", "w", 0)
    needs = frozenset({(2, one), (3, one), (5, other), (6, one), (6, other)})
    places = lesson_of(needs, None).places
    assert places == (frozenset({one}), frozenset(), frozenset({other}), frozenset({one, other}))
    assert lesson_of(needs, "start").places == (frozenset(), *places)


@pytest.mark.slow
def test_learning_comes_to_an_end_when_the_air_is_there_after_more_rounds() -> None:
    _, lessons, answer = learn(*lock(), 0)
    assert len(lessons) <= 1
    assert isinstance(answer, Real | Impossible)


# ------------------------------------------------------------------------------------------------------ random ones


def a_run(data: st.DataObject, layout: Layout, claim: Property, length: int) -> Story | None:
    """Some run of the band machine from the start."""
    firsts = list(start_states(layout, layout.arrangement.start("start")))
    if not firsts:
        return None
    states, steps = [data.draw(st.sampled_from(firsts))], []
    for _ in range(length):
        options = list(islice(successors(layout, states[-1], Pace.ANY_TIME, claim.mishaps), 40))
        if not options:
            break
        step, state = data.draw(st.sampled_from(options))
        steps.append(step)
        states.append(state)
    return Story("start", tuple(states), tuple(steps))


@pytest.mark.slow
@given(st.data())
@settings(max_examples=60, deadline=None)
def test_random_runs_are_real_with_sound_accounts_or_teach_a_lesson_that_forbids_them(data: st.DataObject) -> None:
    arrangement = data.draw(arrangements())
    claim = data.draw(properties(arrangement))
    layout = layout_for(arrangement, claim)
    story = a_run(data, layout, claim, 6)
    if story is None:
        return
    answer = realise(layout, story)
    if isinstance(answer, Real):
        assert answer.story.states == story.states
        assert wrong_with(layout, answer) == []
    if isinstance(answer, Impossible):
        assert forbids(layout, answer.lesson, story)
        assert cvc5_solver.answers(contradiction(layout, answer.lesson)) == ("unsat",)
        rule = StepRule(layout)
        assert watched(rule, refine(rule, pose(rule, claim), answer.lesson), story)


@pytest.mark.slow
@given(st.data())
@settings(max_examples=40, deadline=None)
def test_what_a_lesson_forbids_is_never_real(data: st.DataObject) -> None:
    arrangement = data.draw(arrangements())
    claim = data.draw(properties(arrangement))
    layout = layout_for(arrangement, claim)
    stories = [s for s in (a_run(data, layout, claim, 6) for _ in range(4)) if s is not None]
    answers = [realise(layout, story) for story in stories]
    lessons = [answer.lesson for answer in answers if isinstance(answer, Impossible)]
    for story, answer in zip(stories, answers, strict=True):
        if any(forbids(layout, lesson, story) for lesson in lessons):
            assert not isinstance(answer, Real)


@pytest.mark.slow
@given(st.data())
@settings(max_examples=40, deadline=None)
def test_the_first_part_of_a_real_story_is_not_impossible(data: st.DataObject) -> None:
    arrangement = data.draw(arrangements())
    claim = data.draw(properties(arrangement))
    layout = layout_for(arrangement, claim)
    story = a_run(data, layout, claim, 5)
    if story is None or not isinstance(realise(layout, story), Real):
        return
    for length in range(len(story.steps)):
        cut = Story(story.start, story.states[: length + 1], story.steps[:length])
        assert not isinstance(realise(layout, cut), Impossible)


# ------------------------------------------------------------------------------------------------------------ places


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_a_whole_state_is_the_place_of_that_state_only(data: st.DataObject) -> None:
    arrangement = data.draw(arrangements())
    layout = layout_for(arrangement, never(at_least("v0", 100)))
    states = list(start_states(layout, layout.arrangement.start("start")))[:20]
    for one in states:
        place = whole(layout, one)
        assert all(true_of(layout, one, atom) for atom in place)
        assert [other for other in states if all(true_of(layout, other, atom) for atom in place)] == [one]


def test_refining_leaves_other_hits_alone() -> None:
    """A lesson about one run does not hide a shorter or another one."""
    arrangement, claim = cylinder("51")
    layout = layout_for(arrangement, claim)
    rule = StepRule(layout)
    problem = pose(rule, claim)
    lesson = Lesson((frozenset({Atom("level", "pilot", 0, holds=False)}), frozenset({Atom("level", "tank", 0)})), None)
    story = search(refine(rule, problem, lesson), refine(rule, problem, lesson).hit, lambda: None).story
    assert story is not None
    assert not forbids(layout, lesson, story)
    assert len(story.steps) == 3
    assert isinstance(realise(layout, tell(problem, list(story.states)), claim), Real)
