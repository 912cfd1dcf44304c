"""What may be known of one state of a run: facts, as atoms, and what follows from a set of them.

A set of atoms describes a *place*: every state of which all of them are true. Places are what air accounts are drawn up
for and what lemmas are made of; a whole state is the place with every fact about it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction

from bandproof.encoding.bit_words import show_thresholds
from bandproof.machine.layout import Layout
from bandproof.machine.story import State, Story, joined
from bandproof.model.conditions import (
    Condition,
    Happened,
    InPosition,
    InState,
    NotHappened,
    NotInPosition,
    NotInState,
    Truth,
)
from bandproof.model.walker import Walker


@dataclass(frozen=True, slots=True)
class Literal:
    """One thing that is true of a state.

    `sort` is `level`: volume `subject` is at or above (not `holds`: below) its threshold of rank `rank`; `part` or
    `control`: it is in one of `values`; `mishap`: it has (not `holds`: has not) happened; `passed`: the run has (not
    `holds`: has not) passed the start `subject`.
    """

    sort: str
    subject: str
    rank: int = 0
    values: frozenset[str] = frozenset()
    holds: bool = True

    def __post_init__(self) -> None:
        """ValueError for what is no such fact: where a part or control is not is said by the values it may have."""
        standing = self.sort in ("part", "control")
        if (standing and not self.holds) or (not standing and self.values) or (self.sort != "level" and self.rank):
            message = f"no fact of the sort {self.sort} about {self.subject} is written like this"
            raise ValueError(message)

    @property
    def order(self) -> tuple[str, str, int, tuple[str, ...], bool]:
        """What atoms are sorted by."""
        return self.sort, self.subject, self.rank, tuple(sorted(self.values)), self.holds


#: What a demand rests on: atoms, each with the number of the place it is about.
Needs = frozenset[tuple[int, Literal]]


def whole(layout: Layout, state: State) -> frozenset[Literal]:
    """Every fact about a state, as the place that only this state is in."""
    arrangement = layout.arrangement
    found: set[Literal] = set()
    for volume, band in zip(arrangement.volumes, state.bands, strict=True):
        if band:
            found.add(Literal("level", volume.name, band - 1))
        if band < len(layout.thresholds[volume.name]):
            found.add(Literal("level", volume.name, band, holds=False))
    found |= {
        Literal("part", p.name, values=frozenset({s})) for p, s in zip(arrangement.parts, state.parts, strict=True)
    }
    found |= {
        Literal("control", c.name, values=frozenset({s}))
        for c, s in zip(arrangement.controls, state.controls, strict=True)
    }
    found |= {Literal("mishap", m.name, holds=m.name in state.mishaps) for m in arrangement.mishaps}
    return frozenset(found)


def whole_run(layout: Layout, story: Story) -> list[frozenset[Literal]]:
    """Every fact about each state of a connected run, which starts it has passed included."""
    run = joined(story)
    starts = [part.start for part in story.parts()[1:]]
    return [
        whole(layout, state) | {Literal("passed", start, holds=start in state.passed) for start in starts}
        for state in run.states
    ]


def true_of(layout: Layout, state: State, atom: Literal) -> bool:
    """The atom is true of a state."""
    arrangement = layout.arrangement
    match atom.sort:
        case "level":
            bands = dict(zip((v.name for v in arrangement.volumes), state.bands, strict=True))
            return (bands[atom.subject] > atom.rank) == atom.holds
        case "mishap":
            return (atom.subject in state.mishaps) == atom.holds
        case "passed":
            return (atom.subject in state.passed) == atom.holds
        case "part":
            standing = dict(zip((p.name for p in arrangement.parts), state.parts, strict=True))
        case _:
            standing = dict(zip((c.name for c in arrangement.controls), state.controls, strict=True))
    return standing[atom.subject] in atom.values


class Cube:
    """A set of atoms, looked up."""

    def __init__(self, layout: Layout, number: int, atoms: Iterable[Literal]) -> None:
        self._layout = layout
        self.number = number
        self._floor: dict[str, Literal] = {}
        self._ceiling: dict[str, Literal] = {}
        self._values: dict[tuple[str, str], Literal] = {}
        self._mishap: dict[str, Literal] = {}
        self._passed: dict[str, Literal] = {}
        for atom in atoms:
            if atom.sort == "level":
                side = self._floor if atom.holds else self._ceiling
                known = side.get(atom.subject)
                if known is None or (atom.rank > known.rank) == atom.holds:
                    side[atom.subject] = atom
            elif atom.sort == "mishap":
                self._mishap[atom.subject] = atom
            elif atom.sort == "passed":
                self._passed[atom.subject] = atom
            else:
                self._values[atom.sort, atom.subject] = atom

    def floor(self, volume: str) -> tuple[Fraction, Needs]:
        """The lowest pressure of a volume here, pascals gauge, and what says so."""
        atom = self._floor.get(volume)
        if atom is None:
            return Fraction(0), frozenset()
        return self._layout.thresholds[volume][atom.rank], frozenset({(self.number, atom)})

    def ceiling(self, volume: str) -> tuple[Fraction, Needs]:
        """The pressure that a volume stays below here, pascals gauge, and what says so."""
        atom = self._ceiling.get(volume)
        if atom is None:
            return self._layout.arrangement.highest, frozenset()
        return self._layout.thresholds[volume][atom.rank], frozenset({(self.number, atom)})

    def stands(self, part: str) -> tuple[frozenset[str], Needs]:
        """The states a part may be in here, and what says so."""
        atom = self._values.get(("part", part))
        if atom is None:
            return frozenset(self._layout.arrangement.part(part).states), frozenset()
        return atom.values, frozenset({(self.number, atom)})

    def truth(self, condition: Condition) -> tuple[bool | None, Needs]:
        """Whether a condition on a part, a control or a mishap holds here; None when that is not known."""
        return _Known(self).walk(condition)

    def among(self, sort: str, name: str, allowed: frozenset[str]) -> tuple[bool | None, Needs]:
        """Whether a part or a control is in one of the `allowed` states here."""
        atom = self._values.get((sort, name))
        if atom is None or (atom.values & allowed and atom.values - allowed):
            return None, frozenset()
        return not atom.values - allowed, frozenset({(self.number, atom)})

    def present(self, mishap: str) -> tuple[bool | None, Needs]:
        """Whether a mishap has happened here."""
        atom = self._mishap.get(mishap)
        return (None, frozenset()) if atom is None else (atom.holds, frozenset({(self.number, atom)}))

    def passed(self, *, holds: bool) -> dict[str, Literal]:
        """The starts that the run is known to have (not `holds`: not) passed here, each with what says so."""
        return {start: atom for start, atom in self._passed.items() if atom.holds == holds}


class _Known(Walker[tuple[bool | None, Needs]]):
    """What is known in a place of conditions on parts, controls and mishaps; of no others."""

    __slots__ = ("_place",)

    def __init__(self, place: Cube) -> None:
        self._place = place

    def truth(self, node: Truth) -> tuple[bool | None, Needs]:
        return node.value, frozenset()

    def in_state(self, node: InState) -> tuple[bool | None, Needs]:
        return self._place.among("part", node.part, node.states)

    def not_in_state(self, node: NotInState) -> tuple[bool | None, Needs]:
        return _turned(self._place.among("part", node.part, node.states))

    def in_position(self, node: InPosition) -> tuple[bool | None, Needs]:
        return self._place.among("control", node.control, node.positions)

    def not_in_position(self, node: NotInPosition) -> tuple[bool | None, Needs]:
        return _turned(self._place.among("control", node.control, node.positions))

    def happened(self, node: Happened) -> tuple[bool | None, Needs]:
        return self._place.present(node.mishap)

    def not_happened(self, node: NotHappened) -> tuple[bool | None, Needs]:
        return _turned(self._place.present(node.mishap))


def _turned(known: tuple[bool | None, Needs]) -> tuple[bool | None, Needs]:
    holds, needs = known
    return None if holds is None else not holds, needs


def floor_of(places: Iterable[Cube], volume: str) -> tuple[Fraction, Needs]:
    """The lowest pressure of a volume in any of the places, pascals gauge, and what says so."""
    found = [place.floor(volume) for place in places]
    low = min(value for value, _ in found)
    return low, frozenset().union(*(needs for _, needs in found)) if low > 0 else frozenset()


def ceiling_of(layout: Layout, places: Iterable[Cube], volume: str) -> tuple[Fraction, Needs]:
    """The pressure that a volume stays below in all of the places, pascals gauge, and what says so."""
    found = [place.ceiling(volume) for place in places]
    high = max(value for value, _ in found)
    known = high < layout.arrangement.highest
    return high, frozenset().union(*(needs for _, needs in found)) if known else frozenset()


def literal_words(layout: Layout, atom: Literal) -> str:
    """An atom in words."""
    match atom.sort:
        case "level":
            side = "at least" if atom.holds else "below"
            return f"{atom.subject} is {side} {show_thresholds(layout, atom.subject)[atom.rank]}"
        case "mishap":
            return f"{atom.subject} has {'' if atom.holds else 'not '}happened"
        case "passed":
            return f"the run has {'' if atom.holds else 'not '}passed the start {atom.subject}"
        case sort:
            verb = "is" if sort == "part" else "stands at"
            return f"{atom.subject} {verb} {' or '.join(sorted(atom.values))}"
