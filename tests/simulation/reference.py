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
from bandproof.model.conditions import AtLeast, Below
from bandproof.simulation.airflow import Floats
from bandproof.simulation.vehicle import SettingUse, Vehicle

#: Pascals.
FINE_BLUR = 0.1


def flow(c: float, b: float, one: float, other: float, *, one_way: bool) -> float:
    """Flow in Pa dm3/s by ISO 6358, absolute pascals."""
    if one < other:
        return 0.0 if one_way else -flow(c, b, other, one, one_way=False)
    if other <= b * one:
        return c * one
    ratio = (other / one - b) / (1 - b)
    gap = one - other
    fade = gap / (gap + FINE_BLUR)
    return c * one * sqrt(max(1 - ratio * ratio, 0.0)) * fade


class Reference:
    """One vehicle solved by `method`: samples at given times, and the moves of its parts."""

    def __init__(self, arrangement: Arrangement, vehicle: Vehicle, method: Literal["Radau", "BDF"]) -> None:
        self._arrangement, self._vehicle, self._method = arrangement, vehicle, method
        self._names = [v.name for v in arrangement.volumes]
        self._parts = dict(vehicle.parts)
        self._ends = {ATMOSPHERE: float(arrangement.atmosphere)}
        self._ends[SOURCE] = float(arrangement.atmosphere + arrangement.highest)
        self.moves: list[tuple[float, str, str]] = []

    def run(self, samples: list[float]) -> Floats:
        """Pressures in absolute pascals at the sample times, (times, volumes)."""
        atmosphere = float(self._arrangement.atmosphere)
        y = np.array([self._vehicle.pressures[name] + atmosphere for name in self._names])
        time, since, found = 0.0, dict[int, float](), []
        todo = list(samples)
        while todo:
            moves = [(p.name, m) for p in self._arrangement.parts for m in p.moves if m.source == self._parts[p.name]]
            held = [self._margin(part, move, y) > 0 for part, move in moves]
            since = {id(m): since.get(id(m), time) for (_, m), holds in zip(moves, held, strict=True) if holds}
            ripe = [(p, m) for p, m in moves if time >= since.get(id(m), inf) + self._vehicle.moving[p]]
            if ripe:
                for part, move in ripe:
                    self._parts[part] = move.target
                    self.moves.append((time, part, move.target))
                continue
            fires = [since[id(m)] + self._vehicle.moving[p] for p, m in moves if id(m) in since]
            stop = min([todo[0], *fires])
            time, y = self._on(time, y, stop, moves, held)
            if time >= todo[0]:
                found.append(y)
                todo.pop(0)
        return np.array(found)

    def _margin(self, part: str, move: Move, y: Floats) -> float:
        match move.when:
            case Below(volume, low, high):
                level, sign = self._vehicle.settings[SettingUse(part, low, high)], -1
            case AtLeast(volume, low, high):
                level, sign = self._vehicle.settings[SettingUse(part, low, high)], 1
            case _:
                raise TypeError(move.when)
        here = float(y[self._names.index(volume)]) - float(self._arrangement.atmosphere)
        return sign * (here - level) + 1e-9

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
                q = flow(c, b, pressures[one], pressures[other], one_way=one_way)
                net[one] -= q
                net[other] += q
            return np.array([net[name] for name in self._names]) / litres

        def changed(_time: float, now: Floats) -> float:
            """Positive until some guard is past its threshold by a hundredth of a pascal."""
            signs = [m if h else -m for h, m in zip(held, (self._margin(p, m, now) for p, m in moves), strict=True)]
            return min([1e9, *(s + 0.01 for s in signs)])

        changed.terminal = True  # type: ignore[attr-defined]
        # Where a column of the Jacobian is zero SciPy's estimate of it overflows, and nothing comes of it.
        with np.errstate(over="ignore"):
            done = solve_ivp(rates, (time, stop), y, method=self._method, rtol=1e-6, atol=1.0, events=[changed])
        assert done.success, done.message
        return float(done.t[-1]), np.asarray(done.y[:, -1])
