"""The continuous model an arrangement stands for: pressures by differential equations, parts that move at once.

Each volume is isothermal, so with q the net flow into it in dm3/s at the reference atmosphere and V in dm3

    m = p V / (R T0)  and  dm/dt = rho0 q  give  dp/dt = (rho0 R T0 / V) q = (1 bar / V) q,

since rho0 R T0 = 100 kPa at the reference atmosphere (ISO 8778). Pressures in here are absolute and in bar. The flow
law is ISO 6358, written independently of `bandproof.physics` (see `airflow`). SciPy's BDF integrates between events
(the equations are stiff: lines follow tanks, and equalising volumes stop abruptly), and starts afresh where a one-way
passage stops carrying air (see `valves`).

Three things are blurred, each by less than a tenth of a pascal, which is far below the gap between any two thresholds:

- the root in the flow law is made linear below ROOT_BLUR, since its slope at equal pressures is infinite;
- a pressure that has risen through a mark counts as below it again only HYSTERESIS under it, so that two volumes
  resting at the same pressure do not cross marks on rounding noise; a comparison of two volumes has the same play;
- two volumes in different bands are compared by their bands, so that a comparison never contradicts the crossings.

A part that is due takes its switching time, or less: before a volume crosses a mark and before anybody acts, all parts
that are due move, one round after another, until none is due. Where the rounds come to no end, because moves stay due
round a circle at the present pressures, the crossing or the deed comes all the same.

A run also stops early, with what happened so far, when a part chatters (moves to and fro faster than can be resolved)
or when the number of happenings, or of steps without one, reaches a limit.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import deque
from collections.abc import Callable
from fractions import Fraction
from functools import partial

import numpy as np
from scipy.integrate import BDF, Radau
from scipy.optimize import brentq

from bandproof.machine.layout import Layout
from bandproof.machine.story import Crossed, Event, Moved, Occurred, State, Turned
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Part
from bandproof.model.conditions import (
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Condition,
    Happened,
    InPosition,
    InState,
    Lower,
    Not,
    Truth,
)
from bandproof.model.walker import leaves

from .airflow import Rates, Slopes, Vector, Way, equations
from .trajectory import PASCALS_PER_BAR, Begin, Deed, Happening, Numbers, Trajectory
from .valves import Valves

#: Bar. Play of every comparison.
HYSTERESIS = 5e-7
#: The integrator's tolerances, absolute in bar: at ten bar their sum has to stay well inside the play.
ABSOLUTE_TOLERANCE = 1e-9
RELATIVE_TOLERANCE = 1e-9
#: Dm3/s: a volume whose net flow is smaller is still; when all are, nothing more happens until the next deed.
STILL = 1e-6
#: Steps after which BDF is given up for Radau, which is slower but does not circle about the onset of a one-way flow.
PATIENCE = 400
#: Steps after which a run ends where it is.
GIVE_UP = 4000
#: A part that makes this many moves within CHATTER_TIME seconds chatters.
CHATTER_MOVES = 10
CHATTER_TIME = 1e-2

Dense = Callable[[float], Vector]


def simulate(
    layout: Layout, numbers: Numbers, begin: Begin, script: tuple[Deed, ...] = (), *, until: float, limit: int = 150
) -> Trajectory:
    """The run of the continuous model from `begin` under `script`, up to the time `until`."""
    return _Run(layout, numbers, begin).run(sorted(script, key=lambda deed: deed.time), until, limit)


class _Run:
    """One run in progress."""

    def __init__(self, layout: Layout, numbers: Numbers, begin: Begin) -> None:
        arrangement = layout.arrangement
        self.layout = layout
        self.numbers = numbers
        self.arrangement = arrangement
        self.names = [v.name for v in arrangement.volumes]
        self.index = {name: i for i, name in enumerate([*self.names, ATMOSPHERE, SOURCE])}
        self.atmosphere = float(arrangement.atmosphere / PASCALS_PER_BAR)
        self.source = self._absolute(arrangement.highest)
        self.litres = [numbers.litres[name] for name in self.names]
        self.quick = [i for i, v in enumerate(arrangement.volumes) if v.kind != "tank"]
        self.parts = {p.name: begin.parts.get(p.name, p.states[0]) for p in arrangement.parts}
        self.controls = {c.name: begin.controls.get(c.name, c.positions[0]) for c in arrangement.controls}
        self.mishaps: set[str] = set()
        self.due: dict[str, float] = {}
        self.recent: dict[str, deque[float]] = {p.name: deque(maxlen=CHATTER_MOVES) for p in arrangement.parts}
        self.happenings: list[Happening] = []
        self.time = 0.0
        self.stuck = False
        #: Moves stay due round a circle at the present pressures, and all parts have had their turns.
        self.endless = False
        self.hunted = 0
        self._set_marks(begin)
        self.pairs = sorted(
            {
                (a.volume, a.other)
                for p in arrangement.parts
                for m in p.moves
                for a in leaves(m.when)
                if isinstance(a, Lower)
            }
        )
        gauge = [begin.pressures.get(name, Fraction(0)) for name in self.names]
        self.y: Vector = np.array([self._absolute(p) for p in gauge])
        self.lower = dict(zip(self.pairs, self._lower_now(self.y, dict.fromkeys(self.pairs, False)), strict=True))

    def _absolute(self, gauge: Fraction) -> float:
        return float((gauge + self.arrangement.atmosphere) / PASCALS_PER_BAR)

    def _set_marks(self, begin: Begin) -> None:
        """Marks of a volume: its thresholds and the concrete settings compared at it; `level` counts those reached."""
        highest = self.arrangement.highest
        marks = {name: set(self.layout.thresholds[name]) for name in self.names}
        for part in self.arrangement.parts:
            for move in part.moves:
                for atom in leaves(move.when):
                    if isinstance(atom, Below | AtLeast) and 0 < self._threshold(atom, part.name) < highest:
                        marks[atom.volume].add(self._threshold(atom, part.name))
        self.marks = {name: sorted(found) for name, found in marks.items()}
        self.heights = {name: [self._absolute(m) for m in found] for name, found in self.marks.items()}
        self.level = {
            name: bisect_right(self.marks[name], begin.pressures.get(name, Fraction(0))) for name in self.names
        }

    def _threshold(self, atom: Below | AtLeast, part: str) -> Fraction:
        if atom.setting is not None:
            return self.numbers.own.get((part, atom.setting), self.numbers.settings[atom.setting])
        return (atom.low + atom.high) / 2

    # ------------------------------------------------------------------------------------------------ conditions

    def _reached(self, atom: Below | AtLeast, part: str) -> bool:
        threshold = self._threshold(atom, part)
        if threshold <= 0:
            return True
        if threshold >= self.arrangement.highest:
            return False
        return self.level[atom.volume] > self.marks[atom.volume].index(threshold)

    def _holds(self, condition: Condition, of: str) -> bool:
        """A guard of the part `of` holds."""
        match condition:
            case Truth(value):
                return value
            case Below():
                return not self._reached(condition, of)
            case AtLeast():
                return self._reached(condition, of)
            case Lower(volume, other):
                return self.lower[volume, other]
            case InState(part, states):
                return self.parts[part] in states
            case InPosition(control, positions):
                return self.controls[control] in positions
            case Happened(mishap):
                return mishap in self.mishaps
            case Not(item):
                return not self._holds(item, of)
            case AllOf(items):
                return all(self._holds(item, of) for item in items)
            case AnyOf(items):
                return any(self._holds(item, of) for item in items)
        message = f"no file says {condition}"
        raise TypeError(message)

    def _band(self, name: str) -> int:
        level = self.level[name]
        return self.layout.band_at(name, self.marks[name][level - 1]) if level else 0

    def _lower_now(self, y: Vector, before: dict[tuple[str, str], bool]) -> list[bool]:
        found = []
        for one, other in self.pairs:
            low, high = self._band(one), self._band(other)
            gap = y[self.index[other]] - y[self.index[one]]
            found.append(low < high or (low == high and gap > (0.0 if before[one, other] else HYSTERESIS)))
        return found

    # ------------------------------------------------------------------------------------------------------ flow

    def _ways(self) -> list[Way]:
        """The passages open as the parts stand."""
        ways = []
        for part in self.arrangement.parts:
            for k, passage in enumerate(part.passages):
                if self.parts[part.name] in passage.open_in:
                    ends = self.index[passage.upstream], self.index[passage.downstream]
                    ways.append((*ends, *self.numbers.sizes[part.name, k], passage.one_way))
        return ways

    def _rates(self) -> tuple[Rates, Slopes]:
        """The differential equation for the parts as they stand."""
        return equations(self._ways(), self.litres, [self.atmosphere, self.source])

    def _quiet(self) -> list[bool]:
        """Which volumes are still."""
        quiet: list[bool] = (np.abs(self._rates()[0](self.time, self.y)) * self.litres < STILL).tolist()
        return quiet

    def _still(self) -> tuple[bool, bool]:
        """Whether every line and chamber is still, and whether every volume is; neither while a slow part is due."""
        quiet = [still and not self.due for still in self._quiet()]
        return all(quiet[i] for i in self.quick) and not self.due, all(quiet)

    def _crossings(self, y: Vector) -> list[tuple[str, int]]:
        """Volumes past one of the two marks around them, with +1 for up and -1 for down."""
        found = []
        for i, name in enumerate(self.names):
            level, heights = self.level[name], self.heights[name]
            if level < len(heights) and y[i] >= heights[level]:
                found.append((name, 1))
            elif level and y[i] < heights[level - 1] - HYSTERESIS:
                found.append((name, -1))
        return found

    def _excess(self, name: str, way: int, y: Vector) -> float:
        """How far a volume is past the mark above it (way 1) or below it (way -1); positive once past."""
        level, heights = self.level[name], self.heights[name]
        mark = heights[level] if way > 0 else heights[level - 1] - HYSTERESIS
        return float(way * (y[self.index[name]] - mark))

    def _lead(self, pair: tuple[str, str], way: int, y: Vector) -> float:
        """How far (way 1) the second of a pair is above the first, less the play there is before that counts."""
        play = 0.0 if self.lower[pair] else HYSTERESIS
        return float(way * (y[self.index[pair[1]]] - y[self.index[pair[0]]] - play))

    def _advance(self, stop: float) -> bool:
        """Integrate to `stop`, or to the first instant at which a crossing or a comparison changes: then true."""
        if all(self._quiet()):
            return False
        rates, slopes = self._rates()
        tolerances = {"rtol": RELATIVE_TOLERANCE, "atol": ABSOLUTE_TOLERANCE, "jac": slopes}
        solver: BDF | Radau = BDF(rates, self.time, self.y, stop, **tolerances)
        valves = Valves(self._ways(), [self.atmosphere, self.source], self.y)
        steps = 0
        while solver.status == "running":
            # BDF subtracts from memory it has not filled yet, and never reads the outcome: harmless, but a warning.
            with np.errstate(over="ignore", invalid="ignore"):
                solver.step()
            steps += 1
            if solver.status == "failed" or steps == PATIENCE:
                solver = Radau(rates, self.time, self.y, stop, **tolerances)
                valves.restart(self.y)
                continue
            crossings = self._crossings(solver.y)
            flipped = self._lower_now(solver.y, self.lower) != list(self.lower.values())
            if crossings or flipped or valves.stopped(solver.y):
                if self._locate(solver, crossings, valves):
                    return True
                solver = (BDF if steps < PATIENCE else Radau)(rates, self.time, self.y, stop, **tolerances)
                valves.restart(self.y)
            else:
                self.time, self.y = solver.t, solver.y.copy()
                valves.follow(self.y)
            if steps % 32 == 0 and all(self._quiet()):
                break
            if steps > GIVE_UP:
                self.stuck = True
                break
        return False

    def _locate(self, solver: BDF | Radau, crossings: list[tuple[str, int]], valves: Valves) -> bool:
        """Set time and pressures to the earliest event inside the step just made, a whisker past it.

        True when that is a crossing or a comparison, false when a one-way passage stops before.
        """
        dense = solver.dense_output()
        start, end = self.time, solver.t

        def root(excess: Callable[[Vector], float]) -> float:
            if excess(dense(start)) >= 0:
                return start
            if excess(dense(end)) <= 0:
                return float(end)
            instant: float = brentq(lambda t: excess(dense(t)), start, end, xtol=1e-15, rtol=1e-15)
            return instant

        found: list[tuple[float, str | tuple[str, str], int]] = [
            (root(partial(self._excess, n, w)), n, w) for n, w in crossings
        ]
        for pair, was in self.lower.items():
            # Across bands a comparison changes with the crossings above, so only pairs within one band matter here.
            if self._band(pair[0]) != self._band(pair[1]):
                continue
            if (self._lead(pair, 1, solver.y) > 0) != was:
                found.append((root(partial(self._lead, pair, -1 if was else 1)), pair, 0))
        stops = [root(partial(valves.past, valve)) for valve in valves.stopped(solver.y)]
        when = min([*stops, *(t for t, _, _ in found)])
        self._stop_at(when, found, dense)
        return any(t <= when for t, _, _ in found)

    def _stop_at(self, when: float, found: list[tuple[float, str | tuple[str, str], int]], dense: Dense) -> None:
        if when > self.time:
            self.y = np.array(dense(when))
        self.time = when
        for t, name, way in found:
            if t > when:
                continue
            if isinstance(name, tuple):
                self.lower[name] = not self.lower[name]
                continue
            heights, level, i = self.heights[name], self.level[name], self.index[name]
            if way > 0:
                self.y[i] = max(self.y[i], heights[level])
            else:
                self.y[i] = min(self.y[i], np.nextafter(heights[level - 1] - HYSTERESIS, 0.0))

    # ---------------------------------------------------------------------------------------------------- events

    def _record(self, *events: Event, still: tuple[bool, bool] = (False, False)) -> None:
        self.happenings.append(Happening(self.time, events, tuple(self.y.tolist()), *still))

    def _register_crossings(self) -> None:
        """Take note of every volume past a mark; only thresholds are recorded, the other marks just move guards."""
        while crossings := self._crossings(self.y):
            for name, way in crossings:
                mark = self.marks[name][self.level[name] - (way < 0)]
                self.level[name] += way
                if mark in self.layout.thresholds[name]:
                    self._record(Crossed(name, mark, upward=way > 0))
        self.lower = dict(zip(self.pairs, self._lower_now(self.y, self.lower), strict=True))

    def _due_moves(self, part: Part) -> list[Moved]:
        here = self.parts[part.name]
        return [
            Moved(part.name, here, m.target)
            for m in part.moves
            if m.source == here and m.target != here and self._holds(m.when, part.name)
        ]

    def _react(self) -> bool:
        """Let every part that is due move, until none is; false when a part chatters."""
        while True:
            moves = []
            for part in self.arrangement.parts:
                due = self._due_moves(part)
                if (part.delayed or part.name in self.numbers.switching) and not self._ripe(part, bool(due)):
                    continue
                if due:
                    moves.append(due[self.numbers.choice % len(due)])
            if not moves:
                return True
            if not self.numbers.together:
                del moves[1:]
            self.endless = False
            for move in moves:
                self.parts[move.part] = move.target
                self.due.pop(move.part, None)
                recent = self.recent[move.part]
                recent.append(self.time)
                if len(recent) == CHATTER_MOVES and self.time - recent[0] < CHATTER_TIME:
                    return False
            self._record(*moves)

    def _ripe(self, part: Part, due: bool) -> bool:
        """Whether a part that takes its time moves now: that has passed since its move came due."""
        delay = (self.numbers.delays if part.delayed else self.numbers.switching).get(part.name)
        if not due or delay is None:
            self.due.pop(part.name, None)
            return False
        return self.due.setdefault(part.name, self.time + delay) <= self.time

    def _hold_back(self) -> None:
        """Volumes that were about to cross a mark, before which parts have moved, have not crossed it yet."""
        for name, way in self._crossings(self.y):
            heights, level, i = self.heights[name], self.level[name], self.index[name]
            self.y[i] = np.nextafter(heights[level], 0.0) if way > 0 else heights[level - 1] - HYSTERESIS

    def _happen(self, what: Callable[[], None]) -> None:
        """A crossing or a deed."""
        before = len(self.happenings)
        what()
        self.hunted += self.endless and len(self.happenings) > before
        self.endless = False

    def _switch(self) -> bool:
        """Before something else happens all due parts move, one after another and round after round; whether any moved.

        Where the rounds have no end, what was to happen is next if it still would as the parts then stand.
        """
        if self.endless:
            return False
        seen: set[tuple[str, ...]] = set()
        moved = False
        while any(self._due_moves(part) for part in self.arrangement.parts if not part.delayed):
            stand = tuple(self.parts.values())
            if stand in seen:
                self.endless = True
                return True
            seen.add(stand)
            for part in self.arrangement.parts:
                due = [] if part.delayed else self._due_moves(part)
                if due:
                    moved = True
                    move = due[self.numbers.choice % len(due)]
                    self.parts[move.part] = move.target
                    self.due.pop(move.part, None)
                    self._record(move)
        return moved

    def _do(self, deed: Deed) -> None:
        still = self._still()
        if deed.position is None:
            if deed.name not in self.mishaps:
                self.mishaps.add(deed.name)
                self._record(Occurred(deed.name), still=still)
        elif self.controls[deed.name] != deed.position:
            before = self.controls[deed.name]
            self.controls[deed.name] = deed.position
            self._record(Turned(deed.name, before, deed.position), still=still)

    def state(self) -> State:
        """The state of the band machine in which this run begins, with nothing to remember."""
        return State(
            tuple(self._band(name) for name in self.names),
            tuple(self.parts.values()),
            tuple(self.controls.values()),
            frozenset(self.mishaps),
            self.layout.no_counts(),
        )

    def run(self, script: list[Deed], until: float, limit: int) -> Trajectory:
        first, first_pressures = self.state(), tuple(self.y.tolist())
        deeds = deque(deed for deed in script if deed.time < until)
        ended = "limit"
        while len(self.happenings) < limit and not self.stuck:
            if not self._react():
                ended = "chatter"
                break
            stop = min([until, *(d.time for d in list(deeds)[:1]), *self.due.values()])
            if stop > self.time and self._advance(stop):
                if self._switch():
                    self._hold_back()
                else:
                    self._happen(self._register_crossings)
                continue
            self.time = stop
            if deeds and deeds[0].time <= stop:
                if not self._switch():
                    self._happen(partial(self._do, deeds.popleft()))
            elif stop >= until:
                ended = "time"
                break
        return Trajectory(
            first,
            tuple(self.happenings),
            first_pressures,
            tuple(self.y.tolist()),
            self.time,
            ended,
            *(self._still() if ended == "time" else (False, False)),
            self.hunted,
        )
