"""The symbols of the piping drawing, in the spirit of ISO 1219-1, turned so that air runs from left to right.

A symbol is drawn about a point of its own: where its body begins, left and top, in pixels.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from bandproof.views.svg import words_at

#: Pixels of the letters, of a row of them, and across a letter on the average.
LETTERS = 13
ROW = 14.0
ACROSS = 6.4

#: The way to the open air and its stub; the throttle's two bows; the head of an arrow.
_VENT = 7.0
STUB = 12.0


@dataclass(frozen=True, slots=True)
class Way:
    """A path inside a valve's position, from one place at its edge to another; `throttled` draws the two bows."""

    begins: tuple[float, float]
    ends: tuple[float, float]
    one_way: bool
    throttled: bool = False


def line(*points: tuple[float, float], wide: float = 1.4, dashed: bool = False, extra: str = "") -> str:
    """A line through points."""
    way = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    dashes = ' stroke-dasharray="5 3"' if dashed else ""
    return f'<polyline points="{way}" fill="none" stroke="black" stroke-width="{wide:g}"{dashes}{extra}/>'


def outline(*points: tuple[float, float], fill: str = "white", wide: float = 1.2) -> str:
    """A closed figure."""
    way = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    return f'<polygon points="{way}" fill="{fill}" stroke="black" stroke-width="{wide:g}"/>'


def box(x: float, y: float, wide: float, tall: float, *, round_ends: bool = False, pen: float = 1.4) -> str:
    """A rectangle, or a tank with round ends."""
    bend = f' rx="{min(wide, tall) / 2:.1f}"' if round_ends else ""
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{tall:.1f}"{bend} fill="white" stroke="black" '
        f'stroke-width="{pen:g}"/>'
    )


def circle(x: float, y: float, radius: float, *, fill: str = "white", wide: float = 1.4) -> str:
    """A circle about a point."""
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:g}" fill="{fill}" stroke="black" stroke-width="{wide:g}"/>'


def dot_at(x: float, y: float) -> str:
    """Where pipes are joined."""
    return circle(x, y, 2.6, fill="black", wide=0)


def row_of(x: float, y: float, rows: Sequence[str], *, anchor: str = "middle", bold: bool = False) -> Iterator[str]:
    """Rows of words, the first with its foot at `y`; a white edge keeps them readable where a line runs below them."""
    weight = ' font-weight="bold"' if bold else ""
    edge = ' stroke="white" stroke-width="3" stroke-linejoin="round" aria-hidden="true"'
    for style in (weight + edge, weight):
        for number, row in enumerate(rows):
            drawn = words_at(x, y + number * ROW, row, anchor=anchor, size=LETTERS)
            yield drawn.replace("<text ", f"<text{style} ", 1)


def mark(x: float, y: float, number: int) -> str:
    """The mark of a mishap: its number in a circle, the words of which stand at the foot of the drawing."""
    return f'<g class="mishap">{circle(x, y, 8, wide=1)}{words_at(x, y + 4.6, str(number), anchor="middle", size=LETTERS)}</g>'


def vent(x: float, y: float, *, left: bool) -> Iterator[str]:
    """A stub and the open triangle of a way to the open air, at the left or the right edge of a body."""
    way = -1 if left else 1
    tip = x + way * STUB
    yield line((x, y), (tip - way * _VENT, y))
    yield outline((tip, y), (tip - way * _VENT, y - 4.5), (tip - way * _VENT, y + 4.5))


def leak(x: float, y: float) -> Iterator[str]:
    """Where a wall can let air out."""
    yield line((x, y), (x + 15, y), dashed=True)
    yield outline((x + 26, y), (x + 15, y - 5.5), (x + 15, y + 5.5))


def source(x: float, y: float) -> str:
    """Where air comes from outside the drawing: a filled triangle at the left edge of a body."""
    return outline((x, y), (x - 8, y - 4.5), (x - 8, y + 4.5), fill="black")


def compressor(x: float, y: float, radius: float) -> Iterator[str]:
    """A circle with the triangle of a compressor, pointing the way of the air."""
    yield circle(x, y, radius)
    yield outline((x + radius, y), (x + radius - 12, y - 8), (x + radius - 12, y + 8))


def check(x: float, y: float, wide: float, *, turned: bool = False) -> Iterator[str]:
    """A ball that air lifts from its seat, from left to right, or the other way when `turned`."""
    middle = x + wide / 2
    way = -1 if turned else 1
    yield line((x, y), (x + wide, y))
    yield outline((middle - way * 9, y), (middle + way * 4, y - 9), (middle + way * 4, y + 9), wide=0)
    yield line((middle + way * 4, y - 9), (middle - way * 9, y), (middle + way * 4, y + 9))
    yield circle(middle + way * 2.5, y, 6)


