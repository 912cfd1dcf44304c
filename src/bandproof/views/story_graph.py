"""A story drawn as a graph of its steps: one box per state that says what has changed, one arrow per step.

Columns are read from top to bottom, then left to right; a letter in a circle leads from the foot of one to the head of the next. A run of steps in which air flows is drawn as one arrow that
keeps the step numbers, interrupted only where a part moves for good; the text of a story tells every crossing and
every move by itself. The drawing says what happens in this story, not what else could.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from bandproof.machine.layout import Layout
from bandproof.machine.story import Crossed, Moved, Occurred, StepKind, Story, Turned
from bandproof.properties.claim import Property
from bandproof.views import dot
from bandproof.views.happenings import Passage, matters, passages
from bandproof.views.phrases import (
    band_range,
    band_words,
    consequences,
    deed,
    enumerated,
    for_ever,
    plain,
    spoken_pressure,
    verb,
)
from bandproof.views.reasons import because
from bandproof.views.situation import situation
from bandproof.views.spoken import spoken_time

#: Signs in a line of a state's box, and of the words beside an arrow.
_BOX_WIDTH = 46
_ARROW_WIDTH = 34

#: Boxes above one another before a new column starts, and columns beside one another: about one screen.
_ROWS = 6
_COLUMNS = 3

#: Moves to and fro of which the steps are named.
_MANY = 6

#: What keeps the words off the arrow they stand beside.
_BESIDE = "\N{NO-BREAK SPACE}\N{NO-BREAK SPACE}"

_ARROWS = {
    StepKind.ACT: {"penwidth": "2.6"},
    StepKind.REACT: {"penwidth": "1"},
    StepKind.FLOW: {"penwidth": "1", "style": "dashed"},
}


#: Where a column ends and the next begins: a circle with the same letter in both places, instead of an arrow across the picture.
_CONNECTOR = {"shape": "circle", "fixedsize": "true", "width": "0.3", "height": "0.3", "fontsize": "11"}
_LETTERS = "ABC"


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Steps `first` to `last` (counted from 1) that are drawn as one arrow; `rhythm` says what is done to and fro in them."""

    first: int
    last: int
    rhythm: str = ""


