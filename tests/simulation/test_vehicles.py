"""Vehicles: one number for each thing left open, inside what is declared, and what is assumed is told."""

from __future__ import annotations

import json
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement, Move, Part, Range, Size, Start, VolumeKind
from bandproof.model.conditions import AllOf, AtLeast, Below, Condition, InState
from bandproof.simulation.space import Space, assumptions, numbers_of
from bandproof.simulation.vehicle import (
    ASSUMED_C,
    ASSUMED_C_SOURCE,
    ASSUMED_C_VENT,
    ASSUMED_LITRES,
    MOVING_TIME,
    SLOW_MOVING_TIME,
    SettingUse,
    setting_uses,
)

from .samples import arranged, passage, shipped

BASE = "two_knob_tractor.toml"


def declared(arrangement: Arrangement) -> dict[tuple[str, int], Size]:
    return {
        (part.name, k): way.size
        for part in arrangement.parts
        for k, way in enumerate(part.passages)
        if way.size is not None
    }


def test_every_number_drawn_lies_in_its_declared_range() -> None:
    base = shipped(BASE)
    start = base.start("rolling")
    for drawn in Space(base, start).draw(np.random.default_rng(1), 50):
        for use, value in drawn.settings.items():
            assert float(use.low) <= value <= float(use.high)
        for volume in base.volumes:
            assert volume.litres is not None
            assert float(volume.litres.low) <= drawn.litres[volume.name] <= float(volume.litres.high)
        for key, size in declared(base).items():
            c, b = drawn.sizes[key]
            assert float(size.c.low) <= c <= float(size.c.high)
            assert float(size.b.low) <= b <= float(size.b.high)
        for name, within in start.pressures:
            assert float(within.low) <= drawn.pressures[name] <= float(within.high)
        assert all(drawn.parts[name] in states for name, states in start.parts)
        assert all(drawn.controls[name] in positions for name, positions in start.controls)


def unsized() -> Arrangement:
    """The base with no size declared but those of the trailer control."""
    base = shipped(BASE)
    parts = (
        part
        if part.name == "trailer_control"
        else replace(part, passages=tuple(replace(way, size=None) for way in part.passages))
        for part in base.parts
    )
    return replace(base, parts=tuple(parts))


def test_what_is_not_declared_is_assumed_in_an_everyday_range_and_told() -> None:
    base = unsized()
    for drawn in Space(base, base.start("rolling")).draw(np.random.default_rng(2), 30):
        for part in base.parts:
            for k, way in enumerate(part.passages):
                ends = {way.upstream, way.downstream}
                low, high = ASSUMED_C_SOURCE if SOURCE in ends else ASSUMED_C_VENT if ATMOSPHERE in ends else ASSUMED_C
                assert way.size is not None or low <= drawn.sizes[part.name, k][0] <= high
        told = {one.what for one in drawn.assumed}
        assert "C of foot_valve, service_tank_1 to service_line" in told
        assert "C of trailer_control, knob_feed to trailer_delivery" not in told
        assert drawn.usual == all(not one.unusual for one in drawn.assumed)
        assert sum("90 %" in line for line in assumptions(drawn)) == sum(one.unusual for one in drawn.assumed)


def test_one_in_ten_assumed_numbers_is_outside_the_middle_nine_tenths() -> None:
    base = unsized()
    drawn = Space(base, base.start("rolling")).draw(np.random.default_rng(3), 200)
    unusual = [one.unusual for made in drawn for one in made.assumed]
    assert sum(unusual) / len(unusual) == pytest.approx(0.1, abs=0.01)


def test_a_part_has_one_number_for_each_setting_however_often_it_asks() -> None:
    """Asked as *below* and as *at least* it is the same number; another part has one of its own."""
    low, high = Fraction(200_000), Fraction(300_000)
    fixed = Fraction(500_000)
    moves = (
        Move("shut", "open", AllOf((AtLeast("tank", low, high), Below("line", fixed, fixed)))),
        Move("open", "shut", Below("line", low, high)),
    )
    parts = [Part(name, "valve", ("shut", "open"), (), moves) for name in ("one", "two")]
    bench = arranged(parts, [("tank", VolumeKind.TANK), ("line", VolumeKind.LINE)])
    assert setting_uses(bench) == (
        SettingUse("one", low, high),
        SettingUse("one", fixed, fixed),
        SettingUse("two", low, high),
        SettingUse("two", fixed, fixed),
    )
    drawn = Space(bench, Start("any")).draw(np.random.default_rng(4), 20)
    assert any(v.settings[SettingUse("one", low, high)] != v.settings[SettingUse("two", low, high)] for v in drawn)
    assert all(v.settings[SettingUse("one", fixed, fixed)] == 500_000 for v in drawn)


def test_the_nominal_vehicle_stands_in_the_middle_of_every_range() -> None:
    base = shipped(BASE)
    nominal = Space(base, base.start("rolling")).nominal()
    assert nominal.litres["park_line"] == 6
    assert list(nominal.sizes["trailer_control", 0]) == pytest.approx([0.4, 0.3])
    assert nominal.pressures["wet_tank"] == pytest.approx(float(base.start("rolling").pressures[0][1].low) * 1.1)
    assert nominal.usual
    assert set(nominal.moving.values()) == {MOVING_TIME}


