"""A lemma forbids the stories that taught it, forbids no real run, and is agreed to by a second solver."""

from __future__ import annotations

from itertools import islice, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandproof.encoding.bits import BitSort
from bandproof.encoding.system import Problem, StepRule, pose
from bandproof.engines.run import decide, search
from bandproof.findings.finding import Verdict
from bandproof.findings.reasons import NoPressures, Unreal
from bandproof.lemmas.cubes import Literal, true_of, whole
from bandproof.lemmas.lemma import Lemma, contradiction, forbids, lemma_of, refine
from bandproof.machine.layout import Layout
from bandproof.machine.semantics import start_states, successors
from bandproof.machine.story import State, Step, StepKind, Story
from bandproof.machine.telling import tell
from bandproof.model.arrangement import Arrangement
from bandproof.properties.claim import Pace, Property
from bandproof.solvers import cvc5_solver, z3_solver
from bandproof.witness.concretise import Concrete, Impossible, Unclear, find_pressures
from tests.strategies import arrangements, layout_for, properties
from tests.witness.balance import wrong_with
from tests.witness.samples import at_least, cylinder, learn, lock, never, ring

Sample = tuple[Arrangement, Property]


def watched(rule: StepRule, problem: Problem, story: Story) -> bool:
    """The problem's own watch, followed along a story by evaluating its formulas: some lemma forbids the story."""
    circuit = problem.circuit
    lemmas = [bit for bit in problem.bits if bit.sort is BitSort.LEMMA]
    dead = [bit.literal for bit in lemmas if bit.value == "forbidden"]
    memory = {bit.literal >> 1: False for bit in lemmas}
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


def taught(sample: Sample) -> tuple[Layout, Story, Lemma]:
    arrangement, claim = sample
    layout = layout_for(arrangement, claim)
    problem = pose(StepRule(layout), claim)
    story = search(problem, problem.bad, lambda: None).story
    assert story is not None
    answer = find_pressures(layout, story, claim)
    assert isinstance(answer, Impossible)
    assert answer.reason.why is Unreal.AIR
    assert {*answer.reason.volumes, *answer.reason.parts}
    return layout, story, answer.lemma


SAMPLES = [cylinder("1"), cylinder(("1", "40")), ring(600), ring(890), lock()]


@pytest.mark.parametrize("sample", SAMPLES)
def test_two_solvers_agree_that_the_accounts_of_a_lemma_contradict_each_other(sample: Sample) -> None:
    layout, story, lemma = taught(sample)
    text = contradiction(layout, lemma)
    assert z3_solver.answers(text) == ("unsat",)
    assert cvc5_solver.answers(text) == ("unsat",)
    assert forbids(layout, lemma, story)


@pytest.mark.parametrize("many", [0, 10**6])
@pytest.mark.parametrize("sample", SAMPLES)
def test_nothing_in_a_lemma_can_be_spared(monkeypatch: pytest.MonkeyPatch, sample: Sample, many: int) -> None:
    """However few literals are many: a core that the solver cannot make smaller is looked at one by one all the same."""
    monkeypatch.setattr("bandproof.witness.concretise._MANY", many)
    layout, _, lemma = taught(sample)
    for number, place in enumerate(lemma.places):
        for atom in place:
            places = [frozenset(p - {atom}) if i == number else p for i, p in enumerate(lemma.places)]
            assert z3_solver.answers(contradiction(layout, Lemma(tuple(places), lemma.start))) == ("sat",)


def test_a_lemma_of_a_start_is_of_that_start_only() -> None:
    layout, _, lemma = taught(cylinder("1"))
    assert lemma.start == "start"
    assert z3_solver.answers(contradiction(layout, Lemma(lemma.places, None))) == ("sat",)


HIGH, LOW = Literal("level", "tank", 0), Literal("level", "tank", 0, holds=False)
FULL = Literal("level", "pilot", 0)


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
def test_the_watch_forgets_nothing_and_skips_nothing(places: list[set[Literal]], start: str | None) -> None:
    """The watch and the plain walk agree on every order of states, also where one state fits two places."""
    arrangement, claim = cylinder("1")
    layout = layout_for(arrangement, claim)
    rule = StepRule(layout)
    states = [State((pilot, tank), ("shut",), ("off",)) for pilot in (0, 1) for tank in (0, 1)]
    lemma = Lemma(tuple(map(frozenset, places)), start)
    problem = refine(rule, pose(rule, claim), lemma)
    orders = list(product(states, repeat=3))
    found = 0
    for order in orders:
        story = Story("start", order, (Step(StepKind.FLOW, ()),) * 2)
        assert watched(rule, problem, story) == forbids(layout, lemma, story)
        found += forbids(layout, lemma, story)
    assert 0 < found < len(orders)


def test_a_contradiction_that_a_fresh_solver_does_not_see_teaches_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "bandproof.witness.concretise.contradiction", lambda *_: "(declare-const |a b| Bool)\n(check-sat)\n"
    )
    arrangement, claim = cylinder("1")
    layout = layout_for(arrangement, claim)
    problem = pose(StepRule(layout), claim)
    story = search(problem, problem.bad, lambda: None).story
    assert story is not None
    answer = find_pressures(layout, story, claim)
    assert isinstance(answer, Unclear)
    assert answer.reason == NoPressures(Unreal.NOT_CONFIRMED)


