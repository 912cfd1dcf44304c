"""Every trajectory is followed, in each of the regimes that random arrangements seldom get into.

What the simulated run shows is counted, and a run counts for its regime only where it shows some of that. `-m long`
follows as many trajectories as it takes for 500 of each regime.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable

import pytest
from hypothesis import HealthCheck, Phase, given, seed, settings

from bandproof.machine.semantics import is_start
from bandproof.machine.story import Crossed, Moved, Occurred, Turned
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, VolumeKind

from .bandrun import follow
from .random_cases import Case
from .regimes import REGIMES, Regime
from .simulator import simulate
from .tally import Tally
from .trajectory import Trajectory

SEED = 20_261_001
#: What is to be observed in the default run, and in the long one.
FEW, MANY = 8, 500
BATCH = 100


def shown(case: Case, run: Trajectory) -> Counter[str]:
    """What a run shows that its counts of steps do not."""
    arrangement = case.arrangement
    kinds = {v.name: v for v in arrangement.volumes}
    events = [event for happening in run.happenings for event in happening.events]
    crossed = [event for event in events if isinstance(event, Crossed)]
    acts = [place for place, event in enumerate(events) if isinstance(event, Turned | Occurred)]
    since = events[max(acts, default=-1) + 1 :]
    moved = {event.part for event in events if isinstance(event, Moved)}
    rows: Counter[str] = Counter()
    for part in arrangement.parts:
        for passage in part.passages:
            rows.update({passage.upstream, passage.downstream} - {SOURCE, ATMOSPHERE})
    marks = {name: max(found, default=None) for name, found in case.layout().thresholds.items()}
    return Counter(
        {
            "crossings of undeclared litres": sum(kinds[e.volume].litres is None for e in crossed),
            "crossings from the last band": sum(
                not e.upward
                and e.threshold == marks[e.volume]
                and case.begin.pressures[e.volume] == arrangement.highest
                for e in crossed
            ),
            "crossings of lines in a row": sum(
                kinds[e.volume].kind is VolumeKind.LINE and rows[e.volume] > 1 for e in crossed
            ),
            "moves again and again": any(
                sum(isinstance(e, Moved) and e.part == part.name for e in since) >= 6 for part in arrangement.parts
            ),
            "moves by one setting": len({part for part, _ in case.numbers.own} & moved) > 1,
        }
    )


def follow_regime(regime: Regime, start: int, size: int, tally: Tally) -> int:
    """Follow `size` trajectories drawn from the seed `start`; how many of them are in the regime."""
    observed = 0

    @seed(start)
    @settings(
        max_examples=size,
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
        phases=(Phase.generate,),
    )
    @given(case=regime.cases)
    def every_trajectory_is_followed(case: Case) -> None:
        nonlocal observed
        layout = case.layout()
        run = simulate(layout, case.numbers, case.begin, case.script, until=case.until, limit=120)
        assert is_start(layout, run.first, case.start())
        account = follow(layout, run)
        tally.take(case, run, account)
        found = account.counts + shown(case, run)
        observed += found[regime.observed] > 0
        assert account.escape is None, f"{account.escape}\n{case}"

    every_trajectory_is_followed()
    return observed


def follow_until(regime: Regime, enough: int, batch: int, most: int, report: Callable[[str, object], None]) -> None:
    """Follow batches until enough trajectories are in the regime; that must not take more than `most`."""
    tally, observed, number = Tally(SEED), 0, 0
    try:
        while observed < enough:
            number += 1
            assert number * batch <= most, f"{observed} of {(number - 1) * batch} trajectories are in the regime"
            observed += follow_regime(regime, SEED + number, batch, tally)
    finally:
        tally.counts["in the regime"] = observed
        tally.report(report)


by_regime = pytest.mark.parametrize("regime", REGIMES, ids=lambda regime: regime.name)


@pytest.mark.thorough
@pytest.mark.slow
@by_regime
def test_each_regime_is_followed(regime: Regime, record_property: Callable[[str, object], None]) -> None:
    follow_until(regime, FEW, 16, 80, record_property)


@pytest.mark.long
@by_regime
def test_500_of_each_regime_are_followed(regime: Regime, record_property: Callable[[str, object], None]) -> None:
    follow_until(regime, MANY, BATCH, 8 * MANY, record_property)
