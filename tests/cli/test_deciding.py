"""Deciding one arrangement in this process: what a finding holds, and that it hangs on nothing but the claim."""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

import pytest

from bandproof.api import overall, prove
from bandproof.certificates import checks as certify
from bandproof.certificates.checks import recheck_against
from bandproof.deciding.cases import Case, RequestError, load_cases, missing_roles
from bandproof.deciding.one import Decider
from bandproof.encoding.clauses import Numbered
from bandproof.encoding.system import StepRule, pose
from bandproof.engines import run
from bandproof.findings.finding import Finding, Verdict, Waiting
from bandproof.findings.limits import Clock, GaveUpError, Limits, resident_megabytes
from bandproof.findings.outcome import Outcome
from bandproof.findings.reasons import NoPressures, OutOfTime, StartAssumed, StartUnreachable, Unreal
from bandproof.findings.records import read_finding, write_finding
from bandproof.machine.layout import Layout
from bandproof.machine.rig import replay
from bandproof.machine.story import State
from bandproof.properties.claim import Property
from bandproof.text.errors import CrossCheckError, InputError
from bandproof.views.json_files import story_json
from bandproof.views.reasons_text import reason_text
from bandproof.views.story_files import story_from_json
from bandproof.views.story_text import story_text
from tests.cli.samples import ARRANGEMENT, HEAD, HURRIED, PROVEN, REFUTED, lay

ROOT = Path(__file__).parents[2]


def case_of(folder: Path, claims: str, arrangement: str = ARRANGEMENT) -> Case:
    """The sample arrangement with other claims."""
    return load_cases([lay(folder, HEAD + claims, arrangement)])[0]


def decided(folder: Path, claims: str, arrangement: str = ARRANGEMENT) -> list[Finding]:
    """The findings for those claims."""
    return list(prove([case_of(folder, claims, arrangement)])[0])


def claim(name: str, shape: str, **keys: str) -> str:
    """A property's text."""
    rows = [f'id = "{name}"', 'says = "It is so."', 'basis = "common practice, no source"', shape]
    return "\n".join(["\n[[property]]", *rows, *(f'{key} = "{value}"' for key, value in keys.items())]) + "\n"


def states_of(layout: Layout) -> Iterator[State]:
    """Every state of an arrangement without mishaps."""
    arrangement = layout.arrangement
    bands = product(*(range(len(layout.thresholds[v.name]) + 1) for v in arrangement.volumes))
    parts = list(product(*(p.states for p in arrangement.parts)))
    controls = list(product(*(c.positions for c in arrangement.controls)))
    for some, standing, positions in product(bands, parts, controls):
        yield State(some, standing, positions)


# ------------------------------------------------------------------------------------------------------ the answers


def test_a_proof_carries_a_certificate_about_that_arrangement_and_claim(tmp_path: Path) -> None:
    case = case_of(tmp_path, PROVEN)
    finding = Decider(case).decide(case.claims[0])
    assert (finding.verdict, finding.story) == (Verdict.PROVEN, None)
    assert finding.certificate is not None
    assert recheck_against(finding.certificate, case.arrangement, case.properties[0]).ok


def test_a_refutation_carries_a_story_that_plays_on_the_machine(tmp_path: Path) -> None:
    case = case_of(tmp_path, REFUTED)
    finding = Decider(case).decide(case.claims[0])
    assert (finding.verdict, finding.certificate) == (Verdict.REFUTED, None)
    assert finding.story is not None
    assert finding.layout is not None
    assert finding.steps == len(finding.story.steps) == 4
    assert replay(finding.layout, finding.story, case.properties[0]) is None


def test_what_cannot_be_reached_is_refuted_with_a_certificate(tmp_path: Path) -> None:
    (finding,) = decided(tmp_path, claim("both", 'reachable = "tank is below 20 psi and brake is at least 100 psi"'))
    assert (finding.verdict, reason_text(finding)) == (Verdict.REFUTED, "no run from the start gets there")
    assert finding.certificate is not None


