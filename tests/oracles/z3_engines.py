"""z3 as a second opinion: bounded search with its clause solver, and its stock Horn engine, from the problem's circuit.

Both read only the circuit, none of the package's clause forms. Limits are counted in z3's own resource units, so that
an undecided answer is the same on every machine.
"""

from __future__ import annotations

from collections.abc import Iterable

import z3

from bandproof.encoding.circuit import Circuit
from bandproof.encoding.system import Problem
from tests.oracles.answers import Answer

#: About two seconds of work on a small problem.
RESOURCES = 20_000_000


class Translated:
    """Literals of a circuit as z3 formulas, one z3 constant per variable node, each node built once."""

    def __init__(self, circuit: Circuit, roots: Iterable[int], tag: str) -> None:
        self._formulas: dict[int, z3.BoolRef] = {}
        for node in circuit.cone(roots):
            operands = circuit.operands[node]
            if node == 0:
                self._formulas[node] = z3.BoolVal(val=False)
            elif operands is None:
                self._formulas[node] = z3.Bool(f"{circuit.names[node]} @{tag}")
            else:
                self._formulas[node] = z3.And([self.literal(x) for x in operands])

    def literal(self, literal: int) -> z3.BoolRef:
        """The formula of a literal."""
        formula = self._formulas[literal >> 1]
        return z3.Not(formula) if literal & 1 else formula

    def variables(self) -> list[z3.BoolRef]:
        """Every z3 constant used."""
        return [f for f in self._formulas.values() if z3.is_const(f) and f.decl().kind() == z3.Z3_OP_UNINTERPRETED]


def by_z3_bounded_search(problem: Problem, *, depth: int = 6, resources: int = RESOURCES, timeout: int = 0) -> Answer:
    """Unroll the step `depth` times at most; finds a nearest bad or stays undecided. `timeout` in ms, 0 for none."""
    solver = z3.Solver()
    solver.set("rlimit", resources)
    if timeout:
        solver.set("timeout", timeout)
    roots = [*(b.literal for b in problem.bits), *problem.after, problem.bad, problem.start, problem.well_formed]
    before: Translated | None = None
    for steps in range(depth + 1):
        now = Translated(problem.circuit, roots, str(steps))
        solver.add(now.literal(problem.well_formed))
        if before is None:
            solver.add(now.literal(problem.start))
        else:
            solver.add(
                [now.literal(b.literal) == before.literal(a) for b, a in zip(problem.bits, problem.after, strict=True)]
            )
        said = solver.check(now.literal(problem.bad))
        if said == z3.sat:
            return Answer(reachable=True, steps=steps)
        if said == z3.unknown:
            return Answer(None, why=f"z3: {solver.reason_unknown()}", beyond=steps - 1)
        before = now
    return Answer(None, why=f"no bad within {depth} steps", beyond=depth)


def horn_engine(problem: Problem, *, resources: int = RESOURCES, timeout: int = 0) -> tuple[z3.Fixedpoint, z3.BoolRef]:
    """The problem as Horn clauses over one relation, the reachable states, with the query."""
    engine = z3.Fixedpoint()
    engine.set(engine="spacer", rlimit=resources)
    if timeout:
        engine.set(timeout=timeout)
    roots = [*(b.literal for b in problem.bits), *problem.after, problem.bad, problem.start, problem.well_formed]
    now = Translated(problem.circuit, roots, "now")
    reached = z3.Function("reached", *[z3.BoolSort()] * len(problem.bits), z3.BoolSort())
    engine.register_relation(reached)
    variables = now.variables()
    if variables:
        engine.declare_var(*variables)
    here = reached(*(now.literal(b.literal) for b in problem.bits))
    there = reached(*(now.literal(a) for a in problem.after))
    engine.rule(here, z3.And(now.literal(problem.start), now.literal(problem.well_formed)))
    engine.rule(there, here)
    return engine, z3.And(here, now.literal(problem.bad))


def by_z3_horn(problem: Problem, *, resources: int = RESOURCES, timeout: int = 0) -> Answer:
    """z3's stock Horn engine; it proves and refutes without counting steps, and is undecided at its limit."""
    engine, query = horn_engine(problem, resources=resources, timeout=timeout)
    try:
        said = engine.query(query)
    except z3.Z3Exception as error:
        return Answer(None, why=f"z3: {error}")
    if said == z3.unknown:
        return Answer(None, why=f"z3: {engine.reason_unknown()}")
    return Answer(reachable=said == z3.sat)
