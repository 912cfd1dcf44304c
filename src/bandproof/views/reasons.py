"""Why a part moved: the part of its guard that held, in words.

Bands may leave open which alternative of a guard held; then the first one that may have held is told.
"""

from __future__ import annotations

from bandproof.machine.layout import Layout
from bandproof.machine.semantics import Reading, maybe, surely
from bandproof.machine.story import Moved, State
from bandproof.model.conditions import ALWAYS_TRUE
from bandproof.model.walker import alternatives
from bandproof.views.phrases import show_condition


def because(layout: Layout, state: State, event: Moved) -> str:
    """The guard that let a part move out of `state`, cut down to one alternative that held.

    The empty text when there is nothing to tell: no alternative held, or the part moves whatever happens.
    """
    reading = Reading(layout, state)
    part = layout.arrangement.part(event.part)
    guards = [move.when for move in part.moves if (move.source, move.target) == (event.source, event.target)]
    ways = [way for guard in guards for way in alternatives(guard)]
    held = [way for way in ways if surely(reading, way)] or [way for way in ways if maybe(reading, way)]
    return show_condition(held[0], layout.arrangement.unit) if held and held[0] != ALWAYS_TRUE else ""
