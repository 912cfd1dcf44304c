"""Reachability with binary decision diagrams (library `dd`, its plain Python manager): a second symbolic opinion.

The step of a problem is a total function of state bits and inputs, so the image of a set S of states is

    there b, w: S(b) and, for each bit, b' = after(b, w).

The conjuncts are joined one by one, each input and each old bit quantified away as soon as no later conjunct needs it. Layer by
layer from the start, the first layer that meets the bad gives the shortest length. Small problems only.
"""

from __future__ import annotations

from typing import Any

from dd.autoref import BDD

from bandproof.encoding.system import Problem
from tests.oracles.answers import Answer


class Diagrams:
    """One problem's start, bad and step as decision diagrams."""

    def __init__(self, problem: Problem) -> None:
        self._problem = problem
        self._manager = BDD()
        self._manager.configure(reordering=True)
        circuit = problem.circuit
        self._bits = [b.literal >> 1 for b in problem.bits]
        roots = [*(b.literal for b in problem.bits), *problem.after, problem.bad, problem.start, problem.well_formed]
        cone = circuit.cone(roots)
        inputs = [n for n in cone if n and circuit.operands[n] is None and n not in set(self._bits)]
        for node in self._bits:
            self._manager.declare(f"now{node}", f"then{node}")
        self._manager.declare(*(f"now{node}" for node in inputs))
        self._formula: dict[int, Any] = {}
        for node in cone:
            operands = circuit.operands[node]
            if node == 0:
                self._formula[node] = self._manager.false
            elif operands is None:
                self._formula[node] = self._manager.var(f"now{node}")
            else:
                joined = self._manager.true
                for literal in operands:
                    joined &= self.literal(literal)
                self._formula[node] = joined
        self._conjuncts = self._step(inputs)

    def literal(self, literal: int) -> Any:
        """The diagram of a literal."""
        formula = self._formula[literal >> 1]
        return ~formula if literal & 1 else formula

    def _step(self, inputs: list[int]) -> list[tuple[Any, list[str]]]:
        """The conjuncts of the step, each with the present variables that nothing after it depends on."""
        parts = [
            self._manager.var(f"then{node}").equiv(self.literal(after))
            for node, after in zip(self._bits, self._problem.after, strict=True)
        ]
        present = {f"now{node}" for node in [*self._bits, *inputs]}
        last: dict[str, int] = dict.fromkeys(present, 0)
        for number, part in enumerate(parts):
            last.update(dict.fromkeys(present & self._manager.support(part), number))
        return [(part, [v for v, n in last.items() if n == number]) for number, part in enumerate(parts)]

    def image(self, states: Any) -> Any:
        """Every state one step away from `states`; the step that changes nothing included."""
        for part, done in self._conjuncts:
            states = self._manager.exist(done, states & part)
        return self._manager.let({f"then{n}": f"now{n}" for n in self._bits}, states)

    def search(self) -> Answer:
        """Layers of reachable states until one meets the bad or none is new."""
        bad = self.literal(self._problem.bad)
        reached = layer = self.literal(self._problem.start) & self.literal(self._problem.well_formed)
        steps = 0
        while layer != self._manager.false:
            if layer & bad != self._manager.false:
                return Answer(reachable=True, steps=steps)
            layer = self.image(layer) & ~reached
            reached |= layer
            steps += 1
        return Answer(reachable=False)


def by_diagrams(problem: Problem) -> Answer:
    """Reachability with decision diagrams; always decides."""
    return Diagrams(problem).search()
