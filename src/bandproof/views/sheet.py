"""Several finished SVG pictures on one sheet, in columns, without redrawing them."""

from __future__ import annotations

import re
from collections.abc import Sequence

_OPENING = re.compile(r'<svg width="([0-9.]+)pt" height="([0-9.]+)pt"')

#: Points between pictures, and inside each frame.
_GAP = 14.0
_INSET = 4.0


def in_columns(pictures: Sequence[str], columns: int) -> str:
    """One SVG that shows `pictures` in reading order, `columns` in a row, each in a thin frame of its row's height.

    The pictures must be SVG as `render_svg` gives it, with width and height in points.
    """
    sizes = [_size(picture) for picture in pictures]
    wide = max((width for width, _ in sizes), default=0.0) + 2 * _INSET
    body: list[str] = []
    top = _GAP
    for first in range(0, len(pictures), columns):
        tall = max(height for _, height in sizes[first : first + columns]) + 2 * _INSET
        for place, picture in enumerate(pictures[first : first + columns]):
            left = _GAP + place * (wide + _GAP)
            body.append(
                f'<rect x="{left:g}" y="{top:g}" width="{wide:g}" height="{tall:g}" fill="none" stroke="#888888"/>'
            )
            width, height = sizes[first + place]
            opening = f'<svg x="{left + _INSET:g}" y="{top + _INSET:g}" width="{width:g}" height="{height:g}"'
            body.append(_OPENING.sub(opening, picture.strip(), count=1))
        top += tall + _GAP
    across = _GAP + min(columns, max(len(pictures), 1)) * (wide + _GAP)
    head = (
        f'<svg width="{across:g}pt" height="{top:g}pt" viewBox="0 0 {across:g} {top:g}" '
        'xmlns="http://www.w3.org/2000/svg">'
    )
    return "\n".join([head, '<rect width="100%" height="100%" fill="white"/>', *body, "</svg>"]) + "\n"


def _size(picture: str) -> tuple[float, float]:
    found = _OPENING.search(picture)
    if found is None:
        message = "a picture for a sheet must open with its width and height in points"
        raise ValueError(message)
    return float(found[1]), float(found[2])
