"""What the bits of a problem are called and what they say, in words that a person can read and a solver accepts.

The names appear in certificates as quoted SMT-LIB symbols. They depend on the arrangement and its thresholds only, so
that the same facts always get the same text. This is for certificates alone: files are written in the words of
`bandproof.terms.names`, and stories and pictures are worded in `bandproof.views.phrases`.
"""

from __future__ import annotations

from fractions import Fraction

from bandproof.encoding.bits import (
    Bit,
    BitSort,
    Choice,
    Deed,
    DriverChoice,
    FlowChoice,
    GoOnChoice,
    MishapChoice,
    MoveChoice,
    PassChoice,
)
from bandproof.machine.layout import Layout
from bandproof.model.conditions import (
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Condition,
    Happened,
    InPosition,
    InState,
    Lower,
    Not,
    NotHappened,
    NotInPosition,
    NotInState,
    NotLower,
    Truth,
)
from bandproof.model.walker import Walker, opposite
from bandproof.properties.claim import Property
from bandproof.properties.monitors import monitor_of
from bandproof.text.units import SHOWN_DECIMALS, show_pressure

#: More decimals than this are never tried to tell two thresholds apart; a number in brackets does it then.
_MOST_DECIMALS = 9


def show_thresholds(layout: Layout, volume: str) -> list[str]:
    """The volume's thresholds for people, with as many decimals as it takes to tell them apart."""
    marks, unit = layout.thresholds[volume], layout.arrangement.unit
    for decimals in range(SHOWN_DECIMALS[unit], _MOST_DECIMALS):
        shown = [show_pressure(mark, unit, decimals) for mark in marks]
        if len(set(shown)) == len(shown):
            return shown
    return [f"{show_pressure(mark, unit)} ({rank})" for rank, mark in enumerate(marks, start=1)]


class Wording:
    """Words for every bit of a problem's states."""

    def __init__(self, layout: Layout, bits: tuple[Bit, ...]) -> None:
        self._marks = {volume: show_thresholds(layout, volume) for volume in layout.thresholds}
        self._values = {
            **{(BitSort.PART, part.name): part.states for part in layout.arrangement.parts},
            **{(BitSort.CONTROL, control.name): control.positions for control in layout.arrangement.controls},
        }
        self._bits = {bit.literal >> 1: bit for bit in bits}
        self._order = bits
        self._watches = layout.timing_constraints

    def says(self, literal: int) -> str:
        """What a state literal says."""
        bit, holds = self._bits[literal >> 1], not literal & 1
        return f"{bit.side}{self._plainly(bit, holds=holds)}"

    def _plainly(self, bit: Bit, *, holds: bool) -> str:
        match bit.sort, bit.subject:
            case BitSort.VOLUME, str(name):
                return f"{name} is {'at least' if holds else 'below'} {self._marks[name][bit.rank]}"
            case BitSort.PART | BitSort.CONTROL as sort, str(name):
                return self._standing_says(sort, name, bit.value, holds=holds)
            case BitSort.MISHAP, name:
                return f"{name} has {'' if holds else 'not '}happened"
            case BitSort.COUNT | BitSort.LAST, int(number):
                return self._counter_says(bit, number, holds=holds)
            case BitSort.WINDOW, str(name):
                crossed = f"{name} has {'' if holds else 'not '}crossed {self._marks[name][int(bit.value)]}"
                return f"{crossed} since air goes from it into lines only"
            case BitSort.LEMMA, number:
                return f"lemma {number}: {bit.value} is {'' if holds else 'not '}reached"
            case BitSort.PASSED, name:
                return f"the run has {'' if holds else 'not '}passed the start {name}"
            case BitSort.MONITOR, name:
                return f"the claim is {'' if holds else 'not '}{name}"
            case BitSort.LOOP, str(subject):
                return self._loop_says(subject, str(bit.value), holds=holds)
            case BitSort.FROZEN, name:
                return f"{name} is {'' if holds else 'not '}{bit.value} from start to end"
            case _:
                message = f"no words for the bit {bit}"
                raise ValueError(message)

    def _standing_says(self, sort: BitSort, name: str, value: str | int | Fraction, *, holds: bool) -> str:
        values = self._values[sort, name]
        if len(values) == 2:
            value, holds = values[holds], True
        if sort is BitSort.PART:
            return f"{name} is {'' if holds else 'not '}{value}"
        return f"{name} {'stands' if holds else 'does not stand'} at {value}"

    def _counter_says(self, bit: Bit, number: int, *, holds: bool) -> str:
        watch = self._watches[number]
        while_due = f"since {watch.while_due}, {watch.mover}"
        if bit.sort is BitSort.COUNT:
            return f"{while_due} has crossed {'at least' if holds else 'fewer than'} {bit.value} whole band{'s' if bit.rank else ''}"
        if bit.value == "none":
            return f"{while_due} has {'not ' if holds else ''}crossed a threshold"
        return f"{while_due} has {'' if holds else 'not '}last gone {bit.value}"

    def _loop_says(self, subject: str, value: str, *, holds: bool) -> str:
        not_ = "" if holds else "not "
        match subject:
            case "copy":
                return f"in the saved state {self._plainly(self._order[int(value)], holds=holds)}"
            case "seen":
                return f"since the saving it has {not_}been that {value}"
            case "lost":
                return f"since the saving what must hold throughout has {'not ' if holds else ''}held"
            case _:
                return f"a state has {not_}been saved"

    def never(self, clause: tuple[int, ...]) -> str:
        """What a clause says: the facts that it forbids to hold together."""
        facts = [self.says(literal ^ 1) for literal in clause]
        if not facts:
            return "never anything: there is no state of the start"
        return f"never: {facts[0]}" if len(facts) == 1 else f"never at once: {'; '.join(facts)}"


