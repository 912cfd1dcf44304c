"""The continuous model an arrangement stands for: pressures by differential equations, parts that move at once.

Each volume is isothermal, so with q the net flow into it in dm3/s at the reference atmosphere and V in dm3

    m = p V / (R T0)  and  dm/dt = rho0 q  give  dp/dt = (rho0 R T0 / V) q = (1 bar / V) q,

since rho0 R T0 = 100 kPa at the reference atmosphere (ISO 8778). Pressures in here are absolute and in bar. The flow
law is ISO 6358, written in floats and independently of `bandproof.physics`. SciPy's BDF integrates between events (the equations are stiff: lines
follow tanks, and equalising volumes stop abruptly).

Three things are blurred, each by about ten millipascals, which is far below the gap between any two landmarks:

- the root in the flow law is made linear below ROOT_BLUR, since its slope at equal pressures is infinite;
- a pressure that has risen through a mark counts as below it again only HYSTERESIS under it, so that two volumes
  resting at the same pressure do not cross marks on rounding noise; a comparison of two volumes has the same play;
- two volumes in different bands are compared by their bands, so that a comparison never contradicts the crossings.

A run also stops early, with what happened so far, when a part chatters (moves to and fro faster than can be resolved)
or when the number of happenings reaches a limit.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction
from functools import partial
from math import sqrt

import numpy as np
from numpy.typing import NDArray
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
    atoms,
)

PASCALS_PER_BAR = 100_000
#: Bar. Below about this difference the flow is linear in it.
ROOT_BLUR = 1e-7
#: Bar. Play of every comparison.
HYSTERESIS = 1e-7
#: Bar: the integrator's absolute tolerance; well inside the play.
ABSOLUTE_TOLERANCE = 1e-9
RELATIVE_TOLERANCE = 1e-7
#: Dm3/s: a volume whose net flow is smaller is still; when all are, nothing more happens until the next deed.
STILL = 1e-6
#: Steps after which BDF is given up for Radau, which is slower but does not circle about the onset of a one-way flow.
PATIENCE = 400
#: A part that makes this many moves within CHATTER_TIME seconds chatters.
CHATTER_MOVES = 10
CHATTER_TIME = 1e-2

Vector = NDArray[np.float64]
Rates = Callable[[float, Vector], Vector]
Slopes = Callable[[float, Vector], Vector]
Dense = Callable[[float], Vector]


@dataclass(frozen=True, slots=True)
class Numbers:
    """One number for everything an arrangement leaves open.

    `settings` in pascals gauge, `litres` per volume, `sizes` as (C, b) per (part, index of the passage), `delays` in
    seconds for slow parts; a slow part without a delay never moves. `together`: whether all parts that are due at one
    instant move at once or one after the other; `choice` picks among several moves of a part that are due at once.
    """

    settings: dict[str, Fraction]
    litres: dict[str, float]
    sizes: dict[tuple[str, int], tuple[float, float]]
    delays: dict[str, float] = field(default_factory=dict)
    together: bool = True
    choice: int = 0


@dataclass(frozen=True, slots=True)
class Begin:
    """Where a run begins: pascals gauge per volume, and a state per part and a position per control."""

    pressures: dict[str, Fraction]
    parts: dict[str, str]
    controls: dict[str, str]


@dataclass(frozen=True, slots=True)
class Deed:
    """At a time the driver sets `name` to `position`, or, with no position, the mishap `name` occurs."""

    time: float
    name: str
    position: str | None = None


@dataclass(frozen=True, slots=True)
class Happening:
    """What changed at one instant, with every volume's pressure then (bar abs).

    `still_lines` and `still_all`: just before, every line and chamber (every volume) was still, to rounding.
    """

    time: float
    events: tuple[Event, ...]
    pressures: tuple[float, ...]
    still_lines: bool = False
    still_all: bool = False


@dataclass(frozen=True, slots=True)
class Trajectory:
    """A run: its first state, its happenings in order, and why it ended (`time`, `chatter` or `limit`).

    `first_pressures` and `last_pressures` are bar abs, in the arrangement's order; the two `still` flags are those of
    the last instant, as in Happening.
    """

    first: State
    happenings: tuple[Happening, ...]
    first_pressures: tuple[float, ...]
    last_pressures: tuple[float, ...]
    last_time: float
    ended: str
    still_lines: bool = False
    still_all: bool = False


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
        self._set_marks(begin)
        self.pairs = sorted(
            {
                (a.volume, a.other)
                for p in arrangement.parts
                for m in p.moves
                for a in atoms(m.when)
                if isinstance(a, Lower)
            }
        )
        gauge = [begin.pressures.get(name, Fraction(0)) for name in self.names]
        self.y: Vector = np.array([self._absolute(p) for p in gauge])
        self.lower = dict(zip(self.pairs, self._lower_now(self.y, dict.fromkeys(self.pairs, False)), strict=True))

    def _absolute(self, gauge: Fraction) -> float:
        return float((gauge + self.arrangement.atmosphere) / PASCALS_PER_BAR)

    def _set_marks(self, begin: Begin) -> None:
        """Marks of a volume: its landmarks and the concrete settings compared at it; `level` counts those reached."""
        highest = self.arrangement.highest
        marks = {name: set(self.layout.landmarks[name]) for name in self.names}
        for part in self.arrangement.parts:
            for move in part.moves:
                for atom in atoms(move.when):
                    if isinstance(atom, Below | AtLeast) and 0 < self._threshold(atom) < highest:
                        marks[atom.volume].add(self._threshold(atom))
        self.marks = {name: sorted(found) for name, found in marks.items()}
        self.heights = {name: [self._absolute(m) for m in found] for name, found in self.marks.items()}
        self.level = {
            name: bisect_right(self.marks[name], begin.pressures.get(name, Fraction(0))) for name in self.names
        }

    def _threshold(self, atom: Below | AtLeast) -> Fraction:
        if atom.setting is not None:
            return self.numbers.settings[atom.setting]
        return (atom.low + atom.high) / 2

    # ------------------------------------------------------------------------------------------------ conditions

    def _reached(self, atom: Below | AtLeast) -> bool:
        threshold = self._threshold(atom)
        if threshold <= 0:
            return True
        if threshold >= self.arrangement.highest:
            return False
        return self.level[atom.volume] > self.marks[atom.volume].index(threshold)

    def _holds(self, condition: Condition) -> bool:
        match condition:
            case Truth(value):
                return value
            case Below():
                return not self._reached(condition)
            case AtLeast():
                return self._reached(condition)
            case Lower(volume, other):
                return self.lower[volume, other]
            case InState(part, states):
                return self.parts[part] in states
            case InPosition(control, positions):
                return self.controls[control] in positions
            case Happened(mishap):
                return mishap in self.mishaps
            case Not(item):
                return not self._holds(item)
            case AllOf(items):
                return all(self._holds(item) for item in items)
            case AnyOf(items):
                return any(self._holds(item) for item in items)

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

    def _rates(self) -> tuple[Rates, Slopes]:
        """Right-hand side of the differential equation for the parts as they stand, and its Jacobian."""
        ways = []
        for part in self.arrangement.parts:
            for k, passage in enumerate(part.passages):
                if self.parts[part.name] in passage.open_in:
                    c, b = self.numbers.sizes[part.name, k]
                    ways.append((self.index[passage.upstream], self.index[passage.downstream], c, b, passage.one_way))
        ends, count = [self.atmosphere, self.source], len(self.names)
        per_litre = 1 / np.array(self.litres)

        def rates(_time: float, y: Vector) -> Vector:
            p = [*y.tolist(), *ends]
            net = [0.0] * (count + 2)
            for u, v, c, b, one_way in ways:
                if one_way and p[u] <= p[v]:
                    continue
                q, _, _ = flow(c, b, p[u], p[v])
                net[u] -= q
                net[v] += q
            return per_litre * net[:count]

        def slopes(_time: float, y: Vector) -> Vector:
            p = [*y.tolist(), *ends]
            net = np.zeros((count + 2, count + 2))
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

    def _still(self) -> tuple[bool, bool]:
        """Whether every line and chamber is still, and whether every volume is; neither while a slow part is due."""
        if self.due:
            return False, False
        still = (np.abs(self._rates()[0](self.time, self.y)) * self.litres < STILL).tolist()
        return all(still[i] for i in self.quick), all(still)

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
        if self._still()[1]:
            return False
        rates, slopes = self._rates()
        tolerances = {"rtol": RELATIVE_TOLERANCE, "atol": ABSOLUTE_TOLERANCE, "jac": slopes}
        solver: BDF | Radau = BDF(rates, self.time, self.y, stop, **tolerances)
        steps = 0
        while solver.status == "running":
            solver.step()
            steps += 1
            if solver.status == "failed" or steps == PATIENCE:
                solver = Radau(rates, self.time, self.y, stop, **tolerances)
                continue
            crossings = self._crossings(solver.y)
            flipped = self._lower_now(solver.y, self.lower) != list(self.lower.values())
            if crossings or flipped:
                self._locate(solver, crossings)
                return True
            self.time, self.y = solver.t, solver.y.copy()
        return False

    def _locate(self, solver: BDF | Radau, crossings: list[tuple[str, int]]) -> None:
        """Set time and pressures to the earliest event inside the step just made, a whisker past it."""
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
        self._stop_at(min(t for t, _, _ in found), found, dense)

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
        """Take note of every volume past a mark; only landmarks are recorded, the other marks just move guards."""
        while crossings := self._crossings(self.y):
            for name, way in crossings:
                mark = self.marks[name][self.level[name] - (way < 0)]
                self.level[name] += way
                if mark in self.layout.landmarks[name]:
                    self._record(Crossed(name, mark, upward=way > 0))
        self.lower = dict(zip(self.pairs, self._lower_now(self.y, self.lower), strict=True))

    def _due_moves(self, part: Part) -> list[Moved]:
        here = self.parts[part.name]
        return [
            Moved(part.name, here, m.target)
            for m in part.moves
            if m.source == here and m.target != here and self._holds(m.when)
        ]

    def _react(self) -> bool:
        """Let every part that is due move, until none is; false when a part chatters."""
        while True:
            moves = []
            for part in self.arrangement.parts:
                due = self._due_moves(part)
                if part.slow and not self._ripe(part, bool(due)):
                    continue
                if due:
                    moves.append(due[self.numbers.choice % len(due)])
            if not moves:
                return True
            if not self.numbers.together:
                del moves[1:]
            for move in moves:
                self.parts[move.part] = move.target
                self.due.pop(move.part, None)
                recent = self.recent[move.part]
                recent.append(self.time)
                if len(recent) == CHATTER_MOVES and self.time - recent[0] < CHATTER_TIME:
                    return False
            self._record(*moves)

    def _ripe(self, part: Part, due: bool) -> bool:
        """Whether a slow part moves now: its delay has passed since its move came due."""
        if not due or part.name not in self.numbers.delays:
            self.due.pop(part.name, None)
            return False
        return self.due.setdefault(part.name, self.time + self.numbers.delays[part.name]) <= self.time

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
        """The state of the band machine in which this run stands."""
        return State(
            tuple(self._band(name) for name in self.names),
            tuple(self.parts.values()),
            tuple(self.controls.values()),
            frozenset(self.mishaps),
        )

    def run(self, script: list[Deed], until: float, limit: int) -> Trajectory:
        first, first_pressures = self.state(), tuple(self.y.tolist())
        deeds = deque(deed for deed in script if deed.time < until)
        ended = "limit"
        while len(self.happenings) < limit:
            if not self._react():
                ended = "chatter"
                break
            stop = min([until, *(d.time for d in list(deeds)[:1]), *self.due.values()])
            if stop > self.time and self._advance(stop):
                self._register_crossings()
                continue
            self.time = stop
            if deeds and deeds[0].time <= stop:
                self._do(deeds.popleft())
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
        )
