"""Text to condition nodes, by a grammar with positions; faults name the word at fault and what could stand there.

The grammar knows words only, no operators. Names have no meaning here: that `tank is low` speaks of a volume and a
band is found out when the condition is resolved.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache, lru_cache
from typing import Any

from lark import Lark, Token, Transformer
from lark.exceptions import UnexpectedCharacters, UnexpectedToken

from bandproof.terms.names import RESERVED, listed
from bandproof.terms.nodes import (
    And,
    Compare,
    Constant,
    End,
    Extent,
    Has,
    Is,
    Level,
    Negated,
    Or,
    PressureOf,
    Quantifier,
    Quantity,
    SettingLevel,
    Subject,
    Term,
    Word,
    depth,
)
from bandproof.text.errors import ConditionError

_GRAMMAR = r"""
start: either
?either: both (OR both)*
?both: negation (AND negation)*
?negation: NOT negation -> negated
         | LPAR either RPAR -> group
         | atom
?atom: subject IS BELOW level -> below
     | subject IS AT LEAST level -> at_least
     | subject IS value -> is_value
     | subject IS NOT value -> is_not_value
     | subject HAS HAPPENED -> has_happened
     | subject HAS NOT HAPPENED -> has_not_happened
     | ALWAYS -> always
     | NEVER -> never
subject: NAME -> one
       | EVERY NAME -> every
       | SOME NAME -> some
level: NUMBER NAME -> quantity
     | NAME -> setting
     | LOWEST OF NAME -> lowest
     | HIGHEST OF NAME -> highest
     | PRESSURE OF NAME -> pressure_of
value: NAME | QUOTED