@pytest.mark.parametrize("claim", [never(at_least("tank", 100)), never(at_least("pilot", 100))])
def test_a_search_that_a_hint_cuts_short_has_proven_nothing(monkeypatch: pytest.MonkeyPatch, claim: Property) -> None:
    """The hint forbids every run, so none is left to be found; but it was never shown that none is real."""
    hint = Unclear(NoPressures(Unreal.NO_SIZES), Lemma((frozenset(),), None))
    monkeypatch.setattr("bandproof.engines.run.concretise", lambda *_, **__: hint)
    arrangement, _ = cylinder("1")
    decision = decide(StepRule(layout_for(arrangement, claim)), claim, witnessed=False)
    assert decision.verdict is Verdict.UNDECIDED
    assert decision.reasons == (NoPressures(Unreal.NO_SIZES),)


def test_a_lemma_of_another_start_does_not_speak_of_this_one() -> None:
    arrangement, claim = cylinder("1")
    layout = layout_for(arrangement, claim)
    lemma = Lemma((frozenset(),), "another")
    assert not forbids(layout, lemma, Story("start", (State((1, 0), ("shut",), ("off",)),), ()))


def test_alike_neighbours_become_one_place() -> None:
    one, other = Literal("level", "v", 0), Literal("level", "w", 0)
    needs = frozenset({(2, one), (3, one), (5, other), (6, one), (6, other)})
    places = lemma_of(needs, None).places
    assert places == (frozenset({one}), frozenset(), frozenset({other}), frozenset({one, other}))
    assert lemma_of(needs, "start").places == (frozenset(), *places)


@pytest.mark.slow
def test_learning_comes_to_an_end_when_the_air_is_there_after_more_rounds() -> None:
    _, lemmas, answer = learn(*lock(), 0)
    assert len(lemmas) <= 1
    assert isinstance(answer, Concrete | Impossible)


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
def test_random_runs_are_real_with_sound_accounts_or_teach_a_lemma_that_forbids_them(data: st.DataObject) -> None:
    arrangement = data.draw(arrangements())
    claim = data.draw(properties(arrangement))
    layout = layout_for(arrangement, claim)
    story = a_run(data, layout, claim, 6)
    if story is None:
        return
    answer = find_pressures(layout, story)
    if isinstance(answer, Concrete):
        assert answer.story.states == story.states
        assert wrong_with(layout, answer) == []
    if isinstance(answer, Impossible):
        assert forbids(layout, answer.lemma, story)
        assert cvc5_solver.answers(contradiction(layout, answer.lemma)) == ("unsat",)
        rule = StepRule(layout)
        assert watched(rule, refine(rule, pose(rule, claim), answer.lemma), story)


@pytest.mark.thorough
@pytest.mark.slow
@given(st.data())
@settings(max_examples=40, deadline=None)
def test_what_a_lemma_forbids_is_never_real(data: st.DataObject) -> None:
    arrangement = data.draw(arrangements())
    claim = data.draw(properties(arrangement))
    layout = layout_for(arrangement, claim)
    stories = [s for s in (a_run(data, layout, claim, 6) for _ in range(4)) if s is not None]
    answers = [find_pressures(layout, story) for story in stories]
    lemmas = [answer.lemma for answer in answers if isinstance(answer, Impossible)]
    for story, answer in zip(stories, answers, strict=True):
        if any(forbids(layout, lemma, story) for lemma in lemmas):
            assert not isinstance(answer, Concrete)


@pytest.mark.slow
@given(st.data())
@settings(max_examples=40, deadline=None)
def test_the_first_part_of_a_real_story_is_not_impossible(data: st.DataObject) -> None:
    arrangement = data.draw(arrangements())
    claim = data.draw(properties(arrangement))
    layout = layout_for(arrangement, claim)
    story = a_run(data, layout, claim, 5)
    if story is None or not isinstance(find_pressures(layout, story), Concrete):
        return
    for length in range(len(story.steps)):
        cut = Story(story.start, story.states[: length + 1], story.steps[:length])
        assert not isinstance(find_pressures(layout, cut), Impossible)


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
    """A lemma about one run does not hide a shorter or another one."""
    arrangement, claim = cylinder("51")
    layout = layout_for(arrangement, claim)
    rule = StepRule(layout)
    problem = pose(rule, claim)
    lemma = Lemma(
        (frozenset({Literal("level", "pilot", 0, holds=False)}), frozenset({Literal("level", "tank", 0)})), None
    )
    story = search(refine(rule, problem, lemma), refine(rule, problem, lemma).bad, lambda: None).story
    assert story is not None
    assert not forbids(layout, lemma, story)
    assert len(story.steps) == 3
    assert isinstance(find_pressures(layout, tell(layout, claim, list(story.states)), claim), Concrete)
