"""How exact the simulator is, and the numbers that make it so.

Stated error, shown in `tests/simulation`: the times of events and acts are right within STATED_SECONDS plus STATED_SHARE of the
time, and pressures within STATED_PASCALS plus STATED_SHARE of the absolute pressure, besides what an error of the time makes
of them where they change. This holds as long as no two events are so near each other that the error changes their order.
"""

from __future__ import annotations

#: The stated error: pascals, seconds, and share of an absolute pressure or a time.
STATED_PASCALS = 50.0
STATED_SECONDS = 1e-4
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

#: A part hunts once it has made more than HUNTING_MOVES moves to and fro at one pressure in about HUNTING_MEMORY seconds. Its
#: guards then hold only HUNTING_PASCALS past their thresholds: a fourteenth of a psi, below what settings are known to and
#: what a shuttle needs to move over. That much a pressure held by a hunting part may be wrong.
#: At one pressure means that within RAPID_MEMORY seconds it moves on where, just after its last move, no more than twice that
#: was missing; or that its move came due within QUICK moving times of its last.
HUNTING_MOVES = 12.0
HUNTING_MEMORY = 10.0
HUNTING_PASCALS = 500.0
QUICK = 2.0
#: The play in a search, where thousands of vehicles are run: a shuttle between two tanks that fill together makes a quarter of the
#: moves. What is found is run again with HUNTING_PASCALS.
SEARCH_PASCALS = 2000.0
#: Beyond HUNTING_MOVES moves of the latter sort in about RAPID_MEMORY seconds the moving time doubles with each further one, up to
#: HUNTING_SECONDS. A line that such a part fills and empties swings by what the air does in that time.
RAPID_MEMORY = 1.0
HUNTING_SECONDS = 0.01

#: A vehicle has settled when no part is due and every line and chamber is within SETTLED_PASCALS of where it would rest if the
#: tanks kept their pressures; where parts hunt, within their play of that.
SETTLED_PASCALS = 100.0

#: Hands that wait act once it has looked so for SETTLED_SECONDS, to somebody who sees no less than CALM_PASCALS: a chamber that
#: follows a tank which the compressor fills lags by some 150 Pa. Where parts hunt some lines go up and down with them for ever:
#: there hands also act once, since nobody acted and nothing but such parts moved, CALM_SECONDS have passed and every line and
#: chamber has been at rest or on both sides of it. One that has only risen, or only fallen, is still on its way.
SETTLED_SECONDS = 0.1
CALM_PASCALS = 500.0
CALM_SECONDS = 1.0
