"""Several finished SVG pictures on one sheet, row by row, without redrawing them."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

_OPENING = re.compile(r'<svg width="([0-9.]+)pt" height="([0-9.]+)pt"')

#: Points across a sheet (1400 pixels), between pictures, and inside each frame.
_ACROSS = 1050.0
_GAP = 10.0
_INSET = 2.0


def in_rows(pictures: Sequence[str], *, across: float = _ACROSS) -> str:
    """One SVG that shows `pictures` in reading order, as many in a row as fit `across` points, each in a thin frame.

    The pictures must be SVG as `render_svg` gives it, with width and height in points.
    """
    frames = [(width + 2 * _INSET, height + 2 * _INSET) for width, height in map(_size, pictures)]
    body: list[str] = []
    top, right = _GAP, 0.0
    for row in _rows([width for width, _ in frames], across):
        left = _GAP
        tall = max(frames[index][1] for index in row)
        for index in row:
            width, height = frames[index]
            body.append(
                f'<rect x="{left:g}" y="{top:g}" width="{width:g}" height="{tall:g}" fill="none" stroke="#888888"/>'
            )
            opening = (
                f'<svg x="{left + _INSET:g}" y="{top + _INSET:g}" '
                f'width="{width - 2 * _INSET:g}" height="{height - 2 * _INSET:g}"'
            )
            body.append(_OPENING.sub(opening, pictures[index].strip(), count=1))
            left += width + _GAP
        top += tall + _GAP
        right = max(right, left)
    head = f'<svg width="{right:g}pt" height="{top:g}pt" viewBox="0 0 {right:g} {top:g}" xmlns="http://www.w3.org/2000/svg">'
    return "\n".join([head, '<rect width="100%" height="100%" fill="white"/>', *body, "</svg>"]) + "\n"


def _rows(widths: list[float], across: float) -> Iterator[list[int]]:
    """Indices of the pictures of each row; a picture wider than the sheet has a row to itself."""
    row: list[int] = []
    used = _GAP
    for index, width in enumerate(widths):
        if row and used + width + _GAP > across:
            yield row
            row, used = [], _GAP
        row.append(index)
        used += width + _GAP
    if row:
        yield row


def _size(picture: str) -> tuple[float, float]:
    found = _OPENING.search(picture)
    if found is None:
        message = "a picture for a sheet must open with its width and height in points"
        raise ValueError(message)
    return float(found[1]), float(found[2])
