"""What an arrangement file names: the registry that every reference is looked up in.

A value of None means that the name is there but its entry is faulty; what refers to it is then not reported again.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from bandproof.model.arrangement import Control, Mishap, NamedBand, Setting, Size, Volume
from bandproof.model.files import Merged
from bandproof.model.kinds import KindDescription, check_name
from bandproof.model.resolve import Meaning, Reach, Scope, Sort, Threshold
from bandproof.terms.names import suggest
from bandproof.text.input_faults import Faults, Place

#: The tables whose names share one space, because roles and conditions may speak of any of them, and their sorts.
SORTS = {
    "volumes": Sort.VOLUME,
    "parts": Sort.PART,
    "controls": Sort.CONTROL,
    "mishaps": Sort.MISHAP,
    "settings": Sort.SETTING,
}


@dataclass(frozen=True, slots=True)
class Names:
    """Everything an arrangement names. Filled while it is read, then only looked at.

    `doubled` are the names that two things have; which of them is meant cannot be told.
    """

    reach: Reach
    doubled: frozenset[str] = frozenset()
    volumes: dict[str, Volume | None] = field(default_factory=dict)
    settings: dict[str, Setting | None] = field(default_factory=dict)
    sizes: dict[str, Size | None] = field(default_factory=dict)
    bands: dict[str, NamedBand | None] = field(default_factory=dict)
    controls: dict[str, Control | None] = field(default_factory=dict)
    mishaps: dict[str, Mishap | None] = field(default_factory=dict)
    kinds: dict[str, KindDescription | None] = field(default_factory=dict)
    states: dict[str, tuple[str, ...] | None] = field(default_factory=dict)

    @property
    def positions(self) -> dict[str, tuple[str, ...] | None]:
        """Positions of every control."""
        return {name: None if one is None else one.positions for name, one in self.controls.items()}

    def sorts(self) -> dict[str, Sort | None]:
        """What each name that a role or condition can mention is; None when that cannot be told."""
        found: dict[str, Sort | None] = {}
        for names, sort in (
            (self.volumes, Sort.VOLUME),
            (self.states, Sort.PART),
            (self.controls, Sort.CONTROL),
            (self.mishaps, Sort.MISHAP),
            (self.settings, Sort.SETTING),
        ):
            found |= dict.fromkeys(names, sort)
        return found | dict.fromkeys(self.doubled)

    def thresholds(self) -> dict[str, Threshold | None]:
        """Every setting as a threshold."""
        return {n: None if s is None else Threshold(s.low, s.high, n) for n, s in self.settings.items()}

    def scope(self, roles: dict[str, Meaning | None]) -> Scope:
        """What the condition of a start may speak of: names first, then roles."""
        own = {name: None if sort is None else Meaning(sort, (name,)) for name, sort in self.sorts().items()}
        return Scope(
            noun="name of this arrangement",
            names={**roles, **own},
            states=self.states,
            positions=self.positions,
            settings=self.thresholds(),
            bands=self.bands,
            reach=self.reach,
        )


def check_names(merged: Merged, faults: Faults) -> frozenset[str]:
    """Check the spelling of all names, and that none in one space is used twice; those that are, are returned."""
    taken: dict[str, str] = {}
    doubled: set[str] = set()
    for table, sort in SORTS.items():
        for name, entry in getattr(merged, table).items():
            if not check_name(name, sort.value, entry.place, faults):
                continue
            if name in taken:
                message = f'"{name}" names a {sort} and a {taken[name]}'
                faults.add("name-twice", entry.place, message, hint="give one of the two another name", key=True)
                doubled.add(name)
            taken.setdefault(name, sort.value)
    for table, noun in (("sizes", "size"), ("bands", "band"), ("roles", "role")):
        for name, entry in getattr(merged, table).items():
            check_name(name, noun, entry.place, faults)
    return frozenset(doubled)


def look_up(name: str, known: Iterable[str], noun: str, place: Place, faults: Faults) -> bool:
    """Whether `name` is among `known`; notes `unknown-<noun>` at `place` if not."""
    known = list(known)
    if name in known:
        return True
    hint = suggest(name, known, among=f"the {noun}s are", otherwise=f"add it under [{noun}s]")
    faults.add(f"unknown-{noun}", place, f'there is no {noun} "{name}"', hint=hint)
    return False
