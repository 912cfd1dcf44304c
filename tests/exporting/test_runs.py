"""Runs of exported problems are runs of the executable machine, and the other way round; both are bad at every step alike."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from bandproof.encoding.bit_words import choice_words
from bandproof.encoding.system import StepRule, pose
from bandproof.exporting.aiger import BadAs
from bandproof.exporting.question import CHOICE, START, question
from bandproof.findings.finding import Verdict
from bandproof.lemmas.lemma import Lemma, refine
from bandproof.machine.layout import Layout
from bandproof.machine.semantics import start_states, with_memory
from bandproof.properties.claim import Property
from tests.certificates import samples
from tests.conformance.case import Case, at_least, below, both, never, proven, refuted, settled
from tests.conformance.small_parts import FOOT, litres, piece
from tests.conformance.table_flow import starting
from tests.conformance.table_holding import REDUCED, TO_AND_FRO
from tests.conformance.table_line_air import NEEDS_FILLINGS
from tests.conformance.table_pace import carried
from tests.differential.cases import draw_case
from tests.exporting.played import Pair, a_start, follow_circuit, follow_machine, near, stays_out, takes_for_start
from tests.exporting.reader import Unrolled, read
from tests.oracles.explore import explore
from tests.strategies import layout_for
from tests.witness.samples import cylinder, learn

SMALL = settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])
LARGE = settings(SMALL, max_examples=2_000)

#: More start states than this are not all tried.
MANY = 60


def exported(layout: Layout, claim: Property, bad_as: BadAs = BadAs.OUTPUT) -> Pair:
    rule = StepRule(layout)
    return Pair(layout, claim, read(question(pose(rule, claim), rule.choices).as_bytes(bad_as)))


def exported_with(layout: Layout, claim: Property, lemmas: list[Lemma]) -> Pair:
    rule = StepRule(layout)
    problem = pose(rule, claim)
    for lemma in lemmas:
        problem = refine(rule, problem, lemma)
    return Pair(layout, claim, read(question(problem, rule.choices, lemmas).as_bytes()), tuple(lemmas))


def compare_runs(data: st.DataObject) -> None:
    """From a start, in both directions; and from a state near it, which the circuit and the machine judge alike."""
    layout, claim = draw_case(data)
    rng = random.Random(data.draw(st.integers(0, 2**32)))  # noqa: S311  (no secret)
    pair = exported(layout, claim, rng.choice(list(BadAs)))
    step_of = Unrolled(pair.circuit, from_zero=False)
    start = a_start(pair, step_of, rng)
    if start is None:
        assert not list(start_states(layout, layout.arrangement.starts[0]))
        return
    assert takes_for_start(pair, start)
    moves = follow_circuit(pair, start, rng, 12).moves, follow_machine(pair, step_of, start, rng, 8).moves
    event(f"moves of the circuit {moves[0] > 0}, of the machine {moves[1] > 0}")
    for _ in range(6):
        other = near(layout, start, rng)
        if not takes_for_start(pair, other):
            stays_out(pair, other, rng, 6)


def compare_starts(data: st.DataObject) -> None:
    layout, claim = draw_case(data, most_volumes=3)
    pair = exported(layout, claim)
    starts = [state for _, state in zip(range(MANY), start_states(layout, layout.arrangement.starts[0]), strict=False)]
    assert all(takes_for_start(pair, with_memory(layout, [state], pair.windows)[0]) for state in starts)


def compare_depths(data: st.DataObject) -> None:
    layout, claim = draw_case(data, most_volumes=2)
    event(f"bad {same_depth(exported(layout, claim))}")


def same_depth(pair: Pair) -> bool | None:
    """A shortest run of k steps to a bad state is bad at step k + 1 and no earlier; where there is none, nothing is bad.

    Whether there is one; None where there are too many states to tell.
    """
    truth = explore(pair.layout, pair.claim, cap=2_000)
    if not truth.complete:
        return None
    unrolled = Unrolled(pair.circuit, from_zero=True)
    if truth.story is None:
        assert unrolled.shortest(8) is None
    else:
        assert unrolled.shortest(len(truth.story.steps) + 1) == len(truth.story.steps) + 1
    return truth.story is not None


@pytest.mark.slow
@given(st.data())
@SMALL
def test_runs_of_either_are_runs_of_the_other(data: st.DataObject) -> None:
    compare_runs(data)


@pytest.mark.slow
@given(st.data())
@SMALL
def test_every_start_is_taken_for_one(data: st.DataObject) -> None:
    compare_starts(data)


@pytest.mark.thorough
@pytest.mark.slow
@given(st.data())
@SMALL
def test_bad_is_reached_one_step_after_the_machine_is_bad(data: st.DataObject) -> None:
    compare_depths(data)


@pytest.mark.long
@given(st.data())
@LARGE
def test_runs_of_either_are_runs_of_the_other_large(data: st.DataObject) -> None:
    compare_runs(data)


@pytest.mark.long
@given(st.data())
@LARGE
def test_bad_is_reached_one_step_after_the_machine_is_bad_large(data: st.DataObject) -> None:
    compare_depths(data)


# ---------------------------------------------------------------------------------------------------------- lemmas


@pytest.mark.slow
def test_with_its_lemmas_a_claim_that_rests_on_them_is_never_bad() -> None:
    """A closed tank, emptied into a cylinder: bands alone let the pressure rise, conserved air does not."""
    arrangement, claim = cylinder(("1", "3"))
    problem, lemmas, answer = learn(arrangement, claim, 4)
    assert answer is None
    assert lemmas
    plain = exported(problem.layout, claim)
    circuit = exported_with(problem.layout, claim, lemmas).circuit
    (depth,) = {Unrolled(plain.circuit, from_zero=True).shortest(8)}
    assert depth is not None
    assert Unrolled(circuit, from_zero=True).shortest(12) is None
    assert f"Lemmas taken in here: {len(lemmas)}, shown in the certificate {claim.id}.smt2." in circuit.comment
    assert any(line.startswith("Lemma 1, no real run goes") for line in circuit.comment)


@pytest.mark.slow
def test_runs_that_lemmas_forbid_are_not_bad_and_all_others_are_what_they_are() -> None:
    arrangement, claim = cylinder(("1", "3"))
    problem, lemmas, _ = learn(arrangement, claim, 4)
    pair = exported_with(problem.layout, claim, lemmas)
    step_of = Unrolled(pair.circuit, from_zero=False)
    hidden = 0
    for seed in range(30):
        rng = random.Random(seed)  # noqa: S311  (no secret)
        start = a_start(pair, step_of, rng)
        assert start is not None
        follow_circuit(pair, start, rng, 30)
        hidden += follow_machine(pair, step_of, start, rng, 12).moves
    assert hidden > 30


# --------------------------------------------------------------------------------------------------------- memory


def played(pair: Pair, seeds: int) -> set[str]:
    """Play an exported problem from starts of its own, in both directions; the latches that were ever true."""
    step_of = Unrolled(pair.circuit, from_zero=False)
    true: set[str] = set()
    for seed in range(seeds):
        rng = random.Random(seed)  # noqa: S311  (no secret)
        start = a_start(pair, step_of, rng)
        assert start is not None
        true |= follow_circuit(pair, start, rng, 30).true
        true |= follow_machine(pair, step_of, start, rng, 20).true
        for _ in range(6):
            other = near(pair.layout, start, rng)
            if not takes_for_start(pair, other):
                stays_out(pair, other, rng, 6)
    return true


@pytest.mark.slow
@pytest.mark.parametrize("case", NEEDS_FILLINGS, ids=lambda case: case.name)
def test_air_in_lines_moves_a_tank_as_far_as_the_machine_lets_it(case: Case) -> None:
    pair = exported(case.layout(), case.property())
    shortest = Unrolled(pair.circuit, from_zero=True).shortest(12)
    assert shortest == (None if case.steps is None else case.steps + 1)
    crossings = {name for name in pair.names if "since air goes from it into lines only" in name}
    assert bool(crossings) == bool(pair.windows)
    assert crossings & played(pair, 20) if crossings else True
    said = [line for line in pair.circuit.comment if "is joined to lines alone" in line]
    assert len(said) == len(pair.windows)


#: The tank of the cases above, that a second lever joins to another one.
JOINED = (
    litres("tank", "tank", "20")
    + litres("other", "tank", "20")
    + litres("v", "line", "0.4")
    + 'controls.handle = { positions = ["plain", "turned"] }\ncontrols.knob = { positions = ["plain", "turned"] }\n'
    + piece("foot", "foot", ports={"a": "tank", "b": "v"}, controls={"lever": "handle"})
    + piece("between", "tap", ports={"a": "tank", "b": "other"}, controls={"lever": "knob"})
    + starting(tank="6", other="6")
    + FOOT
)


@pytest.mark.slow
def test_what_air_in_lines_has_moved_is_forgotten_when_the_tank_is_joined_to_another() -> None:
    case = proven("joined", "", JOINED, never(both(below("tank", 4), carried("tank", 5, 6)))).allowing(5)
    pair = exported(case.layout(), case.property())
    assert pair.windows
    assert any("since air goes from it into lines only" in name for name in played(pair, 40))


@pytest.mark.slow
@pytest.mark.parametrize("case", NEEDS_FILLINGS[:2], ids=lambda case: case.name)
def test_without_a_bound_on_fillings_the_tank_is_emptied(case: Case) -> None:
    pair = exported(case.layout(), replace(case.property(), fillings=None))
    assert Unrolled(pair.circuit, from_zero=True).shortest(12) is not None


@pytest.mark.slow
@pytest.mark.parametrize("case", TO_AND_FRO, ids=lambda case: case.name)
def test_what_was_met_in_a_to_and_fro_is_remembered_as_the_machine_remembers_it(case: Case) -> None:
    pair = exported(case.layout(), case.property())
    assert pair.monitor.fades
    assert "the claim is met" in played(pair, 20)
    assert same_depth(pair) == (case.verdict is Verdict.REFUTED)


@pytest.mark.slow
def test_what_was_met_in_a_to_and_fro_is_forgotten_when_a_tank_crosses_a_threshold() -> None:
    """A regulator feeds a leaking line from a tank, which falls below 6 bar while the to and fro goes on."""
    case = refuted("fed by a tank", "", REDUCED, settled(below("v", 1), when=at_least("tank", 6)), 0)
    pair = exported(case.layout(), case.property())
    assert pair.monitor.fades
    assert "the claim is met" in played(pair, 40)


# ----------------------------------------------------------------------------------------------------------- words


def test_names_say_what_inputs_latches_and_the_bad_state_are() -> None:
    claim = samples.claim()
    circuit = exported(layout_for(samples.two_lines(), claim), claim).circuit
    latches = circuit.names("l")
    assert latches[:2] == [
        "initialised: the start has been taken in",
        "valid: what was taken in is a state of the start",
    ]
    assert {"line_a is at least 200 kPa", "valve_a is open", "knob stands at off"} <= set(latches)
    inputs = circuit.names("i")
    assert inputs[: len(latches) - 2] == [f"start: {name}" for name in latches[2:]]
    assert {"choice: line_a rises across a threshold", "choice: line_b falls across a threshold"} <= set(inputs)
    assert {"choice: knob is put at a", "choice: valve_a moves from shut to open"} <= set(inputs)
    assert circuit.names("o") == [claim.id]
    assert len(set(latches)) == len(latches)
    assert len(set(inputs)) == len(inputs)
    assert [(sort, place) for sort, place, _ in circuit.symbols] == [
        *(("i", n) for n in range(len(inputs))),
        *(("l", n) for n in range(len(latches))),
        ("o", 0),
    ]


def test_the_comment_says_whose_question_it_is_and_what_is_asked() -> None:
    arrangement, claim = samples.two_lines(), samples.claim()
    rule = StepRule(layout_for(arrangement, claim))
    comment = read(question(pose(rule, claim), rule.choices, notes=["and a note"]).as_bytes()).comment
    assert {
        "arrangement: two lines",
        f"sha256: {arrangement.sha256}",
        "property: not-both",
        "says: the two lines are never full at once",
        "claim: never: (line_a is at least 200 kPa and line_b is at least 200 kPa)",
        "Asked: does a run break the claim? If the bad state is never reached, the claim is true.",
        "Lemmas taken in here: none.",
        "and a note",
    } <= set(comment)


def test_every_choice_has_words() -> None:
    claim = samples.claim()
    rule = StepRule(layout_for(samples.two_lines(), claim))
    circuit = read(question(pose(rule, claim), rule.choices).as_bytes())
    chosen = {name for name in circuit.names("i") if not name.startswith(START)}
    assert chosen
    assert chosen <= {CHOICE + choice_words(choice) for choice in rule.choices.values()}


def test_the_same_problem_is_written_the_same_twice() -> None:
    claim = samples.claim()
    layout = layout_for(samples.two_lines(), claim)
    rule = StepRule(layout)
    pose(rule, samples.claim(full=200, id="another"))
    first, second = (question(pose(rule, claim), rule.choices) for _ in range(2))
    assert first.as_bytes() == second.as_bytes()
