"""The benchmark of the simulator works: it runs the ensemble and an integrator, and times both."""

from __future__ import annotations

import pytest

from bandproof.model.loader import load_arrangement
from tests.benchmarks.simulation import MODEL, ensemble, singly


@pytest.mark.slow
def test_both_ways_are_timed() -> None:
    arrangement = load_arrangement(MODEL)
    assert ensemble(arrangement, 3, 0.5) > 0
    assert singly(arrangement, 1, 0.02, "LSODA") > 0
