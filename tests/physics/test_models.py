"""Trajectories of the arrangements that come with the project are followed by the band machine, too.

Sizes of lines are those of the model files, which are large against some chambers.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from fractions import Fraction
from functools import cache
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from bandproof.model.arrangement import Arrangement, VolumeKind
from bandproof.model.loader import load_arrangement

from .bandrun import follow
from .random_cases import Case, numbers_of, scripts_of
from .simulator import simulate
from .tally import Tally
from .trajectory import Begin

SEED = 20_260_801
MODELS = sorted((Path(__file__).parents[2] / "models").rglob("*.toml"))


@cache
def loaded(path: Path) -> Arrangement:
    return load_arrangement(path)


@st.composite
def cases_of(draw: st.DrawFn, arrangement: Arrangement) -> Case:
    """Tanks empty, low, charged or full; everything else at its first state, or parts anywhere."""
    share = st.sampled_from([0, 0, 2, 5, 8, 9])
    pressures = {
        v.name: arrangement.highest * draw(share) / 10 + (337 if v.kind is VolumeKind.TANK else 0)
        if v.kind is not VolumeKind.LINE
        else Fraction(0)
        for v in arrangement.volumes
    }
    anywhere = draw(st.booleans())
    begin = Begin(
        pressures,
        {p.name: draw(st.sampled_from(p.states)) if anywhere else p.states[0] for p in arrangement.parts},
        {c.name: c.positions[0] for c in arrangement.controls},
    )
    script = draw(scripts_of(arrangement, begin, (10.0, 40.0)))
    return Case(arrangement, (), draw(numbers_of(arrangement)), begin, script, until=120.0)


def follow_batch(path: Path, size: int, report: Callable[[str, object], None]) -> Counter[str]:
    tally = Tally(SEED)

    @seed(SEED)
    @settings(max_examples=size, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    @given(case=cases_of(loaded(path)))
    def every_trajectory_is_followed(case: Case) -> None:
        layout = case.layout()
        run = simulate(layout, case.numbers, case.begin, case.script, until=case.until)
        account = follow(layout, run)
        tally.take(case, run, account)
        assert account.escape is None, account.escape

    try:
        every_trajectory_is_followed()
    finally:
        tally.report(report)
    return tally.counts


@pytest.mark.slow
@pytest.mark.parametrize("path", [p for p in MODELS if p.parent.name == "models"], ids=lambda p: p.stem)
def test_trajectories_of_a_model_are_followed(path: Path, record_property: Callable[[str, object], None]) -> None:
    assert follow_batch(path, 4, record_property)["flow"] >= 60


@pytest.mark.long
@pytest.mark.parametrize("path", MODELS, ids=lambda p: p.stem)
def test_100_trajectories_of_a_model_are_followed(path: Path, record_property: Callable[[str, object], None]) -> None:
    assert follow_batch(path, 100, record_property)["flow"] >= 1500
