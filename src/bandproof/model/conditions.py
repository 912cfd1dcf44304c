"""Conditions with every name resolved: what guards, starts and properties are made of.

Pressures are gauge, in exact pascals (`fractions.Fraction`). A pressure condition carries the two ends of its
threshold; for an exact threshold they are equal. It also says which setting the numbers come from, so that a change of
the setting reaches it: two conditions with equal numbers from different settings are two conditions.

Files speak of `Not`. The kinds `NotLower`, `NotInState`, `NotInPosition` and `NotHappened` stand in its place in negation
normal form, which `bandproof.model.walker` makes; there `Below` and `AtLeast` are each other's opposites.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from bandproof.terms.nodes import End


@dataclass(frozen=True, slots=True)
class Truth:
    """Always true or always false."""

    value: bool


@dataclass(frozen=True, slots=True)
class Tie:
    """The setting that one exact pressure follows: by its `end`, or, with None, as the end of a named band."""

    setting: str
    end: End | None = None


@dataclass(frozen=True, slots=True)
class Below:
    """The pressure of `volume` is below a threshold that lies in `[low, high]`.

    The threshold is `setting` itself, or, with `tie`, an exact pressure taken from one.
    """

    volume: str
    low: Fraction
    high: Fraction
    setting: str | None = None
    tie: Tie | None = None


@dataclass(frozen=True, slots=True)
class AtLeast:
    """The pressure of `volume` is at or above a threshold that lies in `[low, high]`.

    The threshold is `setting` itself, or, with `tie`, an exact pressure taken from one.
    """

    volume: str
    low: Fraction
    high: Fraction
    setting: str | None = None
    tie: Tie | None = None


@dataclass(frozen=True, slots=True)
class Lower:
    """The pressure of `volume` is below that of `other` (guards only; bands decide it when they do not overlap)."""

    volume: str
    other: str


@dataclass(frozen=True, slots=True)
class NotLower:
    """The pressure of `volume` is at or above that of `other`."""

    volume: str
    other: str


@dataclass(frozen=True, slots=True)
class InState:
    """`part` is in one of `states`."""

    part: str
    states: frozenset[str]


@dataclass(frozen=True, slots=True)
class NotInState:
    """`part` is in none of `states`."""

    part: str
    states: frozenset[str]


@dataclass(frozen=True, slots=True)
class InPosition:
    """`control` stands in one of `positions`."""

    control: str
    positions: frozenset[str]


@dataclass(frozen=True, slots=True)
class NotInPosition:
    """`control` stands in none of `positions`."""

    control: str
    positions: frozenset[str]


@dataclass(frozen=True, slots=True)
class Happened:
    """`mishap` is present."""

    mishap: str


@dataclass(frozen=True, slots=True)
class NotHappened:
    """`mishap` is not present."""

    mishap: str


@dataclass(frozen=True, slots=True)
class Not:
    """`item` does not hold."""

    item: Condition


@dataclass(frozen=True, slots=True)
class AllOf:
    """Every one of `items` holds; true when there are none."""

    items: tuple[Condition, ...]


@dataclass(frozen=True, slots=True)
class AnyOf:
    """Some one of `items` holds; false when there are none."""

    items: tuple[Condition, ...]


#: A comparison of pressures: what bands and tolerances can leave open.
Comparison = Below | AtLeast | Lower | NotLower
#: What a state says outright.
Standing = InState | NotInState | InPosition | NotInPosition | Happened | NotHappened
Leaf = Truth | Comparison | Standing
Condition = Leaf | Not | AllOf | AnyOf

ALWAYS_TRUE = Truth(value=True)
