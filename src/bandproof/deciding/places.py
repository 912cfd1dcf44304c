"""The places of a lemma as conditions, which findings hold and people read."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from bandproof.machine.layout import Layout
from bandproof.model.conditions import AtLeast, Below, Condition, Happened, InPosition, InState, Not

if TYPE_CHECKING:
    from bandproof.lemmas import cubes


def place_conditions(layout: Layout, place: Iterable[cubes.Literal]) -> tuple[Condition, ...]:
    """What is true in the states of a lemma's place, in a fixed order."""
    return tuple(_true_there(layout, literal) for literal in sorted(place, key=lambda literal: literal.order))


def _true_there(layout: Layout, literal: cubes.Literal) -> Condition:
    match literal.sort:
        case "level":
            mark = layout.thresholds[literal.subject][literal.rank]
            return AtLeast(literal.subject, mark, mark) if literal.holds else Below(literal.subject, mark, mark)
        case "mishap":
            return Happened(literal.subject) if literal.holds else Not(Happened(literal.subject))
        case "part":
            return InState(literal.subject, literal.values)
        case _:
            return InPosition(literal.subject, literal.values)
