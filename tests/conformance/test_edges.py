"""One number for a setting, and the highest pressure: cases that only whole runs, or only the reading of files, decide."""

from __future__ import annotations

import pytest

from bandproof.engines.run import decide
from bandproof.machine.rig import replay
from bandproof.model.loader import load_arrangement_text
from bandproof.properties.language import load_pack_text, resolve_pack
from bandproof.text.errors import InputError
from tests.conformance.case import TAIL, Case, step_rule
from tests.conformance.table_edges import AT_HIGHEST, NEEDS_SHARED, ONE_NUMBER
from tests.conformance.table_flow import starting, volumes

#: A tank that starts at the highest pressure, and a setting that may be that pressure.
FULL = (
    'format = "bandproof/1"\n'
    + volumes(tank="tank")
    + 'roles.tank = "tank"\nsettings.opens = "8..9 bar"\n'
    + starting(tank="9")
    + TAIL
)

PACK = """\
format = "bandproof/1"
[pack]
name = "one claim"
[[property]]
id = "it-is-so"
says = "It is so."
basis = "by hand"
"""

CASES = (*ONE_NUMBER, *NEEDS_SHARED)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_a_setting_is_the_numbers_the_file_says(case: Case) -> None:
    decision = decide(step_rule(case), case.property(), witnessed=False)
    assert decision.verdict is case.verdict, case.why
    assert (None if decision.story is None else len(decision.story.steps)) == case.steps
    if decision.story is not None:
        assert replay(case.layout(), decision.story, case.property()) is None


@pytest.mark.parametrize(("claim", "code"), AT_HIGHEST, ids=[claim for claim, _ in AT_HIGHEST])
def test_no_claim_compares_with_what_lies_at_the_edge(claim: str, code: str) -> None:
    with pytest.raises(InputError) as caught:
        resolve_pack(load_pack_text(PACK + claim + "\n"), load_arrangement_text(FULL))
    assert [fault.code for fault in caught.value.diagnostics] == [code]


@pytest.mark.parametrize("bar", ["0.01", "8.99"])
def test_a_claim_may_compare_with_anything_between(bar: str) -> None:
    (claim,) = resolve_pack(
        load_pack_text(PACK + f'never = "tank is at least {bar} bar"\n'), load_arrangement_text(FULL)
    )
    assert claim.id == "it-is-so"