def story_dot(layout: Layout, story: Story, *, title: str = "", ending: str = "", claim: Property | None = None) -> str:
    """The graph of a story as DOT text; `ending` says what the last state shows, e.g. which claim is broken, and on further lines what of it fails.

    Of a vehicle's run the boxes have the seconds, and the first one only what matters to the story and to `claim`.
    """
    stretches = _stretches(story)
    boxes = len(stretches) + 1
    columns = min(_COLUMNS, -(-boxes // _ROWS))
    rows = -(-boxes // columns)
    head = f"START: {plain(story.start)}"
    words = [line for part in title.split("\n") for line in dot.lines(part, 110)]
    heading = {"label": dot.label(words, "l"), "labelloc": "t", "labeljust": "l"} if title else {}
    drawing = dot.picture(title or story.start, nodesep="0.4", ranksep="0.25", margin="0.1", **heading)
    begins = situation(layout, story, matters(story, claim) if story.seconds else None)
    _draw_box(drawing, 0, [head], begins, ending="" if stretches else ending)
    for place, stretch in enumerate(stretches, start=1):
        changes = list(_changes(layout, story, stretch))
        told = ending if place == len(stretches) else ""
        _draw_box(drawing, stretch.last, [_headed(story, stretch.last)], changes, ending=told, column=place // rows)
    _draw_arrows(drawing, layout, story, stretches, rows)
    _draw_columns(drawing, [0, *(stretch.last for stretch in stretches)], rows)
    if story.loop is not None:
        words = [_BESIDE + row for row in dot.lines(for_ever(story), _ARROW_WIDTH)]
        drawing.edge(_state(len(story.steps)), _state(story.loop), label=dot.label(words, "l"), constraint="false")
    return dot.text(drawing)


def _stretches(story: Story) -> list[_Stretch]:
    """The steps of a story, with neighbouring steps of flow taken together unless one of them moves a part for good.

    A part that only goes to and fro within a stretch ends where it began, and so do its moves' effects; its moves do
    not interrupt the stretch.
    """
    rhythms = [passage for passage in passages(story) if passage.rhythm]
    inside = {number for one in rhythms for number in range(one.first, one.last + 1)}
    alone = {n for n, step in enumerate(story.steps, start=1) if step.kind is not StepKind.FLOW and n not in inside}
    while True:
        stretches = list(_parted(story, alone, rhythms))
        several = (one for one in stretches if one.first < one.last and not one.rhythm)
        lasting = {last for stretch in several for last in _lasting(story, stretch)}
        if not lasting:
            return stretches
        alone |= lasting


def _parted(story: Story, alone: set[int], rhythms: list[Passage]) -> Iterator[_Stretch]:
    """Stretches that end beside steps that stand alone, beside rhythms, and where a round begins that is gone for ever."""
    words = {one.last: f"{plain(one.rhythm)} to and fro, {one.strokes} times" for one in rhythms}
    ends = {len(story.steps), story.loop, *words, *(one.first - 1 for one in rhythms)}
    first = 1
    for number in range(1, len(story.steps) + 1):
        if number in ends or number in alone or number + 1 in alone:
            yield _Stretch(first, number, words.get(number, ""))
            first = number + 1


def _lasting(story: Story, stretch: _Stretch) -> Iterator[int]:
    """The steps in which parts that end elsewhere than where they began the stretch make their last move in it."""
    began: dict[str, str] = {}
    ended: dict[str, str] = {}
    latest: dict[str, int] = {}
    for number in range(stretch.first, stretch.last + 1):
        for event in story.steps[number - 1].events:
            if isinstance(event, Moved):
                began.setdefault(event.part, event.source)
                ended[event.part], latest[event.part] = event.target, number
    yield from (number for part, number in latest.items() if began[part] != ended[part])


def _changes(layout: Layout, story: Story, stretch: _Stretch) -> Iterator[str]:
    """What the state after a stretch has different from the one before it."""
    arrangement = layout.arrangement
    before, after = story.states[stretch.first - 1], story.states[stretch.last]
    for control, old, new in zip(arrangement.controls, before.controls, after.controls, strict=True):
        if old != new:
            yield f"{plain(control.name)}: {plain(old)} → {plain(new)}"
    yield from (f"{plain(mishap)} has happened" for mishap in sorted(after.mishaps - before.mishaps))
    for part, old, new in zip(arrangement.parts, before.parts, after.parts, strict=True):
        moves = _moves_of(story, stretch, part.name)
        if old != new:
            yield f"{plain(part.name)}: {plain(old)} → {plain(new)}"
            yield from (dot.INDENT + text for text in consequences(part, old, new))
        elif moves:
            often = f"{len(moves)} times" if len(moves) > _MANY else f"in {enumerated(str(number) for number in moves)}"
            yield f"{plain(part.name)}: to and fro {often}, {plain(new)} again"
    for index, volume in enumerate(arrangement.volumes):
        low, high = before.bands[index], after.bands[index]
        if low != high:
            text = f"{plain(volume.name)}: {band_range(layout, volume.name, low)} → {band_words(layout, volume.name, high)}"
            if story.pressures:
                text += f", {_at(layout, volume.name, high, story.pressures[stretch.last][index])}"
            yield text


def _at(layout: Layout, volume: str, band: int, pascals: Fraction) -> str:
    told = spoken_pressure(layout, volume, band, pascals)
    return told if told.startswith("just") else f"at {told}"


def _moves_of(story: Story, stretch: _Stretch, part: str) -> list[int]:
    """The numbers of the steps of a stretch in which a part moves."""
    numbers = range(stretch.first, stretch.last + 1)
    return [n for n in numbers if any(isinstance(e, Moved) and e.part == part for e in story.steps[n - 1].events)]


def _draw_box(
    drawing: dot.Picture, number: int, head: list[str], rows: list[str], *, ending: str, column: int = 0
) -> None:
    fields = [dot.field(head, "n")]
    fields += (
        [dot.field([line for row in rows for line in dot.lines(row, _BOX_WIDTH, dot.INDENT)], "l")] if rows else []
    )
    first, *further = ending.splitlines() or [""]
    fields += [dot.field(dot.lines(first, _BOX_WIDTH), "l")] if first else []
    below = [line for said in further for line in dot.lines(said, _BOX_WIDTH, dot.INDENT)]
    fields += [dot.field(below, "l")] if below else []
    looks = {"shape": "record", "fontsize": "11", "margin": "0.17,0.03", "group": f"column {column}"}
    looks |= {"penwidth": "3"} if ending else {}
    drawing.node(_state(number), dot.record(fields), **looks)


def _draw_arrows(drawing: dot.Picture, layout: Layout, story: Story, stretches: list[_Stretch], rows: int) -> None:
    numbers = [0, *(stretch.last for stretch in stretches)]
    for place, (stretch, (tail, head)) in enumerate(zip(stretches, pairwise(numbers), strict=True), start=1):
        words = [line for row in _deeds(layout, story, stretch) for line in dot.lines(row, _ARROW_WIDTH)]
        style = dict(_ARROWS[story.steps[stretch.first - 1].kind])
        begins = _state(tail)
        if place % rows == 0:
            letter = _LETTERS[place // rows - 1]
            begins, ends = f"from {letter}", f"to {letter}"
            for name, column in ((ends, place // rows - 1), (begins, place // rows)):
                drawing.node(name, letter, **_CONNECTOR, group=f"column {column}")
            drawing.edge(_state(tail), ends, **_ARROWS[StepKind.REACT])
        drawing.edge(begins, _state(head), dot.label([_BESIDE + row for row in words], "l"), **style)


def _draw_columns(drawing: dot.Picture, numbers: list[int], rows: int) -> None:
    """What sets the boxes in columns: boxes of one row share a rank, heads of columns keep order."""
    for row in range(rows):
        beside = numbers[row::rows]
        if len(beside) > 1:
            with drawing.subgraph(graph_attr={"rank": "same"}) as same:
                for number in beside:
                    same.node(_state(number))
    for left, right in pairwise(numbers[::rows]):
        drawing.edge(_state(left), _state(right), style="invis")


def _deeds(layout: Layout, story: Story, stretch: _Stretch) -> Iterator[str]:
    """The words beside an arrow: step numbers, kind of step, who did it or why."""
    step = story.steps[stretch.first - 1]
    if stretch.rhythm:
        yield f"{stretch.first}–{stretch.last}:"
        yield stretch.rhythm
        return
    steps = f"{stretch.first}" if stretch.first == stretch.last else f"{stretch.first}–{stretch.last}"
    yield f"{steps} {step.kind}:"
    before, after = story.states[stretch.first - 1], story.states[stretch.last]
    told = False
    for event in step.events if stretch.first == stretch.last else ():
        match event:
            case Turned():
                yield f"driver {deed(event)}"
            case Occurred(mishap):
                yield f"{plain(mishap)} {verb(mishap, 'happens')}"
            case Moved(part):
                why = because(layout, before, event)
                yield f"{plain(part)} {verb(part, 'moves')}" + (f", as {why}" if why else "")
                told = True
            case Crossed():
                pass
    if step.kind is StepKind.FLOW and not told:
        pairs = zip(layout.arrangement.volumes, before.bands, after.bands, strict=True)
        changed = [(volume.name, "rises" if new > old else "falls") for volume, old, new in pairs if new != old]
        yield f"{plain(changed[0][0])} {verb(*changed[0])}" if len(changed) == 1 else "air flows"


def _headed(story: Story, number: int) -> str:
    """A state's number and, of a vehicle's run, its time."""
    return _state(number) + (f", {spoken_time(story.seconds[number])}" if story.seconds else "")


def _state(number: int) -> str:
    return f"state {number}"
