"""A name and a description inside a picture, for readers of the screen and for whoever finds the file alone.

Roles and elements as in the W3C's SVG 2, section 5.8, and WAI-ARIA Graphics.
"""

from __future__ import annotations

import re
from html import escape

_OPENING = re.compile(r"<svg\b([^>]*)>")


def named(svg: str, title: str, told: str) -> str:
    """The picture with a title and with what it shows, `told`, as its first children."""
    inside = f"<title>{escape(title)}</title>\n<desc>{escape(told)}</desc>"
    return _OPENING.sub(lambda opening: f'<svg{opening[1]} role="img">\n{inside}', svg, count=1)
