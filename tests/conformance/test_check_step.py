"""Why there is no step from one state to another: one state changed by hand in every way that the step rule forbids."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bandproof.machine.layout import Layout, lay_out
from bandproof.machine.semantics import check_step, is_start
from bandproof.machine.story import State, Step, StepKind
from bandproof.properties.claim import Pace
from tests.conformance.case import at_least, below, load

TEXT = """
volumes.v = { is = "line" }
controls.handle = { positions = ["plain", "turned"] }
controls.other = { positions = ["a", "b"] }
mishaps.bang = { says = "" }
mishaps.crash = { says = "" }
parts.vent = { kind = "vent", ports = { a = "v" } }
parts.trip = { kind = "lifts", ports = { a = "v" }, settings = { limit = "2..4 bar" } }
starts.start.pressures = { v = "5 bar" }
"""

#: Above 4 bar the part must move, between 2 and 4 bar it may, below 2 bar it may not. The vent is always open.
MUST = State((2,), ("open", "calm"), ("plain", "a"), frozenset())
MAY = replace(MUST, bands=(1,))
MOVED = ("open", "tripped")
BANG = frozenset({"bang"})


@pytest.fixture(scope="module")
def layout() -> Layout:
    return lay_out(load(TEXT), [below("v", 2), at_least("v", 4)])


ACCEPTED = [
    (StepKind.REACT, MUST, replace(MUST, parts=MOVED), 1),
    (StepKind.FLOW, MAY, replace(MAY, bands=(0,)), 1),
    (StepKind.FLOW, MAY, replace(MAY, parts=MOVED), 1),
    (StepKind.FLOW, MAY, replace(MAY, bands=(0,), parts=MOVED), 2),
    (StepKind.ACT, MAY, replace(MAY, controls=("turned", "a")), 1),
    (StepKind.ACT, MAY, replace(MAY, mishaps=BANG), 1),
]

REFUSED = [
    ("nothing changes", MAY, MAY),
    ("v crosses more than one threshold", replace(MUST, parts=MOVED), replace(MUST, parts=MOVED, bands=(0,))),
    ("v cannot rise", MAY, replace(MAY, bands=(2,))),
    ("pressures stand still while a part has to move", MUST, replace(MUST, bands=(1,))),
    ("pressures stand still while a part has to move", MUST, replace(MUST, bands=(1,), parts=MOVED)),
    ("trip cannot move from calm to tripped", replace(MAY, bands=(0,)), replace(MAY, bands=(0,), parts=MOVED)),
    ("trip cannot move from tripped to calm", replace(MUST, parts=MOVED), MUST),
    ("an act stands alone", MAY, replace(MAY, controls=("turned", "b"))),
    ("an act stands alone", MAY, replace(MAY, controls=("turned", "a"), mishaps=BANG)),
    ("an act stands alone", MAY, replace(MAY, controls=("turned", "a"), bands=(0,))),
    ("an act stands alone", MAY, replace(MAY, controls=("turned", "a"), parts=MOVED)),
    ("an act stands alone", MAY, replace(MAY, mishaps=BANG, parts=MOVED)),
    ("an act stands alone", MUST, replace(MUST, controls=("turned", "a"))),
    ("an act stands alone", MUST, replace(MUST, mishaps=BANG)),
    ("mishap crash is not allowed", MAY, replace(MAY, mishaps=frozenset({"crash"}))),
    ("a mishap is undone", replace(MAY, mishaps=BANG), MAY),
    ("a mishap is undone", replace(MAY, mishaps=BANG), replace(MAY, bands=(0,))),
]


@pytest.mark.parametrize(("kind", "before", "after", "events"), ACCEPTED)
def test_steps_that_are(layout: Layout, kind: StepKind, before: State, after: State, events: int) -> None:
    step = check_step(layout, before, after, Pace.ANY_TIME, BANG)
    assert isinstance(step, Step)
    assert (step.kind, len(step.events)) == (kind, events)


@pytest.mark.parametrize(("reason", "before", "after"), REFUSED)
def test_steps_that_are_not(layout: Layout, reason: str, before: State, after: State) -> None:
    found = check_step(layout, before, after, Pace.ANY_TIME, BANG)
    assert isinstance(found, str)
    assert found.startswith(reason)


def test_a_start_is_where_it_says_and_free_of_mishaps(layout: Layout) -> None:
    start = layout.arrangement.start("start")
    assert is_start(layout, MUST, start)
    for other in (
        replace(MUST, mishaps=BANG),
        replace(MUST, bands=(1,)),
        replace(MUST, parts=MOVED),
        replace(MUST, controls=("plain", "b")),
    ):
        assert not is_start(layout, other, start)


@pytest.mark.parametrize("pace", [Pace.AFTER_SETTLING, Pace.HANDS_OFF])
def test_the_driver_keeps_the_pace(layout: Layout, pace: Pace) -> None:
    """With the vent open the line is settled below 2 bar only."""
    turned = check_step(layout, MAY, replace(MAY, controls=("turned", "a")), pace, BANG)
    assert turned == f"the driver may not act now at the pace {pace.value!r}"
    empty = replace(MAY, bands=(0,))
    later = check_step(layout, empty, replace(empty, controls=("turned", "a")), pace, BANG)
    assert isinstance(later, Step) == (pace is Pace.AFTER_SETTLING)
    assert isinstance(check_step(layout, MAY, replace(MAY, mishaps=BANG), pace, BANG), Step)
