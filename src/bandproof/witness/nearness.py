"""How near a condition is to holding, in pascals: a margin that still tells something where the states of parts decide.

As a margin (`bandproof.simulation.margins`) it is positive where the condition holds and says by how many pascals; but

- it is bounded by the arrangement's highest pressure, which is also what a state, position or mishap counts;
- a part that is not in a wanted state is as near to it as the guard of its next move there is to holding, and one highest
  pressure further for each move after that;
- of conditions joined by `and` that fail, the lacks add up, so that getting one of them right is getting nearer.

So a search has a slope to follow where a plain margin would be minus infinity all over.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import reduce

import numpy as np

from bandproof.model.arrangement import Part
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
    NotHappened,
    NotInPosition,
    NotInState,
    NotLower,
    Truth,
)
from bandproof.model.walker import Walker
from bandproof.simulation.airflow import Floats
from bandproof.simulation.fleet import Fleet
from bandproof.simulation.margins import EQUAL, Margin, Sight
from bandproof.simulation.vehicle import SettingUse

#: How many guards deep the state of a part is traced; beyond that a state is right or wrong.
DEPTH = 2


def nearness(fleet: Fleet, condition: Condition) -> Margin:
    """The nearness of a condition of a claim or story, whose pressures are exact, in the vehicles of a fleet."""
    return _Nearness(fleet).walk(condition)


class _Nearness(Walker[Margin]):
    """Makes the nearness of conditions about the vehicles of a fleet.

    `part` is whose guard is walked, so that every vehicle compares with its own setting; "" for claims, whose pressures
    are exact.
    """

    __slots__ = ("_cap", "_depth", "_fleet", "_part")

    def __init__(self, fleet: Fleet, part: str = "", depth: int = DEPTH) -> None:
        self._fleet, self._part, self._depth = fleet, part, depth
        self._cap = float(fleet.arrangement.highest)

    def truth(self, node: Truth) -> Margin:
        return lambda sight: np.full(sight.times.shape, self._cap if node.value else -self._cap)

    def below(self, node: Below) -> Margin:
        return self._compared(node, -1.0)

    def at_least(self, node: AtLeast) -> Margin:
        return self._compared(node, 1.0)

    def lower(self, node: Lower) -> Margin:
        return self._difference(node, 1.0)

    def not_lower(self, node: NotLower) -> Margin:
        return self._difference(node, -1.0)

    def in_state(self, node: InState) -> Margin:
        return self._toward(node.part, node.states)

    def not_in_state(self, node: NotInState) -> Margin:
        return self._toward(node.part, frozenset(self._fleet.arrangement.part(node.part).states) - node.states)

    def in_position(self, node: InPosition) -> Margin:
        return self._position(node, wanted=True)

    def not_in_position(self, node: NotInPosition) -> Margin:
        return self._position(node, wanted=False)

    def happened(self, node: Happened) -> Margin:
        return self._mishap(node, wanted=True)

    def not_happened(self, node: NotHappened) -> Margin:
        return self._mishap(node, wanted=False)

    def all_of(self, node: AllOf) -> Margin:
        items = [self.walk(item) for item in node.items]

        def margin(sight: Sight) -> Floats:
            found = [item(sight) for item in items]
            least = reduce(np.minimum, found, np.full(sight.times.shape, self._cap))
            lack = sum((np.minimum(one, 0.0) for one in found), np.zeros(sight.times.shape))
            return np.where(least > 0, least, lack)

        return margin

    def any_of(self, node: AnyOf) -> Margin:
        items = [self.walk(item) for item in node.items]
        return lambda sight: reduce(
            np.maximum, [item(sight) for item in items], np.full(sight.times.shape, -2 * self._cap)
        )

    # --------------------------------------------------------------------------------------------------- leaves

    def _volume(self, name: str) -> int:
        return [volume.name for volume in self._fleet.arrangement.volumes].index(name)

    def _compared(self, node: Below | AtLeast, sign: float) -> Margin:
        row, threshold = self._volume(node.volume), self._threshold(node) - EQUAL
        return lambda sight: np.clip(sign * (sight.pressures[row] - threshold[sight.who]), -self._cap, self._cap)

    def _threshold(self, node: Below | AtLeast) -> Floats:
        use = SettingUse(self._part, node.low, node.high)
        vehicles = self._fleet.vehicles
        return np.array([v.settings[use] if self._part else float(node.low) for v in vehicles])

    def _difference(self, node: Lower | NotLower, sign: float) -> Margin:
        one, two = self._volume(node.volume), self._volume(node.other)
        return lambda sight: sign * (sight.pressures[two] - sight.pressures[one] - EQUAL)

    def _position(self, node: InPosition | NotInPosition, *, wanted: bool) -> Margin:
        controls = self._fleet.arrangement.controls
        row = [control.name for control in controls].index(node.control)
        right = np.array([(position in node.positions) is wanted for position in controls[row].positions])
        return lambda sight: self._sign(right[sight.controls[row]])

    def _mishap(self, node: Happened | NotHappened, *, wanted: bool) -> Margin:
        row = [mishap.name for mishap in self._fleet.arrangement.mishaps].index(node.mishap)
        return lambda sight: self._sign(sight.mishaps[row] == wanted)

    def _sign(self, right: np.typing.NDArray[np.bool_]) -> Floats:
        return np.where(right, self._cap, -self._cap)

    # ---------------------------------------------------------------------------------------------------- parts

    def _toward(self, name: str, wanted: frozenset[str]) -> Margin:
        arrangement = self._fleet.arrangement
        row = [part.name for part in arrangement.parts].index(name)
        part = arrangement.parts[row]
        right = np.array([state in wanted for state in part.states])
        ways = self._ways(part, wanted) if self._depth else []

        def margin(sight: Sight) -> Floats:
            at = sight.parts[row].astype(np.intp)
            found = np.where(right[at], self._cap, -4 * self._cap)
            for state, further, guard in ways:
                here = at == state
                if here.any():
                    lack = np.minimum(guard(sight), -1.0) - further * self._cap
                    found = np.where(here, np.maximum(found, lack), found)
            return found

        return margin

    def _ways(self, part: Part, wanted: frozenset[str]) -> list[tuple[int, int, Callable[[Sight], Floats]]]:
        """From each state that is not wanted the moves that lead nearer: their guards, and how many moves come after."""
        left = dict.fromkeys(wanted, 0)
        for hops in range(1, len(part.states)):
            for move in part.moves:
                if left.get(move.target) == hops - 1:
                    left.setdefault(move.source, hops)
        guards = _Nearness(self._fleet, part.name, self._depth - 1)
        return [
            (part.states.index(move.source), left[move.target], guards.walk(move.when))
            for move in part.moves
            if move.target in left and left[move.target] < left.get(move.source, 0)
        ]
