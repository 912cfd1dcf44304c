"""Tells people of parts that can hunt: which moves stay due round a circle, and which settings to change.

Limits: an edit is named where two guards of a circle compare one volume; elsewhere the moves alone are told.
"""

from __future__ import annotations

from collections.abc import Iterator

from bandproof.machine.circles import Circle
from bandproof.machine.hunting import hunting
from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import AtLeast, Below
from bandproof.model.walker import comparisons
from bandproof.terms.names import listed
from bandproof.text.input_faults import Faults
from bandproof.text.messages import Severity
from bandproof.views.phrases import show_condition, threshold


def warn_of_hunting(arrangement: Arrangement, faults: Faults) -> None:
    """Note a warning at each part that can hunt."""
    found: dict[str, list[Circle]] = {}
    for circle in hunting(arrangement).circles:
        found.setdefault(circle.part, []).append(circle)
    for part, own in found.items():
        place = arrangement.places.get(("parts", part)) or arrangement.places[("", "")]
        message = f'"{part}" can hunt: its moves stay due round a circle at one pressure'
        edits = list(dict.fromkeys(edit for circle in own for edit in mends(arrangement, circle)))
        hint = "; ".join(edits) or "let the guards of its moves exclude each other"
        note = "; ".join(moves_of(arrangement, circle) for circle in own)
        faults.add("hunting-part", place, message, hint=hint, note=note, key=True, level=Severity.WARNING)


def moves_of(arrangement: Arrangement, circle: Circle) -> str:
    """The moves of a circle, each with what it waits for."""
    unit = arrangement.unit
    return ", ".join(f"{move.source} to {move.target} when {show_condition(move.when, unit)}" for move in circle.moves)


def mends(arrangement: Arrangement, circle: Circle) -> Iterator[str]:
    """Each two guards of the circle that one pressure of one volume satisfies, with the edit that would part them."""
    read = list(comparisons(*(move.when for move in circle.moves)))
    for under in (leaf for leaf in read if isinstance(leaf, Below)):
        for above in (leaf for leaf in read if isinstance(leaf, AtLeast)):
            if above.volume == under.volume and above.low < under.high:
                order = "is above" if above.high < under.low else "is not clear of"
                said = f"{_setting(arrangement, under)} {order} {_setting(arrangement, above)}"
                yield f"{said}: let {_name(arrangement, under)} be no higher than {_name(arrangement, above)}"


def _setting(arrangement: Arrangement, leaf: Below | AtLeast) -> str:
    value = threshold(leaf.low, leaf.high, arrangement.unit)
    return value if leaf.setting is None else f"{leaf.setting} {value}"


def _name(arrangement: Arrangement, leaf: Below | AtLeast) -> str:
    return leaf.setting or threshold(leaf.low, leaf.high, arrangement.unit)


def told(arrangement: Arrangement) -> tuple[str, str]:
    """What hunts and the edits that would mend it, both empty where nothing does."""
    left = hunting(arrangement).circles
    parts = listed(dict.fromkeys(circle.part for circle in left))
    says = "; ".join(f"{circle.part} goes {moves_of(arrangement, circle)}" for circle in left)
    edits = dict.fromkeys(edit for circle in left for edit in mends(arrangement, circle))
    return (f"{parts} can hunt at one pressure: {says}" if left else ""), "; ".join(edits)
