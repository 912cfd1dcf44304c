"""Chains of lines that settle as a whole, or do not: claims decided for the air, and certificates that say why.

By hand, absolute pressures, flows in dm3/s: a feed of C = 0.5 from a tank below 9 bar gauge passes at most 0.5 * 10 = 5. An end torn
with C >= 8 passes 8 * 1 = 8 already when choked at 1 bar, so the last line stays below 1 bar absolute plus what 5 dm3/s ask
for: 5 = 8 p1 sqrt(1 - ((1/p1 - b) / (1 - b))^2) with b = 0.3 gives p1 = 1.12. Each joint of C = 4 before it passes 5 with the line
behind it at 1.12 and the line before it at no more than 1.7, and the one before that at no more than 2.1: all below 1.5 bar gauge.
"""

from __future__ import annotations

import itertools

import pytest

from bandproof.certificates.checks import recheck_against, write_certificate
from bandproof.encoding.system import StepRule
from bandproof.engines.refining import balanced
from bandproof.engines.run import Decision, decide
from bandproof.findings.finding import Verdict
from bandproof.machine.rig import replay
from bandproof.properties.monitors import Stillness
from tests.conformance.case import Case, Claim, at_least, at_rest, below, has, settled
from tests.conformance.small_parts import HOSE
from tests.conformance.table_sized import size


def chain(lines: int, feed: str = "0.4..0.5", *, kind: str = "tank") -> str:
    """A tank, some lines one after another, the last with an end that can tear."""
    names = ["tank", *(f"line_{k}" for k in range(1, lines + 1))]
    volumes = "\n".join(f'volumes.{name} = {{ is = "line" }}' for name in names[1:])
    text = f'volumes.tank = {{ is = "{kind}" }}\n{volumes}\n'
    for number, (up, down) in enumerate(itertools.pairwise(names)):
        c = feed if number == 0 else "4..6"
        text += (
            f'parts.joint_{number} = {{ kind = "joint", ports = {{ a = "{up}", b = "{down}" }}, '
            f"sizes = {{ bore = {size(c, '0.3')} }} }}\n"
        )
    text += (
        f'mishaps.tear = {{ says = "it tears" }}\n'
        f'parts.end = {{ kind = "hose", ports = {{ a = "{names[-1]}" }}, sizes = {{ bore = {size("8..14", "0.3..0.5")} }}, '
        f'mishaps = {{ tears = "tear" }} }}\n'
        f'[starts.start]\nsays = "full"\n[starts.start.pressures]\nothers = "6..7 bar"\n'
    )
    return text + HOSE


def decided(text: str, claim: Claim) -> tuple[Decision, Case]:
    case = Case("chain", "", text, claim, Verdict.PROVEN, mishaps=frozenset({"tear"}))
    return decide(StepRule(case.layout()), case.property()), case


@pytest.mark.slow
@pytest.mark.parametrize("lines", [2, 3, 4])
def test_a_chain_behind_a_torn_end_is_nearly_empty_once_settled(lines: int) -> None:
    decision, case = decided(chain(lines), settled(below("line_1", 2), when=has("tear")))
    assert decision.verdict is Verdict.PROVEN
    assert decision.problem.layout.imbalances
    assert decision.invariant is not None
    written = write_certificate(decision.problem, decision.invariant, lemmas=decision.lemmas)
    answer = recheck_against(written.text, case.layout().arrangement, case.property())
    assert answer.ok, answer.faults
    assert {run.solver for run in answer.runs} == {"z3", "cvc5"}


@pytest.mark.slow
def test_a_feed_as_wide_as_the_end_holds_it_up() -> None:
    """A feed of C = 8 from 6 bar holds the line before the last joint above 2 bar: 56 in, and C = 6 behind it."""
    decision, _ = decided(chain(2, "8..9"), settled(below("line_1", 2), when=has("tear")))
    assert decision.verdict is Verdict.REFUTED


@pytest.mark.slow
def test_at_rest_a_tank_that_a_torn_end_drains_is_empty() -> None:
    decision, _ = decided(chain(2), at_rest(below("tank", 2), when=has("tear")))
    assert decision.verdict is Verdict.PROVEN


@pytest.mark.slow
def test_a_story_that_passes_by_a_state_that_does_not_balance_is_a_run() -> None:
    """The search meets such states first; the machine knows of them once they are shown."""
    decision, case = decided(chain(2), settled(below("tank", 2), when=has("tear")))
    assert decision.verdict is Verdict.REFUTED
    assert decision.story is not None
    known = balanced(case.layout(), case.property(), decision.story)
    assert replay(known, decision.story, case.property()) is None


def test_what_is_settled_in_one_line_alone_is_no_imbalance() -> None:
    decision, _ = decided(chain(1), settled(below("line_1", 9), when=at_least("tank", 1)))
    assert not [one for one in decision.problem.layout.imbalances if one.still is Stillness.AT_REST]
