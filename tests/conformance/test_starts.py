"""Claims from starts that have to be reached from others, decided as a whole, with what every answer rests on."""

from __future__ import annotations

import pytest

from bandproof.certificates.checks import Recheck, recheck, recheck_against
from bandproof.deciding.cases import Case as Posed
from bandproof.deciding.one import Decider
from bandproof.findings.finding import Finding
from bandproof.machine.rig import replay
from bandproof.witness.concretise import Concrete, find_pressures
from tests.conformance.case import Case
from tests.conformance.table_edges import NO_SUCH_AIR, STARTS_ON_STARTS

CASES = {case.name: case for case in (*STARTS_ON_STARTS, *NO_SUCH_AIR)}


def decided(case: Case) -> Finding:
    """The finding for the case's claim."""
    claim = case.property()
    return Decider(Posed(case.layout().arrangement, (claim,))).decide(claim)


def against(case: Case, text: str) -> Recheck:
    """The certificate compared with the case's arrangement and claim."""
    return recheck_against(text, case.layout().arrangement, case.property())


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES.values(), ids=lambda case: case.name)
def test_claims_are_decided_as_proved_by_hand(case: Case) -> None:
    finding = decided(case)
    assert (finding.verdict, finding.steps) == (case.verdict, case.steps), case.why
    if finding.story is None:
        assert finding.certificate is not None
        assert against(case, finding.certificate).ok
    else:
        assert finding.layout is not None
        assert replay(finding.layout, finding.story, case.property()) is None
        assert isinstance(find_pressures(finding.layout, finding.story, case.property()), Concrete)


def certificate(name: str) -> tuple[Case, str]:
    """A case and the certificate of its answer."""
    case = CASES[name]
    finding = decided(case)
    assert finding.certificate is not None
    return case, finding.certificate


@pytest.mark.slow
def test_a_certificate_from_another_start_is_refused() -> None:
    """The vented tank never rises: true from 4 bar, and no proof that a run that comes to the last start cannot have it."""
    case, text = certificate("a claim from a start that can come about")
    other = text.replace("; start: start, reached from start0", "; start: start0")
    assert other != text
    assert recheck(other).ok
    assert not against(case, other).ok


@pytest.mark.slow
@pytest.mark.parametrize("begins", ["start1", "start"])
def test_a_lemma_that_begins_elsewhere_than_the_claims_runs_is_refused(begins: str) -> None:
    case, text = certificate("a start that any pressure fits holds no more air than there is")
    assert "; begins: at the start start0" in text
    forged = text.replace("; begins: at the start start0", f"; begins: at the start {begins}")
    assert not against(case, forged).ok


@pytest.mark.slow
def test_a_lemma_about_a_start_that_no_run_of_the_claim_passes_is_refused() -> None:
    case, text = certificate("a start built on a start that takes more air than there is")
    forged = text.replace('["passed", "start1"', '["passed", "start0"')
    if forged == text:
        forged = text.replace("; atoms: [[", '; atoms: [["passed", "start0", 0, [], true], [', 1)
    assert any("does not have" in fault for fault in against(case, forged).faults)


@pytest.mark.slow
def test_what_is_excluded_cannot_be_exchanged() -> None:
    """That no run of the claim begins is one thing, that none of them is bad another."""
    case, text = certificate("a start that takes more air than there is")
    assert "; excludes: every state in which a run has come to the claim's start" in text
    forged = text.replace(
        "every state in which a run has come to the claim's start",
        "every state that would decide the claim the other way",
    )
    assert not against(case, forged).ok