#: What nature does with a volume.
_DEEDS = {
    Deed.UP: "rises across a threshold",
    Deed.DOWN: "falls across a threshold",
    Deed.ACCELERATE_UP: "rises across one or more thresholds",
    Deed.ACCELERATE_DOWN: "falls across one or more thresholds",
}


def choice_words(choice: Choice) -> str:
    """What happens where a choice is granted."""
    match choice:
        case DriverChoice(control, position):
            return f"{control} is put at {position}"
        case MishapChoice(mishap):
            return f"{mishap} happens"
        case FlowChoice(deed, volume):
            return f"{volume} {_DEEDS[deed]}"
        case GoOnChoice(rank):
            return f"an acceleration goes on past threshold {rank}"
        case MoveChoice(part, source, target):
            return f"{part} moves from {source} to {target}"
        case PassChoice():
            return "the next start is passed"


def claim_words(claim: Property, unit: str) -> str:
    """A property as one line of words."""
    return "".join(said if isinstance(said, str) else condition_words(said, unit) for said in monitor_of(claim).words)


def condition_words(condition: Condition, unit: str) -> str:
    """A condition as words, every compound in brackets."""
    return _Words(unit).walk(condition)


class _Words(Walker[str]):
    """Negations stay where they are; a leaf that is an opposite is worded as the negation of what it is opposite to."""

    __slots__ = ("unit",)

    def __init__(self, unit: str) -> None:
        self.unit = unit

    def truth(self, node: Truth) -> str:
        return "always" if node.value else "never"

    def below(self, node: Below) -> str:
        return f"{node.volume} is below {_threshold(node.low, node.high, self.unit)}"

    def at_least(self, node: AtLeast) -> str:
        return f"{node.volume} is at least {_threshold(node.low, node.high, self.unit)}"

    def lower(self, node: Lower) -> str:
        return f"{node.volume} is below pressure of {node.other}"

    def not_lower(self, node: NotLower) -> str:
        return f"not ({self.walk(opposite(node))})"

    def in_state(self, node: InState) -> str:
        return f"{node.part} is {' or '.join(sorted(node.states))}"

    def not_in_state(self, node: NotInState) -> str:
        return f"not ({self.walk(opposite(node))})"

    def in_position(self, node: InPosition) -> str:
        return f"{node.control} stands at {' or '.join(sorted(node.positions))}"

    def not_in_position(self, node: NotInPosition) -> str:
        return f"not ({self.walk(opposite(node))})"

    def happened(self, node: Happened) -> str:
        return f"{node.mishap} has happened"

    def not_happened(self, node: NotHappened) -> str:
        return f"not ({self.walk(opposite(node))})"

    def negated(self, node: Not) -> str:
        return f"not ({self.walk(node.item)})"

    def all_of(self, node: AllOf) -> str:
        return f"({' and '.join(map(self.walk, node.items))})"

    def any_of(self, node: AnyOf) -> str:
        return f"({' or '.join(map(self.walk, node.items))})"


def _threshold(low: Fraction, high: Fraction, unit: str) -> str:
    if low == high:
        return show_pressure(low, unit)
    return f"a setting in {show_pressure(low, unit)} to {show_pressure(high, unit)}"
