"""Each part's state machine: its states, what stands open in each, and the guards of its moves in words.

Guards name the volumes of the arrangement; passages name the ports of the part, and the heading says which volume
each port is joined to. It shows the description of a part, not what the part does in one run.
"""

from __future__ import annotations

from itertools import groupby

from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement, Move, Part
from bandproof.model.conditions import Condition, Truth
from bandproof.model.walker import alternatives
from bandproof.text.units import show_times
from bandproof.views import dot
from bandproof.views.graphviz import render_svg
from bandproof.views.phrases import open_in, passage_words, plain, show_condition, size_words
from bandproof.views.sheet import in_rows

#: Signs in a line of a guard, of a state and of a heading.
_GUARD_WIDTH = 30
_STATE_WIDTH = 34
_HEADING_WIDTH = 60


_SPACING = {"rankdir": "LR", "nodesep": "0.3", "ranksep": "0.4", "margin": "0.1"}


def machine_dot(arrangement: Arrangement, part: Part) -> str:
    """The state machine of one part as DOT text; the part's usual first state has a thick outline."""
    heading = dot.label(_heading(part), "l")
    drawing = dot.picture(part.name, label=heading, labelloc="t", labeljust="l", **_SPACING)
    _draw_machine(drawing, part, arrangement.unit)
    return dot.text(drawing)


def machines_svg(arrangement: Arrangement) -> str:
    """The state machines of all parts in one SVG, in the arrangement's order, each in a thin frame."""
    return in_rows([render_svg(machine_dot(arrangement, part)) for part in arrangement.parts])


def _within(part: Part) -> str:
    """How long the part may take to move, where it does not move at once."""
    return "" if part.reaction is None else f" (moves within {show_times(part.reaction.low, part.reaction.high)})"


def _heading(part: Part) -> list[str]:
    joined = ", ".join(f"{plain(port)}: {_place(volume)}" for port, volume in part.ports)
    pace = " (slow)" if part.slow else _within(part)
    rows = dot.lines(f"{plain(part.name).upper()}, {plain(part.kind)}{pace}", _HEADING_WIDTH)
    return rows + (dot.lines(joined, _HEADING_WIDTH) if joined else [])


def _place(volume: str) -> str:
    return {ATMOSPHERE: "open air", SOURCE: "air source"}.get(volume) or plain(volume)


def _draw_machine(drawing: dot.Picture, part: Part, unit: str) -> None:
    for index, state in enumerate(part.states):
        text = [plain(state).upper()]
        for passage in open_in(part, state):
            text += dot.lines(passage_words(part, passage), _STATE_WIDTH)
            text += [size_words(passage.size)] if passage.size else []
        weight = {"penwidth": "2.4"} if index == 0 else {}
        text += ["all closed"] if len(text) == 1 else []
        drawing.node(_state(part, state), dot.label(text), shape="box", style="rounded", **weight)
    possible = [move for move in part.moves if move.when != Truth(value=False)]
    for (source, target), moves in groupby(sorted(possible, key=_ends), key=_ends):
        label = dot.label(_guard_rows([move.when for move in moves], unit))
        drawing.edge(_state(part, source), _state(part, target), label)


def _guard_rows(guards: list[Condition], unit: str) -> list[str]:
    """The lines of a label: one paragraph for each of the alternatives that let the part move."""
    ways = [way for guard in guards for way in alternatives(guard)]
    texts = [show_condition(way, unit) for way in ways] or [show_condition(guards[0], unit)]
    return [row for i, text in enumerate(texts) for row in dot.lines(f"or {text}" if i else text, _GUARD_WIDTH)]


def _ends(move: Move) -> tuple[str, str]:
    return move.source, move.target


def _state(part: Part, state: str) -> str:
    return dot.identifier(part.name, state)
