"""A run that a trajectory of the continuous model makes is never said to be impossible.

An impossible story teaches the search a lemma, and lemmas end in proofs: one too many would be a false proof. The
trajectories are those of the soundness test, each cut to its first steps, since every part of a real run is real.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from bandproof.machine.story import Story
from bandproof.model.arrangement import Range, VolumeKind
from bandproof.witness.concretise import Impossible, find_pressures

from .bandrun import follow
from .random_cases import Case, cases
from .simulator import simulate
from .test_models import MODELS, cases_of, loaded

SEED = 20_260_601
STEPS = 12


def ask_batch(
    number: int, size: int, report: Callable[[str, object], None], drawn: st.SearchStrategy[Case] | None = None
) -> Counter[str]:
    counts: Counter[str] = Counter()

    @seed(SEED + number)
    @settings(max_examples=size, deadline=None, database=None, suppress_health_check=list(HealthCheck))
    @given(case=cases() if drawn is None else drawn)
    def no_real_run_is_impossible(case: Case) -> None:
        layout = case.layout()
        run = simulate(layout, case.numbers, case.begin, case.script, until=case.until, limit=STEPS)
        whole = follow(layout, run).story
        story = Story(whole.start, whole.states[: STEPS + 1], whole.steps[:STEPS])
        if not story.steps:
            return
        answer = find_pressures(layout, story)
        counts[type(answer).__name__.lower()] += 1
        counts["steps"] += len(story.steps)
        assert not isinstance(answer, Impossible), answer.reason

    try:
        no_real_run_is_impossible()
    finally:
        told = ", ".join(f"{count} {name}" for name, count in sorted(counts.items()))
        report("trajectories", f"seed {SEED + number}: {told}")
    return counts


@st.composite
def with_large_lines(draw: st.DrawFn) -> Case:
    """Cases whose lines may be larger than their tanks; some volumes have their litres declared exactly, some not."""
    case = draw(cases())
    litres, volumes = dict(case.numbers.litres), []
    for volume in case.arrangement.volumes:
        if volume.kind is VolumeKind.LINE:
            litres[volume.name] = float(draw(st.sampled_from([1, 8, 64])))
        exact = Fraction(litres[volume.name])
        volumes.append(replace(volume, litres=draw(st.sampled_from([None, Range(exact, exact)]))))
    arrangement = replace(case.arrangement, volumes=tuple(volumes))
    return replace(case, arrangement=arrangement, numbers=replace(case.numbers, litres=litres))


@pytest.mark.slow
def test_no_real_run_with_large_lines_is_said_to_be_impossible(record_property: Callable[[str, object], None]) -> None:
    assert ask_batch(8, 20, record_property, with_large_lines())["concrete"] >= 8


@pytest.mark.slow
def test_no_real_run_is_said_to_be_impossible(record_property: Callable[[str, object], None]) -> None:
    assert ask_batch(0, 20, record_property)["concrete"] >= 10


@pytest.mark.long
@pytest.mark.parametrize("number", range(1, 6))
def test_none_of_1000_real_runs_is_said_to_be_impossible(
    number: int, record_property: Callable[[str, object], None]
) -> None:
    assert ask_batch(number, 200, record_property)["concrete"] >= 100


@pytest.mark.slow
@pytest.mark.parametrize("path", [p for p in MODELS if p.parent.name == "models"], ids=lambda p: p.stem)
def test_no_real_run_of_a_model_is_said_to_be_impossible(
    path: Path, record_property: Callable[[str, object], None]
) -> None:
    assert ask_batch(6, 4, record_property, cases_of(loaded(path)))["concrete"] == 4


@pytest.mark.long
@pytest.mark.parametrize("path", MODELS, ids=lambda p: p.stem)
def test_none_of_100_real_runs_of_a_model_is_said_to_be_impossible(
    path: Path, record_property: Callable[[str, object], None]
) -> None:
    assert ask_batch(7, 100, record_property, cases_of(loaded(path)))["concrete"] >= 90
