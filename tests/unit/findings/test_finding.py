"""What is asked of a finding's reasons is asked of values."""

from __future__ import annotations

import pytest

from bandproof.findings.finding import Finding, Verdict, Waiting, gave_up, out_of_memory
from bandproof.findings.reasons import Interrupted, Lemmas, NoMoreMemory, OutOfMemory, OutOfTime, Reason, WorkerDied


@pytest.mark.parametrize("reason", [OutOfTime(1), OutOfMemory(1), NoMoreMemory(), WorkerDied(9), Interrupted()])
def test_what_ends_a_search_early_is_told_from_an_answer(reason: Reason) -> None:
    assert gave_up(Finding("a", "", "", Verdict.UNDECIDED, (Lemmas(1), reason))) == reason
    assert gave_up(Finding("a", "", "", Verdict.PROVEN, (Lemmas(1),))) is None


@pytest.mark.parametrize(
    ("finding", "spent"),
    [
        (Finding("a", "", "", Verdict.UNDECIDED, (OutOfMemory(600),)), True),
        (Finding("a", "", "", Verdict.UNDECIDED, (OutOfTime(600),)), False),
        (Finding("a", "", "", Verdict.UNDECIDED, (NoMoreMemory(),)), False),
        (Finding("a", "", "", Verdict.REFUTED, waiting=Waiting(Verdict.UNDECIDED, gave_up=OutOfMemory(600))), True),
        (Finding("a", "", "", Verdict.REFUTED, waiting=Waiting(Verdict.UNDECIDED, gave_up=OutOfTime(1))), False),
        (Finding("a", "", "", Verdict.REFUTED, waiting=Waiting(Verdict.PROVEN)), False),
    ],
)
def test_a_spent_memory_limit_is_known_wherever_it_was_reached(finding: Finding, *, spent: bool) -> None:
    assert out_of_memory(finding) is spent
