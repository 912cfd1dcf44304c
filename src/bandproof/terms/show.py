"""Condition nodes to text: `parse(show(term)) == term`, with no more parentheses than that takes."""

from __future__ import annotations

from bandproof.terms.names import is_plain
from bandproof.terms.nodes import (
    And,
    Compare,
    Constant,
    Has,
    Is,
    Level,
    Negated,
    Or,
    PressureOf,
    Quantity,
    SettingLevel,
    Subject,
    Term,
    Word,
)


def show(term: Term) -> str:
    """The condition as text."""
    match term:
        case Constant(value):
            return "always" if value else "never"
        case Compare(subject, below, level):
            return f"{_subject(subject)} is {'below' if below else 'at least'} {_level(level)}"
        case Is(subject, value, negated):
            return f"{_subject(subject)} is {'not ' if negated else ''}{_value(value)}"
        case Has(subject, negated):
            return f"{_subject(subject)} has {'not ' if negated else ''}happened"
        case Negated(item):
            return f"not {_inside(item, And | Or)}"
        case And(items):
            return " and ".join(_inside(item, And | Or) for item in items)
        case Or(items):
            return " or ".join(_inside(item, Or) for item in items)


def _inside(term: Term, weaker: object) -> str:
    """The text of an operand, in parentheses if its own word binds too weakly."""
    text = show(term)
    return f"({text})" if isinstance(term, weaker) else text  # type: ignore[arg-type]


def _subject(subject: Subject) -> str:
    name = subject.name.text
    return f"{subject.quantifier.value} {name}" if subject.quantifier else name


def _value(word: Word) -> str:
    return word.text if is_plain(word.text) else f'"{word.text}"'


def _level(level: Level) -> str:
    match level:
        case Quantity(number, unit):
            return f"{number} {unit}"
        case SettingLevel(setting, None):
            return setting.text
        case SettingLevel(setting, end):
            return f"{end} of {setting.text}"
        case PressureOf(volume):
            return f"pressure of {volume.text}"
