"""Condition nodes to conditions: gives every name in a condition its meaning within a scope.

A scope is a signature, names and what they are, so that the same code serves a kind's guards (ports and slots), a
start (the arrangement's own names) and a property (roles).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction

from bandproof.model.arrangement import NamedBand
from bandproof.model.conditions import (
    ALWAYS_TRUE,
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
    Tie,
    Truth,
)
from bandproof.terms.names import listed, suggest
from bandproof.terms.nodes import (
    And,
    Compare,
    Constant,
    End,
    Extent,
    Has,
    Is,
    Level,
    Negated,
    Or,
    PressureOf,
    Quantifier,
    Quantity,
    SettingLevel,
    Subject,
    Term,
    Word,
)
from bandproof.text.errors import MeasureError
from bandproof.text.units import parse_pressure, show_pressure


class Sort(StrEnum):
    """What a name can be the name of."""

    VOLUME = "volume"
    PART = "part"
    CONTROL = "control"
    MISHAP = "mishap"
    SETTING = "setting"


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a name stands for: one or more things of one sort. `role` names may be spoken of with every and some.

    A mishap slot of a part may stand for several mishaps; any one of them then counts.
    """

    sort: Sort
    names: tuple[str, ...]
    role: bool = False


@dataclass(frozen=True, slots=True)
class Threshold:
    """The two ends of a setting, and its name in the arrangement."""

    low: Fraction
    high: Fraction
    name: str


@dataclass(frozen=True, slots=True)
class Reach:
    """How far pressures go: the declared highest one, or None when it is not known, and the unit people read."""

    highest: Fraction | None
    unit: str

    def exceeded_by(self, pressure: Fraction) -> bool:
        """Whether no volume can ever hold `pressure`."""
        return self.highest is not None and pressure > self.highest

    def fault_of(self, pressure: Fraction, text: str) -> tuple[str, str, str] | None:
        """Why nothing can be compared with `pressure`, written `text`: code, message and hint; None where it can."""
        hint = "lower it, or raise arrangement.highest"
        if self.exceeded_by(pressure):
            message = f"{text} is above the highest pressure of this arrangement, {self.shown}"
            return "pressure-above-highest", message, hint
        if pressure == self.highest:
            message = f"nothing lies above {text}, the highest pressure of this arrangement"
            return "pressure-at-highest", message, hint
        return None

    @property
    def shown(self) -> str:
        """The highest pressure for people."""
        return "" if self.highest is None else show_pressure(self.highest, self.unit)


@dataclass(frozen=True, slots=True)
class Scope:
    """What a condition may speak of. A value of None means known but unusable, because it was reported elsewhere.

    `guard` scopes take toleranced settings and compare volumes with one another; others want exact pressures.
    `noun` says what the names of the scope are, for messages.
    """

    noun: str
    names: Mapping[str, Meaning | None]
    states: Mapping[str, tuple[str, ...] | None]
    positions: Mapping[str, tuple[str, ...] | None]
    settings: Mapping[str, Threshold | None]
    bands: Mapping[str, NamedBand | None] = field(default_factory=dict)
    guard: bool = False
    reach: Reach = field(default_factory=lambda: Reach(None, "kPa"))


#: Ends of a threshold, the setting it is, and the setting it is tied to.
_Level = tuple[Fraction, Fraction, str | None, Tie | None]

#: Called with code, stretch of the text, message, hint and note.
Report = Callable[[str, Extent, str, str, str], None]


def all_of(items: Iterable[Condition]) -> Condition:
    """The conjunction, with constants and single items simplified away."""
    kept = [item for item in items if item != Truth(value=True)]
    if Truth(value=False) in kept:
        return Truth(value=False)
    return kept[0] if len(kept) == 1 else AllOf(tuple(kept)) if kept else ALWAYS_TRUE


def any_of(items: Iterable[Condition]) -> Condition:
    """The disjunction, with constants and single items simplified away."""
    kept = [item for item in items if item != Truth(value=False)]
    if Truth(value=True) in kept:
        return ALWAYS_TRUE
    return kept[0] if len(kept) == 1 else AnyOf(tuple(kept)) if kept else Truth(value=False)


def negation(item: Condition) -> Condition:
    """The negation, with constants and double negations simplified away."""
    match item:
        case Truth(value):
            return Truth(value=not value)
        case Not(inner):
            return inner
        case _:
            return Not(item)


def resolve(term: Term, scope: Scope, report: Report) -> Condition:
    """The condition `term` means in `scope`. After any report the result means nothing."""
    return _Resolver(scope, report).term(term)


