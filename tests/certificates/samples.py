"""An arrangement whose proof needs an invariant of some size: two lines that must never be full together."""

from __future__ import annotations

from fractions import Fraction

from bandproof.encoding.system import StepRule
from bandproof.engines.run import Decision, decide
from bandproof.model.arrangement import (
    ATMOSPHERE,
    SOURCE,
    Arrangement,
    Control,
    Move,
    Part,
    Passage,
    Range,
    Start,
    Volume,
    VolumeKind,
)
from bandproof.model.conditions import AllOf, AtLeast, Below, Condition, InPosition, Not
from bandproof.properties.claim import Property, Shape
from tests.strategies import layout_for

KPA = Fraction(1000)
EMPTY = Range(Fraction(0), Fraction(0))


def at_least(volume: str, kpa: int) -> Condition:
    return AtLeast(volume, kpa * KPA, kpa * KPA)


def below(volume: str, kpa: int) -> Condition:
    return Below(volume, kpa * KPA, kpa * KPA)


def selector(own: str, other: str, opens_below: int = 50, leak: bool = False) -> Part:
    """A valve that fills its line while the knob asks for it and the other line is empty, and vents it otherwise."""
    asked = InPosition("knob", frozenset({own}))
    return Part(
        f"valve_{own}",
        "selector",
        ("shut", "open"),
        (
            Passage(SOURCE, f"line_{own}", True, frozenset({"open"})),
            Passage(f"line_{own}", ATMOSPHERE, False, frozenset({"shut", "open"} if leak else {"shut"})),
        ),
        (
            Move("shut", "open", AllOf((asked, below(f"line_{other}", opens_below)))),
            Move("open", "shut", Not(asked)),
        ),
    )


def two_lines(*, opens_below: int = 50, leak: bool = False, sha256: str = "ab" * 32) -> Arrangement:
    """Two lines, two valves, one knob. With a leak, or with valves that open early, it is another arrangement."""
    return Arrangement(
        "two lines",
        "kPa",
        Fraction(101_325),
        1000 * KPA,
        (Volume("line_a", VolumeKind.LINE), Volume("line_b", VolumeKind.LINE)),
        (selector("a", "b", opens_below, leak), selector("b", "a", opens_below)),
        (Control("knob", ("off", "a", "b")),),
        starts=(
            Start(
                "empty",
                (("line_a", EMPTY), ("line_b", EMPTY)),
                (("valve_a", frozenset({"shut"})), ("valve_b", frozenset({"shut"}))),
                (("knob", frozenset({"off"})),),
            ),
        ),
        file="models/two_lines.toml",
        sha256=sha256,
    )


def claim(shape: Shape = Shape.NEVER, *, full: int = 200, id: str = "not-both") -> Property:  # noqa: A002
    """The two lines are never full at once; other shapes say something near it."""
    both = AllOf((at_least("line_a", full), at_least("line_b", full)))
    then = below("line_a", full) if shape is Shape.SETTLED else Not(both)
    return Property(id, "the two lines are never full\nat once", "none", shape, "empty", both, then)


def proof(claimed: Property | None = None, arrangement: Arrangement | None = None) -> Decision:
    """The engines' answer for the arrangement."""
    claimed = claimed or claim()
    return decide(StepRule(layout_for(arrangement or two_lines(), claimed)), claimed)
