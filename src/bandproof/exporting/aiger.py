"""The binary AIGER format: circuits of two-input gates and latches, as bytes.

After A. Biere, K. Heljanko, S. Wieringa, "AIGER 1.9 And Beyond", technical report 11/2, Institute for Formal Models and
Verification, Johannes Kepler University, 2011. A literal is an int: `2 * variable` or, negated, `2 * variable + 1`;
variable 0 is the constant false. Inputs are the variables from 1 on, then come the latches, then the gates, each after
its operands. Every latch is false at first.

Limits: of what version 1.9 added, only the section of bad states is written. Nothing else is needed, so the file is one
of the first version too when the bad state is written as an output.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

FALSE = 0
TRUE = 1


class BadAs(StrEnum):
    """Where a file says which states are bad."""

    #: As its one output: readers of every version take it for the bad state.
    OUTPUT = "output"
    #: In the section of bad states, which only readers of version 1.9 know.
    PROPERTY = "property"


@dataclass(frozen=True, slots=True)
class Latch:
    """One latch: its name, and the literal of its value after a step."""

    name: str
    after: int


@dataclass(frozen=True, slots=True)
class Aiger:
    """A circuit with one bad state. `gates[i]` are the operands of gate i, the greater first; names are printable ASCII."""

    inputs: tuple[str, ...]
    latches: tuple[Latch, ...]
    gates: tuple[tuple[int, int], ...]
    bad: int
    bad_name: str
    comment: tuple[str, ...] = ()

    def as_bytes(self, bad_as: BadAs = BadAs.OUTPUT) -> bytes:
        """The file, byte for byte."""
        counts = [len(self.inputs), len(self.latches)]
        output = bad_as is BadAs.OUTPUT
        # The number of outputs, of gates, and of bad states where it is not zero.
        counts += [1, len(self.gates)] if output else [0, len(self.gates), 1]
        most = len(self.inputs) + len(self.latches) + len(self.gates)
        head = [
            f"aig {most} {' '.join(map(str, counts))}",
            *(str(latch.after) for latch in self.latches),
            str(self.bad),
        ]
        return (
            _lines(head)
            + b"".join(self._deltas())
            + _lines([*self._symbols("o" if output else "b"), "c", *self.comment])
        )

    def _deltas(self) -> Iterator[bytes]:
        """Each gate as two differences: of its literal and its first operand, and of its two operands."""
        first = 1 + len(self.inputs) + len(self.latches)
        for own, (one, other) in enumerate(self.gates, start=first):
            yield _number(2 * own - one)
            yield _number(one - other)

    def _symbols(self, bad: str) -> Iterator[str]:
        yield from (f"i{place} {name}" for place, name in enumerate(self.inputs))
        yield from (f"l{place} {latch.name}" for place, latch in enumerate(self.latches))
        yield f"{bad}0 {self.bad_name}"


def _lines(lines: Sequence[str]) -> bytes:
    return "".join(f"{line}\n" for line in lines).encode("ascii")


def _number(value: int) -> bytes:
    """A number in groups of seven bits, the lowest first; the highest bit of a byte says that more follow."""
    found = bytearray()
    while value >= 0x80:
        found.append(value & 0x7F | 0x80)
        value >>= 7
    found.append(value)
    return bytes(found)


class Gates:
    """A growing list of two-input gates, each pair of operands once. `first` is the variable of the first gate."""

    def __init__(self, first: int) -> None:
        self.operands: list[tuple[int, int]] = []
        self._first = first
        self._found: dict[tuple[int, int], int] = {}

    def both(self, one: int, other: int) -> int:
        """`one` and `other`."""
        one, other = max(one, other), min(one, other)
        if other in (FALSE, one ^ 1):
            return FALSE
        if other in (TRUE, one):
            return one
        if (one, other) not in self._found:
            self._found[one, other] = 2 * (self._first + len(self.operands))
            self.operands.append((one, other))
        return self._found[one, other]

    def all_of(self, literals: Sequence[int]) -> int:
        """The conjunction, as a tree that is as flat as can be."""
        level = sorted(literals) or [TRUE]
        while len(level) > 1:
            pairs = [self.both(*level[place : place + 2]) for place in range(0, len(level) - 1, 2)]
            level = [*pairs, *level[2 * len(pairs) :]]
        return level[0]

    def choose(self, test: int, then: int, otherwise: int) -> int:
        """`then` where `test` holds, else `otherwise`."""
        neither = self.both(self.both(test, then) ^ 1, self.both(test ^ 1, otherwise) ^ 1)
        return neither ^ 1
