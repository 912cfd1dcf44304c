"""Quantities: exact values, what is read and what is refused, and text that reads back as what it shows."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bandproof.text.errors import MeasureError
from bandproof.text.units import (
    PASCALS_PER_PSI,
    PRESSURE_UNITS,
    SHOWN_DECIMALS,
    parse_conductances,
    parse_pressure,
    parse_pressures,
    parse_ratios,
    parse_volumes,
    show_number,
    show_pressure,
    show_pressures,
)

UNITS = st.sampled_from(sorted(PRESSURE_UNITS))


def numbers(decimals: int, most: int = 10**6) -> st.SearchStrategy[Fraction]:
    """Non-negative numbers with at most `decimals` decimals."""
    return st.integers(0, most * 10**decimals).map(lambda n: Fraction(n, 10**decimals))


def ends(low: int | str, high: int | str | None = None) -> tuple[Fraction, Fraction]:
    """Both ends of a range, or twice one number."""
    return Fraction(low), Fraction(low if high is None else high)


def test_one_psi_is_exact() -> None:
    # NIST Special Publication 811, appendix B: psi = 6.894 757 E+03 Pa; the pound-force and the inch are exact.
    assert Fraction(8896443230521, 1290320000) == PASCALS_PER_PSI
    assert round(float(PASCALS_PER_PSI), 3) == 6894.757


# 49 CFR 393 and FMVSS 121 limits in both units, as their converted editions round them (facts, "handy edges").
@pytest.mark.parametrize(
    ("psi", "kilopascals"),
    [(2, "13.8"), (5, "34.5"), (20, "137.9"), (45, "310.3"), (60, "413.7"), (100, "689.5"), (150, "1034.2")],
)
def test_the_limits_of_the_rules_convert_as_published(psi: int, kilopascals: str) -> None:
    assert show_pressure(parse_pressure(f"{psi} psi"), "kPa") == f"{kilopascals} kPa"


@pytest.mark.parametrize(
    ("text", "pascals"),
    [
        ("0 psi", 0),
        ("1 bar", 100_000),
        ("100 kPa", 100_000),
        ("0.1 MPa", 100_000),
        ("1e2 kPa", 100_000),
        ("  6.5bar ", 650_000),
        ("-3 kPa", -3000),
    ],
)
def test_one_pressure_is_read_exactly(text: str, pascals: int) -> None:
    assert parse_pressure(text) == pascals


@pytest.mark.parametrize("text", ["38 ± 4 bar", "38 +- 4 bar", "38 +/- 4 bar", "34..42 bar", "34 .. 42 bar", "38±4bar"])
def test_a_toleranced_setting_is_read_in_every_spelling(text: str) -> None:
    assert parse_pressures(text) == ends(3_400_000, 4_200_000)


def test_an_exact_setting_has_equal_ends() -> None:
    assert parse_pressures("38 bar") == ends(3_800_000)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "bad-quantity"),
        ("psi", "bad-quantity"),
        ("sixty psi", "bad-quantity"),
        ("6,5 bar", "bad-quantity"),
        ("1/3 bar", "bad-quantity"),
        ("60 psi 3", "unit-unknown"),
        ("60 psi ± 4 psi", "unit-unknown"),
        ("60 ± psi", "bad-quantity"),
        ("1..2..3 bar", "bad-quantity"),
        ("٣ bar", "bad-quantity"),
        ("9" * 16 + " bar", "bad-quantity"),
        ("1e999 bar", "bad-quantity"),
        ("60", "unit-missing"),
        ("33..43", "unit-missing"),
        ("60 PSI", "unit-unknown"),
        ("60 psig", "unit-unknown"),
        ("60 L", "unit-unknown"),
        ("43..33 psi", "range-reversed"),
        ("38 ± -4 psi", "range-reversed"),
    ],
)
def test_what_is_no_setting_is_refused_with_its_reason(text: str, code: str) -> None:
    with pytest.raises(MeasureError) as caught:
        parse_pressures(text)
    assert caught.value.code == code
    assert caught.value.hint


def test_a_range_is_refused_where_one_pressure_is_meant() -> None:
    with pytest.raises(MeasureError) as caught:
        parse_pressure("33..43 psi")
    assert caught.value.code == "range-not-wanted"


def test_long_texts_are_cut_in_messages() -> None:
    with pytest.raises(MeasureError) as caught:
        parse_pressure("x" * 500)
    assert len(caught.value.message) < 80


def test_volumes_are_litres() -> None:
    assert parse_volumes("20 L") == parse_volumes("20 dm3") == parse_volumes("20 dm³") == ends(20)
    assert parse_volumes("18..22 L") == ends(18, 22)
    # The inch is 25.4 mm, so 1 in3 = 16.387064 cm3 (NIST Special Publication 811, appendix B).
    assert parse_volumes("1000 in3") == ends("16.387064")
    # 49 CFR 571.121 S5.3.3: the 50 in3 test reservoir, given as 0.82 L.
    assert round(parse_volumes("50 in3")[0], 2) == Fraction("0.82")


def test_conductance_is_understood_in_dm3_per_second_and_bar() -> None:
    # ISO 6358: C in m3/(s Pa); 1 dm3/(s bar) = 10^-3 m3 / (s 10^5 Pa) = 10^-8 m3/(s Pa).
    assert parse_conductances("0.3") == parse_conductances("0.3 dm3/(s bar)") == parse_conductances("3e-9 m3/(s Pa)")
    assert parse_conductances("4..6 dm3/(s bar)") == ends(4, 6)


def test_ratios_have_no_unit() -> None:
    assert parse_ratios("0.2..0.3") == ends("0.2", "0.3")
    with pytest.raises(MeasureError) as caught:
        parse_ratios("0.3 bar")
    assert caught.value.code == "unit-unknown"


@given(numbers(9), UNITS)
def test_a_shown_pressure_is_off_by_at_most_half_its_last_decimal(pressure: Fraction, unit: str) -> None:
    shown = parse_pressure(show_pressure(pressure, unit))
    assert abs(shown - pressure) <= PRESSURE_UNITS[unit] / 10 ** SHOWN_DECIMALS[unit] / 2


@pytest.mark.slow
@given(UNITS, st.data())
def test_a_shown_setting_reads_back_when_it_needs_no_rounding(unit: str, data: st.DataObject) -> None:
    low, high = sorted(data.draw(st.tuples(*[numbers(SHOWN_DECIMALS[unit], 1000)] * 2)))
    pascals = (low * PRESSURE_UNITS[unit], high * PRESSURE_UNITS[unit])
    assert parse_pressures(show_pressures(*pascals, unit)) == pascals


def test_pressures_are_shown_to_the_decimal_that_matters_in_their_unit() -> None:
    third = Fraction(100_000, 3)
    assert [show_pressure(third, unit) for unit in PRESSURE_UNITS] == ["4.8 psi", "33.3 kPa", "0.333 bar", "0.0333 MPa"]
    assert show_pressure(third, "bar", 1) == "0.3 bar"
    assert show_pressures(third, 2 * third, "bar") == "0.333..0.667 bar"


def test_settings_are_shown_as_people_write_them() -> None:
    shown = [
        show_pressures(*parse_pressures(text), "psi") for text in ("60 psi", "38 ± 4 psi", "33..43 psi", "33..43.1 psi")
    ]
    assert shown == ["60 psi", "38 ± 4 psi", "38 ± 5 psi", "33..43.1 psi"]


@pytest.mark.slow
@given(st.fractions(), st.integers(0, 6))
def test_numbers_are_rounded_half_to_even_and_end_in_no_zero(value: Fraction, decimals: int) -> None:
    text = show_number(value, decimals)
    assert Fraction(text) == round(value, decimals) if decimals else Fraction(text) == round(value)
    assert not ("." in text and text[-1] in ".0")
    assert text != "-0"
