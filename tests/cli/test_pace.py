"""Pace counters from end to end: a race that bands alone would lose is proven, and the proof can be read and checked.

A claim that is broken at any time without counters, and proven with them, needs a model with litres and sizes:
`tests/models/pilot_and_trailer.toml`. The pilot line is below 1 bar after at most 0.5 x 8 / (5 x 2 x 0.958) s = 0.417 s
(with b = 0.3 the port is not choked at 2 bar absolute); the trailer takes 50 x 2 / 10 = 10 s from 2 to 4 bar.
"""

from __future__ import annotations

import json
from fractions import Fraction
from pathlib import Path

import pytest

from bandproof.certificates.checks import recheck, recheck_against
from bandproof.deciding.cases import Case, load_cases
from bandproof.deciding.one import Decider
from bandproof.encoding.system import StepRule
from bandproof.engines.run import decide
from bandproof.findings.finding import Finding, Verdict
from bandproof.machine import pace
from bandproof.machine.layout import Layout
from bandproof.machine.rig import replay
from bandproof.machine.story import State, Story
from bandproof.views.json_files import story_json
from bandproof.views.reasons_text import reason_text
from bandproof.views.story_files import story_from_json
from tests.cli.samples import HEAD, lay

BAR = Fraction(100_000)
MODEL = (Path(__file__).parents[1] / "models" / "pilot_and_trailer.toml").read_text(encoding="utf-8")

#: A drilling as wide as this fills the trailer from 2 to 4 bar in 50 x 2 / 250 = 0.4 s, if need be.
WIDE = MODEL.replace('C = "0.8..1"', 'C = "0.8..25"')


def claim(name: str, shape: str, *, during: str = "charged") -> str:
    return f'\n[[property]]\nid = "{name}"\nsays = "So."\nbasis = "common practice, no source"\nduring = "{during}"\n{shape}\n'


LAG = claim("no-lag", 'never = "pilot is at least 1 bar and trailer is at least 4 bar"')
#: Makes 2 bar a threshold, so that the trailer has a whole band.
MARK = claim("mark", 'reachable = "trailer is at least 2 bar"')


def decided(folder: Path, claims: str, model: str = MODEL) -> tuple[Case, Decider, list[Finding]]:
    case = load_cases([lay(folder, HEAD + claims, model)])[0]
    worked = Decider(case)
    return case, worked, [worked.decide(one) for one in case.claims]


def story_of_the_bands(worked: Decider, case: Case) -> Story:
    """The first claim's story as the bands allow it. No vehicle runs the race: 25 dm3/(s bar) is a rate at full choke."""
    decision = decide(StepRule(worked.layout), case.properties[0], witnessed=False)
    assert decision.verdict is Verdict.REFUTED
    assert decision.story is not None
    return decision.story


def test_a_race_that_nature_does_not_run_is_proven_not_to_be_lost(tmp_path: Path) -> None:
    case, worked, (lag, mark) = decided(tmp_path, LAG + MARK)
    assert [(w.pending, w.mover, w.allowance) for w in worked.layout.timing_constraints] == [("pilot", "trailer", 0)]
    assert (lag.verdict, reason_text(lag), mark.verdict) == (Verdict.PROVEN, "", Verdict.PROVEN)
    assert lag.certificate is not None
    assert recheck_against(lag.certificate, case.arrangement, case.properties[0]).ok


def test_without_litres_the_same_race_is_lost(tmp_path: Path) -> None:
    _, worked, (lag, _) = decided(tmp_path, LAG + MARK, MODEL.replace(', volume = "0.4..0.5 L"', ""))
    assert worked.layout.timing_constraints == ()
    assert lag.verdict is Verdict.REFUTED


def test_a_wide_drilling_wins_the_race(tmp_path: Path) -> None:
    """Without a threshold at 6 bar the trailer's only whole band is one that it can cross: nothing to watch."""
    case, worked, (lag, _) = decided(tmp_path, LAG + MARK, WIDE)
    assert worked.layout.timing_constraints == ()
    assert len(story_of_the_bands(worked, case).steps) == 4
    assert lag.verdict is Verdict.UNDECIDED


