"""Terms are written as SMT-LIB has it, and what a session answers about them is what they say."""

from __future__ import annotations

from fractions import Fraction
from typing import get_args

import pytest

from bandproof.solvers.smt_terms import (
    FALSE,
    TRUE,
    ZERO,
    Bool,
    BoolSymbol,
    Conjunction,
    Difference,
    Disjunction,
    IfThenElse,
    Implication,
    Minus,
    Negation,
    Number,
    Quotient,
    Real,
    RealSymbol,
    Same,
    Scaled,
    Sum,
    Symbol,
    assertion,
    at_least,
    at_most,
    conjunction,
    declaration,
    definition,
    disjunction,
    equal,
    later,
    over,
    text,
    total,
)
from bandproof.solvers.z3_solver import Answer, Session

X, Y = RealSymbol("|x|"), RealSymbol("|y|")
A, B = BoolSymbol("|a|"), BoolSymbol("|b|")
HALF = Fraction(1, 2)

WRITTEN: list[tuple[Real | Bool, str]] = [
    (Number(Fraction(3)), "3.0"),
    (Number(HALF), "(/ 1.0 2.0)"),
    (X, "|x|"),
    (Sum((X, Y, ZERO)), "(+ |x| |y| 0.0)"),
    (Minus(X), "(- |x|)"),
    (Difference(X, Y), "(- |x| |y|)"),
    (Scaled(HALF, X), "(* (/ 1.0 2.0) |x|)"),
    (Quotient(X, Fraction(4)), "(/ |x| 4.0)"),
    (TRUE, "true"),
    (FALSE, "false"),
    (A, "|a|"),
    (at_most(ZERO, X, Y), "(<= 0.0 |x| |y|)"),
    (at_least(X, Y), "(>= |x| |y|)"),
    (over(X, Y), "(> |x| |y|)"),
    (equal(X, Y), "(= |x| |y|)"),
    (Same(A, B), "(= |a| |b|)"),
    (Negation(A), "(not |a|)"),
    (Conjunction((A, B)), "(and |a| |b|)"),
    (Disjunction((A, B)), "(or |a| |b|)"),
    (Implication(A, B), "(=> |a| |b|)"),
    (IfThenElse(A, B, FALSE), "(ite |a| |b| false)"),
]


@pytest.mark.parametrize(("term", "expected"), WRITTEN, ids=lambda value: value if isinstance(value, str) else "")
def test_each_kind_is_written_as_smt_lib_has_it(term: Real | Bool, expected: str) -> None:
    assert text(term) == expected


def test_no_kind_is_left_out() -> None:
    assert {type(term) for term, _ in WRITTEN} == {*get_args(Real), *get_args(Bool)}


def test_joining_any_number_of_items_puts_nothing_round_one() -> None:
    assert (total([]), total([X]), total([X, Y])) == (ZERO, X, Sum((X, Y)))
    assert (conjunction([]), conjunction([A]), conjunction([A, B])) == (TRUE, A, Conjunction((A, B)))
    assert (disjunction([]), disjunction([A]), disjunction([A, B])) == (FALSE, A, Disjunction((A, B)))


def test_one_formula_serves_all_steps() -> None:
    here, nothing = RealSymbol("p", 0), RealSymbol("|size|")
    term = Implication(BoolSymbol("b", 1), at_most(here, nothing))
    assert text(term, 4) == "(=> |b 5| (<= |p 4| |size|))"
    assert later(term) == Implication(BoolSymbol("b", 2), at_most(RealSymbol("p", 1), nothing))
    assert text(later(term), 3) == text(term, 4)


def test_commands() -> None:
    assert [declaration(RealSymbol("p", 1), 2), declaration(A)] == [
        "(declare-const |p 3| Real)",
        "(declare-const |a| Bool)",
    ]
    assert definition(BoolSymbol("g", 0), Negation(A), 7) == "(define-fun |g 7| () Bool (not |a|))"
    assert assertion(A) == "(assert |a|)"


def session(*demands: Bool) -> Session:
    symbols: tuple[Symbol, ...] = (X, Y, A, B)
    lines = [*map(declaration, symbols), *map(assertion, demands)]
    return Session("\n".join(lines), None, {"random_seed": 1})


def test_a_session_tells_numbers_truths_and_cores() -> None:
    asked = session(equal(Scaled(HALF, X), Number(Fraction(3))), Implication(A, over(X, Y)), Implication(B, over(Y, X)))
    assert asked.ask([A]) is Answer.YES
    (x, y) = asked.numbers([X, Y])
    assert x == 6 > y
    assert asked.truth(A)
    assert "|a|" in asked.true_names()
    assert asked.ask([A, B]) is Answer.NO
    assert asked.core() == {A, B}


def test_what_is_added_to_a_session_holds_from_then_on() -> None:
    asked = session(over(X, ZERO))
    assert asked.ask() is Answer.YES
    asked.add(at_most(X, ZERO))
    assert asked.ask() is Answer.NO


def test_a_session_that_reaches_its_limit_has_no_answer() -> None:
    sits = [[BoolSymbol(f"|{i} in {j}|") for j in range(6)] for i in range(7)]
    lines = [declaration(symbol) for row in sits for symbol in row]
    lines += [assertion(disjunction(row)) for row in sits]
    lines += [
        assertion(Negation(Conjunction((one[j], other[j]))))
        for j in range(6)
        for i, one in enumerate(sits)
        for other in sits[:i]
    ]
    asked = Session("\n".join(lines), None, {"rlimit": 1_000})
    assert asked.ask() is Answer.GAVE_UP
    asked.limit(100_000_000)
    assert asked.ask() is Answer.NO
