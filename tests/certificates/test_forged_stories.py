"""Forged stories: each accepted by a checker with one check taken out, and refused."""

from __future__ import annotations

import json
from collections.abc import Callable
from copy import deepcopy
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from bandproof.deciding import stories
from bandproof.deciding.cases import Case
from bandproof.deciding.rechecked import BadFileError, Rechecked
from bandproof.deciding.saving import standing_files
from bandproof.deciding.standing import standing
from bandproof.encoding.system import StepRule
from bandproof.engines.run import decide
from bandproof.machine.layout import Layout, lay_out
from bandproof.model.conditions import AtLeast, Truth
from bandproof.properties.claim import Property, Shape
from bandproof.views.json_files import story_json
from bandproof.views.phrases import last_words
from bandproof.witness import concretise
from tests.certificates.forging import FALSE_CLAIM, Bench, Blinded, skipping
from tests.certificates.samples import KPA
from tests.conformance.case import load
from tests.conformance.small_parts import ONE_SETTING
from tests.conformance.table_holding import KEEPER, LEAK, line
from tests.strategies import layout_for
from tests.witness.samples import cylinder

Document = dict[str, Any]


class Forgery(NamedTuple):
    """A change of an honest story's document, and the one check that finds it."""

    name: str
    change: Callable[[Document], object]
    check: str


def written(bench: Bench, layout: Layout, *, real: bool = True) -> Document:
    """The story file of a claim that is refuted."""
    story = decide(StepRule(layout), bench.claim, real=real, witnessed=False).story
    assert story is not None
    last = last_words(bench.claim.says, broken=True)
    return story_json(layout, story, claim=bench.claim.id, says=bench.claim.says, ending=last)


@cache
def honest_text() -> str:
    return json.dumps(written(FALSE_CLAIM, layout_for(FALSE_CLAIM.arrangement, FALSE_CLAIM.claim)))


def honest() -> Document:
    document: Document = json.loads(honest_text())
    return document


