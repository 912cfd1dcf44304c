"""The tables of hunting and holding, decided with the parts that fall silent known to, and what the static analysis says."""

from __future__ import annotations

import pytest

from bandproof.encoding.system import StepRule
from bandproof.engines.run import decide
from bandproof.engines.silence import quietened
from bandproof.findings.finding import Verdict
from bandproof.machine.hunting import hunting
from tests.conformance.case import Case
from tests.conformance.table_holding import COMES_TO_REST, HOLDS_FOR_EVER, NEEDS_SILENCE
from tests.conformance.table_hunting import HUNTING, IN_ORDER

ALL = (*HUNTING, *IN_ORDER, *HOLDS_FOR_EVER, *COMES_TO_REST, *NEEDS_SILENCE)

#: The parts that a search shows silent.
SILENT = {
    "a valve that shuts below where it opens, behind a wide feed": {"valve"},
    "a regulator without a leak comes to rest": {"keeper"},
}


@pytest.mark.parametrize("case", ALL, ids=lambda case: case.name)
def test_bands_say_what_was_proved_by_hand(case: Case) -> None:
    decision = decide(StepRule(case.quiet_layout()), case.property(), real=False)
    assert decision.verdict is case.verdict, case.why
    assert (None if decision.story is None else len(decision.story.steps)) == case.steps


@pytest.mark.parametrize("case", ALL, ids=lambda case: case.name)
def test_just_those_fall_silent_that_do(case: Case) -> None:
    quiet = quietened(case.layout())
    assert quiet.layout.silent == SILENT.get(case.name, set()), case.why
    assert {one.part for one in quiet.silences} == quiet.layout.silent
    assert not quiet.undecided


def test_a_claim_may_be_proven_only_because_a_part_falls_silent() -> None:
    wide = next(case for case in ALL if "behind a wide feed" in case.name)
    assert decide(StepRule(wide.layout()), wide.property(), real=False).verdict is not Verdict.PROVEN
    assert decide(StepRule(wide.quiet_layout()), wide.property(), real=False).verdict is Verdict.PROVEN


@pytest.mark.parametrize("case", HUNTING, ids=lambda case: case.name)
def test_what_can_hunt_is_found(case: Case) -> None:
    assert hunting(case.layout().arrangement).parts
