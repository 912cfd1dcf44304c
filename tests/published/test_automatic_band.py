"""49 CFR 393.43(b): every setting inside 20-45 psi, none outside.

A setting with a tolerance is one unknown number in a range, and a proof holds for each number in it: the range
`20..45 psi` is the claim for every legal setting at once. The ends of the band are legal; just outside them, on the
side that is crossed, the claim for that side falls, and the other stands.
"""

from __future__ import annotations

import pytest

from bandproof.findings.finding import Verdict
from bandproof.model.arrangement import Arrangement
from tests.published.deciding import done, last, pose, posed, with_setting

pytestmark = pytest.mark.slow

BOTH = pytest.mark.parametrize("name", ["supply_valve_with_stage", "supply_valve_latching"])

INSIDE = ["20 psi", "32.5 psi", "45 psi", "20..45 psi", "20..24 psi", "41..45 psi", "38 ± 4 psi"]
TOO_LOW = ["19 psi", "19.9 psi", "19..23 psi", "15..20 psi"]
TOO_HIGH = ["46 psi", "45.1 psi", "42..46 psi", "45..50 psi"]


def verdicts(arrangement: Arrangement) -> tuple[Verdict, Verdict]:
    """What becomes of the lower end of the band and of the upper."""
    here = pose(arrangement, "automatic_band")
    return here.decide("acts-by-20").verdict, here.decide("does-not-act-above-45").verdict


@BOTH
@pytest.mark.parametrize("setting", INSIDE)
def test_every_setting_inside_the_band_is_proven(name: str, setting: str) -> None:
    assert verdicts(with_setting(name, "automatic_release", setting)) == (Verdict.PROVEN, Verdict.PROVEN)


@BOTH
@pytest.mark.parametrize("setting", TOO_LOW)
def test_wrong_variant_a_setting_that_can_be_below_20_is_refuted(name: str, setting: str) -> None:
    assert verdicts(with_setting(name, "automatic_release", setting)) == (Verdict.REFUTED, Verdict.PROVEN)


@BOTH
@pytest.mark.parametrize("setting", TOO_HIGH)
def test_wrong_variant_a_setting_that_can_be_above_45_is_refuted(name: str, setting: str) -> None:
    assert verdicts(with_setting(name, "automatic_release", setting)) == (Verdict.PROVEN, Verdict.REFUTED)


@pytest.mark.thorough
@BOTH
def test_wrong_variant_a_tolerance_across_the_whole_band_is_refuted_at_both_ends(name: str) -> None:
    assert verdicts(with_setting(name, "automatic_release", "19..46 psi")) == (Verdict.REFUTED, Verdict.REFUTED)


def test_wrong_variant_a_hand_holds_a_latching_knob_in() -> None:
    decision = posed("supply_valve_latching", "automatic_band").decide("no-hand-defeats-it")
    assert decision.verdict is Verdict.REFUTED
    assert decision.story is not None
    assert sorted(done(decision.story)) == ["knob pushed", "tank_lost"]
    assert "pushed" in last(decision).controls
