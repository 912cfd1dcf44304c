"""Certificates that rest on states which do not balance as a whole: forged, each is refused."""

from __future__ import annotations

import json
import re
from functools import cache

import pytest

from bandproof.certificates.checks import recheck, recheck_against, write_certificate
from bandproof.findings.finding import Verdict
from tests.conformance.case import Case, below, has, settled
from tests.conformance.test_balance import chain, decided

pytestmark = pytest.mark.slow

ABOUT = re.compile(r"; begins: in a settled state\n; place 0: .*\n; atoms: (.*)\n; place 1: .*\n; atoms: (.*)\n")


@cache
def honest() -> tuple[str, Case]:
    decision, case = decided(chain(2), settled(below("line_1", 2), when=has("tear")))
    assert decision.verdict is Verdict.PROVEN
    assert decision.invariant is not None
    return write_certificate(decision.problem, decision.invariant, lemmas=decision.lemmas).text, case


def refused(text: str) -> str:
    _, case = honest()
    answer = recheck_against(text, case.layout().arrangement, case.property())
    assert not answer.ok
    return "; ".join(answer.faults)


def test_the_honest_one_stands() -> None:
    text, case = honest()
    assert recheck_against(text, case.layout().arrangement, case.property()).ok
    assert ABOUT.search(text)


def test_one_said_of_more_states_is_refused() -> None:
    """Without the fact that the end is torn the lines may well stand at 6 bar."""
    text, _ = honest()
    atoms, _ = ABOUT.search(text).groups()  # type: ignore[union-attr]
    fewer = [atom for atom in json.loads(atoms) if atom[1] != "end"]
    assert len(fewer) < len(json.loads(atoms))
    assert "does not say" in refused(text.replace(f"; atoms: {atoms}\n", f"; atoms: {json.dumps(fewer)}\n"))


def test_one_whose_query_is_of_nothing_is_refused() -> None:
    text, _ = honest()
    head, _, tail = text.partition("; ---- lemma 1:")
    comments, _, _ = tail.partition("(reset)")
    rest = tail.partition("(check-sat)")[2]
    nonsense = (
        "(reset)\n(set-logic QF_LRA)\n(declare-const |a number| Real)\n(assert (< |a number| |a number|))\n(check-sat)"
    )
    forged = f"{head}; ---- lemma 1:{comments}{nonsense}{rest}"
    assert recheck(forged).ok
    assert "query of lemma 1" in refused(forged)


def test_one_that_speaks_of_another_sort_of_rest_is_refused() -> None:
    text, _ = honest()
    assert "does not say" in refused(text.replace("; begins: in a settled state", "; begins: in a state at rest", 1))


@pytest.mark.parametrize("item", ['["nobody", "1"]', '["line_1", "-1"]', '["line_1", 5.5]', "7"])
def test_marks_that_are_none_are_refused(item: str) -> None:
    text, _ = honest()
    _, marks = ABOUT.search(text).groups()  # type: ignore[union-attr]
    assert refused(text.replace(f"; atoms: {marks}\n", f"; atoms: [{item}]\n", 1))


def test_a_mark_left_out_changes_the_query() -> None:
    text, _ = honest()
    _, marks = ABOUT.search(text).groups()  # type: ignore[union-attr]
    fewer = json.loads(marks)[1:]
    assert "query of lemma 1" in refused(text.replace(f"; atoms: {marks}\n", f"; atoms: {json.dumps(fewer)}\n", 1))
