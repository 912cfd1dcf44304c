"""The piping drawing names all there is, knows its symbols by what a part does, and can be read on one page of A4.

The symbols follow the idea of ISO 1219-1 (from memory): positions of a valve side by side, a circle with a triangle for a
compressor, a ball on a seat for a check valve, an open triangle for a way to the open air, dashes for a pilot line.
"""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given, settings

from bandproof.model.arrangement import Arrangement, VolumeKind
from bandproof.model.loader import load_arrangement
from bandproof.views.phrases import plain
from bandproof.views.piping_plan import piping_svg
from bandproof.views.plan_symbols import Way, way_through
from tests.strategies import arrangements

ROOT = Path(__file__).parents[3]
BASE = ROOT / "models" / "two_knob_tractor.toml"
SHIPPED = [BASE, *sorted((ROOT / "models" / "twins").glob("*.toml"))]
SVG = "{http://www.w3.org/2000/svg}"

#: What a printer leaves of A4 across and down, in millimetres, with edges of 5 mm; a point in millimetres.
_ACROSS, _DOWN = 287.0, 200.0
_POINT = 25.4 / 72


def words(svg: str) -> str:
    root = ET.fromstring(svg)  # noqa: S314  (our own)
    return " ".join("".join(text.itertext()) for text in root.iter(f"{SVG}text") if not text.get("aria-hidden"))


def size(svg: str) -> tuple[float, float]:
    root = ET.fromstring(svg)  # noqa: S314  (our own)
    return float(root.get("width", "0")), float(root.get("height", "0"))


@pytest.fixture(scope="module")
def base() -> str:
    return piping_svg(load_arrangement(BASE))


@given(arrangements())
@settings(deadline=None, max_examples=25)
def test_every_volume_part_control_and_mishap_is_named(drawn: Arrangement) -> None:
    seen = words(piping_svg(drawn)).lower()
    groups = (drawn.volumes, drawn.parts, drawn.controls)
    told = [item.name for group in groups for item in group]
    for name in told:
        assert all(word in seen for word in plain(name).split()), name
    assert all(f"({n})" in seen for n, _ in enumerate(drawn.mishaps, start=1))


@given(arrangements())
@settings(deadline=None, max_examples=25)
def test_nothing_is_drawn_beyond_the_page(drawn: Arrangement) -> None:
    svg = piping_svg(drawn)
    wide, tall = size(svg)
    for points in re.findall(r'points="([^"]*)"', svg):
        for x, y in (map(float, pair.split(",")) for pair in points.split()):
            assert 0 <= x <= wide
            assert 0 <= y <= tall
    for x, y in re.findall(r'<text[^>]* x="([-0-9.]+)" y="([-0-9.]+)"', svg):
        assert 0 <= float(x) <= wide
        assert 0 < float(y) <= tall


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_shipped_arrangement_is_readable_on_one_page_of_a4(path: Path) -> None:
    svg = piping_svg(load_arrangement(path))
    wide, tall = size(svg)
    scale = min(_ACROSS / wide, _DOWN / tall)
    smallest = min(map(float, re.findall(r'font-size="([0-9.]+)"', svg)))
    assert smallest * scale / _POINT >= 8


def test_tractor_and_trailer_are_framed_and_the_hoses_stand_between(base: str) -> None:
    frames = re.findall(r'<rect class="vehicle" x="([0-9.]+)" y="[0-9.]+" width="([0-9.]+)"', base)
    (left, wide), (right, _) = ((float(x), float(w)) for x, w in frames)
    assert "TOWING VEHICLE" in words(base)
    assert "TRAILER" in words(base)
    hoses = [float(x) for x in re.findall(r'<path d="M([0-9.]+),[0-9.]+ Q', base)]
    assert len([x for x in hoses if left + wide <= x <= right]) == 2


def test_air_goes_from_left_to_right(base: str) -> None:
    order = [
        "compressor",
        "wet tank",
        "double check",
        "trailer control",
        "pilot stage",
        "trailer check",
        "trailer tank",
    ]
    at = [_place(base, name) for name in order]
    assert at == sorted(at)


