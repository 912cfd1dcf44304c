"""Formulas of linear arithmetic as values, and the one place where they become SMT-LIB 2.6 text.

Two sorts: `Real` terms and `Bool` terms. Both are plain frozen values, so they can be compared and moved to another step;
`text` alone knows how they are written. No library of terms is used: a certificate's text is checked byte by
byte, so each node stands for one way of writing, and no more than these are needed.

A symbol of an unrolled run belongs to a step: it is `ahead` of the step for which the formula is written, which `text` is
told. So one formula serves all steps.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields, replace
from enum import StrEnum
from fractions import Fraction
from typing import Any


class Side(StrEnum):
    """How two numbers are compared."""

    AT_MOST = "<="
    AT_LEAST = ">="
    UNDER = "<"
    OVER = ">"
    EQUAL = "="


# ------------------------------------------------------------------------------------------------------------ reals


@dataclass(frozen=True, slots=True)
class Number:
    """A number that is not negative."""

    value: Fraction


@dataclass(frozen=True, slots=True)
class RealSymbol:
    """An unknown number; `name` is the symbol as SMT-LIB writes it or, of a step, without its bars and number."""

    name: str
    ahead: int | None = None


@dataclass(frozen=True, slots=True)
class Sum:
    """The sum of two numbers or more."""

    items: tuple[Real, ...]


@dataclass(frozen=True, slots=True)
class Minus:
    """A number with its sign turned."""

    item: Real


@dataclass(frozen=True, slots=True)
class Difference:
    """`left` less `right`."""

    left: Real
    right: Real


@dataclass(frozen=True, slots=True)
class Scaled:
    """A number times a known one."""

    factor: Fraction
    item: Real


@dataclass(frozen=True, slots=True)
class Quotient:
    """A number divided by a known one."""

    item: Real
    divisor: Fraction


Real = Number | RealSymbol | Sum | Minus | Difference | Scaled | Quotient

ZERO = Number(Fraction(0))

# ---------------------------------------------------------------------------------------------------------- booleans


@dataclass(frozen=True, slots=True)
class TruthValue:
    """True or false."""

    value: bool


@dataclass(frozen=True, slots=True)
class BoolSymbol:
    """An unknown truth; `name` as that of a `RealSymbol`."""

    name: str
    ahead: int | None = None


@dataclass(frozen=True, slots=True)
class Ordered:
    """Each of the items compared with the next one."""

    side: Side
    items: tuple[Real, ...]


@dataclass(frozen=True, slots=True)
class Same:
    """Two truths are the same."""

    left: Bool
    right: Bool


@dataclass(frozen=True, slots=True)
class Negation:
    """The item does not hold."""

    item: Bool


@dataclass(frozen=True, slots=True)
class Conjunction:
    """Two or more that all hold; `conjunction` takes any number."""

    items: tuple[Bool, ...]


@dataclass(frozen=True, slots=True)
class Disjunction:
    """Two or more of which one holds; `disjunction` takes any number."""

    items: tuple[Bool, ...]


@dataclass(frozen=True, slots=True)
class Implication:
    """Where `left` holds, so does `right`."""

    left: Bool
    right: Bool


@dataclass(frozen=True, slots=True)
class IfThenElse:
    """`then` where `when` holds, else `otherwise`."""

    when: Bool
    then: Bool
    otherwise: Bool


Bool = TruthValue | BoolSymbol | Ordered | Same | Negation | Conjunction | Disjunction | Implication | IfThenElse
Symbol = RealSymbol | BoolSymbol

TRUE, FALSE = TruthValue(value=True), TruthValue(value=False)

# ------------------------------------------------------------------------------------------------------------ making


def total(items: Iterable[Real]) -> Real:
    """The sum of any number of items."""
    kept = tuple(items)
    return Sum(kept) if len(kept) > 1 else kept[0] if kept else ZERO


def conjunction(items: Iterable[Bool]) -> Bool:
    """All of any number of items."""
    kept = tuple(items)
    return Conjunction(kept) if len(kept) > 1 else kept[0] if kept else TRUE


def disjunction(items: Iterable[Bool]) -> Bool:
    """Some one of any number of items."""
    kept = tuple(items)
    return Disjunction(kept) if len(kept) > 1 else kept[0] if kept else FALSE


def at_most(*items: Real) -> Ordered:
    """None of the items is above the next one."""
    return Ordered(Side.AT_MOST, items)


def at_least(left: Real, right: Real) -> Ordered:
    """`left` is not below `right`."""
    return Ordered(Side.AT_LEAST, (left, right))


def over(left: Real, right: Real) -> Ordered:
    """`left` is above `right`."""
    return Ordered(Side.OVER, (left, right))


def equal(left: Real, right: Real) -> Ordered:
    """Two numbers are equal."""
    return Ordered(Side.EQUAL, (left, right))


# ----------------------------------------------------------------------------------------------------- looking through


def later(term: Bool) -> Bool:
    """The same of the next step."""
    moved: Bool = _moved(term)
    return moved


def _moved(value: Any) -> Any:
    if isinstance(value, tuple):
        return tuple(map(_moved, value))
    if isinstance(value, RealSymbol | BoolSymbol):
        return value if value.ahead is None else replace(value, ahead=value.ahead + 1)
    if isinstance(value, Real | Bool):
        return replace(value, **{field.name: _moved(getattr(value, field.name)) for field in fields(value)})
    return value


# ---------------------------------------------------------------------------------------------------------- printing


def text(term: Real | Bool, at: int = 0) -> str:
    """A term as SMT-LIB writes it; symbols of a step are those of step `at`, or as far ahead of it as they say."""
    return _WRITERS[type(term)](term, at)


def declaration(symbol: Symbol, at: int = 0) -> str:
    """The command that declares a symbol."""
    return f"(declare-const {text(symbol, at)} {'Real' if isinstance(symbol, RealSymbol) else 'Bool'})"


def definition(symbol: BoolSymbol, term: Bool, at: int = 0) -> str:
    """The command that makes a symbol stand for a term."""
    return f"(define-fun {text(symbol, at)} () Bool {text(term, at)})"


def assertion(term: Bool, at: int = 0) -> str:
    """The command that demands a term."""
    return f"(assert {text(term, at)})"


def _number(value: Fraction) -> str:
    return f"{value.numerator}.0" if value.denominator == 1 else f"(/ {value.numerator}.0 {value.denominator}.0)"


def _symbol(term: Symbol, at: int) -> str:
    return term.name if term.ahead is None else f"|{term.name} {at + term.ahead}|"


def _list(operator: str, items: Iterable[Real | Bool], at: int) -> str:
    return f"({operator} {' '.join([_WRITERS[type(item)](item, at) for item in items])})"


_WRITERS: dict[type, Callable[[Any, int], str]] = {
    Number: lambda term, _: _number(term.value),
    RealSymbol: _symbol,
    Sum: lambda term, at: _list("+", term.items, at),
    Minus: lambda term, at: _list("-", (term.item,), at),
    Difference: lambda term, at: _list("-", (term.left, term.right), at),
    Scaled: lambda term, at: f"(* {_number(term.factor)} {text(term.item, at)})",
    Quotient: lambda term, at: f"(/ {text(term.item, at)} {_number(term.divisor)})",
    TruthValue: lambda term, _: "true" if term.value else "false",
    BoolSymbol: _symbol,
    Ordered: lambda term, at: _list(term.side.value, term.items, at),
    Same: lambda term, at: _list("=", (term.left, term.right), at),
    Negation: lambda term, at: _list("not", (term.item,), at),
    Conjunction: lambda term, at: _list("and", term.items, at),
    Disjunction: lambda term, at: _list("or", term.items, at),
    Implication: lambda term, at: _list("=>", (term.left, term.right), at),
    IfThenElse: lambda term, at: _list("ite", (term.when, term.then, term.otherwise), at),
}
