"""Roles and starts of an arrangement file."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from bandproof.model.arrangement import Range, Start
from bandproof.model.conditions import ALWAYS_TRUE, Condition
from bandproof.model.files import Entry, Merged
from bandproof.model.kinds import read_condition
from bandproof.model.measures import check_reach
from bandproof.model.names import Names, look_up
from bandproof.model.resolve import Meaning, Sort, resolve
from bandproof.model.schema import StartShape
from bandproof.terms.names import is_label, suggest
from bandproof.text.errors import MeasureError
from bandproof.text.input_faults import Faults, Place
from bandproof.text.units import parse_pressures

#: The key of a start's `pressures` that speaks of every volume not named there.
OTHERS = "others"


def read_roles(merged: Merged, names: Names, faults: Faults) -> dict[str, Meaning | None]:
    """Every role and what plays it; None for faulty ones."""
    sorts = names.sorts()
    roles: dict[str, Meaning | None] = {}
    for role, entry in merged.roles.items():
        given = entry.value
        roles[role] = None
        if given is None:
            continue
        players = [given] if isinstance(given, str) else given
        places = [entry.place] if isinstance(given, str) else [entry.place / index for index in range(len(players))]
        if not players:
            message = f'role "{role}" is played by nothing'
            faults.add("role-empty", entry.place, message, hint="name who plays it, or remove the role")
            continue
        before = len(faults)
        for index, (player, place) in enumerate(zip(players, places, strict=True)):
            _check_player(role, player, players[:index], place, sorts=sorts, faults=faults)
        sort = sorts.get(players[0])
        if len(faults) == before and sort is not None:
            roles[role] = Meaning(sort, tuple(players), role=True)
    return roles


def _check_player(
    role: str, player: str, earlier: list[str], place: Place, *, sorts: dict[str, Sort | None], faults: Faults
) -> None:
    if player not in sorts:
        hint = suggest(player, sorts, otherwise="name a volume, part, control, mishap or setting")
        message = f'role "{role}" names "{player}", which this arrangement does not have'
        faults.add("role-unknown-name", place, message, hint=hint)
    elif player in earlier:
        faults.add("role-repeats", place, f'role "{role}" names "{player}" twice', hint="remove one of the two")
    elif earlier and (first := sorts.get(earlier[0])) and (sort := sorts[player]) and first is not sort:
        message = f'role "{role}" mixes a {first} and a {sort}'
        faults.add("role-mixed", place, message, hint="let all players of a role be of one sort")


def read_starts(merged: Merged, names: Names, roles: dict[str, Meaning | None], faults: Faults) -> tuple[Start, ...]:
    """Every start, the default one first. What one start takes from another is checked too."""
    top = Place(merged.top)
    if not merged.starts:
        message = "the arrangement has no start"
        faults.add("no-start", top / "arrangement", message, hint="add [starts.cold]", key=True)
        return ()
    starts = [
        start
        for name, entry in merged.starts.items()
        if entry.value is not None
        and (start := _Reading(name, entry.value, entry.place, names=names, roles=roles, faults=faults).run())
    ]
    _check_chains(merged, faults)
    default = merged.arrangement.get("start")
    if default is not None and default.value is not None:
        look_up(default.value, merged.starts, "start", default.place, faults)
        starts.sort(key=lambda start: start.name != default.value)
    return tuple(starts)


def _check_chains(merged: Merged, faults: Faults) -> None:
    """Every `from` leads to a start that is there, and following it comes to an end."""
    origin: dict[str, Entry[StartShape]] = merged.starts
    circles: set[str] = set()
    for name, entry in origin.items():
        if entry.value is None or entry.value.from_ is None:
            continue
        if not look_up(entry.value.from_, origin, "start", entry.place / "from", faults):
            continue
        seen, at = [name], entry.value.from_
        while at is not None and at in origin and at not in seen:
            seen.append(at)
            value = origin[at].value
            at = None if value is None else value.from_  # type: ignore[assignment]
        if at == name and name not in circles:
            circles |= set(seen)
            way = " from ".join(f'"{one}"' for one in [*seen, name])
            message = f"this start is to be reached from itself: {way}"
            faults.add("start-cycle", entry.place / "from", message, hint="let one of them be a plain list, or assumed")


class _Reading:
    """Reads one start."""

    def __init__(
        self,
        name: str,
        shape: StartShape,
        place: Place,
        *,
        names: Names,
        roles: dict[str, Meaning | None],
        faults: Faults,
    ) -> None:
        self._name = name
        self._shape = shape
        self._place = place
        self._names = names
        self._roles = roles
        self._faults = faults

    def run(self) -> Start | None:
        shape, before = self._shape, len(self._faults)
        self._check_basis()
        pressures = self._pressures()
        parts = self._members("parts", self._names.states, "part", "state")
        controls = self._members("controls", self._names.positions, "control", "position")
        where = self._where()
        if len(self._faults) > before:
            return None
        return Start(
            name=self._name,
            pressures=tuple(pressures.items()),
            parts=tuple(parts.items()),
            controls=tuple(controls.items()),
            where=where,
            settled=shape.where is not None if shape.settled is None else shape.settled,
            plain=shape.where is None and shape.from_ is None and not shape.assumed,
            reached_from=shape.from_,
            assumed=shape.assumed,
            says=shape.says,
        )

    def _check_basis(self) -> None:
        shape, place, faults = self._shape, self._place, self._faults
        if not is_label(self._name):
            message = f'"{self._name}" cannot be the name of a start'
            faults.add("bad-name", place, message, hint="use words of letters and digits", key=True)
        if shape.where is not None and shape.from_ is None and not shape.assumed:
            message = f'start "{self._name}" gives a condition, but not why such a state can be'
            hint = 'add from = "…", the start it is reached from, or assumed = true'
            faults.add("start-unfounded", place, message, hint=hint, key=True)
        if shape.from_ is not None and shape.assumed:
            message = f'start "{self._name}" is both assumed and to be reached from "{shape.from_}"'
            faults.add("start-from-and-assumed", place / "assumed", message, hint="remove one of the two", key=True)

    def _pressures(self) -> dict[str, Range]:
        given: dict[str, Range] = {}
        place = self._place / "pressures"
        for volume, text in self._shape.pressures.items():
            known = volume == OTHERS or look_up(volume, self._names.volumes, "volume", place / volume, self._faults)
            pressure = self._range(text, place / volume)
            if known and pressure is not None:
                given[volume] = pressure
        rest = given.pop(OTHERS, None)
        if rest is None and self._shape.where is None:
            rest = Range(Fraction(0), Fraction(0))
        if rest is not None:
            given = {volume: given.get(volume, rest) for volume in self._names.volumes}
        return given

    def _range(self, text: str, place: Place) -> Range | None:
        try:
            low, high = parse_pressures(text)
        except MeasureError as error:
            self._faults.measure(place, error)
            return None
        reach = self._names.reach
        ends = [check_reach(end, f'"{text}"', place, reach, self._faults) for end in (low, high)]
        return None if None in ends else Range(low, high)

    def _members(
        self, table: str, known: dict[str, tuple[str, ...] | None], owner: str, noun: str
    ) -> dict[str, frozenset[str]]:
        """The states of parts or positions of controls that the start allows."""
        given: dict[str, frozenset[str]] = {}
        place = self._place / table
        shape: dict[str, str | list[str]] = getattr(self._shape, table)
        for name, value in shape.items():
            if not look_up(name, known, owner, place / name, self._faults):
                continue
            allowed = known[name]
            wanted = [value] if isinstance(value, str) else value
            for index, one in enumerate(wanted):
                if allowed is not None and one not in allowed:
                    hint = suggest(one, allowed, among=f"its {noun}s are")
                    where = place / name if isinstance(value, str) else place / name / index
                    self._faults.add(f"unknown-{noun}", where, f'{owner} "{name}" has no {noun} "{one}"', hint=hint)
            if not wanted:
                message = f'start "{self._name}" allows no {noun} of "{name}"'
                self._faults.add("start-empty", place / name, message, hint=f"name at least one {noun}")
            given[name] = frozenset(wanted)
        if self._shape.where is None:
            for name, allowed in known.items():
                given.setdefault(name, frozenset((allowed or ("",))[:1]))
        return given

    def _where(self) -> Condition:
        if self._shape.where is None:
            return ALWAYS_TRUE
        scope, place = self._names.scope(self._roles), self._place / "where"
        term = read_condition(self._shape.where, scope, place, self._faults)
        ignore: Callable[..., None] = lambda *_: None  # noqa: E731
        return ALWAYS_TRUE if term is None else resolve(term, scope, ignore)
