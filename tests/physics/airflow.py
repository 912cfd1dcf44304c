"""The flow law and the differential equation of joined volumes, in floats; absolute pressures in bar.

Written from ISO 6358 and independently of `bandproof.physics`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import sqrt

import numpy as np
from numpy.typing import NDArray

#: Bar. Below about this difference the flow is linear in it, since the root of the law has an infinite slope at zero.
ROOT_BLUR = 1e-7

Vector = NDArray[np.float64]
Rates = Callable[[float, Vector], Vector]
Slopes = Callable[[float, Vector], Vector]
#: An open passage: the numbers of its ends, C, b, and whether it is one-way.
Way = tuple[int, int, float, float, bool]


def flow(c: float, b: float, p1: float, p2: float) -> tuple[float, float, float]:
    """Flow from p1 to p2 by ISO 6358, dm3/s at the reference atmosphere, and its slopes by p1 and by p2."""
    if p1 < p2:
        q, by_p2, by_p1 = flow(c, b, p2, p1)
        return -q, -by_p1, -by_p2
    if p2 <= b * p1:
        return c * p1, c, 0.0
    gap = p1 - p2
    square = gap * gap + ROOT_BLUR * ROOT_BLUR
    blurred = sqrt(sqrt(square))
    root, slope = gap / blurred, (square - gap * gap / 2) / (square * blurred)
    rest, scale = sqrt((1 - 2 * b) * p1 + p2), c / (1 - b)
    return (
        scale * root * rest,
        scale * (slope * rest + root * (1 - 2 * b) / (2 * rest)),
        scale * (root / (2 * rest) - slope * rest),
    )


def equations(ways: Sequence[Way], litres: Sequence[float], ends: Sequence[float]) -> tuple[Rates, Slopes]:
    """Right-hand side of the differential equation, and its Jacobian.

    Volumes are numbered from zero; after them come ends of constant pressure, `ends`.
    """
    count = len(litres)
    per_litre = 1 / np.array(litres)

    def rates(_time: float, y: Vector) -> Vector:
        p = [*y.tolist(), *ends]
        net = [0.0] * len(p)
        for u, v, c, b, one_way in ways:
            if one_way and p[u] <= p[v]:
                continue
            q, _, _ = flow(c, b, p[u], p[v])
            net[u] -= q
            net[v] += q
        return per_litre * net[:count]

    def slopes(_time: float, y: Vector) -> Vector:
        p = [*y.tolist(), *ends]
        net = np.zeros((len(p), len(p)))
        for u, v, c, b, one_way in ways:
            if one_way and p[u] <= p[v]:
                continue
            _, by_u, by_v = flow(c, b, p[u], p[v])
            net[u, u] -= by_u
            net[u, v] -= by_v
            net[v, u] += by_u
            net[v, v] += by_v
        return per_litre[:, None] * net[:count, :count]

    return rates, slopes
