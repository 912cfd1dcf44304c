"""A vehicle: one number for everything an arrangement leaves open, and the space such vehicles are drawn from.

Floats throughout: pressures in pascals gauge, volumes in litres, C in dm3/(s bar), times in seconds. What the arrangement
declares is drawn inside its declared range. What it does not declare is drawn from an everyday range of this module and
is kept with the vehicle as *assumed*, because whoever reads of such a vehicle has to know what was put in.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from math import exp, log
from typing import Any

from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement, Part, Passage, Range, Start, VolumeKind
from bandproof.model.conditions import AtLeast, Below
from bandproof.model.walker import leaves

#: Seconds a part takes for a move when nothing else is said: short against flow, as the meaning of an arrangement asks,
#: and long enough that parts which undo one another's moves cannot stop time. From memory: small pneumatic valves take
#: milliseconds.
MOVING_TIME = 1e-3

#: Seconds a part that is declared slow may take: from as good as at once to longer than most fillings of a line.
SLOW_MOVING_TIME = (1e-3, 10.0)

#: Litres where none are declared; common practice, no source. Tanks: a small trailer tank to a large service tank.
#: Chambers: one small brake chamber to the spring chambers of a vehicle. Lines: a valve cavity to some ten metres of
#: hose of 12 mm bore.
ASSUMED_LITRES = {
    VolumeKind.TANK: (10.0, 80.0),
    VolumeKind.CHAMBER: (0.5, 8.0),
    VolumeKind.LINE: (0.02, 1.0),
}

#: C in dm3/(s bar) where no size is declared; common practice, no source. Between volumes: a 3 mm drilling (an ideal
#: nozzle of 6 mm has 5.6) to a full 10 mm bore. To the atmosphere: a leak of 1 mm to an open hose end. From the source:
#: the flow of a small to a large compressor (2 to 12 dm3/s at 9 bar).
ASSUMED_C = (1.0, 10.0)
ASSUMED_C_VENT = (0.1, 12.0)
ASSUMED_C_SOURCE = (0.3, 1.5)

#: Critical ratio where none is declared: 0.2-0.4 for valves (from memory), 0.5 for short-tube orifices (Advances in
#: Mechanical Engineering 2017, doi 10.1177/1687814016687264).
ASSUMED_B = (0.2, 0.5)

#: How far beyond its everyday range, by ratio, a number that is not declared may lie where any will do.
WIDER = 1000.0

#: An assumed number is called unusual outside the middle nine tenths of its range (by ratio where drawn by ratio).
USUAL = (0.05, 0.95)


@dataclass(frozen=True, slots=True)
class SettingUse:
    """One use of a setting: all guards of `part` that compare with a threshold in `[low, high]` share one number."""

    part: str
    low: Fraction
    high: Fraction


@dataclass(frozen=True, slots=True)
class Assumed:
    """A number the arrangement does not declare: what it is, its value, the range it was taken from."""

    what: str
    value: float
    low: float
    high: float
    unusual: bool


@dataclass(frozen=True, slots=True)
class Vehicle:
    """One vehicle at the moment it starts.

    `sizes` holds (C, b) per part and index of its passage, `moving` the seconds each part takes for a move once its
    guard holds. `parts` and `controls` give the state or position each begins in.
    """

    settings: Mapping[SettingUse, float]
    litres: Mapping[str, float]
    sizes: Mapping[tuple[str, int], tuple[float, float]]
    pressures: Mapping[str, float]
    parts: Mapping[str, str]
    controls: Mapping[str, str]
    moving: Mapping[str, float]
    assumed: tuple[Assumed, ...] = ()

    @property
    def usual(self) -> bool:
        """Whether no assumed number lies outside the middle nine tenths of its range."""
        return not any(one.unusual for one in self.assumed)


@dataclass(frozen=True, slots=True)
class Quantity:
    """One thing that may differ from vehicle to vehicle: a number in `[low, high]`, or one of `options`.

    `table` and `key` say where it stands in a Vehicle; a size has a quantity for C (table `c`) and one for b. `by_ratio`
    numbers are spread evenly in their logarithm. `everyday` is the usual range of an assumed number that may lie beyond it.
    """

    table: str
    key: Any
    what: str
    low: float = 0.0
    high: float = 0.0
    by_ratio: bool = False
    assumed: bool = False
    options: tuple[str, ...] = ()
    everyday: tuple[float, float] | None = None

    @property
    def free(self) -> bool:
        """Whether there is anything to choose."""
        return self.low < self.high or len(self.options) > 1

    def at(self, share: float) -> float | str:
        """The value at a share of the range: 0 for the low end or first option, 1 for the high end or last."""
        if self.options:
            return self.options[min(int(share * len(self.options)), len(self.options) - 1)]
        if self.by_ratio:
            return min(max(exp(log(self.low) + share * log(self.high / self.low)), self.low), self.high)
        return min(max(self.low + share * (self.high - self.low), self.low), self.high)

    def share(self, value: float | str) -> float:
        """The share of the range at which a value stands: `at` gives it back. 0.5 where nothing is free."""
        if self.options:
            return (self.options.index(str(value)) + 0.5) / len(self.options)
        if not self.free:
            return 0.5
        value = float(value)
        if self.by_ratio:
            return log(value / self.low) / log(self.high / self.low)
        return (value - self.low) / (self.high - self.low)

    def noted(self, share: float) -> Assumed:
        """The note kept with a vehicle when this quantity is assumed."""
        value = float(self.at(share))
        low, high = self.everyday or (self.low, self.high)
        usual = USUAL[0] <= Quantity(self.table, self.key, self.what, low, high, self.by_ratio).share(value) <= USUAL[1]
        return Assumed(self.what, value, low, high, not usual)

    def widened(self) -> Quantity:
        """The quantity with any number, where it is one that is assumed and counted by ratio."""
        if not (self.assumed and self.by_ratio):
            return self
        return replace(self, low=self.low / WIDER, high=self.high * WIDER, everyday=(self.low, self.high))


def quantities(arrangement: Arrangement, start: Start) -> tuple[Quantity, ...]:
    """Everything a vehicle of this arrangement that begins in `start` has a number for, in a fixed order.

    A volume whose pressure `start` does not name may have any up to the declared highest, a part or control it does
    not name any state or position.
    """
    found = [_ranged("settings", use, _told(use), Range(use.low, use.high)) for use in setting_uses(arrangement)]
    for volume in arrangement.volumes:
        what = f"litres of {volume.name}"
        assumed = ASSUMED_LITRES[volume.kind]
        found.append(
            Quantity("litres", volume.name, what, *assumed, by_ratio=True, assumed=True)
            if volume.litres is None
            else _ranged("litres", volume.name, what, volume.litres)
        )
    for part in arrangement.parts:
        for number, passage in enumerate(part.passages):
            found += _sizes(part, number, passage)
    return (*found, *_begin(arrangement, start), *map(_moving, arrangement.parts))


def setting_uses(arrangement: Arrangement) -> tuple[SettingUse, ...]:
    """Every use of a setting by a part's guards, in the order of parts and moves."""
    uses = (
        SettingUse(part.name, atom.low, atom.high)
        for part in arrangement.parts
        for move in part.moves
        for atom in leaves(move.when)
        if isinstance(atom, Below | AtLeast)
    )
    return tuple(dict.fromkeys(uses))


