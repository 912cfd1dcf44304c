"""The text of a story numbers every step and says it as a technician would."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings

from bandproof.machine.layout import Layout
from bandproof.machine.story import Moved, State, Story
from bandproof.model.arrangement import Arrangement, Move
from bandproof.model.conditions import ALWAYS_TRUE
from bandproof.views.reasons import because
from bandproof.views.story_text import story_text
from tests.unit.views.runs import runs
from tests.unit.views.view_samples import arrangement, breakaway_story, layout, short_story


def told(text: str) -> str:
    return " ".join(text.split())


def test_steps_are_numbered_and_told_in_plain_words() -> None:
    text = told(story_text(layout(), breakaway_story()))
    assert "1. driver pushes the trailer knob (free -> pushed)" in text
    assert "2. breakaway happens" in text
    assert "4. air flows: trailer inlet line falls below 110 psi, now 109 psi" in text
    assert "trailer inlet line falls below 45 psi (highest of emergency)" in text


def test_a_move_is_told_with_its_reason_and_what_it_does() -> None:
    text = told(story_text(layout(), breakaway_story()))
    assert (
        "37. trailer control moves pressed in -> out, as trailer knob is not pushed and service tank is below "
        "34..42 psi (hold in); this opens delivery -> open air and closes supply <-> delivery"
    ) in text


def test_title_and_ending_frame_the_story() -> None:
    text = story_text(layout(), short_story(), title="my claim", ending="Claim broken: x.")
    assert text.startswith("my claim\n\nStart: rolling\n")
    assert text.endswith("\n\nClaim broken: x.\n")


def test_real_pressures_are_explained_and_absent_ones_not_mentioned() -> None:
    assert "one set of real pressures" in story_text(layout(), breakaway_story())
    assert "real pressures" not in story_text(layout(), short_story())
    assert "now" not in story_text(layout(), short_story())


def test_the_text_needs_no_more_than_a_plain_terminal() -> None:
    assert story_text(layout(), breakaway_story()).isascii()


def test_lines_stay_inside_a_hundred_columns() -> None:
    assert max(map(len, story_text(layout(), breakaway_story()).splitlines())) <= 100


@pytest.mark.slow
@given(runs())
@settings(deadline=None, max_examples=40)
def test_every_step_of_every_run_has_its_number(run: tuple[Layout, Story]) -> None:
    grid, story = run
    numbers = [int(n) for n in re.findall(r"^ *(\d+)\. ", story_text(grid, story), re.MULTILINE)]
    assert numbers == list(range(1, len(story.steps) + 1))


@pytest.mark.slow
@given(runs())
@settings(deadline=None, max_examples=40)
def test_every_move_of_every_run_has_a_reason(run: tuple[Layout, Story]) -> None:
    grid, story = run
    for state, step in zip(story.states, story.steps, strict=False):
        for event in step.events:
            if isinstance(event, Moved):
                part = grid.arrangement.part(event.part)
                always = Move(event.source, event.target, ALWAYS_TRUE) in part.moves
                assert because(grid, state, event) or always


def _placed(small: Arrangement, state: State, **controls: str) -> State:
    positions = tuple(controls.get(c.name, p) for c, p in zip(small.controls, state.controls, strict=True))
    return State(state.bands, state.parts, positions, state.mishaps)


def test_the_reason_told_is_the_alternative_that_held() -> None:
    grid = layout()
    first = breakaway_story().states[0]
    pops = Moved("trailer_control", "pressed in", "out")
    assert because(grid, _placed(arrangement(), first, trailer_knob="pulled"), pops) == "trailer knob is pulled"
    assert because(grid, _placed(arrangement(), first, trailer_knob="pushed"), pops) == ""
    late = breakaway_story().states[36]
    assert because(grid, late, pops) == "trailer knob is not pushed and service tank is below 34..42 psi (hold in)"
