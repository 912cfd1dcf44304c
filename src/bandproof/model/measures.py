"""Settings, sizes, volumes and named bands of an arrangement file, from text to exact values."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from bandproof.model.arrangement import NamedBand, Range, Setting, Size, Volume, VolumeKind
from bandproof.model.files import Entry
from bandproof.model.resolve import Reach
from bandproof.model.schema import SettingShape, SizeShape, VolumeShape, toml_text
from bandproof.terms.names import is_name, suggest
from bandproof.text.errors import MeasureError
from bandproof.text.input_faults import Faults, Place
from bandproof.text.units import (
    parse_conductances,
    parse_pressure,
    parse_pressures,
    parse_ratios,
    parse_times,
    parse_volumes,
    show_pressure,
)

_BAND_FORMS = (
    (re.compile(r"below\s+(?P<high>.+)", re.DOTALL), False, True),
    (re.compile(r"at\s+least\s+(?P<low>.+)", re.DOTALL), True, False),
    (re.compile(r"(?P<low>.+?)\s+to\s+(?P<high>.+)", re.DOTALL), True, True),
)


def read_pressure(text: str, place: Place, faults: Faults) -> Fraction | None:
    """One exact pressure in pascals gauge, or None after noting why there is none."""
    try:
        return parse_pressure(text)
    except MeasureError as error:
        faults.measure(place, error)
        return None


@dataclass(frozen=True, slots=True)
class Reaction:
    """How long a part that is due may take to move: not at all, `slow` (any time), or within so many `seconds`."""

    slow: bool = False
    seconds: Range | None = None


def read_reaction(text: str, place: Place, faults: Faults) -> Reaction | None:
    """What `reaction` says of a kind or a part, or None after noting what is wrong with it."""
    if text in ("fast", "slow"):
        return Reaction(slow=text == "slow")
    try:
        low, high = parse_times(text)
    except MeasureError as error:
        hint = 'write "fast", "slow" or the range of times it takes, as in "0..50 ms"'
        faults.add("bad-reaction", place, error.message, hint=hint)
        return None
    if low < 0 or high <= 0:
        message = f'the reaction "{text}" {"begins before the part is due" if low < 0 else "takes no time"}'
        faults.add("bad-reaction", place, message, hint='write "fast" for a part that moves at once')
        return None
    return Reaction(seconds=Range(low, high))


def read_setting(name: str, value: str | SettingShape, place: Place, reach: Reach, faults: Faults) -> Setting | None:
    """A setting, or None after noting what is wrong with it."""
    text = value if isinstance(value, str) else value.value
    where = place if isinstance(value, str) else place / "value"
    try:
        low, high = parse_pressures(text)
    except MeasureError as error:
        faults.measure(where, error)
        return None
    if low <= 0:
        reaches = "is not above zero" if low == high else f"reaches down to {show_pressure(low, reach.unit)}"
        message = f'the setting "{text}" {reaches}'
        faults.add("setting-not-positive", where, message, hint="every value of a setting must be above zero (gauge)")
        return None
    if reach.highest is not None and (high > reach.highest or low >= reach.highest):
        how = "goes above" if high > reach.highest else "is no lower than"
        message = f'the setting "{text}" {how} the highest pressure of the arrangement, {reach.shown}'
        faults.add("setting-above-highest", where, message, hint="lower the setting, or raise arrangement.highest")
        return None
    if isinstance(value, str):
        return Setting(name, low, high)
    return Setting(name, low, high, value.says, value.basis, value.shared)


def read_size(name: str, value: SizeShape, place: Place, faults: Faults) -> Size | None:
    """A size by ISO 6358, or None after noting what is wrong with it."""
    c = b = None
    try:
        c = parse_conductances(value.C)
    except MeasureError as error:
        faults.measure(place / "C", error)
    try:
        b = parse_ratios(value.b)
    except MeasureError as error:
        faults.measure(place / "b", error)
    if c is not None and c[0] <= 0:
        message = (
            f"the size C = {value.C} is not above zero" if c[0] == c[1] else f"the size C = {value.C} reaches zero"
        )
        faults.add("size-not-positive", place / "C", message, hint="leave the size out if it is not known")
        c = None
    if b is not None and not 0 <= b[0] <= b[1] < 1:
        message = f"the critical ratio b = {value.b} is not between 0 and 1"
        faults.add("ratio-out-of-range", place / "b", message, hint="write b as at least 0 and below 1 (ISO 6358)")
        b = None
    return None if c is None or b is None else Size(Range(*c), Range(*b), name)


def read_volume(name: str, value: VolumeShape, place: Place, faults: Faults) -> Volume | None:
    """A volume, or None after noting what is wrong with it."""
    litres = None
    if value.volume is not None:
        try:
            litres = Range(*parse_volumes(value.volume))
        except MeasureError as error:
            faults.measure(place / "volume", error)
            return None
        if litres.low <= 0:
            message = f'the volume "{value.volume}" is not above zero'
            faults.add("volume-not-positive", place / "volume", message, hint="leave the volume out if it is not known")
            return None
    return Volume(name, VolumeKind(value.is_), litres, value.says)


def read_bands(
    entries: dict[str, Entry[str]], settings: dict[str, Setting | None], reach: Reach, faults: Faults
) -> dict[str, NamedBand | None]:
    """Every named band; None for faulty ones."""
    reading = _Bands(settings, reach, faults)
    return {name: reading.band(name, entry) for name, entry in entries.items()}


class _Bands:
    """Reads named bands, whose ends are pressures or settings without tolerance."""

    def __init__(self, settings: dict[str, Setting | None], reach: Reach, faults: Faults) -> None:
        self._settings = settings
        self._reach = reach
        self._faults = faults

    def band(self, name: str, entry: Entry[str]) -> NamedBand | None:
        text, place = entry.value, entry.place
        if text is None:
            return None
        for form, has_low, has_high in _BAND_FORMS:
            found = form.fullmatch(text.strip())
            if found is None:
                continue
            first, last = (found[end].strip() if has else "" for end, has in (("low", has_low), ("high", has_high)))
            low = self._end(first, place) if has_low else None
            high = self._end(last, place) if has_high else None
            if (has_low and low is None) or (has_high and high is None):
                return None
            if (high is not None and high <= 0) or (low is not None and high is not None and low >= high):
                message = f'band "{name}" holds no pressure: "{text}"'
                hint = "write the lower end first; a band does not hold its upper end"
                self._faults.add("band-empty", place, message, hint=hint)
                return None
            low_setting, high_setting = (end if end in self._settings else None for end in (first, last))
            return NamedBand(name, None if low == 0 else low, high, low_setting, high_setting)
        message = f'band "{name}" is not written as a band: {toml_text(text)}'
        hint = 'write "below 60 psi", "at least 100 psi" or "60 psi to 100 psi"'
        self._faults.add("band-syntax", place, message, hint=hint)
        return None

    def _end(self, text: str, place: Place) -> Fraction | None:
        if not is_name(text):
            pressure = read_pressure(text, place, self._faults)
            return None if pressure is None else self._compared(pressure, text, place)
        if text not in self._settings:
            hint = suggest(text, self._settings, otherwise="write a pressure with its unit, or the name of a setting")
            self._faults.add("unknown-setting", place, f'"{text}" is no setting', hint=hint)
            return None
        setting = self._settings[text]
        if setting is not None and setting.low != setting.high:
            message = f'the setting "{text}" has a tolerance, so a band cannot end there'
            self._faults.add("setting-not-exact", place, message, hint="write the pressure itself")
            return None
        return None if setting is None else setting.low

    def _compared(self, pressure: Fraction, text: str, place: Place) -> Fraction | None:
        """The pressure, if a band can end there."""
        fault = self._reach.fault_of(pressure, text)
        if fault is None:
            return check_reach(pressure, text, place, self._reach, self._faults)
        code, message, hint = fault
        self._faults.add(code, place, message, hint=hint)
        return None


def check_reach(pressure: Fraction, text: str, place: Place, reach: Reach, faults: Faults) -> Fraction | None:
    """The pressure (pascals gauge) if it is no less than zero and no more than the highest, or None after noting that."""
    if pressure < 0:
        message = f"{text} is below zero, and pressures here are gauge"
        faults.add("pressure-not-positive", place, message, hint="write a pressure of zero or more")
        return None
    if reach.exceeded_by(pressure):
        message = f"{text} is above the highest pressure of this arrangement, {reach.shown}"
        faults.add("pressure-above-highest", place, message, hint="lower it, or raise arrangement.highest")
        return None
    return pressure
