"""A monitor (see `bandproof.properties.monitors`) as formulas, for the solvers.

Each monitor state but the first is a bit, which says where the monitor was before it saw the present state; in the first
it is where none of them holds. No two hold in a state of a run: none does at its start, and a change goes from one to one.
"""

from __future__ import annotations

from dataclasses import dataclass

from bandproof.encoding.bits import Bit, BitSort
from bandproof.encoding.circuit import FALSE, TRUE, negate
from bandproof.encoding.encode import Encoding
from bandproof.encoding.final import FinalRule
from bandproof.properties.monitors import Every, Fails, Formula, Holds, Monitor, Remembers, Some, Stillness


@dataclass(frozen=True, slots=True)
class EncodedMonitor:
    """The bits of a monitor, the value of each after a step, and its formulas."""

    bits: tuple[Bit, ...]
    after: tuple[int, ...]
    bad: int
    applies: int
    over: int


def encode_monitor(encoding: Encoding, final: FinalRule, monitor: Monitor) -> EncodedMonitor:
    """The monitor over the states of an encoding."""
    return _Watching(encoding, final, monitor).encoded()


class _Watching:
    """One monitor, its changes made one after another on the present state."""

    def __init__(self, encoding: Encoding, final: FinalRule, monitor: Monitor) -> None:
        self._e, self._c, self._final, self._monitor = encoding, encoding.circuit, final, monitor
        self._first = monitor.states[0]
        self._bits = {state: self._bit(state) for state in monitor.states[1:]}
        #: For each state with a bit: literals of which the monitor is in it just where all hold.
        self._within = {state: [bit.literal] for state, bit in self._bits.items()}

    def encoded(self) -> EncodedMonitor:
        for change in self._monitor.changes:
            self._make(change.source, change.target, self._formula(change.when))
        over = FALSE if self._monitor.over is None else self._bits[self._monitor.over].literal
        applies = TRUE if self._monitor.applies is None else self._formula(self._monitor.applies)
        bad = self._c.both(self._formula(self._monitor.bad), negate(over))
        after = tuple(self._in(state) for state in self._bits)
        return EncodedMonitor(tuple(self._bits.values()), after, bad, applies, over)

    def _bit(self, state: str) -> Bit:
        literal = self._c.variable(f"{self._e.prefix}monitor: {state}")
        return Bit(literal, BitSort.MONITOR, state, "yes", side=self._e.prefix)

    def _in(self, state: str) -> int:
        """The monitor is in `state`, by the changes made so far."""
        if state == self._first:
            return self._c.all_of(negate(self._in(other)) for other in self._bits)
        return self._c.all_of(self._within[state])

    def _make(self, source: str, target: str, when: int) -> None:
        if source == target:
            return
        c = self._c
        if source == self._first:
            # Where no other bit holds it is in the first state or in the target, and the change leads to the target.
            others = [negate(self._in(state)) for state in self._bits if state != target]
            self._within[target] = [c.all_of([*others, c.either(self._in(target), when)])]
            return
        moves = c.both(self._in(source), when)
        if target != self._first:
            self._within[target] = [c.either(self._in(target), moves)]
        self._within[source] = [*self._within[source], negate(when)]

    def _formula(self, formula: Formula) -> int:
        match formula:
            case Holds(condition, sure):
                return self._e.condition(condition, sure=sure)
            case Stillness.SETTLED:
                return self._final.settled()
            case Stillness.AT_REST:
                return self._final.at_rest()
            case Stillness.TO_AND_FRO:
                return self._c.both(self._final.settled(), self._final.to_and_fro(tanks_held=True))
            case Stillness.TO_AND_FRO_AT_REST:
                return self._c.both(self._final.at_rest(), self._final.to_and_fro(tanks_held=False))
            case Remembers(state):
                return self._in(state)
            case Fails(item):
                return negate(self._formula(item))
            case Every(items):
                return self._c.all_of([literal for item in items for literal in self._factors(item)])
            case Some(items):
                return self._c.any_of([self._formula(item) for item in items])

    def _factors(self, formula: Formula) -> list[int]:
        """Literals whose conjunction a formula is."""
        if isinstance(formula, Remembers) and formula.state != self._first:
            return self._within[formula.state]
        return [self._formula(formula)]
