"""The flow law of ISO 6358 in floats, for many passages of many vehicles at once, with its slopes.

Pressures are absolute, in pascals; C in dm3/(s bar). What is computed is the flow times the reference pressure p0:

    Q = C * p1 * psi(p2 / p1)    in Pa dm3/s, p1 > p2 in pascals, psi as in `bandproof.physics.iso6358`,

because an isothermal volume of V dm3 with the net flow q (dm3/s at the reference atmosphere of ISO 8778, 100 kPa and
20 degrees C) changes by dp/dt = p0 q / V = Q / V: with p in pascals and C per bar the factor 100,000 cancels.

For p2 > b p1 the law factors into Q = C / (1 - b) * sqrt(p1 - p2) * sqrt((1 - 2 b) p1 + p2). Taking the larger of p2 and
b p1 for p2 gives the choked branch by the same formula, so there is no case to tell apart.

The root of the pressure difference has an infinite slope at zero, which no integrator can follow. It is blurred:

    sqrt(d)  becomes  d / (d**2 + BLUR**2)**(1/4),

which is linear well below BLUR and the root well above: at d = 10 BLUR the flow is 0.25 % short, at 100 BLUR 0.0025 %. A
blurred passage carries the flow of the law at a difference that is larger by less than BLUR / 2, so a pressure that
stands against a flow is wrong by no more than that for each passage on the way; none is open or shut by it.

A one-way passage opens over LIFT: below that its flow is the law's times the smooth step t t (3 - 2 t), t = d / LIFT. A valve that
lifts from its seat does so too. Without it the flow bends where the pressures are equal, and that is where a tank that has been
filled through a check stands for minutes: steps of the integrator that could be seconds long were hundredths of a second. It
carries the flow of the law at a difference that is larger by less than LIFT, and lets nothing back.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Pascals. About the thousandth part of a psi: a tenth of what a good test gauge resolves, and large enough that the
#: slope of the flow (a 0.02 L line behind C = 2.7 follows within 0.02 ms) stays harmless in double precision.
BLUR = 10.0

#: Pascals. A one-way passage opens smoothly over this difference, as a valve lifts from its seat; from there on it carries what
#: the law says.
LIFT = 20.0

#: Pascals absolute. A trial pressure inside a step is not taken to be lower than this, so that no root is negative.
VACUUM = 1.0


def flows(c: Floats, b: Floats, one_way: NDArray[np.bool_], upstream: Floats, downstream: Floats) -> Floats:
    """The flow from upstream to downstream through each passage, Pa dm3/s; negative for flow back.

    All arrays have one shape (or broadcast): passages by vehicles. C is 0 where a passage is shut.
    """
    high = np.maximum(np.maximum(upstream, downstream), VACUUM)
    low = np.maximum(np.minimum(upstream, downstream), b * high)
    gap = high - low
    flow = c / (1 - b) * np.sqrt(((1 - 2 * b) * high + low) / np.sqrt(gap * gap + BLUR * BLUR)) * gap
    back = upstream < downstream
    lifted = np.minimum(gap / LIFT, 1.0)
    return np.where(
        back, np.where(one_way, 0.0, -flow), np.where(one_way, flow * lifted * lifted * (3 - 2 * lifted), flow)
    )


def flows_and_slopes(
    c: Floats, b: Floats, one_way: NDArray[np.bool_], upstream: Floats, downstream: Floats
) -> tuple[Floats, Floats, Floats]:
    """`flows`, and its derivatives by the upstream and by the downstream pressure, dm3/s."""
    back = upstream < downstream
    high = np.maximum(np.where(back, downstream, upstream), VACUUM)
    low = np.where(back, upstream, downstream)
    choked = low <= b * high
    low = np.where(choked, b * high, low)
    gap = high - low
    square = gap * gap + BLUR * BLUR
    root = np.sqrt(np.sqrt(square))
    rest = np.sqrt((1 - 2 * b) * high + low)
    scale = c / (1 - b)
    drawn = gap / root
    steep = scale * rest * (0.5 * gap * gap + BLUR * BLUR) / (square * root)
    gentle = scale * drawn * 0.5 / rest
    by_high = np.where(choked, c, steep + (1 - 2 * b) * gentle)
    by_low = np.where(choked, 0.0, gentle - steep)
    flow = scale * rest * drawn
    lifted = np.where(one_way, np.minimum(gap / LIFT, 1.0), 1.0)
    open_by = lifted * lifted * (3 - 2 * lifted)
    opening = flow * 6 * lifted * (1 - lifted) / LIFT
    by_high, by_low, flow = by_high * open_by + opening, by_low * open_by - opening, flow * open_by
    shut = back & one_way
    sign = np.where(shut, 0.0, np.where(back, -1.0, 1.0))
    by_up, by_down = np.where(back, by_low, by_high), np.where(back, by_high, by_low)
    return sign * flow, sign * by_up, sign * by_down
