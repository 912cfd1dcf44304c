"""Pressures over the steps of a story, as an SVG of our own: no plotting library, no colour needed.

Kept by hand: it is the same to the letter on every machine, which no plotting library promises, and needs none to start.

Each volume that changes has its own dash pattern and mark and is named at the end of its line; the light rules are
the thresholds that some part compares with those volumes, or that the story crosses. Many volumes share out over panels
of the same scale. Steps are evenly spaced: bands carry no time, so neither does the horizontal axis. A story that was
not made real is drawn through the middle of its bands and says so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from bandproof.machine.layout import Layout
from bandproof.machine.story import Crossed, Story
from bandproof.model.conditions import AtLeast, Below
from bandproof.model.walker import comparisons
from bandproof.text.units import PRESSURE_UNITS, show_pressure
from bandproof.views.graphviz import FONTS
from bandproof.views.phrases import band_words, plain, pressure_number, short_event
from bandproof.views.svg import spread, words_at

#: Width of the picture and of what stands beside a panel, in pixels; height of the heading and of what is under it.
_WIDE, _LEFT, _RIGHT = 1120, 210, 280
_HEADING, _UNDER = 48, 44

#: Lines that one panel can carry and still be told apart, and the height of a single panel and of one among several.
_CROWD = 5
_SINGLE, _SHARED = 388, 270

#: Least distance between two labels above one another, and of two step numbers beside one another.
_LINE = 14.0
_NUMBER = 20.0

#: Columns of the list of deeds, and signs in one of its entries.
_COLUMNS = 3
_WORDS = 52

#: Signs in the label of a rule.
_RULE_WORDS = 34

_DASHES = ("", "9 4", "2 3", "12 4 2 4", "16 6")
_MARKS = ("disc", "box", "peak", "ring", "cross")


@dataclass(frozen=True, slots=True)
class _Line:
    """One volume's course: its values over the states, in pascals."""

    name: str
    values: tuple[Fraction, ...]
    last: str
    dash: str
    mark: str


@dataclass(frozen=True, slots=True)
class _Panel:
    """Where a state and a pressure lie in the picture: `top` and `floor` are heights, `highest` is in pascals."""

    top: int
    floor: int
    states: int
    highest: Fraction

    def x(self, state: int) -> float:
        return _LEFT + (_WIDE - _LEFT - _RIGHT) * (state / max(self.states - 1, 1))

    def y(self, pascals: Fraction) -> float:
        return self.floor - (self.floor - self.top) * float(pascals / self.highest)


