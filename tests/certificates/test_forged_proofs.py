"""Proofs beside claims, forged: that time passes, that parts fall silent, and what a certificate names of these."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from bandproof.certificates import checks
from bandproof.certificates.basis import Basis, Silent, basis_of, hash_of
from bandproof.certificates.checks import (
    recheck,
    recheck_against,
    recheck_posed,
    recheck_time_passes,
    write_certificate,
)
from bandproof.certificates.comparing import about_rest, about_silence
from bandproof.certificates.smtlib import Excluded
from bandproof.certificates.time_passes import write_time_passes
from bandproof.deciding import rechecking
from bandproof.deciding.cases import Case
from bandproof.deciding.rechecked import Rechecked
from bandproof.encoding.circuit import FALSE
from bandproof.encoding.problem import Problem
from bandproof.encoding.silence import silence_problem
from bandproof.encoding.system import StepRule
from bandproof.engines.endless import EndlessRuns
from bandproof.engines.run import decide, search
from bandproof.engines.silence import quietened
from bandproof.machine.cutout import cut_out
from bandproof.machine.hunting import hunting
from bandproof.machine.layout import Layout, lay_out
from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import Truth
from bandproof.properties.claim import Property, Shape
from tests.certificates.forging import edited, without
from tests.certificates.samples import at_least, two_lines
from tests.conformance.case import load
from tests.conformance.small_parts import ONE_SETTING
from tests.conformance.table_holding import KEEPER, LEAK, line
from tests.conformance.table_hunting import HUNTING

# ------------------------------------------------------------------------------------------------------ time passes


def argument() -> str:
    return write_time_passes(two_lines()).text


def query(number: int) -> str:
    return argument().split("(set-logic QF_LRA)")[number].partition("(check-sat)")[0]


HUNTS = HUNTING[0].layout().arrangement


def of_another() -> str:
    """The argument of an arrangement in which time passes, under the name and hash of one in which it need not."""
    named = edited(argument(), ("two lines", HUNTS.name), (two_lines().sha256, HUNTS.sha256))
    return re.sub(r"; file: .*", f"; file: {HUNTS.file}", named)


TIMES: list[tuple[str, Callable[[], str], Arrangement]] = [
    ("a query about nothing", lambda: edited(argument(), (query(1), "\n(assert false)\n")), two_lines()),
    ("one query twice", lambda: edited(argument(), (query(2), query(1))), two_lines()),
    ("one more demand", lambda: edited(argument(), (query(1), query(1) + "(assert false)\n")), two_lines()),
    ("another part's circle", lambda: edited(argument(), ("circle of valve_a", "circle of valve_b")), two_lines()),
    ("fewer parts that may move", lambda: edited(argument(), ("move: valve_a, valve_b", "move: valve_a")), two_lines()),
    (
        "a circle fewer",
        lambda: edited(
            argument(), ("queries: 2", "queries: 1"), ("(reset)\n(set-logic QF_LRA)" + query(2) + "(check-sat)\n", "")
        ),
        two_lines(),
    ),
    ("that of another arrangement", of_another, HUNTS),
]


@pytest.mark.parametrize(("make", "arrangement"), [case[1:] for case in TIMES], ids=[case[0] for case in TIMES])
def test_a_forged_argument_that_time_passes_is_refused(make: Callable[[], str], arrangement: Arrangement) -> None:
    text = make()
    assert recheck(text).ok
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(checks, "unnamed", lambda _: "")
        assert recheck_time_passes(text, arrangement).ok
    assert not recheck_time_passes(text, arrangement).ok


def test_the_argument_of_an_arrangement_stands_and_no_other_s() -> None:
    assert recheck_time_passes(argument(), replace(two_lines(), file="moved.toml")).ok
    assert "sha256" in recheck_time_passes(argument(), HUNTS).faults[0]
    assert recheck_time_passes(write_time_passes(HUNTS).text, HUNTS).ok


def of_one_that_hunts() -> str:
    """The proof that the highest pressure is never gone beyond, where parts can hunt."""
    decision = decide(StepRule(lay_out(HUNTS)), BEYOND)
    assert decision.invariant is not None
    return write_certificate(decision.problem, decision.invariant).text


BEYOND = Property("beyond", "never", "none", Shape.NEVER, HUNTS.starts[0].name, Truth(value=False))


@pytest.mark.parametrize(
    ("check", "old", "new"),
    [
        (
            "time passes",
            "; ==== circles that can be run: 1",
            "; ==== circles that can be run: none, so time always passes",
        ),
        ("head", f"; hunting: {', '.join(sorted(hunting(HUNTS).parts))}", "; hunting: none"),
    ],
)
def test_a_certificate_says_which_parts_can_hunt(check: str, old: str, new: str) -> None:
    assert recheck_against(of_one_that_hunts(), HUNTS, BEYOND).ok
    text = edited(of_one_that_hunts(), (old, new))
    with pytest.MonkeyPatch.context() as patch:
        without(check)(patch)
        assert recheck_against(text, HUNTS, BEYOND).ok
    assert not recheck_against(text, HUNTS, BEYOND).ok


# ---------------------------------------------------------------------------------------------------------- silence

QUIET, RESTLESS = (load(line(KEEPER, *leak, kinds=ONE_SETTING)) for leak in ((), (LEAK,)))


def question(arrangement: Arrangement) -> Problem:
    return silence_problem(cut_out(lay_out(arrangement), "keeper"))


def forged(change: Callable[[Problem], Problem]) -> Callable[[], str]:
    """A proof that the restless keeper falls silent, of a question that is another one."""

    def make() -> str:
        problem = change(question(RESTLESS))
        found = search(problem, problem.bad, lambda: None)
        assert found.invariant is not None
        return write_certificate(problem, found.invariant, basis=Basis()).text

    return make


def still(problem: Problem) -> Problem:
    after = tuple(bit.literal for bit in problem.bits)
    return replace(problem, after=after, accelerated=after)


SILENCES = [
    ("property", forged(lambda p: replace(p, bad=FALSE))),
    ("start", forged(lambda p: replace(p, start=FALSE))),
    ("step", forged(still)),
]


@pytest.mark.parametrize(("check", "make"), SILENCES, ids=[case[0] for case in SILENCES])
def test_a_forged_proof_of_silence_is_refused(check: str, make: Callable[[], str]) -> None:
    text, asked = make(), about_silence(RESTLESS, "keeper", ())
    assert recheck(text).ok
    with pytest.MonkeyPatch.context() as patch:
        without(check)(patch)
        assert recheck_posed(text, asked).ok
    assert not recheck_posed(text, asked).ok


def test_a_part_is_not_shown_to_fall_silent_by_itself() -> None:
    text = SILENCES[0][1]()
    found = recheck_posed(text, about_silence(RESTLESS, "keeper", (Silent("keeper"),)))
    assert "not among the parts that could move for ever" in found.faults[0]
    assert "not among the parts" in recheck_posed(text, about_silence(RESTLESS, "nobody", ())).faults[0]


def test_a_proof_of_silence_has_no_lemmas_and_excludes_no_condition() -> None:
    text = edited(proof_of_silence(), (f"; excludes: {Excluded.BAD}", f"; excludes: {Excluded.CONDITION}"))
    assert "excludes something else" in recheck_posed(text, about_silence(QUIET, "keeper", ())).faults[0]
    assert recheck_posed(proof_of_silence(), about_silence(QUIET, "keeper", ())).ok


def test_that_all_come_to_rest_is_shown_for_the_start_and_mishaps_it_is_said_of() -> None:
    start = RESTLESS.starts[0].name
    layout = lay_out(QUIET)
    runs = EndlessRuns(layout)
    found = runs.from_start(start, frozenset())
    assert found is not None
    ((_, text),) = found.proofs
    assert recheck_posed(text, about_rest(QUIET, start, frozenset())).ok
    other = edited(text, (QUIET.sha256, RESTLESS.sha256))
    assert recheck(other).ok
    assert not recheck_posed(other, about_rest(RESTLESS, start, frozenset())).ok
    assert not recheck_posed(text, about_rest(QUIET, "nowhere", frozenset())).ok


# -------------------------------------------------------------------------------------- what a certificate rests on

CLAIM = Property("low", "the line stays below 900 kPa", "none", Shape.NEVER, "start", at_least("v", 900))


def claimed(arrangement: Arrangement, silent: tuple[Silent, ...]) -> str:
    claim = replace(CLAIM, during=arrangement.starts[0].name, when=at_least("v", 999))
    conditions = [claim.when]
    layout = Layout(arrangement, lay_out(arrangement, conditions).thresholds, frozenset(one.part for one in silent))
    decision = decide(StepRule(layout), claim)
    assert decision.invariant is not None, decision
    return write_certificate(decision.problem, decision.invariant, basis=basis_of(layout, silent)).text


@cache
def proof_of_silence() -> str:
    return quietened(lay_out(QUIET)).silences[0].certificate


def outcome(folder: Path, text: str, arrangement: Arrangement, beside: str | None) -> Rechecked:
    """What becomes of a certificate in a folder with the proof of silence that is given."""
    if beside is not None:
        (folder / "silent-keeper.smt2").write_text(beside, encoding="ascii")
    (folder / "low.smt2").write_text(text, encoding="ascii")
    claim = replace(CLAIM, during=arrangement.starts[0].name, when=at_least("v", 999))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rechecking, "load_cases", lambda *_: (Case(arrangement, (claim,)),))
        return rechecking.recheck_file(folder / "low.smt2", Path("some.toml"))


def test_a_certificate_names_the_proofs_of_its_silent_parts(tmp_path: Path) -> None:
    proof = proof_of_silence()
    text = claimed(QUIET, (Silent("keeper", hash_of(proof)),))
    assert f"; silent: keeper (silent-keeper.smt2 {hash_of(proof)})" in text
    found = outcome(tmp_path, text, QUIET, proof)
    assert found.ok, found.faults
    assert "silent-keeper.smt2, which it names, was checked in the same way" in found.done
    (tmp_path / "silent-keeper.smt2").unlink()
    assert (
        "that keeper falls silent was shown anew: the file with its proof is not there"
        in outcome(tmp_path, text, QUIET, None).done
    )


@pytest.mark.parametrize("named", ["a forged proof", "no proof", "a proof that is not there"])
def test_a_part_that_is_not_silent_is_refused(tmp_path: Path, named: str) -> None:
    text = SILENCES[0][1]() if named == "a forged proof" else None
    silent = Silent("keeper") if named == "no proof" else Silent("keeper", hash_of(text or "nothing"))
    certificate = claimed(RESTLESS, (silent,))
    assert recheck(certificate).ok
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rechecking, "shown_silent", lambda *_: ((), ()))
        assert outcome(tmp_path, certificate, RESTLESS, text).ok
    assert not outcome(tmp_path, certificate, RESTLESS, text).ok
