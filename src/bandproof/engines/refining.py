"""Makes a layout finer where a run of the bands shows that it is too coarse.

A run may take states for settled that are not, since each volume of them can balance but not all together: such states
become imbalances of the layout (`bandproof.lemmas.balance`), which both meanings read.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace

from bandproof.lemmas.balance import imbalance_in
from bandproof.machine.imbalance import Imbalance
from bandproof.machine.layout import Layout
from bandproof.machine.semantics import at_rest, settled
from bandproof.machine.story import State, Story, Turned
from bandproof.properties.claim import Pace, Property, Shape
from bandproof.properties.monitors import Stillness


def with_imbalances(layout: Layout, claim: Property, story: Story, check: Callable[[], None]) -> Layout | None:
    """The layout with an imbalance for each state that the story takes for settled, or at rest, and is not.

    None where there is none.
    """
    found: dict[Imbalance, None] = {}
    for state, still in dict.fromkeys(_taken_for_still(layout, claim, story)):
        known = replace(layout, imbalances=(*layout.imbalances, *found))
        if (settled if still is Stillness.SETTLED else at_rest)(known, state):
            imbalance = imbalance_in(layout, state, still, check)
            if imbalance is not None:
                found[imbalance] = None
    return replace(layout, imbalances=(*layout.imbalances, *found)) if found else None


def balanced(layout: Layout, claim: Property, story: Story, check: Callable[[], None] = lambda: None) -> Layout:
    """The layout with an imbalance for each state of a story that is not settled, or not at rest, where that is asked.

    Those before its end too: a run ends in the first state that breaks the claim.
    """
    if claim.shape in (Shape.SETTLED, Shape.AT_REST):
        for number in range(1, len(story.states)):
            begun = Story(story.start, story.states[:number], story.steps[: number - 1], lead=story.lead)
            layout = with_imbalances(layout, claim, begun, check) or layout
    return with_imbalances(layout, claim, story, check) or layout


def _taken_for_still(layout: Layout, claim: Property, story: Story) -> Iterator[tuple[State, Stillness]]:
    """The states that have to be settled, or at rest, for the story to be a run of the claim and a bad one."""
    for part in story.parts():
        if layout.arrangement.start(part.start).settled:
            yield part.states[0], Stillness.SETTLED
    if claim.pace is Pace.AFTER_SETTLING:
        for state, step in zip(story.states, story.steps, strict=False):
            if any(isinstance(event, Turned) for event in step.events):
                yield state, Stillness.SETTLED
    if claim.shape is Shape.SETTLED:
        yield story.states[-1], Stillness.SETTLED
    if claim.shape is Shape.AT_REST:
        yield story.states[-1], Stillness.AT_REST
