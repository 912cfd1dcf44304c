"""A vehicle that breaks a claim is found where there is one, however rare, and none where there is none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bandproof.findings.witness import NoWitness, Witness
from bandproof.machine.story import Occurred, Step, StepKind, Story
from bandproof.simulation.script import Occur, Turn
from bandproof.simulation.space import Space
from bandproof.witness.judging import allowance
from bandproof.witness.run import judged
from bandproof.witness.search import Budget, find_witness

from .benches import CASES, FOUND, SMALL, answer, story_of, witness

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("case", FOUND)
def test_a_vehicle_that_breaks_the_claim_is_found(case: str) -> None:
    arrangement, claim = CASES[case]
    found = witness(case)
    assert found.margin > allowance(float(arrangement.atmosphere), claim)
    assert 0 < found.when <= found.end
    Space(arrangement, arrangement.start("start")).given(found.vehicle)


@pytest.mark.parametrize("case", ["supplied", "fed"])
def test_none_is_found_where_no_vehicle_of_the_declared_ranges_does_it(case: str) -> None:
    found = answer(case)
    assert isinstance(found, NoWitness)
    assert found.best_margin < 0
    assert found.tried >= SMALL.vehicles + SMALL.population


def test_a_to_and_fro_that_stays_above_is_no_break() -> None:
    """Between 380 and 420 kPa the line is at 415 again and again, and never below 370."""
    arrangement, claim = CASES["to and fro kept"]
    drawn = Space(arrangement, arrangement.start("start")).draw(np.random.default_rng(0), 8)
    assert (judged(arrangement, claim, drawn, (), 3.0).margins < 0).all()
    arrangement, claim = CASES["to and fro"]
    assert (judged(arrangement, claim, drawn, (), 3.0).margins > 0).all()


def test_a_to_and_fro_is_not_settled_while_something_else_moves() -> None:
    arrangement, claim = CASES["to and fro beside"]
    drawn = Space(arrangement, arrangement.start("start")).draw(np.random.default_rng(0), 4)
    found = judged(arrangement, claim, drawn, (), 5.0)
    assert (found.margins < 0).all()
    assert all(len(history.moves()) > 8 for history in found.histories)


def test_it_says_by_how_much_the_nearest_vehicle_missed() -> None:
    """The tank that starts at 500 kPa beside an empty one of 1 L gets nearest to 510, and stays 10 kPa short or more."""
    found = answer("supplied")
    assert isinstance(found, NoWitness)
    assert -100_000 < found.best_margin < -10_000


def test_a_leak_is_told_in_numbers() -> None:
    found = witness("leaking")
    (measured,) = found.measured
    assert (measured.volume, measured.limit) == ("tank", 600_000.0)
    assert measured.pascals == pytest.approx(600_000 - found.margin, abs=1)
    assert found.pressures == {"tank": measured.pascals}
    assert SMALL.common / 2 < found.common.broken <= found.common.drawn == SMALL.common
    assert found.assumed == ()


def test_the_optimiser_finds_what_no_drawn_vehicle_does() -> None:
    """One vehicle in 3,000 wins the race: 60 drawn do not, and none of the 40 drawn to tell how common it is."""
    arrangement, claim = CASES["race"]
    found = find_witness(arrangement, claim, story_of("race"), budget=Budget(60, 24, 20, 40))
    assert isinstance(found, Witness)
    assert found.tried > 60 + 24
    assert float(found.vehicle["c"]["slow 0"]) < 0.0235
    assert found.common.broken == 0
    drawn_only = find_witness(arrangement, claim, story_of("race"), budget=Budget(60, 24, 0, 40))
    assert isinstance(drawn_only, NoWitness)


def test_the_same_seed_gives_the_same_witness() -> None:
    arrangement, claim = CASES["alarmed"]
    again = find_witness(arrangement, claim, story_of("alarmed"), budget=SMALL)
    assert again == witness("alarmed")
    other = find_witness(arrangement, claim, story_of("alarmed"), budget=SMALL, seed=1)
    assert isinstance(other, Witness)
    assert other.vehicle != again.vehicle


def test_the_witness_does_what_the_story_does() -> None:
    assert [deed.what for deed in witness("alarmed").deeds] == [Turn("knob", "open")]


def test_an_act_that_is_not_needed_is_left_out() -> None:
    """The story is given a mishap more, which has nothing to do with the break."""
    arrangement, claim = CASES["alarmed"]
    found = find_witness(arrangement, claim, _with_mishap(story_of("alarmed")), budget=SMALL)
    assert isinstance(found, Witness)
    assert [deed.what for deed in found.deeds] == [Turn("knob", "open")]
    assert Occur("torn") not in [deed.what for deed in found.deeds]


def _with_mishap(story: Story) -> Story:
    first = story.states[0]
    torn = tuple(replace(state, mishaps=frozenset({"torn"})) for state in story.states)
    return Story(story.start, (first, *torn), (Step(StepKind.ACT, (Occurred("torn"),)), *story.steps))
