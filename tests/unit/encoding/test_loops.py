"""Searches for a loop, on parts whose loops can be told by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from bandproof.encoding.bits import Bit, BitSort
from bandproof.encoding.circuit import FALSE, TRUE
from bandproof.encoding.loops import Loop, changes, looping
from bandproof.encoding.system import Problem, StepRule, pose
from bandproof.engines.silence import searched
from bandproof.machine.layout import lay_out
from bandproof.properties.claim import Pace, Property, Shape
from tests.conformance.case import load

#: `toggle` goes to and fro, `latch` goes once, `spin` goes round three states and past "two" each time.
TEXT = """
controls.handle = { positions = ["plain", "turned"] }
parts.toggle = { kind = "toggle" }
parts.latch = { kind = "latch" }
parts.spin = { kind = "spin" }
starts.start.controls = { handle = "plain" }

[kinds.toggle]
ports = []
states = ["off", "on"]
reaction = "slow"
moves = [{ from = "off", to = "on", when = "always" }, { from = "on", to = "off", when = "always" }]

[kinds.latch]
ports = []
states = ["off", "on"]
reaction = "slow"
moves = [{ from = "off", to = "on", when = "always" }]

[kinds.spin]
ports = []
states = ["one", "two", "three"]
reaction = "slow"
moves = [
  { from = "one", to = "two", when = "always" },
  { from = "two", to = "three", when = "always" },
  { from = "three", to = "one", when = "always" },
]
"""

ANYWHERE = pytest.mark.parametrize("from_anywhere", [False, True], ids=["from the start", "from anywhere"])


@pytest.fixture(scope="module")
def rule() -> StepRule:
    return StepRule(lay_out(load(TEXT)))


def posed(rule: StepRule) -> Problem:
    return pose(rule, Property("loop", "", "", Shape.NEVER, "start", pace=Pace.ANY_TIME))


def moves(problem: Problem, part: str) -> int:
    return changes(problem, [bit for bit in problem.bits if bit.subject == part])


def loops(
    problem: Problem, loop: Loop, kept: Callable[[Bit], bool] = lambda _: False, *, from_anywhere: bool = False
) -> int | None:
    """How many steps the run to the end of the loop takes, None where there is none."""
    start = problem.well_formed if from_anywhere else problem.start
    question = looping(replace(problem, start=start), loop, kept=kept, from_anywhere=from_anywhere)
    found, _ = searched(question, 50_000_000, lambda: None)
    assert found is not None
    return None if found.states is None else len(found.states) - 1


@ANYWHERE
def test_a_toggle_loops_and_a_latch_does_not(rule: StepRule, from_anywhere: bool) -> None:
    problem = posed(rule)
    assert loops(problem, Loop((moves(problem, "toggle"),)), from_anywhere=from_anywhere) is not None
    assert loops(problem, Loop((moves(problem, "latch"),)), from_anywhere=from_anywhere) is None


def test_a_loop_is_as_long_as_it_takes_to_come_back(rule: StepRule) -> None:
    problem = posed(rule)
    assert loops(problem, Loop((moves(problem, "toggle"),)), from_anywhere=True) == 2
    assert loops(problem, Loop((moves(problem, "spin"),)), from_anywhere=True) == 3


@ANYWHERE
def test_what_must_hold_throughout_holds_in_every_state_of_the_loop(rule: StepRule, from_anywhere: bool) -> None:
    problem = posed(rule)
    two = rule.encoding.part_in("spin", "two")
    turns = moves(problem, "spin")
    assert loops(problem, Loop((turns,), two ^ 1), from_anywhere=from_anywhere) is None
    assert loops(problem, Loop((turns,), TRUE), from_anywhere=from_anywhere) is not None


def test_before_the_loop_nothing_has_to_hold(rule: StepRule) -> None:
    problem = posed(rule)
    off = rule.encoding.part_in("latch", "off")
    still = Loop((moves(problem, "toggle"),), off ^ 1)
    assert loops(replace(problem, start=rule.circuit.both(problem.start, off)), still) is not None


@ANYWHERE
def test_what_happens_needs_its_cause_in_the_loop(rule: StepRule, from_anywhere: bool) -> None:
    """The toggle may go round only with the spin, only with a latch, or with what never is."""
    problem = posed(rule)
    toggle, spin, latch = (moves(problem, part) for part in ("toggle", "spin", "latch"))
    assert loops(problem, Loop((toggle,), because=((toggle, spin),)), from_anywhere=from_anywhere) is not None
    assert loops(problem, Loop((toggle,), because=((toggle, latch),)), from_anywhere=from_anywhere) is None
    assert loops(problem, Loop((toggle,), because=((toggle, FALSE),)), from_anywhere=from_anywhere) is None
    assert loops(problem, Loop((toggle,), because=((latch, FALSE),)), from_anywhere=from_anywhere) is not None


@ANYWHERE
def test_bits_that_are_kept_do_not_change(rule: StepRule, from_anywhere: bool) -> None:
    problem = posed(rule)
    turned = moves(problem, "handle")
    kept = [bit for bit in problem.bits if bit.sort is BitSort.CONTROL]
    assert loops(problem, Loop((turned,)), from_anywhere=from_anywhere) is not None
    # A kept bit does not change whatever its step would make of it: what is seen is the choice, what comes of it is not.
    part = Loop((rule.encoding.control_at("handle", "turned"),))
    assert loops(problem, part) is not None
    assert loops(problem, part, lambda bit: bit in kept) is None
