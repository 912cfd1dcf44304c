"""The windows of tanks among lines, as formulas (MEANING.md, "The air in lines"): what they allow, what they remember.

For each window there is a bit for each threshold of its tank: it has been crossed since the tank was last joined to
anything but lines.
"""

from __future__ import annotations

from collections.abc import Mapping

from bandproof.encoding.bits import Bit, BitSort
from bandproof.encoding.circuit import negate
from bandproof.encoding.encode import Encoding
from bandproof.encoding.flow import FlowRule
from bandproof.machine.fillings import Window


class WindowRule:
    """Formulas about windows over one encoding; bits are made as they are asked for."""

    def __init__(self, encoding: Encoding, flow: FlowRule) -> None:
        self._e = encoding
        self._c = encoding.circuit
        self._flow = flow
        self._bits: dict[Window, tuple[Bit, ...]] = {}

    def bits(self, windows: tuple[Window, ...]) -> tuple[Bit, ...]:
        """The bits of all these windows."""
        return tuple(bit for window in windows for bit in self._of(window))

    def _of(self, window: Window) -> tuple[Bit, ...]:
        if window not in self._bits:
            prefix = self._e.prefix
            self._bits[window] = tuple(
                Bit(
                    self._c.variable(f"{prefix}window {window.tank} {window.width}: {rank}"),
                    BitSort.WINDOW,
                    window.tank,
                    rank,
                    side=prefix,
                )
                for rank in range(len(self._e.layout.thresholds[window.tank]))
            )
        return self._bits[window]

    def allows(self, windows: tuple[Window, ...], volume: str, rank: int) -> int:
        """The volume may cross its threshold of this rank: it has crossed none too far from it."""
        marks = self._e.layout.thresholds[volume]
        return self._c.all_of(
            negate(bit.literal)
            for window in windows
            if window.tank == volume
            for bit, mark in zip(self._of(window), marks, strict=True)
            if abs(mark - marks[rank]) > window.width
        )

    def follow(
        self,
        windows: tuple[Window, ...],
        following: dict[int, int],
        crossings: Mapping[str, tuple[list[int], list[int]]],
    ) -> None:
        """Add to `following`, which has the value after the step of all other bits, those of the windows."""
        alone = [self._flow.among_lines(window.tank) for window in windows]
        after = self._c.substitute(alone, following) if windows else []
        for window, was, will in zip(windows, alone, after, strict=True):
            rises, falls = crossings[window.tank]
            inside = self._c.both(was, will)
            for bit, up, down in zip(self._of(window), rises, falls, strict=True):
                following[bit.literal] = self._c.both(inside, self._c.any_of([bit.literal, up, down]))
