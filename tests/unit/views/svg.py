"""Reading an SVG back, to ask what a person would see in it."""

from __future__ import annotations

import re
from html import unescape
from xml.etree import ElementTree as ET


def texts(svg: str) -> list[str]:
    """Every piece of text, in the order drawn; the SVG must be well formed."""
    root = ET.fromstring(svg)  # noqa: S314  (our own text)
    return [element.text or "" for element in root.iter() if element.tag.endswith("text")]


def edges_drawn(svg: str) -> int:
    """How many edges a rendered graph shows."""
    return svg.count('class="edge"')


def edges_meant(dot: str) -> int:
    """How many edges DOT text asks to see."""
    rows = [row for row in dot.splitlines() if re.match(r'\s*(?:\w+|"(?:[^"\\]|\\.)*")(?::\w+)* -> ', row)]
    return sum("style=invis" not in row for row in rows)


def labels(dot: str) -> str:
    """All label text of DOT, with line breaks and indents turned into single blanks."""
    return " ".join(re.sub(r"\\[nlr]", " ", unescape(dot)).replace("\\", "").split())
