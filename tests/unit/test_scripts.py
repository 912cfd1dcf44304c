"""Scripts as text: what each key means, what is a fault, what is done to an arrangement."""

from __future__ import annotations

from pathlib import Path

import pytest

from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import AtLeast, InState
from bandproof.model.loader import load_arrangement_text
from bandproof.properties.claim import Lack
from bandproof.properties.scripts import Procedure, When, load_script_text, resolve_script, script_models
from bandproof.text.errors import InputError
from tests.cli.samples import ARRANGEMENT

HEAD = """\
format = "bandproof/1"

[script]
name = "brake and let go"
basis = "common practice, no source"
ends = "1 min"
"""


def read(steps: str) -> Procedure:
    found = resolve_script(load_script_text(HEAD + steps), arrangement())
    assert isinstance(found, Procedure)
    return found


def arrangement() -> Arrangement:
    return load_arrangement_text(ARRANGEMENT)


def codes(steps: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        read(steps)
    return [fault.code for fault in caught.value.diagnostics]


def test_times_are_read_with_their_units() -> None:
    procedure = read(
        """
[[step]]
at = "1500 ms"
turn = { lever = "forward" }
[[step]]
after = "2 s"
expect = "brake is at least 100 psi"
within = "0.5 min"
[[step]]
once = "settled"
expect = "valve is feeding"
holds_for = "3 s"
[[step]]
expect = "valve is feeding"
"""
    )
    assert procedure.script.ends == 60
    assert [step.when for step in procedure.steps] == [When(at=1.5), When(after=2), When(settled=True), When()]
    assert [(step.within, step.holds_for) for step in procedure.steps[1:3]] == [(30.0, None), (None, 3.0)]


def test_roles_become_the_names_that_play_them() -> None:
    procedure = read('[[step]]\nturn = { lever = "forward" }\n[[step]]\nexpect = "brake is at least 100 psi"\n')
    assert procedure.start == "empty"
    assert procedure.steps[0].turns == (("lever", "forward"),)
    assert isinstance(procedure.steps[1].expect, AtLeast)
    other = read('[[step]]\nexpect = "valve is feeding"\n').steps[0].expect
    assert other == InState("valve", frozenset({"feeding"}))


def test_what_is_turned_again_and_again_is_kept_as_strokes() -> None:
    (step,) = read('[[step]]\nturn = { lever = ["forward", "back"] }\ntimes = 3\nevery = "1 s"\n').steps
    assert step.turns == ()
    assert (step.strokes, step.times, step.every) == ((("lever", "forward"), ("lever", "back")), 3, 1.0)


@pytest.mark.parametrize(
    ("steps", "code"),
    [
        ("", "script-empty"),
        ('[[step]]\nsays = "wait"\n', "step-unclear"),
        ('[[step]]\nturn = { lever = "back" }\nexpect = "valve is feeding"\n', "step-unclear"),
        ('[[step]]\nturn = { lever = "back" }\nwithin = "1 s"\n', "step-unclear"),
        ('[[step]]\nexpect = "valve is feeding"\nwithin = "1 s"\nholds_for = "1 s"\n', "step-unclear"),
        ("[[step]]\nturn = {}\n", "step-unclear"),
        ('[[step]]\nturn = { lever = ["back", "forward"] }\n', "step-unclear"),
        ('[[step]]\nturn = { lever = "back" }\nevery = "1 s"\n', "step-unclear"),
        ('[[step]]\nturn = { lever = "back" }\ntimes = 0\nevery = "1 s"\n', "step-unclear"),
        ('[[step]]\nat = "1 s"\nonce = "settled"\nexpect = "valve is feeding"\n', "step-time-twice"),
        ('[[step]]\nat = "-1 s"\nexpect = "valve is feeding"\n', "step-too-early"),
        ('[[step]]\nafter = "-1 s"\nexpect = "valve is feeding"\n', "step-too-early"),
        ('[[step]]\nat = "2 min"\nexpect = "valve is feeding"\n', "step-too-early"),
        ('[[step]]\nat = "soon"\nexpect = "valve is feeding"\n', "bad-quantity"),
        ('[[step]]\nturn = { lever = "sideways" }\n', "unknown-position"),
        ('[[step]]\nturn = { valve = "feeding" }\n', "not-a-control"),
        ('[[step]]\nhappens = "valve"\n', "not-a-mishap"),
        ('[[step]]\nexpect = "valve is sideways"\n', "unknown-state"),
        ('[[step]]\nexpect = "valve is"\n', "condition-unfinished"),
        ('[[step]]\nexpects = "valve is feeding"\n', "unknown-key"),
    ],
)
def test_a_fault_is_told_with_its_code(steps: str, code: str) -> None:
    assert codes(steps) == [code]


def test_all_faults_are_told_at_once() -> None:
    steps = '[[step]]\nat = "soon"\nexpect = "valve is"\n[[step]]\nturn = {}\n'
    assert sorted(codes(steps)) == ["bad-quantity", "condition-unfinished", "step-unclear"]


def test_what_the_arrangement_does_not_have_is_no_fault_of_the_script() -> None:
    script = load_script_text(HEAD + '[[step]]\nexpect = "trailer_tank is at least 60 psi"\n')
    lacks = resolve_script(script, arrangement())
    assert isinstance(lacks, tuple)
    assert [lack.name for lack in lacks] == ["trailer_tank"]
    assert all(isinstance(lack, Lack) for lack in lacks)


def test_the_models_are_looked_for_from_the_folder_of_the_script(tmp_path: Path) -> None:
    (tmp_path / "one.toml").write_text(ARRANGEMENT, encoding="utf-8")
    named = HEAD.replace("ends =", 'models = ["*.toml"]\nends =') + '[[step]]\nexpect = "valve is feeding"\n'
    assert [path.name for path in script_models(load_script_text(named, base=tmp_path))] == ["one.toml"]
    with pytest.raises(InputError, match="no arrangement file"):
        script_models(load_script_text(named.replace("*.toml", "two.toml"), base=tmp_path))
