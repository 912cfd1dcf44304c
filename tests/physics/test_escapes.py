"""Trajectories the band machine once refused, in their smallest form."""

from __future__ import annotations

from fractions import Fraction

import pytest

from bandproof.machine.semantics import at_rest, settled
from bandproof.machine.story import State
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement, Part, Passage, Volume, VolumeKind
from bandproof.model.conditions import AtLeast

from .bandrun import follow
from .random_cases import Case
from .simulator import simulate
from .trajectory import PASCALS_PER_BAR, Begin, Numbers, Trajectory


def piped(volumes: dict[str, VolumeKind], *ways: tuple[str, str]) -> Arrangement:
    """Volumes joined by one-way passages that are always open."""
    passages = tuple(Passage(u, v, True, frozenset({"open"})) for u, v in ways)
    return Arrangement(
        name="piped",
        unit="kPa",
        atmosphere=Fraction(101_325),
        highest=Fraction(1_000_000),
        volumes=tuple(Volume(name, kind) for name, kind in volumes.items()),
        parts=(Part("pipe", "pipe", ("open",), passages),),
    )


@pytest.mark.parametrize("drained", [False, True])
def test_a_line_through_which_a_tank_charges_is_settled(drained: bool) -> None:
    """The line stands between the source and a tank that is far from full: it is still, the tank is not."""
    ways = [(SOURCE, "line"), ("line", "tank"), *([("tank", ATMOSPHERE)] if drained else [])]
    arrangement = piped({"line": VolumeKind.LINE, "tank": VolumeKind.TANK}, *ways)
    sizes = {("pipe", 0): (0.02, 0.3), ("pipe", 1): (0.02, 0.3), ("pipe", 2): (0.02, 0.3)}
    numbers = Numbers({}, {"line": 0.01, "tank": 40.0}, sizes)
    mark = Fraction(400_000)
    claims = (AtLeast("line", mark, mark),)
    case = Case(arrangement, claims, numbers, Begin({"line": Fraction(0), "tank": Fraction(0)}, {}, {}), (), 30.0)
    layout = case.layout()
    run = simulate(layout, numbers, case.begin, until=case.until)
    account = follow(layout, run)
    assert account.escape is None
    assert {name for name, count in account.counts.items() if count} == {"flow", "still"}
    assert run.still_lines
    assert not run.still_all
    last = State((1, 0), ("open",), ())
    assert settled(layout, last)
    assert at_rest(layout, last) is drained


@pytest.mark.slow
@pytest.mark.parametrize(("c", "b"), [(5.0, 0.3), (30.0, 0.3), (30.0, 0.6)])
def test_a_line_is_not_lifted_above_the_only_tank_that_feeds_it(c: float, b: float) -> None:
    """A tank 3 Pa below a threshold fills a line, and stays there while another tank empties elsewhere.

    An integrator that goes on with the slope of a passage that has stopped lifts the line by 150 Pa, past the threshold.
    """
    kinds = {"tank": VolumeKind.TANK, "line": VolumeKind.LINE, "other": VolumeKind.TANK}
    arrangement = piped(kinds, ("tank", "line"), ("other", ATMOSPHERE))
    numbers = Numbers({}, {"tank": 40.0, "line": 0.02, "other": 40.0}, {("pipe", 0): (c, b), ("pipe", 1): (2.0, 0.3)})
    begin = Begin({"tank": Fraction(700_000), "line": Fraction(400_000), "other": Fraction(900_000)}, {}, {})
    mark = Fraction(700_003)
    layout = Case(arrangement, (AtLeast("line", mark, mark),), numbers, begin, (), 30.0).layout()
    run = simulate(layout, numbers, begin, until=30.0)
    tank, line, _ = run.last_pressures
    assert line == pytest.approx(tank, abs=1e-7)
    assert follow(layout, run).escape is None
    assert run.happenings == ()


@pytest.mark.parametrize(("below", "accepted"), [(0.04, True), (0.06, False)])
def test_volumes_at_rest_within_the_play_of_a_threshold_may_count_as_on_either_side(
    below: float, accepted: bool
) -> None:
    """Two joined volumes at one pressure (Pa below the threshold); one fell there from above it, one rose from below."""
    arrangement = piped({"line": VolumeKind.LINE, "tank": VolumeKind.TANK}, ("line", "tank"))
    mark = Fraction(400_000)
    begin = Begin({"line": mark, "tank": Fraction(300_000)}, {}, {})
    numbers = Numbers({}, {"line": 0.01, "tank": 40.0}, {("pipe", 0): (0.02, 0.3)})
    layout = Case(arrangement, (AtLeast("line", mark, mark),), numbers, begin, (), 1.0).layout()
    pressure = 5.01325 - below / PASCALS_PER_BAR
    still = Trajectory(State((1, 0), ("open",), ()), (), (pressure,) * 2, (pressure,) * 2, 1.0, "time", True, True)
    assert (follow(layout, still).escape is None) is accepted
