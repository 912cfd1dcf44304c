"""What the variables of a problem say: its state bits, and the choices by which a step is made.

Both are typed, so that nothing that works on them reads a text. Their texts are names for circuits and certificates.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction


class BitSort(StrEnum):
    """What a state bit is about."""

    VOLUME = "volume"
    PART = "part"
    CONTROL = "control"
    MISHAP = "mishap"
    #: How many whole bands a pace counter has counted.
    COUNT = "counts"
    #: The last direction of a pace counter's mover.
    LAST = "last"
    #: Whether a tank has crossed a threshold, by its rank, since it was last joined to more than lines.
    WINDOW = "window"
    MONITOR = "monitor"
    #: Whether a connected run has passed a start.
    PASSED = "passed"
    LEMMA = "lemma"
    #: What a search for a loop has saved, and seen since.
    LOOP = "loop"
    #: What is chosen with the start and kept in every step.
    FROZEN = "frozen"


#: Sorts of which each bit says something of its own, whatever the others of its subject say.
_ALONE = frozenset({BitSort.MISHAP, BitSort.WINDOW, BitSort.LOOP, BitSort.MONITOR, BitSort.LEMMA, BitSort.PASSED})

#: What bits of one thermometer, or of which just one is true, have in common; orders them, is never read.
Group = tuple[str, str, str, str]


@dataclass(frozen=True, slots=True)
class Bit:
    """One state bit: its literal, and what it says.

    `subject` is the name of a volume, part, control, mishap, monitor state or frozen choice, or the number of a pace
    counter or lemma. `value` is the state, position or choice the bit stands for, a threshold in pascals, or a number
    of whole bands. `rank` is the bit's place in its thermometer, from 0; -1 for a bit that is in none. `side` is the
    prefix of the encoding it belongs to.
    """

    literal: int
    sort: BitSort
    subject: str | int
    value: str | int | Fraction
    rank: int = -1
    side: str = ""

    @property
    def group(self) -> Group:
        """The same for all bits that say together where one subject is."""
        alone = str(self.value) if self.sort in _ALONE else ""
        return (self.side, self.sort.value, str(self.subject), alone)


@dataclass(frozen=True, slots=True)
class FrozenChoice:
    """A choice made with the start, of one of `values`, that no step changes: which fault is present, for example."""

    name: str
    values: tuple[str, ...]


# ------------------------------------------------------------------------------------------------------ choices


@dataclass(frozen=True, slots=True)
class DriverChoice:
    """The driver turns a control."""

    control: str
    position: str

    @property
    def says(self) -> str:
        """The choice as text."""
        return f"turn {self.control} {self.position}"


@dataclass(frozen=True, slots=True)
class MishapChoice:
    """The surroundings let a mishap happen."""

    mishap: str

    @property
    def says(self) -> str:
        """The choice as text."""
        return f"strike {self.mishap}"


class Deed(StrEnum):
    """What nature does with a volume in a flow step, or in a run of them."""

    UP = "up"
    DOWN = "down"
    ACCELERATE_UP = "acceleration up"
    ACCELERATE_DOWN = "acceleration down"


@dataclass(frozen=True, slots=True)
class FlowChoice:
    """Nature lets a volume cross a threshold, or, in an acceleration, one or more of them."""

    deed: Deed
    volume: str

    @property
    def says(self) -> str:
        """The choice as text."""
        return f"{self.deed.value} {self.volume}"


@dataclass(frozen=True, slots=True)
class GoOnChoice:
    """Nature lets an acceleration go on past the threshold before this one."""

    rank: int

    @property
    def says(self) -> str:
        """The choice as text."""
        return f"acceleration on at rank {self.rank}"


@dataclass(frozen=True, slots=True)
class MoveChoice:
    """Nature lets a part make a move that it may make."""

    part: str
    source: str
    target: str

    @property
    def says(self) -> str:
        """The choice as text."""
        return f"move {self.part} {self.source} {self.target}"


@dataclass(frozen=True, slots=True)
class PassChoice:
    """The run passes the next start on its way to the claim's own."""

    @property
    def says(self) -> str:
        """The choice as text."""
        return "pass a start"


NatureChoice = FlowChoice | GoOnChoice | MoveChoice

#: Whose choice it is, its type says.
Choice = DriverChoice | MishapChoice | NatureChoice | PassChoice
