"""The benchmark of trains works: it times encoding and claims, notices a stop, and takes a stopped claim for a lower bound."""

from __future__ import annotations

import pytest

from tests.benchmarks.trains import ENCODING, Lap, laps, table
from tests.trains import PACK


@pytest.mark.thorough
def test_every_claim_of_a_train_is_timed_and_stopped() -> None:
    done = list(laps(1, 0.2))
    assert [lap.claim for lap in done] == [
        ENCODING,
        *(line.split('"')[1] for line in PACK.splitlines() if "id = " in line),
    ]
    assert all(lap.seconds > 0 for lap in done)
    assert any(lap.stopped and lap.answer == "undecided" for lap in done)


def test_ratios_are_to_the_smallest_train_and_bounds_are_marked() -> None:
    done = [Lap(1, "a", "proven", 2.0), Lap(1, "b", "undecided", 9.0, stopped=True)]
    done += [Lap(4, "a", "undecided", 9.0, stopped=True), Lap(4, "b", "proven", 5.0)]
    rows = [line.split("|")[1:-1] for line in table(done).splitlines()[2:]]
    assert [[cell.strip() for cell in row] for row in rows] == [
        ["1", "a", "proven", "2.0", "1.0"],
        ["1", "b", "undecided", "9.0", ""],
        ["4", "a", "undecided", "9.0", ">4.5"],
        ["4", "b", "proven", "5.0", ""],
    ]
