"""A story as numbered plain sentences that a technician would recognise.

Every step has one number; a step in which several things happen at once tells them together. What the text calls a
reason is the alternative of the guard that held, as far as the bands tell.
"""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap

from bandproof.machine.layout import Layout
from bandproof.machine.story import Crossed, Moved, Story
from bandproof.views.phrases import consequences, enumerated, event_words, for_ever, plain, spoken_pressure, step_lead
from bandproof.views.reasons import because
from bandproof.views.situation import situation

#: Columns of the text: fits a terminal and a mail.
_WIDTH = 100


def story_text(layout: Layout, story: Story, *, title: str = "", ending: str = "") -> str:
    """The story as text; `ending` says what the last state shows, e.g. which claim is broken."""
    rows = [title, ""] if title else []
    rows += _came_about(layout, story)
    rows.append(f"Start: {plain(story.start)}")
    rows += [line for row in situation(layout, story) for line in _wrapped(row, "    ", "      ")]
    rows += _numbered(layout, story)
    rows += [for_ever(story)] if story.loop is not None else []
    if ending:
        rows += ["", *_wrapped(ending, "", "")]
    if story.pressures:
        rows += ["", "Pressures are gauge; those named are one set of real pressures that fits the whole story."]
    return "\n".join(rows) + "\n"


def _came_about(layout: Layout, story: Story) -> list[str]:
    """The runs that came to the story's start, each from where it begins; nothing where nothing comes before."""
    leads = story.parts()[:-1]
    if not leads:
        return []
    rows = ["How it came to this", f"Start: {plain(leads[0].start)}"]
    rows += [line for row in situation(layout, leads[0]) for line in _wrapped(row, "    ", "      ")]
    for lead in leads:
        rows += [] if lead is leads[0] else [f"That is the start {plain(lead.start)}."]
        rows += _numbered(layout, lead)
    return [*rows, ""]


def _numbered(layout: Layout, story: Story) -> list[str]:
    """The steps, numbered."""
    rows: list[str] = []
    digits = len(str(len(story.steps)))
    for number in range(1, len(story.steps) + 1):
        first = f"{number:>{digits}}. "
        indent = " " * (digits + 2)
        for place, text in enumerate(_sentences(layout, story, number)):
            rows += _wrapped(text, indent if place else first, indent + "  ")
    return rows


def _typed(text: str) -> str:
    """Arrows as typed on a keyboard, so that the text survives a plain terminal and a mail."""
    return text.replace("↔", "<->").replace("→", "->").replace("–", "-")


def _sentences(layout: Layout, story: Story, number: int) -> Iterator[str]:
    """What one step says, one sentence an event, the first with the words that open the step."""
    step = story.steps[number - 1]
    lead = step_lead(step)
    for place, event in enumerate(step.events):
        text = event_words(layout, event)
        if isinstance(event, Moved):
            text += _around(layout, story, number, event)
        elif isinstance(event, Crossed) and story.pressures:
            index = [volume.name for volume in layout.arrangement.volumes].index(event.volume)
            band, pascals = story.states[number].bands[index], story.pressures[number][index]
            text += f", now {spoken_pressure(layout, event.volume, band, pascals)}"
        yield f"{lead}{text}" if place == 0 else text


def _around(layout: Layout, story: Story, number: int, event: Moved) -> str:
    """Why a part moved and what that opens and closes."""
    why = because(layout, story.states[number - 1], event)
    done = consequences(layout.arrangement.part(event.part), event.source, event.target)
    return (f", as {why}" if why else "") + (f"; this {enumerated(done)}" if done else "")


def _wrapped(text: str, first: str, later: str) -> list[str]:
    return wrap(
        _typed(text),
        _WIDTH,
        initial_indent=first,
        subsequent_indent=later,
        break_long_words=False,
        break_on_hyphens=False,
    )
