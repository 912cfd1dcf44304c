"""The drawing of connections shows everything there is, and tells working air, sensing and mechanical links apart."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import given, settings

from bandproof.model.arrangement import Arrangement
from bandproof.views.connections import connections_dot
from bandproof.views.graphviz import render_svg
from bandproof.views.phrases import plain
from tests.strategies import arrangements
from tests.unit.views.svg import edges_drawn, edges_meant, texts
from tests.unit.views.view_samples import arrangement


def edge(dot: str, tail: str, head: str) -> str:
    """The attributes of the only edge between two things, ports left out."""
    pattern = rf'^\t"{re.escape(tail)}"(?::\w+)* -> "{re.escape(head)}"(?::\w+)* \[(.*)\]$'
    found = re.findall(pattern, dot, re.MULTILINE)
    assert len(found) == 1, found
    return str(found[0])


@pytest.fixture(scope="module")
def drawing() -> str:
    return connections_dot(arrangement())


def test_everything_of_the_arrangement_is_in_the_picture(drawing: str) -> None:
    seen = " ".join(texts(render_svg(drawing))).lower()
    small = arrangement()
    groups = (small.volumes, small.parts, small.controls, small.mishaps, small.settings)
    for name in (item.name for group in groups for item in group):
        assert plain(name) in seen
    for part in small.parts:
        assert part.kind in seen
        assert all(plain(port) in seen for port, _ in part.ports)
    assert "34..42 psi" in seen
    assert "up to 150 psi" in seen


def test_no_line_is_lost_on_the_way_to_the_picture(drawing: str) -> None:
    assert edges_drawn(render_svg(drawing)) == edges_meant(drawing) > 20


@pytest.mark.slow
@given(arrangements())
@settings(deadline=None, max_examples=25)
def test_no_arrangement_loses_a_line(drawn: Arrangement) -> None:
    dot = connections_dot(drawn)
    assert edges_drawn(render_svg(dot)) == edges_meant(dot)


def test_a_one_way_passage_has_an_arrow_and_a_two_way_one_has_none(drawing: str) -> None:
    assert "dir=forward" in edge(drawing, "volume compressor_line", "part tank_check")
    assert "dir=forward" in edge(drawing, "part tank_check", "volume service_tank")
    assert "dir=none" in edge(drawing, "volume service_tank", "part park_control")
    assert "dashed" not in edge(drawing, "volume service_tank", "part park_control")


def test_a_sensed_pressure_is_a_dashed_line_that_does_not_turn_the_picture_round(drawing: str) -> None:
    assert edge(drawing, "part compressor", "volume service_tank") == "dir=none style=dashed"


def test_a_way_to_the_open_air_ends_in_an_open_triangle(drawing: str) -> None:
    assert '"vent park_control" [label="" fixedsize=true height=0.2 shape=invtriangle' in drawing
    assert edge(drawing, "part park_control", "vent park_control")
    assert '"vent tank_check"' not in drawing


def test_knobs_and_links_are_double_lines_and_mishaps_dotted(drawing: str) -> None:
    assert edge(drawing, "control park_knob", "part park_control") == 'color="black:invis:black" dir=none'
    link = "link park_control trailer_control"
    assert edge(drawing, link, "part trailer_control") == 'color="black:invis:black" dir=forward'
    assert edge(drawing, link, "part park_control") == 'color="black:invis:black" dir=none'
    assert "style=dotted" in edge(drawing, "mishap breakaway", "part trailer_hose")


def test_a_port_that_nothing_uses_is_left_out() -> None:
    small = arrangement()
    first = small.parts[0]
    plugged = replace(first, ports=(*first.ports, ("spare_port", "park_line")))
    assert "spare port" not in connections_dot(replace(small, parts=(plugged, *small.parts[1:])))


def test_only_black_is_used(drawing: str) -> None:
    assert set(re.findall(r'color="?([^" ]*)', drawing)) == {"black", "white", "black:invis:black"}


def test_the_legend_can_be_left_out(drawing: str) -> None:
    assert "legend" in drawing
    assert "legend" not in connections_dot(arrangement(), legend=False)


def test_a_picture_of_ordinary_size_fits_a_page(drawing: str) -> None:
    found = re.search(r'width="([0-9.]+)pt"', render_svg(drawing))
    assert found is not None
    assert float(found[1]) <= 1050
