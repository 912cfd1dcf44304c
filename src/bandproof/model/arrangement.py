"""An arrangement as frozen values: what is left of a model file once it has been read and found good.

Kinds are already expanded: every part carries its own passages and moves, and every name in them is a name of the
arrangement. Pressures are gauge, in exact pascals; volumes in litres (dm3); sonic conductance C in dm3/(s bar) and
critical ratio b as in ISO 6358. All numbers are `fractions.Fraction`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from typing import TypeVar

from bandproof.model.conditions import ALWAYS_TRUE, Condition
from bandproof.text.input_faults import Place

#: The two passage ends that are not volumes. Gauge pressure of the atmosphere is zero by definition; a source holds
#: the arrangement's declared highest pressure.
ATMOSPHERE = "atmosphere"
SOURCE = "source"


class VolumeKind(StrEnum):
    """How much air a volume holds, which decides which flow rule it follows."""

    TANK = "tank"
    CHAMBER = "chamber"
    LINE = "line"


@dataclass(frozen=True, slots=True)
class Range:
    """A closed interval `low <= high` of exact numbers."""

    low: Fraction
    high: Fraction


@dataclass(frozen=True, slots=True)
class Volume:
    """A space with one pressure. `litres` is its size in dm3, or None when not given."""

    name: str
    kind: VolumeKind
    litres: Range | None = None
    says: str = ""


@dataclass(frozen=True, slots=True)
class Setting:
    """A pressure at which a part moves: an unknown but fixed number in `[low, high]`, pascals gauge.

    Each part that uses it has a number of its own, unless it is `shared`: see `bandproof.model.numbers`.
    """

    name: str
    low: Fraction
    high: Fraction
    says: str = ""
    basis: str = ""
    shared: bool = False


@dataclass(frozen=True, slots=True)
class Size:
    """Flow capacity of a passage by ISO 6358: sonic conductance `c` in dm3/(s bar), critical ratio `b`."""

    c: Range
    b: Range
    name: str = ""


@dataclass(frozen=True, slots=True)
class Passage:
    """A path from `upstream` to `downstream`, open while its part is in a state of `open_in`.

    The ends are volume names, ATMOSPHERE or SOURCE. A two-way passage lets air through either way, so there the
    words upstream and downstream only name its ends. `size` is None for an unsized passage.
    """

    upstream: str
    downstream: str
    one_way: bool
    open_in: frozenset[str]
    size: Size | None = None


@dataclass(frozen=True, slots=True)
class Move:
    """A part's change of state from `source` to `target`, guarded by `when`."""

    source: str
    target: str
    when: Condition


@dataclass(frozen=True, slots=True)
class Part:
    """A component: a finite-state machine that opens and closes passages. `states[0]` is its usual first state.

    `ports` pairs each port name of the kind with the volume it is joined to. A part moves as soon as it is due, but for
    a `slow` one, which may take any time, and one with a `reaction`, which may take so many seconds.
    """

    name: str
    kind: str
    states: tuple[str, ...]
    passages: tuple[Passage, ...] = ()
    moves: tuple[Move, ...] = ()
    slow: bool = False
    ports: tuple[tuple[str, str], ...] = ()
    says: str = ""
    reaction: Range | None = None

    @property
    def delayed(self) -> bool:
        """It need not move as soon as it is due."""
        return self.slow or self.reaction is not None


@dataclass(frozen=True, slots=True)
class Control:
    """Something the driver sets. `positions[0]` is where it stands when nothing else is said."""

    name: str
    positions: tuple[str, ...]
    says: str = ""


@dataclass(frozen=True, slots=True)
class Mishap:
    """Something the surroundings do, once: absent at every start, and it stays once it has happened."""

    name: str
    says: str = ""


@dataclass(frozen=True, slots=True)
class Start:
    """A named set of initial states.

    A state belongs to it iff every volume in `pressures` is in a band that overlaps the given range, every part in
    `parts` and control in `controls` stands in one of the given states or positions, no mishap is present, `where`
    may hold, and, if `settled`, the state is settled. `plain` says that the file lists everything; any other start
    is either shown reachable from the start named `reached_from` or marked `assumed`.
    """

    name: str
    pressures: tuple[tuple[str, Range], ...] = ()
    parts: tuple[tuple[str, frozenset[str]], ...] = ()
    controls: tuple[tuple[str, frozenset[str]], ...] = ()
    where: Condition = ALWAYS_TRUE
    settled: bool = False
    plain: bool = True
    reached_from: str | None = None
    assumed: bool = False
    says: str = ""


@dataclass(frozen=True, slots=True)
class NamedBand:
    """A name for a range of pressures, so that a condition can say `tank is low`: `[low, high)`, None = open end.

    `low_setting` and `high_setting` are the settings, if any, at which it ends.
    """

    name: str
    low: Fraction | None
    high: Fraction | None
    low_setting: str | None = None
    high_setting: str | None = None


@dataclass(frozen=True, slots=True)
class Arrangement:
    """One model file, read and found good.

    `unit` is the pressure unit people read; `atmosphere` the absolute pressure of the surroundings in pascals;
    `highest` the declared highest gauge pressure. `roles` maps a role to the names that play it (volumes, parts,
    controls, mishaps or settings). `file` and `sha256` identify the text it was read from (with all files it extends),
    and after edits `sha256` the edits too. `places` says where in its files the entry of a table stands, by table and
    name; the entry `("", "")` is the top of its file. Only messages read it, so it plays no part in equality.
    """

    name: str
    unit: str
    atmosphere: Fraction
    highest: Fraction
    volumes: tuple[Volume, ...]
    parts: tuple[Part, ...]
    controls: tuple[Control, ...] = ()
    mishaps: tuple[Mishap, ...] = ()
    settings: tuple[Setting, ...] = ()
    sizes: tuple[Size, ...] = ()
    bands: tuple[NamedBand, ...] = ()
    starts: tuple[Start, ...] = ()
    roles: dict[str, tuple[str, ...]] = field(default_factory=dict)
    says: str = ""
    caution: str = ""
    leaves_out: str = ""
    file: str = ""
    sha256: str = ""
    places: dict[tuple[str, str], Place] = field(default_factory=dict, repr=False, compare=False)

    def volume(self, name: str) -> Volume:
        """The volume called `name`; KeyError when there is none."""
        return _named(self.volumes, name)

    def part(self, name: str) -> Part:
        """The part called `name`; KeyError when there is none."""
        return _named(self.parts, name)

    def control(self, name: str) -> Control:
        """The control called `name`; KeyError when there is none."""
        return _named(self.controls, name)

    def setting(self, name: str) -> Setting:
        """The setting called `name`; KeyError when there is none."""
        return _named(self.settings, name)

    def size(self, name: str) -> Size:
        """The size called `name`; KeyError when there is none."""
        return _named(self.sizes, name)

    def start(self, name: str) -> Start:
        """The start called `name`; KeyError when there is none."""
        return _named(self.starts, name)

    def way_to(self, name: str) -> tuple[Start, ...]:
        """The starts that a run passes one after another up to the one called `name`, which is the last.

        The first is plain or assumed: runs begin there.
        """
        way = [self.start(name)]
        while not way[0].plain and not way[0].assumed and way[0].reached_from is not None:
            way.insert(0, self.start(way[0].reached_from))
        return tuple(way)


_T = TypeVar("_T", Volume, Part, Control, Setting, Size, Start)


def _named(items: tuple[_T, ...], name: str) -> _T:
    for item in items:
        if item.name == name:
            return item
    raise KeyError(name)
