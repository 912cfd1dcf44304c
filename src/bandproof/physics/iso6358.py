"""Bounds on the air flow through one passage by ISO 6358, in exact arithmetic, rounded outward.

With absolute pressures `p1 > p2` on the two sides of an open passage, air at reference temperature flows at

    q = C * p1 * psi(p2 / p1),    psi(r) = 1 for r <= b,    psi(r) = sqrt(1 - ((r - b) / (1 - b))**2) for r > b,

in dm3/s at the reference atmosphere (ISO 8778: 100 kPa, 20 degrees C), C in dm3/(s bar), pressures in bar. For r > b
the radicand factors, which is the form computed here:

    q**2 = C**2 * (p1 - p2) * ((1 - 2 b) * p1 + p2) / (1 - b)**2.

With `p1 < p2` a two-way passage carries the mirror image -q(p2, p1), a one-way passage nothing.

Why the corners of a box of pressures and sizes bound the flow on all of it:

- Down in `p2`, for p1 > p2: psi is constant up to r = b; above, (r - b) / (1 - b) grows from 0 to 1, so psi falls.
- Up in `p1`, for p1 > p2: choked, q = C * p1. Otherwise q**2 = C**2 * (p1**2 - s**2) with
  s = (p2 - b * p1) / (1 - b) >= 0, whose derivative by p1 is C**2 * (2 * p1 + 2 * b * s / (1 - b)) > 0. Both
  branches give C * p1 where they meet.
- Up in C: a factor. Up in b, for r < 1: (r - b) / (1 - b) = 1 - (1 - r) / (1 - b) falls as b grows, so psi grows;
  it reaches 1 at b = r and stays there.
- The mirrored branch is down in `p2` and up in `p1` for the same reasons, and both branches vanish at p1 = p2 only.
  So the signed flow is monotone in both pressures everywhere, while C and b scale its magnitude: a positive bound takes
  the large size to be largest and the small size to be smallest, a negative bound the other way round.

Limits: temperature at reference (isothermal), steady flow through the passage, no line friction beyond C and b.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import isqrt

from bandproof.model.arrangement import Range, Size

#: One bar in pascals.
BAR = Fraction(100_000)

#: Square roots are rounded outward to multiples of 1 / ROOT_DENOMINATOR dm3/s; a root too small for that grid is put
#: on a finer one, so that a lower bound of a flow that is not zero never becomes zero. 1e-12 dm3/s is far below any
#: flow that a size given in a model file can mean, and keeps the numbers short.
ROOT_DENOMINATOR = 10**12

#: How many different flows are remembered. A model of a hundred passages with a dozen bands on either side asks for
#: about thirty thousand; an entry takes well under a kilobyte.
_REMEMBERED = 1 << 17


@dataclass(frozen=True, slots=True)
class Bounds:
    """A flow lies in `[low, high]`, dm3/s at the reference atmosphere."""

    low: Fraction
    high: Fraction


@lru_cache(maxsize=_REMEMBERED)
def flow_bounds(size: Size, upstream: Range, downstream: Range, *, atmosphere: Fraction, one_way: bool) -> Bounds:
    """Bounds on the flow from upstream to downstream through one open passage, negative for flow back.

    They hold for every upstream and downstream pressure (pascals gauge) in the closed ranges and every size in
    `size`. A bound is zero, positive or negative exactly when the flow it bounds is. ValueError when `size` has a
    negative C or a b outside [0, 1), or when a pressure is below vacuum.
    """
    _check(size, upstream, downstream, atmosphere)
    return Bounds(
        low=_bound(size, upstream.low + atmosphere, downstream.high + atmosphere, one_way=one_way, up=False),
        high=_bound(size, upstream.high + atmosphere, downstream.low + atmosphere, one_way=one_way, up=True),
    )


def _check(size: Size, upstream: Range, downstream: Range, atmosphere: Fraction) -> None:
    if size.c.low < 0:
        message = f"C must not be negative, got {size.c.low}"
        raise ValueError(message)
    if not 0 <= size.b.low <= size.b.high < 1:
        message = f"b must lie in [0, 1), got {size.b.low}..{size.b.high}"
        raise ValueError(message)
    lowest = min(upstream.low, downstream.low)
    if lowest + atmosphere < 0:
        message = f"a pressure must not be below vacuum, got {lowest} Pa gauge"
        raise ValueError(message)


def _bound(size: Size, p_up: Fraction, p_down: Fraction, *, one_way: bool, up: bool) -> Fraction:
    """One corner of the box: the flow at these absolute pressures (pascals), rounded up or down."""
    if p_up > p_down:
        return _magnitude(size, p_up, p_down, large=up)
    if p_up == p_down or one_way:
        return Fraction(0)
    return -_magnitude(size, p_down, p_up, large=not up)


def _magnitude(size: Size, p1: Fraction, p2: Fraction, *, large: bool) -> Fraction:
    """Flow for p1 > p2 with the largest size rounded up, or with the smallest size rounded down."""
    c, b = (size.c.high, size.b.high) if large else (size.c.low, size.b.low)
    if p2 <= b * p1:
        return c * p1 / BAR
    scale = c / ((1 - b) * BAR)
    return _root(scale * scale * (p1 - p2) * ((1 - 2 * b) * p1 + p2), round_up=large)


def _root(square: Fraction, *, round_up: bool) -> Fraction:
    """Square root of `square` >= 0, rounded to a multiple of 1 / ROOT_DENOMINATOR or finer; zero only for zero."""
    if square == 0:
        return Fraction(0)
    grid = ROOT_DENOMINATOR
    while True:
        scaled, rest = divmod(square.numerator * grid * grid, square.denominator)
        root = isqrt(scaled)
        if root:
            exact = rest == 0 and root * root == scaled
            return Fraction(root if exact or not round_up else root + 1, grid)
        grid *= ROOT_DENOMINATOR
