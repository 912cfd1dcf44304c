"""Pressures over the seconds of a witness's run, as an SVG of our own: curves, acts as lettered marks, the claim's limits.

Kept by hand: it is the same to the letter on every machine, which no plotting library promises, and needs none to start.

One panel for the whole run; below it, where all comes at once in a small part of it, that part again. Every volume the story
turns on is drawn, and one tank that keeps its pressure beside them. Each curve has a colour, a dash pattern and its name at its
end, so that the picture reads in grey too; where curves coincide, a broad light one shows beside the narrow dark one on it.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from html import escape
from operator import itemgetter
from string import ascii_uppercase
from textwrap import wrap

from bandproof.findings.witness import Witness
from bandproof.machine.layout import Layout
from bandproof.machine.story import Crossed, Moved, Occurred, Story, Turned
from bandproof.model.arrangement import VolumeKind
from bandproof.model.conditions import AtLeast, Below, InPosition, NotInPosition
from bandproof.model.walker import comparisons, leaves
from bandproof.properties.claim import Property
from bandproof.simulation.script import Turn
from bandproof.text.units import PRESSURE_UNITS
from bandproof.views.graphviz import FONTS
from bandproof.views.happenings import moves, passages
from bandproof.views.named import named
from bandproof.views.phrases import deed, deed_of, plain, verb
from bandproof.views.spoken import spoken_time
from bandproof.views.svg import spread, words_at

#: Pressures of all volumes, pascals gauge, at each of these seconds.
Courses = Callable[[Sequence[float]], Sequence[Sequence[float]]]

#: Width of the picture and of what stands beside a panel, in pixels; height of a panel, and of what is over and under one.
_WIDE, _LEFT, _RIGHT = 1120, 120, 270
_TALL, _OVER, _UNDER, _HEAD = 330, 34, 48, 16
#: Points of a curve in one panel.
_POINTS = 360
#: A part of the run is shown again where it is shorter than this share of it.
_CLOSER = 0.2
#: Least distance of two labels above one another, and of two marks beside one another.
_LINE, _APART = 15.0, 16.0
#: Columns of the list of marks, and signs in a line of it.
_COLUMNS, _WORDS = 2, 78
#: A part that moves more often is told of once.
_OFTEN = 4
#: Pixels that a sign of a label takes.
_SIGN = 6.6
#: Curves of one picture, and how many there should be if pressures change by more than a share of the greatest change.
_MOST, _FEW, _SWING = 9, 5, 0.05

#: Dark enough for white paper, and told apart by people who see few colours (after Okabe and Ito, 2008).
_COLOURS = ("#0072b2", "#d55e00", "#007a5a", "#a0406f", "#000000", "#7a5c00", "#3f6fd0", "#8a2be2", "#555555")
_DASHES = ("", "9 4", "2 3", "12 4 2 4", "5 5", "16 5", "1 4", "10 3 3 3 3 3", "7 2")
_WIDTHS = (3.4, 2.4, 2.4, 2.0, 2.0, 1.8, 1.8, 1.6, 1.6)


#: When something is told, in which words, and whether it is an act or mishap.
_Told = tuple[float, list[str], bool]


@dataclass(frozen=True, slots=True)
class _Mark:
    """Something done or something that moves, lettered in the picture and told below it."""

    time: float
    letter: str
    text: str
    act: bool


@dataclass(frozen=True, slots=True)
class _Panel:
    """Where seconds and pressures lie: heights in pixels, `first` to `last` in seconds, `highest` in pascals.

    `turns` are the seconds at which parts move, in order.
    """

    top: float
    first: float
    last: float
    highest: float
    turns: tuple[float, ...] = ()

    def x(self, seconds: float) -> float:
        return _LEFT + (_WIDE - _LEFT - _RIGHT) * (seconds - self.first) / (self.last - self.first)

    def y(self, pascals: float) -> float:
        return self.top + _TALL * (1 - max(pascals, 0.0) / self.highest)

    @property
    def floor(self) -> float:
        return self.top + _TALL


def run_svg(
    layout: Layout, story: Story | None, witness: Witness, courses: Courses, *, claim: Property | None, title: str
) -> str:
    """The picture of the run of `witness`, with the marks of the story that tells it step by step, if one does.

    `claim` says which limits are drawn.
    """
    end = max(story.seconds[-1] if story else 0.0, witness.end, 1e-3)
    names = _drawn(layout, story, claim, [list(row) for row in courses(_times(0.0, end))])
    told = _of_witness(layout, witness) if story is None else _of_story(layout, story)
    lettered = zip(ascii_uppercase, _fewer(told), strict=False)
    marks = [_Mark(time, letter, ", ".join(dict.fromkeys(words)), act) for letter, (time, words, act) in lettered]
    unit = layout.arrangement.unit
    limits = _limits(claim)
    windows = [(0.0, end)]
    closer = _closer(marks, end)
    if closer is not None:
        windows.append(closer)
    turns = tuple(sorted({move.time for move in witness.moves if move.time < end}))
    highest = _highest(courses, windows, layout, names, [limit for _, limit, _ in limits])
    body = [words_at(20, 24, title, size=16), words_at(20, 42, _subtitle(unit, claim, witness))]
    top = 62.0
    for number, (first, last) in enumerate(windows):
        if number:
            body.append(words_at(20, top + 8, f"the same, from {spoken_time(first)} to {spoken_time(last)}", size=13))
            top += _HEAD
        panel = _Panel(top + _OVER, first, last, highest, turns)
        body += [*_frame(panel, unit), *_mark_rules(panel, marks), *_curves(panel, layout, names, courses, unit)]
        body += _limit_rules(panel, limits, unit, _points(panel, layout, names, courses))
        top = panel.floor + _UNDER
    rows, tall = _list(marks, top)
    body += rows
    summary = "; ".join(f"{mark.letter}, {spoken_time(mark.time)}: {mark.text}" for mark in marks)
    return _picture(body, round(tall + 12), title, f"Pressures over time. {summary}")


def _picture(body: Sequence[str], tall: int, title: str, told: str) -> str:
    head = (
        f'<svg width="{_WIDE}" height="{tall}" viewBox="0 0 {_WIDE} {tall}" xmlns="http://www.w3.org/2000/svg" '
        f'font-family="{FONTS}" font-size="13" fill="black">'
    )
    ground = f'<rect width="{_WIDE}" height="{tall}" fill="white"/>'
    return named("\n".join([head, ground, *body, "</svg>"]) + "\n", title, told)


def _subtitle(unit: str, claim: Property | None, witness: Witness) -> str:
    what = "one vehicle's run" if claim is None else f"one vehicle's run from {plain(claim.during)}"
    return f"gauge pressure in {unit} over seconds; {what}, up to {spoken_time(witness.end)}"


# ------------------------------------------------------------------------------------------------- what is shown


def _drawn(layout: Layout, story: Story | None, claim: Property | None, ends: list[list[float]]) -> list[str]:
    """The volumes that cross a threshold or that the claim is about, and a tank that keeps its pressure."""
    steps = story.steps if story else ()
    crossed = [event.volume for step in steps for event in step.events if isinstance(event, Crossed)]
    asked = [] if claim is None else [leaf.volume for leaf in _asked(claim)]
    often = sorted(set(crossed), key=lambda name: (name not in asked, -crossed.count(name)))
    order = [volume.name for volume in layout.arrangement.volumes]
    found = list(dict.fromkeys([*asked, *often]))[:_MOST]
    found += _movers(order, found, ends)
    keeps = [
        (ends[-1][order.index(volume.name)], volume.name)
        for volume in layout.arrangement.volumes
        if volume.kind is VolumeKind.TANK and volume.name not in found
    ]
    if keeps and len(found) < _MOST and max(keeps)[0] > 0:
        found.append(max(keeps)[1])
    return sorted(found, key=order.index)


def _movers(order: Sequence[str], found: Sequence[str], ends: list[list[float]]) -> list[str]:
    """Of a story that crosses few thresholds, the volumes that change most besides those found."""
    swings = {name: max(column) - min(column) for name, column in zip(order, zip(*ends, strict=True), strict=True)}
    others = sorted((name for name in order if name not in found), key=lambda name: -swings[name])
    return [name for name in others if swings[name] > _SWING * max(swings.values())][: max(0, _FEW - len(found))]


def _asked(claim: Property) -> list[Below | AtLeast]:
    return [leaf for leaf in comparisons(claim.when, claim.then) if isinstance(leaf, Below | AtLeast)]


def _limits(claim: Property | None) -> list[tuple[str, float, str]]:
    """What the claim compares pressures with: volume, pascals, name."""
    found: dict[float, tuple[str, float, str]] = {}
    for leaf in _asked(claim) if claim is not None else ():
        name = plain(leaf.setting or "")
        found.setdefault(float(leaf.low), (leaf.volume, float(leaf.low), name))
    return list(found.values())


def _of_witness(layout: Layout, witness: Witness) -> list[_Told]:
    """Acts, mishaps and moves of parts of a run that no story tells, one by one; a part that moves very often once."""
    counts = Counter(move.part for move in witness.moves)
    restless = {part: count for part, count in counts.items() if count > _OFTEN}
    said = {mishap.name: mishap.says for mishap in layout.arrangement.mishaps}
    told: list[_Told] = [
        (one.time, [f"the driver {deed_of(one.what)}" if isinstance(one.what, Turn) else said[one.what.mishap]], True)
        for one in witness.deeds
    ]
    moved = ((move.time, _words(layout, Moved(move.part, "", move.target), restless)) for move in witness.moves)
    told += [(time, [words], False) for time, words in moved if words]
    return sorted(told, key=lambda one: one[0])


def _of_story(layout: Layout, story: Story) -> list[_Told]:
    """Acts, mishaps and moves of parts, together for each instant; a rhythm once for all its strokes."""
    told: list[_Told] = []
    restless = _restless(layout, story)
    for passage in passages(story):
        time = story.seconds[passage.last if not passage.rhythm else passage.first]
        if passage.rhythm:
            words = f"and so on, {passage.strokes} times until {spoken_time(story.seconds[passage.last])}"
            told.append((time, [f"{plain(passage.rhythm)} to and fro {words}"], True))
            continue
        events = [event for n in range(passage.first, passage.last + 1) for event in story.steps[n - 1].events]
        words_of = [(text, _is_act(event)) for event in events if (text := _words(layout, event, restless))]
        if not words_of:
            continue
        act = any(act for _, act in words_of)
        if told and not act and time - told[-1][0] < 0.005 * story.seconds[-1]:
            told[-1][1].extend(text for text, _ in words_of)
        else:
            told.append((time, [text for text, _ in words_of], act))
    return told


def _fewer(told: list[_Told]) -> list[_Told]:
    """As many as there are letters: the first and the last of very many, with a word of what is left out between them."""
    most = len(ascii_uppercase)
    if len(told) <= most:
        return told
    half = most // 2
    first, last = told[: half - 1], told[-half:]
    left = told[half - 1 : -half]
    return [
        *first,
        (left[0][0], [f"{len(left)} more, up to {spoken_time(left[-1][0])}: see the story as text"], False),
        *last,
    ]


def _is_act(event: object) -> bool:
    return isinstance(event, Turned | Occurred)


def _restless(layout: Layout, story: Story) -> dict[str, int]:
    """Parts that move very often by themselves, with how often."""
    found: dict[str, int] = {}
    driven = {
        part.name
        for part in layout.arrangement.parts
        if any(isinstance(leaf, InPosition | NotInPosition) for move in part.moves for leaf in leaves(move.when))
    }
    for passage in passages(story):
        for _, move in moves(story, passage) if not passage.rhythm else ():
            found[move.part] = found.get(move.part, 0) + 1
    return {part: count for part, count in found.items() if count > _OFTEN and part not in driven}


def _words(layout: Layout, event: object, restless: dict[str, int]) -> str:
    """An event in words; a part that goes to and fro is told of once, and its number in `restless` is then 0."""
    match event:
        case Moved(part) if part in restless:
            count = restless[part]
            restless[part] = 0
            return f"{plain(part)} {verb(part, 'goes')} to and fro, {count} times from here on" if count else ""
        case Turned():
            return f"the driver {deed(event)}"
        case Occurred(mishap):
            said = next(one.says for one in layout.arrangement.mishaps if one.name == mishap)
            return said or f"{plain(mishap)} happens"
        case Moved(part, _, target):
            return f"{plain(part)} {verb(part, 'goes')} to {plain(target)}"
        case _:
            return ""


def _closer(marks: Sequence[_Mark], end: float) -> tuple[float, float] | None:
    """The part of the run in which more is marked than in all the rest, where that is a small part of it."""
    clusters: list[list[float]] = []
    for mark in marks:
        if not clusters or mark.time - clusters[-1][-1] > _CLOSER * end:
            clusters.append([])
        clusters[-1].append(mark.time)
    busiest = max(clusters, key=len, default=[])
    if len(busiest) < 2 or 2 * len(busiest) <= len(marks):
        return None
    room = max(0.15 * (busiest[-1] - busiest[0]), 0.002 * end, 0.02)
    first, last = max(busiest[0] - room, 0.0), min(busiest[-1] + room, end)
    return (first, last) if last - first < _CLOSER * end else None


def _highest(
    courses: Courses, windows: Sequence[tuple[float, float]], layout: Layout, names: list[str], limits: list[float]
) -> float:
    """A little above all that is drawn, pascals."""
    order = [volume.name for volume in layout.arrangement.volumes]
    chosen = [order.index(name) for name in names]
    seen = [row[i] for first, last in windows for row in courses(_times(first, last)) for i in chosen]
    return 1.06 * max([*seen, *limits, float(PRESSURE_UNITS[layout.arrangement.unit])])


def _times(first: float, last: float) -> list[float]:
    return [first + (last - first) * k / _POINTS for k in range(_POINTS + 1)]


# ------------------------------------------------------------------------------------------------------- drawing


def _frame(panel: _Panel, unit: str) -> Iterator[str]:
    right = _WIDE - _RIGHT
    for value in _ticks(panel.highest / float(PRESSURE_UNITS[unit])):
        pascals = value * float(PRESSURE_UNITS[unit])
        y = panel.y(pascals)
        yield f'<path d="M{_LEFT} {y:.1f}H{right}" stroke="#dddddd" stroke-width="0.8"/>'
        words = f"{value:g} {unit}"
        yield words_at(_LEFT - 8, y + 4, words, anchor="end", size=12)
        if unit != "kPa" and value:
            yield words_at(_LEFT - 62, y + 4, f"{pascals / 1000:.0f} kPa", anchor="end", size=11, colour="#555555")
    for value in _ticks(panel.last - panel.first):
        seconds = panel.first + value
        x = panel.x(seconds)
        yield f'<path d="M{x:.1f} {panel.floor}v5" stroke="black"/>'
        yield words_at(x, panel.floor + 19, _second(seconds, panel.last - panel.first), anchor="middle", size=12)
    yield f'<path d="M{_LEFT} {panel.top}V{panel.floor}H{right}" fill="none" stroke="black"/>'
    yield words_at(right, panel.floor + 36, "seconds", anchor="end", size=12)


def _second(seconds: float, wide: float) -> str:
    digits = 0 if wide >= 8 else 1 if wide >= 0.8 else 2 if wide >= 0.08 else 3
    return f"{seconds:.{digits}f}"


def _ticks(most: float) -> list[float]:
    """Round numbers from 0 up to `most`, five to ten of them."""
    step = 1e-4
    while True:
        for factor in (1, 2, 5):
            if most / (step * factor) <= 8:
                wide = step * factor
                return [round(k * wide, 6) for k in range(int(most / wide) + 1)]
        step *= 10


def _points(panel: _Panel, layout: Layout, names: Sequence[str], courses: Courses) -> list[tuple[float, float]]:
    """Where the curves go, in pixels."""
    order = [volume.name for volume in layout.arrangement.volumes]
    times = _times(panel.first, panel.last)
    rows = courses(times)
    return [(panel.x(t), panel.y(row[order.index(name)])) for t, row in zip(times, rows, strict=True) for name in names]


def _limit_rules(
    panel: _Panel, limits: Sequence[tuple[str, float, str]], unit: str, curves: Sequence[tuple[float, float]]
) -> Iterator[str]:
    """The claim's limits, each named on its rule where it covers least of the curves."""
    for _, pascals, name in limits:
        y = panel.y(pascals)
        number = f"{pascals / float(PRESSURE_UNITS[unit]):g} {unit}"
        yield f'<path d="M{_LEFT} {y:.1f}H{_WIDE - _RIGHT}" stroke="black" stroke-width="1.1" stroke-dasharray="1 3"/>'
        words = f"limit of the claim: {number}" + (f", {name}" if name else "")
        wide = _SIGN * len(words)
        places = [(x, at) for at in (y - 5, y + 14) for x in _range(_LEFT + 6, _WIDE - _RIGHT - wide - 6)]
        yield _label(*min(places, key=lambda place: _covered(place, wide, curves)), words)


