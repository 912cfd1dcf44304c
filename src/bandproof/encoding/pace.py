"""The pace counters as formulas (MEANING.md, "Pace"): what they allow a step, and what they remember after it.

For each watch of the layout the encoding has a thermometer of the whole bands counted and one bit of three for the last
direction. A pending volume is due in a band where its net flow cannot be zero or the other way anywhere in the band, a
part by a move whose guard surely holds where that of no other of its moves does. What is due after a step is the same formula with every bit replaced by its value after the step.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from bandproof.encoding.circuit import TRUE, negate
from bandproof.encoding.encode import Counted, Encoding
from bandproof.encoding.flow import FlowRule
from bandproof.machine.pace import Reacting, TimingConstraint


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
        #: What can be due, apart: a volume upward and downward, a part by each of its moves alone.
        self._due = {
            pending: self._moves(pending.part) if isinstance(pending, Reacting) else self._ways(pending, flow)
            for pending in dict.fromkeys(watch.pending for watch, _ in self._watches)
        }

    def _ways(self, name: str, flow: FlowRule) -> list[int]:
        ranks = range(len(self._e.levels[name]))
        return [self._c.any_of(must(name, rank) for rank in ranks) for must in (flow.must_rise, flow.must_fall)]

    def _moves(self, name: str) -> list[int]:
        due = list(self._e.due_moves(self._e.arrangement.part(name)).values())
        bound = negate(self._e.excused(name))
        return [
            self._c.all_of([bound, one, *(negate(other) for k, other in enumerate(due) if k != number)])
            for number, one in enumerate(due)
        ]

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
        roots = [literal for literals in self._due.values() for literal in literals]
        later = iter(self._c.substitute(roots, following))
        waits = {
            pending: self._c.both(
                self._c.any_of([self._c.both(was, next(later)) for was in literals]),
                # A part that moves is due by no move from where it was.
                TRUE if isinstance(pending, Reacting) else self._stays(crossings[pending]),
            )
            for pending, literals in self._due.items()
        }
        for watch, counted in self._watches:
            mover = Both(*(self._c.any_of(way) for way in crossings[watch.mover]))
            self._remember(following, counted, waits[watch.pending], mover)

    def _stays(self, crossed: tuple[list[int], list[int]]) -> int:
        return self._c.all_of(negate(literal) for way in crossed for literal in way)

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
