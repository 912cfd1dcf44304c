"""A reader and an evaluator of binary AIGER 1.9, written from the description of the format and from nothing else.

A. Biere, K. Heljanko, S. Wieringa, "AIGER 1.9 And Beyond", technical report 11/2, FMV, Johannes Kepler University, 2011.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from bandproof.solvers.sat import Sat

_SYMBOL = re.compile(r"([ilob])(\d+) (.+)")


@dataclass(frozen=True, slots=True)
class Circuit:
    """What a file says. `gates[i]` are the operands of the i-th gate after the inputs and latches."""

    inputs: int
    after: tuple[int, ...]
    outputs: tuple[int, ...]
    bad: tuple[int, ...]
    gates: tuple[tuple[int, int], ...]
    symbols: tuple[tuple[str, int, str], ...]
    comment: tuple[str, ...]

    def names(self, sort: str) -> list[str]:
        """The names of all inputs (`i`), latches (`l`), outputs (`o`) or bad states (`b`), in their order."""
        found = {place: name for kind, place, name in self.symbols if kind == sort}
        return [found[place] for place in range(len(found))]

    @property
    def goal(self) -> int:
        """The one bad state: in its own section or, as in files of the first version, the one output."""
        (literal,) = self.bad or self.outputs
        return literal

    def values(self, latches: Sequence[bool], inputs: Sequence[bool]) -> list[bool]:
        """The value of every variable."""
        assert (len(inputs), len(latches)) == (self.inputs, len(self.after))
        values = [False, *inputs, *latches]
        for one, other in self.gates:
            values.append(_holds(values, one) and _holds(values, other))
        return values

    def step(self, latches: Sequence[bool], inputs: Sequence[bool]) -> tuple[list[bool], bool]:
        """The latches after a step, and whether the state before it is bad."""
        values = self.values(latches, inputs)
        return [_holds(values, literal) for literal in self.after], _holds(values, self.goal)


def _holds(values: Sequence[bool], literal: int) -> bool:
    return values[literal >> 1] != bool(literal & 1)


def read(data: bytes) -> Circuit:
    """Read a file; AssertionError where it is not what the format asks for."""
    head, _, rest = data.partition(b"\n")
    magic, *numbers = head.decode("ascii").split(" ")
    assert magic == "aig"
    most, inputs, latches, outputs, ands, *more = map(int, numbers)
    assert most == inputs + latches + ands
    assert len(more) <= 1, "no constraints, no justice, no fairness"
    lines = []
    for _ in range(latches + outputs + sum(more)):
        line, _, rest = rest.partition(b"\n")
        lines.append(int(line))  # a latch with a second number, its reset value, is refused here
    assert all(0 <= literal <= 2 * most + 1 for literal in lines)
    gates = []
    for variable in range(1 + inputs + latches, 1 + most):
        first, rest = _number(rest)
        second, rest = _number(rest)
        one = 2 * variable - first
        assert first > 0
        assert one - second >= 0
        gates.append((one, one - second))
    symbols, comment = _text(rest.decode("ascii"))
    return Circuit(
        inputs,
        tuple(lines[:latches]),
        tuple(lines[latches : latches + outputs]),
        tuple(lines[latches + outputs :]),
        tuple(gates),
        symbols,
        comment,
    )


def _number(data: bytes) -> tuple[int, bytes]:
    value = 0
    for place, byte in enumerate(data):
        value |= (byte & 0x7F) << 7 * place
        if byte < 0x80:
            return value, data[place + 1 :]
    message = "the file ends inside a number"
    raise AssertionError(message)


def _text(text: str) -> tuple[tuple[tuple[str, int, str], ...], tuple[str, ...]]:
    symbols: list[tuple[str, int, str]] = []
    lines = text.splitlines()
    for number, line in enumerate(lines):
        if line == "c":
            return tuple(symbols), tuple(lines[number + 1 :])
        found = _SYMBOL.fullmatch(line)
        assert found is not None, line
        symbols.append((found[1], int(found[2]), found[3]))
    return tuple(symbols), ()


class Unrolled:
    """Copies of the circuit, one for each step, before a clause solver; the latches of the first are free or false."""

    def __init__(self, circuit: Circuit, *, from_zero: bool) -> None:
        self.circuit = circuit
        self.sat = Sat()
        self._free = 1
        self._steps: list[list[int]] = []
        start = [self._new() for _ in circuit.after]
        if from_zero:
            self.sat.add_all([-x] for x in start)
        self._copy(start)

    def _new(self) -> int:
        self._free += 1
        self.sat.add([self._free - 1, 1 - self._free])  # says nothing, and makes the variable known
        return self._free - 1

    def _copy(self, latches: Sequence[int]) -> None:
        circuit = self.circuit
        no = self._new()
        self.sat.add([-no])
        own = [no, *(self._new() for _ in range(circuit.inputs)), *latches]
        for one, other in circuit.gates:
            gate, a, b = self._new(), _signed(own, one), _signed(own, other)
            self.sat.add_all([[-gate, a], [-gate, b], [gate, -a, -b]])
            own.append(gate)
        self._steps.append(own)

    def extend(self) -> None:
        """One more step."""
        self._copy([_signed(self._steps[-1], literal) for literal in self.circuit.after])

    def literal(self, step: int, literal: int) -> int:
        """A literal of the circuit at a step, for the solver."""
        return _signed(self._steps[step], literal)

    def latch(self, place: int) -> int:
        """A latch, as a literal of the circuit."""
        return 2 * (1 + self.circuit.inputs + place)

    def inputs(self, assumptions: Sequence[int]) -> list[bool] | None:
        """Inputs of the first step with which the assumptions hold, if there are any."""
        if not self.sat.holds(assumptions):
            return None
        model = self.sat.model()
        return [model[x - 1] > 0 for x in self._steps[0][1 : 1 + self.circuit.inputs]]

    def shortest(self, most: int) -> int | None:
        """The first of the steps 0 to `most` in which the bad state can be reached."""
        for step in range(most + 1):
            if step == len(self._steps):
                self.extend()
            if self.sat.holds([self.literal(step, self.circuit.goal)]):
                return step
        return None

    def witness(self, most: int) -> list[list[bool]] | None:
        """The inputs, step by step, of a shortest run to the bad state, if one has no more than `most` steps."""
        last = self.shortest(most)
        if last is None:
            return None
        model = self.sat.model()
        return [[model[x - 1] > 0 for x in own[1 : 1 + self.circuit.inputs]] for own in self._steps[: last + 1]]


def _signed(values: Sequence[int], literal: int) -> int:
    return -values[literal >> 1] if literal & 1 else values[literal >> 1]
