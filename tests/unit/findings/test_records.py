"""What is written down comes back equal, a stale record is noticed, and a damaged one says where."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import Any, get_args

import pytest
from hypothesis import given, settings

from bandproof.findings.content import arrangement_hash, content_hash
from bandproof.findings.finding import Finding, Learnt, Verdict
from bandproof.findings.job import Job
from bandproof.findings.limits import Limits
from bandproof.findings.reasons import Lemmas, OutOfTime
from bandproof.findings.records import StaleRecordError, read_finding, read_job, write_finding, write_job
from bandproof.findings.shapes import BadRecordError
from bandproof.findings.story_file import story_schema
from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import (
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Condition,
    Happened,
    InPosition,
    InState,
    Lower,
    Not,
    NotHappened,
    NotInPosition,
    NotInState,
    NotLower,
    Tie,
    Truth,
)
from bandproof.properties.claim import Pace, Property, Shape
from bandproof.terms.nodes import End
from bandproof.views.json_files import story_json
from tests.unit.findings.drawn import findings, jobs
from tests.unit.views.view_samples import arrangement, breakaway_story, layout, psi

CLAIM = Property("never-so", "so it never is", "none", Shape.NEVER, "rolling")


def broken() -> Finding:
    """A refuted claim with a story that was made real."""
    return Finding("a", "a holds", "none", Verdict.REFUTED, (Lemmas(1),), layout=layout(), story=breakaway_story())


@pytest.mark.thorough
@pytest.mark.slow
@given(findings())
@settings(deadline=None, max_examples=150)
def test_every_finding_comes_back_as_it_went(drawn: tuple[Finding, Arrangement]) -> None:
    finding, about = drawn
    text = write_finding(finding)
    assert read_finding(text, about) == finding
    assert write_finding(read_finding(text, about)) == text


@pytest.mark.slow
@given(jobs())
@settings(deadline=None, max_examples=100)
def test_every_job_comes_back_as_it_went(job: Job) -> None:
    back = read_job(write_job(job), job.layout.arrangement)
    assert back == job
    assert back.key == job.key


def test_a_finding_about_another_arrangement_is_refused() -> None:
    text = write_finding(broken())
    assert read_finding(text, arrangement()) == broken()
    with pytest.raises(StaleRecordError, match="and not about"):
        read_finding(text, replace(arrangement(), highest=psi(151)))


def test_it_is_the_content_that_counts_and_not_the_file() -> None:
    elsewhere = replace(arrangement(), file="models/copy.toml", sha256="11" * 32)
    found = read_finding(write_finding(broken()), elsewhere)
    assert found.layout is not None
    assert found.layout.arrangement == elsewhere


def test_a_finding_answers_its_own_job_only() -> None:
    text = write_finding(broken(), job="one")
    assert read_finding(text, arrangement(), job="one") == broken()
    with pytest.raises(StaleRecordError, match="answers another job"):
        read_finding(text, arrangement(), job="two")


def test_a_job_changed_by_hand_is_refused() -> None:
    text = write_job(Job(layout(), CLAIM, Limits(seconds=300)))
    assert read_job(text, arrangement()).limits == Limits(seconds=300)
    with pytest.raises(StaleRecordError, match="its key is not that of what it says"):
        read_job(text.replace("300.0", "301.0"), arrangement())
    with pytest.raises(StaleRecordError, match="and not about"):
        read_job(text, replace(arrangement(), name="another"))


@pytest.mark.parametrize(
    "other",
    [
        lambda job: replace(job, limits=Limits(seconds=1)),
        lambda job: replace(job, claim=replace(job.claim, pace=Pace.AFTER_SETTLING)),
        lambda job: replace(job, claim=replace(job.claim, says="said otherwise")),
        lambda job: replace(job, layout=replace(job.layout, thresholds={**job.layout.thresholds, "service_tank": ()})),
        lambda job: replace(
            job, layout=replace(job.layout, arrangement=replace(job.layout.arrangement, highest=psi(151)))
        ),
    ],
)
def test_whatever_an_answer_hangs_on_is_in_the_key(other: Callable[[Job], Job]) -> None:
    job = Job(layout(), CLAIM, Limits())
    assert other(job).key != job.key
    assert Job(layout(), CLAIM, Limits()).key == job.key


def test_a_key_is_the_same_in_every_process() -> None:
    script = (
        "from bandproof.findings.content import arrangement_hash, content_hash; "
        "from tests.unit.views.view_samples import arrangement; "
        "print(arrangement_hash(arrangement()), content_hash(frozenset('abcdefgh')))"
    )
    seen = {
        subprocess.run(
            [sys.executable, "-c", script],
            capture_output=True,
            text=True,
            check=True,
            env={"PYTHONPATH": ":".join(sys.path), "PYTHONHASHSEED": seed},
        ).stdout.strip()
        for seed in ("1", "2")
    }
    assert seen == {f"{arrangement_hash(arrangement())} {content_hash(frozenset('abcdefgh'))}"}


def test_values_that_differ_hash_differently_and_equal_ones_alike() -> None:
    values = [1, "1", Fraction(1, 2), "1/2", (1,), ((1,),), frozenset({1}), {"a": 1}, None, Verdict.PROVEN, "proven"]
    assert len({content_hash(value) for value in values}) == len(values)
    assert content_hash(Limits(seconds=300)) == content_hash(Limits(seconds=300.0))
    with pytest.raises(TypeError, match="set has no content hash"):
        content_hash({1})


def _set(*path: str | int, to: object) -> Callable[[Any], None]:
    def change(document: Any) -> None:
        for key in path[:-1]:
            document = document[key]
        document[path[-1]] = to

    return change


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (_set("format", to="bandproof-finding/2"), 'finding, format: "bandproof-finding/2" is none of'),
        (_set("verdict", to="maybe"), 'finding, verdict: "maybe" is none of'),
        (_set("reasons", 0, "code", to="whim"), "finding, reasons[0]: "),
        (_set("reasons", 0, "count", to="1"), 'count: a whole number is wanted here, not "1"'),
        (_set("thresholds", "service_tank", 0, to="1e999999999"), "thresholds.service_tank[0]: an exact number"),
        (_set("thresholds", "service_tank", to=["2", "1"]), "thresholds.service_tank: they must rise"),
        (_set("thresholds", to={}), "thresholds: its volumes are not those"),
        (_set("arrangement", to=None), "there is a story, but no arrangement"),
        (_set("story", "steps", to=[]), "its states, steps and pressures or seconds do not fit one another"),
        (_set("story", "states", 0, "bands", to=[99]), "story.states[0]: this is no state"),
        (_set("story", "states", 1, "mishaps", to=["quake"]), "story.states[1]: this is no state"),
        (_set("story", "pressures", 2, to=[]), "story.states[2]: this is no state"),
    ],
)
def test_a_damaged_finding_says_where(change: Callable[[Any], None], message: str) -> None:
    document = json.loads(write_finding(broken()))
    change(document)
    with pytest.raises(BadRecordError) as refusal:
        read_finding(json.dumps(document), arrangement())
    assert message in str(refusal.value)


@pytest.mark.parametrize("text", ["", "{", "[]", "null", '{"a":' * 100_000, "\x00"])
def test_what_is_no_finding_is_a_plain_error(text: str) -> None:
    with pytest.raises(BadRecordError, match=r"^finding"):
        read_finding(text, arrangement())


def test_all_faults_are_told_at_once() -> None:
    document = json.loads(write_finding(broken()))
    document["says"], document["engine"] = 1, 2
    del document["basis"]
    with pytest.raises(BadRecordError) as refusal:
        read_finding(json.dumps(document), arrangement())
    assert str(refusal.value).splitlines() == [
        "finding, says: text is wanted here, not 1",
        "finding, basis: this key is missing",
        "finding, engine: text is wanted here, not 2",
    ]


def test_a_limit_without_end_comes_back() -> None:
    finding = replace(broken(), reasons=(OutOfTime(float("inf")),))
    assert read_finding(write_finding(finding), arrangement()) == finding


# -------------------------------------------------------------------------------------------------------- the schema


def test_the_schema_of_a_story_file_names_every_key_that_is_written() -> None:
    schema = story_schema()
    document = story_json(layout(), replace(breakaway_story(), lead=breakaway_story(), loop=1), patient=True)
    assert schema["$schema"].startswith("https://json-schema.org/")
    assert set(document) | {"seconds", "witness"} == set(schema["properties"])
    assert set(document["steps"][0]) == set(schema["$defs"]["StepShape"]["properties"])
    for name in ("TurnedEvent", "MovedEvent", "OccurredEvent", "CrossedEvent"):
        assert set(schema["$defs"][name]["required"]) in [
            {"control", "from", "to"},
            {"part", "from", "to"},
            {"mishap"},
            {"volume", "crosses", "pascals", "upward"},
        ]


# ------------------------------------------------------------------------------------------------------- conditions

SOME = frozenset({"open", "shut"})
NODES: list[Condition] = [
    Truth(value=False),
    Below("tank", psi(20), psi(30), "release", Tie("release", End.LOWEST)),
    Below("tank", psi(20), psi(20), None, Tie("release")),
    AtLeast("tank", Fraction(1, 3), psi(30)),
    Lower("tank", "line"),
    NotLower("tank", "line"),
    InState("tap", SOME),
    NotInState("tap", SOME),
    InPosition("knob", SOME),
    NotInPosition("knob", SOME),
    Happened("burst"),
    NotHappened("burst"),
    Not(Lower("tank", "line")),
    AllOf((Happened("burst"), AnyOf(()))),
    AnyOf((Truth(value=True), AllOf(()))),
]


@pytest.mark.parametrize("node", NODES, ids=lambda node: type(node).__name__)
def test_every_kind_of_condition_comes_back_as_it_went(node: Condition) -> None:
    wide = replace(broken(), learnt=(Learnt("a", ((node, Not(node)),)),))
    assert read_finding(write_finding(wide), arrangement()) == wide


def test_no_kind_of_condition_is_left_out() -> None:
    assert {type(node) for node in NODES} == set(get_args(Condition))


def test_what_windows_remember_comes_back_too() -> None:
    story = breakaway_story()
    states = (replace(story.states[0], crossed=(frozenset({2, 0}), frozenset())), *story.states[1:])
    finding = replace(broken(), story=replace(story, states=states))
    assert read_finding(write_finding(finding), arrangement()) == finding


def test_a_claim_comes_back_with_its_fillings() -> None:
    job = Job(layout(), replace(CLAIM, fillings=10), Limits())
    assert read_job(write_job(job), arrangement()) == job
