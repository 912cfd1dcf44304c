"""States that are not settled, or not at rest, since what flows in them does not balance as a whole.

The rules of `bandproof.machine.semantics` ask of each volume alone whether it can balance. Where that is too coarse, a layout
carries such facts; `bandproof.lemmas.balance` finds and shows them, and both meanings read them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from bandproof.model.arrangement import Arrangement
from bandproof.properties.monitors import Stillness


@dataclass(frozen=True, slots=True)
class Imbalance:
    """No state is `still` (settled, or at rest) in which all of this holds.

    Volumes are surely `at_least`, or `below`, thresholds of the layout (pascals gauge), and parts are in one of some states.
    `marks` are pressures between which the flows have to be looked at for it to be seen (pascals gauge).
    """

    still: Stillness
    at_least: tuple[tuple[str, Fraction], ...] = ()
    below: tuple[tuple[str, Fraction], ...] = ()
    parts: tuple[tuple[str, frozenset[str]], ...] = ()
    marks: tuple[tuple[str, tuple[Fraction, ...]], ...] = ()

    def __post_init__(self) -> None:
        if self.still not in (Stillness.SETTLED, Stillness.AT_REST):
            message = "states are settled or at rest"
            raise ValueError(message)

    def fits(self, arrangement: Arrangement, thresholds: Mapping[str, tuple[Fraction, ...]]) -> bool:
        """All that it names is there."""
        states = {part.name: frozenset(part.states) for part in arrangement.parts}
        levels = (*self.at_least, *self.below)
        return (
            all(mark in thresholds.get(volume, ()) for volume, mark in levels)
            and all(known <= states.get(part, frozenset()) for part, known in self.parts)
            and all(volume in thresholds for volume, _ in self.marks)
        )

    def denies(self, still: Stillness) -> bool:
        """Its states are not `still` either: a state at rest is settled too."""
        return still is self.still or still is Stillness.AT_REST