def test_a_valve_has_a_square_for_each_way_it_can_stand(base: str) -> None:
    part = next(group for group in _groups(base, "part") if "pilot stage" in words_of(group))
    assert len(part.findall(f"{SVG}rect")) == 3  # venting, opening, passing
    seen = [text.text for text in part.iter(f"{SVG}text") if not text.get("aria-hidden")]
    assert [word for word in seen if word in {"a", "b", "c"}] == ["a", "b", "c"]
    control = next(group for group in _groups(base, "part") if "park control" in words_of(group))
    assert len(control.findall(f"{SVG}rect")) == 2  # out; pressed and in let the same air through


def _drawn_as(svg: str, name: str) -> ET.Element:
    return next(group for group in _groups(svg, "part") if name in words_of(group))


def test_a_double_check_is_a_ball_between_two_seats(base: str) -> None:
    drawn = _drawn_as(base, "double check")
    assert (len(drawn.findall(f"{SVG}rect")), len(drawn.findall(f"{SVG}circle"))) == (1, 1)


def test_a_way_that_is_narrow_for_a_while_has_two_bows(base: str) -> None:
    bows = [path for path in _drawn_as(base, "pilot stage").findall(f"{SVG}path") if " Q" in path.get("d", "")]
    assert len(bows) == 2  # in the position in which it opens
    assert not [path for path in _drawn_as(base, "foot valve").findall(f"{SVG}path") if " Q" in path.get("d", "")]


def test_a_part_that_senses_its_own_outlet_has_a_dashed_way_to_it(base: str) -> None:
    def dashed(name: str) -> int:
        return sum(bool(line.get("stroke-dasharray")) for line in _drawn_as(base, name).findall(f"{SVG}polyline"))

    assert (dashed("park control"), dashed("foot valve")) == (1, 0)


@pytest.mark.parametrize(("one_way", "heads"), [(True, 1), (False, 2)])
def test_a_way_has_an_arrow_wherever_air_may_go(one_way: bool, heads: int) -> None:
    assert sum("<polygon" in piece for piece in way_through(Way((0, 0), (30, 10), one_way))) == heads


def test_a_wall_that_can_leak_is_no_valve() -> None:
    rig = load_arrangement(ROOT / "tests" / "published" / "arrangements" / "supply_retention.toml")
    drawn = _drawn_as(piping_svg(rig), "supply line wall")
    assert not drawn.findall(f"{SVG}rect")
    assert drawn.findall(f"{SVG}polygon")
    assert drawn.findall(f"{SVG}g")  # its mishap's mark


def test_mishaps_are_marks_where_they_act(base: str) -> None:
    marked = {
        words_of(group): [
            mark.findtext(f"{SVG}text") for mark in group.iter(f"{SVG}g") if mark.get("class") == "mishap"
        ]
        for kind in ("part", "tank")
        for group in _groups(base, kind)
    }
    assert next(marks for name, marks in marked.items() if "supply hose" in name) == ["5", "6", "7"]
    assert next(marks for name, marks in marked.items() if "wet tank" in name) == ["2"]
    assert next(marks for name, marks in marked.items() if "pilot stage" in name) == []
    assert "(7) the trailer breaks away: both hoses part" in words(base)


def test_what_is_left_out_and_the_sizes_are_said(base: str) -> None:
    seen = words(base)
    assert "LEFT OUT: the service brake chambers" in seen
    assert "C 0.36..0.44" in seen
    assert "trailer delivery 0.02..0.05 L" in seen


def test_every_tank_has_round_ends(base: str) -> None:
    tanks = sum(volume.kind is VolumeKind.TANK for volume in load_arrangement(BASE).volumes)
    assert len(_groups(base, "tank")) == tanks
    assert all(group.find(f"{SVG}rect").get("rx") for group in _groups(base, "tank"))  # type: ignore[union-attr]


def _groups(svg: str, kind: str) -> list[ET.Element]:
    root = ET.fromstring(svg)  # noqa: S314  (our own)
    return [group for group in root.iter(f"{SVG}g") if group.get("class") == kind]


def words_of(group: ET.Element) -> str:
    return " ".join("".join(t.itertext()) for t in group.findall(f"{SVG}text") if not t.get("aria-hidden"))


def _place(svg: str, name: str) -> float:
    for kind in ("part", "tank"):
        for group in _groups(svg, kind):
            if name in words_of(group):
                return float(group.findall(f"{SVG}text")[-1].get("x", "nan"))
    raise AssertionError(name)