def _range(first: float, last: float) -> list[float]:
    return [first + (last - first) * k / 6 for k in range(7)]


def _covered(place: tuple[float, float], wide: float, curves: Sequence[tuple[float, float]]) -> int:
    """How many points of curves words there would cover."""
    x, y = place
    return sum(x - 4 <= px <= x + wide + 4 and y - 12 <= py <= y + 4 for px, py in curves)


def _mark_rules(panel: _Panel, marks: Sequence[_Mark]) -> Iterator[str]:
    """A dotted rule for each mark, and its letter over the panel: on a dark disc for what is done, in a ring for moves."""
    shown = [mark for mark in marks if panel.first <= mark.time <= panel.last]
    places = _apart([panel.x(mark.time) for mark in shown])
    for mark, at in zip(shown, places, strict=True):
        x = panel.x(mark.time)
        yield f'<path d="M{x:.1f} {panel.floor}V{panel.top}L{at:.1f} {panel.top - 10}" fill="none" stroke="#888888" stroke-width="0.8" stroke-dasharray="2 3"/>'
        yield from _disc(at, panel.top - 18, mark)


def _disc(x: float, y: float, mark: _Mark) -> Iterator[str]:
    fill, ink = ("black", "white") if mark.act else ("white", "black")
    yield f'<circle cx="{x:.1f}" cy="{y:.1f}" r="7.5" fill="{fill}" stroke="black"/>'
    yield words_at(x, y + 4, mark.letter, anchor="middle", size=11, colour=ink)


