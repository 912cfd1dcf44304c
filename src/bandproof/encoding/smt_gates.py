"""The gates of a circuit as SMT-LIB terms: names for what a problem's variables say, and terms for what rests on them."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

from bandproof.encoding.circuit import Circuit
from bandproof.solvers.smt_terms import FALSE, TRUE, Bool, BoolSymbol, Negation, conjunction, disjunction

#: Gates used once are written in place, up to this many levels deep; deeper ones get a name of their own.
_DEEPEST = 5


@dataclass(frozen=True, slots=True)
class Symbols:
    """The symbols of a problem: of its state bits, and of every other variable of its circuit."""

    bits: dict[int, BoolSymbol]
    inputs: dict[int, BoolSymbol]

    def literal(self, literal: int) -> Bool:
        """A state literal before a step."""
        return signed(self.bits[literal >> 1], literal)

    def literal_after(self, literal: int) -> Bool:
        """A state literal after a step."""
        return signed(BoolSymbol(after_symbol(self.bits[literal >> 1].name)), literal)

    def of(self, node: int) -> BoolSymbol:
        """Any variable."""
        return self.bits[node] if node in self.bits else self.inputs[node]


def after_symbol(name: str) -> str:
    """The name of the symbol for the same fact after a step."""
    return f"|after: {name[1:-1]}|"


def signed(term: Bool, literal: int) -> Bool:
    """A term, negated where the literal is."""
    return Negation(term) if literal & 1 else term


class Gates:
    """The gates of a circuit as SMT-LIB terms, in an order that depends on what they say only.

    `ahead` is that of the gates' symbols, where they belong to a step.
    """

    def __init__(self, circuit: Circuit, symbols: Symbols, nodes: Iterable[int], *, ahead: int | None = None) -> None:
        self._symbols = symbols
        self._ahead = ahead
        self._operands: dict[int, list[int]] = {}
        digest: dict[int, bytes] = {}
        for node in nodes:
            operands = circuit.operands[node]
            if operands is None:
                digest[node] = b"false" if node == 0 else symbols.of(node).name.encode()
                continue
            keyed = sorted((digest[x >> 1] + (b"-" if x & 1 else b"+"), x) for x in operands)
            digest[node] = hashlib.blake2b(b"\0".join(key for key, _ in keyed), digest_size=16).digest()
            self._operands[node] = [x for _, x in keyed]

    def define(self, roots: Iterable[int]) -> tuple[list[tuple[BoolSymbol, Bool]], list[Bool], set[int]]:
        """Definitions of the gates that need a name, the roots as terms, and all nodes they rest on."""
        wanted = list(roots)
        order = self._order(wanted)
        uses: dict[int, int] = {}
        for node in order:
            for x in self._operands.get(node, ()):
                uses[x >> 1] = uses.get(x >> 1, 0) + 1
        for x in wanted:
            uses[x >> 1] = uses.get(x >> 1, 0) + 1
        name: dict[int, BoolSymbol] = {}
        height: dict[int, int] = {}
        definitions: list[tuple[BoolSymbol, Bool]] = []
        for node in order:
            if node not in self._operands:
                continue
            inside = max(height.get(x >> 1, 0) for x in self._operands[node])
            if uses[node] > 1 or inside == _DEEPEST:
                term = self._all_of(node, name)
                name[node] = BoolSymbol(f"g{len(name) + 1}", self._ahead)
                definitions.append((name[node], term))
                height[node] = 0
            else:
                height[node] = inside + 1
        return definitions, [self._term(x, name) for x in wanted], set(order)

    def _order(self, roots: list[int]) -> list[int]:
        """All nodes under the roots, operands before users, in the order a reader meets them."""
        seen: set[int] = set()
        order: list[int] = []
        stack = [(x >> 1, False) for x in reversed(roots)]
        while stack:
            node, done = stack.pop()
            if done:
                order.append(node)
            elif node not in seen:
                seen.add(node)
                stack.append((node, True))
                stack.extend((x >> 1, False) for x in reversed(self._operands.get(node, [])))
        return order

    def _term(self, literal: int, name: dict[int, BoolSymbol]) -> Bool:
        node = literal >> 1
        if node == 0:
            return TRUE if literal & 1 else FALSE
        if node in name:
            return signed(name[node], literal)
        if node not in self._operands:
            return signed(self._symbols.of(node), literal)
        if literal & 1:
            return disjunction(self._term(x ^ 1, name) for x in self._operands[node])
        return self._all_of(node, name)

    def _all_of(self, node: int, name: dict[int, BoolSymbol]) -> Bool:
        return conjunction(self._term(x, name) for x in self._operands[node])
