"""One vehicle solved a second way, to check runs of `bandproof.simulation.stepping`: other steps, another root finding.

SciPy's integrators solve the same equations, with the flow law written out from ISO 6358 and a blur a tenth as wide as that of
`airflow`. Parts, acts and hunting keep the rules of `stepping`. Slow: for single runs.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from bandproof.model.arrangement import Arrangement
from bandproof.simulation.accuracy import HUNTING_MEMORY, HUNTING_MOVES, HUNTING_PASCALS, HUNTING_SECONDS
from bandproof.simulation.airflow import Floats
from bandproof.simulation.fleet import Fleet
from bandproof.simulation.history import Happening, History, Moved
from bandproof.simulation.margins import Sight
from bandproof.simulation.script import Look, Occur, Script, Turn, check_script
from bandproof.simulation.stepping import RunObserver
from bandproof.simulation.vehicle import Vehicle

Method = Literal["LSODA", "BDF", "Radau"]

#: Pascals: below this difference a flow fades out.
BLUR = 1.0
#: Of each step: pascals, and share of the absolute pressure.
ATOL = 0.5
RTOL = 1e-6
#: Pascals past its threshold at which a guard is taken to have changed.
PAST = 0.01
#: Stretches between events after which a run is given up.
MOST_STRETCHES = 20_000


class GivenUpError(Exception):
    """A run has more events than are worth solving, or the integrator does not get on."""


def simulate_second(
    arrangement: Arrangement,
    vehicle: Vehicle,
    script: Script,
    *,
    until: float,
    observers: Sequence[RunObserver] = (),
    fleet: Fleet | None = None,
    method: Method = "LSODA",
) -> History:
    """Run one vehicle to `until` seconds; every act of the script has a time. `fleet`: that of the observers.

    ValueError for a script that does not fit, GivenUpError where there is no getting on.
    """
    check_script(arrangement, script)
    return _Run(fleet or Fleet(arrangement, [vehicle]), script, observers, method).finish(until)


class _Run:
    def __init__(self, fleet: Fleet, script: Script, observers: Sequence[RunObserver], method: Method) -> None:
        self.fleet, self.arrangement, self.method, self.observers = fleet, fleet.arrangement, method, observers
        sight = fleet.sight()
        self.parts, self.controls, self.mishaps = sight.parts, sight.controls, sight.mishaps
        self.atmosphere = float(self.arrangement.atmosphere)
        self.y: Floats = sight.pressures[:, 0] + self.atmosphere
        self.time = 0.0
        self.acts = [(act.time or 0.0, act.what) for act in script]
        self.guards = fleet.guards()
        parts = self.arrangement.parts
        self.sources = [parts[i].states.index(move.source) for i, move in fleet.moves]
        self.opens = fleet.open_states()
        self.since: dict[int, float] = {}
        self.recent = np.zeros(len(parts))
        self.moved = np.zeros(len(parts))
        self.times, self.kept = [0.0], [self.y - self.atmosphere]
        self.happenings: list[Happening] = []
        self.hunted: set[str] = set()

    def finish(self, until: float) -> History:
        """Run to the end."""
        self._see(self.time, self.y)
        for _ in range(MOST_STRETCHES):
            if not self._happens():
                if self.time >= until:
                    break
                self._on(
                    min([until, *self._fires().values(), *(when for when, _ in self.acts[:1] if when > self.time)])
                )
        else:
            message = f"more than {MOST_STRETCHES} events by {self.time:.3g} s"
            raise GivenUpError(message)
        times, kept = np.array(self.times), np.array(self.kept)
        return History(times, kept, tuple(self.happenings), self.time, len(self.acts), 0, tuple(sorted(self.hunted)))

    # ----------------------------------------------------------------------------------------------------- events

    def _happens(self) -> bool:
        """Make the moves and acts of this instant; false when there are none."""
        self._look()
        ripe = [k for k, fires in self._fires().items() if fires <= self.time]
        if ripe:
            self._move(ripe)
        elif self.acts and self.acts[0][0] <= self.time and not self._pending():
            self._do()
        else:
            return False
        self._see(self.time, self.y)
        return True

    def _look(self) -> None:
        """Note since when each move has been due."""
        margins = self._margins(self.y)
        self.since = {k: self.since.get(k, self.time) for k in self._enabled() if margins[k] > 0}

    def _enabled(self) -> list[int]:
        return [
            k
            for k, ((part, _), source) in enumerate(zip(self.fleet.moves, self.sources, strict=True))
            if self.parts[part, 0] == source
        ]

    def _hunts(self, part: int) -> bool:
        lately = float(np.exp((self.moved[part] - self.time) / HUNTING_MEMORY))
        return bool(self.recent[part] * lately > HUNTING_MOVES)

    def _margins(self, y: Floats) -> Floats:
        sight = self._sight(self.time, y)
        play = np.array([HUNTING_PASCALS * self._hunts(part) for part, _ in self.fleet.moves])
        return np.asarray(np.array([float(guard(sight)[0]) for guard in self.guards]) - play)

    def _fires(self) -> dict[int, float]:
        """When each due move will be made."""
        found = {}
        for k, since in self.since.items():
            part = self.fleet.moves[k][0]
            seconds = float(self.fleet.moving[part, 0])
            found[k] = since + (max(seconds, HUNTING_SECONDS) if self._hunts(part) else seconds)
        return found

    def _pending(self) -> bool:
        parts = (self.fleet.moves[k][0] for k in self.since)
        return any(not self.arrangement.parts[part].delayed and not self._hunts(part) for part in parts)

    def _move(self, ripe: list[int]) -> None:
        done: set[int] = set()
        for k in sorted(ripe, key=lambda k: self.since[k]):
            part, move = self.fleet.moves[k]
            if part in done:
                continue
            done.add(part)
            one = self.arrangement.parts[part]
            self.parts[part, 0] = one.states.index(move.target)
            self.recent[part] = self.recent[part] * np.exp((self.moved[part] - self.time) / HUNTING_MEMORY) + 1
            self.moved[part] = self.time
            if self._hunts(part):
                self.hunted.add(one.name)
            self.happenings.append(Happening(self.time, Moved(one.name, move.source, move.target)))
        self.since = {k: since for k, since in self.since.items() if self.fleet.moves[k][0] not in done}

    def _do(self) -> None:
        _, what = self.acts.pop(0)
        if isinstance(what, Turn):
            row = [control.name for control in self.arrangement.controls].index(what.control)
            self.controls[row, 0] = self.arrangement.controls[row].positions.index(what.position)
        elif isinstance(what, Occur):
            self.mishaps[[mishap.name for mishap in self.arrangement.mishaps].index(what.mishap), 0] = True
        if not isinstance(what, Look):
            self.happenings.append(Happening(self.time, what))

    # -------------------------------------------------------------------------------------------------------- air

    def _on(self, stop: float) -> None:
        """Integrate to `stop`, or to a whisker past the first change of a guard."""
        enabled = self._enabled()
        signs = np.array([1.0 if k in self.since else -1.0 for k in enabled])

        def changed(_time: float, now: Floats) -> float:
            """Positive until some guard is past its threshold."""
            margins = self._margins(now)[enabled]
            # A margin may be infinite: a state, position or mishap decides, and no pressure changes that.
            return float(np.clip(signs * margins + PAST, -1e9, 1e9).min(initial=1e9))

        changed.terminal = True  # type: ignore[attr-defined]
        changed.direction = -1.0  # type: ignore[attr-defined]
        rates = _Rates(self.fleet, self._open(), self.atmosphere)
        solution = solve_ivp(rates, (self.time, stop), self.y, method=self.method, rtol=RTOL, atol=ATOL, events=changed)
        if solution.status < 0:
            raise GivenUpError(solution.message)
        for time, y in zip(solution.t[1:].tolist(), solution.y[:, 1:].T, strict=True):
            self._see(time, y)
        found = len(solution.t_events[0]) > 0
        self.time = float(solution.t_events[0][-1]) if found else stop
        self.y = np.asarray(solution.y_events[0][-1] if found else solution.y[:, -1])
        if found:
            self._see(self.time, self.y)

    def _open(self) -> Floats:
        """C of every passage as the parts stand."""
        ways = zip(self.fleet.network.ways, self.opens, strict=True)
        return np.array([self.fleet.c[k, 0] * opens[self.parts[way.part, 0]] for k, (way, opens) in enumerate(ways)])

    # ------------------------------------------------------------------------------------------------------ sight

    def _sight(self, time: float, y: Floats) -> Sight:
        gauge = (y - self.atmosphere)[:, None]
        who = np.zeros(1, dtype=np.intp)
        return Sight(np.array([time]), gauge, self.parts.copy(), self.controls.copy(), self.mishaps.copy(), who)

    def _see(self, time: float, y: Floats) -> None:
        self.times.append(time)
        self.kept.append(y - self.atmosphere)
        for observer in self.observers:
            observer(self._sight(time, y))


class _Rates:
    """dp/dt of every volume, pascals a second."""

    def __init__(self, fleet: Fleet, c: Floats, atmosphere: float) -> None:
        network = fleet.network
        on = np.flatnonzero(c > 0)
        self._c, self._b = c[on], fleet.b[on, 0]
        self._up, self._down = network.upstream[on], network.downstream[on]
        self._one_way: NDArray[np.bool_] = network.one_way[on, 0]
        self._ends = np.array([atmosphere, atmosphere + float(fleet.arrangement.highest)])
        self._litres = fleet.litres[:, 0]

    def __call__(self, _time: float, y: Floats) -> Floats:
        p = np.concatenate([y, self._ends])
        one, other = p[self._up], p[self._down]
        high, low = np.maximum(one, other), np.minimum(one, other)
        ratio = np.maximum(low / high - self._b, 0.0) / (1 - self._b)
        gap = high - low
        q = self._c * high * np.sqrt(np.maximum(1 - ratio * ratio, 0.0)) * (gap / (gap + BLUR))
        q = np.where(one >= other, q, np.where(self._one_way, 0.0, -q))
        net = np.zeros(len(p))
        np.add.at(net, self._down, q)
        np.subtract.at(net, self._up, q)
        return np.asarray(net[: len(y)] / self._litres)
