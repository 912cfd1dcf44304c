"""Stories of runs that go on for ever, as text, as a graph and as a file."""

from __future__ import annotations

import json

import pytest

from bandproof.engines.run import decide
from bandproof.findings.shapes import BadRecordError
from bandproof.machine.layout import Layout
from bandproof.machine.story import Story
from bandproof.views.json_files import Document, story_json
from bandproof.views.story_files import story_from_json
from bandproof.views.story_graph import story_dot
from bandproof.views.story_text import story_text
from tests.conformance.case import step_rule
from tests.conformance.table_ends_in import ENDS_IN


def story_of(name: str) -> tuple[Layout, Story]:
    """The story of a case that is refuted, on bands."""
    case = next(case for case in ENDS_IN if case.name == name)
    story = decide(step_rule(case), case.property(), real=False).story
    assert story is not None
    return case.layout(), story


ROUND = "a regulator does not end shut"
STAY = "a mishap spoils what is reached"


def test_text_says_which_steps_come_again() -> None:
    layout, story = story_of(ROUND)
    assert (story.loop, len(story.steps)) == (0, 4)
    assert "And so on for ever: steps 1 to 4 again and again.\n" in story_text(layout, story)


def test_text_says_that_all_stays_as_it_is() -> None:
    layout, story = story_of(STAY)
    assert story.loop == len(story.steps)
    assert story_text(layout, story, ending="broken").endswith("So it stays for ever.\n\nbroken\n")


@pytest.mark.parametrize("name", [ROUND, STAY])
def test_graph_has_an_arrow_back_to_where_the_round_begins(name: str) -> None:
    layout, story = story_of(name)
    drawn = story_dot(layout, story)
    backward = f'"state {len(story.steps)}" -> "state {story.loop}"'
    assert backward in drawn
    assert backward not in story_dot(layout, Story(story.start, story.states, story.steps))


def test_graph_draws_the_state_where_the_round_begins_as_a_box() -> None:
    layout, story = story_of("a torn hose at a regulator does not empty the line")
    assert story.loop not in (None, 0, len(story.steps))
    assert f'"state {story.loop}" [' in story_dot(layout, story)


def document_of(story: Story, layout: Layout) -> Document:
    """The story as a file has it."""
    document: Document = json.loads(json.dumps(story_json(layout, story)))
    return document


@pytest.mark.parametrize("name", [ROUND, STAY])
def test_a_file_says_where_the_round_begins(name: str) -> None:
    layout, story = story_of(name)
    document = document_of(story, layout)
    assert document["loop"] == story.loop
    assert story_from_json(layout, document) == story


@pytest.mark.parametrize("loop", [-1, 5, "0", 1.5])
def test_a_file_names_a_state_where_the_round_begins(loop: object) -> None:
    layout, story = story_of(ROUND)
    with pytest.raises(BadRecordError, match="loop"):
        story_from_json(layout, {**document_of(story, layout), "loop": loop})