class _Resolver:
    def __init__(self, scope: Scope, report: Report) -> None:
        self._scope = scope
        self._report = report

    def term(self, term: Term) -> Condition:
        match term:
            case Constant(value):
                return Truth(value=value)
            case Negated(item):
                return negation(self.term(item))
            case And(items):
                return all_of([self.term(item) for item in items])
            case Or(items):
                return any_of([self.term(item) for item in items])
            case Compare(subject, below, level):
                return self._compare(subject, level, below=below)
            case Is(subject, value, negated):
                return self._is(subject, value, negated=negated)
            case Has(subject, negated):
                return self._has(subject, negated=negated)

    def _each(self, subject: Subject, atom: Callable[[Meaning, str], Condition | None]) -> Condition:
        """One atom per name that the subject stands for, joined as its quantifier says."""
        meaning = self._subject(subject)
        if meaning is None:
            return ALWAYS_TRUE
        found = [atom(meaning, name) for name in meaning.names]
        atoms = [one for one in found if one is not None]
        return any_of(atoms) if subject.quantifier is Quantifier.SOME else all_of(atoms)

    def _subject(self, subject: Subject) -> Meaning | None:
        word = subject.name
        meaning = self._meaning(word)
        if meaning is None:
            return None
        if subject.quantifier and not meaning.role:
            message = f'"{subject.quantifier} {word.text}" needs a role, and "{word.text}" is a {meaning.sort}'
            self._report("every-not-a-role", subject.at, message, f'drop "{subject.quantifier}"', "")
            return None
        if meaning.role and len(meaning.names) > 1 and not subject.quantifier:
            message = f'"{word.text}" stands for {len(meaning.names)} things: {listed(meaning.names)}'
            hint = f'write "every {word.text}" or "some {word.text}"'
            self._report("list-without-every", subject.at, message, hint, "")
            return None
        return meaning

    def _meaning(self, word: Word) -> Meaning | None:
        """What a name stands for; None, after a report if it is not even known."""
        known = self._scope.names
        if word.text not in known:
            hint = suggest(word.text, known, among="known here are", otherwise="define it first")
            self._report("unknown-name", word.at, f'"{word.text}" is no {self._scope.noun}', hint, "")
        return known.get(word.text)

    def _wrong(self, subject: Subject, meaning: Meaning, said: str) -> None:
        hints = {
            Sort.VOLUME: 'of a volume, say "is below", "is at least" or "is" with a named band',
            Sort.PART: 'of a part, say "is" with one of its states',
            Sort.CONTROL: 'of a control, say "is" with one of its positions',
            Sort.MISHAP: 'of a mishap, say "has happened" or "has not happened"',
            Sort.SETTING: 'compare a volume with it, as in "tank is below … "',
        }
        message = f'{said} cannot be said of "{subject.name.text}", which is a {meaning.sort}'
        self._report("wrong-subject", subject.at, message, hints[meaning.sort], "")

    def _compare(self, subject: Subject, level: Level, *, below: bool) -> Condition:
        threshold = self._level(level)
        meaning = self._scope.names.get(subject.name.text)
        if meaning is not None and meaning.sort is not Sort.VOLUME:
            self._wrong(subject, meaning, f'"is {"below" if below else "at least"}"')
            return ALWAYS_TRUE

        def atom(_: Meaning, name: str) -> Condition | None:
            match threshold:
                case None:
                    return None
                case str(other):
                    # Two ports on one volume have one pressure, so neither is ever below the other.
                    lower: Condition = Truth(value=False) if other == name else Lower(name, other)
                    return lower if below else negation(lower)
                case (low, high, setting, tie):
                    return Below(name, low, high, setting, tie) if below else AtLeast(name, low, high, setting, tie)

        return self._each(subject, atom)

    def _level(self, level: Level) -> _Level | str | None:
        """Ends and settings of a threshold, or the name of the volume to compare with; None after a report."""
        match level:
            case Quantity():
                return self._quantity(level)
            case SettingLevel(word, end):
                return self._setting(word, end, level.at)
            case PressureOf(word):
                return self._other(word, level.at)

    def _quantity(self, level: Quantity) -> _Level | None:
        try:
            pressure = parse_pressure(f"{level.number} {level.unit}")
        except MeasureError as error:
            self._report(error.code, level.at, error.message, error.hint, "")
            return None
        text = f"{level.number} {level.unit}"
        if pressure <= 0:
            message = f"no pressure is ever below {text}, so this compares nothing"
            self._report("pressure-not-positive", level.at, message, "write a pressure above zero (gauge)", "")
            return None
        if not self._reached(pressure, text, level.at):
            return None
        return pressure, pressure, None, None

    def _reached(self, pressure: Fraction, text: str, at: Extent) -> bool:
        """Whether volumes can be on either side of an exact pressure."""
        fault = self._scope.reach.fault_of(pressure, text)
        if fault is not None:
            code, message, hint = fault
            self._report(code, at, message, hint, "")
        return fault is None

    def _setting(self, word: Word, end: End | None, at: Extent) -> _Level | None:
        name = word.text
        if name not in self._scope.names:
            known = [one for one, other in self._scope.names.items() if other and other.sort is Sort.SETTING]
            hint = suggest(name, known, otherwise="write a pressure with its unit, or the name of a setting")
            self._report("unknown-setting", word.at, f'"{name}" is no setting', hint, "")
            return None
        meaning = self._scope.names[name]
        if meaning is None:
            return None
        if meaning.sort is not Sort.SETTING:
            message = f'"{name}" is a {meaning.sort}, not a setting or a pressure'
            hint = f'write "pressure of {name}"' if self._scope.guard else "write a pressure with its unit"
            self._report("unknown-setting", word.at, message, hint, "")
            return None
        if len(meaning.names) > 1:
            message = f'"{name}" stands for {len(meaning.names)} settings: {listed(meaning.names)}'
            self._report("list-without-every", at, message, "compare with a role that is a single setting", "")
            return None
        threshold = self._scope.settings.get(meaning.names[0])
        if threshold is None:
            return None
        if end is not None:
            exact = threshold.low if end is End.LOWEST else threshold.high
            if not self._reached(exact, f'the {end} of "{name}"', at):
                return None
            setting = threshold.name if threshold.low == threshold.high else None
            return exact, exact, setting, Tie(threshold.name, end)
        if threshold.low != threshold.high and not self._scope.guard:
            message = f'the setting "{name}" has a tolerance, so it is no exact pressure'
            self._report("setting-not-exact", at, message, f'write "lowest of {name}" or "highest of {name}"', "")
            return None
        return threshold.low, threshold.high, threshold.name, None

    def _other(self, word: Word, at: Extent) -> str | None:
        if not self._scope.guard:
            message = "only the moves of a kind can compare two pressures with one another"
            hint = "compare each volume with a pressure or a setting"
            self._report("pressure-of-outside-kind", at, message, hint, "")
            return None
        meaning = self._meaning(word)
        if meaning is None:
            return None
        if meaning.sort is not Sort.VOLUME:
            message = f'"{word.text}" is a {meaning.sort} and has no pressure'
            self._report("wrong-subject", word.at, message, "name a port of the kind", "")
            return None
        return meaning.names[0]

    def _is(self, subject: Subject, value: Word, *, negated: bool) -> Condition:
        said = self._scope.names.get(subject.name.text)
        if said is not None and said.sort in {Sort.MISHAP, Sort.SETTING}:
            self._wrong(subject, said, f'"is {value.text}"')
            return ALWAYS_TRUE

        def atom(meaning: Meaning, name: str) -> Condition | None:
            found: Condition | None = None
            if meaning.sort is Sort.PART:
                if self._member(value, name, self._scope.states.get(name), "part", "state"):
                    found = InState(name, frozenset({value.text}))
            elif meaning.sort is Sort.CONTROL:
                if self._member(value, name, self._scope.positions.get(name), "control", "position"):
                    found = InPosition(name, frozenset({value.text}))
            else:
                found = self._band(value, name)
            return negation(found) if found is not None and negated else found

        return self._each(subject, atom)

    def _member(self, value: Word, name: str, known: tuple[str, ...] | None, sort: str, noun: str) -> bool:
        if known is None:
            return True
        if value.text in known:
            return True
        hint = suggest(value.text, known, among=f"its {noun}s are")
        self._report(f"unknown-{noun}", value.at, f'{sort} "{name}" has no {noun} "{value.text}"', hint, "")
        return False

    def _band(self, value: Word, name: str) -> Condition | None:
        bands = self._scope.bands
        if value.text not in bands:
            hint = suggest(value.text, bands, among="the named bands are", otherwise="add it under [bands]")
            if self._scope.guard:
                hint = "in a kind, compare with a setting or a pressure"
            self._report("unknown-band", value.at, f'there is no named band "{value.text}"', hint, "")
            return None
        band = bands[value.text]
        if band is None:
            return None
        ends: list[Condition] = []
        if band.low is not None:
            ends.append(AtLeast(name, band.low, band.low, tie=_band_tie(band.low_setting)))
        if band.high is not None:
            ends.append(Below(name, band.high, band.high, tie=_band_tie(band.high_setting)))
        return all_of(ends)

    def _has(self, subject: Subject, *, negated: bool) -> Condition:
        meaning = self._scope.names.get(subject.name.text)
        if meaning is not None and meaning.sort is not Sort.MISHAP:
            self._wrong(subject, meaning, '"has happened"')
            return ALWAYS_TRUE
        if meaning is not None and not meaning.role and subject.quantifier is None:
            happened = any_of([Happened(name) for name in meaning.names])
            return negation(happened) if negated else happened
        return self._each(subject, lambda _, name: Not(Happened(name)) if negated else Happened(name))


def _band_tie(setting: str | None) -> Tie | None:
    return None if setting is None else Tie(setting)
