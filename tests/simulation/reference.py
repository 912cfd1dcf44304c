"""The same model solved plainly: one vehicle, SciPy's integrators at tight tolerances, its own root finding.

The flow law is written out from ISO 6358 with a blur a hundred times finer than the product's; guards are read by
walking the condition; nothing of `bandproof.simulation` is used but the frozen values.
"""

from __future__ import annotations

from math import inf, sqrt
from typing import Literal

import numpy as np
from scipy.integrate import solve_ivp

from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement, Move
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
from bandproof.simulation.airflow import Floats
from bandproof.simulation.script import Look, Occur, Script, Turn
from bandproof.simulation.vehicle import SettingUse, Vehicle

Method = Literal["Radau", "BDF", "LSODA"]
#: Pascals.
FINE_BLUR = 0.1


def flow(c: float, b: float, one: float, other: float, *, one_way: bool, blur: float) -> float:
    """Flow in Pa dm3/s by ISO 6358, absolute pascals."""
    if one < other:
        return 0.0 if one_way else -flow(c, b, other, one, one_way=False, blur=blur)
    if other <= b * one:
        return c * one
    ratio = (other / one - b) / (1 - b)
    gap = one - other
    fade = gap / (gap + blur)
    return c * one * sqrt(max(1 - ratio * ratio, 0.0)) * fade


class Reference:
    """One vehicle solved by `method`: samples at given times, and the moves of its parts."""

    def __init__(
        self,
        arrangement: Arrangement,
        vehicle: Vehicle,
        method: Method,
        *,
        tolerance: float = 1e-6,
        blur: float = FINE_BLUR,
    ) -> None:
        self._arrangement, self._vehicle, self._method = arrangement, vehicle, method
        self._tolerance, self._blur = tolerance, blur
        self._controls = dict(vehicle.controls)
        self._mishaps: set[str] = set()
        self._names = [v.name for v in arrangement.volumes]
        self._parts = dict(vehicle.parts)
        self._ends = {ATMOSPHERE: float(arrangement.atmosphere)}
        self._ends[SOURCE] = float(arrangement.atmosphere + arrangement.highest)
        self.moves: list[tuple[float, str, str]] = []

    def run(self, samples: list[float], script: Script = ()) -> Floats:
        """Pressures in absolute pascals at the sample times, (times, volumes); every act of the script has a time."""
        atmosphere = float(self._arrangement.atmosphere)
        y = np.array([self._vehicle.pressures[name] + atmosphere for name in self._names])
        time, since, found = 0.0, dict[int, float](), []
        todo, acts = list(samples), [(act.time or 0.0, act.what) for act in script if not isinstance(act.what, Look)]
        while todo:
            while acts and acts[0][0] <= time:
                self._do(acts.pop(0)[1])
            moves = [(p.name, m) for p in self._arrangement.parts for m in p.moves if m.source == self._parts[p.name]]
            held = [self._margin(part, move.when, y) > 0 for part, move in moves]
            since = {id(m): since.get(id(m), time) for (_, m), holds in zip(moves, held, strict=True) if holds}
            ripe = [(p, m) for p, m in moves if time >= since.get(id(m), inf) + self._vehicle.moving[p]]
            if ripe:
                for part, move in ripe:
                    self._parts[part] = move.target
                    self.moves.append((time, part, move.target))
                continue
            fires = [since[id(m)] + self._vehicle.moving[p] for p, m in moves if id(m) in since]
            stop = min([todo[0], *fires, *(when for when, _ in acts)])
            time, y = self._on(time, y, stop, moves, held)
            if time >= todo[0]:
                found.append(y)
                todo.pop(0)
        return np.array(found)

    def _do(self, what: Turn | Occur) -> None:
        match what:
            case Turn(control, position):
                self._controls[control] = position
            case Occur(mishap):
                self._mishaps.add(mishap)

    def _margin(self, part: str, condition: Condition, y: Floats) -> float:
        """Positive where a condition of a guard of `part` holds."""
        match condition:
            case Truth(value):
                return inf if value else -inf
            case Below(volume, low, high):
                return self._vehicle.settings[SettingUse(part, low, high)] - self._gauge(volume, y) - 1e-9
            case AtLeast(volume, low, high):
                return self._gauge(volume, y) - self._vehicle.settings[SettingUse(part, low, high)] + 1e-9
            case Lower(volume, other):
                return self._gauge(other, y) - self._gauge(volume, y) - 1e-9
            case InState(other, states):
                return inf if self._parts[other] in states else -inf
            case InPosition(control, positions):
                return inf if self._controls[control] in positions else -inf
            case Happened(mishap):
                return inf if mishap in self._mishaps else -inf
            case Not(item):
                return -self._margin(part, item, y)
            case AllOf(items):
                return min([inf, *(self._margin(part, item, y) for item in items)])
            case AnyOf(items):
                return max([-inf, *(self._margin(part, item, y) for item in items)])
        message = f"no file says {condition}"
        raise TypeError(message)

    def _gauge(self, volume: str, y: Floats) -> float:
        return float(y[self._names.index(volume)]) - float(self._arrangement.atmosphere)

    def _on(
        self, time: float, y: Floats, stop: float, moves: list[tuple[str, Move]], held: list[bool]
    ) -> tuple[float, Floats]:
        """Integrate to `stop`, or to a whisker past the first change of a guard."""
        litres = np.array([self._vehicle.litres[name] for name in self._names])
        ways = [
            (w.upstream, w.downstream, *self._vehicle.sizes[p.name, k], w.one_way)
            for p in self._arrangement.parts
            for k, w in enumerate(p.passages)
            if self._parts[p.name] in w.open_in
        ]

        def rates(_time: float, now: Floats) -> Floats:
            pressures = dict(zip(self._names, now.tolist(), strict=True)) | self._ends
            net = dict.fromkeys(pressures, 0.0)
            for one, other, c, b, one_way in ways:
                q = flow(c, b, pressures[one], pressures[other], one_way=one_way, blur=self._blur)
                net[one] -= q
                net[other] += q
            return np.asarray(np.array([net[name] for name in self._names]) / litres, dtype=np.float64)

        def changed(_time: float, now: Floats) -> float:
            """Positive until some guard is past its threshold by a hundredth of a pascal."""
            signs = [
                m if h else -m for h, m in zip(held, (self._margin(p, m.when, now) for p, m in moves), strict=True)
            ]
            return min([1e9, *(s + 0.01 for s in signs)])

        changed.terminal = True  # type: ignore[attr-defined]
        tolerances = {"rtol": self._tolerance, "atol": self._tolerance * 1e6}
        # Where a column of the Jacobian is zero SciPy's estimate of it overflows, and nothing comes of it.
        with np.errstate(over="ignore"):
            done = solve_ivp(rates, (time, stop), y, method=self._method, events=[changed], **tolerances)
        assert done.success, done.message
        return float(done.t[-1]), np.asarray(done.y[:, -1])
