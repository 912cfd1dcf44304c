"""Parts, acts and mishaps in time: when a move is made, what hunts, when a vehicle has settled."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from math import log

import pytest

from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement, Control, Mishap, Move, Part, Range, VolumeKind
from bandproof.model.conditions import AllOf, AtLeast, Below, Condition, Happened, InPosition, InState, Lower, Not
from bandproof.simulation.accuracy import EVENT_PASCALS, HUNTING_PASCALS, HUNTING_SECONDS
from bandproof.simulation.script import Act, Occur, Turn, check_script
from bandproof.simulation.simulate import simulate
from bandproof.simulation.vehicle import Vehicle

from .samples import arranged, gauge, passage, pipe, vehicle, watcher

KNOB = Control("knob", ("out", "in"))
BURST = Mishap("burst")


def at_least(volume: str, bar: str) -> Condition:
    return AtLeast(volume, gauge(bar), gauge(bar))


def below(volume: str, bar: str) -> Condition:
    return Below(volume, gauge(bar), gauge(bar))


def vent(when: Condition, volume: str = "tank", back: Condition | None = None) -> Part:
    """A valve that empties a volume once `when` holds."""
    moves = [Move("shut", "open", when), *([Move("open", "shut", back)] if back is not None else [])]
    return Part("vent", "valve", ("shut", "open"), (passage(volume, ATMOSPHERE, "open"),), tuple(moves))


def test_a_move_is_made_a_moving_time_after_its_guard_begins_to_hold() -> None:
    # Choked exhaust, derived from ISO 6358: 8 -> 4 bar in tau ln 2 = 1.38629 s, tau = 2 s.
    bench = arranged([pipe(passage("tank", ATMOSPHERE)), watcher("mark", below("tank", "4"))])
    for moving in (1e-6, 1e-3, 0.25):
        (history,) = simulate(bench, [vehicle(bench, {"tank": 8.0}, moving=moving)], until=3.0)
        assert history.moves()[0][0] == pytest.approx(2 * log(2) + moving, rel=1e-4)


def test_an_event_is_found_within_a_pascal() -> None:
    bench = arranged([pipe(passage("tank", ATMOSPHERE)), watcher("mark", below("tank", "4"))])
    (history,) = simulate(bench, [vehicle(bench, {"tank": 8.0})], until=3.0)
    before = history.times <= history.moves()[0][0] - 5e-7
    assert -EVENT_PASCALS <= history.pressures[before, 0][-1] - float(gauge("4")) <= 0


def test_a_guard_that_ceases_before_the_part_has_moved_leaves_it_where_it_is() -> None:
    """The line is above 3 bar for some 0.1 s, while the valve that would then move takes 0.5 s; another takes 1 ms."""
    burst = Part(
        "gulp",
        "valve",
        ("shut", "open"),
        (passage("line", ATMOSPHERE, "open"),),
        (Move("shut", "open", at_least("line", "4")),),
    )
    lazy, quick = watcher("lazy", at_least("line", "3")), watcher("quick", at_least("line", "3"))
    bench = arranged([pipe(passage(SOURCE, "line")), burst, lazy, quick], [("line", VolumeKind.LINE)])
    made = vehicle(bench, {"line": 1.0}, litres=1.0, moving=1e-3)
    made = replace(
        made, moving=dict(made.moving) | {"lazy": 0.5}, sizes={("pipe", 0): (1.0, 0.3), ("gulp", 0): (9.0, 0.3)}
    )
    (history,) = simulate(bench, [made], until=3.0)
    assert [what.part for _, what in history.moves()] == ["quick", "gulp"]
    assert history.hunted == ()


def test_at_equality_at_least_holds_and_below_does_not() -> None:
    marks = [
        watcher("up", at_least("tank", "3")),
        watcher("down", below("tank", "3")),
        watcher("not", Not(at_least("tank", "3"))),
    ]
    bench = arranged(marks)
    (history,) = simulate(bench, [vehicle(bench, {"tank": 3.0})], until=1.0)
    assert [what.part for _, what in history.moves()] == ["up"]


def test_acts_and_mishaps_happen_at_their_times() -> None:
    both = AllOf((InPosition("knob", frozenset({"in"})), Happened("burst")))
    bench = arranged(
        [vent(both), watcher("open", InState("vent", frozenset({"open"})))], controls=[KNOB], mishaps=[BURST]
    )
    script = (Act(Turn("knob", "in"), 0.5), Act(Occur("burst"), 1.25))
    (history,) = simulate(bench, [vehicle(bench, {"tank": 8.0})], script, until=2.0)
    assert [h.time for h in history.happenings] == pytest.approx([0.5, 1.25, 1.25, 1.25], abs=1e-5)
    assert history.happenings[0].what == Turn("knob", "in")
    assert history.happenings[1].what == Occur("burst")
    assert [what.part for _, what in history.moves()] == ["vent", "open"]
    # Choked exhaust, derived from ISO 6358: p = p_i exp(-t / tau), tau = 2 s.
    assert history.at([1.25, 2.0])[:, 0].tolist() == pytest.approx([7e5, 8e5 * 2.718281828 ** (-0.375) - 1e5], rel=1e-4)


def test_each_vehicle_follows_its_own_script() -> None:
    bench = arranged([vent(InPosition("knob", frozenset({"in"})))], controls=[KNOB])
    scripts = [(Act(Turn("knob", "in"), time),) for time in (0.1, 0.7, 1.3)]
    histories = simulate(bench, [vehicle(bench, {"tank": 8.0})] * 3, scripts, until=2.0)
    assert [h.moves()[0][0] for h in histories] == pytest.approx([0.1, 0.7, 1.3], abs=1e-5)
    with pytest.raises(ValueError, match="2 scripts for 3 vehicles"):
        simulate(bench, [vehicle(bench, {"tank": 8.0})] * 3, scripts[:2], until=2.0)


def test_hands_wait_while_a_part_is_due() -> None:
    """While a part must move nobody acts: a second act at the same time comes when the part has answered the first."""
    parts = [watcher("one", InPosition("knob", frozenset({"in"}))), watcher("two", Happened("burst"))]
    bench = arranged(parts, controls=[KNOB], mishaps=[BURST])
    script = (Act(Turn("knob", "in"), 0.5), Act(Occur("burst"), 0.5))
    (history,) = simulate(bench, [vehicle(bench, {"tank": 8.0}, moving=0.02)], script, until=2.0)
    assert [h.time for h in history.happenings] == pytest.approx([0.5, 0.52, 0.52, 0.54], abs=1e-9)


def test_an_act_once_settled_waits_for_lines_and_chambers_but_not_for_tanks() -> None:
    """The chamber has filled after tau ((b - 1/8) + (1 - b) pi/2) = 0.51 s; the tank takes half an hour."""
    kinds = [("chamber", VolumeKind.CHAMBER), ("tank", VolumeKind.TANK)]
    bench = arranged([pipe(passage(SOURCE, "chamber"), passage(SOURCE, "tank"))], kinds, controls=[KNOB])
    made = vehicle(bench, {"chamber": 1.0, "tank": 1.0}, litres={"chamber": 2.0, "tank": 40.0})
    made = replace(made, sizes={("pipe", 0): (5.0, 0.3), ("pipe", 1): (0.02, 0.3)})
    script = (Act(Turn("knob", "in")), Act(Turn("knob", "out"), wait=3.0))
    (history,) = simulate(bench, [made], script, until=60.0)
    first, second = (h.time for h in history.happenings)
    # Derived from ISO 6358: 2 dm3 through C = 5, b = 0.3 from 8 bar are full after 0.51 s.
    assert 0.51 < first < 1.5
    assert first + 3.1 <= second < first + 6
    assert history.undone == 0
    assert history.at([second])[0, 1] < 2e5


def test_an_act_that_waits_in_vain_is_told() -> None:
    bench = arranged([pipe(passage(SOURCE, "chamber"))], [("chamber", VolumeKind.CHAMBER)], controls=[KNOB])
    (history,) = simulate(bench, [vehicle(bench, {"chamber": 1.0})], (Act(Turn("knob", "in")),), until=1.0)
    assert history.happenings == ()
    assert history.undone == 1


@pytest.mark.slow
def test_parts_that_undo_each_other_do_not_stop_the_time() -> None:
    """Two parts each of which sends the other back, at standing pressures: time goes on, and the moves are finite."""
    one = Part(
        "one",
        "any",
        ("a", "b"),
        (),
        (Move("a", "b", InState("two", frozenset({"a"}))), Move("b", "a", InState("two", frozenset({"b"})))),
    )
    two = Part(
        "two",
        "any",
        ("a", "b"),
        (),
        (Move("a", "b", InState("one", frozenset({"b"}))), Move("b", "a", InState("one", frozenset({"a"})))),
    )
    bench = arranged([one, two], controls=[KNOB])
    (history,) = simulate(
        bench, [vehicle(bench, {"tank": 3.0}, moving=1e-3)], (Act(Turn("knob", "in"), 1.5),), until=3.0
    )
    assert history.ended == 3.0
    assert history.hunted == ("one", "two")
    assert 100 < len(history.moves()) < 3 * 3.0 / HUNTING_SECONDS
    assert any(h.what == Turn("knob", "in") and h.time < 1.52 for h in history.happenings)


@pytest.mark.slow
def test_a_valve_that_holds_a_pressure_by_feeding_and_venting_holds_it() -> None:
    """A regulator without play between its two settings hunts; the line stays where it should, within the stated play."""
    feeds = Part(
        "regulator",
        "valve",
        ("feeding", "venting"),
        (passage(SOURCE, "chamber", "feeding"), passage("chamber", ATMOSPHERE, "venting")),
        (Move("feeding", "venting", at_least("chamber", "3")), Move("venting", "feeding", below("chamber", "3"))),
    )
    bench = arranged([feeds], [("chamber", VolumeKind.CHAMBER)])
    (history,) = simulate(bench, [vehicle(bench, {"chamber": 1.0}, moving=1e-3, size=(0.2, 0.3))], until=16.0)
    late = history.pressures[history.times > 13.0, 0]
    # In a moving time of 1 ms the chamber of 10 dm3 moves by at most 0.2 * 8e5 / 10 * 1e-3 = 16 Pa.
    assert abs(late - float(gauge("3"))).max() < HUNTING_PASCALS + 16 + EVENT_PASCALS
    assert len(history.moves()) < 500
    assert history.hunted == ("regulator",)


@pytest.mark.slow
def test_a_shuttle_between_equal_tanks_does_not_take_many_moves() -> None:
    """Two tanks that one line draws from by turns, whichever is higher: they fall together, in few moves."""
    shuttle = Part(
        "shuttle",
        "double check",
        ("first", "second"),
        (passage("one", "line", "first"), passage("two", "line", "second")),
        (Move("first", "second", Lower("one", "two")), Move("second", "first", Lower("two", "one"))),
    )
    kinds = [("one", VolumeKind.TANK), ("two", VolumeKind.TANK), ("line", VolumeKind.LINE)]
    bench = arranged([shuttle, pipe(passage("line", ATMOSPHERE))], kinds)
    made = vehicle(
        bench, {"one": 8.0, "two": 8.0, "line": 8.0}, litres={"one": 40.0, "two": 40.0, "line": 0.2}, moving=1e-3
    )
    made = replace(made, sizes={("shuttle", 0): (6.0, 0.3), ("shuttle", 1): (6.0, 0.3), ("pipe", 0): (0.4, 0.3)})
    (history,) = simulate(bench, [made], until=10.0)
    gap = history.pressures[:, 0] - history.pressures[:, 1]
    assert abs(gap).max() < HUNTING_PASCALS + 20
    assert 20 < len(history.moves()) < 200
    # Nearly as one tank of 80 dm3, choked through C = 0.4 behind C = 6: tau = 200 s.
    assert history.pressures[-1, 0] + 1e5 == pytest.approx(8e5 * 2.718281828 ** (-10 / 200), rel=2e-3)


def test_a_script_that_does_not_fit_is_told_at_once() -> None:
    bench = arranged([], controls=[KNOB], mishaps=[BURST])
    bad = (Act(Turn("knob", "up"), 2.0), Act(Turn("pedal", "in"), 1.0), Act(Occur("flood"), 3.0))
    with pytest.raises(ValueError, match="position") as caught:
        check_script(bench, bad)
    message = str(caught.value)
    assert all(word in message for word in ('"up"', '"pedal"', '"flood"', "must not go back"))
    check_script(bench, (Act(Turn("knob", "in"), 1.0), Act(Occur("burst")), Act(Turn("knob", "out"), 1.0)))


def _with_shuttle(*, feed: float, litres: float) -> tuple[Arrangement, Vehicle]:
    """A shuttle between two equal tanks, which goes to and fro for ever, and a chamber behind a valve of C = `feed`."""
    shuttle = Part(
        "shuttle",
        "double check",
        ("one", "two"),
        (passage("first", "feed", "one"), passage("second", "feed", "two")),
        (Move("one", "two", Lower("first", "second")), Move("two", "one", Lower("second", "first"))),
    )
    opens = Move("shut", "open", InPosition("knob", frozenset({"in"})))
    valve = Part("valve", "valve", ("shut", "open"), (passage(SOURCE, "chamber", "open"),), (opens,))
    line = Part("line", "pipe", ("whole",), (passage("feed", ATMOSPHERE, "whole"),), ())
    kinds = [(name, VolumeKind.TANK) for name in ("first", "second")]
    kinds += [("feed", VolumeKind.LINE), ("chamber", VolumeKind.CHAMBER)]
    bench = arranged([shuttle, valve, line], kinds, controls=[KNOB], mishaps=[BURST])
    air = {"first": 8.0, "second": 8.0, "feed": 8.0, "chamber": 1.0}
    made = vehicle(bench, air, litres={"first": 400.0, "second": 400.0, "chamber": litres, "feed": 0.3})
    c = {"line": 0.1, "valve": feed, "shuttle": 5.0}
    return bench, replace(made, sizes={key: (c[key[0]], 0.3) for key in made.sizes})


def test_hands_that_wait_do_not_take_one_hunting_part_for_rest() -> None:
    """The chamber behind the valve takes its 0.5 s, whatever the shuttle does."""
    bench, made = _with_shuttle(feed=5.0, litres=2.0)
    script = (Act(Turn("knob", "in"), 3.0), Act(Occur("burst")))
    (history,) = simulate(bench, [made], script, until=10.0)
    assert "shuttle" in history.hunted
    burst = next(h.time for h in history.happenings if h.what == Occur("burst"))
    # Derived from ISO 6358: 2 dm3 through C = 5, b = 0.3 from 8 bar are full after 0.51 s.
    assert 3.51 < burst < 4.5


def test_a_chamber_that_fills_slowly_beside_a_hunting_part_is_waited_for() -> None:
    """The same with a drilling of C = 0.05: 6 dm3 take some 60 s from 1 to 8 bar, long after the shuttle has begun."""
    bench, made = _with_shuttle(feed=0.05, litres=6.0)
    script = (Act(Turn("knob", "in"), 15.0), Act(Occur("burst")))
    (history,) = simulate(bench, [made], script, until=400.0)
    assert "shuttle" in history.hunted
    burst = next(h.time for h in history.happenings if h.what == Occur("burst"))
    # Derived from ISO 6358: choked to b p1, V (b p1 - p0) / (C p1) = 6 (2.4 - 1) / (0.05 * 8) = 21 s, then (1 - b) pi/2 V / C = 132 s.
    assert 100 < burst - 15 < 200


def test_a_part_that_hunts_takes_no_longer_than_it_may() -> None:
    """Its moving time is drawn out while it goes to and fro, but not beyond the time within which it says it moves."""
    always = AtLeast("tank", gauge(1), gauge(1))
    moves = (Move("here", "there", always), Move("there", "here", always))
    for seconds, longest in (("0.002", 0.002), ("0.05", HUNTING_SECONDS)):
        flips = Part("flips", "flips", ("here", "there"), (), moves, reaction=Range(Fraction(0), Fraction(seconds)))
        bench = arranged([flips], [("tank", VolumeKind.TANK)])
        (history,) = simulate(bench, [vehicle(bench, {"tank": 3.0}, moving=1e-3)], until=1.0)
        times = [time for time, _ in history.moves()]
        assert max(after - before for before, after in pairwise(times)) == pytest.approx(longest, rel=1e-6)