def test_engines_meet_the_same_formulas_whatever_was_asked_before(tmp_path: Path) -> None:
    """Solver variables are numbered by node, so the order in which nodes are made decides what a solver does."""
    case = case_of(
        tmp_path,
        PROVEN
        + REFUTED
        + claim("race", RACE)
        + claim("settles", 'at_rest.when = "always"\nat_rest.then = "lever is back"'),
    )

    def clauses(*before: Property) -> list[list[int]]:
        decider = Decider(case)
        for earlier in before:
            decider.decide(earlier)
        problem = pose(decider._rule, case.properties[0])
        return Numbered(problem.circuit, [problem.bad, problem.start, *problem.after, problem.applies]).clauses

    assert clauses() == clauses(*case.properties[1:]) == clauses(*reversed(case.properties))


@pytest.mark.thorough
@pytest.mark.slow
def test_an_answer_does_not_depend_on_what_was_asked_before() -> None:
    case = load_cases([ROOT / "models" / "twins" / "fed_from_one_tank.toml"])[0]
    names = ["trailer-tank-never-bleeds-back", "knobs-stay-fed-without-tank-1", "breakaway-spares-tank-1"]
    chosen = [one for one in case.properties if one.id in names]
    assert len(chosen) == len(names)
    onward, backward = Decider(case), Decider(case)
    first = [replace(onward.decide(one), seconds=0.0) for one in chosen]
    second = [replace(backward.decide(one), seconds=0.0) for one in reversed(chosen)]
    assert first == list(reversed(second))
    assert {finding.verdict for finding in first} >= {Verdict.PROVEN, Verdict.REFUTED}


def test_a_proof_whose_certificate_fails_is_no_answer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    case = case_of(tmp_path, claim("fills", 'never = "brake is at least 20 psi"'))
    decider = Decider(case)
    monkeypatch.setattr(run, "search", lambda *_, **__: run.Outcome(None, (), "wishful thinking"))
    with pytest.raises(CrossCheckError):
        decider.decide(case.claims[0])


def test_a_certificate_that_does_not_stand_is_no_answer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    case = case_of(tmp_path, PROVEN)
    monkeypatch.setattr(certify, "recheck", lambda *_: certify.Recheck({}, (), ("z3: it leaks",)))
    with pytest.raises(CrossCheckError, match=r"back-vents.*it leaks"):
        Decider(case).decide(case.claims[0])


def test_a_run_that_the_machine_refuses_is_no_answer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    case = case_of(tmp_path, REFUTED)
    decider = Decider(case)
    monkeypatch.setattr(run, "replay", lambda *_: "step 1: it cannot")
    with pytest.raises(CrossCheckError, match=r"brake-stays-empty.*it cannot"):
        decider.decide(case.claims[0])


# ------------------------------------------------------------------------------------------------------- the driver


RACE = 'never = "lever is forward and valve is venting and brake is at least 20 psi"'


def test_a_race_is_refuted_and_said_to_be_one(tmp_path: Path) -> None:
    (finding,) = decided(tmp_path, claim("race", RACE))
    assert finding.verdict is Verdict.REFUTED
    assert finding.waiting == Waiting(Verdict.PROVEN)
    assert reason_text(finding) == "proven when the driver lets the air settle before each action"


def test_a_claim_broken_by_a_patient_driver_too_says_so(tmp_path: Path) -> None:
    (finding,) = decided(tmp_path, REFUTED)
    assert finding.waiting == Waiting(Verdict.REFUTED, same_story=True)
    assert reason_text(finding) == "also refuted when the driver lets the air settle before each action"


def test_a_patient_drivers_story_is_told_first_and_the_quick_one_is_kept(tmp_path: Path) -> None:
    (finding,) = decided(tmp_path, HURRIED)
    assert (finding.verdict, finding.waiting) == (Verdict.REFUTED, Waiting(Verdict.REFUTED))
    quick = finding.quick
    assert quick is not None
    assert (quick.verdict, quick.waiting, quick.quick) == (Verdict.REFUTED, finding.waiting, None)
    assert quick.steps is not None
    assert finding.steps is not None
    assert finding.steps > quick.steps
    (tmp_path / "patient").mkdir()
    case = case_of(tmp_path / "patient", HURRIED + 'driver = "after settling"\n')
    for one, patient in ((finding, True), (quick, False)):
        assert one.layout is not None
        assert one.story is not None
        assert one.witness is not None
        assert (replay(one.layout, one.story, case.properties[0]) is None) == patient
    assert finding.layout is not None
    assert read_finding(write_finding(finding), finding.layout.arrangement) == finding


