"""What the simulator is given and what it gives back."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from bandproof.machine.story import Event, State

PASCALS_PER_BAR = 100_000


@dataclass(frozen=True, slots=True)
class Numbers:
    """One number for everything an arrangement leaves open.

    `settings` in pascals gauge, `litres` per volume, `sizes` as (C, b) per (part, index of the passage), `delays` in
    seconds for slow parts; a slow part without a delay never moves. `together`: whether all parts that are due at one
    instant move at once or one after the other; `choice` picks among several moves of a part that are due at once.
    `switching`: seconds that a part which is not slow takes for its due move, if nothing else happens before; none given
    is none taken. `own`: the number of a setting for one part that uses it, where it is not that of the others.
    """

    settings: dict[str, Fraction]
    litres: dict[str, float]
    sizes: dict[tuple[str, int], tuple[float, float]]
    delays: dict[str, float] = field(default_factory=dict)
    together: bool = True
    choice: int = 0
    switching: dict[str, float] = field(default_factory=dict)
    own: dict[tuple[str, str], Fraction] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Begin:
    """Where a run begins: pascals gauge per volume, and a state per part and a position per control."""

    pressures: dict[str, Fraction]
    parts: dict[str, str]
    controls: dict[str, str]


@dataclass(frozen=True, slots=True)
class Deed:
    """At a time the driver sets `name` to `position`, or, with no position, the mishap `name` occurs."""

    time: float
    name: str
    position: str | None = None


@dataclass(frozen=True, slots=True)
class Happening:
    """What changed at one instant, with every volume's pressure then (bar abs).

    `still_lines` and `still_all`: just before, every line and chamber (every volume) was still, to rounding.
    """

    time: float
    events: tuple[Event, ...]
    pressures: tuple[float, ...]
    still_lines: bool = False
    still_all: bool = False


@dataclass(frozen=True, slots=True)
class Trajectory:
    """A run: its first state, its happenings in order, and why it ended (`time`, `chatter` or `limit`).

    `first_pressures` and `last_pressures` are bar abs, in the arrangement's order; the two `still` flags are those of
    the last instant, as in Happening. `hunted`: crossings and deeds that came while moves stayed due round a circle, so that
    no waiting for the parts would have ended.
    """

    first: State
    happenings: tuple[Happening, ...]
    first_pressures: tuple[float, ...]
    last_pressures: tuple[float, ...]
    last_time: float
    ended: str
    still_lines: bool = False
    still_all: bool = False
    hunted: int = 0
