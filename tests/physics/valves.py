"""Watches the one-way passages while an integrator runs, and tells when one that carried air has stopped.

The slope of the flow jumps there. BDF would go on with the steep slope it has of the open passage, take any pressure of
a line behind it for a solution, and lift the line above everything that feeds it: by ten pascals, if a tank is slow.
"""

from __future__ import annotations

from collections.abc import Sequence

from .airflow import Vector, Way

#: Bar: a one-way passage that carried air has stopped once its far end leads by this. A tenth of the simulator's play.
SEEP = 5e-8
#: A one-way passage, as the numbers of its near and its far end.
Valve = tuple[int, int]


class Valves:
    """The one-way passages among `ways`; `ends` are the constant pressures numbered after the volumes."""

    def __init__(self, ways: Sequence[Way], ends: Sequence[float], y: Vector) -> None:
        self._valves = {(u, v) for u, v, _, _, one_way in ways if one_way}
        self._ends = ends
        self.restart(y)

    def restart(self, y: Vector) -> None:
        """Integration starts at `y`: what is shut there is known to be shut until it passes air again."""
        self._resting = self._near(y)
        self.follow(y)

    def follow(self, y: Vector) -> None:
        """Integration has reached `y`."""
        near = self._near(y)
        self._resting = {valve for valve in self._resting & near if self._lead(valve, y) >= 0}
        self._watched = near - self._resting

    def stopped(self, y: Vector) -> set[Valve]:
        """The passages that have stopped on the way from the pressures followed last to `y`."""
        return self._watched - self._near(y)

    def past(self, valve: Valve, y: Vector) -> float:
        """How far a passage is past the pressures at which integration stops for it: surely shut, and by how little."""
        return self._lead(valve, y) - SEEP / 2

    def _lead(self, valve: Valve, y: Vector) -> float:
        """How far the far end is above the near end, in bar; not negative while the passage is shut."""
        p = [*y.tolist(), *self._ends]
        return float(p[valve[1]] - p[valve[0]])

    def _near(self, y: Vector) -> set[Valve]:
        """The passages that carry air, or would if the far end were lower by no more than SEEP."""
        p = [*y.tolist(), *self._ends]
        return {(u, v) for u, v in self._valves if p[v] - p[u] <= SEEP}
