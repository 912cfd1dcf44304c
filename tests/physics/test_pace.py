"""Trajectories of volumes that race each other are followed with pace counters on, and wrong counters are found out.

The numbers of a race are often met: the source is choked, sizes and litres are single numbers, and a slow volume begins at
the far end of its band. What of the allowances was used is counted with what was followed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from fractions import Fraction

import pytest

from bandproof.machine import pace
from bandproof.machine.layout import Layout
from bandproof.machine.pace import Reacting, TimingConstraint
from bandproof.model.arrangement import (
    SOURCE,
    Arrangement,
    Control,
    Move,
    Part,
    Passage,
    Range,
    Size,
    Volume,
    VolumeKind,
)
from bandproof.model.conditions import AtLeast, InPosition

from .bandrun import follow
from .random_cases import HIGHEST, KPA, Case, paced_cases
from .simulator import simulate
from .test_soundness import BATCH, SEED, follow_batch
from .trajectory import Begin, Deed, Numbers


@pytest.mark.thorough
@pytest.mark.slow
def test_races_are_followed_with_counters_on(record_property: Callable[[str, object], None]) -> None:
    counts = follow_batch(SEED + 100, 60, record_property, paced_cases()).counts
    assert counts["timing_constraints"] >= counts["trajectories"] / 3
    assert counts["crossed while another was due"] >= 90
    assert counts["whole bands while another was due"] >= 10


@pytest.mark.thorough
@pytest.mark.slow
def test_races_of_valves_that_take_their_time_are_followed(record_property: Callable[[str, object], None]) -> None:
    counts = follow_batch(SEED + 120, 60, record_property, paced_cases(reacting=True)).counts
    assert counts["timing_constraints"] >= counts["trajectories"] / 2
    assert counts["crossed while another was due"] >= 60
    assert counts["whole bands while another was due"] >= 10


@pytest.mark.long
@pytest.mark.parametrize("start", range(SEED + 121, SEED + 131))
def test_2000_races_of_valves_that_take_their_time_are_followed(
    start: int, record_property: Callable[[str, object], None]
) -> None:
    counts = follow_batch(start, BATCH, record_property, paced_cases(reacting=True)).counts
    assert counts["crossed while another was due"] >= 150


@pytest.mark.long
@pytest.mark.parametrize("start", range(SEED + 101, SEED + 111))
def test_2000_races_are_followed_with_counters_on(start: int, record_property: Callable[[str, object], None]) -> None:
    counts = follow_batch(start, BATCH, record_property, paced_cases()).counts
    assert counts["whole bands while another was due"] >= 30


# ------------------------------------------------------------------------------------------- a race that can be lost


def race() -> Case:
    """Two volumes fill from one source through alike passages: one has its threshold at 330 kPa, the other one each 100.

    The quick one begins a little below 100 kPa: it crosses 100, 200, 300 and 400 kPa before the slow one gets to 330.
    """
    size = Size(Range(Fraction(1), Fraction(1)), Range(Fraction(1, 2), Fraction(1, 2)))
    names = ("slow", "quick")
    litre = Range(Fraction(1), Fraction(1))
    feeds = tuple(
        Part(f"feed {name}", "feed", ("open",), (Passage(SOURCE, name, True, frozenset({"open"}), size),))
        for name in names
    )
    arrangement = Arrangement(
        "race", "kPa", Fraction(101_325), HIGHEST, tuple(Volume(n, VolumeKind.LINE, litre) for n in names), feeds
    )
    marks = [("slow", 330), *(("quick", k) for k in range(100, 601, 100))]
    claims = tuple(AtLeast(name, Fraction(k * KPA), Fraction(k * KPA)) for name, k in marks)
    numbers = Numbers({}, dict.fromkeys(names, 1.0), {(part.name, 0): (1.0, 0.5) for part in feeds})
    begin = Begin({"slow": Fraction(0), "quick": Fraction(99 * KPA)}, {}, {})
    return Case(arrangement, claims, numbers, begin, (), until=1.0)


def followed() -> tuple[Counter[str], str | None, Layout]:
    case = race()
    layout = case.layout()
    run = simulate(layout, case.numbers, case.begin, until=case.until)
    account = follow(layout, run)
    return account.counts, account.escape, layout


def test_a_race_that_uses_all_that_is_allowed_is_followed() -> None:
    """330 kPa against 100 kPa, both at a steady 11 dm3/s."""
    counts, escape, layout = followed()
    assert [(w.pending, w.mover, w.allowance) for w in layout.timing_constraints] == [("slow", "quick", 3)]
    assert escape is None
    assert counts["whole bands while another was due"] == 3
    assert counts["all that was allowed"] == 1


def test_an_allowance_too_small_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(TimingConstraint, "allowance", property(lambda watch: int(watch.longest // watch.shortest) - 1))
    assert "cannot rise again so soon" in (followed()[1] or "")


def test_a_band_said_to_take_twice_as_long_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    right = pace.tau
    monkeypatch.setattr(pace, "tau", lambda *given: None if (time := right(*given)) is None else 2 * time)
    assert "cannot rise again so soon" in (followed()[1] or "")


def test_a_crossing_said_to_take_half_as_long_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    right = pace.sigma
    monkeypatch.setattr(pace, "sigma", lambda *given: None if (time := right(*given)) is None else time / 2)
    assert "cannot rise again so soon" in (followed()[1] or "")


# --------------------------------------------------------------------------------- a race against a reaction time


def reaction() -> Case:
    """A valve that shuts the feed within 0.3 s of a lever's turn: its line goes from 99 kPa over 100, 200, 300 and 400.

    At a steady 11 dm3/s into 1 L that is 100 kPa in each 1/11 s, so 0.274 s from the turn to 400 kPa.
    """
    size = Size(Range(Fraction(1), Fraction(1)), Range(Fraction(1, 2), Fraction(1, 2)))
    feed = Part(
        "feed",
        "feed",
        ("open", "shut"),
        (Passage(SOURCE, "quick", one_way=True, open_in=frozenset({"open"}), size=size),),
        (Move("open", "shut", InPosition("lever", frozenset({"on"}))),),
        reaction=Range(Fraction(0), Fraction(3, 10)),
    )
    lever = Control("lever", ("off", "on"))
    quick = Volume("quick", VolumeKind.LINE, Range(Fraction(1), Fraction(1)))
    arrangement = Arrangement("race", "kPa", Fraction(101_325), HIGHEST, (quick,), (feed,), (lever,))
    claims = tuple(AtLeast("quick", Fraction(k * KPA), Fraction(k * KPA)) for k in range(100, 601, 100))
    numbers = Numbers({}, {"quick": 1.0}, {("feed", 0): (1.0, 0.5)}, {"feed": 0.3})
    begin = Begin({"quick": Fraction(99 * KPA)}, {"feed": "open"}, {"lever": "off"})
    return Case(arrangement, claims, numbers, begin, (Deed(1e-6, "lever", "on"),), until=1.0)


def reacted() -> tuple[Counter[str], str | None, Layout]:
    case = reaction()
    layout = case.layout()
    run = simulate(layout, case.numbers, case.begin, case.script, until=case.until)
    account = follow(layout, run)
    return account.counts, account.escape, layout


def test_a_reaction_that_uses_all_that_is_allowed_is_followed() -> None:
    counts, escape, layout = reacted()
    found = [(watch.pending, watch.mover, watch.allowance) for watch in layout.timing_constraints]
    assert found == [(Reacting("feed"), "quick", 3)]
    assert escape is None
    assert counts["whole bands while another was due"] == 3
    assert counts["all that was allowed"] == 1


def test_a_reaction_said_to_be_shorter_than_it_is_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(TimingConstraint, "allowance", property(lambda watch: int(watch.longest // watch.shortest) - 1))
    assert "cannot rise again so soon" in (reacted()[1] or "")
