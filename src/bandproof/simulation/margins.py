"""How far a condition is from changing its truth, in pascals, for many vehicles at once.

The margin of a condition is positive where it holds and negative where it does not: for a comparison the distance to its
threshold, for the state of a part, the position of a control or a mishap plus or minus infinity, `not` turns the sign,
`and` takes the least, `or` the greatest. So a margin changes sign exactly where the condition changes its truth, and says
by how many pascals a claim about pressures is broken or kept.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from bandproof.model.arrangement import Arrangement
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

#: Pascals. At equality `at least` holds and `below` does not; this moves every comparison by far less than any error so
#: that a margin of zero, where the sign would not tell, never stands for equal numbers.
EQUAL = 1e-3

Integers = NDArray[np.intp]
Margin = Callable[["Sight"], Floats]
#: The threshold of a comparison: one number for each vehicle, or one for all. None where it has a tolerance.
Thresholds = Callable[[Below | AtLeast], Floats | float]


@dataclass(frozen=True, slots=True)
class Sight:
    """What can be seen of the vehicles at one moment, each at its own time. Observers may keep it: its arrays stay as they are.

    `pressures` (volumes, vehicles) in pascals gauge; `parts` and `controls` the index of the state or position in the
    arrangement's order; `mishaps` whether it has happened; `who` the number of each vehicle in the fleet.
    """

    times: Floats
    pressures: Floats
    parts: Integers
    controls: Integers
    mishaps: NDArray[np.bool_]
    who: Integers


def exact(atom: Below | AtLeast) -> float:
    """The threshold of a comparison in a claim. ValueError for one with a tolerance, which no claim has."""
    if atom.low != atom.high:
        message = f"a claim about {atom.volume} compares with a toleranced setting ({atom.low}..{atom.high} Pa)"
        raise ValueError(message)
    return float(atom.low)


class Margins:
    """Turns conditions about one arrangement into functions of a Sight."""

    def __init__(self, arrangement: Arrangement) -> None:
        self._volumes = {v.name: i for i, v in enumerate(arrangement.volumes)}
        self._parts = {p.name: (i, p.states) for i, p in enumerate(arrangement.parts)}
        self._controls = {c.name: (i, c.positions) for i, c in enumerate(arrangement.controls)}
        self._mishaps = {m.name: i for i, m in enumerate(arrangement.mishaps)}

    def of(self, condition: Condition, thresholds: Thresholds = exact) -> Margin:
        """The margin of `condition`: pascals, one for each vehicle."""
        match condition:
            case Truth(value):
                return lambda sight: np.full(sight.times.shape, np.inf if value else -np.inf)
            case Below() | AtLeast():
                return self._compared(condition, thresholds(condition))
            case Lower(volume, other):
                one, two = self._volumes[volume], self._volumes[other]
                return lambda sight: sight.pressures[two] - sight.pressures[one] - EQUAL
            case InState(part, states):
                i, names = self._parts[part]
                return _one_of("parts", i, [s in states for s in names])
            case InPosition(control, positions):
                i, names = self._controls[control]
                return _one_of("controls", i, [p in positions for p in names])
            case Happened(mishap):
                return _one_of("mishaps", self._mishaps[mishap], [False, True])
            case _:
                return self._joined(condition, thresholds)

    def _compared(self, atom: Below | AtLeast, threshold: Floats | float) -> Margin:
        i, sign = self._volumes[atom.volume], -1.0 if isinstance(atom, Below) else 1.0
        if isinstance(threshold, float):
            return lambda sight: sign * (sight.pressures[i] - (threshold - EQUAL))
        least = threshold - EQUAL
        return lambda sight: sign * (sight.pressures[i] - least[sight.who])

    def _joined(self, condition: Condition, thresholds: Thresholds) -> Margin:
        match condition:
            case Not(item):
                inner = self.of(item, thresholds)
                return lambda sight: -inner(sight)
            case AllOf(items):
                return _reduced(np.minimum, [self.of(item, thresholds) for item in items], np.inf)
            case AnyOf(items):
                return _reduced(np.maximum, [self.of(item, thresholds) for item in items], -np.inf)
            case _:
                message = f"no margin for {condition!r}"
                raise TypeError(message)


def _one_of(table: str, row: int, wanted: list[bool]) -> Margin:
    signs = np.where(wanted, np.inf, -np.inf)

    def margin(sight: Sight) -> Floats:
        found: Floats = signs[getattr(sight, table)[row].astype(np.intp)]
        return found

    return margin


def _reduced(join: np.ufunc, items: list[Margin], empty: float) -> Margin:
    def margin(sight: Sight) -> Floats:
        found: Floats = reduce(join, [item(sight) for item in items], np.full(sight.times.shape, empty))
        return found

    return margin