def test_a_counter_that_binds_elsewhere_leaves_the_story_as_it_is(tmp_path: Path) -> None:
    """With 6 bar as a threshold the trailer may cross one whole band, not two; the story of the first is real."""
    further = claim("far", 'never = "pilot is at least 1 bar and trailer is at least 6 bar"')
    case, worked, (lag, _, far) = decided(tmp_path, LAG + MARK + further, WIDE)
    assert [w.allowance for w in worked.layout.timing_constraints if w.pending == "pilot"] == [1]
    assert (lag.verdict, far.verdict) == (Verdict.UNDECIDED, Verdict.PROVEN)
    story = story_of_the_bands(worked, case)
    assert len(story.steps) == 4
    assert replay(worked.layout, story, case.properties[0]) is None
    assert [counts.count for counts in story.states[-1].counts] == [1]


def test_a_story_file_says_nothing_of_counters_and_is_read_back_with_them(tmp_path: Path) -> None:
    further = claim("far", 'never = "trailer is at least 6 bar and knob is in and knob is out"')
    case, worked, _ = decided(tmp_path, LAG + MARK + further, WIDE)
    story = story_of_the_bands(worked, case)
    document = json.loads(json.dumps(story_json(worked.layout, story)))
    assert "counts" not in json.dumps(document)
    assert story_from_json(worked.layout, document) == story


# ------------------------------------------------------------------------------------------------ certificates


def test_a_certificate_explains_its_counters(tmp_path: Path) -> None:
    _, _, (lag, _) = decided(tmp_path, LAG + MARK)
    text = lag.certificate or ""
    assert (
        "; While pilot is due to cross a threshold (at most 0.417 s), trailer (at least 10 s for a whole band) crosses no whole band."
        in text
    )
    assert "; c1  never: since pilot is due, trailer has last gone down" in text
    assert all(run.answers == ("unsat", "unsat", "unsat") for run in recheck(text).runs)


def test_counted_bands_are_read_out(tmp_path: Path) -> None:
    """With 6 bar as a threshold one whole band is allowed, and the proof about two has to count."""
    further = claim("far", 'never = "pilot is at least 1 bar and trailer is at least 6 bar"')
    _, _, (*_, far) = decided(tmp_path, LAG + MARK + further, WIDE)
    assert far.certificate is not None
    assert "trailer (at least 0.4 s for a whole band) crosses at most one whole band." in far.certificate
    assert "since pilot is due, trailer has crossed fewer than 1 whole band" in far.certificate


def test_a_certificate_without_counters_says_nothing_of_them(tmp_path: Path) -> None:
    _, _, (_, dry) = decided(
        tmp_path, LAG + claim("dry", 'never = "trailer is at least 4 bar and stage is home"'), WIDE
    )
    assert dry.certificate is not None
    assert "whole band" not in dry.certificate


def test_a_proof_by_other_numbers_is_not_taken(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A certificate written with a watch that the arrangement does not have is about something else."""
    right = pace.tau
    monkeypatch.setattr(pace, "tau", lambda *given: None if (time := right(*given)) is None else 2 * time)
    case, _, (lag, _) = decided(tmp_path, LAG + MARK, WIDE)
    assert lag.verdict is Verdict.PROVEN
    assert lag.certificate is not None
    monkeypatch.undo()
    assert not recheck_against(lag.certificate, case.arrangement, case.properties[0]).ok


# ------------------------------------------------------------------------------------------------------ starts


def test_a_start_state_that_only_counters_rule_out_refutes_nothing(tmp_path: Path) -> None:
    """`tripped` allows a full trailer beside a full pilot line, which no run with counters gets to."""
    late = claim("late", 'never = "pilot is at least 1 bar"', during="tripped")
    _, _, (_, _, found) = decided(tmp_path, LAG + MARK + late)
    assert (found.verdict, reason_text(found)) == (Verdict.PROVEN, "")


def test_a_state_of_a_layout_without_watches_remembers_nothing(tmp_path: Path) -> None:
    case, _, _ = decided(tmp_path, LAG)
    assert case.layout().no_counts() == ()
    assert State((0,), (), ()) == State((0,), (), (), frozenset(), ())
    assert isinstance(case.layout(), Layout)
