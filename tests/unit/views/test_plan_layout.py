"""A laid out drawing: nothing stands on anything else, and every pipe is one piece that meets what it should."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandproof.views.plan_columns import columns_of
from bandproof.views.plan_layout import Laid, Run, Slot, Thing, lay_out


@st.composite
def drawings(draw: st.DrawFn) -> list[Thing]:
    columns = draw(st.integers(1, 5))
    nets = [f"pipe {n}" for n in range(draw(st.integers(1, 7)))]
    things = []
    for number in range(draw(st.integers(1, 9))):
        left, right = (draw(st.lists(st.sampled_from(nets), max_size=2, unique=True)) for _ in range(2))
        column = draw(st.integers(0, columns - 1))
        slots = [Slot(net, True, 10.0 + 12 * n, draw(st.booleans())) for n, net in enumerate(left)]
        slots += [Slot(net, False, 10.0 + 12 * n) for n, net in enumerate(right)]
        tall = draw(st.integers(40, 120))
        things.append(Thing(f"thing {number}", column, float(draw(st.integers(20, 70))), float(tall), tuple(slots)))
    return things


def laid(things: list[Thing]) -> Laid:
    names = {slot.net for thing in things for slot in thing.slots}
    return lay_out(things, dict.fromkeys(names, 40.0), left=10, top=20)


@pytest.mark.thorough
@given(drawings())
@settings(deadline=None, max_examples=30)
def test_no_thing_stands_on_another(things: list[Thing]) -> None:
    places = laid(things).places
    for one, other in combinations(things, 2):
        (x1, y1), (x2, y2) = places[one.key], places[other.key]
        apart = x1 + one.width <= x2 or x2 + other.width <= x1 or y1 + one.height <= y2 or y2 + other.height <= y1
        assert apart, (one.key, other.key)


@pytest.mark.thorough
@given(drawings())
@settings(deadline=None, max_examples=30)
def test_every_pipe_is_one_piece_that_meets_all_its_things(things: list[Thing]) -> None:
    result = laid(things)
    nets: dict[str, list[tuple[float, float]]] = {}
    for thing in things:
        x, y = result.places[thing.key]
        for slot in thing.slots:
            nets.setdefault(slot.net, []).append((x if slot.left else x + thing.width, y + slot.down))
    for net, places in nets.items():
        runs = [run for run in result.runs if run.net == net]
        assert all(run.x1 == run.x2 or run.y1 == run.y2 for run in runs)
        reached = _joined(places[0], runs)
        assert all(any(_on(place, run) for run in reached) for place in places), net


@given(drawings())
@settings(deadline=None, max_examples=30)
def test_no_pipe_runs_through_a_thing(things: list[Thing]) -> None:
    result = laid(things)
    for thing in things:
        x, y = result.places[thing.key]
        for run in result.runs:
            inside = x < (run.x1 + run.x2) / 2 < x + thing.width and y < (run.y1 + run.y2) / 2 < y + thing.height
            assert not inside, (thing.key, run)


def test_a_pipe_that_only_senses_is_dashed_as_far_as_it_does() -> None:
    things = [
        Thing("gives", 0, 20, 20, (Slot("air", False, 10),)),
        Thing("takes", 1, 20, 20, (Slot("air", True, 10),)),
        Thing("senses", 1, 20, 20, (Slot("air", True, 10, dashed=True),)),
    ]
    result = laid(things)
    solid, dashed = (result.places[key][1] + 10 for key in ("takes", "senses"))
    nearer = min(solid, dashed), max(solid, dashed)
    for run in result.runs:
        reaches = {run.y1, run.y2}
        if reaches == {dashed}:
            assert run.dashed
        elif reaches == {solid}:
            assert not run.dashed
        else:
            assert nearer == (min(reaches), max(reaches))
            assert run.dashed  # the upright from the working pipe to the one that senses


def test_a_pipe_that_leads_nowhere_has_a_stop_and_room_for_its_name() -> None:
    things = [Thing("gives", 0, 20, 20, (Slot("air", False, 10),)), Thing("other", 1, 20, 20)]
    result = laid(things)
    ((x, y),) = result.stops
    assert y == result.places["gives"][1] + 10
    assert x - (result.places["gives"][0] + 20) >= 40


def test_the_same_things_are_laid_out_the_same_way() -> None:
    things = [Thing(str(n), n % 3, 30, 30, (Slot("a", bool(n % 3), 5),)) for n in range(6)]
    assert laid(things) == laid(things)


def _joined(place: tuple[float, float], runs: list[Run]) -> list[Run]:
    reached = [run for run in runs if _on(place, run)]
    left = [run for run in runs if run not in reached]
    grown = True
    while grown:
        fresh = [run for run in left if any(_touch(run, other) for other in reached)]
        reached += fresh
        left = [run for run in left if run not in fresh]
        grown = bool(fresh)
    return reached


def _on(place: tuple[float, float], run: Run) -> bool:
    x, y = place
    return (
        min(run.x1, run.x2) - 0.01 <= x <= max(run.x1, run.x2) + 0.01
        and min(run.y1, run.y2) - 0.01 <= y <= max(run.y1, run.y2) + 0.01
    )


def _touch(one: Run, other: Run) -> bool:
    ends = [(one.x1, one.y1), (one.x2, one.y2)]
    return any(_on(end, other) for end in ends) or any(
        _on((other.x1, other.y1), one) or _on((other.x2, other.y2), one) for _ in ends
    )


def test_hoses_of_a_train_stand_between_its_vehicles() -> None:
    """Two hoses in a row, one beside which something of the first trailer draws air, the other with nothing beside it."""
    supply = {
        "tractor": set[str](),
        "supply": {"tractor"},
        "tank": {"supply"},
        "supply 2": {"supply"},
        "tank 2": {"supply 2"},
    }
    service = {"service": {"tractor"}, "service 2": {"service"}}
    columns = columns_of({**supply, **service}, {"supply", "supply 2", "service", "service 2"})
    assert columns.vehicles == ((0, 0), (2, 2), (4, 4))
    assert {columns.column_of[hose] for hose in ("supply", "service")} == {1}
    assert {columns.column_of[hose] for hose in ("supply 2", "service 2")} == {3}


def test_hoses_with_nothing_behind_them_stand_at_the_end_in_their_order() -> None:
    columns = columns_of({"tractor": set(), "one": {"tractor"}, "two": {"one"}}, {"one", "two"})
    assert columns.vehicles == ((0, 0),)
    assert (columns.column_of["one"], columns.column_of["two"]) == (1, 2)
