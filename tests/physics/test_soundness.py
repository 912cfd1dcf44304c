"""Every trajectory of the continuous model is followed step by step by the band machine.

This is the soundness claim. Random small arrangements with random numbers inside their declared ranges, random starts
and random drivers are simulated; the sequence of landmark crossings, part moves, acts and mishaps must be a run of the
band machine, and where the simulated pressures stand still the state must count as settled, or at rest. What is
forgiven, and how it is bounded, is stated in `bandrun`. The counts are printed at the end of a run; `-m long` follows
2,000 trajectories, `-m huge` 10,000.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from bandproof.machine.semantics import is_start

from .bandrun import follow
from .random_cases import Case, cases
from .simulator import simulate

#: Batches are numbered, and a batch's number is added to this.
SEED = 20_260_101
BATCH = 200


def check(case: Case, counts: Counter[str]) -> None:
    layout = case.layout()
    run = simulate(layout, case.numbers, case.begin, case.script, until=case.until)
    assert is_start(layout, run.first, case.start())
    account = follow(layout, case.numbers, run)
    counts.update(account.counts)
    counts["trajectories"] += 1
    counts[f"ended by {run.ended}"] += 1
    assert account.escape is None, account.escape


def follow_batch(
    number: int, size: int, report: Callable[[str, object], None], drawn: st.SearchStrategy[Case] | None = None
) -> Counter[str]:
    counts: Counter[str] = Counter()

    @seed(SEED + number)
    @settings(max_examples=size, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    @given(case=cases() if drawn is None else drawn)
    def every_trajectory_is_followed(case: Case) -> None:
        check(case, counts)

    try:
        every_trajectory_is_followed()
    finally:
        told = ", ".join(f"{count} {name}" for name, count in sorted(counts.items()))
        report("trajectories", f"seed {SEED + number}: {told}")
    return counts


@pytest.mark.slow
def test_the_band_machine_follows_every_trajectory(record_property: Callable[[str, object], None]) -> None:
    counts = follow_batch(0, 40, record_property)
    # Most trajectories must do something, or following them would show nothing.
    assert counts["flow"] >= 80
    assert counts["react"] >= 10
    assert counts["act"] >= 10
    assert counts["still"] >= 20


@pytest.mark.long
@pytest.mark.parametrize("number", range(1, 11))
def test_the_band_machine_follows_2000_trajectories(
    number: int, record_property: Callable[[str, object], None]
) -> None:
    assert follow_batch(number, BATCH, record_property)["trajectories"] >= BATCH


@pytest.mark.huge
@pytest.mark.parametrize("number", range(11, 61))
def test_the_band_machine_follows_10000_trajectories(
    number: int, record_property: Callable[[str, object], None]
) -> None:
    assert follow_batch(number, BATCH, record_property)["trajectories"] >= BATCH