OR: "or"
AND: "and"
NOT: "not"
IS: "is"
HAS: "has"
HAPPENED: "happened"
BELOW: "below"
AT: "at"
LEAST: "least"
ALWAYS: "always"
NEVER: "never"
EVERY: "every"
SOME: "some"
LOWEST: "lowest"
HIGHEST: "highest"
PRESSURE: "pressure"
OF: "of"
LPAR: "("
RPAR: ")"
NAME: /[A-Za-z_][A-Za-z0-9_]*/
NUMBER: /[+-]?[0-9]+(\.[0-9]+)?/
QUOTED: /"[^"\n]*"|'[^'\n]*'/
%ignore /\s+/
"""

#: Deeper conditions are refused: nobody can read them, and every pass over a condition may then recurse.
_DEEPEST = 40

_OPERATORS = "<>=!&|~^+-*/%"

_EXPECTED = {
    "NAME": "a name",
    "NUMBER": "a pressure",
    "QUOTED": "a quoted state",
    "LPAR": '"("',
    "RPAR": '")"',
    "$END": "the end",
}


@lru_cache(maxsize=4096)
def parse(text: str) -> Term:
    """The condition written in `text`; ConditionError when there is none."""
    try:
        term: Term = _parser().parse(text)  # type: ignore[assignment]
    except UnexpectedToken as fault:
        raise _unexpected_word(text, fault) from None
    except UnexpectedCharacters as fault:
        raise _unexpected_character(text, fault.pos_in_stream or 0) from None
    if depth(term) > _DEEPEST:
        message = f"the condition is nested more than {_DEEPEST} deep"
        code, hint = "condition-too-deep", "split it, or drop parentheses"
        raise ConditionError(code, (0, len(text)), message, hint)
    return term


@cache
def _parser() -> Lark:
    return Lark(_GRAMMAR, parser="lalr", lexer="basic", transformer=_Build())


def _at(items: list[Any]) -> Extent:
    first, last = items[0], items[-1]
    start: int | None = first.start_pos if isinstance(first, Token) else first.at[0]
    end: int | None = last.end_pos if isinstance(last, Token) else last.at[1]
    return start or 0, end or 0


def _word(token: Token) -> Word:
    text = str(token)
    return Word(text[1:-1] if text[0] in "\"'" else text, _at([token]))


class _Build(Transformer[Token, Term]):
    """Grammar rules to nodes, called from the leaves up while parsing."""

    def start(self, items: list[Any]) -> Term:
        term: Term = items[0]
        return term

    def either(self, items: list[Any]) -> Term:
        return Or(tuple(items[::2]), _at(items))

    def both(self, items: list[Any]) -> Term:
        return And(tuple(items[::2]), _at(items))

    def negated(self, items: list[Any]) -> Term:
        return Negated(items[1], _at(items))

    def group(self, items: list[Any]) -> Term:
        inner: Term = items[1]
        return replace(inner, at=_at(items))

    def below(self, items: list[Any]) -> Term:
        return Compare(items[0], below=True, level=items[-1], at=_at(items))

    def at_least(self, items: list[Any]) -> Term:
        return Compare(items[0], below=False, level=items[-1], at=_at(items))

    def is_value(self, items: list[Any]) -> Term:
        return Is(items[0], items[-1], at=_at(items))

    def is_not_value(self, items: list[Any]) -> Term:
        return Is(items[0], items[-1], negated=True, at=_at(items))

    def has_happened(self, items: list[Any]) -> Term:
        return Has(items[0], at=_at(items))

    def has_not_happened(self, items: list[Any]) -> Term:
        return Has(items[0], negated=True, at=_at(items))

    def always(self, items: list[Any]) -> Term:
        return Constant(value=True, at=_at(items))

    def never(self, items: list[Any]) -> Term:
        return Constant(value=False, at=_at(items))

    def one(self, items: list[Any]) -> Subject:
        return Subject(_word(items[0]), at=_at(items))

    def every(self, items: list[Any]) -> Subject:
        return Subject(_word(items[1]), Quantifier.EVERY, at=_at(items))

    def some(self, items: list[Any]) -> Subject:
        return Subject(_word(items[1]), Quantifier.SOME, at=_at(items))

    def quantity(self, items: list[Any]) -> Level:
        return Quantity(str(items[0]), str(items[1]), at=_at(items))

    def setting(self, items: list[Any]) -> Level:
        return SettingLevel(_word(items[0]), at=_at(items))

    def lowest(self, items: list[Any]) -> Level:
        return SettingLevel(_word(items[2]), End.LOWEST, at=_at(items))

    def highest(self, items: list[Any]) -> Level:
        return SettingLevel(_word(items[2]), End.HIGHEST, at=_at(items))

    def pressure_of(self, items: list[Any]) -> Level:
        return PressureOf(_word(items[2]), at=_at(items))

    def value(self, items: list[Any]) -> Word:
        return _word(items[0])


def _unexpected_word(text: str, fault: UnexpectedToken) -> ConditionError:
    token: Token = fault.token
    wanted = _wanted(fault)
    if token.type == "$END":
        return _ended_early(text, wanted)
    at = (token.start_pos or 0, token.end_pos or len(text))
    if token.type == "RPAR":
        if text[: at[0]].count("(") <= text[: at[0]].count(")"):
            message = "this parenthesis closes nothing"
            return ConditionError("condition-parenthesis", at, message, 'remove it, or open it with "(" further left')
        return _early(at, '")"', wanted)
    previous = text[: at[0]].rstrip()
    if "NAME" in fault.accepts and previous[-1:].isdigit() and token.type != "NUMBER":
        number = previous.rsplit(maxsplit=1)[-1]
        message = f'the pressure "{number}" has no unit'
        start = len(previous) - len(number)
        return ConditionError("unit-missing", (start, len(previous)), message, 'write the unit, as in "60 psi"')
    # Where a name could stand, a word of the language may have been meant as one.
    taken = str(token) in RESERVED - {"and", "or"} and "NAME" in fault.accepts
    note = f'"{token}" is a word of the condition language' if taken else ""
    return _early(at, f'"{token}"' if token.type != "QUOTED" else str(token), wanted, note)


def _early(at: Extent, found: str, wanted: str, note: str = "") -> ConditionError:
    message = f"{found} cannot stand here"
    return ConditionError("condition-word", at, message, f"here the condition may go on with {wanted}", note)


def _ended_early(text: str, wanted: str) -> ConditionError:
    if not text.strip():
        hint = 'write one, such as "tank is at least 60 psi", or "always"'
        return ConditionError("condition-empty", (0, max(1, len(text))), "the condition is empty", hint)
    opened = _unclosed(text)
    if opened is not None and '")"' in wanted:
        message = "this parenthesis is never closed"
        return ConditionError("condition-parenthesis", (opened, opened + 1), message, 'close it with ")"')
    number = text.rsplit(maxsplit=1)[-1]
    end = len(text.rstrip())
    if number[-1].isdigit() and wanted == "a name":
        message = f'the pressure "{number}" has no unit'
        return ConditionError("unit-missing", (end - len(number), end), message, 'write the unit, as in "60 psi"')
    start = end - len(number)
    message = f'the condition stops after "{number}"'
    return ConditionError("condition-unfinished", (start, end), message, f"go on with {wanted}")


def _unclosed(text: str) -> int | None:
    """Where the first parenthesis stands that is never closed."""
    opened: list[int] = []
    for place, char in enumerate(text):
        if char == "(":
            opened.append(place)
        elif char == ")" and opened:
            opened.pop()
    return opened[0] if opened else None


def _wanted(fault: UnexpectedToken) -> str:
    """What could have stood where the fault is, in words, names first."""
    order: Callable[[str], tuple[bool, str]] = lambda kind: (kind not in _EXPECTED, kind)  # noqa: E731
    words = [_EXPECTED.get(kind, f'"{kind.lower()}"') for kind in sorted(fault.accepts, key=order)]
    return listed(words[:-1], most=20) + f" or {words[-1]}" if len(words) > 1 else words[0]


def _unexpected_character(text: str, place: int) -> ConditionError:
    char = text[place]
    at = (place, place + 1)
    if char in "±." or text.startswith(("+-", "+/-"), place):
        message = "a condition compares with one exact pressure, not with a range"
        hint = "give the setting a name, and write the name or its lowest or highest end here"
        return ConditionError("range-not-wanted", at, message, hint)
    if char in "\"'":
        return ConditionError("condition-quote", at, "this quotation mark is never closed", f"close it with {char}")
    if char in _OPERATORS:
        end = place
        while end < len(text) and text[end] in _OPERATORS:
            end += 1
        message = f'"{text[place:end]}" is an operator; conditions are written in words'
        hint = 'use "is below", "is at least", "is", "is not", "and", "or", "not"'
        return ConditionError("condition-operator", (place, end), message, hint)
    shown = char if char.isprintable() else f"U+{ord(char):04X}"
    message = f'the character "{shown}" has no place in a condition'
    hint = "names are made of letters, digits and underscores; put other states in quotation marks"
    return ConditionError("condition-character", at, message, hint)
