"""What breaks a claim in seconds, by its shape; how near a condition is; what a plan and a point say."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from bandproof.machine.story import Turned
from bandproof.model.arrangement import Arrangement, Setting
from bandproof.model.conditions import (
    ALWAYS_TRUE,
    AllOf,
    AnyOf,
    Condition,
    Happened,
    InPosition,
    InState,
    Lower,
    Not,
)
from bandproof.properties.claim import Pace, Property, Shape
from bandproof.simulation.fleet import Fleet
from bandproof.simulation.margins import Sight
from bandproof.simulation.script import Act, Occur, Script, Turn
from bandproof.simulation.simulate import simulate
from bandproof.simulation.space import Space
from bandproof.witness.nearness import nearness
from bandproof.witness.points import LATEST, SOONEST, Points
from bandproof.witness.run import judged
from bandproof.witness.script_of import plan_of

from .benches import CASES, story_of
from .samples import KPA, at_least, below

pytestmark = pytest.mark.slow

LEAKING, CLAIM = CASES["leaking"]
ALARMED = CASES["alarmed"][0]
RINGING = InState("alarm", frozenset({"ringing"}))


def margin(arrangement: Arrangement, claim: Property, until: float, script: Script = ()) -> float:
    """Of the vehicle in the middle of every range."""
    vehicle = Space(arrangement, arrangement.start("start")).nominal()
    return float(judged(arrangement, claim, [vehicle], script, until).margins[0])


def holds(once: Condition, stays: Condition, until: Condition | None) -> Property:
    return replace(CLAIM, shape=Shape.HOLDS, when=once, then=stays, until=until)


def test_never_and_always_are_broken_at_any_moment() -> None:
    assert margin(LEAKING, CLAIM, 3.0) < 0 < margin(LEAKING, CLAIM, 60.0)
    always = replace(CLAIM, shape=Shape.ALWAYS, when=ALWAYS_TRUE, then=at_least("tank", 600))
    assert margin(LEAKING, always, 3.0) < 0 < margin(LEAKING, always, 60.0)


def test_holds_binds_from_the_first_moment_on_and_until_releases() -> None:
    falls = below("tank", 700)
    assert margin(LEAKING, holds(falls, at_least("tank", 500), None), 120.0) > 0
    assert margin(LEAKING, holds(falls, at_least("tank", 500), below("tank", 600)), 120.0) < 0
    assert margin(LEAKING, holds(falls, at_least("tank", 500), below("tank", 400)), 120.0) > 0


def test_what_is_settled_with_the_tanks_held_is_not_yet_at_rest() -> None:
    settled = replace(CLAIM, shape=Shape.SETTLED, when=ALWAYS_TRUE, then=at_least("tank", 600))
    at_rest = replace(settled, shape=Shape.AT_REST)
    assert margin(LEAKING, settled, 60.0) > 0
    assert margin(LEAKING, at_rest, 60.0) < 0 < margin(LEAKING, at_rest, 3600.0)


def test_a_vehicle_in_motion_is_not_settled() -> None:
    """The spare line is torn: while it empties, in half a second, it is at 100 kPa or more and not settled."""
    emptied = replace(CLAIM, shape=Shape.SETTLED, when=Happened("torn"), then=below("spare", 100))
    torn = (Act(Occur("torn"), 0.5),)
    assert margin(ALARMED, emptied, 10.0, torn) < 0
    assert (
        margin(
            ALARMED,
            replace(emptied, shape=Shape.NEVER, when=AllOf((Happened("torn"), at_least("spare", 100)))),
            10.0,
            torn,
        )
        > 0
    )


CONDITIONS: list[Condition] = [
    RINGING,
    Not(RINGING),
    InPosition("knob", frozenset({"open"})),
    Not(Happened("torn")),
    Lower("spare", "tank"),
    Not(Lower("tank", "spare")),
    AllOf((RINGING, at_least("tank", 590), Happened("torn"))),
    AnyOf((Not(AllOf((RINGING, below("spare", 50)))), below("tank", 500))),
]


@pytest.mark.parametrize("condition", CONDITIONS, ids=str)
def test_nearness_is_positive_where_the_condition_holds(condition: Condition) -> None:
    seen = []

    def watch(fleet: Fleet) -> list[object]:
        near, plain = nearness(fleet, condition), fleet.margin(condition)
        return [lambda sight: seen.append((near(sight) > 0, plain(sight) > 0))]

    vehicles = Space(ALARMED, ALARMED.start("start")).draw(np.random.default_rng(3), 6)
    script = (Act(Turn("knob", "open"), 0.3), Act(Occur("torn"), 1.0))
    simulate(ALARMED, vehicles, script, until=30.0, observers=watch)  # type: ignore[arg-type]
    assert all((one == other).all() for one, other in seen)
    assert len(seen) > 20


def test_a_part_is_as_near_to_a_state_as_its_guard() -> None:
    vehicle = Space(ALARMED, ALARMED.start("start")).nominal()
    fleet = Fleet(ALARMED, [vehicle])
    sight: Sight = fleet.sight()
    assert nearness(fleet, RINGING)(sight)[0] == pytest.approx(-(vehicle.pressures["tank"] - 600_000), abs=1)
    lacks = AllOf((RINGING, below("tank", 500)))
    assert nearness(fleet, lacks)(sight)[0] == pytest.approx(-(2 * vehicle.pressures["tank"] - 1_100_000), abs=1)


def test_a_plan_takes_acts_and_where_the_story_begins() -> None:
    arrangement, claim = CASES["alarmed"]
    story = story_of("alarmed")
    plan = plan_of(arrangement, claim, story)
    turned = [event for step in story.steps for event in step.events if isinstance(event, Turned)]
    assert [act.what for act in plan.acts] == [Turn(event.control, event.target) for event in turned]
    assert not any(act.settles for act in plan.acts)
    assert plan.parts["alarm"] == "quiet"
    assert plan.above["tank"] == 620 * KPA
    patient = plan_of(arrangement, replace(claim, pace=Pace.AFTER_SETTLING), story)
    assert all(act.settles for act in patient.acts)


def test_a_point_gives_back_the_times_it_was_given() -> None:
    arrangement, claim = CASES["alarmed"]
    points = Points(Space(arrangement, arrangement.start("start")), plan_of(arrangement, claim, story_of("alarmed")))
    rows = points.draw(np.random.default_rng(0), 5)
    assert rows.shape == (5, points.size)
    assert ((points.gaps(rows) >= SOONEST) & (points.gaps(rows) <= LATEST)).all()
    moved = points.with_gap(rows, 0, np.full(5, 2.5))
    assert points.gaps(moved)[:, 0] == pytest.approx(2.5)
    ((act,),) = points.scripts(points.gaps(moved[:1]))
    assert act.what == Turn("knob", "open")
    assert act.time == pytest.approx(2.5)


def test_a_shared_setting_is_one_number() -> None:
    arrangement, claim = CASES["alarmed"]
    alarm = arrangement.part("alarm")
    two = replace(arrangement, parts=(*arrangement.parts, replace(alarm, name="second")))
    low, high = Fraction(580) * KPA, Fraction(620) * KPA
    for shared in (True, False):
        made = replace(two, settings=(Setting("warning", low, high, shared=shared),))
        plan = replace(plan_of(arrangement, claim, story_of("alarmed")))
        points = Points(Space(made, made.start("start")), plan)
        for vehicle in points.vehicles(points.draw(np.random.default_rng(0), 5)):
            assert (len(set(vehicle.settings.values())) == 1) is shared
