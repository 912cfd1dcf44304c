"""A machine drawing shows every state with what is open in it, and every possible move with its reason."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import given, settings

from bandproof.model.arrangement import Arrangement, Move
from bandproof.model.conditions import Happened, Truth
from bandproof.views.graphviz import render_svg
from bandproof.views.machines import machine_dot, machines_svg
from bandproof.views.sheet import in_rows
from tests.strategies import arrangements
from tests.unit.views.svg import edges_drawn, edges_meant, labels, texts
from tests.unit.views.view_samples import arrangement


def test_states_say_what_is_open_and_moves_say_why() -> None:
    small = arrangement()
    text = labels(machine_dot(small, small.part("trailer_control")))
    assert "TRAILER CONTROL, push-pull valve supply: service tank, delivery: trailer supply line" in text
    assert "OUT delivery → open air" in text
    assert "PRESSED IN supply ↔ delivery" in text
    assert "trailer knob is pushed and park control is pressed in" in text
    assert "trailer knob is pulled or trailer knob is not pushed and service tank is below 34..42 psi (hold in)" in text


def test_a_closed_state_and_a_size_are_told() -> None:
    small = arrangement()
    text = labels(machine_dot(small, small.part("tank_check")))
    assert "SHUT all closed" in text
    assert "inlet → outlet C 1.2 dm³/(s bar), b 0.3" in text


def test_the_usual_first_state_has_a_thick_outline() -> None:
    small = arrangement()
    dot = machine_dot(small, small.part("trailer_hose"))
    thick = [row for row in dot.splitlines() if "penwidth=2.4" in row]
    assert len(thick) == 1
    assert "WHOLE" in thick[0]


def test_a_slow_part_says_so() -> None:
    small = arrangement()
    assert "(slow)" in machine_dot(small, small.part("compressor"))
    assert "(slow)" not in machine_dot(small, small.part("trailer_hose"))


def test_a_move_that_can_never_happen_is_not_drawn() -> None:
    small = arrangement()
    hose = small.part("trailer_hose")
    never = replace(hose, moves=(*hose.moves, Move("torn", "whole", Truth(value=False))))
    assert edges_meant(machine_dot(small, never)) == 1


def test_two_moves_between_the_same_states_share_an_arrow() -> None:
    small = arrangement()
    hose = small.part("trailer_hose")
    more = replace(hose, moves=(*hose.moves, Move("whole", "torn", Happened("rust"))))
    dot = machine_dot(small, more)
    assert edges_meant(dot) == 1
    assert "breakaway has happened or rust has happened" in labels(dot)


@pytest.mark.slow
@given(arrangements())
@settings(deadline=None, max_examples=20)
def test_no_arrow_is_lost(drawn: Arrangement) -> None:
    for part in drawn.parts:
        dot = machine_dot(drawn, part)
        assert edges_drawn(render_svg(dot)) == edges_meant(dot)


def test_the_sheet_shows_every_part_in_order_inside_the_page() -> None:
    small = arrangement()
    svg = machines_svg(small)
    seen = [text for text in texts(svg) if ", " in text and text.split(",")[0].isupper()]
    assert [text.split(",")[0].lower() for text in seen] == [part.name.replace("_", " ") for part in small.parts]
    assert float(re.search(r'<svg width="([0-9.]+)pt"', svg)[1]) <= 1050  # type: ignore[index]


def _picture(width: int, height: int) -> str:
    return f'<svg width="{width}pt" height="{height}pt" viewBox="0 0 {width} {height}"><g/></svg>\n'


def test_frames_of_a_sheet_never_overlap_and_keep_reading_order() -> None:
    svg = in_rows([_picture(60, 30), _picture(60, 50), _picture(200, 10), _picture(20, 20)], across=160)
    frames = [
        tuple(float(n) for n in found)
        for found in re.findall(r'<rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)"', svg)
    ]
    assert len(frames) == 4
    assert frames[0][1] == frames[1][1] < frames[2][1] < frames[3][1]
    for i, (x, y, w, h) in enumerate(frames):
        for other_x, other_y, other_w, other_h in frames[i + 1 :]:
            assert x + w <= other_x or other_x + other_w <= x or y + h <= other_y or other_y + other_h <= y


def test_an_empty_sheet_is_still_a_picture() -> None:
    assert in_rows([]).startswith("<svg")


def test_only_pictures_with_a_size_fit_a_sheet() -> None:
    with pytest.raises(ValueError, match="width and height"):
        in_rows(["<svg><g/></svg>"])
