"""DOT text is built so that no name can break it, and lines break where a reader would break them."""

from __future__ import annotations

import re
from html import unescape

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandproof.views import dot
from bandproof.views.graphviz import render_svg

AWKWARD = st.text(st.sampled_from('ab<>{}|"\\&%'), min_size=1, max_size=8)


def shown(svg: str) -> list[str]:
    return [unescape(text) for text in re.findall(r"<text[^>]*>([^<]*)</text>", svg)]


@pytest.mark.slow
@given(AWKWARD)
@settings(deadline=None)
def test_any_text_arrives_unchanged_in_a_plain_label(text: str) -> None:
    drawing = dot.picture("g")
    drawing.node(dot.identifier("x", text), dot.label([text]))
    assert shown(render_svg(dot.text(drawing))) == [text]


@pytest.mark.slow
@given(AWKWARD)
@settings(deadline=None)
def test_any_text_arrives_unchanged_in_a_record_field(text: str) -> None:
    drawing = dot.picture("g")
    drawing.node(dot.identifier("x", text), dot.record([dot.field([text])]), shape="record")
    assert shown(render_svg(dot.text(drawing))) == [text]


def test_a_graph_may_be_called_anything() -> None:
    assert "<svg" in render_svg(dot.text(dot.picture('a "quoted" <b> name \\')))


def test_kinds_of_things_do_not_share_names() -> None:
    assert dot.identifier("part", "a") != dot.identifier("volume", "a")


@pytest.mark.parametrize(
    ("text", "width", "rows"),
    [
        ("", 10, [""]),
        ("below 34..42 psi", 14, ["below", "34..42 psi"]),
        ("delivery → open air", 12, ["delivery", "→ open air"]),
        ("is low (cut in)", 12, ["is low", "(cut in)"]),
        ("fill service tank 2", 17, ["fill service", "tank 2"]),
        ("at least 60 psi", 12, ["at least", "60 psi"]),
        ("averyveryverylongname", 5, ["averyveryverylongname"]),
    ],
)
def test_lines_break_between_phrases(text: str, width: int, rows: list[str]) -> None:
    assert dot.lines(text, width) == rows


def test_later_lines_can_be_indented() -> None:
    assert dot.lines("one two", 4, "  ") == ["one", "  two"]


@pytest.mark.parametrize("text", ["<b>", "<br/>x>", "node", ""])
def test_text_that_looks_like_markup_or_a_keyword_is_text(text: str) -> None:
    drawing = dot.picture("g")
    drawing.node("n", dot.label([text]))
    assert shown(render_svg(dot.text(drawing))) == [text] * bool(text)
