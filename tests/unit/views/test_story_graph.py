"""The graph of a story numbers its states, says what changed in each, and ends in what it shows."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import given, settings

from bandproof.machine.layout import Layout
from bandproof.machine.story import Moved, Occurred, StepKind, Story, Turned
from bandproof.views.graphviz import render_svg
from bandproof.views.story_graph import story_dot
from tests.unit.views.runs import runs
from tests.unit.views.svg import edges_drawn, edges_meant, labels, texts
from tests.unit.views.view_samples import Teller, breakaway_story, layout, short_story


def box(dot: str, number: int) -> str:
    """The words in the box of one state."""
    return labels(next(row for row in dot.splitlines() if row.startswith(f'\t"state {number}" [')))


def arrow(dot: str, tail: int, head: int) -> str:
    """The attributes of the arrow between two states."""
    start = f'\t"state {tail}" -> "state {head}" ['
    return next(row for row in dot.splitlines() if row.startswith(start) and "invis" not in row)


def test_the_first_box_tells_the_situation_in_few_words() -> None:
    text = box(story_dot(layout(), breakaway_story()), 0)
    assert "START: rolling" in text
    assert "free: park knob, trailer knob" in text
    assert "pressed in: park control, trailer control" in text
    assert "100–110 psi: trailer tank (105)" in text


def test_each_box_lists_only_what_changed() -> None:
    dot = story_dot(layout(), breakaway_story())
    assert "{state 1|trailer knob: free → pushed }" in box(dot, 1)
    assert "breakaway has happened" in box(dot, 2)
    assert "trailer hose: whole → torn" in box(dot, 3)
    assert "opens tractor side → open air" in box(dot, 3)
    assert "service tank" not in box(dot, 3)


def test_a_run_of_flow_is_one_arrow_that_keeps_its_step_numbers() -> None:
    dot = story_dot(layout(), breakaway_story())
    assert "4–10 flow: trailer inlet line falls" in " ".join(labels(arrow(dot, 3, 10)).split())
    assert "trailer inlet line: 110–120 → 30–34 psi, at 33 psi" in box(dot, 10)
    assert '"state 5"' not in dot


def test_arrows_say_who_acts_and_why_a_part_moves() -> None:
    dot = story_dot(layout(), breakaway_story())
    assert "1 act: driver pushes the trailer knob" in labels(arrow(dot, 0, 1))
    assert "2 act: breakaway happens" in labels(arrow(dot, 1, 2))
    last = labels(arrow(dot, 36, 37))
    assert "trailer control moves, as trailer knob is not pushed and service tank is below 34..42 psi (hold in)" in last


def test_kinds_of_step_differ_without_colour() -> None:
    dot = story_dot(layout(), breakaway_story())
    assert "penwidth=2.6" in arrow(dot, 0, 1)
    assert "penwidth=1" in arrow(dot, 2, 3)
    assert "dashed" not in arrow(dot, 2, 3)
    assert "style=dashed" in arrow(dot, 3, 10)


def test_only_the_last_box_carries_the_ending() -> None:
    dot = story_dot(layout(), breakaway_story(), title="my claim", ending="Claim broken: x > y.")
    assert "Claim broken: x > y." in box(dot, 37)
    assert "penwidth=3" in box(dot, 37)
    assert dot.count("Claim broken") == 1
    assert 'label="my claim\\l"' in dot


def test_a_story_without_steps_ends_where_it_starts() -> None:
    story = Story("rolling", (short_story().states[0],), ())
    dot = story_dot(layout(), story, ending="Claim broken: at once.")
    assert "Claim broken: at once." in box(dot, 0)
    assert edges_meant(dot) == 0


def test_without_real_pressures_only_bands_are_shown() -> None:
    text = box(story_dot(layout(), short_story()), 3)
    assert "park line: 110–120 → 100–110 psi" in text
    assert ", at " not in text


def _busy(count: int) -> Story:
    """A story of `count` steps, none of which is flow, and no control turned to and fro many times in a row."""
    first = short_story()
    teller = Teller(layout(), "rolling", first.states[0])
    for number in range(count):
        ends = ("free", "pulled") if number // 2 % 2 == 0 else ("pulled", "free")
        teller.step(StepKind.ACT, Turned(("park_knob", "trailer_knob")[number % 2], *ends))
    return teller.story(real=False)


def _strokes(turns: int) -> str:
    """The graph of a story in which one knob is turned to and fro."""
    teller = Teller(layout(), "rolling", short_story().states[0])
    for number in range(turns):
        ends = ("free", "pulled") if number % 2 == 0 else ("pulled", "free")
        teller.step(StepKind.ACT, Turned("park_knob", *ends))
    return story_dot(layout(), teller.story(real=False))


def test_a_control_turned_to_and_fro_many_times_is_one_arrow() -> None:
    """The first stroke is told in full, and the last turn; four strokes are many."""
    assert edges_meant(_strokes(8)) == 4
    assert edges_meant(_strokes(7)) == 8  # one of them to a letter, as there are two columns
    dot = _strokes(31)
    assert edges_meant(dot) == 4
    assert "3–30:" in dot
    assert "park knob to and fro, 14 times" in " ".join(dot.replace("\\l", " ").split())


@pytest.mark.parametrize("count", [3, 7, 20, 40])
def test_pictures_stay_inside_a_page_whatever_the_number_of_steps(count: int) -> None:
    dot = story_dot(layout(), _busy(count))
    svg = render_svg(dot)
    width, height = map(float, re.findall(r'<svg width="([0-9.]+)pt" height="([0-9.]+)pt"', svg)[0])
    ends = set(re.findall(r'-> "to ([ABC])"', dot))
    assert ends == set(re.findall(r'"from ([ABC])" -> ', dot)) == set("ABC"[: count // 6 if count < 18 else 2])
    assert edges_drawn(svg) == edges_meant(dot) == count + len(ends)
    assert width <= 1050
    assert height <= 1500


def test_columns_read_from_top_to_bottom_then_to_the_right() -> None:
    svg = render_svg(story_dot(layout(), _busy(13)))
    centres = {
        int(words.split()[-1]): (float(x), float(y))
        for x, y, words in re.findall(r'<text [^>]*x="([-\d.]+)" y="([-\d.]+)"[^>]*>(state \d+)</text>', svg)
    }
    assert centres[1][1] < centres[2][1] < centres[4][1]
    assert centres[5][0] > centres[4][0] + 100
    assert centres[5][1] < centres[6][1] < centres[9][1]
    assert centres[10][0] > centres[9][0] + 100
    assert centres[10][1] < centres[13][1]


@pytest.mark.slow
@given(runs())
@settings(deadline=None, max_examples=40)
def test_every_event_of_every_run_is_told_and_every_arrow_drawn(run: tuple[Layout, Story]) -> None:
    grid, story = run
    dot = story_dot(grid, story)
    svg = render_svg(dot)
    assert edges_drawn(svg) == edges_meant(dot)
    seen = " ".join(" ".join(texts(svg)).split())
    for event in (event for step in story.steps for event in step.events):
        match event:
            case Turned(control, source, target):
                assert f"{control}: {source} → {target}" in seen
            case Moved(part, source, target):
                assert f"{part}: {source} → {target}" in seen or f"{part}: to and fro" in seen
            case Occurred(mishap):
                assert f"{mishap} has happened" in seen
            case _:
                assert event.volume in seen


@pytest.mark.slow
@given(runs(most=10))
@settings(deadline=None, max_examples=150)
def test_no_part_moves_for_good_within_a_run_of_flow(run: tuple[Layout, Story]) -> None:
    grid, story = run
    arrows = (
        row
        for row in story_dot(grid, story).splitlines()
        if "->" in row and "invis" not in row and '-> "to ' not in row
    )
    for words in map(labels, arrows):
        first, last = re.findall(r"(\d+)(?:–(\d+))?(?: \w+)?:", words)[0]
        if last and "to and fro" not in words:
            assert story.states[int(first) - 1].parts == story.states[int(last)].parts


def test_a_part_that_moves_for_good_interrupts_a_run_of_flow() -> None:
    teller = Teller(layout(), "rolling", short_story().states[0])
    teller.fall("park_line", 68)
    teller.step(StepKind.FLOW, Moved("compressor", "unloaded", "loaded"))
    teller.fall("park_line", 45)
    dot = story_dot(layout(), teller.story(real=False))
    assert edges_meant(dot) == 3
    assert "compressor: unloaded → loaded opens air source → delivery" in box(dot, 3)
    assert "1–2 flow: park line falls" in labels(arrow(dot, 0, 2))
    assert "3 flow: compressor moves" in labels(arrow(dot, 2, 3))
    assert "4–5 flow: park line falls" in labels(arrow(dot, 3, 5))


def test_a_part_that_only_goes_to_and_fro_does_not() -> None:
    teller = Teller(layout(), "rolling", short_story().states[0])
    teller.step(StepKind.FLOW, Moved("tank_check", "shut", "open"))
    teller.fall("park_line", 68)
    teller.step(StepKind.FLOW, Moved("tank_check", "open", "shut"))
    dot = story_dot(layout(), teller.story(real=False))
    assert edges_meant(dot) == 1
    assert "1–4 flow: park line falls" in labels(arrow(dot, 0, 4))
    assert "tank check: to and fro in 1 and 4, shut again" in box(dot, 4)


def test_a_run_of_flow_ends_where_something_else_happens() -> None:
    """What a part did before an act is not weighed against what it does after."""
    teller = Teller(layout(), "rolling", short_story().states[0])
    teller.fall("park_line", 100)
    teller.step(StepKind.FLOW, Moved("tank_check", "shut", "open"))
    teller.step(StepKind.ACT, Turned("park_knob", "free", "pulled"))
    teller.step(StepKind.FLOW, Moved("tank_check", "open", "shut"))
    teller.fall("park_line", 68)
    dot = story_dot(layout(), teller.story(real=False))
    assert edges_meant(dot) == 5
    assert "tank check: shut → open" in box(dot, 2)
    assert "tank check: open → shut" in box(dot, 4)


def test_a_return_beyond_another_parts_move_is_told_by_itself() -> None:
    """The check's opening stands before the compressor's move and its closing after: neither is lost in a run of flow."""
    teller = Teller(layout(), "rolling", short_story().states[0])
    teller.step(StepKind.FLOW, Moved("tank_check", "shut", "open"))
    teller.step(StepKind.FLOW, Moved("compressor", "unloaded", "loaded"))
    teller.fall("park_line", 68)
    teller.step(StepKind.FLOW, Moved("tank_check", "open", "shut"))
    teller.fall("park_line", 45)
    dot = story_dot(layout(), teller.story(real=False))
    assert "1 flow: tank check moves" in labels(arrow(dot, 0, 1))
    assert "5 flow: tank check moves" in labels(arrow(dot, 4, 5))
    assert "tank check: open → shut" in box(dot, 5)


def test_a_vehicle_s_run_has_seconds_and_begins_with_what_matters_only() -> None:
    bands, timed = short_story(), replace(short_story(), seconds=(0.0, 0.25, 0.26, 1.5))
    told = story_dot(layout(), timed)
    assert "state 2, 0.26 s" in box(told, 2)
    assert "state 3, 1.50 s" in box(told, 3)
    assert "trailer" in box(story_dot(layout(), bands), 0)
    assert "trailer" not in box(told, 0)
    assert "park control" in box(told, 0)


@pytest.mark.parametrize(("moves", "words"), [(4, "to and fro in 1, 2, 3 and 4,"), (8, "to and fro 8 times,")])
def test_of_a_part_that_moves_very_often_the_number_of_moves_is_told(moves: int, words: str) -> None:
    teller = Teller(layout(), "rolling", short_story().states[0])
    for number in range(moves):
        ends = ("unloaded", "loaded") if number % 2 == 0 else ("loaded", "unloaded")
        teller.step(StepKind.FLOW, Moved("compressor", *ends))
    assert words in " ".join(box(story_dot(layout(), teller.story(real=False)), moves).split())
