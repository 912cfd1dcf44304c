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
from .trajectory import Begin, Numbers


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
    account = follow(layout, numbers, run)
    assert account.escape is None
    assert {name for name, count in account.counts.items() if count} == {"flow", "still"}
    assert run.still_lines
    assert not run.still_all
    last = State((1, 0), ("open",), ())
    assert settled(layout, last)
    assert at_rest(layout, last) is drained