def _apart(wanted: Sequence[float]) -> list[float]:
    """Places near the wanted ones (in order from the left), none nearer to the next than _APART; the last is moved back first."""
    placed: list[float] = []
    for x in wanted:
        placed.append(max(x, placed[-1] + _APART) if placed else x)
    most = _WIDE - _RIGHT + 60.0
    for k in range(len(placed) - 1, -1, -1):
        placed[k] = min(placed[k], most)
        most = placed[k] - _APART
    return placed


def _curves(panel: _Panel, layout: Layout, names: Sequence[str], courses: Courses, unit: str) -> Iterator[str]:
    order = [volume.name for volume in layout.arrangement.volumes]
    times = _times(panel.first, panel.last)
    turns = [time for time in panel.turns if panel.first < time < panel.last]
    rows, turned = courses(times), courses(turns)
    ends: list[tuple[float, int]] = []
    for number, name in enumerate(names):
        values = [row[order.index(name)] for row in rows]
        between = [(time, row[order.index(name)]) for time, row in zip(turns, turned, strict=True)]
        points = _with_strokes(list(zip(times, values, strict=True)), between)
        path = "L".join(f"{panel.x(t):.1f} {panel.y(v):.1f}" for t, v in points)
        yield f'<path d="M{path}" fill="none" {_look(number)}/>'
        ends.append((values[-1], number))
    right = _WIDE - _RIGHT
    ends.sort()
    heights = [panel.y(value) for value, _ in ends]
    for (value, number), y, at in zip(ends, heights, spread(heights, _LINE), strict=True):
        shown = f"{round(value / float(PRESSURE_UNITS[unit]))} {unit}"
        yield f'<path d="M{right + 3} {y:.1f}L{right + 12} {at:.1f}" stroke="#555555" stroke-width="0.7"/>'
        yield f'<path d="M{right + 14} {at:.1f}h28" {_look(number)}/>'
        yield words_at(right + 48, at + 4, f"{plain(names[number])} {shown}")