def _told(use: SettingUse) -> str:
    return f"setting of {use.part} in {float(use.low):.0f}..{float(use.high):.0f} Pa"


def _ranged(table: str, key: Any, what: str, within: Range) -> Quantity:
    return Quantity(table, key, what, float(within.low), float(within.high))


def _sizes(part: Part, number: int, passage: Passage) -> list[Quantity]:
    key, of = (part.name, number), f"of {part.name}, {passage.upstream} to {passage.downstream}"
    if passage.size is not None:
        return [_ranged("c", key, f"C {of}", passage.size.c), _ranged("b", key, f"b {of}", passage.size.b)]
    ends = {passage.upstream, passage.downstream}
    c = ASSUMED_C_SOURCE if SOURCE in ends else ASSUMED_C_VENT if ATMOSPHERE in ends else ASSUMED_C
    return [
        Quantity("c", key, f"C {of}", *c, by_ratio=True, assumed=True),
        Quantity("b", key, f"b {of}", *ASSUMED_B, assumed=True),
    ]


def _begin(arrangement: Arrangement, start: Start) -> list[Quantity]:
    pressures, parts, controls = dict(start.pressures), dict(start.parts), dict(start.controls)
    anything = Range(Fraction(0), arrangement.highest)
    found = [
        _ranged("pressures", v.name, f"pressure of {v.name} at the start", pressures.get(v.name, anything))
        for v in arrangement.volumes
    ]
    for part in arrangement.parts:
        states = tuple(s for s in part.states if s in parts.get(part.name, part.states))
        found.append(Quantity("parts", part.name, f"state of {part.name} at the start", options=states))
    for control in arrangement.controls:
        allowed = tuple(p for p in control.positions if p in controls.get(control.name, control.positions))
        found.append(Quantity("controls", control.name, f"position of {control.name} at the start", options=allowed))
    return found


def _moving(part: Part) -> Quantity:
    what = f"seconds {part.name} takes to move"
    if part.slow:
        return Quantity("moving", part.name, what, *SLOW_MOVING_TIME, by_ratio=True, assumed=True)
    if part.reaction is not None:
        least, most = float(part.reaction.low), float(part.reaction.high)
        return Quantity("moving", part.name, what, min(max(least, MOVING_TIME), most), most)
    return Quantity("moving", part.name, what, MOVING_TIME, MOVING_TIME)
