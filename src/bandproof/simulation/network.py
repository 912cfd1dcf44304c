"""The volumes of an arrangement as a network: which passage joins what, and linear equations on it, solved sparsely.

Arrays have the vehicles last: pressures are (volumes, vehicles), passages are (passages, vehicles). An arrangement has few
volumes and its passages join them almost like a tree, so the elimination of its linear equations is worked out once,
entry by entry, and then done for all vehicles at once, each entry being one row of an array; where they are few, as
whole matrices.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement, Passage
from bandproof.simulation.airflow import Floats

Entry = tuple[int, int]
Solve = Callable[[Floats], None]

#: Up to so many columns it is quicker to invert every column's whole matrix than to go through them entry by entry (measured
#: on 13 volumes: 35 us against 500 us for one column, 170 against 340 for 24, 890 against 380 for 100).
FEW = 32


class Elimination:
    """Gaussian elimination of a structurally symmetric matrix, without pivoting.

    No pivot is needed where every column's diagonal outweighs the rest of it, as in the equations of `Network`: a volume's
    own storage and what it loses to the outside come on top of what it gives to its neighbours. `entries` numbers the
    entries that are not always zero, those filled in on the way included.
    """

    def __init__(self, size: int, joined: set[Entry]) -> None:
        near = {i: {j for pair in joined if i in pair for j in pair if i != j} for i in range(size)}
        pattern = {(i, j) for i in near for j in near[i]} | {(i, i) for i in range(size)}
        order: list[tuple[int, tuple[int, ...]]] = []
        while near:
            k = min(near, key=lambda i: (len(near[i]), i))
            rest = tuple(sorted(near.pop(k)))
            order.append((k, rest))
            for i in rest:
                near[i] = (near[i] | set(rest)) - {i, k}
                pattern |= {(i, j) for j in rest}
        self.entries = {entry: number for number, entry in enumerate(sorted(pattern))}
        self._size = size
        self._rows, self._columns = np.array(sorted(pattern), dtype=np.intp).reshape(-1, 2).T
        at = self.entries
        self._steps = [
            (k, at[k, k], [(i, at[i, k], at[k, i], [(at[i, j], at[k, j]) for j in rest]) for i in rest])
            for k, rest in order
        ]

    def factored(self, matrix: Floats) -> Solve:
        """Ready to solve in place for right-hand sides (size, columns). `matrix` is (entries, columns), and is used up."""
        if matrix.shape[1] <= FEW:
            return self._inverted(matrix)
        self._factor(matrix)
        return partial(self._solve, matrix)

    def _inverted(self, matrix: Floats) -> Solve:
        whole = np.zeros((matrix.shape[1], self._size, self._size))
        whole[:, self._rows, self._columns] = matrix.T
        inverse = np.linalg.inv(whole)

        def solve(right: Floats) -> None:
            right[:] = np.matmul(inverse, right.T[:, :, None])[:, :, 0].T

        return solve

    def _factor(self, matrix: Floats) -> None:
        """Eliminate in place. `matrix` is (entries, columns): one matrix of its own for each column."""
        for _, pivot, rows in self._steps:
            inverse = np.reciprocal(matrix[pivot], out=matrix[pivot])
            for _, lower, _, updates in rows:
                factor = np.multiply(matrix[lower], inverse, out=matrix[lower])
                for target, upper in updates:
                    matrix[target] -= factor * matrix[upper]

    def _solve(self, matrix: Floats, right: Floats) -> None:
        """Solve in place for a right-hand side (size, columns), with `matrix` as `_factor` left it."""
        for k, _, rows in self._steps:
            for i, lower, _, _ in rows:
                right[i] -= matrix[lower] * right[k]
        for k, pivot, rows in reversed(self._steps):
            for i, _, upper, _ in rows:
                right[k] -= matrix[upper] * right[i]
            right[k] *= matrix[pivot]


@dataclass(frozen=True, slots=True)
class Way:
    """One passage: the index of its part, its index in the part, and the passage."""

    part: int
    number: int
    passage: Passage


class Network:
    """Passages between numbered volumes. After the volumes come the atmosphere and the source, as constant ends."""

    def __init__(self, arrangement: Arrangement) -> None:
        self.size = len(arrangement.volumes)
        index = {volume.name: i for i, volume in enumerate(arrangement.volumes)}
        index |= {ATMOSPHERE: self.size, SOURCE: self.size + 1}
        self.ways = [Way(p, k, w) for p, part in enumerate(arrangement.parts) for k, w in enumerate(part.passages)]
        self.upstream = np.array([index[way.passage.upstream] for way in self.ways], dtype=np.intp)
        self.downstream = np.array([index[way.passage.downstream] for way in self.ways], dtype=np.intp)
        self.one_way: NDArray[np.bool_] = np.array([[way.passage.one_way] for way in self.ways], dtype=bool).reshape(
            -1, 1
        )
        ends = list(zip(self.upstream.tolist(), self.downstream.tolist(), strict=True))
        self.elimination = Elimination(self.size, {(u, v) for u, v in ends if max(u, v) < self.size})
        self._gather = self._inflow(ends)
        self._by_pressure = self._slopes(ends)
        self.diagonal = np.array([self.elimination.entries[i, i] for i in range(self.size)], dtype=np.intp)

    def _inflow(self, ends: list[Entry]) -> Floats:
        """The matrix that makes net flows into volumes out of flows through passages."""
        found = [(v, k, 1.0) for k, (_, v) in enumerate(ends)] + [(u, k, -1.0) for k, (u, _) in enumerate(ends)]
        return _matrix(found, self.size, len(ends))

    def _slopes(self, ends: list[Entry]) -> Floats:
        """The matrix that makes the entries of d(net inflow)/d(pressure) out of the slopes of passages by both ends."""
        at, size = self.elimination.entries, self.size
        made: list[Floats] = []
        for side in (0, 1):
            found = [(v, pair[side], k, 1.0) for k, pair in enumerate(ends) for v in pair[1:]]
            found += [(u, pair[side], k, -1.0) for k, pair in enumerate(ends) for u in pair[:1]]
            kept = [(at[i, j], k, sign) for i, j, k, sign in found if max(i, j) < size]
            made.append(_matrix(kept, len(at), len(ends)))
        return np.concatenate(made, axis=1)

    def net(self, flow: Floats) -> Floats:
        """Net flow into every volume, from the flow through every passage."""
        return np.asarray(self._gather @ flow)

    def matrix(self, by_up: Floats, by_down: Floats) -> Floats:
        """The entries of the derivative of `net` by the pressures, in the order of `elimination.entries`."""
        return np.asarray(self._by_pressure @ np.concatenate([by_up, by_down]))


def _matrix(found: list[tuple[int, int, float]], rows: int, columns: int) -> Floats:
    """The sums of the entries given, those of rows beyond the last left out. Dense: there are a few dozen of each."""
    made = np.zeros((rows, columns))
    for row, column, value in found:
        if row < rows:
            made[row, column] += value
    return made
