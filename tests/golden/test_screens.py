"""What `prove` shows on the screen, at 80 and at 60 columns, to the letter: findings written by hand, nothing decided."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from pathlib import Path

import pytest

from bandproof.deciding.cases import Case
from bandproof.deciding.saving import Shelf
from bandproof.findings.finding import Finding, Verdict, Waiting
from bandproof.findings.reasons import ConditionNever, Interrupted, Lacking, OutOfTime
from bandproof.properties.claim import Lack, Named, Property, Shape
from bandproof.shell.screen import show
from tests.unit.views.view_samples import arrangement, layout, short_story

Golden = Callable[[str, str], None]

CITED, COMMON = "49 CFR 393.43(b)", "common practice, no source"


def finding(name: str, says: str, verdict: Verdict = Verdict.PROVEN, basis: str = COMMON, caution: str = "") -> Finding:
    """An answer; one that is refuted has a story."""
    one = Finding(name, says, basis, verdict, caution=caution, seconds=1.25)
    return replace(one, layout=layout(), story=short_story(), steps=3) if verdict is Verdict.REFUTED else one


def plain(name: str) -> Finding:
    """A failure of no great weight."""
    return finding(name, "It is so.", Verdict.REFUTED)


QUICK = replace(
    finding(
        "a-quick-hand-changes-nothing", "However fast the hands, the trailer stays parked.", Verdict.REFUTED, CITED
    ),
    waiting=Waiting(Verdict.PROVEN),
)
CONVENIENT = plain("one-push-is-enough")
CITED_ONE = finding("low-air-parks-trailer", "With the tank empty the trailer is parked.", Verdict.REFUTED, CITED)
GRAVE = finding(
    "trailer-knob-lets-go-with-the-hose-torn-hand-or-no",
    "With the supply hose torn the trailer knob lets go, whatever hand is on it, before the service tank is at 45 psi.",
    Verdict.REFUTED,
    CITED,
    "Chock the wheels before anybody goes near a trailer that has broken away.",
)
UNREACHED = replace(
    finding("trailer-can-be-charged", "The trailer can be charged.", Verdict.REFUTED),
    story=None,
    certificate="; proof\n",
)
BELIEF = finding("tank-never-falls", "The tank never falls.", Verdict.REFUTED, caution="Stop before the warning comes.")
HOLDS = finding("tank-fills", "The tank can be filled.")
LATE = replace(finding("takes-long", "It takes long.", Verdict.UNDECIDED), reasons=(OutOfTime(300),))
HOLLOW = replace(finding("both-at-once", "Never both at once.", Verdict.EMPTY), reasons=(ConditionNever(),))
ABSENT = replace(
    finding("second-trailer", "The second trailer is parked.", Verdict.NOT_APPLICABLE),
    reasons=(Lacking((Lack(Named.ROLE, "second_trailer"),)),),
)
CUT = replace(finding("not-reached", "Nobody knows.", Verdict.UNDECIDED), reasons=(Interrupted(),))

#: Each screen: its findings, and the ids of those that are expected to come out as they do.
SCREENS: dict[str, tuple[tuple[Finding, ...], str] | tuple[tuple[Finding, ...], str, str]] = {
    "holds": ((HOLDS, BELIEF, ABSENT), "tank-never-falls"),
    "fails": ((HOLDS, CONVENIENT, QUICK, CITED_ONE, BELIEF, GRAVE, LATE, HOLLOW, ABSENT), "tank-never-falls"),
    "fails-as-expected": (
        (HOLDS, GRAVE, UNREACHED, BELIEF, HOLLOW),
        f"{GRAVE.property} {UNREACHED.property} tank-never-falls both-at-once",
    ),
    "undecided": ((HOLDS, LATE, HOLLOW), ""),
    "many": ((*(plain(f"claim-{n}") for n in range(7)), BELIEF), ""),
    "interrupted": ((HOLDS, CUT, CUT), ""),
    "nothing": ((ABSENT,), ""),
    "new-belief": ((HOLDS, BELIEF), ""),
    "stands": ((HOLDS, replace(BELIEF, verdict=Verdict.PROVEN)), "", "tank-never-falls"),
}


def shelf(folder: Path, findings: Iterable[Finding], expected: str, fallen: str = "") -> Shelf:
    """The findings on a shelf, their files written; `fallen` are expected to be refuted, and are not."""
    given = list(findings)
    claims = tuple(Property(one.property, one.says, one.basis, Shape.NEVER, "rolling") for one in given)
    wanted = {one.property: one.verdict for one in given if one.property in expected.split()}
    wanted |= dict.fromkeys(fallen.split(), Verdict.REFUTED)
    kept = Shelf(folder, Case(arrangement(), claims, wanted, frozenset({"tank-never-falls"})))
    for number, one in enumerate(given):
        kept.add(number, one)
    return kept


@pytest.fixture(autouse=True)
def _still(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("NO_COLOR", "1")


@pytest.mark.slow
@pytest.mark.parametrize("columns", [80, 60])
@pytest.mark.parametrize("name", SCREENS)
def test_a_screen(
    name: str, columns: int, golden: Golden, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    show([shelf(Path("out/small"), *SCREENS[name])])
    text = capsys.readouterr().out
    assert max(map(len, text.splitlines())) <= columns
    golden(f"screen-{name}-{columns}.txt", text)


@pytest.mark.slow
def test_a_pipe_without_columns_gets_the_same_as_80(
    golden: Golden, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.delenv("COLUMNS", raising=False)
    show([shelf(Path("out/small"), *SCREENS["fails"])])
    golden("screen-fails-80.txt", capsys.readouterr().out)


@pytest.mark.slow
def test_several_arrangements_end_in_those_that_are_not_as_they_should_be(
    golden: Golden, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    good, bad = (shelf(Path("out") / name, *SCREENS[name]) for name in ("holds", "undecided"))
    show([good, bad])
    show([good, good])
    golden("screen-several-80.txt", capsys.readouterr().out)
