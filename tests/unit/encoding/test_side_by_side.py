"""Several encodings in one circuit: each as it is alone, and together one search problem. Choices that are frozen."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations, pairwise

import pytest

from bandproof.encoding.bits import (
    BitSort,
    DriverChoice,
    FlowChoice,
    FrozenChoice,
    GoOnChoice,
    MishapChoice,
    MoveChoice,
)
from bandproof.encoding.circuit import FALSE, Circuit
from bandproof.encoding.encode import Encoding
from bandproof.encoding.system import Problem, StepRule, pose
from bandproof.engines.bounded import Unrolling
from bandproof.engines.reachability import Reachability
from bandproof.findings.finding import Verdict
from bandproof.properties.claim import Shape
from tests.conformance.case import Case
from tests.conformance.table import TABLE
from tests.differential.compare import bit_values, keeps_form, node_values
from tests.oracles.answers import by_reachability

CASES = [case for case in TABLE if case.steps is not None or case.verdict is Verdict.PROVEN]
PAIRS = list(combinations(CASES[::9], 2))
BROKEN = [case for case in TABLE if case.verdict is Verdict.REFUTED and case.steps and case.claim.shape is Shape.NEVER]


def two_rules(one: Case, other: Case) -> tuple[StepRule, StepRule]:
    """Both arrangements in one circuit."""
    circuit = Circuit()
    encodings = [
        Encoding(c.layout(), circuit=circuit, prefix=f"{side} ") for side, c in zip("ab", (one, other), strict=True)
    ]
    first, second = (StepRule(encoding.layout, encoding) for encoding in encodings)
    return first, second


def together(one: Problem, other: Problem) -> Problem:
    """Both problems, each step one of each; it looks for a state of each that is bad at once."""
    c = one.circuit
    return replace(
        one,
        bits=(*one.bits, *other.bits),
        after=(*one.after, *other.after),
        accelerated=(*one.accelerated, *other.accelerated),
        start=c.both(one.start, other.start),
        bad=c.both(one.bad, other.bad),
        well_formed=c.both(one.well_formed, other.well_formed),
        templates={},
        over=FALSE,
    )


def shortest(problem: Problem, most: int) -> int | None:
    """The number of steps of a shortest run to a bad, if that is no more than `most`."""
    unrolling = Unrolling(problem, from_start=True)
    found = next((depth for depth in range(most + 1) if unrolling.reaches(depth)), None)
    unrolling.close()
    return found


def reachable(problem: Problem) -> bool:
    """Some run gets to a bad."""
    running = Reachability(problem).run()
    while True:
        try:
            next(running)
        except StopIteration as end:
            return end.value.states is not None


@pytest.mark.slow
@pytest.mark.parametrize(("one", "other"), PAIRS, ids=lambda case: case.name)
def test_two_arrangements_in_one_circuit_are_what_each_is_alone(one: Case, other: Case) -> None:
    for case, rule in zip((one, other), two_rules(one, other), strict=True):
        problem, alone = pose(rule, case.property()), pose(StepRule(case.layout()), case.property())
        assert [(b.sort, b.subject, b.value, b.rank) for b in problem.bits] == [
            (b.sort, b.subject, b.value, b.rank) for b in alone.bits
        ]
        assert reachable(problem) == reachable(alone) == by_reachability(alone).reachable
        assert shortest(problem, 4) == shortest(alone, 4)
        assert keeps_form(problem, problem.after)


@pytest.mark.slow
@pytest.mark.parametrize(("one", "other"), list(combinations(BROKEN[::7], 2)), ids=lambda case: case.name)
def test_both_are_bad_at_once_when_the_later_one_can_be(one: Case, other: Case) -> None:
    """A problem may stand still, so a shortest run of both is as long as the longer one, and each part of it is a run."""
    first, second = (
        pose(rule, case.property()) for case, rule in zip((one, other), two_rules(one, other), strict=True)
    )
    both = together(first, second)
    assert one.steps is not None
    assert other.steps is not None
    assert shortest(both, 12) == max(one.steps, other.steps)
    assert reachable(both)
    for part in (both, replace(both, layout=second.layout, claim=second.claim, side=second.side)):
        unrolling = Unrolling(part, from_start=True)
        assert unrolling.reaches(max(one.steps, other.steps))
        assert unrolling.story(max(one.steps, other.steps)).states
        unrolling.close()


def test_one_problem_of_two_is_not_bad_where_one_of_them_never_is() -> None:
    proven = next(case for case in TABLE if case.verdict is Verdict.PROVEN and case.claim.shape is Shape.NEVER)
    first, second = two_rules(BROKEN[0], proven)
    assert not reachable(together(pose(first, BROKEN[0].property()), pose(second, proven.property())))


def test_what_two_encodings_are_granted_adds_up() -> None:
    one, other = two_rules(BROKEN[0], BROKEN[0])
    for rule in (one, other):
        for bits in rule.encoding.levels.values():
            for low, high in pairwise(bits):
                assert rule.circuit.all_of([high, low ^ 1]) == FALSE


# ----------------------------------------------------------------------------------------------- frozen choices

FAULT = FrozenChoice("fault", ("none", "stuck", "leaking"))
SIZE = FrozenChoice("size", ("small", "large"))


def frozen_problem(case: Case) -> tuple[Encoding, Problem]:
    """A case's problem with two frozen choices beside it."""
    encoding = Encoding(case.layout(), frozen=(FAULT, SIZE))
    return encoding, pose(StepRule(encoding.layout, encoding), case.property())


