"""A story survives the way through JSON exactly, and a file that does not fit says where."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings

from bandproof.findings.finding import Finding, Verdict
from bandproof.findings.reasons import Lacking
from bandproof.machine.layout import Layout
from bandproof.machine.story import Story
from bandproof.properties.claim import Lack, Named
from bandproof.views.json_files import prove_json, story_json
from bandproof.views.story_files import layout_from_json, story_from_json
from tests.unit.views.runs import runs
from tests.unit.views.view_samples import arrangement, breakaway_story, layout, psi, short_story


def through_text(document: dict[str, Any]) -> Any:
    return json.loads(json.dumps(document))


@pytest.mark.slow
@given(runs())
@settings(deadline=None, max_examples=80)
def test_every_run_comes_back_exactly_as_it_went(run: tuple[Layout, Story]) -> None:
    grid, story = run
    document = through_text(story_json(grid, story))
    found = layout_from_json(grid.arrangement, document)
    assert found == grid
    assert story_from_json(found, document) == story


def test_a_story_file_says_what_it_is_about() -> None:
    document = story_json(layout(), short_story(), claim="my-claim", says="x holds", ending="Claim broken: x holds")
    assert document["format"] == "bandproof-story/1"
    assert document["arrangement"] == {
        "name": "small tractor and trailer",
        "file": "models/small.toml",
        "sha256": "00" * 32,
    }
    assert (document["property"], document["says"]) == ("my-claim", "x holds")
    assert document["ending"] == "Claim broken: x holds"
    assert document["start"] == "rolling"


def test_steps_are_readable_without_the_model() -> None:
    document = story_json(layout(), breakaway_story())
    knob, burst, torn, falls = (document["steps"][i] for i in (0, 1, 2, 3))
    assert knob["kind"] == "act"
    assert knob["events"] == [{"control": "trailer_knob", "from": "free", "to": "pushed"}]
    assert burst["events"] == [{"mishap": "breakaway"}]
    assert burst["mishaps"] == ["breakaway"]
    assert torn["events"] == [{"part": "trailer_hose", "from": "whole", "to": "torn"}]
    assert torn["parts"]["trailer_hose"] == "torn"
    assert falls["events"][0]["crosses"] == "110 psi"
    assert falls["events"][0]["upward"] is False
    assert falls["bands"]["trailer_inlet_line"] == "100..110 psi"
    assert falls["pressures"]["trailer_inlet_line"] == "109 psi"


def test_a_story_that_was_not_made_real_has_no_pressures() -> None:
    document = story_json(layout(), short_story())
    assert document["initial"]["pressures"] == {}
    assert document["steps"][0]["pascals"] == {}


def _set(*path: str | int, to: object) -> Callable[[Any], None]:
    def change(document: Any) -> None:
        for key in path[:-1]:
            document = document[key]
        document[path[-1]] = to

    return change


def _drop(*path: str | int) -> Callable[[Any], None]:
    def change(document: Any) -> None:
        for key in path[:-1]:
            document = document[key]
        del document[path[-1]]

    return change


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (_set("format", to="bandproof/1"), "story file, format: \"bandproof/1\" is none of 'bandproof-story/1'"),
        (_drop("thresholds"), "story file, thresholds: this key is missing"),
        (_set("thresholds", "service_tank", to=["12"]), "its thresholds are not those"),
        (_set("thresholds", "moon_tank", to=[]), "no volume 'moon_tank'"),
        (_drop("thresholds", "service_tank"), "volume 'service_tank' is missing"),
        (_set("thresholds", "service_tank", to=["2", "1"]), "thresholds of service_tank must rise"),
        (
            _set("thresholds", "service_tank", to=["1e9"]),
            'thresholds.service_tank[0]: an exact number as text is wanted here, "a" or "a/b", not "1e9"',
        ),
        (_set("thresholds", "service_tank", to=[12]), "thresholds.service_tank[0]: text is wanted here, not 12"),
        (_set("thresholds", "service_tank", to="12"), 'thresholds.service_tank: a list is wanted here, not "12"'),
        (_drop("steps"), "story file, steps: this key is missing"),
        (_set("steps", 1, to=7), "steps[1]: an object is wanted here, not 7"),
        (_drop("start"), "story file, start: this key is missing"),
        (_drop("initial"), "story file, initial: this key is missing"),
        (_set("steps", 0, "kind", to="jump"), "steps[0].kind: \"jump\" is none of 'react', 'flow' or 'act'"),
        (_set("steps", 0, "events", to={}), "steps[0].events: a list is wanted here, not an object"),
        (_set("steps", 0, "events", 0, "to", to="pulled"), "step 1: its events are not what changes"),
        (_set("steps", 0, "events", 0, "from", to="pulled"), "step 1: its events are not what changes"),
        (_set("steps", 0, "events", to=[]), "step 1: its events are not what changes"),
        (_set("steps", 0, "events", 0, to={"control": "moon", "from": "a", "to": "b"}), "its events are not what"),
        (_set("steps", 0, "events", 0, "control", to=3), "steps[0].events[0].control: text is wanted here, not 3"),
        (
            _set("steps", 3, "events", 0, "upward", to="no"),
            'steps[3].events[0].upward: true or false is wanted here, not "no"',
        ),
        (_set("steps", 3, "events", 0, "upward", to=True), "step 4: its events are not what changes"),
        (_set("steps", 3, "events", 0, "pascals", to="17"), "step 4: its events are not what changes"),
        (_set("steps", 3, "events", 0, "volume", to="moon"), "step 4: its events are not what changes"),
        (_set("steps", 1, "events", 0, "mishap", to="quake"), "step 2: its events are not what changes"),
        (_set("initial", "band_numbers", "service_tank", to=99), "initial: service_tank has no band 99"),
        (
            _set("initial", "band_numbers", "service_tank", to=True),
            "initial.band_numbers.service_tank: a whole number is wanted here, not true",
        ),
        (_drop("initial", "band_numbers", "service_tank"), "initial: volume 'service_tank' is missing"),
        (
            _set("initial", "parts", "trailer_hose", to="bent"),
            "trailer_hose cannot be 'bent'; it is one of whole, torn",
        ),
        (_set("initial", "parts", "moon", to="full"), "this arrangement has no part 'moon'"),
        (_drop("initial", "controls", "park_knob"), "control 'park_knob' is missing"),
        (_set("initial", "mishaps", to=["quake"]), "there is no mishap 'quake'"),
        (_set("initial", "mishaps", to=[["quake"]]), "initial.mishaps[0]: text is wanted here, not a list"),
        (_set("initial", "bands", "service_tank", to="0..20 psi"), 'initial: "bands" does not say'),
        (_set("steps", 3, "pressures", "service_tank", to="3 psi"), 'step 4: "pressures" does not say'),
        (_set("steps", 3, "pascals", to={}), "for every state or for none"),
        (_set("steps", 3, "pascals", "service_tank", to="5"), "step 4: the pressure of service_tank lies outside"),
        (_set("steps", 3, "pascals", "service_tank", to="9" * 30), "lies outside its band"),
        (_drop("steps", 3, "pascals", "service_tank"), "step 4: volume 'service_tank' is missing"),
        (
            _set("steps", 3, "pascals", "service_tank", to="1/0"),
            "steps[3].pascals.service_tank: an exact number as text is wanted here",
        ),
        (_drop("steps", 3, "bands"), "steps[3].bands: this key is missing"),
    ],
)
def test_a_damaged_file_is_refused_with_its_place(change: Callable[[Any], None], message: str) -> None:
    document = through_text(story_json(layout(), breakaway_story()))
    change(document)
    with pytest.raises(ValueError) as refusal:
        story_from_json(layout(), document)
    assert message in str(refusal.value)


@pytest.mark.parametrize("document", [None, [], "story", 3])
def test_what_is_no_object_is_no_story(document: object) -> None:
    with pytest.raises(ValueError, match="an object is wanted here"):
        story_from_json(layout(), document)


def test_a_changed_model_is_noticed() -> None:
    small = arrangement()
    document = through_text(story_json(layout(), breakaway_story()))
    lower = replace(small, highest=psi(125))
    with pytest.raises(ValueError, match="below the highest pressure"):
        layout_from_json(lower, document)


def test_further_keys_do_no_harm() -> None:
    document = through_text(story_json(layout(), short_story()))
    document["note"] = "kept by hand"
    document["steps"][0]["note"] = "look here"
    assert story_from_json(layout(), document) == short_story()


def test_the_prove_document_has_the_agreed_keys() -> None:
    findings = (
        Finding("a", "a holds", "49 CFR 393.43(b)", Verdict.PROVEN, seconds=0.12345, engine="reach"),
        Finding("b", "b holds", "none", Verdict.REFUTED, steps=7),
        Finding("c", "c holds", "none", Verdict.NOT_APPLICABLE, (Lacking((Lack(Named.ROLE, "pump"),)),)),
    )
    document = prove_json(arrangement(), findings, certificates={"a": "out/a.smt2"}, stories={"b": "out/b.json"})
    assert document == through_text(document)
    assert document["format"] == "bandproof/1"
    assert document["arrangement"]["sha256"] == "00" * 32
    proven, refuted, absent = document["results"]
    wanted = {"property", "says", "basis", "verdict", "reason", "steps", "seconds", "certificate", "counterexample"}
    assert wanted <= set(proven)
    assert (proven["verdict"], proven["certificate"], proven["counterexample"]) == ("proven", "out/a.smt2", None)
    assert proven["seconds"] == 0.123
    assert (refuted["verdict"], refuted["steps"], refuted["counterexample"]) == ("refuted", 7, "out/b.json")
    assert (absent["verdict"], absent["reason"]) == ("not applicable", 'the arrangement has no role "pump"')
    assert absent["reasons"] == [{"code": "lacking", "lacks": [{"sort": "role", "name": "pump", "near": None}]}]
