"""Formulas of a circuit as clauses for a solver.

After G. S. Tseitin, "On the complexity of derivation in propositional calculus" (1968): a node gets a solver variable,
and clauses that tie it to what the node is.

Kept by hand: the clauses of a node are made once and put into many solvers, which makers of clauses in libraries do not do.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from operator import itemgetter

from bandproof.encoding.circuit import Circuit
from bandproof.solvers.sat import Sat

#: A conjunction gets a solver variable of its own where doing without would make one of more than this many clauses.
_PRODUCT = 4


class Numbered:
    """Clauses of all nodes that `roots` depend on, solver variables numbered without gaps from `first`.

    Roots and variables of the circuit have a solver variable; variables among the roots come first, in their order. A
    conjunction used in one place only has none where putting its own clauses there makes few: a solver has less to
    carry so.
    """

    def __init__(self, circuit: Circuit, roots: Sequence[int], *, first: int = 1) -> None:
        nodes = circuit.cone(roots)
        uses = Counter(literal >> 1 for node in nodes for literal in circuit.operands[node] or ())
        named = {literal >> 1 for literal in roots}
        self._signed: dict[int, int] = {}
        self._first = first
        #: Ties the solver's variables to one another.
        self.clauses: list[list[int]] = []
        #: For each literal: clauses whose conjunction it is.
        self._same: dict[int, list[tuple[int, ...]]] = {}
        for literal in roots:
            if circuit.operands[literal >> 1] is None:
                self._name(literal >> 1)
        #: The variables among the nodes, as positive literals.
        self.variables = [2 * node for node in nodes if node and circuit.operands[node] is None]
        for node in nodes:
            operands = circuit.operands[node]
            if operands is None:
                self._name(node)
                if node == 0:
                    self.clauses.append([-self._signed[node]])
                continue
            self._conjoin(node, operands)
            if node in named or uses[node] > 1:
                self._name(node)
        del self._same

    def _conjoin(self, node: int, operands: Iterable[int]) -> None:
        """The clauses of a conjunction and of its opposite, from those of the operands."""
        positive: list[tuple[int, ...]] = []
        negative: list[tuple[int, ...]] = [()]
        for literal in sorted(operands, key=lambda x: len(self._same[x ^ 1])):
            if len(negative) * len(self._same[literal ^ 1]) > _PRODUCT:
                self._name(literal >> 1)
            positive += self._same[literal]
            negative = [one + other for one in negative for other in self._same[literal ^ 1]]
        self._same[2 * node], self._same[2 * node + 1] = positive, negative

    def _name(self, node: int) -> None:
        """Give a node a variable of its own, and tie it to what the node is."""
        if node in self._signed:
            return
        own = self._signed[node] = self._first + len(self._signed)
        self.clauses += [[-own, *clause] for clause in self._same.get(2 * node, ())]
        self.clauses += [[own, *clause] for clause in self._same.get(2 * node + 1, ())]
        self._same[2 * node], self._same[2 * node + 1] = [(own,)], [(-own,)]

    @property
    def size(self) -> int:
        """How many solver variables there are."""
        return len(self._signed)

    def signed(self, literal: int) -> int:
        """The signed solver variable of a root or a variable in the cone of the roots; KeyError for any other."""
        number = self._signed[literal >> 1]
        return -number if literal & 1 else number


class ClauseTemplate:
    """Formulas over the bits of a state, to be put before solvers again and again, over variables that are chosen then.

    Neither the bits nor the formulas' own variables are known to a solver before that.
    """

    def __init__(self, circuit: Circuit, bits: Sequence[int], formulas: Sequence[int]) -> None:
        numbered = Numbered(circuit, [*bits, *formulas])
        known = set(bits)
        #: The variables, beside the bits, that the formulas depend on.
        self.others = tuple(x for x in numbered.variables if x not in known)
        self._inner = numbered.size - len(bits)
        self._signed = {x: numbered.signed(x) for x in (*bits, *formulas, *self.others)}
        #: Formulas that no clause may mention.
        self._loose = [numbered.signed(f) for f in formulas if circuit.operands[f >> 1] is None]
        #: Each clause as what picks its literals from a table of all of them.
        self._picks = [itemgetter(*clause) for clause in numbered.clauses if len(clause) > 1]
        self._units = [clause[0] for clause in numbered.clauses if len(clause) == 1]

    def put(self, sat: Sat, state: Sequence[int], first: int) -> tuple[Callable[[int], int], int]:
        """Tell the solver what the formulas are of the state whose bits are the literals `state`.

        Variables from `first` on are free. Returns what gives the solver's literal of a bit, a formula or another variable
        that they depend on (KeyError for any other), and the first variable that is free then.
        """
        high = first + self._inner
        literals = [*state, *range(first, high)]
        # Index i holds the literal for variable i; index -i, counted from the end, the opposite.
        table = [0, *literals, *(-x for x in reversed(literals))]
        sat.add_all([pick(table) for pick in self._picks])
        sat.add_all([[table[x]] for x in self._units])
        # A clause that says nothing makes a variable known to the solver, and so part of its models.
        sat.add_all([[table[x], -table[x]] for x in self._loose])
        return lambda literal: table[self._signed[literal]], high