def test_undeclared_litres_and_slow_parts_are_drawn_by_ratio() -> None:
    slow = Part("slow", "valve", ("shut", "open"), (), (), slow=True)
    bench = arranged([slow], [("tank", VolumeKind.TANK), ("line", VolumeKind.LINE)])
    drawn = Space(bench, Start("any")).draw(np.random.default_rng(5), 400)
    for kind in (VolumeKind.TANK, VolumeKind.LINE):
        low, high = ASSUMED_LITRES[kind]
        litres = [v.litres[kind.value] for v in drawn]
        assert low <= min(litres) < max(litres) <= high
        assert np.median(litres) == pytest.approx((low * high) ** 0.5, rel=0.2)
    assert all(SLOW_MOVING_TIME[0] <= v.moving["slow"] <= SLOW_MOVING_TIME[1] for v in drawn)


def test_drawing_is_the_same_for_the_same_seed() -> None:
    base = shipped(BASE)
    space = Space(base, base.start("rolling"))
    one, again, other = (space.draw(np.random.default_rng(seed), 5) for seed in (6, 6, 7))
    assert one == again
    assert one != other


def test_a_vehicle_is_a_point_of_the_unit_cube_and_back() -> None:
    base = shipped(BASE)
    space = Space(base, base.start("rolling"))
    point = np.random.default_rng(8).random(len(space.free))
    assert space.shares(space.vehicle(point)).tolist() == pytest.approx(point.tolist(), abs=1e-9)
    assert space.shares(space.nominal()).tolist() == pytest.approx([0.5] * len(space.free))
    with pytest.raises(ValueError, match="shares"):
        space.vehicle([0.5])


def test_a_vehicle_written_down_is_read_back_to_the_last_digit() -> None:
    base = shipped(BASE)
    space = Space(base, base.start("rolling"))
    (drawn,) = space.draw(np.random.default_rng(9), 1)
    written = json.loads(json.dumps(numbers_of(space, drawn)))
    read = space.given(written)
    assert replace(read, assumed=()) == replace(drawn, assumed=())
    assert [one.what for one in read.assumed] == [one.what for one in drawn.assumed]
    assert [one.unusual for one in read.assumed] == [one.unusual for one in drawn.assumed]


def test_numbers_outside_their_range_and_unknown_names_are_refused_all_at_once() -> None:
    base = shipped(BASE)
    space = Space(base, base.start("rolling"))
    bad: dict[str, dict[str, float | str]] = {
        "litres": {"park_line": 8.0, "cellar": 1.0},
        "parts": {"park_control": "up"},
        "moving": {"park_control": 1e-3},
    }
    with pytest.raises(ValueError, match="cellar") as caught:
        space.given(bad)
    assert "litres of park_line is 8.0, outside 5..7" in str(caught.value)
    assert "state of park_control" in str(caught.value)
    assert space.given({"litres": {"park_line": 5.5}}).litres["park_line"] == 5.5


def start_where(condition: Condition) -> Start:
    return Start("odd", where=condition, plain=False, assumed=True)


@pytest.mark.slow
def test_a_start_with_a_condition_is_kept() -> None:
    bench = arranged([Part("valve", "valve", ("shut", "open"), (passage("tank", ATMOSPHERE, "open"),))])
    half = Fraction(350_000)
    wanted = AllOf((AtLeast("tank", half, half), InState("valve", frozenset({"open"}))))
    drawn = Space(bench, start_where(wanted)).draw(np.random.default_rng(10), 40)
    assert len(drawn) == 40
    assert all(v.pressures["tank"] >= 350_000 and v.parts["valve"] == "open" for v in drawn)
    impossible = AllOf((AtLeast("tank", half, half), Below("tank", half, half)))
    with pytest.raises(ValueError, match='start "odd"'):
        Space(bench, start_where(impossible)).draw(np.random.default_rng(11), 1)


def test_every_start_of_the_shipped_arrangements_has_vehicles() -> None:
    base = shipped(BASE)
    for start in base.starts:
        assert len(Space(base, start).draw(np.random.default_rng(12), 3)) == 3


def test_a_range_of_b_is_drawn_too() -> None:
    sized = replace(
        passage("tank", ATMOSPHERE), size=Size(Range(Fraction(1), Fraction(1)), Range(Fraction(1, 5), Fraction(1, 2)))
    )
    bench = arranged([Part("vent", "pipe", ("open",), (sized,))])
    drawn = Space(bench, Start("any")).draw(np.random.default_rng(13), 50)
    ratios = [v.sizes["vent", 0][1] for v in drawn]
    assert 0.2 <= min(ratios) < 0.25
    assert 0.45 < max(ratios) <= 0.5
    assert not any(one.what.startswith("b of") for v in drawn for one in v.assumed)
