"""The flow law, the linear equations of a network, the order of the method, and that no air is lost."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from bandproof.model.arrangement import Move, Part, Range, Size, VolumeKind
from bandproof.model.conditions import AtLeast, Below
from bandproof.physics.iso6358 import flow_bounds
from bandproof.simulation.airflow import BLUR, Floats, flows, flows_and_slopes
from bandproof.simulation.network import FEW, Elimination, Network
from bandproof.simulation.rosenbrock import Air
from bandproof.simulation.simulate import simulate

from .samples import arranged, gauge, passage, pipe, random_arrangement, random_vehicle, shipped, vehicle


def one_flow(c: float, b: float, upstream: float, downstream: float, *, one_way: bool = False) -> float:
    numbers = [np.array([x]) for x in (c, b, upstream, downstream)]
    found = flows(numbers[0], numbers[1], np.array([one_way]), numbers[2], numbers[3])
    return float(found[0])


def test_the_ellipse_has_the_worked_factors() -> None:
    # ISO 6358, worked values derived: b = 0.3, p2/p1 = 0.5 / 0.7 / 0.9 give 0.95831 / 0.82065 / 0.51508.
    found = [one_flow(5, 0.3, 8e5, 8e5 * ratio) / (5 * 8e5) for ratio in (0.2, 0.5, 0.7, 0.9)]
    assert found == pytest.approx([1.0, 0.95831, 0.82065, 0.51508], rel=1e-5)


def test_a_one_way_passage_holds_what_a_two_way_one_lets_back() -> None:
    assert one_flow(2, 0.4, 3e5, 5e5) == -one_flow(2, 0.4, 5e5, 3e5)
    assert one_flow(2, 0.4, 3e5, 5e5, one_way=True) == 0
    assert one_flow(2, 0.4, 5e5, 3e5, one_way=True) == one_flow(2, 0.4, 5e5, 3e5)


def test_flows_lie_in_the_exact_bounds() -> None:
    """The exact bounds on flow, at one pressure and one size, hold what is computed here in floats."""
    generator = np.random.default_rng(3)
    for _ in range(300):
        c, b = Fraction(int(generator.integers(1, 900)), 100), Fraction(int(generator.integers(0, 60)), 100)
        up, down = (Fraction(int(p)) for p in generator.integers(0, 900_000, size=2))
        bounds = flow_bounds(
            Size(Range(c, c), Range(b, b)),
            Range(up, up),
            Range(down, down),
            atmosphere=Fraction(101_325),
            one_way=False,
        )
        found = one_flow(float(c), float(b), float(up) + 101_325, float(down) + 101_325) / 1e5
        blur = (BLUR / max(abs(float(up - down)), 1)) ** 2
        assert found == pytest.approx(float(bounds.low + bounds.high) / 2, rel=1e-9 + blur / 4)


def test_a_blurred_passage_needs_less_than_a_third_of_the_blur_more() -> None:
    """Flow at a small difference is that of the exact law at a difference smaller by less than BLUR / 3."""
    gaps = np.geomspace(0.01, 1e3, 200)
    exact = [float(one_flow(1, 0.3, 5e5, 5e5 - gap)) for gap in gaps]
    meant = np.array(exact) ** 2 * 0.7**2 / (0.4 * 5e5 + 5e5 - gaps)
    assert (gaps - meant).max() < BLUR / 3
    assert (gaps - meant).min() >= 0
    assert (gaps - meant).max() > BLUR / 4


def test_slopes_are_those_of_the_flow() -> None:
    generator = np.random.default_rng(4)
    c, b = generator.uniform(0.1, 9, (40, 50)), generator.uniform(0, 0.6, (40, 50))
    up, down = generator.uniform(1e5, 9e5, (40, 50)), generator.uniform(1e5, 9e5, (40, 50))
    down[:, :10] = up[:, :10] + generator.uniform(-30, 30, (40, 10))
    one_way = generator.random((40, 1)) < 0.5
    flow, by_up, by_down = flows_and_slopes(c, b, one_way, up, down)
    assert flow == pytest.approx(flows(c, b, one_way, up, down), rel=1e-12, abs=1e-9)
    away = np.abs(up - down) > 1

    def difference(du: float, dd: float) -> Floats:
        ahead, behind = (flows(c, b, one_way, up + s * du, down + s * dd) for s in (1, -1))
        return np.asarray((ahead - behind) / 2e-2)

    smooth = away & (np.abs(np.minimum(up, down) / np.maximum(up, down) - b) > 1e-6)
    assert by_up[smooth] == pytest.approx(difference(1e-2, 0)[smooth], rel=1e-3, abs=1e-3)
    assert by_down[smooth] == pytest.approx(difference(0, 1e-2)[smooth], rel=1e-3, abs=1e-3)


@pytest.mark.parametrize("count", [7, FEW + 1])
def test_equations_of_a_network_are_solved_as_a_dense_solver_does(count: int) -> None:
    generator = np.random.default_rng(5)
    for size in range(1, 9):
        joined = {(int(i), int(j)) for i, j in generator.integers(0, size, (size, 2)) if i != j}
        elimination = Elimination(size, joined)
        dense = np.zeros((count, size, size))
        matrix = np.zeros((len(elimination.entries), count))
        for (i, j), row in elimination.entries.items():
            if i == j or (i, j) in joined or (j, i) in joined:
                matrix[row] = generator.uniform(-1, 0, count) if i != j else generator.uniform(size, 2 * size, count)
                dense[:, i, j] = matrix[row]
        right = generator.uniform(-1, 1, (size, count))
        found = right.copy()
        elimination.factored(matrix)(found)
        exact = np.linalg.solve(dense, right.T[..., None])[..., 0]
        assert found == pytest.approx(exact.T, rel=1e-9, abs=1e-9)


@pytest.mark.slow
def test_the_method_is_of_order_three() -> None:
    """Halving the steps makes the error eight times smaller: a tank that empties through another, unchoked."""
    bench = arranged([pipe(passage("a", "b"), passage("b", "c"))], [(n, VolumeKind.TANK) for n in "abc"])
    network = Network(bench)
    litres, begin = np.array([[10.0], [4.0], [20.0]]), np.array([[8e5], [6e5], [4.5e5]])
    size = np.full((2, 1), 1.0), np.full((2, 1), 0.2)

    def after(steps: int) -> Floats:
        air, now = Air(network, litres, *size, (1e5, 9e5)), begin
        for _ in range(steps):
            now, _ = air.step(now, np.array([2.0 / steps]))
        return now

    exact = after(1024)
    errors = [float(np.abs(after(steps) - exact).max()) for steps in (16, 32, 64)]
    assert 6.5 < errors[0] / errors[1] < 9.5
    assert 6.5 < errors[1] / errors[2] < 9.5


@pytest.mark.slow
def test_closed_volumes_keep_their_air() -> None:
    """The sum of V p of volumes joined in all ways, through hundreds of steps, to one part in 1e11."""
    names = "abcdef"
    ways = [passage(x, y, one_way=k % 3 == 0) for k, (x, y) in enumerate(zip(names, names[1:] + "a", strict=True))]
    bench = arranged([pipe(*ways)], [(n, VolumeKind.LINE) for n in names])
    litres = dict(zip(names, (0.02, 10.0, 0.5, 40.0, 0.05, 2.0), strict=True))
    made = [
        vehicle(bench, dict(zip(names, row, strict=True)), litres=litres)
        for row in np.random.default_rng(6).uniform(1, 8, (20, 6))
    ]
    weights = np.array(list(litres.values()))
    for history in simulate(bench, made, until=20.0):
        air = (history.pressures + 1e5) @ weights
        assert air == pytest.approx(np.full_like(air, air[0]), rel=1e-11)
        assert len(history.times) > 50


@pytest.mark.slow
def test_air_that_leaves_a_tank_is_in_the_volume_outside() -> None:
    """With a million litres for the atmosphere, valves switching on the way, nothing is missing in the sum of V p."""
    out = Part(
        "relief",
        "valve",
        ("shut", "open"),
        (passage("line", "outside", "open"),),
        (
            Move("shut", "open", AtLeast("tank", gauge("6"), gauge("6"))),
            Move("open", "shut", Below("tank", gauge("5"), gauge("5"))),
        ),
    )
    kinds = {"store": VolumeKind.TANK, "tank": VolumeKind.TANK, "line": VolumeKind.LINE, "outside": VolumeKind.TANK}
    bench = arranged([out, pipe(passage("store", "tank"), passage("tank", "line"))], list(kinds.items()))
    litres = {"store": 40.0, "tank": 2.0, "line": 0.02, "outside": 1e6}
    sizes = {("relief", 0): (8.0, 0.3), ("pipe", 0): (0.3, 0.3), ("pipe", 1): (9.0, 0.3)}
    made = vehicle(bench, {"store": 8.0, "tank": 4.0, "line": 4.0, "outside": 1.0}, litres=litres, moving=1e-3)
    (history,) = simulate(bench, [replace(made, sizes=sizes)], until=8.0)
    air = history.pressures @ np.array([litres[v.name] for v in bench.volumes])
    assert len(history.moves()) >= 4
    assert air[-1] == pytest.approx(air[0], rel=1e-7)


@pytest.mark.slow
def test_many_vehicles_at_once_run_as_each_alone() -> None:
    generator = np.random.default_rng(8)
    arrangement = random_arrangement(generator)
    made = [random_vehicle(generator, arrangement) for _ in range(FEW + 4)]
    together = simulate(arrangement, made, until=5.0)
    assert any(history.moves() for history in together)
    for vehicle_, history in list(zip(made, together, strict=True))[:12]:
        (alone,) = simulate(arrangement, [vehicle_], until=5.0)
        assert [what for _, what in history.moves()] == [what for _, what in alone.moves()]
        assert [time for time, _ in history.moves()] == pytest.approx([time for time, _ in alone.moves()], rel=1e-6)
        assert history.pressures[-1] == pytest.approx(alone.pressures[-1], abs=0.01)


def test_shipped_arrangements_have_networks_like_trees() -> None:
    """Their elimination fills in a handful of entries at most: what makes a step cheap."""
    network = Network(shipped("two_knob_tractor.toml"))
    joined = {
        (min(p), max(p))
        for p in zip(network.upstream.tolist(), network.downstream.tolist(), strict=True)
        if max(p) < network.size
    }
    assert len(network.elimination.entries) <= network.size + 2 * len(joined) + 4