def test_both_stories_say_that_their_start_is_assumed(tmp_path: Path) -> None:
    start = '\n[starts.vouched]\nwhere = "tank is at least 100 psi and lever is back"\nassumed = true\n'
    arrangement = ARRANGEMENT.replace("\n[starts.told]", start + "\n[starts.told]")
    (finding,) = decided(tmp_path, HURRIED.replace('"ready"', '"vouched"'), arrangement)
    assert finding.quick is not None
    assert finding.assumptions == finding.quick.assumptions == (StartAssumed("vouched"),)


def test_a_patient_driver_who_does_the_same_has_no_story_of_his_own(tmp_path: Path) -> None:
    (finding,) = decided(tmp_path, REFUTED)
    assert finding.quick is None


def test_a_story_comes_with_the_vehicle_its_pressures_hold_for(tmp_path: Path) -> None:
    (finding,) = decided(tmp_path, REFUTED)
    assert finding.witness is not None
    assert finding.layout is not None
    arrangement = finding.layout.arrangement
    litres = finding.witness.vehicle["litres"]
    assert list(litres) == [volume.name for volume in arrangement.volumes]
    undeclared = {volume.name for volume in arrangement.volumes if volume.litres is None}
    assert undeclared <= {one.what for one in finding.witness.assumed}


def test_a_proof_comes_with_its_clauses_in_words(tmp_path: Path) -> None:
    (finding,) = decided(tmp_path, claim("stays", 'never = "brake is at least 100 psi and tank is below 20 psi"'))
    assert finding.certificate is not None
    assert finding.readings
    for number, words in enumerate(finding.readings, start=1):
        assert f"; c{number}  {words}\n" in finding.certificate


def test_nothing_is_said_of_patience_where_it_was_asked_for(tmp_path: Path) -> None:
    (finding,) = decided(tmp_path, claim("patient", 'never = "brake is at least 20 psi"', driver="after settling"))
    assert (finding.verdict, reason_text(finding)) == (Verdict.REFUTED, "")


# ------------------------------------------------------------------------------------------------------- the starts


def test_a_start_that_can_be_reached_needs_no_remark(tmp_path: Path) -> None:
    (finding,) = decided(
        tmp_path, claim("stays", 'never = "brake is at least 100 psi and tank is below 20 psi"', during="braked")
    )
    assert (finding.verdict, reason_text(finding)) == (Verdict.PROVEN, "")


def test_an_assumed_start_is_named_with_the_verdict(tmp_path: Path) -> None:
    (finding,) = decided(
        tmp_path, claim("stays", 'never = "brake is at least 100 psi and tank is below 20 psi"', during="told")
    )
    assert (finding.verdict, reason_text(finding)) == (Verdict.PROVEN, 'start "told" is assumed, not shown reachable')


def test_a_start_reached_from_an_assumed_one_says_so(tmp_path: Path) -> None:
    further = ARRANGEMENT + '\n[starts.vented]\nwhere = "brake is below 20 psi"\nfrom = "told"\n'
    (finding,) = decided(tmp_path, claim("can", 'reachable = "brake is at least 20 psi"', during="vented"), further)
    assert (finding.verdict, reason_text(finding)) == (Verdict.PROVEN, 'start "told" is assumed, not shown reachable')


def test_a_claim_from_a_start_that_cannot_come_about_is_empty(tmp_path: Path) -> None:
    (finding,) = decided(tmp_path, claim("never-so", 'never = "brake is at least 20 psi"', during="impossible"))
    assert (finding.verdict, reason_text(finding)) == (
        Verdict.EMPTY,
        'its start "impossible" cannot be reached from "empty"',
    )


