"""Boolean circuits with shared nodes: the one form every formula about an arrangement takes before a solver sees it.

A literal is an int: `2 * node` or, negated, `2 * node + 1`. Node 0 is the constant false. Every other node is a
variable or a conjunction of two or more literals. Nodes are only ever added, operands before users, so node order is a
topological order.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping

FALSE = 0
TRUE = 1


def negate(literal: int) -> int:
    """The opposite literal."""
    return literal ^ 1


class Circuit:
    """A growing set of shared nodes."""

    def __init__(self) -> None:
        self.operands: list[tuple[int, ...] | None] = [None]
        self.names: dict[int, str] = {}
        self._shared: dict[tuple[int, ...], int] = {}

    def variable(self, name: str) -> int:
        """A new variable; returns its positive literal."""
        node = len(self.operands)
        self.operands.append(None)
        self.names[node] = name
        return 2 * node

    def all_of(self, literals: Iterable[int]) -> int:
        """The conjunction of `literals`."""
        unique = sorted(set(literals) - {TRUE})
        if not unique:
            return TRUE
        if unique[0] == FALSE or any(a ^ 1 == b for a, b in itertools.pairwise(unique)):
            return FALSE
        if len(unique) == 1:
            return unique[0]
        key = tuple(unique)
        node = self._shared.get(key)
        if node is None:
            node = len(self.operands)
            self.operands.append(key)
            self._shared[key] = node
        return 2 * node

    def any_of(self, literals: Iterable[int]) -> int:
        """The disjunction of `literals`."""
        return self.all_of(literal ^ 1 for literal in literals) ^ 1

    def both(self, one: int, other: int) -> int:
        """`one` and `other`."""
        return self.all_of((one, other))

    def either(self, one: int, other: int) -> int:
        """`one` or `other`."""
        return self.any_of((one, other))

    def implies(self, one: int, other: int) -> int:
        """Not `one`, or `other`."""
        return self.any_of((one ^ 1, other))

    def choose(self, test: int, then: int, otherwise: int) -> int:
        """`then` where `test` holds, else `otherwise`."""
        if then == otherwise:
            return then
        return self.both(self.implies(test, then), self.either(test, otherwise))

    def exactly_one(self, literals: list[int]) -> int:
        """One of `literals` holds and no two do."""
        pairs = (self.any_of((a ^ 1, b ^ 1)) for i, a in enumerate(literals) for b in literals[:i])
        return self.all_of([self.any_of(literals), *pairs])

    def cone(self, roots: Iterable[int]) -> list[int]:
        """All nodes that `roots` depend on, the roots' own included, in topological order."""
        wanted: set[int] = set()
        stack = [literal >> 1 for literal in roots]
        while stack:
            node = stack.pop()
            if node in wanted:
                continue
            wanted.add(node)
            stack.extend(literal >> 1 for literal in self.operands[node] or ())
        return sorted(wanted)

    def substitute(self, roots: list[int], values: Mapping[int, int]) -> list[int]:
        """The roots with every variable replaced by the literal that `values` has for its positive literal, if any."""
        known: dict[int, int] = {}
        for node in self.cone(roots):
            operands = self.operands[node]
            if operands is None:
                known[node] = values.get(2 * node, 2 * node)
            else:
                known[node] = self.all_of(known[literal >> 1] ^ (literal & 1) for literal in operands)
        return [known[literal >> 1] ^ (literal & 1) for literal in roots]

    def evaluate(self, roots: list[int], values: Mapping[int, bool]) -> list[bool]:
        """The truth of each root when the variable nodes have `values`; a variable left out is false."""
        known: dict[int, bool] = {}
        for node in self.cone(roots):
            operands = self.operands[node]
            if operands is None:
                known[node] = values.get(node, False)
            else:
                known[node] = all(known[literal >> 1] != bool(literal & 1) for literal in operands)
        return [known[literal >> 1] != bool(literal & 1) for literal in roots]


def clauses(circuit: Circuit, nodes: Iterable[int]) -> list[list[int]]:
    """Clauses that tie every conjunction among `nodes` to its operands (Tseitin); solver variable = node + 1.

    Node 0, the constant, is tied to false when it is among them.
    """
    out: list[list[int]] = []
    for node in nodes:
        operands = circuit.operands[node]
        if node == 0:
            out.append([-1])
        if operands is None:
            continue
        own = node + 1
        signed = [signed_variable(literal) for literal in operands]
        out.extend([-own, s] for s in signed)
        out.append([own, *(-s for s in signed)])
    return out


def signed_variable(literal: int) -> int:
    """The solver's signed variable for a literal."""
    return -(literal >> 1) - 1 if literal & 1 else (literal >> 1) + 1


class Numbered:
    """The clauses of all nodes that `roots` depend on, solver variables numbered without gaps from `first`."""

    def __init__(self, circuit: Circuit, roots: Iterable[int], *, first: int = 1) -> None:
        nodes = circuit.cone(roots)
        self._number = {node: number for number, node in enumerate(nodes, start=first)}
        self.size = len(nodes)
        number = self._number
        table: dict[int, int] = {}
        for node in nodes:
            table[node + 1], table[-node - 1] = number[node], -number[node]
        self.clauses = [[table[x] for x in clause] for clause in clauses(circuit, nodes)]

    def signed(self, literal: int) -> int:
        """The signed solver variable of a literal in the cone of the roots; KeyError for any other."""
        number = self._number[literal >> 1]
        return -number if literal & 1 else number

    def knows(self, literal: int) -> bool:
        """The literal is in the cone of the roots."""
        return literal >> 1 in self._number
