"""How exact the simulator is, and the numbers that make it so.

Stated error, shown in `tests/simulation`: the pressures of a run at a given time are right within STATED_PASCALS plus
STATED_SHARE of the absolute pressure, and the times of its events within STATED_SHARE plus the moving times of the parts, as long as
a vehicle's events are not so near one another that this error changes their order.
"""

from __future__ import annotations

#: The stated error: pascals, and share of an absolute pressure or a time.
STATED_PASCALS = 50.0
STATED_SHARE = 1e-3

#: Error allowed in one step: pascals, and share of the absolute pressure. 5 Pa are a tenth of what BLUR already blurs in
#: the worst case of a few passages in a row, and the share keeps times of filling within 0.1 % (measured: 0.02 %).
ATOL = 5.0
RTOL = 2e-5

#: How exactly an event is found: pascals past its threshold, or seconds.
EVENT_PASCALS = 1.0
EVENT_SECONDS = 1e-7

#: Seconds. A step is never shorter for its error's sake; one that would have to be is taken and counted as forced.
LEAST_STEP = 1e-8
#: Seconds. The first step; and no step after a change of passages is longer than what moves the pressure of some volume by
#: about CHANGE pascals.
FIRST_STEP = 1e-3
CHANGE = 2000.0

#: A part hunts once it has made more than HUNTING_MOVES moves in about HUNTING_MEMORY seconds. Its guards then hold only
#: HUNTING_PASCALS past their thresholds: a fiftieth of a psi, below what settings are known to.
HUNTING_MOVES = 12.0
HUNTING_MEMORY = 10.0
HUNTING_PASCALS = 100.0
#: Beyond HUNTING_MOVES in about RAPID_MEMORY seconds the moving time doubles with each further move, up to HUNTING_SECONDS.
RAPID_MEMORY = 1.0
HUNTING_SECONDS = 0.05

#: A vehicle has settled when for SETTLED_SECONDS no part has been due and every line and chamber has been within
#: SETTLED_PASCALS of where it would rest if the tanks kept their pressures.
SETTLED_SECONDS = 0.1
SETTLED_PASCALS = 100.0