def pressures_svg(layout: Layout, story: Story, *, title: str = "") -> str:
    """The panels for a story; only volumes whose pressure changes are drawn."""
    unit = layout.arrangement.unit
    groups = _groups(_lines(layout, story))
    rules = [_thresholds(layout, story, {line.name for line in group}) for group in groups]
    shown = [value for group in groups for line in group for value in line.values]
    highest = max([PRESSURE_UNITS[unit], *shown, *(mark for marks in rules for mark in marks)]) * Fraction(105, 100)
    deeds = _deeds(story)
    note = "" if story.pressures else " (middle of each band: real pressures were not computed)"
    body = [
        words_at(_LEFT, 20, title or f"Pressures, {plain(story.start)}", size=15),
        words_at(_LEFT, 38, f"gauge pressure in {unit}{note}"),
    ]
    top = _HEADING
    for group, marks in zip(groups, rules, strict=True):
        floor = top + (_SINGLE if len(groups) == 1 else _SHARED)
        panel = _Panel(top, floor, len(story.states), highest)
        body += [*_frame(panel, unit), *_rules(panel, marks, unit), *_steps(panel, deeds)]
        body += [row for line in group for row in _course(panel, line)]
        body += _names(panel, group) if group else [words_at(_LEFT + 20, top + 20, "no pressure changes")]
        top = floor + _UNDER
    body += _list(deeds, top)
    tall = top + round(_LINE * -(-len(deeds) // _COLUMNS))
    head = (
        f'<svg width="{_WIDE}" height="{tall}" viewBox="0 0 {_WIDE} {tall}" xmlns="http://www.w3.org/2000/svg" '
        f'font-family="{FONTS}" font-size="12" fill="black">'
    )
    return "\n".join([head, f'<rect width="{_WIDE}" height="{tall}" fill="white"/>', *body, "</svg>"]) + "\n"


def _lines(layout: Layout, story: Story) -> list[_Line]:
    unit = layout.arrangement.unit
    found: list[_Line] = []
    for index, volume in enumerate(layout.arrangement.volumes):
        bands = [state.bands[index] for state in story.states]
        if story.pressures:
            values = tuple(state[index] for state in story.pressures)
            last = show_pressure(values[-1], unit)
        else:
            values = tuple((layout.low(volume.name, b) + layout.high(volume.name, b)) / 2 for b in bands)
            last = band_words(layout, volume.name, bands[-1])
        if len(set(values)) > 1:
            found.append(_Line(volume.name, values, last, "", ""))
    return found


def _groups(lines: list[_Line]) -> list[list[_Line]]:
    """The lines shared out evenly over as few panels as can carry them, each line looking unlike the others there."""
    count = max(1, -(-len(lines) // _CROWD))
    size = -(-len(lines) // count) or 1
    groups = [lines[first : first + size] for first in range(0, max(len(lines), 1), size)]
    return [[replace(line, dash=d, mark=m) for line, d, m in zip(g, _DASHES, _MARKS, strict=False)] for g in groups]


def _thresholds(layout: Layout, story: Story, volumes: set[str]) -> dict[Fraction, list[str]]:
    """The pressures to rule, lowest first, with the settings they are an end of: those compared and those crossed."""
    crossings = (e for step in story.steps for e in step.events if isinstance(e, Crossed) and e.volume in volumes)
    found: dict[Fraction, list[str]] = {event.threshold: [] for event in crossings}
    for atom in comparisons(*(move.when for part in layout.arrangement.parts for move in part.moves)):
        if isinstance(atom, Below | AtLeast) and atom.volume in volumes:
            for mark in {atom.low, atom.high} & set(layout.thresholds[atom.volume]):
                names = found.setdefault(mark, [])
                name = plain(atom.setting) if atom.setting else ""
                if name and name not in names:
                    names.append(name)
    return {mark: found[mark] for mark in sorted(found)}


def _frame(panel: _Panel, unit: str) -> list[str]:
    return [
        f'<path d="M{_LEFT} {panel.top}V{panel.floor}H{_WIDE - _RIGHT}" fill="none" stroke="black"/>',
        words_at(_LEFT - 14, panel.floor + 4, f"0 {unit}", anchor="end", size=11),
        words_at(_LEFT - 14, panel.floor + 18, "state", anchor="end", size=11),
    ]


def _rules(panel: _Panel, marks: dict[Fraction, list[str]], unit: str) -> list[str]:
    rows = []
    wanted = [panel.y(mark) for mark in marks]
    _, *heights = spread([panel.y(Fraction(0)), *wanted], _LINE)
    for (mark, names), y, at in zip(marks.items(), wanted, heights, strict=True):
        words = f"{_as_many(names, _RULE_WORDS)} {pressure_number(mark, unit)}".strip()
        rows.append(f'<path d="M{_LEFT} {y:.1f}H{_WIDE - _RIGHT}" stroke="#bbbbbb" stroke-width="0.8"/>')
        rows.append(f'<path d="M{_LEFT - 12} {at:.1f}L{_LEFT} {y:.1f}" stroke="#bbbbbb" stroke-width="0.8"/>')
        rows.append(words_at(_LEFT - 14, at + 4, words, anchor="end", size=11))
    return rows


def _steps(panel: _Panel, deeds: list[tuple[int, str]]) -> list[str]:
    """State numbers under the axis, and a dotted rule for each deed."""
    every = max(1, -int(-_NUMBER // (panel.x(1) - panel.x(0))))
    rows = [
        words_at(panel.x(state), panel.floor + 18, str(state), anchor="middle", size=11)
        for state in range(0, panel.states, every)
    ]
    for number, _ in deeds:
        x = panel.x(number)
        rows.append(
            f'<path d="M{x:.1f} {panel.top}V{panel.floor + 5}" stroke="#777777" stroke-width="0.8" '
            'stroke-dasharray="1 3"/>'
        )
    return rows


def _list(deeds: list[tuple[int, str]], top: int) -> list[str]:
    """The deeds under the panels, in columns read from top to bottom."""
    rows = []
    deep = -(-len(deeds) // _COLUMNS)
    across = (_WIDE - 20) / _COLUMNS
    for place, (number, words) in enumerate(deeds):
        x, y = 20 + across * (place // deep), top + _LINE * (place % deep)
        rows.append(words_at(x + 20, y, str(number), anchor="end", size=11))
        rows.append(words_at(x + 28, y, words, size=11))
    return rows


def _deeds(story: Story) -> list[tuple[int, str]]:
    """The steps in which something other than air moves, in few words each."""
    found = []
    for number, step in enumerate(story.steps, start=1):
        words = [short_event(event) for event in step.events if not isinstance(event, Crossed)]
        if words:
            found.append((number, _cut(", ".join(words), _WORDS)))
    return found


def _as_many(names: list[str], most: int) -> str:
    """As many whole names as fit, and how many more there are."""
    for left_out in range(len(names)):
        more = f" + {left_out} more" if left_out else ""
        text = ", ".join(names[: len(names) - left_out]) + more
        if len(text) <= most:
            return text
    return _cut(", ".join(names), most)


def _cut(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 1]}…"


def _course(panel: _Panel, line: _Line) -> list[str]:
    points = [(panel.x(state), panel.y(value)) for state, value in enumerate(line.values)]
    path = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    dash = f' stroke-dasharray="{line.dash}"' if line.dash else ""
    rows = [f'<path d="M{path}" fill="none" stroke="black" stroke-width="1.6"{dash}/>']
    changed = [i for i, value in enumerate(line.values) if i == 0 or value != line.values[i - 1]]
    return rows + [_mark(*points[i], line.mark) for i in changed]


def _mark(x: float, y: float, kind: str) -> str:
    fill = "black" if kind in ("disc", "box", "peak") else "white"
    look = f'fill="{fill}" stroke="black" stroke-width="1.1"'
    if kind in ("disc", "ring"):
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.2" {look}/>'
    if kind == "box":
        return f'<rect x="{x - 3:.1f}" y="{y - 3:.1f}" width="6" height="6" {look}/>'
    if kind == "peak":
        return f'<path d="M{x - 4:.1f} {y + 3:.1f}L{x + 4:.1f} {y + 3:.1f}L{x:.1f} {y - 4:.1f}Z" {look}/>'
    return f'<path d="M{x - 3:.1f} {y - 3:.1f}l6 6m0 -6l-6 6" stroke="black" stroke-width="1.3"/>'


def _names(panel: _Panel, lines: list[_Line]) -> list[str]:
    """Each volume's name and last pressure beside the end of its line, spread so that none covers another."""
    right = _WIDE - _RIGHT
    rows = []
    ordered = sorted(lines, key=lambda line: line.values[-1])
    ends = [panel.y(line.values[-1]) for line in ordered]
    for line, y, at in zip(ordered, ends, spread(ends, _LINE), strict=True):
        dash = f' stroke-dasharray="{line.dash}"' if line.dash else ""
        rows.append(f'<path d="M{right + 4} {y:.1f}L{right + 12} {at:.1f}" stroke="black" stroke-width="0.7"/>')
        rows.append(f'<path d="M{right + 12} {at:.1f}h26" stroke="black" stroke-width="1.6"{dash}/>')
        rows.append(_mark(right + 25, at, line.mark))
        rows.append(words_at(right + 44, at + 4, f"{plain(line.name)} {line.last}"))
    return rows
