"""Every picture and text speaks through these words."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandproof.findings.finding import Finding, Verdict
from bandproof.machine.story import Crossed, Event, Moved, Occurred, Turned
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Move, Part, Passage, Volume, VolumeKind
from bandproof.model.conditions import ALWAYS_TRUE, AllOf, AnyOf, Condition, Happened, InPosition, InState, Lower, Not
from bandproof.views import phrases as words
from tests.unit.views.view_samples import PSI, arrangement, at, at_least, below, is_in, layout, psi

CAVITY = below("cavity", 34, 42, "release")


@pytest.mark.parametrize(
    ("condition", "text"),
    [
        (CAVITY, "cavity is below 34..42 psi (release)"),
        (below("cavity", 38, 38), "cavity is below 38 psi"),
        (at_least("park_line", 60, 60, "low_warning"), "park line is at least 60 psi (low warning)"),
        (Lower("inlet", "outlet"), "inlet is lower than outlet"),
        (InState("valve", frozenset({"out", "held in"})), "valve is held in or out"),
        (InPosition("knob", frozenset({"pushed"})), "knob is pushed"),
        (Happened("hose_burst"), "hose burst has happened"),
        (Not(CAVITY), "cavity is at least 34..42 psi (release)"),
        (Not(at_least("cavity", 38, 38)), "cavity is below 38 psi"),
        (Not(Lower("inlet", "outlet")), "inlet is at least as high as outlet"),
        (Not(is_in("valve", "out")), "valve is not out"),
        (Not(at("knob", "pushed")), "knob is not pushed"),
        (Not(Happened("hose_burst")), "hose burst has not happened"),
        (Not(Not(at("knob", "pushed"))), "knob is pushed"),
        (ALWAYS_TRUE, "always"),
        (Not(ALWAYS_TRUE), "never"),
        (AllOf(()), "always"),
        (AnyOf(()), "never"),
        (AllOf((at("knob", "pushed"),)), "knob is pushed"),
        (AllOf((at("knob", "pushed"), CAVITY)), "knob is pushed and cavity is below 34..42 psi (release)"),
        (
            AnyOf((at("knob", "pulled"), AllOf((Not(at("knob", "pushed")), is_in("valve", "out"))))),
            "knob is pulled or (knob is not pushed and valve is out)",
        ),
        (Not(AnyOf((at("knob", "pulled"), is_in("valve", "out")))), "not (knob is pulled or valve is out)"),
    ],
)
def test_conditions_read_as_plain_words(condition: Condition, text: str) -> None:
    assert words.show_condition(condition, "psi") == text


@pytest.mark.parametrize(
    ("names", "text"), [([], ""), (["a_b"], "a b"), (["a", "b"], "a and b"), (["a", "b", "c"], "a, b and c")]
)
def test_names_join_into_a_phrase(names: list[str], text: str) -> None:
    assert words.enumerated(names) == text


def test_a_band_shows_both_ends_and_the_unit() -> None:
    grid = layout()
    assert words.band_words(grid, "service_tank", 0) == "0–20 psi"
    assert words.band_words(grid, "service_tank", 3) == "34–42 psi"
    assert words.band_words(grid, "service_tank", 11) == "130–150 psi"


@pytest.mark.slow
@given(st.data())
@settings(deadline=None)
def test_a_real_pressure_is_never_rounded_out_of_its_band(data: st.DataObject) -> None:
    grid = layout()
    band = data.draw(st.integers(0, len(grid.thresholds["service_tank"])))
    low, high = grid.low("service_tank", band), grid.high("service_tank", band)
    share = data.draw(st.fractions(0, 1, max_denominator=10**4).filter(lambda f: f < 1))
    pressure = low + share * (high - low)
    text = words.real_pressure(grid, "service_tank", band, pressure)
    shown = psi(text.removesuffix(" psi"))
    assert low <= shown < high
    assert abs(shown - pressure) <= PSI / 20


def test_a_pressure_just_under_a_threshold_keeps_the_digits_that_say_so() -> None:
    grid = layout()
    assert words.real_pressure(grid, "service_tank", 3, psi("41.998")) == "41.998 psi"
    assert words.real_pressure(grid, "service_tank", 3, psi("36.04")) == "36 psi"
    assert words.real_pressure(grid, "service_tank", 11, psi(150)) == "150 psi"
    assert words.spoken_pressure(grid, "service_tank", 3, psi("41.98")) == "41.98 psi"
    assert words.spoken_pressure(grid, "service_tank", 3, psi("41.998")) == "just below 42 psi"
    assert words.spoken_pressure(grid, "service_tank", 3, psi("36.04")) == "36 psi"


def test_a_passage_is_seen_from_the_ports_of_its_part() -> None:
    part = Part("valve", "valve", ("on",), ports=(("supply", "tank"), ("delivery", "line")))
    everywhere = frozenset({"on"})
    assert words.passage_words(part, Passage("tank", "line", False, everywhere)) == "supply ↔ delivery"
    assert words.passage_words(part, Passage("tank", "line", True, everywhere)) == "supply → delivery"
    assert words.passage_words(part, Passage(SOURCE, "tank", True, everywhere)) == "air source → supply"
    assert words.passage_words(part, Passage("line", "other_line", True, everywhere)) == "delivery → other line"


@pytest.mark.parametrize("one_way", [False, True])
@pytest.mark.parametrize("ends", [("line", ATMOSPHERE), (ATMOSPHERE, "line")])
def test_air_only_ever_leaves_to_the_open_air(ends: tuple[str, str], one_way: bool) -> None:
    part = Part("valve", "valve", ("on",), ports=(("delivery", "line"),))
    assert words.passage_words(part, Passage(*ends, one_way, frozenset({"on"}))) == "delivery → open air"


def test_a_move_says_what_it_opens_and_closes() -> None:
    part = arrangement().part("trailer_control")
    assert words.consequences(part, "pressed in", "out") == ("opens delivery → open air", "closes supply ↔ delivery")
    assert words.consequences(part, "out", "out") == ()


@pytest.mark.parametrize(
    ("event", "text"),
    [
        (Turned("trailer_knob", "free", "pushed"), "driver pushes the trailer knob (free -> pushed)"),
        (Turned("trailer_knob", "pushed", "free"), "driver lets go of the trailer knob (pushed -> free)"),
        (Turned("pedal", "low", "half_way"), "driver sets the pedal to half way (low -> half way)"),
        (Occurred("breakaway"), "breakaway happens"),
        (Moved("trailer_control", "out", "pressed in"), "trailer control moves out -> pressed in"),
        (Moved("trailer_springs", "applied", "released"), "trailer springs move applied -> released"),
        (Crossed("trailer_inlet_line", psi(45), False), "trailer inlet line falls below 45 psi (highest of emergency)"),
        (Crossed("trailer_inlet_line", psi(20), True), "trailer inlet line rises past 20 psi (lowest of emergency)"),
        (Crossed("trailer_tank", psi(45), True), "trailer tank rises past 45 psi"),
    ],
)
def test_events_read_as_a_technician_would_say_them(event: Event, text: str) -> None:
    assert words.event_words(layout(), event) == text


def test_a_threshold_is_named_by_the_settings_compared_there() -> None:
    small = arrangement()
    gauge = Part(
        "gauge", "gauge", ("on", "off"), moves=(Move("on", "off", at_least("service_tank", 100, 100, "full")),)
    )
    with_gauge = replace(small, parts=(*small.parts, gauge))
    assert words.setting_at(small, "service_tank", psi(100)) == "lowest of cut in"
    assert words.setting_at(with_gauge, "service_tank", psi(100)) == "lowest of cut in, full"
    assert words.setting_at(small, "service_tank", psi(99)) == ""
    assert words.setting_at(small, "trailer_tank", psi(100)) == ""


def test_an_ending_says_whether_the_claim_broke() -> None:
    broken = Finding("id", "the springs come on", "none", Verdict.REFUTED)
    shown = Finding("id", "the tank can be filled", "none", Verdict.PROVEN)
    assert words.ending(broken) == "Claim broken: the springs come on"
    assert words.ending(shown) == "Shown: the tank can be filled"


def test_a_volume_without_a_size_has_no_size_in_words() -> None:
    assert words.litres(Volume("a", VolumeKind.TANK)) == ""
    assert words.litres(arrangement().volume("service_tank")) == "40 L"
    assert words.litres(arrangement().volume("trailer_tank")) == "45..50 L"


def test_verbs_fit_one_and_many() -> None:
    assert [words.verb("valve", verb) for verb in ("moves", "goes")] == ["moves", "goes"]
    assert [words.verb("tractor_springs", verb) for verb in ("moves", "goes")] == ["move", "go"]
