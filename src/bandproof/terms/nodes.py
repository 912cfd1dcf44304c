"""The condition language as frozen nodes, before any name has a meaning.

Every node knows where in its text it stands; that place plays no part in equality, so that a condition equals itself
however it was laid out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import StrEnum

#: A stretch of the condition's text: start and end, counted in characters from 0.
Extent = tuple[int, int]

_NOWHERE: Extent = (0, 0)


class Quantifier(StrEnum):
    """How a list role is meant."""

    EVERY = "every"
    SOME = "some"


class End(StrEnum):
    """Which end of a toleranced setting is meant."""

    LOWEST = "lowest"
    HIGHEST = "highest"


@dataclass(frozen=True, slots=True)
class Word:
    """A name of something: a volume, part, control, mishap, setting, band, state, position or role."""

    text: str
    at: Extent = field(default=_NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Subject:
    """What an atom speaks of: a name, or every or some name of a list role."""

    name: Word
    quantifier: Quantifier | None = None
    at: Extent = field(default=_NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Quantity:
    """A pressure written out, as in `60 psi`."""

    number: str
    unit: str
    at: Extent = field(default=_NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class SettingLevel:
    """A named setting, or with `end` the lowest or highest value it can have."""

    setting: Word
    end: End | None = None
    at: Extent = field(default=_NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class PressureOf:
    """The pressure of another volume."""

    volume: Word
    at: Extent = field(default=_NOWHERE, compare=False)


Level = Quantity | SettingLevel | PressureOf


@dataclass(frozen=True, slots=True)
class Constant:
    """`always` or `never`."""

    value: bool
    at: Extent = field(default=_NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Compare:
    """`subject is below level`, or with `below` false `subject is at least level`."""

    subject: Subject
    below: bool
    level: Level
    at: Extent = field(default=_NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Is:
    """`subject is value` or, `negated`, `subject is not value`."""

    subject: Subject
    value: Word
    negated: bool = False
    at: Extent = field(default=_NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Has:
    """`subject has happened` or, `negated`, `subject has not happened`."""

    subject: Subject
    negated: bool = False
    at: Extent = field(default=_NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Negated:
    """`not item`."""

    item: Term
    at: Extent = field(default=_NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class And:
    """All of two or more items."""

    items: tuple[Term, ...]
    at: Extent = field(default=_NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Or:
    """Some of two or more items."""

    items: tuple[Term, ...]
    at: Extent = field(default=_NOWHERE, compare=False)


Term = Constant | Compare | Is | Has | Negated | And | Or


def depth(term: Term) -> int:
    """How many nodes deep `term` is nested; found without recursion, so that any term can be measured."""
    deepest, pending = 0, [(term, 1)]
    while pending:
        node, level = pending.pop()
        deepest = max(deepest, level)
        pending += [(child, level + 1) for child in children(node)]
    return deepest


def atoms(term: Term) -> Iterator[Constant | Compare | Is | Has]:
    """The leaves of `term`, left to right."""
    match term:
        case Negated() | And() | Or():
            for child in children(term):
                yield from atoms(child)
        case _:
            yield term


def children(term: Term) -> Iterator[Term]:
    """The terms directly inside `term`."""
    match term:
        case Negated(item):
            yield item
        case And(items) | Or(items):
            yield from items
        case Constant() | Compare() | Is() | Has():
            return