def shuttle(x: float, y: float, wide: float, tall: float) -> Iterator[str]:
    """Two seats and the ball between them: the higher inlet is joined to the outlet."""
    middle = x + wide / 2
    yield box(x, y, wide, tall)
    for edge, way in ((y, 1), (y + tall, -1)):
        inlet = edge + way * 7
        yield line((x, inlet), (middle, inlet), (middle, inlet + way * 2))
        yield line((middle - 7, inlet + way * 9), (middle, inlet + way * 2), (middle + 7, inlet + way * 9))
    yield circle(middle, y + tall / 2, 5.5)
    yield line((middle + 5.5, y + tall / 2), (x + wide, y + tall / 2))


def hose(x: float, y: float, wide: float) -> Iterator[str]:
    """A line that bends, between the two points where it is held."""
    yield (
        f'<path d="M{x:.1f},{y:.1f} Q{x + wide / 2:.1f},{y + 18:.1f} {x + wide:.1f},{y:.1f}" fill="none" stroke="black" '
        'stroke-width="1.8"/>'
    )
    yield circle(x + 2.5, y, 3.2)
    yield circle(x + wide - 2.5, y, 3.2)


def cylinder(x: float, y: float, wide: float, tall: float) -> Iterator[str]:
    """A brake chamber that air holds against a spring."""
    piston = x + 10
    yield box(x, y, wide, tall)
    yield line((piston, y), (piston, y + tall), wide=2)
    yield line((piston, y + tall / 2), (x + wide + 8, y + tall / 2), wide=2)
    step = (wide - 10) / 6
    teeth = [(piston + step * n, y + tall / 2 + (0 if n in (0, 6) else 7 if n % 2 else -7)) for n in range(7)]
    yield line(*teeth, wide=1)


def knob(x: float, y: float) -> Iterator[str]:
    """A hand's or a foot's end of a valve: a stem upward from its upper edge, with a head."""
    yield line((x, y), (x, y - 7), wide=1.6)
    yield f'<path d="M{x - 8:.1f},{y - 7:.1f} a8,7 0 0 1 16,0 z" fill="white" stroke="black" stroke-width="1.4"/>'


def spring(x: float, y: float) -> str:
    """A spring on the upper edge of a valve."""
    return line(*((x + (0 if n in (0, 5) else 4 if n % 2 else -4), y - 2.6 * n) for n in range(6)), wide=1)


def pilot(x: float, y: float) -> str:
    """Where a pressure pushes at the lower edge of a valve."""
    return outline((x, y), (x - 5, y + 8), (x + 5, y + 8), wide=1)


def closed(x: float, y: float, *, left: bool) -> Iterator[str]:
    """A place at the edge of a valve's position that leads nowhere."""
    tip = x + (6 if left else -6)
    yield line((x, y), (tip, y), wide=1)
    yield line((tip, y - 3.5), (tip, y + 3.5), wide=1)


def way_through(way: Way) -> Iterator[str]:
    """A path in a valve's position, with the heads of its arrows."""
    (x1, y1), (x2, y2) = way.begins, way.ends
    if x1 == x2:
        inward = x1 + (11 if way.begins[0] < way.ends[0] + 1 else -11)
        points = [(x1, y1), (inward, y1), (inward, y2), (x2, y2)]
    else:
        points = [(x1, y1), (x2, y2)]
    yield line(*points, wide=1)
    yield _head(points[-2], points[-1])
    if not way.one_way:
        yield _head(points[1], points[0])
    if way.throttled:
        (xa, ya), (xb, yb) = points[0], points[-1]
        x, y = (xa + xb) / 2, (ya + yb) / 2
        for side in (-1, 1):
            yield (
                f'<path d="M{x - 6:.1f},{y + side * 7:.1f} Q{x:.1f},{y + side * 1.5:.1f} {x + 6:.1f},{y + side * 7:.1f}" '
                'fill="none" stroke="black" stroke-width="1"/>'
            )


def _head(before: tuple[float, float], tip: tuple[float, float]) -> str:
    """The head of an arrow that ends at `tip`."""
    dx, dy = tip[0] - before[0], tip[1] - before[1]
    length = (dx * dx + dy * dy) ** 0.5 or 1.0
    ux, uy = dx / length, dy / length
    base = (tip[0] - 6 * ux, tip[1] - 6 * uy)
    return outline(
        tip, (base[0] - 2.8 * uy, base[1] + 2.8 * ux), (base[0] + 2.8 * uy, base[1] - 2.8 * ux), fill="black", wide=0
    )
