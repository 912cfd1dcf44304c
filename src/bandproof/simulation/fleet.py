"""Vehicles of one arrangement as arrays, the vehicles last, ready to be stepped together."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bandproof.model.arrangement import Arrangement, Move
from bandproof.model.conditions import AtLeast, Below, Condition
from bandproof.simulation.airflow import Floats
from bandproof.simulation.margins import Integers, Margin, Margins, Sight, exact
from bandproof.simulation.network import Network
from bandproof.simulation.vehicle import SettingUse, Vehicle


class Fleet:
    """The numbers of several vehicles, and what of their arrangement does not change while they run.

    `litres` and `pressures` (gauge) are (volumes, vehicles), `c` and `b` (passages, vehicles), `moving` (parts,
    vehicles); `moves` pairs each move that changes something with the index of its part.
    """

    def __init__(self, arrangement: Arrangement, vehicles: Sequence[Vehicle]) -> None:
        self.arrangement = arrangement
        self.vehicles = tuple(vehicles)
        self.network = Network(arrangement)
        self._margins = Margins(arrangement)
        volumes, parts = [v.name for v in arrangement.volumes], [p.name for p in arrangement.parts]
        ways = [(arrangement.parts[way.part].name, way.number) for way in self.network.ways]
        self.litres = self._rows([[v.litres[name] for v in vehicles] for name in volumes])
        self.pressures = self._rows([[v.pressures[name] for v in vehicles] for name in volumes])
        self.c = self._rows([[v.sizes[way][0] for v in vehicles] for way in ways])
        self.b = self._rows([[v.sizes[way][1] for v in vehicles] for way in ways])
        self.moving = self._rows([[v.moving[name] for v in vehicles] for name in parts])
        self.moves: tuple[tuple[int, Move], ...] = tuple(
            (i, move) for i, part in enumerate(arrangement.parts) for move in part.moves if move.source != move.target
        )

    def _rows(self, rows: list[list[float]]) -> Floats:
        return np.array(rows, dtype=np.float64).reshape(len(rows), len(self.vehicles))

    def states(self) -> Integers:
        """The index of the state each part begins in, (parts, vehicles)."""
        rows = [[part.states.index(v.parts[part.name]) for v in self.vehicles] for part in self.arrangement.parts]
        return np.array(rows, dtype=np.intp).reshape(len(rows), len(self.vehicles))

    def positions(self) -> Integers:
        """The index of the position each control begins in, (controls, vehicles)."""
        rows = [[c.positions.index(v.controls[c.name]) for v in self.vehicles] for c in self.arrangement.controls]
        return np.array(rows, dtype=np.intp).reshape(len(rows), len(self.vehicles))

    def sight(self) -> Sight:
        """The vehicles as they begin."""
        count = len(self.vehicles)
        mishaps = np.zeros((len(self.arrangement.mishaps), count), dtype=bool)
        who = np.arange(count, dtype=np.intp)
        return Sight(np.zeros(count), self.pressures, self.states(), self.positions(), mishaps, who)

    def margin(self, condition: Condition) -> Margin:
        """The margin of a condition of a claim or start, whose thresholds are exact."""
        return self._margins.of(condition, exact)

    def guards(self) -> list[Margin]:
        """The margin of the guard of each of `moves`, every vehicle with its own settings."""
        return [self._guard(self.arrangement.parts[i].name, move.when) for i, move in self.moves]

    def _guard(self, part: str, when: Condition) -> Margin:
        def threshold(atom: Below | AtLeast) -> Floats:
            use = SettingUse(part, atom.low, atom.high)
            return np.array([v.settings[use] for v in self.vehicles])

        return self._margins.of(when, threshold)

    def open_states(self) -> list[Integers]:
        """For each passage, which states of its part (by index) hold it open: ones and zeros."""
        parts = self.arrangement.parts
        return [
            np.array([state in way.passage.open_in for state in parts[way.part].states], dtype=np.intp)
            for way in self.network.ways
        ]
