"""One step of the air in time, for many vehicles at once, each with its own step.

The method is RODAS3: a Rosenbrock method of four stages and order three with an embedded one of order two, L-stable and
stiffly accurate (Sandu, Verwer, Blom, Carmichael, Potra and Spee, "Benchmarking stiff ODE solvers for atmospheric chemistry
problems II", Atmospheric Environment 31, 1997; coefficients from memory, their order is shown by a test). It solves linear
equations only, so a line of 0.02 L that follows its neighbours within a hundredth of a millisecond costs nothing once it
stands: the step is as long as the slow volumes allow.

Written for masses: with V the litres and N(p) the net flow into every volume, V dp/dt = N(p). The method keeps linear sums
of the unknowns with the exact derivative, so what leaves one volume enters another to the last digits.

An error made in one step does not grow: the flow into a volume rises with its neighbours' pressures and falls with its
own, and what leaves one volume enters another, so the sum of V |p - p'| over two solutions p and p' never increases.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from bandproof.simulation.airflow import Floats, flows, flows_and_slopes
from bandproof.simulation.network import Network


class Air:
    """The equations of some vehicles as their parts stand.

    `c` is 0 where a passage is shut; `ends` are the absolute pressures of the atmosphere and the source.
    """

    def __init__(self, network: Network, litres: Floats, c: Floats, b: Floats, ends: tuple[float, float]) -> None:
        self._network = network
        self._litres = litres
        self._c = c
        self._b = b
        self._all = np.empty((network.size + 2, litres.shape[1]))
        self._all[network.size :] = np.array(ends)[:, None]

    def net(self, pressures: Floats) -> Floats:
        """The net flow into every volume, Pa dm3/s."""
        up, down = self._ends(pressures)
        return self._network.net(flows(self._c, self._b, self._network.one_way, up, down))

    def net_and_slopes(self, pressures: Floats) -> tuple[Floats, Floats]:
        """`net` and the entries of its derivative by the pressures, dm3/s, as `Network.matrix` orders them."""
        up, down = self._ends(pressures)
        flow, by_up, by_down = flows_and_slopes(self._c, self._b, self._network.one_way, up, down)
        return self._network.net(flow), self._network.matrix(by_up, by_down)

    def step(self, pressures: Floats, seconds: Floats) -> tuple[Floats, Floats]:
        """The pressures after `seconds` (one for each vehicle), and the error made in them, by volume."""
        net, matrix = self.net_and_slopes(pressures)
        inert = self._litres / seconds
        np.negative(matrix, out=matrix)
        matrix[self._network.diagonal] += 2 * inert
        solve = self._network.elimination.factored(matrix)
        first = net.copy()
        solve(first)
        second = net + 4 * inert * first
        solve(second)
        trial = pressures + 2 * first
        third = self.net(trial) + inert * (first - second)
        solve(third)
        trial += third
        fourth = self.net(trial) + inert * (first - second - 8 / 3 * third)
        solve(fourth)
        trial += fourth
        return trial, fourth

    def distance(self, pressures: Floats, held: NDArray[np.bool_]) -> Floats:
        """How far each vehicle's volumes stand from where they would come to rest while those of `held` do not move.

        The largest over the volumes, in pascals.
        """
        return np.asarray(np.abs(self.displacement(pressures, held)).max(axis=0, initial=0.0))

    def displacement(self, pressures: Floats, held: NDArray[np.bool_]) -> Floats:
        """By how many pascals every volume would rise until all are at rest, those of `held` not moving.

        To first order: one step of Newton's method.
        """
        net, matrix = self.net_and_slopes(pressures)
        np.negative(matrix, out=matrix)
        matrix[self._network.diagonal] += np.where(held, 1e12, 1e-9)[:, None]
        solve = self._network.elimination.factored(matrix)
        net[held] = 0.0
        solve(net)
        return net

    def _ends(self, pressures: Floats) -> tuple[Floats, Floats]:
        self._all[: self._network.size] = pressures
        return self._all[self._network.upstream], self._all[self._network.downstream]
