"""Quantities as people write them, in exact arithmetic: pressures, volumes and flow sizes.

Everything is a `fractions.Fraction`: pressures in pascals gauge, volumes in dm3, sonic conductance (ISO 6358 `C`) in
dm3/(s bar). Units are always written out, except for conductance, where dm3/(s bar) is understood, and for the critical
ratio, which has none. Numbers are plain decimals of at most fifteen digits on either side of the point, so that no text
can ask for unbounded work.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from bandproof.text.errors import MeasureError

#: One pound-force is the pound 0.45359237 kg times standard gravity 9.80665 m/s2, one inch is 0.0254 m, all exact
#: (international yard and pound agreement of 1959; NIST Special Publication 811, appendix B).
PASCALS_PER_PSI = Fraction(44482216152605, 10**13) / Fraction(254, 10000) ** 2

#: Pascals per unit of pressure, in the order in which messages list them.
PRESSURE_UNITS = {"psi": PASCALS_PER_PSI, "kPa": Fraction(1000), "bar": Fraction(10**5), "MPa": Fraction(10**6)}

#: dm3 per unit of volume; the litre is one cubic decimetre, the cubic inch 0.0254 m cubed.
VOLUME_UNITS = {
    "L": Fraction(1),
    "dm3": Fraction(1),
    "dm³": Fraction(1),
    "in3": Fraction(16387064, 10**9),
    "in³": Fraction(16387064, 10**9),
}

#: dm3/(s bar) per unit of sonic conductance; 1 m3/(s Pa) is 1000 dm3 times 10^5 Pa/bar.
CONDUCTANCE_UNITS = {"dm3/(s bar)": Fraction(1), "m3/(s Pa)": Fraction(10**8)}

#: Seconds per unit of time.
TIME_UNITS = {"s": Fraction(1), "ms": Fraction(1, 1000), "min": Fraction(60)}

#: Decimals shown to people: a tenth of a psi or kPa is finer than any gauge on a vehicle.
SHOWN_DECIMALS = {"psi": 1, "kPa": 1, "bar": 3, "MPa": 4}

_NUMBER = r"[+-]?[0-9]{1,15}(?:\.[0-9]{1,15})?(?:[eE][+-]?[0-9]{1,2})?"
#: A unit never looks like an exponent, so that 1e400 is a number too long and not a number with a unit.
_UNIT = r"(?P<unit>(?![eE][+-]?[0-9])[A-Za-z][^\n]*?)?"
_EXACT = re.compile(rf"\s*(?P<value>{_NUMBER})\s*{_UNIT}\s*")
_TOLERANCE = re.compile(rf"\s*(?P<value>{_NUMBER})\s*(?:±|\+-|\+/-)\s*(?P<spread>{_NUMBER})\s*{_UNIT}\s*")
_RANGE = re.compile(rf"\s*(?P<low>{_NUMBER})\s*\.\.\s*(?P<high>{_NUMBER})\s*{_UNIT}\s*")


@dataclass(frozen=True, slots=True)
class _Quantity:
    """What the parser needs to know of a kind of quantity. `usual` is the unit understood when none is written."""

    noun: str
    units: dict[str, Fraction]
    example: str
    usual: str | None = None

    @property
    def choices(self) -> str:
        """The units in words, without the typographic twins."""
        names = [unit for unit in self.units if "³" not in unit]
        return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


_PRESSURE = _Quantity("pressure", PRESSURE_UNITS, "60 psi")
_VOLUME = _Quantity("volume", VOLUME_UNITS, "20 L")
_CONDUCTANCE = _Quantity("size", CONDUCTANCE_UNITS, "0.3 dm3/(s bar)", "dm3/(s bar)")
_TIME = _Quantity("time", TIME_UNITS, "5 s")
_RATIO = _Quantity("ratio", {"": Fraction(1)}, "0.3", "")


def parse_pressure(text: str) -> Fraction:
    """Pascals of one exact pressure: `60 psi`."""
    return _single(text, _PRESSURE)


def parse_pressures(text: str) -> tuple[Fraction, Fraction]:
    """Pascals of both ends of `38 psi`, `38 ± 4 psi`, `38 +- 4 psi` or `33..43 psi`."""
    return _ends(text, _PRESSURE)


def parse_volumes(text: str) -> tuple[Fraction, Fraction]:
    """Both ends of a volume in dm3: `20 L`, `18..22 L`, `50 in3`."""
    return _ends(text, _VOLUME)


def parse_conductances(text: str) -> tuple[Fraction, Fraction]:
    """Both ends of a sonic conductance in dm3/(s bar): `0.3`, `4..6 dm3/(s bar)`, `3e-9 m3/(s Pa)`."""
    return _ends(text, _CONDUCTANCE)


def parse_ratios(text: str) -> tuple[Fraction, Fraction]:
    """Both ends of a dimensionless number: `0.3`, `0.2..0.3`."""
    return _ends(text, _RATIO)


def parse_times(text: str) -> tuple[Fraction, Fraction]:
    """Seconds of a time with its tolerance: `0..50 ms`, `20 ms`."""
    return _ends(text, _TIME)


def parse_seconds(text: str) -> Fraction:
    """Seconds of one exact time: `5 s`, `250 ms`, `2 min`."""
    return _single(text, _TIME)


def _single(text: str, quantity: _Quantity) -> Fraction:
    low, high = _ends(text, quantity)
    if low != high:
        message = f'one exact {quantity.noun} is wanted here, not the range "{text}"'
        raise MeasureError(
            code="range-not-wanted", message=message, hint=f'write a single number, as in "{quantity.example}"'
        )
    return low


def _ends(text: str, quantity: _Quantity) -> tuple[Fraction, Fraction]:
    if found := _EXACT.fullmatch(text):
        low = high = Fraction(found["value"])
    elif found := _TOLERANCE.fullmatch(text):
        middle, spread = Fraction(found["value"]), Fraction(found["spread"])
        low, high = middle - spread, middle + spread
    elif found := _RANGE.fullmatch(text):
        low, high = Fraction(found["low"]), Fraction(found["high"])
    else:
        message = f'"{_short(text)}" is not a {quantity.noun}'
        raise MeasureError(code="bad-quantity", message=message, hint=f'write it as in "{quantity.example}"')
    if low > high:
        message = f'the range "{text}" runs from high to low'
        raise MeasureError(
            code="range-reversed",
            message=message,
            hint="write the lower end first, and tolerances without a minus sign",
        )
    scale = _scale(text, found["unit"], quantity)
    return low * scale, high * scale


def _scale(text: str, unit: str | None, quantity: _Quantity) -> Fraction:
    if unit is None:
        if quantity.usual is None:
            message = f'the {quantity.noun} "{text}" has no unit'
            raise MeasureError(code="unit-missing", message=message, hint=f'write the unit, as in "{quantity.example}"')
        return quantity.units[quantity.usual]
    if unit not in quantity.units:
        if quantity is _RATIO:
            message = f'the ratio "{_short(text)}" has a unit'
            raise MeasureError(
                code="unit-unknown", message=message, hint=f'write a plain number, as in "{quantity.example}"'
            )
        message = f'"{_short(unit)}" is not a unit of {quantity.noun}'
        raise MeasureError(code="unit-unknown", message=message, hint=f"use {quantity.choices}")
    return quantity.units[unit]


def _short(text: str) -> str:
    """`text` cut to what a message can carry, on one line."""
    line = " ".join(text.split())
    return line if len(line) <= 40 else f"{line[:37]}..."


def show_pressure(pascals: Fraction, unit: str, digits: int | None = None) -> str:
    """A pressure for people, rounded to `digits` decimals (by default those that make sense for the unit)."""
    decimals = SHOWN_DECIMALS[unit] if digits is None else digits
    return f"{show_number(pascals / PRESSURE_UNITS[unit], decimals)} {unit}"


def show_pressures(low: Fraction, high: Fraction, unit: str, digits: int | None = None) -> str:
    """A setting for people: `60 psi`, `38 ± 4 psi`, or `33.3..43 psi` where the middle would need more decimals."""
    decimals = SHOWN_DECIMALS[unit] if digits is None else digits
    if low == high:
        return show_pressure(low, unit, digits)
    scale = PRESSURE_UNITS[unit]
    middle, spread = (low + high) / 2 / scale, (high - low) / 2 / scale
    if all((number * 10**decimals).denominator == 1 for number in (middle, spread)):
        return f"{show_number(middle, decimals)} ± {show_number(spread, decimals)} {unit}"
    return f"{show_number(low / scale, decimals)}..{show_number(high / scale, decimals)} {unit}"


def show_times(low: Fraction, high: Fraction) -> str:
    """A time with its tolerance, as `parse_times` reads it: `0..50 ms`."""
    unit = "ms" if high < 1 else "s"
    ends = dict.fromkeys(show_number(end / TIME_UNITS[unit], 3) for end in (low, high))
    return f"{'..'.join(ends)} {unit}"


def show_number(value: Fraction, decimals: int) -> str:
    """A plain decimal with at most `decimals` places, rounded half to even, without trailing zeros."""
    scaled = round(value * 10**decimals)
    sign = "-" if scaled < 0 else ""
    whole, part = divmod(abs(scaled), 10**decimals)
    tail = f"{part:0{decimals}d}".rstrip("0") if decimals else ""
    return f"{sign}{whole}.{tail}" if tail else f"{sign}{whole}"
