"""The panel shows the pressures that change, tells them apart without colour, and names them at their ends."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings

from bandproof.machine.layout import Layout
from bandproof.machine.story import Story
from bandproof.views.pressures_plot import pressures_svg
from tests.unit.views.runs import runs
from tests.unit.views.svg import texts
from tests.unit.views.view_samples import Teller, breakaway_story, layout, short_story


def test_only_volumes_that_change_are_named_with_their_last_pressure() -> None:
    seen = texts(pressures_svg(layout(), breakaway_story()))
    assert "service tank 41 psi" in seen
    assert "trailer supply line 1.5 psi" in seen
    assert not any(text.startswith(("park line", "trailer tank")) for text in seen)


def test_lines_differ_in_dash_and_mark() -> None:
    svg = pressures_svg(layout(), breakaway_story())
    dashes = re.findall(r'h26" stroke="black" stroke-width="1.6"([^/]*)/>', svg)
    assert len(dashes) == 4
    assert len(set(dashes)) == 4


def test_no_colour_is_needed() -> None:
    colours = set(re.findall(r'(?:fill|stroke)="([^"]*)"', pressures_svg(layout(), breakaway_story())))
    assert colours <= {"black", "white", "none", "#bbbbbb", "#777777"}


def test_thresholds_are_ruled_with_the_names_of_their_settings() -> None:
    seen = texts(pressures_svg(layout(), breakaway_story()))
    assert "hold in 34" in seen
    assert "hold in 42" in seen
    assert "park hold, emergency 20" in seen


def test_names_that_do_not_fit_are_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bandproof.views.pressures_plot._RULE_WORDS", 18)
    assert "park hold + 1 more 20" in texts(pressures_svg(layout(), breakaway_story()))


def test_a_threshold_that_is_crossed_is_ruled_even_where_no_part_compares_it() -> None:
    assert "110" in texts(pressures_svg(layout(), short_story()))


def test_what_is_done_is_listed_under_its_step_number() -> None:
    seen = texts(pressures_svg(layout(), breakaway_story()))
    assert seen[seen.index("driver pushes the trailer knob") - 1] == "1"
    assert seen[seen.index("trailer control: out") - 1] == "37"


def test_without_real_pressures_a_line_ends_in_its_band() -> None:
    assert "park line 100–110 psi" in texts(pressures_svg(layout(), short_story()))


def test_many_volumes_share_out_over_panels_in_which_no_two_lines_look_alike() -> None:
    grid = layout()
    teller = Teller(grid, "rolling", short_story().states[0])
    for volume in grid.arrangement.volumes:
        teller.fall(volume.name, 68)
    svg = pressures_svg(grid, teller.story(real=False))
    assert texts(svg).count("state") == 2
    looks = re.findall(r'h26" stroke="black" stroke-width="1.6"([^/]*)/>', svg)
    assert len(looks) == 8
    assert len(set(looks[:4])) == len(set(looks[4:])) == 4
    shapes = re.findall(
        r'h26".*\n<(?:circle|rect|path) (?:[^>]*?)((?:r="|width="6"|[MLl][-\d. ]+|fill="\w+").*)/>', svg
    )
    marks = [re.sub(r"[-\d.]+ ?", "", shape) for shape in shapes]
    assert len(set(marks[:4])) == len(set(marks[4:])) == 4
    for volume in grid.arrangement.volumes:
        assert sum(text.startswith(volume.name.replace("_", " ")) for text in texts(svg)) == 1


def test_a_story_that_was_not_made_real_says_so() -> None:
    note = "middle of each band"
    assert any(note in text for text in texts(pressures_svg(layout(), short_story())))
    assert not any(note in text for text in texts(pressures_svg(layout(), breakaway_story())))


def test_a_story_in_which_nothing_changes_says_so() -> None:
    still = Story("rolling", short_story().states[:1], ())
    assert "no pressure changes" in texts(pressures_svg(layout(), still))


def test_a_title_replaces_the_usual_one() -> None:
    assert "my claim" in texts(pressures_svg(layout(), short_story(), title="my claim"))
    assert "Pressures, rolling" in texts(pressures_svg(layout(), short_story()))


@pytest.mark.slow
@given(runs())
@settings(deadline=None, max_examples=60)
def test_labels_at_the_ends_never_cover_one_another_and_points_stay_in_the_panel(run: tuple[Layout, Story]) -> None:
    svg = pressures_svg(*run)
    for anchor, size in (("start", "12"), ("end", "11")):
        rows = re.findall(rf'<text x="([\d.]+)" y="([-\d.]+)" font-size="{size}" text-anchor="{anchor}">', svg)
        places = [(float(x), float(y)) for x, y in rows]
        for i, (x, y) in enumerate(places):
            assert all(abs(y - other) > 13 for other_x, other in places[i + 1 :] if other_x == x)
    wide, tall = map(float, re.findall(r'viewBox="0 0 (\d+) (\d+)"', svg)[0])
    for x, y in re.findall(r'c[xy]?="([\d.]+)" cy="([\d.]+)"', svg):
        assert 0 <= float(x) <= wide
        assert 0 <= float(y) <= tall