@pytest.mark.parametrize(
    ("where", "shape"),
    [
        ("brake is at least 100 psi and lever is back and valve is venting", 'never = "lever is forward"'),
        ("brake is at least 100 psi and lever is back and valve is venting", 'reachable = "lever is back"'),
        ("brake is at least 100 psi and brake is below 20 psi", 'never = "lever is forward"'),
    ],
    ids=["not settled", "nothing to reach", "not so"],
)
def test_an_assumed_start_that_no_state_is_makes_a_claim_empty(tmp_path: Path, where: str, shape: str) -> None:
    """Vouching for a start does not make it one: a claim from nowhere says nothing, whatever its shape."""
    start = f'\n[starts.nowhere]\nwhere = "{where}"\nassumed = true\n'
    arrangement = ARRANGEMENT.replace("\n[starts.told]", start + "\n[starts.told]")
    case = case_of(tmp_path, claim("so", shape, during="nowhere"), arrangement)
    finding = Decider(case).decide(case.claims[0])
    assert (finding.verdict, finding.reasons) == (Verdict.EMPTY, (StartUnreachable("nowhere", None),))
    assert finding.certificate is not None
    assert recheck_against(finding.certificate, case.arrangement, case.properties[0]).ok


def test_a_start_that_nobody_could_show_reachable_is_named_with_the_verdict(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    decided_by = run.decide

    def unsure(rule: StepRule, sought: Property, **given: Any) -> run.Decision:
        decision = decided_by(rule, sought, **given)
        if sought.id != "start":
            return decision
        return replace(decision, verdict=Verdict.UNDECIDED, story=None, reasons=(NoPressures(Unreal.GAVE_UP),))

    monkeypatch.setattr(run, "decide", unsure)
    (finding,) = decided(
        tmp_path, claim("stays", 'never = "brake is at least 100 psi and tank is below 20 psi"', during="braked")
    )
    assert finding.verdict is Verdict.UNDECIDED
    assert (
        reason_text(finding)
        == 'start "braked" is not shown reachable: a run was found, but no pressures for it: the solver gave up on its air accounts'
    )


LOOSE = ARRANGEMENT + '\n[starts.loose]\nwhere = "brake is at least 100 psi"\nfrom = "empty"\nsettled = false\n'


def test_a_run_from_a_state_that_cannot_come_about_refutes_nothing(tmp_path: Path) -> None:
    """The start's condition allows a full brake beside an empty tank; no run from the empty arrangement comes to that."""
    case = case_of(
        tmp_path,
        claim("never-so", 'never = "brake is at least 100 psi and tank is below 20 psi"', during="loose"),
        LOOSE,
    )
    finding = Decider(case).decide(case.claims[0])
    assert (finding.verdict, reason_text(finding)) == (Verdict.PROVEN, "")
    assert finding.certificate is not None
    assert recheck_against(finding.certificate, case.arrangement, case.properties[0]).ok


def falling(folder: Path) -> tuple[Case, Finding]:
    """A claim broken from a start that has to be reached."""
    case = case_of(folder, claim("falls", 'always = "brake is at least 20 psi"', during="loose"), LOOSE)
    return case, Decider(case).decide(case.claims[0])


def test_a_refutation_from_a_start_that_is_reached_tells_how_it_came_to_this(tmp_path: Path) -> None:
    case, finding = falling(tmp_path)
    assert finding.verdict is Verdict.REFUTED
    assert finding.story is not None
    assert finding.layout is not None
    assert finding.story.lead is not None
    assert (finding.story.start, finding.story.lead.start) == ("loose", "empty")
    assert finding.story.lead.states[-1] == finding.story.states[0]
    assert len(finding.story.lead.pressures) == len(finding.story.lead.states)
    assert replay(finding.layout, finding.story, case.properties[0]) is None
    text = story_text(finding.layout, finding.story)
    assert text.index("How it came to this") < text.index("Start: empty") < text.index("Start: loose")


def test_a_story_whose_beginning_did_not_come_about_is_refused(tmp_path: Path) -> None:
    case, finding = falling(tmp_path)
    assert finding.story is not None
    assert finding.layout is not None
    story, lead = finding.story, finding.story.lead
    assert lead is not None
    wrong = {
        "tell how": replace(story, lead=None),
        "not end where": replace(story, lead=replace(lead, states=lead.states[:-1], steps=lead.steps[:-1])),
        "first state": replace(story, lead=replace(lead, states=lead.states[1:], steps=lead.steps[1:])),
        "reached from": replace(story, lead=replace(lead, start="braked")),
        "nothing comes before": replace(story, lead=replace(lead, lead=lead)),
        "step 1": replace(story, lead=replace(lead, steps=lead.steps[::-1])),
    }
    for fault, forged in wrong.items():
        assert fault in str(replay(finding.layout, forged, case.properties[0])), fault


def test_a_story_with_its_lead_is_written_and_read_back(tmp_path: Path) -> None:
    _, finding = falling(tmp_path)
    assert finding.story is not None
    assert finding.layout is not None
    assert story_from_json(finding.layout, story_json(finding.layout, finding.story)) == finding.story
    assert read_finding(write_finding(finding), finding.layout.arrangement).story == finding.story


# ------------------------------------------------------------------------------------------------------- the limits


def test_a_limit_reached_while_deciding_leaves_the_bench_fit_for_the_next_claim(tmp_path: Path) -> None:
    case = case_of(tmp_path, PROVEN)
    decider = Decider(case)
    late = decider.decide(case.claims[0], Limits(seconds=1e-9))
    assert (late.verdict, late.certificate) == (Verdict.UNDECIDED, None)
    assert decider.decide(case.claims[0]).verdict is Verdict.PROVEN


def test_no_limit_is_never_reached() -> None:
    Clock(Limits())()


def test_the_clock_runs_out() -> None:
    clock = Clock(Limits(seconds=-1.0))
    with pytest.raises(GaveUpError) as gave_up:
        clock()
    assert gave_up.value.reason == OutOfTime(-1.0)


def test_memory_in_use_is_read_from_the_system() -> None:
    used = resident_megabytes(os.getpid())
    assert used is not None
    assert used > 10
    taken = bytearray(b"x" * 100_000_000)
    assert (resident_megabytes(os.getpid()) or 0) > used + 80
    assert taken


def test_the_memory_of_a_process_that_is_not_there_is_unknown() -> None:
    assert resident_megabytes(2**31 - 2) is None


# ------------------------------------------------------------------------------------------------------ all in all


@pytest.mark.parametrize(
    ("verdicts", "word"),
    [
        ("PROVEN PROVEN", "AS_EXPECTED"),
        ("PROVEN NOT_APPLICABLE", "AS_EXPECTED"),
        ("PROVEN UNDECIDED REFUTED", "FAILS"),
        ("PROVEN EMPTY", "OPEN"),
        ("PROVEN UNDECIDED", "OPEN"),
        ("NOT_APPLICABLE", "OPEN"),
        ("", "OPEN"),
        ("REFUTED:REFUTED", "AS_EXPECTED"),
        ("REFUTED:REFUTED REFUTED", "FAILS"),
        ("PROVEN:REFUTED", "STANDS"),
        ("PROVEN:REFUTED UNDECIDED", "STANDS"),
        ("PROVEN:EMPTY REFUTED", "FAILS"),
        ("UNDECIDED:REFUTED", "OPEN"),
        ("NOT_APPLICABLE:REFUTED PROVEN", "OPEN"),
        ("EMPTY:EMPTY UNDECIDED:UNDECIDED", "AS_EXPECTED"),
        ("NOT_APPLICABLE:NOT_APPLICABLE", "OPEN"),
        ("NOT_APPLICABLE:NOT_APPLICABLE PROVEN", "AS_EXPECTED"),
    ],
)
def test_many_findings_in_one_word(tmp_path: Path, verdicts: str, word: str) -> None:
    """Each verdict stands before the one that is expected where it is not proven."""
    pairs = [(came, expected or "PROVEN") for came, _, expected in (one.partition(":") for one in verdicts.split())]
    findings = [Finding(str(n), "", "", Verdict[came]) for n, (came, _) in enumerate(pairs)]
    expected = {str(n): Verdict[wanted] for n, (_, wanted) in enumerate(pairs) if wanted != "PROVEN"}
    case = replace(case_of(tmp_path, PROVEN), expected=expected)
    assert overall([(case, findings)]) is Outcome[word]


def test_an_arrangement_to_which_nothing_applies_is_open_whatever_comes_of_others(tmp_path: Path) -> None:
    case = case_of(tmp_path, PROVEN)
    good, absent = Finding("a", "", "", Verdict.PROVEN), Finding("b", "", "", Verdict.NOT_APPLICABLE)
    assert overall([(case, [good]), (case, [absent])]) is Outcome.OPEN
    assert overall([(case, [good]), (case, [])]) is Outcome.AS_EXPECTED


def test_properties_are_those_that_apply(tmp_path: Path) -> None:
    case = case_of(tmp_path, PROVEN + claim("other", 'never = "trailer is below 5 psi"'))
    assert [type(one) is Property for one in case.claims] == [True, False]
    assert [one.id for one in case.properties] == ["back-vents"]


ENDS_IN = claim("fills", 'ends_in.when = "lever is forward"', **{"ends_in.then": "brake is at least 60 psi"})


def test_a_claim_about_where_runs_end_is_proven_with_a_certificate(tmp_path: Path) -> None:
    case = case_of(tmp_path, ENDS_IN)
    finding = Decider(case).decide(case.claims[0])
    assert (finding.verdict, finding.story) == (Verdict.PROVEN, None)
    assert finding.certificate is not None
    assert recheck_against(finding.certificate, case.arrangement, case.properties[0]).ok
    assert "since the saving it has" in finding.certificate


def test_a_claim_about_where_runs_end_is_refuted_by_a_story_that_goes_on_for_ever(tmp_path: Path) -> None:
    ends = claim("empties", 'ends_in.when = "lever is forward"', **{"ends_in.then": "brake is below 60 psi"})
    case = case_of(tmp_path, ends)
    finding = Decider(case).decide(case.claims[0])
    assert finding.verdict is Verdict.REFUTED
    assert finding.story is not None
    assert finding.layout is not None
    assert finding.story.loop is not None
    assert finding.witness is not None
    assert replay(finding.layout, finding.story, case.properties[0]) is None


def test_the_roles_that_are_missing_are_named_once_for_each_pack(tmp_path: Path) -> None:
    lacking = claim("a", 'never = "x is below 5 psi and y is below 5 psi"') + claim("b", 'never = "y is below 5 psi"')
    (tmp_path / "other").mkdir()
    case = case_of(tmp_path, lacking + PROVEN)
    (missing,) = missing_roles(case)
    assert (missing.roles, missing.claims) == (("x", "y"), 2)
    assert str(missing) == f"{missing.file} has no role x, y: 2 claims of {missing.pack} do not apply"
    assert missing_roles(case_of(tmp_path / "other", PROVEN)) == ()


def test_what_is_wrong_with_claims_is_told_beside_what_is_wrong_with_the_arrangement(tmp_path: Path) -> None:
    wrong = claim("a", 'never = "brake is below 200 psi"') + claim("b", 'never = "lever is gone and valve is open"')
    arrangement = ARRANGEMENT.replace('valve = "valve"', 'valve = "vlave"').replace('"20 L"', '"0 L"')
    with pytest.raises(InputError) as caught:
        case_of(tmp_path, wrong, arrangement)
    codes = [fault.code for fault in caught.value.diagnostics]
    assert codes == ["volume-not-positive", "role-unknown-name", "pressure-above-highest", "unknown-position"]


def test_an_arrangement_without_a_pack_hides_no_fault_of_another(tmp_path: Path) -> None:
    bare, faulty = tmp_path / "bare.toml", tmp_path / "faulty.toml"
    bare.write_text(ARRANGEMENT, encoding="utf-8")
    faulty.write_text(ARRANGEMENT.replace('"20 L"', '"0 L"'), encoding="utf-8")
    with pytest.raises(InputError):
        load_cases([bare, faulty])
    with pytest.raises(RequestError, match=r"bare.toml, .*bare.toml have no rule pack"):
        load_cases([bare, bare])


def test_where_runs_end_is_asked_of_the_claims_own_run_and_told_with_the_run_before_it(tmp_path: Path) -> None:
    stays = claim(
        "stays", 'ends_in.when = "lever is back"', during="braked", **{"ends_in.then": "brake is at least 60 psi"}
    )
    case = case_of(tmp_path, stays)
    finding = Decider(case).decide(case.claims[0])
    assert finding.verdict is Verdict.REFUTED
    assert finding.story is not None
    assert finding.layout is not None
    assert finding.story.lead is not None
    assert finding.story.loop is not None
    assert replay(finding.layout, finding.story, case.properties[0]) is None
