"""How a run comes to a claim's start from another, as formulas: the starts it passes one after another.

A run that comes to a start may pass it in any state that belongs to it: the step in which it does is one of its own, in
which nothing else changes, and pace counters forget, as at every start. Past the last start the claim's own run has begun.
"""

from __future__ import annotations

from collections.abc import Sequence

from bandproof.encoding.bits import Bit, BitSort, Choice, PassChoice
from bandproof.encoding.circuit import FALSE, TRUE, negate
from bandproof.encoding.encode import Encoding
from bandproof.encoding.final import FinalRule
from bandproof.model.arrangement import Start


class WayRule:
    """The bits of the starts to be passed, in their order; no starts make a run that has begun from the beginning."""

    def __init__(self, encoding: Encoding, final: FinalRule, starts: Sequence[Start]) -> None:
        self._c = encoding.circuit
        names = [start.name for start in starts]
        literals = [self._c.variable(f"{encoding.prefix}passed {name}") for name in names]
        self.bits = tuple(
            Bit(literal, BitSort.PASSED, name, "yes", side=encoding.prefix)
            for literal, name in zip(literals, names, strict=True)
        )
        #: The claim's own run has begun.
        self.begun = literals[-1] if literals else TRUE
        #: What the choice to pass a start stands for, by its literal.
        self.choices: dict[int, Choice] = {}
        chosen = self._c.variable(f"input {encoding.prefix}{PassChoice().says}") if literals else FALSE
        if literals:
            self.choices[chosen] = PassChoice()
        passes = [
            self._c.all_of([chosen, before, negate(literal), encoding.belongs(start, final.settled)])
            for start, before, literal in zip(starts, [TRUE, *literals], literals, strict=False)
        ]
        self._passing = self._c.any_of(passes)
        self.after = tuple(self._c.either(*pair) for pair in zip(literals, passes, strict=True))

    def follow(self, bit: Bit, after: int) -> int:
        """The value of a state bit after a step, when it is `after` in one that passes no start."""
        match bit.sort:
            case BitSort.WINDOW:
                return self._c.both(after, self.begun)
            case BitSort.COUNT:
                return self._c.both(after, negate(self._passing))
            case BitSort.LAST:
                return self._c.choose(self._passing, TRUE if bit.value == "none" else FALSE, after)
            case _:
                return self._c.choose(self._passing, bit.literal, after)
