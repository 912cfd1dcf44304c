"""Makes an invariant small before it is written down: only clauses that are needed, shortened where that is free.

An invariant here is a set of clauses over state bits that together hold in the start, are kept by every step and
exclude the goal. What an engine takes for granted about every state - the order of a thermometer's bits, one state per
part - is made explicit as clauses too, so that nothing has to be taken on trust.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import combinations, pairwise

from bandproof.encoding.bits import Group
from bandproof.encoding.session import SolverSession
from bandproof.encoding.system import Problem
from bandproof.text.errors import CrossCheckError

Clause = tuple[int, ...]

#: Stands for the goal among clauses: there is no literal -1.
_GOAL: Clause = (-1,)


def definition_clauses(problem: Problem) -> list[Clause]:
    """The clauses that `problem.well_formed` stands for."""
    groups: dict[Group, list[tuple[int, int]]] = {}
    for bit in problem.bits:
        groups.setdefault(bit.group, []).append((bit.rank, bit.literal))
    found: list[Clause] = []
    for members in groups.values():
        literals = [literal for _, literal in members]
        if members[0][0] >= 0:
            found += [(low, high ^ 1) for low, high in pairwise(literals)]
        elif len(members) > 1:
            found.append(tuple(literals))
            found += [(a ^ 1, b ^ 1) for a, b in combinations(literals, 2)]
    return found


def minimised(problem: Problem, invariant: Iterable[Clause], goal: int) -> tuple[Clause, ...]:
    """Clauses out of `invariant` and the definitions, some shortened, that are an invariant and exclude `goal`.

    No single one of them can be left out. CrossCheckError when what was given is no such invariant.
    """
    work = _Minimiser(problem, goal)
    try:
        return work.run([*definition_clauses(problem), *invariant])
    finally:
        work.close()


class _Minimiser:
    """One solver that knows start, step and goal; every clause sits behind a gate of its own."""

    def __init__(self, problem: Problem, goal: int) -> None:
        self._order = {bit.literal >> 1: place for place, bit in enumerate(problem.bits)}
        self._session = SolverSession(problem)
        self._sat = self._session.sat
        state = self._session.new_state()
        self._bits = {bit.literal >> 1: x for bit, x in zip(problem.bits, state, strict=True)}
        step = self._session.write(state, *problem.after)
        self._after = {bit.literal >> 1: step(after) for bit, after in zip(problem.bits, problem.after, strict=True)}
        self._start = self._session.write(state, problem.start)(problem.start)
        self._goal = self._session.write(state, goal)(goal)
        self._gate: dict[Clause, int] = {}
        self._behind: dict[int, Clause] = {}
        #: For each clause found to be needed: the clauses whose truth before a step makes it true after.
        self._support: dict[Clause, frozenset[Clause]] = {}
        self._goal_support: frozenset[Clause] = frozenset()

    def close(self) -> None:
        self._sat.close()

    def run(self, given: list[Clause]) -> tuple[Clause, ...]:
        known = {tuple(sorted(set(clause), key=self._place)) for clause in given}
        for clause in sorted(known, key=self._rank):
            self._add(clause)
        self._close_under_steps(known)
        self._drop_clauses()
        return tuple(sorted(self._support, key=self._rank))

    def _place(self, literal: int) -> tuple[int, int]:
        return self._order[literal >> 1], literal & 1

    def _rank(self, clause: Clause) -> tuple[int, list[tuple[int, int]]]:
        return len(clause), [self._place(literal) for literal in clause]

    def _add(self, clause: Clause) -> None:
        if clause not in self._gate:
            gate = self._gate[clause] = self._session.new_variable()
            self._behind[gate] = clause
            self._sat.add([-gate, *map(self._signed, clause)])

    def _signed(self, literal: int) -> int:
        now = self._bits[literal >> 1]
        return -now if literal & 1 else now

    def _next(self, literal: int) -> int:
        after = self._after[literal >> 1]
        return -after if literal & 1 else after

    # ---- questions

    def _excluded(self, using: Iterable[Clause]) -> frozenset[Clause] | None:
        """Clauses out of `using` that exclude the goal, or None."""
        if self._sat.holds([self._goal, *self._gates(using)]):
            return None
        return self._core_clauses()

    def _kept(self, clause: Clause, using: Iterable[Clause]) -> tuple[frozenset[Clause], Clause] | None:
        """Clauses out of `using` after which every step makes `clause` true, and the part of it that comes true."""
        if self._sat.holds([*self._gates(using), *(-self._next(x) for x in clause)]):
            return None
        core = set(self._sat.core())
        part = tuple(x for x in clause if -self._next(x) in core)
        return self._core_clauses(), part

    def _starts_true(self, clause: Clause) -> bool:
        return not self._sat.holds([self._start, *(-self._signed(x) for x in clause)])

    def _gates(self, clauses: Iterable[Clause]) -> list[int]:
        return sorted(self._gate[clause] for clause in clauses)

    def _core_clauses(self) -> frozenset[Clause]:
        return frozenset(self._behind[x] for x in self._sat.core() if x in self._behind)

    # ---- what is needed

    def _close_under_steps(self, known: set[Clause]) -> None:
        """From the goal backwards: the clauses needed to exclude it, the clauses needed to keep those, and so on."""
        found = self._excluded(known)
        if found is None:
            message = "the clauses of a proof do not exclude what they should"
            raise CrossCheckError(message)
        self._goal_support = found
        while missing := self._goal_support.union(*self._support.values()) - self._support.keys():
            self._settle(min(missing, key=self._rank), known)

    def _settle(self, clause: Clause, known: set[Clause]) -> None:
        """Find the support of `clause`, shortened to what of it comes true; a shorter one takes its place everywhere."""
        if not self._starts_true(clause):
            message = "a clause of a proof does not hold in the start"
            raise CrossCheckError(message)
        needed = {clause, *self._support}
        found = self._kept(clause, needed) or self._kept(clause, known)
        if found is None:
            message = "the clauses of a proof are not kept by every step"
            raise CrossCheckError(message)
        support, part = found
        shorter = clause
        if part and len(part) < len(clause) and self._starts_true(part):
            shorter = part
        self._support[shorter] = support
        if shorter != clause:
            self._replace(clause, shorter, known)

    def _replace(self, clause: Clause, shorter: Clause, known: set[Clause]) -> None:
        self._add(shorter)
        known.discard(clause)
        known.add(shorter)
        swap = {clause: shorter}
        self._support.pop(clause, None)
        self._support = {c: frozenset(swap.get(s, s) for s in given) for c, given in self._support.items()}
        self._goal_support = frozenset(swap.get(s, s) for s in self._goal_support)

    # ---- what is not

    def _drop_clauses(self) -> None:
        """Leave out, one at a time, every clause that the others can do without."""
        self._forget_unused()
        #: For each clause that could not be left out: what needed it. It is tried again only when that is gone.
        needed_by: dict[Clause, Clause] = {}
        while waiting := [c for c in self._support if needed_by.get(c) not in {*self._support, _GOAL}]:
            for clause in sorted(waiting, key=self._rank, reverse=True):
                if clause in self._support and (user := self._try_without(clause)) is not None:
                    needed_by[clause] = user

    def _try_without(self, clause: Clause) -> Clause | None:
        """Leave the clause out; if that cannot be, one that needs it, or the goal."""
        rest = set(self._support) - {clause}
        goal_support: frozenset[Clause] | None = self._goal_support
        if clause in self._goal_support and (goal_support := self._excluded(rest)) is None:
            return _GOAL
        changed: dict[Clause, frozenset[Clause]] = {}
        for user in sorted(rest, key=self._rank):
            if clause in self._support[user]:
                found = self._kept(user, rest)
                if found is None:
                    return user
                changed[user] = found[0]
        assert goal_support is not None
        self._goal_support = goal_support
        del self._support[clause]
        self._support.update(changed)
        self._forget_unused()
        return None

    def _forget_unused(self) -> None:
        used: set[Clause] = set()
        waiting = list(self._goal_support)
        while waiting:
            clause = waiting.pop()
            if clause not in used:
                used.add(clause)
                waiting += self._support[clause]
        self._support = {clause: given for clause, given in self._support.items() if clause in used}
