"""Every reason has its sentence, and a finding says its own in one order."""

from __future__ import annotations

from fractions import Fraction
from typing import get_args

import pytest

from bandproof.findings.finding import Finding, Vehicle, Verdict, Waiting
from bandproof.findings.reasons import (
    Assumption,
    Code,
    ConditionNever,
    ConditionUnshown,
    Interrupted,
    Lacking,
    Lemmas,
    NoMoreMemory,
    NoPressures,
    NoRun,
    NoVehicle,
    OutOfMemory,
    OutOfTime,
    PerhapsShorter,
    Reason,
    ShorterUnreal,
    StartAssumed,
    StartUnreachable,
    StartUnshown,
    Unread,
    Unreal,
    WorkerDied,
)
from bandproof.properties.claim import Lack, Named
from bandproof.views.reasons_text import reason_text, reason_words, unreal_words
from tests.unit.views.view_samples import layout

SAID: list[tuple[Reason, str]] = [
    (OutOfTime(0.5), "not decided within the time limit of 0.5 s"),
    (OutOfMemory(600), "not decided within the memory limit of 600 MB"),
    (NoMoreMemory(), "not decided: the system has no more memory"),
    (WorkerDied(signal=9), "not decided: the worker process ended by itself (signal 9)"),
    (WorkerDied(status=7), "not decided: the worker process ended by itself (exit code 7)"),
    (Interrupted(), "not decided: the run was interrupted"),
    (
        Lacking((Lack(Named.ROLE, "stoer", "store"), Lack(Named.START, "towed"))),
        'the arrangement has no role "stoer" (it has "store"); the arrangement has no start "towed"',
    ),
    (
        NoPressures(Unreal.GAVE_UP),
        "a run was found, but no pressures for it: the solver gave up on its air accounts",
    ),
    (Lemmas(2), "holds because air is conserved: 2 kinds of run without it are excluded"),
    (NoRun(), "no run from the start gets there"),
    (ConditionNever(), "its condition can never happen"),
    (
        NoVehicle(1312, 9),
        "the bands have a run of 9 steps, but none of 1,312 simulated vehicles does it or the like",
    ),
    (
        Unread("501 steps"),
        "the run of the vehicle is not told step by step (501 steps); the story is the one that led to it",
    ),
    (
        ConditionUnshown(NoPressures(Unreal.LITRES, ("tank",))),
        "it is not shown that its condition can happen: " + unreal_words(NoPressures(Unreal.LITRES, ("tank",))),
    ),
    (PerhapsShorter(9, 4), "the story has 9 steps; there may be a shorter one, of at least 4"),
    (ShorterUnreal(1), "a run 1 steps shorter was found, but no pressures for it"),
    (StartUnreachable("braked", None), 'no state is such a start as "braked" asks for'),
    (StartUnreachable("braked", "empty"), 'its start "braked" cannot be reached from "empty"'),
    (
        StartUnshown("one", NoPressures(Unreal.NO_SIZES)),
        (
            'start "one" is not shown reachable: a run was found, but no pressures for it: no sizes were found for which '
            "all pressures are real, nor a proof that there are none"
        ),
    ),
]


@pytest.mark.parametrize(("reason", "sentence"), SAID, ids=lambda x: getattr(x, "code", ""))
def test_each_reason_is_said_in_its_words(reason: Reason, sentence: str) -> None:
    assert reason_words(reason) == sentence


def test_no_reason_is_left_out_and_each_has_a_code_of_its_own() -> None:
    assert {type(reason) for reason, _ in SAID} == set(get_args(Reason))
    codes = [kind.__dataclass_fields__["code"].default for kind in (*get_args(Reason), Assumption)]
    assert sorted(codes) == sorted(Code)


@pytest.mark.parametrize(
    ("volumes", "parts", "sentence"),
    [
        (("tank", "line"), ("tap",), "no real pressures of tank, line, with tap fit it: its air does not add up"),
        ((), ("tap",), "no real pressures with tap fit it: its air does not add up"),
        ((), (), "no real pressures at all fit it: its air does not add up"),
    ],
)
def test_air_that_does_not_add_up_names_whose(volumes: tuple[str, ...], parts: tuple[str, ...], sentence: str) -> None:
    assert unreal_words(NoPressures(Unreal.AIR, volumes, parts)) == sentence


@pytest.mark.parametrize("why", Unreal)
def test_every_way_to_be_unreal_has_words(why: Unreal) -> None:
    assert unreal_words(NoPressures(why))


def test_a_finding_says_why_then_what_is_assumed() -> None:
    vehicle = Vehicle((("tank", Fraction(40)),), (), ("tank", "line"), drifting=())
    finding = Finding(
        "a",
        "a holds",
        "none",
        Verdict.REFUTED,
        (ShorterUnreal(2),),
        layout=layout(),
        vehicle=vehicle,
        waiting=Waiting(Verdict.PROVEN),
        assumptions=(StartAssumed("two"),),
    )
    assert reason_text(finding).split("; ") == [
        "a run 2 steps shorter was found, but no pressures for it",
        "the pressures hold for volumes assumed for tank, line",
        "proven when the driver lets the air settle before each action",
        'start "two" is assumed, not shown reachable',
    ]


@pytest.mark.parametrize(
    ("waiting", "sentence"),
    [
        (
            Waiting(Verdict.REFUTED, same_story=True),
            "also refuted when the driver lets the air settle before each action",
        ),
        (
            Waiting(Verdict.REFUTED),
            "also refuted, by a story of his own, when the driver lets the air settle before each action",
        ),
        (
            Waiting(Verdict.UNDECIDED, gave_up=OutOfTime(1)),
            "not decided in the time left whether it holds when the driver lets the air settle",
        ),
    ],
)
def test_what_becomes_of_it_when_the_driver_waits(waiting: Waiting, sentence: str) -> None:
    assert reason_text(Finding("a", "", "", Verdict.REFUTED, waiting=waiting)) == sentence


def test_a_verdict_that_says_it_all_has_no_text() -> None:
    assert reason_text(Finding("a", "", "", Verdict.PROVEN)) == ""