def _with_strokes(
    points: Sequence[tuple[float, float]], between: Sequence[tuple[float, float]]
) -> Iterator[tuple[float, float]]:
    """The points of a curve, and between two of them the lowest of those that lie below both and the highest above.

    A stroke that is shorter than the distance of two points is drawn to its end all the same.
    """
    waiting = list(reversed(between))
    for here, there in itertools.pairwise(points):
        yield here
        passed: list[tuple[float, float]] = []
        while waiting and waiting[-1][0] < there[0]:
            passed.append(waiting.pop())
        low, high = sorted((here[1], there[1]))
        below, above = [p for p in passed if p[1] < low], [p for p in passed if p[1] > high]
        ends = [
            *([min(below, key=itemgetter(1, 0))] if below else []),
            *([max(above, key=itemgetter(1, 0))] if above else []),
        ]
        yield from sorted(ends)
    yield points[-1]


def _look(number: int) -> str:
    dash = f' stroke-dasharray="{_DASHES[number]}"' if _DASHES[number] else ""
    return f'stroke="{_COLOURS[number]}" stroke-width="{_WIDTHS[number]}"{dash}'


def _list(marks: Sequence[_Mark], top: float) -> tuple[list[str], float]:
    """The marks told under the panels, in columns read from top to bottom; and where they end."""
    across = (_WIDE - 40) / _COLUMNS
    deep = -(-len(marks) // _COLUMNS)
    rows: list[str] = []
    lowest = top
    for column in range(_COLUMNS):
        y = top + 8
        for mark in marks[column * deep : (column + 1) * deep]:
            x = 20 + across * column
            rows += _disc(x + 8, y - 4, mark)
            rows.append(words_at(x + 92, y, spoken_time(mark.time), anchor="end", size=12))
            for line in wrap(mark.text, _WORDS - 12) or [""]:
                rows.append(words_at(x + 100, y, line, size=12))
                y += _LINE
            y += 4
        lowest = max(lowest, y)
    return rows, lowest


def _label(x: float, y: float, words: str) -> str:
    """Words on a white ground, so that no curve crosses them."""
    place = f'x="{x:.1f}" y="{y:.1f}" font-size="12"'
    ground = f'<text {place} stroke="white" stroke-width="4" stroke-linejoin="round" aria-hidden="true">{escape(words)}</text>'
    return f"{ground}<text {place}>{escape(words)}</text>"
