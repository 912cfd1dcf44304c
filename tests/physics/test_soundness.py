"""Every trajectory of the continuous model is followed step by step by the band machine.

This is the soundness claim. Random small arrangements with random numbers inside their declared ranges, random starts
and random drivers are simulated; the sequence of threshold crossings, part moves, acts and mishaps must be a run of the
band machine, and where the simulated pressures stand still, or go round for ever, the state must count as settled, or at
rest. Nothing is forgiven. The counts are printed at the end of a run; `-m long` follows
2,000 trajectories, `-m huge` 10,000.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from bandproof.machine.semantics import is_start

from .bandrun import follow
from .random_cases import Case, cases
from .simulator import simulate
from .tally import FEATURES, Tally

#: Of the small set; the batches of the large ones have the seeds after it.
SEED = 20_260_101
BATCH = 200


def check(case: Case, tally: Tally) -> None:
    layout = case.layout()
    run = simulate(layout, case.numbers, case.begin, case.script, until=case.until)
    assert is_start(layout, run.first, case.start())
    account = follow(layout, run)
    tally.take(case, run, account)
    assert account.escape is None, account.escape


def follow_batch(
    start: int, size: int, report: Callable[[str, object], None], drawn: st.SearchStrategy[Case] | None = None
) -> Tally:
    """Follow `size` trajectories drawn from the seed `start`; these two numbers define them."""
    tally = Tally(start)

    @seed(start)
    @settings(max_examples=size, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    @given(case=cases() if drawn is None else drawn)
    def every_trajectory_is_followed(case: Case) -> None:
        check(case, tally)

    try:
        every_trajectory_is_followed()
    finally:
        tally.report(report)
    return tally


@pytest.mark.slow
def test_the_band_machine_follows_every_trajectory(record_property: Callable[[str, object], None]) -> None:
    counts = follow_batch(SEED, 40, record_property).counts
    # Most trajectories must do something, or following them would show nothing.
    assert counts["flow"] >= 180
    assert counts["react"] >= 24
    assert counts["act"] >= 30
    assert counts["still"] >= 70


@pytest.mark.thorough
@pytest.mark.slow
def test_the_band_machine_follows_parts_that_take_their_time(record_property: Callable[[str, object], None]) -> None:
    counts = follow_batch(SEED + 70, 40, record_property, cases(reacting=True)).counts
    assert counts["flow"] >= 180


@pytest.mark.long
@pytest.mark.parametrize("start", range(SEED + 71, SEED + 76))
def test_the_band_machine_follows_1000_with_parts_that_take_their_time(
    start: int, record_property: Callable[[str, object], None]
) -> None:
    follow_batch(start, BATCH, record_property, cases(reacting=True))


@pytest.mark.long
@pytest.mark.parametrize("start", range(SEED + 1, SEED + 11))
def test_the_band_machine_follows_2000_trajectories(start: int, record_property: Callable[[str, object], None]) -> None:
    follow_large_batch(start, record_property)


@pytest.mark.huge
@pytest.mark.parametrize("start", range(SEED + 11, SEED + 61))
def test_the_band_machine_follows_10000_trajectories(
    start: int, record_property: Callable[[str, object], None]
) -> None:
    follow_large_batch(start, record_property)


def follow_large_batch(start: int, report: Callable[[str, object], None]) -> None:
    """A batch large enough to have everything in it that an arrangement can have."""
    tally = follow_batch(start, BATCH, report)
    assert tally.counts["trajectories"] == tally.counts["accepted"] == BATCH
    assert set(FEATURES) == set(tally.features)