def rechecked(text: str, bench: Bench = FALSE_CLAIM, *others: Property) -> Rechecked:
    """What becomes of a story when its arrangement and claim are those of the bench."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stories, "load_cases", lambda *_: (Case(bench.arrangement, (bench.claim, *others)),))
        return stories.recheck_story(text, Path("out/some.story.json"), Path("models/some.toml"), None)


#: The checks, by name, and how each is taken out.
CHECKS: dict[str, Blinded] = {
    "what is said": skipping(stories, "said_wrongly"),
    "the run and its ending": skipping(stories, "_ending"),
    "the grid": skipping(stories, "grid_fault"),
    "the pressures": skipping(concretise, "satisfied_by", answer=True),
    "said once": lambda patch: patch.setattr(stories, "read_json", json.loads),
}


def cut(document: Document, steps: int) -> None:
    del document["steps"][steps:]


def again(document: Document) -> None:
    """Nothing more comes of it: the knob is turned back after the claim is broken."""
    last = document["steps"][-1]
    turned = {"control": "knob", "from": last["controls"]["knob"], "to": "off"}
    document["steps"].append({**deepcopy(last), "kind": "act", "events": [turned], "controls": {"knob": "off"}})


def leap(document: Document) -> None:
    """The tank rises at once, the tap being shut."""
    rises = [step for step in document["steps"] if any("volume" in event for event in step["events"])]
    for step in rises:
        step["parts"] = {**document["initial"]["parts"]}
        step["controls"] = {**document["initial"]["controls"]}
    document["steps"] = rises


def mishap(document: Document) -> None:
    """The run begins with a mishap that the claim does not allow."""
    for step in document["steps"]:
        step["mishaps"] = ["bang"]
    first = {**deepcopy(document["initial"]), "kind": "act", "events": [{"mishap": "bang"}], "mishaps": ["bang"]}
    document["steps"].insert(0, first)


def fuller(document: Document) -> None:
    """The tank has air in it at the start, within its band."""
    document["initial"]["pascals"]["tank"] = "50000"
    document["initial"]["pressures"]["tank"] = "50 kPa"


def crossing(document: Document) -> Document:
    found: Document = next(e for step in document["steps"] for e in step["events"] if "volume" in e)
    return found


FORGERIES = [
    Forgery("says something else", lambda d: d.update(says="the tank does not stay low"), "what is said"),
    Forgery("ends otherwise", lambda d: d.update(ending="Shown: the tank stays low"), "what is said"),
    Forgery("ends with more", lambda d: d.update(ending=d["ending"] + ", on every vehicle"), "what is said"),
    Forgery("another name", lambda d: d["arrangement"].update(name="two lines"), "what is said"),
    Forgery("another unit", lambda d: d.update(unit="psi"), "what is said"),
    Forgery("crosses something else", lambda d: crossing(d).update(crosses="700 kPa"), "what is said"),
    Forgery("stops before the claim is broken", lambda d: cut(d, 1), "the run and its ending"),
    Forgery("goes on after it", again, "the run and its ending"),
    Forgery("starts elsewhere", lambda d: d.update(start="held"), "the run and its ending"),
    Forgery("the tank leaps", leap, "the run and its ending"),
    Forgery("a mishap nobody allowed", mishap, "the run and its ending"),
]


@pytest.mark.parametrize("forgery", FORGERIES, ids=lambda forgery: f"{forgery.check}: {forgery.name}")
def test_a_forged_story_is_refused_by_one_check(forgery: Forgery) -> None:
    document = honest()
    forgery.change(document)
    text = json.dumps(document)
    assert document != honest()
    with pytest.MonkeyPatch.context() as patch:
        CHECKS[forgery.check](patch)
        if forgery.check == "the run and its ending":
            CHECKS["the pressures"](patch)  # a run that is none has no accounts
        assert rechecked(text).faults == ()
    assert not rechecked(text).ok


def test_an_honest_story_stands_and_keys_of_one_s_own_are_said_to_be_unchecked() -> None:
    assert rechecked(honest_text()).ok
    document = honest()
    document["remark"] = "seen on the bench"
    document["steps"][0]["vehicle"] = {"litres": 3}
    outcome = rechecked(json.dumps(document))
    assert outcome.ok
    assert "not looked at: remark, steps[0].vehicle" in outcome.done


def test_a_story_of_what_can_be_reached_ends_in_other_words() -> None:
    claim = replace(FALSE_CLAIM.claim, shape=Shape.REACHABLE)
    bench = Bench(FALSE_CLAIM.arrangement, claim)
    document = written(bench, layout_for(bench.arrangement, claim))
    assert '"ending" is not what' in rechecked(json.dumps(document), bench).faults[0]
    document["ending"] = last_words(claim.says, broken=False)
    assert rechecked(json.dumps(document), bench).ok


def test_the_name_of_the_file_does_not_matter() -> None:
    document = honest()
    document["arrangement"]["file"] = "elsewhere.toml"
    assert rechecked(json.dumps(document)).ok


def test_pressures_that_no_air_could_have_are_refused() -> None:
    document = honest()
    fuller(document)
    text = json.dumps(document)
    with pytest.MonkeyPatch.context() as patch:
        CHECKS["the pressures"](patch)
        CHECKS["what is said"](patch)
        patch.setattr("bandproof.views.story_files._says_what_it_is", lambda *_: None)
        assert rechecked(text).ok
    with pytest.MonkeyPatch.context() as patch:
        CHECKS["what is said"](patch)
        patch.setattr("bandproof.views.story_files._says_what_it_is", lambda *_: None)
        assert rechecked(text).faults == (stories.NOT_BALANCED,)


def test_a_run_that_no_air_allows_does_not_stand_without_its_pressures() -> None:
    arrangement, claim = cylinder("1")
    bench = Bench(arrangement, claim)
    text = json.dumps(written(bench, layout_for(arrangement, claim), real=False))
    with pytest.MonkeyPatch.context() as patch:
        CHECKS["the pressures"](patch)
        patch.setattr(stories, "_made_real", lambda *given: replace(given[-1], ok=True))
        assert rechecked(text, bench).ok
    assert not rechecked(text, bench).ok


def test_thresholds_that_are_not_shared_are_refused() -> None:
    arrangement, claim = cylinder("20", "1")
    bench = Bench(arrangement, claim)
    marks = dict(layout_for(arrangement, claim).thresholds)
    marks["tank"] = (100 * KPA, *marks["tank"])
    text = json.dumps(written(bench, Layout(arrangement, marks)))
    with pytest.MonkeyPatch.context() as patch:
        CHECKS["the grid"](patch)
        assert rechecked(text, bench).ok
    assert "not shared" in rechecked(text, bench).faults[0]
    shared = lay_out(arrangement, [claim.when, AtLeast("tank", 100 * KPA, 100 * KPA)])
    assert rechecked(json.dumps(written(bench, shared)), bench).ok


def round_story() -> tuple[Bench, str]:
    """The story that a standing question is answered with: a keeper on a leaking line goes on for ever."""
    arrangement = load(line(KEEPER, LEAK, kinds=ONE_SETTING))
    claim = replace(FALSE_CLAIM.claim, during=arrangement.starts[0].name, when=Truth(value=False))
    answer = next(one for one in standing(Case(arrangement, (claim,))) if one.story is not None)
    (text,) = (text for name, text in standing_files(answer).items() if name.endswith(".json"))
    return Bench(arrangement, claim), text


def test_a_run_that_goes_round_for_ever_is_played_again() -> None:
    bench, text = round_story()
    assert rechecked(text, bench).ok
    document = json.loads(text)
    changes: list[dict[str, object]] = [
        {"says": "does it stop?"},
        {"ending": "From here on as from after step 17, for ever."},
        {"steps": document["steps"][:-1]},
        {"steps": []},
    ]
    for change in changes:
        assert not rechecked(json.dumps({**document, **change}), bench).ok


def test_a_key_said_twice_is_no_story() -> None:
    text = honest_text().replace('"says": ', '"says": "the tank explodes", "says": ', 1)
    with pytest.MonkeyPatch.context() as patch:
        CHECKS["said once"](patch)
        assert rechecked(text).ok
    with pytest.raises(BadFileError, match="given twice"):
        rechecked(text)
