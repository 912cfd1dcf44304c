"""Which of the vehicles that a search finds count, and which of them are told.

A driver who lets the air settle before each act pumps no faster than that, whoever plans his strokes.
A tank of 20 litres is fed through C = 2.5 from 1,000 kPa: at 700 kPa that gives 22 dm3/s of free air. A stroke of the knob takes
a litre of its air, some 8 dm3, and fills and empties the line in little more than a tenth of a second. So a hand that does not
wait takes 60 dm3/s. One that waits until the air has settled looks at still air for a tenth of a second before each of
its two turns, so a stroke takes it 0.4 s or more, and 9 dm3 come meanwhile: no patient driver breaks the claim.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from bandproof.encoding.system import StepRule
from bandproof.engines import seeking
from bandproof.engines.run import decide
from bandproof.engines.seeking import Sought, second_look
from bandproof.findings.witness import NoWitness, Witness
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement, Start
from bandproof.model.conditions import InPosition, Not
from bandproof.properties.claim import Pace, Property
from bandproof.witness.rechecking import acts_once_settled
from bandproof.witness.script_of import plan_of
from bandproof.witness.telling import Unreadable
from tests.strategies import layout_for

from .benches import between, bore, cock, size
from .samples import LINE, TANK, below, never, piped, volume

pytestmark = pytest.mark.slow


def pumped() -> tuple[Arrangement, Property]:
    applied = InPosition("knob", frozenset({"on"}))
    start = Start(
        "start",
        between(tank=(900, 950), line=(0, 0)),
        (("fill", frozenset({"shut"})), ("vent", frozenset({"open"}))),
        (("knob", frozenset({"off"})),),
    )
    parts = (
        bore(SOURCE, "tank", size("2.5", "2.5"), "feed"),
        cock("tank", "line", size("20", "20"), "fill", applied),
        cock("line", ATMOSPHERE, size("20", "20"), "vent", Not(applied)),
    )
    volumes = (volume("tank", TANK, "20"), volume("line", LINE, "1"))
    return piped(volumes, parts, start, "off", "on"), never(below("tank", 700))


@pytest.mark.thorough
@pytest.mark.parametrize(("pace", "found"), [(Pace.ANY_TIME, True), (Pace.AFTER_SETTLING, False)])
def test_strokes_that_a_search_adds_wait_where_the_driver_does(
    monkeypatch: pytest.MonkeyPatch, pace: Pace, *, found: bool
) -> None:
    """The story of the bands has no act here, as where a mishap alone seems to do it: all strokes are the search's own."""
    monkeypatch.setattr(seeking, "plan_of", lambda *asked: replace(plan_of(*asked), acts=()))
    arrangement, claim = pumped()
    claim = replace(claim, pace=pace)
    rule = StepRule(layout_for(arrangement, claim))
    story = decide(rule, claim, real=False).story
    assert story is not None
    sought = second_look(rule.layout, claim, story, lambda: None, thorough=False)
    assert (sought.witness is not None) is found


@pytest.mark.thorough
def test_a_witness_quicker_than_the_claim_s_driver_is_none() -> None:
    arrangement, claim = pumped()
    layout = layout_for(arrangement, claim)
    witness = decide(StepRule(layout), claim, thorough=False).witness
    assert witness is not None
    assert not acts_once_settled(arrangement, witness)
    assert seeking._told(layout, claim, [lambda _: witness]).witness is witness
    patient = replace(claim, pace=Pace.AFTER_SETTLING)
    assert seeking._told(layout, patient, [lambda _: witness]) == Sought(witness.tried)


@pytest.mark.thorough
@pytest.mark.parametrize(
    ("first", "asked", "unread"),
    [(Unreadable("on a threshold"), [0, 1, 2], ""), (Unreadable("900 steps", long=True), [0], "900 steps")],
)
def test_a_vehicle_whose_run_the_bands_do_not_take_is_asked_for_another(
    monkeypatch: pytest.MonkeyPatch, first: Unreadable, asked: list[int], unread: str
) -> None:
    arrangement, claim = pumped()
    layout = layout_for(arrangement, claim)
    decision = decide(StepRule(layout), claim, thorough=False)
    witness, story = decision.witness, decision.story
    assert witness is not None
    assert story is not None
    heard: list[int] = []
    answers: dict[int, Witness | NoWitness] = {0: witness, 1: NoWitness(5, 0.0), 2: replace(witness, tried=7)}
    monkeypatch.setattr(seeking, "told", lambda _layout, _claim, one: first if one is witness else story)

    def search(seed: int) -> Witness | NoWitness:
        heard.append(seed)
        return answers[seed]

    sought = seeking._told(layout, claim, [search])
    assert heard == asked
    assert sought.unread == unread
    assert sought.tried == sum(answers[seed].tried for seed in asked)
    assert sought.witness is answers[asked[-1]]
    assert (sought.story is None) is bool(unread)
