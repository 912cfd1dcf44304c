"""A solver on which the formulas of one problem are written, each about one state."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from bandproof.encoding.clauses import ClauseTemplate
from bandproof.encoding.system import Problem
from bandproof.solvers.sat import Sat


class SolverSession:
    """A clause solver, and which of its variables are free. A state is a solver's literal for each bit of the problem."""

    def __init__(self, problem: Problem) -> None:
        self.sat = Sat()
        self._problem = problem
        self._bits = [bit.literal for bit in problem.bits]
        self._free = 1

    def new_variable(self) -> int:
        """A variable of the solver that nothing has been said of."""
        self._free += 1
        return self._free - 1

    def new_state(self) -> list[int]:
        """A state of variables that nothing has been said of, but that are part of the solver's models."""
        state = [self.new_variable() for _ in self._bits]
        self.sat.add_all([x, -x] for x in state)  # a clause that says nothing makes its variable known
        return state

    def write(self, state: Sequence[int], *formulas: int) -> Callable[[int], int]:
        """Say what some formulas are in a state.

        Returns what gives the solver's literal of such a formula, a bit, or a variable they depend on (KeyError for any
        other). That the state is well formed is said along with it, but not that it must be.
        """
        literal, self._free = self._template(formulas).put(self.sat, state, self._free)
        return literal

    def others(self, *formulas: int) -> tuple[int, ...]:
        """The variables, beside the bits, that formulas depend on which are written together."""
        return self._template(formulas).others

    def _template(self, formulas: tuple[int, ...]) -> ClauseTemplate:
        asked, templates = (*formulas, self._problem.well_formed), self._problem.templates
        if (key := (*self._bits, *asked)) not in templates:
            templates[key] = ClauseTemplate(self._problem.circuit, self._bits, asked)
        return templates[key]

    def write_formed(self, state: Sequence[int], *formulas: int) -> Callable[[int], int]:
        """As `write`, and the state must be well formed."""
        literal = self.write(state, *formulas)
        self.sat.add([literal(self._problem.well_formed)])
        return literal