def values_of(encoding: Encoding, choice: FrozenChoice) -> Iterator[int]:
    """The literals of a choice's values."""
    yield from (encoding.chosen(choice.name, value) for value in choice.values)


def test_a_frozen_choice_keeps_its_value_in_every_step() -> None:
    _, problem = frozen_problem(BROKEN[0])
    frozen = [i for i, bit in enumerate(problem.bits) if bit.sort is BitSort.FROZEN]
    assert len(frozen) == len(FAULT.values) + 1
    for i in frozen:
        assert problem.after[i] == problem.accelerated[i] == problem.bits[i].literal
    assert keeps_form(problem, problem.after)


def test_the_start_leaves_a_frozen_choice_open_and_a_run_has_one_value_of_it() -> None:
    encoding, problem = frozen_problem(BROKEN[0])
    steps = BROKEN[0].steps
    assert steps is not None
    c = problem.circuit
    for choice in (FAULT, SIZE):
        for literal in values_of(encoding, choice):
            begun = replace(problem, start=c.both(problem.start, literal), templates={})
            assert shortest(begun, steps) == steps
            assert not reachable(replace(begun, bad=c.both(problem.bad, literal ^ 1)))
    assert not reachable(
        replace(problem, bad=c.both(problem.bad, c.any_of(values_of(encoding, FAULT)) ^ 1), templates={})
    )


def test_a_frozen_choice_is_no_part_of_the_state_that_is_told() -> None:
    encoding, problem = frozen_problem(BROKEN[0])
    alone = pose(StepRule(encoding.layout), BROKEN[0].property())
    unrolling = Unrolling(problem, from_start=True)
    assert BROKEN[0].steps is not None
    assert unrolling.reaches(BROKEN[0].steps)
    story = unrolling.story(BROKEN[0].steps)
    unrolling.close()
    values = node_values(alone, bit_values(alone, story.states[-1]))
    assert alone.circuit.evaluate([alone.bad], values) == [True]


# -------------------------------------------------------------------------------------------------------- choices


def test_whose_choice_it_is_its_type_says() -> None:
    case = next(c for c in TABLE if c.mishaps and c.layout().arrangement.controls)
    rule = StepRule(case.layout())
    variables = {2 * node for node, name in rule.circuit.names.items() if name.startswith("input ")}
    assert set(rule.choices) == variables
    arrangement = rule.layout.arrangement
    made = list(rule.choices.values())
    assert {c.control for c in made if isinstance(c, DriverChoice)} == {c.name for c in arrangement.controls}
    assert {c.mishap for c in made if isinstance(c, MishapChoice)} == {m.name for m in arrangement.mishaps}
    nature = [c for c in made if isinstance(c, FlowChoice | GoOnChoice | MoveChoice)]
    assert len(nature) == len(made) - len(rule.turns) - len(rule.strikes)


def test_each_bit_says_what_it_is_about() -> None:
    case = next(c for c in TABLE if c.mishaps and c.layout().arrangement.controls)
    encoding = Encoding(case.layout())
    known = {
        BitSort.VOLUME: {v.name for v in encoding.arrangement.volumes},
        BitSort.PART: {p.name for p in encoding.arrangement.parts},
        BitSort.CONTROL: {c.name for c in encoding.arrangement.controls},
        BitSort.MISHAP: {m.name for m in encoding.arrangement.mishaps},
    }
    for bit in encoding.bits:
        assert bit.subject in known[bit.sort]
        if bit.sort is BitSort.VOLUME:
            assert encoding.layout.thresholds[str(bit.subject)][bit.rank] == bit.value
