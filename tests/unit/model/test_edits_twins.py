"""Each shipped twin is its base after one or two edits."""

from __future__ import annotations

import pytest

from bandproof.deciding.cases import Case
from bandproof.deciding.one import Decider
from bandproof.findings.finding import Verdict
from bandproof.model.arrangement import Arrangement
from bandproof.model.loader import load_arrangement
from bandproof.properties.language import load_pack, resolve_pack
from tests.unit.model.twins import BASE, ROOT, TWINS, bare, made

EVERY_TWIN = pytest.mark.parametrize("twin", sorted(TWINS))


def answers(arrangement: Arrangement) -> dict[str, tuple[Verdict, int | None]]:
    """Verdict and number of steps of every claim of both rule packs."""
    packs = [load_pack(path) for path in sorted((ROOT / "properties").glob("*.toml"))]
    case = Case(arrangement, tuple(claim for pack in packs for claim in resolve_pack(pack, arrangement)))
    bench = Decider(case)
    findings = [(claim.id, bench.decide(claim)) for claim in case.claims]
    return {claim: (finding.verdict, finding.steps) for claim, finding in findings}


def test_there_are_six_twins() -> None:
    assert len(TWINS) == 6


@EVERY_TWIN
def test_the_base_edited_is_the_twin(twin: str) -> None:
    edited, twin_read = made(twin), load_arrangement(TWINS[twin])
    assert bare(edited) == bare(twin_read)
    assert bare(edited) != bare(load_arrangement(BASE))


@EVERY_TWIN
def test_the_packs_claim_the_same_of_the_base_edited_as_of_the_twin(twin: str) -> None:
    edited, twin_read = made(twin), load_arrangement(TWINS[twin])
    for path in sorted((ROOT / "properties").glob("*.toml")):
        pack = load_pack(path)
        assert resolve_pack(pack, edited) == resolve_pack(pack, twin_read)


@pytest.mark.long
@EVERY_TWIN
def test_the_base_edited_has_the_verdicts_of_the_twin(twin: str) -> None:
    assert answers(made(twin)) == answers(load_arrangement(TWINS[twin]))
