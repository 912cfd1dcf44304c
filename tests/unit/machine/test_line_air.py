"""The air that the band machine neglects in lines: numbers checked by hand."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

from bandproof.model.arrangement import ATMOSPHERE, Arrangement, Part, Passage, Range, Volume, VolumeKind
from bandproof.physics.line_air import LineAir, neglected

OPEN = frozenset({"open"})


def exactly(litres: int) -> Range:
    return Range(Fraction(litres), Fraction(litres))


def piped(*volumes: Volume, one_way: bool = False) -> Arrangement:
    """Volumes joined in a row, the last one vented."""
    names = [v.name for v in volumes]
    passages = [Passage(u, v, one_way, OPEN) for u, v in pairwise(names)]
    passages.append(Passage(names[-1], ATMOSPHERE, True, OPEN))
    part = Part("pipe", "pipe", ("open",), tuple(passages))
    return Arrangement("row", "kPa", Fraction(100_000), Fraction(10**6), volumes, (part,))


def test_a_line_costs_its_share_of_the_two_volumes() -> None:
    # 1 L filled from 99 L: p 99 / (99 + 1), a loss of one hundredth.
    row = piped(Volume("tank", VolumeKind.TANK, exactly(99)), Volume("line", VolumeKind.LINE, exactly(1)))
    assert neglected(row).costs == (LineAir("line", "tank", Fraction(1, 100)),)
    assert not neglected(row).costs[0].noticeable


def test_the_widest_line_from_the_smallest_tank_counts() -> None:
    tank = Volume("tank", VolumeKind.TANK, Range(Fraction(9), Fraction(99)))
    line = Volume("line", VolumeKind.LINE, Range(Fraction(0), Fraction(1)))
    cost = neglected(piped(tank, line)).costs[0]
    assert cost.share == Fraction(1, 10)
    assert "10 %, more than 2 %: declare line a chamber" in neglected(piped(tank, line)).sentence()


def test_a_line_draws_through_other_lines_but_not_through_a_chamber_or_against_a_check() -> None:
    tank = Volume("tank", VolumeKind.TANK, exactly(99))
    near, far = Volume("near", VolumeKind.LINE, exactly(1)), Volume("far", VolumeKind.LINE, exactly(1))
    chamber = Volume("chamber", VolumeKind.CHAMBER, exactly(1))
    assert {c.line for c in neglected(piped(tank, near, far)).costs} == {"near", "far"}
    assert {c.line for c in neglected(piped(tank, near, chamber, far)).costs} == {"near"}
    assert neglected(piped(near, tank, one_way=True)).costs == ()


def test_a_size_that_is_not_given_is_said() -> None:
    row = piped(Volume("tank", VolumeKind.TANK), Volume("line", VolumeKind.LINE, exactly(1)))
    assert neglected(row).sentence() == "no volume is given for tank, so what filling lines costs is not known"
