"""A story drawn as a graph of its steps: one box per state that says what has changed, one arrow per step.

Columns are read from top to bottom, then left to right. A run of steps in which air only flows is drawn as one arrow
that keeps the step numbers; the text of a story tells every crossing by itself. The drawing says what happens in this
story, not what else could.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from bandproof.machine.layout import Layout
from bandproof.machine.story import Crossed, Moved, Occurred, Step, StepKind, Story, Turned
from bandproof.views import dot
from bandproof.views.reasons import because
from bandproof.views.situation import situation
from bandproof.views.words import band_range, band_words, consequences, deed, listed, plain, real_pressure

#: Signs in a line of a state's box, and of the words beside an arrow.
_BOX_WIDTH = 46
_ARROW_WIDTH = 34

#: Boxes above one another before a new column starts, and columns beside one another: about one screen.
_ROWS = 6
_COLUMNS = 3

#: What keeps the words off the arrow they stand beside.
_BESIDE = "\N{NO-BREAK SPACE}\N{NO-BREAK SPACE}"

_ARROWS = {
    StepKind.ACT: {"penwidth": "2.6"},
    StepKind.REACT: {"penwidth": "1"},
    StepKind.FLOW: {"penwidth": "1", "style": "dashed"},
}


@dataclass(frozen=True, slots=True)
class _Stretch:
    """Steps `first` to `last` (counted from 1) that are drawn as one arrow."""

    first: int
    last: int


def story_dot(layout: Layout, story: Story, *, title: str = "", ending: str = "") -> str:
    """The graph of a story as DOT text; `ending` says what the last state shows, e.g. which claim is broken."""
    stretches = list(_stretches(story))
    rows = max(_ROWS, -(-(len(stretches) + 1) // _COLUMNS))
    head = f"START: {plain(story.start)}"
    body = [_box(0, head, situation(layout, story), ending="" if stretches else ending)]
    for place, stretch in enumerate(stretches, start=1):
        changes = list(_changes(layout, story, stretch))
        told = ending if place == len(stretches) else ""
        body.append(_box(stretch.last, f"state {stretch.last}", changes, ending=told, column=place // rows))
    body += _arrows(layout, story, stretches, rows)
    heading = {"label": dot.label(dot.lines(title, 110), "l"), "labelloc": "t", "labeljust": "l"} if title else {}
    return dot.graph(title or story.start, body, nodesep="0.4", ranksep="0.25", margin="0.1", **heading)


def _stretches(story: Story) -> Iterator[_Stretch]:
    """The steps of a story, with each run of steps in which air only flows taken together."""
    first = 1
    for number, step in enumerate(story.steps, start=1):
        following = story.steps[number] if number < len(story.steps) else None
        if following is None or not (_only_flows(step) and _only_flows(following)):
            yield _Stretch(first, number)
            first = number + 1


def _only_flows(step: Step) -> bool:
    return step.kind is StepKind.FLOW and all(isinstance(event, Crossed) for event in step.events)


def _changes(layout: Layout, story: Story, stretch: _Stretch) -> Iterator[str]:
    """What the state after a stretch has different from the one before it."""
    arrangement = layout.arrangement
    for event in (e for step in story.steps[stretch.first - 1 : stretch.last] for e in step.events):
        match event:
            case Turned(control, source, target):
                yield f"{plain(control)}: {plain(source)} → {plain(target)}"
            case Occurred(mishap):
                yield f"{plain(mishap)} has happened"
            case Moved(part, source, target):
                yield f"{plain(part)}: {plain(source)} → {plain(target)}"
                yield from (dot.INDENT + text for text in consequences(arrangement.part(part), source, target))
            case Crossed():
                pass
    before, after = story.states[stretch.first - 1], story.states[stretch.last]
    for index, volume in enumerate(arrangement.volumes):
        old, new = before.bands[index], after.bands[index]
        if old != new:
            now = (
                real_pressure(layout, volume.name, new, story.pressures[stretch.last][index]) if story.pressures else ""
            )
            change = f"{band_range(layout, volume.name, old)} → {band_words(layout, volume.name, new)}"
            yield f"{plain(volume.name)}: {change}" + (f", at {now}" if now else "")


def _box(number: int, head: str, rows: list[str], *, ending: str, column: int = 0) -> str:
    fields = [dot.field([head], "n")]
    fields += (
        [dot.field([line for row in rows for line in dot.lines(row, _BOX_WIDTH, dot.INDENT)], "l")] if rows else []
    )
    fields += [dot.field(dot.lines(ending, _BOX_WIDTH), "l")] if ending else []
    looks = {"shape": "record", "fontsize": "11", "margin": "0.08,0.03", "group": f"column {column}"}
    looks |= {"penwidth": "3"} if ending else {}
    text = '"{' + "|".join(fields) + '}"'
    return dot.node(_state(number), text, **looks)


def _arrows(layout: Layout, story: Story, stretches: list[_Stretch], rows: int) -> list[str]:
    """The arrows, and what sets the boxes in columns: boxes of one row share a rank, heads of columns keep order."""
    numbers = [0, *(stretch.last for stretch in stretches)]
    body = []
    for place, (stretch, (tail, head)) in enumerate(zip(stretches, pairwise(numbers), strict=True), start=1):
        words = [line for row in _deeds(layout, story, stretch) for line in dot.lines(row, _ARROW_WIDTH)]
        style = dict(_ARROWS[story.steps[stretch.first - 1].kind])
        style |= {"constraint": "false"} if place % rows == 0 else {}
        body.append(
            dot.edge(_state(tail), _state(head), label=dot.label([_BESIDE + row for row in words], "l"), **style)
        )
    heads = numbers[::rows]
    for row in range(rows):
        beside = numbers[row::rows]
        if len(beside) > 1:
            body.append(f"  {{ rank=same; {'; '.join(_state(number) for number in beside)}; }}")
    body += [dot.edge(_state(left), _state(right), style="invis") for left, right in pairwise(heads)]
    return body


def _deeds(layout: Layout, story: Story, stretch: _Stretch) -> Iterator[str]:
    """The words beside an arrow: step numbers, kind of step, who did what and why."""
    step = story.steps[stretch.first - 1]
    steps = f"{stretch.first}" if stretch.first == stretch.last else f"{stretch.first}–{stretch.last}"
    yield f"{steps} {step.kind}:"
    before = story.states[stretch.first - 1]
    crossed: dict[str, dict[str, None]] = {}
    for event in (e for step in story.steps[stretch.first - 1 : stretch.last] for e in step.events):
        match event:
            case Turned():
                yield f"driver {deed(event)}"
            case Occurred(mishap):
                yield f"{plain(mishap)} happens"
            case Moved(part):
                why = because(layout, before, event)
                yield f"{plain(part)} moves" + (f", as {why}" if why else "")
            case Crossed(volume, _, upward):
                crossed.setdefault("rises" if upward else "falls", {})[volume] = None
    for verb, volumes in crossed.items():
        yield f"{listed(volumes)} {verb if len(volumes) == 1 else verb[:-1]}"


def _state(number: int) -> str:
    return f'"state {number}"'
