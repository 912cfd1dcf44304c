"""Parts: a kind with its ports joined to volumes and its slots filled becomes a part of the arrangement.

A setting or size written at the part itself becomes one of the arrangement, named `part.slot`, because it too is one
number that margins can vary.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Move, Part, Passage, Setting, Size
from bandproof.model.conditions import Truth
from bandproof.model.kinds import SLOTS, KindDescription, check_state
from bandproof.model.measures import read_reaction, read_setting, read_size
from bandproof.model.names import Names, look_up
from bandproof.model.resolve import Meaning, Scope, Sort, Threshold, resolve
from bandproof.model.schema import PartShape, SizeShape
from bandproof.terms.names import is_name, listed, suggest
from bandproof.terms.nodes import Constant, Extent, Term, atoms
from bandproof.text.input_faults import Faults, Place

#: The slots that must be filled: without them a guard has no meaning. Unfilled sizes are unknown sizes, unfilled
#: mishaps never happen.
_NEEDED = {"settings": "setting", "controls": "control", "links": "link"}


@dataclass(frozen=True, slots=True)
class Expanded:
    """A part, and the settings and sizes that are written at it."""

    part: Part | None
    settings: tuple[Setting, ...]
    sizes: tuple[Size, ...]


def expand(
    name: str, shape: PartShape, place: Place, kind: KindDescription, *, names: Names, faults: Faults
) -> Expanded:
    """The part `name`, or none after noting what is wrong with it."""
    return _Expansion(name, shape, place, kind, names=names, faults=faults).run()


class _Expansion:
    def __init__(
        self, name: str, shape: PartShape, place: Place, kind: KindDescription, *, names: Names, faults: Faults
    ) -> None:
        self._name = name
        self._shape = shape
        self._place = place
        self._kind = kind
        self._names = names
        self._faults = faults
        self._settings: dict[str, Setting | None] = {}
        self._sizes: dict[str, Size | None] = {}
        self._mishaps: dict[str, tuple[str, ...]] = {}

    def run(self) -> Expanded:
        before = len(self._faults)
        self._ports()
        for slot_table in SLOTS:
            self._slot_names(slot_table)
        self._fill()
        states = self._states()
        part = None
        if len(self._faults) == before:
            part = self._part(states)
        literal = tuple(s for s in self._settings.values() if s is not None and "." in s.name)
        inline = tuple(s for s in self._sizes.values() if s is not None and "." in s.name)
        return Expanded(part, literal, inline)

    def _ports(self) -> None:
        kind, place = self._kind, self._place / "ports"
        for port, volume in self._shape.ports.items():
            if port not in kind.ports:
                hint = suggest(port, kind.ports, among="its ports are", otherwise="it has no ports")
                message = f'the kind "{kind.name}" has no port "{port}"'
                self._faults.add("unknown-port", place / port, message, hint=hint, key=True)
            else:
                look_up(volume, self._names.volumes, "volume", place / port, self._faults)
        missing = [port for port in kind.ports if port not in self._shape.ports]
        if missing and not set(self._shape.ports) - set(kind.ports):
            message = f'part "{self._name}" does not say what its port "{missing[0]}" is joined to'
            if len(missing) > 1:
                message = f'part "{self._name}" does not say what its ports {listed(missing)} are joined to'
            hint = f"add {missing[0]} = … to its ports"
            self._faults.add("missing-port", place, message, hint=hint, key=True)

    def _slot_names(self, table: str) -> None:
        slots: tuple[str, ...] = getattr(self._kind, table)
        given: dict[str, Any] = getattr(self._shape, table)
        place = self._place / table
        strange = [slot for slot in given if slot not in slots]
        for slot in strange:
            hint = suggest(slot, slots, among="it has", otherwise="remove it: the kind has none")
            message = f'the kind "{self._kind.name}" has no slot "{slot}" in {table}'
            self._faults.add("unknown-slot", place / slot, message, hint=hint, key=True)
        if table in _NEEDED and not strange:
            for slot in slots:
                if slot not in given:
                    message = f'part "{self._name}" does not fill the {_NEEDED[table]} slot "{slot}"'
                    hint = f'add {table} = {{ {slot} = "…" }} to the part'
                    self._faults.add("missing-slot", place, message, hint=hint, key=True)

    def _fill(self) -> None:
        shape, kind, names, faults = self._shape, self._kind, self._names, self._faults
        for slot, text in shape.settings.items():
            if slot in kind.settings:
                self._settings[slot] = self._setting(slot, text)
        for slot, size in shape.sizes.items():
            if slot in kind.sizes:
                self._sizes[slot] = self._size(slot, size)
        for slot, control in shape.controls.items():
            look_up(control, names.controls, "control", self._place / "controls" / slot, faults)
        for slot, part in shape.links.items():
            look_up(part, names.states, "part", self._place / "links" / slot, faults)
        for slot, given in shape.mishaps.items():
            place = self._place / "mishaps" / slot
            if isinstance(given, str):
                look_up(given, names.mishaps, "mishap", place, faults)
            else:
                for index, mishap in enumerate(given):
                    look_up(mishap, names.mishaps, "mishap", place / index, faults)
            self._mishaps[slot] = (given,) if isinstance(given, str) else tuple(dict.fromkeys(given))

    def _setting(self, slot: str, text: str) -> Setting | None:
        place = self._place / "settings" / slot
        if is_name(text.strip()):
            known = look_up(text.strip(), self._names.settings, "setting", place, self._faults)
            return self._names.settings[text.strip()] if known else None
        return read_setting(f"{self._name}.{slot}", text, place, self._names.reach, self._faults)

    def _size(self, slot: str, size: str | SizeShape) -> Size | None:
        place = self._place / "sizes" / slot
        if isinstance(size, SizeShape):
            return read_size(f"{self._name}.{slot}", size, place, self._faults)
        known = look_up(size, self._names.sizes, "size", place, self._faults)
        return self._names.sizes[size] if known else None

    def _states(self) -> tuple[str, ...]:
        """The kind's states, the one the part starts in first."""
        first, states = self._shape.starts_in, self._kind.states
        of = f'the kind "{self._kind.name}"'
        if first is None or not check_state(first, states, self._place / "starts_in", self._faults, of=of):
            return states
        return (first, *(state for state in states if state != first))

    def _part(self, states: tuple[str, ...]) -> Part | None:
        shape, kind = self._shape, self._kind
        scope, before = self._scope(), len(self._faults)
        moves = []
        for move in kind.moves:
            asked: list[tuple[str, Extent, str, str, str]] = []
            when = resolve(move.guard, scope, lambda *fault: asked.append(fault))  # noqa: B023
            for fault in asked:
                self._unfit(move.guard, move.when, fault)
            # A guard that can never hold, for want of a mishap, is no move at all.
            if when != Truth(value=False):
                moves += [Move(source, move.target, when) for source in move.sources]
        reaction = kind.reaction
        if shape.reaction is not None:
            own = read_reaction(shape.reaction, self._place / "reaction", self._faults)
            reaction = reaction if own is None else own
        if len(self._faults) > before:
            return None
        ports = tuple((port, shape.ports[port]) for port in kind.ports)
        says, slow = shape.says or kind.says, reaction.slow
        made = Part(self._name, kind.name, states, self._passages(), tuple(moves), slow, ports, says)
        return replace(made, reaction=reaction.seconds)

    def _passages(self) -> tuple[Passage, ...]:
        ends = {**self._shape.ports, ATMOSPHERE: ATMOSPHERE, SOURCE: SOURCE}
        found = []
        for one in self._kind.passages:
            upstream, downstream = ends[one.upstream], ends[one.downstream]
            # Two ports on one volume: air going from a volume to itself changes nothing.
            if upstream != downstream:
                size = None if one.size is None else self._sizes.get(one.size)
                found.append(Passage(upstream, downstream, one.one_way, one.open_in, size))
        return tuple(found)

    def _scope(self) -> Scope:
        shape, names = self._shape, self._names
        meanings = {port: Meaning(Sort.VOLUME, (volume,)) for port, volume in shape.ports.items()}
        meanings |= {slot: Meaning(Sort.SETTING, (slot,)) for slot in shape.settings}
        meanings |= {slot: Meaning(Sort.CONTROL, (control,)) for slot, control in shape.controls.items()}
        meanings |= {slot: Meaning(Sort.PART, (part,)) for slot, part in shape.links.items()}
        meanings |= {slot: Meaning(Sort.MISHAP, self._mishaps.get(slot, ())) for slot in self._kind.mishaps}
        settings = {s: None if v is None else Threshold(v.low, v.high, v.name) for s, v in self._settings.items()}
        return Scope(
            noun=f'port or slot of the kind "{self._kind.name}"',
            names=meanings,
            states=names.states,
            positions=names.positions,
            settings=settings,
            guard=True,
            reach=names.reach,
        )

    def _unfit(self, guard: Term, text: str, fault: tuple[str, Extent, str, str, str]) -> None:
        """Report what a guard of the kind asks of this part at the slot or port that cannot give it."""
        code, at, message, hint, _ = fault
        word = _subject_at(guard, at)
        for table, noun, new in (
            ("controls", "position", "control-lacks-position"),
            ("links", "state", "link-lacks-state"),
        ):
            given: dict[str, str] = getattr(self._shape, table)
            if code == f"unknown-{noun}" and word in given:
                asked = text[at[0] : at[1]].strip("\"'")
                owner = f'{"control" if table == "controls" else "part"} "{given[word]}"'
                message = f'the kind "{self._kind.name}" asks for the {noun} "{asked}", which {owner} does not have'
                note = f'asked in "{text}"'
                place = self._place / table / word
                hint = f"give it that {noun}, or join another {'control' if table == 'controls' else 'part'} here"
                self._faults.add(new, place, message, hint=hint, note=note)
                return
        self._faults.add(code, self._place / "kind", message, hint=hint, note=f'asked in "{text}"')


def _subject_at(guard: Term, at: Extent) -> str:
    """The subject of the atom that the stretch `at` lies in."""
    spoken = (atom for atom in atoms(guard) if not isinstance(atom, Constant))
    return next((atom.subject.name.text for atom in spoken if atom.at[0] <= at[0] <= atom.at[1]), "")
