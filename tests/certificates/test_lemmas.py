"""A proof that rests on conserved air carries its lemmas, and stands or falls with them."""

from __future__ import annotations

import pytest

from bandproof.certificates.checks import BadCertificateError, Recheck, recheck, recheck_against, write_certificate
from bandproof.certificates.smtlib import Excluded
from bandproof.engines.run import search
from bandproof.lemmas.lemma import Lemma
from bandproof.text.errors import CrossCheckError
from tests.witness.samples import cylinder, learn

ARRANGEMENT, CLAIM = cylinder(("1", "3"))


@pytest.fixture(scope="module")
def text() -> str:
    problem, lemmas, answer = learn(ARRANGEMENT, CLAIM, 4)
    assert answer is None
    invariant = search(problem, problem.bad, lambda: None).invariant
    assert invariant is not None
    return write_certificate(problem, invariant, Excluded.BAD, tuple(lemmas)).text


def against(text: str) -> Recheck:
    return recheck_against(text, ARRANGEMENT, CLAIM)


def edited(text: str, old: str, new: str, *, count: int = -1) -> str:
    assert old in text
    return text.replace(old, new, count)


def line_with(text: str, beginning: str) -> str:
    return next(line for line in text.splitlines() if line.startswith(beginning))


def test_both_solvers_accept_it(text: str) -> None:
    outcome = against(text)
    assert outcome.ok
    assert outcome.fields["lemmas"] == "1"
    assert [run.solver for run in outcome.runs] == ["z3", "cvc5"]
    assert all(run.answers == ("unsat",) * 5 for run in outcome.runs)


def test_it_says_what_air_forbids(text: str) -> None:
    assert "; place 1: tank is at least 300 kPa" in text
    assert "; begins: at the start start" in text
    assert "lemma 1: forbidden is" in text


def split(text: str) -> tuple[str, str, str]:
    """What is before the accounts of the one lemma, they, and what comes after them."""
    begin, end = text.index("(set-logic QF_LRA)"), text.index("\n; ---- time passes")
    return text[:begin], text[begin:end], text[end:]


def test_without_its_lemma_it_is_refused(text: str) -> None:
    cut = text[: text.index("; ---- lemma 1")] + split(text)[2]
    with pytest.raises(BadCertificateError, match="numbers of clauses, lemmas and queries"):
        recheck(cut)
    cut = edited(edited(cut, "; lemmas: 1", "; lemmas: 0"), "; queries: 5", "; queries: 4")
    assert not against(cut).ok


def test_a_proof_that_needs_a_lemma_is_none_without_it() -> None:
    problem, lemmas, _ = learn(ARRANGEMENT, CLAIM, 4)
    invariant = search(problem, problem.bad, lambda: None).invariant
    assert invariant is not None
    with pytest.raises(CrossCheckError):
        write_certificate(problem, (), Excluded.BAD, tuple(lemmas))
    other = Lemma(lemmas[0].places[::-1], lemmas[0].start)
    swapped = write_certificate(problem, invariant, Excluded.BAD, (other,)).text
    assert not against(swapped).ok


def test_a_weaker_place_is_refused(text: str) -> None:
    atoms = line_with(text, '; atoms: [["level", "tank"')
    assert not against(edited(text, atoms, "; atoms: []")).ok
    assert not against(edited(text, atoms, edited(atoms, "true", "false"))).ok
    assert not against(edited(text, "; begins: at the start start", "; begins: anywhere")).ok


def test_accounts_that_are_not_those_of_the_lemma_are_refused(text: str) -> None:
    head, accounts, tail = split(text)
    forged = f"{head}(set-logic QF_LRA)\n(declare-const |a b| Real)\n(assert (< |a b| |a b|))\n(check-sat)\n{tail}"
    assert recheck(forged).ok
    assert against(forged).faults == ("its query of lemma 1 does not say what the arrangement and the claim say",)
    lines = accounts.splitlines()
    looser = "\n".join(line for line in lines if "tank" not in line or not line.startswith("(assert (<= 0.0 "))
    assert not against(head + looser + "\n" + tail).ok


def test_accounts_that_balance_show_nothing(text: str) -> None:
    head, _, tail = split(text)
    balanced = f"{head}(set-logic QF_LRA)\n(declare-const |a b| Real)\n(assert (<= |a b| |a b|))\n(check-sat)\n{tail}"
    outcome = recheck(balanced)
    assert not outcome.ok
    assert all("lemma 1" in fault for fault in outcome.faults)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("; lemma: 1", "; lemma: 2", "numbered in order"),
        ("; lemmas: 1", "; lemmas: 2", "numbers of clauses, lemmas and queries"),
        ("; atoms: []", "; atoms: [", "not a list"),
        ("; atoms: []", "; atoms: 3", "not a list"),
        ("(set-logic QF_LRA)", "(set-logic QF_NRA)", "does not belong to a lemma"),
        ("(set-logic QF_LRA)", "(set-logic QF_LRA)\n(push 1)", "does not belong to a lemma"),
        ("(set-logic QF_LRA)", "(set-logic QF_LRA)\n(check-sat)", "does not belong to a lemma"),
    ],
)
def test_a_malformed_lemma_is_named(text: str, old: str, new: str, message: str) -> None:
    with pytest.raises(BadCertificateError, match=message):
        recheck(edited(text, old, new))


@pytest.mark.parametrize(
    "atom",
    [
        '["level", "tank", 9, [], true]',
        '["level", "nothing", 0, [], true]',
        '["part", "tap", 0, ["ajar"], true]',
        '["control", "knob", 0, ["on"]]',
        '["colour", "tank", 0, [], true]',
        '["level", 3, 0, [], true]',
        '["level", "tank", true, [], true]',
        '["part", "tap", 0, "open", true]',
        '"tank"',
    ],
)
def test_a_lemma_about_something_else_is_refused(text: str, atom: str) -> None:
    outcome = against(edited(text, "; atoms: []", f"; atoms: [{atom}]"))
    assert outcome.faults == ("its lemma 1 speaks of what the arrangement does not have",)


def test_another_size_is_another_arrangement(text: str) -> None:
    other, _ = cylinder(("1", "4"))
    assert recheck_against(text, other, CLAIM).faults == (
        "its query of lemma 1 does not say what the arrangement and the claim say",
    )
