"""The piping drawing: an arrangement from left to right, from the compressor to the last towed vehicle, on one page.

Symbols in the spirit of ISO 1219-1 (`plan_symbols`), drawn as the parts stand first; the places by `plan_layout`. A
tank is a symbol, a line or a chamber is a pipe with its name. What a part's settings and sizes are stands below.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import chain
from textwrap import wrap

from bandproof.model.arrangement import Arrangement, Part, Volume, VolumeKind
from bandproof.text.units import show_number
from bandproof.views import plan_symbols as sign
from bandproof.views.graphviz import FONTS
from bandproof.views.part_ports import ports_of, settings_of, untangled
from bandproof.views.phrases import enumerated, litres, passage_words, plain
from bandproof.views.plan_columns import columns_of
from bandproof.views.plan_figures import (
    Figure,
    leak_of,
    letter,
    marks_of,
    part_figure,
    positions,
    tank_figure,
    tank_key,
)
from bandproof.views.plan_layout import Laid, Thing, lay_out
from bandproof.views.svg import words_at

#: Letters in a row of a pipe's name; notes side by side at the foot.
_PIPE = 8
_NOTES = 3

#: Pixels round the drawing, and the least width of the page.
_MARGIN = 16.0
_LEAST = 1060.0

#: The ports by which a hose joins two vehicles.
_COUPLING = {"towing", "towed"}

_LEGEND = (
    "Solid: air. Dashed: only senses pressure. Dot: joined. Open triangle: to the open air. Round ends: tank.",
    """Squares: a part's positions (a, b, ...), joined to the pipes as the part stands first; in them the ways that are
    open, a bar where closed, two bows where throttled. Triangle below: pressure pushes here; above: knob or pedal,
    spring. C in dm³/(s bar) and as in ISO 6358.""",
)


def piping_svg(arrangement: Arrangement) -> str:
    """The piping drawing of an arrangement as SVG."""
    numbers = {mishap.name: number for number, mishap in enumerate(arrangement.mishaps, start=1)}
    plan = _Plan(arrangement, numbers)
    laid = lay_out(plan.things, plan.pipe_widths, left=1.5 * _MARGIN, top=4 * _MARGIN)
    wide = max(_LEAST, laid.columns[-1][1] + 1.5 * _MARGIN) if laid.columns else _LEAST
    below = laid.height + 5 * _MARGIN
    notes, tall = _notes(arrangement, numbers, wide, below + 1.5 * sign.ROW)
    body = chain(_frames(plan, laid, wide, below - _MARGIN / 2), _pipes(plan, laid), _figures(plan, laid), notes)
    opening = (
        f'<svg width="{wide:.0f}" height="{tall:.0f}" viewBox="0 0 {wide:.0f} {tall:.0f}" '
        f'xmlns="http://www.w3.org/2000/svg" font-family="{FONTS}" font-size="{sign.LETTERS}" fill="black">'
    )
    ground = '<rect width="100%" height="100%" fill="white"/>'
    title = words_at(_MARGIN, 1.5 * _MARGIN, f"{arrangement.name}: piping", size=16)
    return "\n".join([opening, ground, title, *body, "</svg>\n"])


class _Plan:
    """What is drawn, and in which column of which vehicle it stands."""

    def __init__(self, arrangement: Arrangement, numbers: dict[str, int]) -> None:
        self.arrangement = arrangement
        volumes = {volume.name: volume for volume in arrangement.volumes}
        self._tanks = {name for name, volume in volumes.items() if volume.kind is VolumeKind.TANK}
        self.pipes = {name: volume for name, volume in volumes.items() if name not in self._tanks}
        chambers = {name for name, volume in volumes.items() if volume.kind is VolumeKind.CHAMBER}
        ports = {part.name: ports_of(part) for part in arrangement.parts}
        drawn = {part.name: untangled(part.name, ports[part.name], ports) for part in arrangement.parts}
        leaks = {part.name: tank for part in arrangement.parts if (tank := leak_of(part)) in self._tanks}
        self.figures = {
            part.name: part_figure(part, drawn[part.name], marks_of(part, numbers), chambers)
            for part in arrangement.parts
            if part.name not in leaks
        }
        for tank in sorted(self._tanks):
            marks = [n for part in arrangement.parts if leaks.get(part.name) == tank for n in marks_of(part, numbers)]
            self.figures[tank_key(tank)] = tank_figure(volumes[tank], marks)
        hoses = {part.name for part in arrangement.parts if {port for port, _ in part.ports} >= _COUPLING}
        columns = columns_of(self._upstream(), hoses)
        self.vehicles = columns.vehicles
        self.things = [self._thing(figure, columns.column_of[key]) for key, figure in self.figures.items()]
        self.pipe_widths = {
            name: sign.ACROSS * max(map(len, _pipe_words(volume))) + 9 for name, volume in self.pipes.items()
        }

    def _upstream(self) -> dict[str, set[str]]:
        """For each figure the figures whose air comes to it directly."""
        gives: dict[str, set[str]] = {}
        takes: dict[str, set[str]] = {}
        for key, figure in self.figures.items():
            for end in figure.ends:
                net = self._net(key, end.net, left=end.left)
                (takes if end.left else gives).setdefault(net, set()).add(key)
        found: dict[str, set[str]] = {key: set() for key in self.figures}
        for net, some in takes.items():
            for key in some:
                found[key] |= gives.get(net, set()) - {key}
        return found

    def _net(self, key: str, volume: str, *, left: bool) -> str:
        """The pipe at an end of a figure. A tank parts its pipe: what feeds it meets its left, what it feeds its right."""
        if volume not in self._tanks:
            return volume
        into = left if key == tank_key(volume) else not left
        return f"into {volume}" if into else f"out of {volume}"

    def _thing(self, figure: Figure, column: int) -> Thing:
        slots = (replace(end, net=self._net(figure.key, end.net, left=end.left)) for end in figure.ends)
        return Thing(figure.key, column, figure.width, figure.height, tuple(slots))


# ---------------------------------------------------------------------------------------------------- what lies between


def _pipe_words(volume: Volume) -> list[str]:
    return wrap(plain(volume.name), _PIPE, break_long_words=False)


def _pipes(plan: _Plan, laid: Laid) -> Iterator[str]:
    for run in laid.runs:
        yield sign.line((run.x1, run.y1), (run.x2, run.y2), dashed=run.dashed, extra=' stroke-linecap="square"')
    yield from (sign.dot_at(x, y) for x, y in laid.dots)
    yield from (sign.line((x, y - 4), (x, y + 4), wide=2) for x, y in laid.stops)
    for name, volume in plan.pipes.items():
        if name in laid.labels:
            x, y = laid.labels[name]
            rows = _pipe_words(volume)
            yield from sign.row_of(x + 8, y - 4 - sign.ROW * (len(rows) - 1), rows, anchor="start")


def _figures(plan: _Plan, laid: Laid) -> Iterator[str]:
    for key, figure in plan.figures.items():
        yield f'<g class="{"tank" if key not in {p.name for p in plan.arrangement.parts} else "part"}">'
        yield from figure.draw(*laid.places[key])
        yield "</g>"


def _frames(plan: _Plan, laid: Laid, wide: float, below: float) -> Iterator[str]:
    """A frame round each vehicle, where hoses join several."""
    if len(plan.vehicles) < 2:
        return
    towed = len(plan.vehicles) - 1
    for number, (first, last) in enumerate(plan.vehicles):
        name = "towing vehicle" if number == 0 else "trailer" if towed == 1 else f"trailer {number}"
        left = laid.columns[first - 1][1] if first else _MARGIN
        right = laid.columns[last + 1][0] if last + 1 < len(laid.columns) else wide - _MARGIN
        top = 2.2 * _MARGIN
        yield (
            f'<rect class="vehicle" x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}" '
            f'height="{below - top:.1f}" fill="none" stroke="black" stroke-dasharray="12 4 2 4"/>'
        )
        yield from sign.row_of(left + 6, top + sign.ROW + 1, [name.upper()], anchor="start", bold=True)


# --------------------------------------------------------------------------------------------------------------- notes


def _notes(arrangement: Arrangement, numbers: dict[str, int], wide: float, top: float) -> tuple[list[str], float]:
    """The notes at the foot, side by side without parting one, and the height of the page."""
    across = (wide - 2 * _MARGIN) / _NOTES
    letters = int(across / sign.ACROSS) - 2
    notes = [wrap(text, letters, subsequent_indent="  ") for text in _told(arrangement, numbers)]
    total = sum(map(len, notes))
    columns: list[list[str]] = [[]]
    for rows in notes:
        if len(columns) < _NOTES and columns[-1] and len(columns[-1]) + len(rows) / 2 > total / _NOTES:
            columns.append([])
        columns[-1] += rows
    drawn = [
        words_at(
            _MARGIN + n * across + (2 * sign.ACROSS if row.startswith("  ") else 0),
            top + at * sign.ROW,
            row.strip(),
            size=sign.LETTERS,
        )
        for n, column in enumerate(columns)
        for at, row in enumerate(column)
    ]
    return drawn, top + max(map(len, columns)) * sign.ROW


def _told(arrangement: Arrangement, numbers: dict[str, int]) -> Iterator[str]:
    yield from filter(None, (_part_told(part, arrangement.unit) for part in arrangement.parts))
    pipes = [
        " ".join(filter(None, [plain(v.name), litres(v)])) for v in arrangement.volumes if v.kind is not VolumeKind.TANK
    ]
    if pipes:
        yield f"LINES AND CHAMBERS: {', '.join(pipes)}"
    hands = [f"{plain(control.name)} {' / '.join(map(plain, control.positions))}" for control in arrangement.controls]
    if hands:
        yield f"DRIVER: {'; '.join(hands)}"
    yield from (f"({numbers[m.name]}) {m.says or plain(m.name)}" for m in arrangement.mishaps)
    yield from (" ".join(text.split()) for text in _LEGEND)
    if arrangement.leaves_out:
        yield f"LEFT OUT: {' '.join(arrangement.leaves_out.split())}"


def _part_told(part: Part, unit: str) -> str:
    states = positions(part)
    said = []
    if len(states) > 1:
        said += [f"{letter(n)} {', '.join(map(plain, names))}" for n, (names, _) in enumerate(states)]
    elif len(part.states) > 1:
        said.append(", ".join(map(plain, part.states)))
    said += settings_of(part, unit)
    sizes: dict[str, list[str]] = {}
    for passage in part.passages:
        if passage.size is not None:
            c = passage.size.c
            words = show_number(c.low, 4) if c.low == c.high else f"{show_number(c.low, 4)}..{show_number(c.high, 4)}"
            sizes.setdefault(words, []).append(passage_words(part, passage))
    said += [f"C {words} {enumerated(ways)}" for words, ways in sizes.items()]
    return f"{plain(part.name).upper()}: {'; '.join(said)}" if said else ""
