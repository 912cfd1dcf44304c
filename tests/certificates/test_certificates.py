"""A certificate stands for what it was written for, and for nothing else."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from bandproof.certificates.checks import BadCertificateError, Recheck, recheck, recheck_against, write_certificate
from bandproof.certificates.invariant import definition_clauses, minimised
from bandproof.certificates.smtlib import Excluded, write
from bandproof.encoding.bits import BitSort
from bandproof.encoding.system import StepRule, pose
from bandproof.engines.run import decide
from bandproof.findings.finding import Verdict
from bandproof.machine.layout import Layout
from bandproof.model.arrangement import Range
from bandproof.model.conditions import ALWAYS_TRUE, InPosition, Truth
from bandproof.properties.claim import Pace, Shape
from bandproof.solvers import cvc5_solver
from bandproof.text.errors import CrossCheckError
from tests.certificates.samples import KPA, claim, proof, two_lines
from tests.conformance.table_line_air import NEEDS_FILLINGS
from tests.strategies import layout_for

#: Start, step, property, and a circle of each valve.
QUERIES = 5

SHAPES = (Shape.NEVER, Shape.ALWAYS, Shape.REACHABLE, Shape.SETTLED)


def written(shape: Shape = Shape.NEVER) -> str:
    decision = proof(claim(shape))
    assert decision.invariant is not None
    return write_certificate(decision.problem, decision.invariant).text


def against(text: str) -> Recheck:
    return recheck_against(text, two_lines(), claim())


# ------------------------------------------------------------------------------------------------ good certificates


@pytest.mark.parametrize("shape", SHAPES)
def test_both_solvers_accept_a_certificate(shape: Shape) -> None:
    outcome = recheck_against(written(shape), two_lines(), claim(shape))
    assert outcome.ok
    assert [run.solver for run in outcome.runs] == ["z3", "cvc5"]
    assert all(run.answers == ("unsat",) * QUERIES and run.version for run in outcome.runs)


def test_a_certificate_speaks_of_what_air_in_lines_has_moved() -> None:
    """Ten fillings of a small line do not take a tank from 6 to 4 bar, which any number would."""
    said, rule = NEEDS_FILLINGS[0].property(), StepRule(NEEDS_FILLINGS[0].layout())
    decision = decide(rule, said)
    assert decision.invariant is not None
    text = write_certificate(decision.problem, decision.invariant, lemmas=decision.lemmas).text
    assert "since air goes from it into lines only" in text
    assert recheck_against(text, rule.layout.arrangement, said).ok


def test_says_which_solver_ran_when_only_one_is_there(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cvc5_solver, "installed", lambda: False)
    outcome = recheck(written())
    assert outcome.ok
    assert [run.solver for run in outcome.runs] == ["z3"]


def test_plain_z3_answers_the_file(tmp_path: Path) -> None:
    file = tmp_path / "not-both.smt2"
    file.write_text(written(), encoding="ascii")
    ran = subprocess.run([Path(sys.executable).parent / "z3", file], capture_output=True, text=True, check=True)
    assert ran.stdout.split() == ["unsat"] * QUERIES


def test_the_head_says_what_it_is_about() -> None:
    fields = recheck(written()).fields
    assert fields == {
        "format": "bandproof-certificate/1",
        "arrangement": "two lines",
        "file": "models/two_lines.toml",
        "sha256": "ab" * 32,
        "property": "not-both",
        "says": "the two lines are never full at once",
        "basis": "none",
        "claim": "never: (line_a is at least 200 kPa and line_b is at least 200 kPa)",
        "excludes": Excluded.BAD.value,
        "start": "empty",
        "driver": "any time",
        "mishaps": "none",
        "fillings": "any number",
        "windows": "none",
        "silent": "none",
        "hunting": "none",
        "clauses": "6",
        "lemmas": "0",
        "circles": "2",
        "queries": "5",
    }


def test_every_clause_is_read_out_in_words() -> None:
    decision = proof()
    assert decision.invariant is not None
    certificate = write_certificate(decision.problem, decision.invariant)
    assert "never at once: line_a is at least 50 kPa; valve_b is open" in certificate.readings
    assert "by definition, never at once: knob stands at a; knob stands at b" in certificate.readings
    assert all(words in certificate.text for words in certificate.readings)
    assert "no approval" in certificate.text


def test_an_empty_claim_has_a_certificate_for_its_condition() -> None:
    decision = proof(claim(Shape.SETTLED))
    assert decision.verdict is Verdict.EMPTY
    problem = decision.problem
    pairs = definition_clauses(problem)
    full = {
        f"line_{x}": 2 * node
        for node, name in problem.circuit.names.items()
        for x in "ab"
        if name == f"volume line_{x}: 50000"
    }
    open_ = {
        x: 2 * node for node, name in problem.circuit.names.items() for x in "ab" if name == f"part valve_{x}: open"
    }
    invariant = (
        *pairs,
        (full["line_a"] ^ 1, full["line_b"] ^ 1),
        (full["line_a"] ^ 1, open_["b"] ^ 1),
        (full["line_b"] ^ 1, open_["a"] ^ 1),
    )
    text = write_certificate(problem, invariant, Excluded.CONDITION).text
    outcome = recheck_against(text, two_lines(), claim(Shape.SETTLED))
    assert outcome.ok
    assert outcome.fields["excludes"] == Excluded.CONDITION.value


def test_a_start_without_states_has_a_certificate() -> None:
    """The start asks for a settled state with one valve shut and its line full."""
    arrangement = two_lines()
    full = Range(900 * KPA, 900 * KPA)
    start = replace(arrangement.start("empty"), pressures=(("line_a", full), ("line_b", full)), settled=True)
    arrangement = replace(arrangement, starts=(start,))
    problem = pose(StepRule(layout_for(arrangement, claim())), claim())
    certificate = write_certificate(problem, ((),))
    assert certificate.readings == ("never anything: there is no state of the start",)
    assert recheck_against(certificate.text, arrangement, claim()).ok


def built_in_another_order(layout: Layout) -> StepRule:
    """A rule whose circuit already holds the gates that posing the claim makes, the last possible one first."""
    posed, rule = StepRule(layout), StepRule(layout)
    known = len(rule.circuit.operands)
    pose(posed, claim())
    waiting = list(range(known, len(posed.circuit.operands)))
    place = {node: node for node in range(known)}
    while waiting:
        ready = (n for n in reversed(waiting) if all(x >> 1 in place for x in posed.circuit.operands[n] or ()))
        node = next(ready)
        waiting.remove(node)
        place[node] = rule.circuit.all_of(2 * place[x >> 1] + (x & 1) for x in posed.circuit.operands[node] or ()) >> 1
    return rule


def test_the_order_in_which_a_circuit_was_built_leaves_no_trace_in_the_text() -> None:
    layout = layout_for(two_lines(), claim())
    late = pose(built_in_another_order(layout), claim())
    early = pose(StepRule(layout), claim())
    assert late.after != early.after
    decision = proof()
    assert decision.invariant is not None
    assert write_certificate(late, decision.invariant).text == write_certificate(early, decision.invariant).text


# ----------------------------------------------------------------------------------------------------- minimising


@pytest.mark.slow
def test_no_clause_of_a_certificate_can_be_spared() -> None:
    decision = proof()
    assert decision.invariant is not None
    clauses = minimised(decision.problem, decision.invariant, decision.problem.bad)
    assert recheck(write(decision.problem, clauses, Excluded.BAD)).ok
    for left_out in clauses:
        rest = tuple(clause for clause in clauses if clause != left_out)
        outcome = recheck(write(decision.problem, rest, Excluded.BAD))
        assert not outcome.ok
        assert outcome.faults


def test_needless_clauses_and_literals_go() -> None:
    decision = proof()
    assert decision.invariant is not None
    once = minimised(decision.problem, decision.invariant, decision.problem.bad)
    settled_line = next(bit.literal for bit in decision.problem.bits if bit.subject == "line_a")
    padded = [(*clause, settled_line) if clause[0] >> 1 != settled_line >> 1 else clause for clause in once]
    more = [*once, *padded, *((*clause, once[0][0]) for clause in once)]
    again = minimised(decision.problem, more, decision.problem.bad)
    assert len(again) <= len(once)
    assert recheck(write(decision.problem, again, Excluded.BAD)).ok


def test_a_clause_is_not_shortened_to_what_only_holds_after_the_first_step() -> None:
    """The claim is released by its own start, so `released` holds from the first step on, but not before it."""
    off = InPosition("knob", frozenset({"off"}))
    released_at_once = replace(claim(Shape.HOLDS), when=ALWAYS_TRUE, then=Truth(value=False), until=off)
    problem = pose(StepRule(layout_for(two_lines(), released_at_once)), released_at_once)
    bits = {(bit.sort, bit.subject, bit.value): bit.literal for bit in problem.bits}
    clause = (bits[BitSort.CONTROL, "knob", "off"], bits[BitSort.MONITOR, "released", "yes"])
    certificate = write_certificate(problem, (clause,))
    assert certificate.readings == ("never at once: knob does not stand at off; the claim is not released",)
    assert recheck_against(certificate.text, two_lines(), released_at_once).ok


def test_what_is_no_invariant_is_not_written_down() -> None:
    decision = proof()
    assert decision.invariant is not None
    problem = decision.problem
    bits = {bit.subject: bit.literal for bit in problem.bits}
    with pytest.raises(CrossCheckError, match="do not exclude"):
        write_certificate(problem, ())
    with pytest.raises(CrossCheckError, match="every step"):
        write_certificate(problem, ((bits["line_a"] ^ 1, bits["line_b"] ^ 1),))
    with pytest.raises(CrossCheckError, match="start"):
        write_certificate(problem, ((bits["valve_a"],), (bits["valve_a"] ^ 1, bits["line_a"] ^ 1)))


# ------------------------------------------------------------------------------------------------------- tampering


def edited(text: str, old: str, new: str, *, count: int = -1) -> str:
    assert old in text
    return text.replace(old, new, count)


def line_with(text: str, beginning: str, *, last: bool = False) -> str:
    lines = [line for line in text.splitlines() if line.startswith(beginning)]
    return lines[-1 if last else 0]


@pytest.mark.slow
def test_a_widened_invariant_is_refused() -> None:
    text = written()
    for k in range(1, 7):
        term = line_with(text, f"(define-fun c{k} ").partition("Bool ")[2].removesuffix(")")
        after = line_with(text, f"(define-fun n{k} ").partition("Bool ")[2].removesuffix(")")
        name = line_with(text, "(declare-const |line_a").split(" Bool")[0].removeprefix("(declare-const ")
        anything = f" {name} (not {name}))"
        anything_after = f" |after: {name[1:-1]}| (not |after: {name[1:-1]}|))"
        wide = edited(text, f"(define-fun c{k} () Bool {term})", f"(define-fun c{k} () Bool {term[:-1]}{anything})")
        wide = edited(
            wide, f"(define-fun n{k} () Bool {after})", f"(define-fun n{k} () Bool {after[:-1]}{anything_after})"
        )
        outcome = recheck(wide)
        assert not outcome.ok
        assert all(not run.ok for run in outcome.runs)
        assert not against(wide).ok


def test_a_clause_dropped_in_one_place_only_is_refused() -> None:
    text = written()
    with pytest.raises(BadCertificateError, match="c6 is used before"):
        recheck(edited(text, line_with(text, "(define-fun c6 ") + "\n", "", count=1))
    with pytest.raises(BadCertificateError, match="another invariant"):
        recheck(
            edited(
                text, line_with(text, "(define-fun c6 "), "(define-fun c6 () Bool (not |knob stands at a|))", count=1
            )
        )
    with pytest.raises(BadCertificateError, match="invariant should be"):
        recheck(edited(text, "(define-fun invariant () Bool (and c1 c2 ", "(define-fun invariant () Bool (and c1 "))
    with pytest.raises(BadCertificateError, match="n3 should be"):
        recheck(edited(text, line_with(text, "(define-fun n3 "), "(define-fun n3 () Bool true)"))
    with pytest.raises(BadCertificateError, match="should assert"):
        recheck(edited(text, "(assert excluded)\n", ""))
    with pytest.raises(BadCertificateError, match="should assert"):
        recheck(edited(text, "(assert start)", "(assert (and start (not start)))"))


@pytest.mark.parametrize(
    ("beginning", "query"),
    [
        ("(define-fun |after: valve_a is open|", "step"),
        ("(define-fun |after: line_b is at least 50 kPa|", "step"),
        ("(define-fun g5 ", "step"),
        ("(define-fun start ", "start"),
        ("(define-fun excluded ", "property"),
    ],
)
def test_another_transition_start_or_goal_is_refused(beginning: str, query: str) -> None:
    text = written()
    line = line_with(text, beginning)
    changed = edited(text, line, f"{line[: line.index(' Bool ')]} Bool false)")
    outcome = against(changed)
    assert not outcome.ok
    assert outcome.faults == (f"its {query} query does not say what the arrangement and the claim say",)


def test_another_arrangement_is_refused() -> None:
    text = written()
    assert "sha256" in recheck_against(text, two_lines(sha256="cd" * 32), claim()).faults[0]
    assert "step query" in recheck_against(text, two_lines(leak=True), claim()).faults[0]
    assert "leaves out a threshold" in recheck_against(text, two_lines(opens_below=60), claim()).faults[0]
    assert recheck(text).ok


def test_an_edited_hash_is_refused() -> None:
    text = edited(written(), "sha256: abab", "sha256: cdcd")
    assert recheck(text).ok
    assert "sha256" in against(text).faults[0]


@pytest.mark.parametrize(
    "other",
    [
        claim(id="another"),
        claim(Shape.ALWAYS),
        claim(full=50),
        replace(claim(), pace=Pace.HANDS_OFF),
        replace(claim(), says="The two lines are never empty at once"),
    ],
)
def test_another_claim_is_refused(other: object) -> None:
    assert isinstance(other, type(claim()))
    assert not recheck_against(written(), two_lines(), other).ok


def test_a_claim_that_only_looks_the_same_is_refused() -> None:
    """Everything at the head agrees, but the certificate excludes less than the claim forbids."""
    lenient = proof(claim(full=200))
    assert lenient.invariant is not None
    text = write_certificate(lenient.problem, lenient.invariant).text
    text = edited(
        text, "at least 200 kPa and line_b is at least 200 kPa)", "at least 50 kPa and line_b is at least 50 kPa)"
    )
    assert "property query" in recheck_against(text, two_lines(), claim(full=50)).faults[0]


def test_thresholds_that_the_claim_needs_cannot_be_left_out() -> None:
    text = edited(written(), "50 kPa [50000], 200 kPa [200000]", "50 kPa [50000]")
    assert "leaves out a threshold" in against(text).faults[0]


def test_an_invariant_over_wishes_is_refused() -> None:
    text = edited(written(), "(define-fun c6 () Bool (or ", "(define-fun c6 () Bool (or |input up line_a| ")
    text = edited(text, "(set-logic QF_UF)\n", "(set-logic QF_UF)\n(declare-const |input up line_a| Bool)\n", count=1)
    with pytest.raises(BadCertificateError, match="state variables"):
        recheck(text)


# --------------------------------------------------------------------------------------------------------- garbage


@pytest.mark.parametrize(
    "text",
    [
        "",
        "\n",
        "not a certificate",
        "; format: bandproof-certificate/1\n",
        "; format: bandproof-certificate/2\n(set-logic QF_UF)",
        "; format: bandproof-certificate/1\n" + "(" * 5000,
        "; format: bandproof-certificate/1\n" + "(assert " + "(not " * 40 + "true" + ")" * 41,
        "; format: bandproof-certificate/1\n; at: line a\n; thresholds: 3 kPa [3/0]\n",
        "; format: bandproof-certificate/1\n; at: line a\n; thresholds: 3 kPa [3], 2 kPa [2]\n",
        "; format: bandproof-certificate/1\n; format: bandproof-certificate/1\n",
        "; format: bandproof-certificate/1\n)",
        "; format: bandproof-certificate/1\nunsat unsat unsat",
        '; format: bandproof-certificate/1\n(echo "unsat")(reset)(echo "unsat")(reset)(echo "unsat")',
        "; format: bandproof-certificate/1\n(reset)(reset)",
        "; format: bandproof-certificate/1\n()(reset)()(reset)()",
        "; format: bandproof-certificate/1\n(set-logic QF_UF)(assert ())(reset)()(reset)()",
        "; format: bandproof-certificate/1 \x00\ud800",
        "\u00a0; format: bandproof-certificate/1",
    ],
)
def test_what_is_no_certificate_is_named_as_such(text: str) -> None:
    with pytest.raises(BadCertificateError) as caught:
        recheck(text, "out/some.smt2")
    assert str(caught.value).startswith("out/some.smt2, line ")
    assert "no certificate" in str(caught.value)


def test_a_certificate_cut_short_is_no_certificate() -> None:
    text = written()
    for end in range(0, text.rindex("(check-sat)"), 97):
        with pytest.raises(BadCertificateError):
            recheck(text[:end])
    assert not against(text[: text.rindex("(check-sat)")] + "(check-sat)\n").ok


def test_no_command_can_be_slipped_in() -> None:
    text = written()
    for line, command in [
        ("(assert start)", "(push 1)"),
        ("(assert start)", "(set-option :produce-models true)"),
        ("(check-sat)", "(check-sat)"),
        ("(check-sat)", "(exit)"),
        ("(assert invariant)", "(assert false)"),
        ("(assert invariant)", "(define-fun g99 () Bool g100)"),
        ("(assert invariant)", "(declare-const |x y| Bool)"),
        ("(define-fun c1 ", "(declare-const |true| Bool)"),
        ("(define-fun c1 ", "(define-fun true () Bool false)"),
        ("(define-fun c1 ", "(define-fun c7 () Bool false)"),
        ("(define-fun c1 ", "(define-fun g1 () Int 3)"),
    ]:
        with pytest.raises(BadCertificateError):
            recheck(edited(text, line, f"{command}\n{line}", count=1))


def test_line_ends_do_not_matter_and_words_do() -> None:
    text = written()
    assert against(text.replace("\n", "\r\n")).ok
    noted = edited(text, "; ---- step", "; the valves never open\n; ---- step")
    assert recheck(noted).ok
    assert "start query does not say" in against(noted).faults[0]


def test_the_name_of_the_arrangement_s_file_does_not_matter() -> None:
    moved = replace(two_lines(), file="elsewhere/renamed.toml")
    assert recheck_against(written(), moved, claim()).ok


def test_solvers_that_disagree_stop_the_check(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cvc5_solver, "answers", lambda _text: ("unsat", "sat", "unsat"))
    with pytest.raises(CrossCheckError, match="disagree"):
        recheck(written())


def test_an_unknown_answer_is_a_fault_and_no_disagreement(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cvc5_solver, "answers", lambda _text: ("unsat", "unknown", *["unsat"] * 3))
    outcome = recheck(written())
    assert not outcome.ok
    assert outcome.faults == ('cvc5: the step query is answered "unknown"',)
    monkeypatch.setattr(cvc5_solver, "answers", lambda _text: ("unsat",))
    assert recheck(written()).faults == ("cvc5: 1 answers to 5 queries",)
