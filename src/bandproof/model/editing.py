"""What every edit of an arrangement needs: looking names up, noting what is wrong, and conditions written anew.

An edit's faults take the shape of those of a file. They stand at the entry of the thing edited, where the arrangement
knows its place, and else at the top of its file.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Collection, Iterable
from dataclasses import replace
from typing import Any, TypeVar

from bandproof.model.arrangement import Arrangement, Part, Setting, Size, Start
from bandproof.model.conditions import AllOf, AnyOf, AtLeast, Below, Condition, InState, Not, NotInState, Truth
from bandproof.model.resolve import all_of, any_of, negation
from bandproof.model.walker import leaves
from bandproof.terms.names import suggest
from bandproof.terms.nodes import End
from bandproof.text.diagnostics import Diagnostic
from bandproof.text.errors import InputError
from bandproof.text.input_faults import Faults

_T = TypeVar("_T", Part, Setting, Size)


class Edit:
    """One edit of one arrangement: `verb` and what it was `given`, which together tell its result from others.

    Every look-up of a name that is not there raises InputError with all that was noted so far.
    """

    def __init__(self, base: Arrangement, verb: str, *given: object) -> None:
        self.base = base
        self._text = json.dumps([verb, *map(str, given)])
        self._faults = Faults()

    def fault(self, code: str, at: tuple[str, str], message: str, *, hint: str, note: str = "") -> None:
        """Note a fault at the entry `at`: a table and a name in it."""
        note = note or f'asked by an edit of "{self.base.name}"'
        places, inline = self.base.places, ("parts", at[1].partition(".")[0])
        place = places.get(at) or places.get(inline) or places.get(("", ""))
        if place is not None:
            self._faults.add(code, place, message, hint=hint, note=note, key=True)
        else:
            self._faults.note(Diagnostic(code, self.base.file or "<arrangement>", 1, 1, 1, message, note, hint))

    def error(self) -> InputError:
        """What was noted, to be raised where the edit cannot go on."""
        return InputError(self._faults.found())

    def result(self, **changes: Any) -> Arrangement:
        """The edited arrangement, or InputError if anything was noted."""
        self._faults.stop_if_any()
        digest = hashlib.sha256(f"{self.base.sha256}\n{self._text}".encode())
        return replace(self.base, sha256=digest.hexdigest(), **changes)

    def part(self, name: str) -> Part:
        """The part called `name`."""
        return self._item("part", name, self.base.parts)

    def setting(self, name: str) -> Setting:
        """The setting called `name`."""
        return self._item("setting", name, self.base.settings)

    def size(self, name: str) -> Size:
        """The size called `name`."""
        return self._item("size", name, self.base.sizes)

    def _item(self, noun: str, name: str, items: tuple[_T, ...]) -> _T:
        for item in items:
            if item.name == name:
                return item
        hint = suggest(name, [item.name for item in items], among=f"the {noun}s are", otherwise="there is none at all")
        self.fault(f"unknown-{noun}", ("", ""), f'there is no {noun} "{name}"', hint=hint)
        raise self.error()

    def state(self, part: Part, state: str) -> None:
        """Note it if the part has no such state."""
        if state not in part.states:
            hint = suggest(state, part.states, among="its states are")
            message = f'part "{part.name}" has no state "{state}"'
            self.fault("unknown-state", ("parts", part.name), message, hint=hint)

    def port(self, part: Part, port: str, *, besides: Collection[str] = ()) -> str:
        """The volume that a port is joined to, or the name itself if it is an end `besides` ports; else InputError."""
        ends = {**{end: end for end in besides}, **dict(part.ports)}
        if port in ends:
            return ends[port]
        hint = suggest(
            port, ends, among="its ports are" if not besides else "an end is one of", otherwise="it has none"
        )
        self.fault("unknown-port", ("parts", part.name), f'part "{part.name}" has no port "{port}"', hint=hint)
        raise self.error()

    def with_part(self, part: Part) -> tuple[Part, ...]:
        """All parts, `part` in place of the one of its name."""
        return tuple(part if one.name == part.name else one for one in self.base.parts)

    def starts(self, change: Callable[[Start], Start]) -> tuple[Start, ...]:
        """Every start, changed."""
        return tuple(change(start) for start in self.base.starts)


def rewritten(condition: Condition, leaf: Callable[[Condition], Condition]) -> Condition:
    """The condition with every leaf replaced, simplified as a condition is that is read from a file."""
    match condition:
        case Not(item):
            return negation(rewritten(item, leaf))
        case AllOf(items):
            return all_of([rewritten(item, leaf) for item in items])
        case AnyOf(items):
            return any_of([rewritten(item, leaf) for item in items])
        case _:
            return leaf(condition)


def following(condition: Condition, setting: Setting) -> Condition:
    """The condition with the numbers of `setting` wherever it uses the setting of that name."""

    def leaf(atom: Condition) -> Condition:
        if not isinstance(atom, Below | AtLeast):
            return atom
        if atom.tie is not None and atom.tie.setting == setting.name:
            level = setting.high if atom.tie.end is End.HIGHEST else setting.low
            # As in a file: an exact setting and its ends are one and the same; a named band is a bare pressure.
            same = atom.tie.end is not None and setting.low == setting.high
            return replace(atom, low=level, high=level, setting=setting.name if same else None)
        if atom.setting == setting.name:
            return replace(atom, low=setting.low, high=setting.high)
        return atom

    return rewritten(condition, leaf)


def needs_exact(condition: Condition, setting: str) -> bool:
    """Whether the condition compares with the setting itself and not with one of its ends."""
    pressures = (atom for atom in leaves(condition) if isinstance(atom, Below | AtLeast))
    return any(atom.tie is None and atom.setting == setting for atom in pressures)


def watches(condition: Condition, part: str) -> bool:
    """Whether the condition speaks of a state of the part."""
    return any(isinstance(atom, InState | NotInState) and atom.part == part for atom in leaves(condition))


def forgetting(condition: Condition, part: Part) -> Condition:
    """What the condition says of everything but the part: it holds where some state of the part would make it hold."""

    def standing(state: str) -> Condition:
        def leaf(atom: Condition) -> Condition:
            of_part = isinstance(atom, InState) and atom.part == part.name
            return Truth(value=state in atom.states) if isinstance(atom, InState) and of_part else atom

        return rewritten(condition, leaf)

    return (
        any_of(dict.fromkeys(standing(state) for state in part.states)) if watches(condition, part.name) else condition
    )


def without_own(items: Iterable[_T], part: str, *, kept: str = "") -> tuple[_T, ...]:
    """Settings or sizes without those written at the part, which are named `part.slot`; the one called `kept` stays."""
    return tuple(item for item in items if item.name == kept or not item.name.startswith(f"{part}."))
