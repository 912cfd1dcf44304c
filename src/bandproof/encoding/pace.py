"""The pace counters as formulas (MEANING.md, "Pace"): what they allow a step, and what they remember after it.

For each watch of the layout the encoding has a thermometer of the whole bands counted and one bit of three for the last
direction. A pending volume is due in a band where its net flow cannot be zero or the other way anywhere in the band. What
is due after a step is the same formula with every bit replaced by its value after the step.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from bandproof.encoding.circuit import TRUE, negate
from bandproof.encoding.encode import Counted, Encoding
from bandproof.encoding.flow import FlowRule
from bandproof.machine.pace import TimingConstraint


@dataclass(frozen=True, slots=True)
class Both:
    """A literal about a volume's way up, and one about its way down."""

    up: int
    down: int


class PaceRule:
    """Formulas about the timing_constraints of one encoding's layout."""

    def __init__(self, encoding: Encoding, flow: FlowRule) -> None:
        self._e = encoding
        self._c = encoding.circuit
        self._watches: list[tuple[TimingConstraint, Counted]] = list(
            zip(encoding.layout.timing_constraints, encoding.counted, strict=True)
        )
        self._due = {
            name: Both(
                self._c.any_of(flow.must_rise(name, rank) for rank in range(len(encoding.levels[name]))),
                self._c.any_of(flow.must_fall(name, rank) for rank in range(len(encoding.levels[name]))),
            )
            for name in dict.fromkeys(watch.pending for watch, _ in self._watches)
        }

    def allows(self, volume: str, *, upward: bool) -> int:
        """No watch that has counted all it allows forbids the volume to go on in its last direction."""
        full = [
            self._c.both(counted.up if upward else counted.down, counted.bands[-1] if counted.bands else TRUE)
            for watch, counted in self._watches
            if watch.mover == volume
        ]
        return self._c.all_of(negate(literal) for literal in full)

    def follow(self, following: dict[int, int], crossings: Mapping[str, tuple[list[int], list[int]]]) -> None:
        """Add to `following`, which has the value after the step of all other bits, those of the counters.

        `crossings` gives, for each volume, the literals that say it crosses one of its thresholds up, and down.
        """
        names = list(self._due)
        roots = [literal for name in names for literal in (self._due[name].up, self._due[name].down)]
        later = iter(self._c.substitute(roots, following))
        after = {name: Both(next(later), next(later)) for name in names}
        for watch, counted in self._watches:
            was, will = self._due[watch.pending], after[watch.pending]
            own, mover = (
                Both(*(self._c.any_of(way) for way in crossings[name])) for name in (watch.pending, watch.mover)
            )
            waits = self._c.all_of(
                [
                    self._c.either(self._c.both(was.up, will.up), self._c.both(was.down, will.down)),
                    negate(own.up),
                    negate(own.down),
                ]
            )
            self._remember(following, counted, waits, mover)

    def _remember(self, following: dict[int, int], counted: Counted, waits: int, mover: Both) -> None:
        c = self._c
        further = c.either(c.both(counted.up, mover.up), c.both(counted.down, mover.down))
        for rank, bit in enumerate(counted.bands):
            before = TRUE if rank == 0 else counted.bands[rank - 1]
            following[bit] = c.both(waits, c.either(bit, c.both(before, further)))
        up = c.both(waits, c.either(mover.up, c.both(counted.up, negate(mover.down))))
        down = c.both(waits, c.either(mover.down, c.both(counted.down, negate(mover.up))))
        following[counted.up] = up
        following[counted.down] = down
        following[counted.none] = c.both(negate(up), negate(down))
