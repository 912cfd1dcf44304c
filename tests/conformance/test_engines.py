"""The table, run by every engine: the verdict proved by hand, and the length of the shortest run."""

from __future__ import annotations

from dataclasses import dataclass, replace

import pytest

from bandproof.encoding.system import StepRule, pose
from bandproof.engines.run import decide
from bandproof.findings.finding import Verdict
from bandproof.findings.reasons import NoVehicle
from bandproof.machine.rig import replay
from bandproof.properties.claim import Shape
from tests.conformance.case import Case, step_rule
from tests.conformance.table import (
    ASLEEP,
    DECIDED,
    HUNTS_QUICKLY,
    NO_VEHICLE,
    OUT_OF_REACH,
    SEARCHED_FOR,
    TABLE,
    TAKES_LONG,
)
from tests.conformance.table_holding import NEEDS_SILENCE
from tests.differential.cases import impossible
from tests.oracles.answers import (
    Answer,
    Engine,
    by_bounded_search,
    by_enumeration,
    by_induction,
    by_reachability,
)
from tests.oracles.bdd import by_diagrams
from tests.oracles.z3_engines import by_z3_bounded_search, by_z3_horn


@dataclass(frozen=True, slots=True)
class Runner:
    """An engine with what it can tell: whether it proves, refutes, and counts steps."""

    name: str
    run: Engine
    proves: bool = True
    refutes: bool = True
    counts: bool = True


#: Bounded searches never prove; k-induction leaves finding a bad to its caller; reachability accelerates, and
#: z3's Horn engine counts no steps; the runner counts them, by bounded search.
RUNNERS = (
    Runner("enumeration", by_enumeration),
    Runner("reachability", by_reachability, counts=False),
    Runner("bounded search", by_bounded_search, proves=False),
    Runner("k-induction", by_induction, refutes=False),
    Runner("diagrams", by_diagrams),
    Runner("z3 bounded search", by_z3_bounded_search, proves=False),
    Runner("z3 Horn", by_z3_horn, counts=False),
)

by_case = pytest.mark.parametrize("case", TABLE, ids=lambda case: case.name)
by_runner = pytest.mark.parametrize("runner", RUNNERS, ids=lambda runner: runner.name)

CONDITIONAL = [c for c in TABLE if c.claim.shape in (Shape.SETTLED, Shape.AT_REST, Shape.HOLDS)]


def test_the_table_is_a_table() -> None:
    assert len({case.name for case in TABLE}) == len(TABLE)
    assert all(case.why and "\n" not in case.why for case in TABLE)


@pytest.mark.parametrize(
    ("case", "runner"),
    [
        pytest.param(case, runner, id=f"{case.name}-{runner.name}")
        for case in TABLE
        for runner in RUNNERS
        if (runner.name, case.name) not in ASLEEP
    ],
)
def test_engines_find_what_was_proved_by_hand(case: Case, runner: Runner) -> None:
    answer = runner.run(pose(step_rule(case), case.property()))
    if (runner.name, case.name) in OUT_OF_REACH:
        assert answer.reachable is None
    else:
        assert answer_fits(answer, runner, steps=case.steps), case.why


def answer_fits(answer: Answer, runner: Runner, *, steps: int | None) -> bool:
    """The answer is right, and undecided only where the engine cannot do better. `steps` None: no bad is reachable."""
    if steps is None:
        return answer.reachable is (False if runner.proves else None)
    if not runner.refutes:
        return answer.reachable is None
    return answer.reachable is True and answer.steps == (steps if runner.counts else None)


@by_case
def test_the_runner_decides_as_proved_by_hand(case: Case) -> None:
    """On the bands alone."""
    decides_as_proved(case, real=False)


@pytest.mark.thorough
@pytest.mark.slow
@pytest.mark.parametrize(
    "case",
    [case for case in TABLE if case not in SEARCHED_FOR and case.name not in HUNTS_QUICKLY],
    ids=lambda case: case.name,
)
def test_the_decider_decides_the_same_of_the_air(case: Case) -> None:
    """Each refuted case has a vehicle that does it, but for those that only bands can do; none is decided wrongly.

    A vehicle's run is a run of the bands, so it has no fewer steps than the shortest of those.
    """
    decision = decide(step_rule(case), case.property(), thorough=False)
    if case.name in NO_VEHICLE | TAKES_LONG:
        assert decision.verdict is Verdict.UNDECIDED
        assert isinstance(decision.reasons[0], NoVehicle)
        return
    assert decision.verdict is case.verdict, case.why
    if decision.story is not None and case.verdict is Verdict.REFUTED:
        assert case.steps is not None
        assert len(decision.story.steps) >= case.steps
        assert replay(case.layout(), decision.story, case.property()) is None


@pytest.mark.long
@pytest.mark.parametrize("case", [case for case in TABLE if case.name in TAKES_LONG], ids=lambda case: case.name)
def test_a_long_search_finds_rare_vehicles(case: Case) -> None:
    assert decide(step_rule(case), case.property()).verdict is Verdict.REFUTED


def decides_as_proved(case: Case, *, real: bool) -> None:
    decision = decide(step_rule(case), case.property(), real=real)
    assert decision.verdict is case.verdict, case.why
    assert (None if decision.story is None else len(decision.story.steps)) == case.steps
    assert (decision.story is None) == (decision.invariant is not None)
    if decision.story is not None:
        assert replay(case.layout(), decision.story, case.property()) is None


@pytest.mark.parametrize("case", DECIDED, ids=lambda case: case.name)
def test_the_bands_alone_do_not_decide_what_needs_more(case: Case) -> None:
    """Every engine that searches the bands finds a run, to a bad or to the condition: the mark in the data is no excuse."""
    claim = impossible(case.property()) if case.verdict is Verdict.EMPTY else case.property()
    assert by_enumeration(pose(step_rule(case), claim)).reachable, case.needs


@pytest.mark.slow
@pytest.mark.parametrize("case", [case for case in DECIDED if case not in NEEDS_SILENCE], ids=lambda case: case.name)
def test_the_decider_is_never_wrong_about_what_needs_more(case: Case) -> None:
    """Right, or undecided: a verdict is never a guess."""
    decision = decide(step_rule(case), case.property(), thorough=False)
    assert decision.verdict in (case.verdict, Verdict.UNDECIDED), case.needs


@by_runner
@pytest.mark.parametrize("case", NEEDS_SILENCE, ids=lambda case: case.name)
def test_parts_known_to_fall_silent_are_not_in_a_to_and_fro(case: Case, runner: Runner) -> None:
    layout = replace(case.layout(), silent=frozenset({"valve"}))
    answer = runner.run(pose(StepRule(layout), case.property()))
    assert answer_fits(answer, runner, steps=case.steps), case.why


@by_runner
@pytest.mark.parametrize("case", CONDITIONAL, ids=lambda case: case.name)
def test_engines_agree_on_which_claims_are_empty(case: Case, runner: Runner) -> None:
    """A conditional claim is empty iff the same claim with an impossible consequence cannot be broken."""
    answer = runner.run(pose(step_rule(case), impossible(case.property())))
    if case.verdict is Verdict.EMPTY:
        assert answer_fits(answer, runner, steps=None)
    else:
        assert answer.reachable is (True if runner.refutes else None)
