"""One property's search problem: from where, by which steps, to what.

`bandproof.encoding.system.pose` makes one; everything that searches, writes down or checks works on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from bandproof.encoding.bits import Bit, BitSort
from bandproof.encoding.circuit import FALSE, TRUE, Circuit
from bandproof.encoding.clauses import ClauseTemplate
from bandproof.machine.fillings import Window
from bandproof.machine.layout import Layout
from bandproof.machine.story import Count, State
from bandproof.properties.claim import Property


@dataclass(frozen=True, slots=True)
class Problem:
    """Find a run from `start` to a `bad`.

    All fields are literals of `circuit`. `after[i]` is the value of `bits[i]` after a step; it depends on the bits and
    on the choices. `well_formed` holds in every state and is kept by every step. `applies` says that the condition of a
    conditional property holds here; TRUE for the other shapes. `over` is the bit that says nothing can be a bad any
    more, now or later; FALSE where there is no such bit. `side` is the prefix of the encoding that is `layout`'s. `windows` are those
    of the claim's runs.

    Of a claim about runs that go on for ever a bad is the end of a round, and `saved` is the bit that says that the
    round has begun; `applies` then says that a round ends of which the claim says something.
    """

    circuit: Circuit
    layout: Layout
    claim: Property
    bits: tuple[Bit, ...]
    after: tuple[int, ...]
    accelerated: tuple[int, ...]
    start: int
    bad: int
    applies: int
    well_formed: int
    #: Formulas of this circuit as clauses, made once and shared by all problems of one rule.
    templates: dict[tuple[int, ...], ClauseTemplate] = field(compare=False, repr=False)
    over: int = FALSE
    side: str = ""
    windows: tuple[Window, ...] = ()
    #: The claim's own run has begun: the starts before it, if there are any, are passed.
    begun: int = TRUE
    saved: int = FALSE

    def round_from(self, run: Sequence[Sequence[bool]]) -> int | None:
        """The index of the state in which the round of a run begins, given as values of the bits; None without one."""
        place = next((i for i, bit in enumerate(self.bits) if bit.literal == self.saved), None)
        return None if place is None else max((k for k, values in enumerate(run) if not values[place]), default=0)

    def state_of(self, values: Sequence[bool]) -> State:
        """The arrangement's state when the bits have `values`; those of its side that say where it is are looked at."""
        truth: _Truth = {
            (bit.sort, bit.subject, bit.value): value
            for bit, value in zip(self.bits, values, strict=True)
            if bit.side == self.side
        }
        arrangement = self.layout.arrangement
        return State(
            tuple(
                sum(truth[BitSort.VOLUME, v.name, mark] for mark in self.layout.thresholds[v.name])
                for v in arrangement.volumes
            ),
            tuple(_standing(truth, BitSort.PART, p.name, p.states) for p in arrangement.parts),
            tuple(_standing(truth, BitSort.CONTROL, k.name, k.positions) for k in arrangement.controls),
            frozenset(m.name for m in arrangement.mishaps if truth[BitSort.MISHAP, m.name, "present"]),
            tuple(
                Count(
                    sum(truth[BitSort.COUNT, number, rank + 1] for rank in range(watch.allowance)),
                    None if truth[BitSort.LAST, number, "none"] else truth[BitSort.LAST, number, "up"],
                )
                for number, watch in enumerate(self.layout.timing_constraints)
            ),
            tuple(
                frozenset(
                    rank
                    for rank in range(len(self.layout.thresholds[window.tank]))
                    if truth[BitSort.WINDOW, window.tank, rank]
                )
                for window in self.windows
            ),
            frozenset(str(name) for (sort, name, _), value in truth.items() if sort is BitSort.PASSED and value),
        )


#: Whether each bit holds, by its sort, subject and value.
_Truth = dict[tuple[BitSort, str | int, str | int | Fraction], bool]


def _standing(truth: _Truth, sort: BitSort, subject: str, values: tuple[str, ...]) -> str:
    if len(values) == 1:
        return values[0]
    if len(values) == 2:
        return values[truth[sort, subject, values[1]]]
    return next(value for value in values if truth[sort, subject, value])
