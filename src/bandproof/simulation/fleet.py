"""Vehicles of one arrangement as arrays, the vehicles last, ready to be stepped together."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from bandproof.model.arrangement import Arrangement, Move
from bandproof.model.conditions import AtLeast, Below, Condition
from bandproof.simulation.airflow import Floats
from bandproof.simulation.guards import Guards
from bandproof.simulation.margins import Integers, Margin, Margins, Sight, Thresholds, exact
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
        self._open = self.open_states()
        self._part_of = np.array([way.part for way in self.network.ways], dtype=np.intp)
        self._numbered = np.arange(len(self.network.ways), dtype=np.intp)[:, None]

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

    def all_guards(self) -> Guards:
        """The same margins, worked out together."""
        named = [(self.arrangement.parts[i].name, move.when) for i, move in self.moves]
        whens = [(when, self._thresholds(part)) for part, when in named]
        return Guards(self.arrangement, len(self.vehicles), whens)

    def _guard(self, part: str, when: Condition) -> Margin:
        return self._margins.of(when, self._thresholds(part))

    def _thresholds(self, part: str) -> Thresholds:
        """What each vehicle's part takes for the threshold of a comparison in its guards."""

        def threshold(atom: Below | AtLeast) -> Floats:
            use = SettingUse(part, atom.low, atom.high)
            return np.array([v.settings[use] for v in self.vehicles])

        return threshold

    def open_c(self, who: Integers, parts: Integers) -> Floats:
        """The C of every passage of some vehicles, 0 where it is shut, as their parts (parts, vehicles) stand."""
        found: Floats = self.c[:, who] * self._open[self._numbered, parts[self._part_of]]
        return found

    def open_states(self) -> NDArray[np.bool_]:
        """Which states of its part hold each passage open, (passages, states)."""
        parts = self.arrangement.parts
        most = max((len(part.states) for part in parts), default=0)
        found = np.zeros((len(self.network.ways), most), dtype=bool)
        for row, way in zip(found, self.network.ways, strict=True):
            for state, name in enumerate(parts[way.part].states):
                row[state] = name in way.passage.open_in
        return found
