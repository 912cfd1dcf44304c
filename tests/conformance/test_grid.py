"""Which thresholds a volume carries, and which band a pressure is in."""

from __future__ import annotations

from fractions import Fraction

from bandproof.machine.layout import lay_out
from tests.conformance.case import BAR, at_least, below, load
from tests.conformance.table_flow import joined, starting, volumes


def test_grid_is_shared_over_passages_and_nothing_else() -> None:
    text = volumes(v="line", w="line", x="line") + joined("joint v w") + starting()
    layout = lay_out(load(text), [below("v", 2), at_least("w", 4), below("x", 3)])
    assert layout.thresholds == {"v": (2 * BAR, 4 * BAR), "w": (2 * BAR, 4 * BAR), "x": (3 * BAR,)}


def test_grid_has_no_threshold_at_atmosphere_or_the_highest_pressure() -> None:
    layout = lay_out(load(volumes(v="line") + starting()), [below("v", 0), at_least("v", 9)])
    assert layout.thresholds == {"v": ()}


def test_grid_puts_a_threshold_into_the_band_above_it() -> None:
    layout = lay_out(load(volumes(v="line") + starting()), [below("v", 2)])
    marks = [Fraction(0), Fraction(2 * BAR - 1), Fraction(2 * BAR), Fraction(9 * BAR)]
    assert [layout.band_at("v", p) for p in marks] == [0, 0, 1, 1]
    ends = [layout.low("v", 0), layout.high("v", 0), layout.low("v", 1), layout.high("v", 1)]
    assert ends == [0, 2 * BAR, 2 * BAR, 9 * BAR]
