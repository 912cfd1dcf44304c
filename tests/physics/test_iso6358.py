"""The flow bounds against worked values, against the printed formula in exact arithmetic, and against their own laws."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandproof.model.arrangement import Range, Size
from bandproof.physics.iso6358 import Bounds, flow_bounds

ATMOSPHERE = Fraction(100_000)
BAR = Fraction(100_000)
#: The passage of the worked values: C = 5 dm3/(s bar), b = 0.3.
WORKED = Size(Range(Fraction(5), Fraction(5)), Range(Fraction("0.3"), Fraction("0.3")))


def exactly(pressure: Fraction) -> Range:
    return Range(pressure, pressure)


def between_bar(size: Size, up: str | tuple[str, str], down: str | tuple[str, str], *, one_way: bool = False) -> Bounds:
    """The bounds for absolute pressures in bar, at an atmosphere of exactly 1 bar."""
    ends = [pair if isinstance(pair, tuple) else (pair, pair) for pair in (up, down)]
    ranges = [Range(Fraction(low) * BAR - ATMOSPHERE, Fraction(high) * BAR - ATMOSPHERE) for low, high in ends]
    return flow_bounds(size, *ranges, atmosphere=ATMOSPHERE, one_way=one_way)


def signed_square(flow: Fraction) -> Fraction:
    return flow * abs(flow)


def signed_square_by_iso(c: Fraction, b: Fraction, up: Fraction, down: Fraction, *, one_way: bool) -> Fraction:
    """Signed square q * |q| at absolute pressures, as ISO 6358 prints it: exact, since only the root itself is irrational."""
    if up < down:
        return Fraction(0) if one_way else -signed_square_by_iso(c, b, down, up, one_way=False)
    ratio = down / up
    factor_squared = Fraction(1) if ratio <= b else 1 - ((ratio - b) / (1 - b)) ** 2
    return (c * up / BAR) ** 2 * factor_squared


# --- worked values -------------------------------------------------------------------------------------------------


def test_choked_flow_of_the_worked_passage() -> None:
    # ISO 6358 choked branch, worked value D (derived): C = 5, 8 bar abs -> 40 dm3/s ANR, 0.0474 kg/s at 1.185 kg/m3.
    assert between_bar(WORKED, "8", "1") == Bounds(Fraction(40), Fraction(40))
    assert round(40 * 1.185e-3, 4) == 0.0474


@pytest.mark.parametrize(("ratio", "factor"), [("0.5", "0.95831"), ("0.7", "0.82065"), ("0.9", "0.51508")])
def test_ellipse_factor_of_the_worked_passage(ratio: str, factor: str) -> None:
    # ISO 6358 subsonic branch, worked values D (derived), five digits printed.
    bounds = between_bar(WORKED, "8", str(8 * Fraction(ratio)))
    for end in (bounds.low, bounds.high):
        assert abs(end / 40 - Fraction(factor)) <= Fraction("0.000005")


def test_ideal_nozzle_fed_at_80_psi_is_choked_up_to_35_30_psi() -> None:
    # Fact choke-example: orifice flow tutorial, 35.30 psig for 80 psig upstream, with 14.7 psi atmosphere and b = 0.528.
    psi = Fraction("6894.757293168")
    nozzle = Size(Range(Fraction(1), Fraction(1)), Range(Fraction("0.528"), Fraction("0.528")))

    def flow(down: str) -> Bounds:
        return flow_bounds(
            nozzle, exactly(80 * psi), exactly(Fraction(down) * psi), atmosphere=Fraction("14.7") * psi, one_way=True
        )

    assert flow("0") == flow("35.30")
    assert flow("35.31").high < flow("35.30").low


def seconds(points: list[Fraction], *, fill: bool) -> tuple[Fraction, Fraction]:
    """Shortest and longest time for V = 10 dm3 to pass through the points (bar abs), by the bounds on every piece.

    dp/dt = p0 / V * q with p0 = 100 kPa; the worked tank empties into 1 bar abs or fills from 8 bar abs.
    """
    shortest = longest = Fraction(0)
    for one, other in pairwise(points):
        piece = (str(min(one, other)), str(max(one, other)))
        bounds = between_bar(WORKED, "8", piece) if fill else between_bar(WORKED, piece, "1")
        shortest += 10 * abs(other - one) / bounds.high
        longest += 10 * abs(other - one) / bounds.low
    return shortest, longest


@pytest.mark.parametrize(
    ("start", "end", "fill", "expected"),
    [
        # Closed forms 1 to 3 from the ISO 6358 equations, worked values D (derived), isothermal.
        ("8", "4", False, "1.38629"),
        ("8", "2.5", False, "2.3281"),
        ("8", "1.2", False, "4.0029"),
        ("1", "7.2", True, "1.7916"),
    ],
)
def test_integrated_bounds_enclose_the_worked_times(start: str, end: str, fill: bool, expected: str) -> None:
    pieces = 400
    first, last = Fraction(start), Fraction(end)
    shortest, longest = seconds([first + (last - first) * k / pieces for k in range(pieces + 1)], fill=fill)
    half_digit = Fraction(1, 10 ** (len(expected) - 2)) / 2
    assert shortest - half_digit <= Fraction(expected) <= longest + half_digit
    assert longest - shortest < Fraction("0.01") * longest


# --- laws ----------------------------------------------------------------------------------------------------------

fractions_of_one = st.fractions(min_value=0, max_value=1, max_denominator=1000)
pressures = st.one_of(
    st.fractions(min_value=0, max_value=10**6, max_denominator=1000),
    # Close together, where rounding could lose the sign.
    st.builds(lambda k: Fraction(5 * 10**5) + Fraction(k, 10**30), st.integers(-5, 5)),
)
conductances = st.fractions(min_value=Fraction(1, 10**6), max_value=100, max_denominator=10**6)
ratios = st.fractions(min_value=0, max_value=Fraction(99, 100), max_denominator=1000)


@st.composite
def ranges(draw: st.DrawFn, numbers: st.SearchStrategy[Fraction]) -> Range:
    one, other = draw(numbers), draw(numbers)
    return Range(min(one, other), max(one, other))


sizes = st.builds(Size, ranges(conductances), ranges(ratios))
laws = settings(max_examples=100, deadline=None)


def inside(interval: Range, share: Fraction) -> Fraction:
    return interval.low + share * (interval.high - interval.low)


@pytest.mark.slow
@laws
@given(
    size=sizes,
    up=ranges(pressures),
    down=ranges(pressures),
    one_way=st.booleans(),
    shares=st.tuples(*[fractions_of_one] * 4),
)
def test_bounds_hold_at_every_inner_point(
    size: Size, up: Range, down: Range, one_way: bool, shares: tuple[Fraction, Fraction, Fraction, Fraction]
) -> None:
    bounds = flow_bounds(size, up, down, atmosphere=ATMOSPHERE, one_way=one_way)
    c, b = inside(size.c, shares[0]), inside(size.b, shares[1])
    p_up, p_down = inside(up, shares[2]) + ATMOSPHERE, inside(down, shares[3]) + ATMOSPHERE
    square = signed_square_by_iso(c, b, p_up, p_down, one_way=one_way)
    assert signed_square(bounds.low) <= square <= signed_square(bounds.high)


@pytest.mark.slow
@laws
@given(c=conductances, b=ratios, up=pressures, down=pressures, one_way=st.booleans())
def test_at_a_point_the_bounds_are_outward_tight_and_of_the_exact_sign(
    c: Fraction, b: Fraction, up: Fraction, down: Fraction, one_way: bool
) -> None:
    bounds = flow_bounds(
        Size(exactly(c), exactly(b)), exactly(up), exactly(down), atmosphere=ATMOSPHERE, one_way=one_way
    )
    square = signed_square_by_iso(c, b, up + ATMOSPHERE, down + ATMOSPHERE, one_way=one_way)
    assert signed_square(bounds.low) <= square <= signed_square(bounds.high)
    assert bounds.high - bounds.low <= Fraction(1, 10**12)
    for end in bounds.low, bounds.high:
        assert (end > 0, end < 0) == (square > 0, square < 0)


@pytest.mark.slow
@laws
@given(size=sizes, up=ranges(pressures), down=ranges(pressures), wider=ranges(pressures), one_way=st.booleans())
def test_bounds_grow_with_the_ranges(size: Size, up: Range, down: Range, wider: Range, one_way: bool) -> None:
    def hull(one: Range, other: Range) -> Range:
        return Range(min(one.low, other.low), max(one.high, other.high))

    inner = flow_bounds(size, up, down, atmosphere=ATMOSPHERE, one_way=one_way)
    for outer in (
        flow_bounds(size, hull(up, wider), down, atmosphere=ATMOSPHERE, one_way=one_way),
        flow_bounds(size, up, hull(down, wider), atmosphere=ATMOSPHERE, one_way=one_way),
        flow_bounds(
            Size(Range(size.c.low / 2, size.c.high * 2), Range(size.b.low / 2, (size.b.high + 1) / 2)),
            up,
            down,
            atmosphere=ATMOSPHERE,
            one_way=one_way,
        ),
    ):
        assert outer.low <= inner.low <= inner.high <= outer.high


@pytest.mark.slow
@laws
@given(size=sizes, up=pressures, down=pressures, more=pressures, one_way=st.booleans())
def test_flow_rises_with_the_pressure_upstream_and_falls_with_that_downstream(
    size: Size, up: Fraction, down: Fraction, more: Fraction, one_way: bool
) -> None:
    def flow(p_up: Fraction, p_down: Fraction) -> Bounds:
        return flow_bounds(size, exactly(p_up), exactly(p_down), atmosphere=ATMOSPHERE, one_way=one_way)

    base = flow(up, down)
    for other in (flow(up + more, down), flow(up, max(Fraction(0), down - more))):
        assert base.low <= other.low
        assert base.high <= other.high


@pytest.mark.slow
@laws
@given(size=sizes, up=ranges(pressures), down=ranges(pressures))
def test_turning_a_two_way_passage_round_turns_the_flow_round(size: Size, up: Range, down: Range) -> None:
    forth = flow_bounds(size, up, down, atmosphere=ATMOSPHERE, one_way=False)
    back = flow_bounds(size, down, up, atmosphere=ATMOSPHERE, one_way=False)
    assert (back.low, back.high) == (-forth.high, -forth.low)


@pytest.mark.slow
@laws
@given(size=sizes, up=ranges(pressures), down=ranges(pressures))
def test_a_one_way_passage_is_a_two_way_one_without_back_flow(size: Size, up: Range, down: Range) -> None:
    two_way = flow_bounds(size, up, down, atmosphere=ATMOSPHERE, one_way=False)
    one_way = flow_bounds(size, up, down, atmosphere=ATMOSPHERE, one_way=True)
    assert one_way == Bounds(max(Fraction(0), two_way.low), max(Fraction(0), two_way.high))


def test_a_flow_far_below_the_rounding_grid_keeps_its_sign() -> None:
    almost = Range(Fraction(5 * 10**5) + Fraction(1, 10**60), Fraction(5 * 10**5) + Fraction(1, 10**60))
    bounds = flow_bounds(WORKED, almost, exactly(Fraction(5 * 10**5)), atmosphere=ATMOSPHERE, one_way=False)
    assert 0 < bounds.low <= bounds.high < Fraction(1, 10**20)


def test_a_flow_that_is_a_rational_number_is_given_exactly() -> None:
    # With b = 0 the ellipse is a circle: 5 bar to 3 bar through C = 1 carries 4 dm3/s.
    circle = Size(exactly(Fraction(1)), exactly(Fraction(0)))
    assert between_bar(circle, "5", "3") == Bounds(Fraction(4), Fraction(4))


def test_a_closed_size_carries_nothing() -> None:
    shut = replace(WORKED, c=exactly(Fraction(0)))
    assert between_bar(shut, "8", "1") == Bounds(Fraction(0), Fraction(0))


# --- refusals ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("b", ["1", "1.2", "-0.1"])
def test_a_critical_ratio_outside_its_range_is_refused(b: str) -> None:
    with pytest.raises(ValueError, match=r"b must lie in \[0, 1\)"):
        between_bar(replace(WORKED, b=exactly(Fraction(b))), "8", "1")


def test_a_negative_conductance_is_refused() -> None:
    with pytest.raises(ValueError, match="C must not be negative, got -1"):
        between_bar(replace(WORKED, c=Range(Fraction(-1), Fraction(1))), "8", "1")


def test_a_pressure_below_vacuum_is_refused() -> None:
    with pytest.raises(ValueError, match="below vacuum"):
        between_bar(WORKED, "8", "-0.1")
