"""The one seam to the clause solver: an incremental CaDiCaL with assumptions and cores.

CaDiCaL 1.9.5 as packaged with python-sat. Its search is deterministic: same clauses, same answers.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from pysat.solvers import Cadical195

#: What one query costs beside its propagations, in propagations; roughly the time CaDiCaL takes to restart.
_QUERY_CHARGE = 2_000


class Sat:
    """Clauses over signed variables 1, 2, ...; satisfiable or not under assumptions."""

    def __init__(self, clauses: Iterable[Sequence[int]] = ()) -> None:
        self._solver = Cadical195(bootstrap_with=clauses)
        self.queries = 0

    def add(self, clause: Sequence[int]) -> None:
        """Add one clause for good."""
        self._solver.add_clause(clause)

    def add_all(self, clauses: Iterable[Sequence[int]]) -> None:
        """Add clauses for good."""
        add = self._solver.add_clause
        for clause in clauses:
            add(clause)

    def holds(self, assumptions: Sequence[int] = ()) -> bool:
        """Some assignment satisfies all clauses and assumptions."""
        self.queries += 1
        return bool(self._solver.solve(assumptions=assumptions))

    def core(self) -> list[int]:
        """After `holds` said no: assumptions that already make it so."""
        return list(self._solver.get_core() or ())

    def model(self) -> list[int]:
        """After `holds` said yes: the signed value of variable i at index i - 1; none beyond those of the clauses."""
        model: list[int] = self._solver.get_model()
        return model

    @property
    def work(self) -> int:
        """Propagations so far, plus a charge per query: a clock that runs alike on every machine."""
        return int(self._solver.accum_stats()["propagations"]) + _QUERY_CHARGE * self.queries

    def close(self) -> None:
        """Free the solver's memory."""
        self._solver.delete()
