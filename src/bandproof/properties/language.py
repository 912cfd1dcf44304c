"""Rule packs and what they claim of an arrangement: every role in a claim becomes the names that play it there.

A claim that mentions a role, start or mishap the arrangement does not have is not applicable, which is an answer and
no fault. A setting needs no role: where a claim compares with a name that is no role, it is the setting of that name. A claim that says of a role what cannot be said of its players is a fault.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import ALWAYS_TRUE, Condition
from bandproof.model.loader import Outline
from bandproof.model.resolve import Meaning, Reach, Scope, Sort, Threshold, resolve
from bandproof.properties.claim import Lack, Named, NotApplicable, Property
from bandproof.properties.packs import Claim, Pack, expected_verdicts, load_pack, load_pack_text, model_files
from bandproof.terms.names import closest
from bandproof.terms.nodes import Compare, Has, Is, SettingLevel, Term, atoms
from bandproof.text.input_faults import Faults, Place

__all__ = ["Claim", "Pack", "expected_verdicts", "load_pack", "load_pack_text", "model_files", "resolve_pack"]


@dataclass(frozen=True, slots=True)
class Subject:
    """What claims are about: an arrangement, or what a faulty file names. None stands for what is faulty."""

    name: str
    roles: Mapping[str, Meaning | None]
    scope: Scope
    starts: tuple[str, ...]
    mishaps: frozenset[str]


def resolve_pack(pack: Pack, arrangement: Arrangement) -> tuple[Property | NotApplicable, ...]:
    """Every claim of the pack about this arrangement, in order; InputError with every misuse of a role."""
    faults = Faults()
    subject = subject_of(arrangement)
    found = [_apply(claim, pack, subject, faults) for claim in pack.claims]
    faults.stop_if_any()
    return tuple(found)


def check_pack(pack: Pack, outline: Outline, faults: Faults) -> None:
    """Note every misuse of a role in claims about a file that is faulty itself."""
    subject = _outline(outline)
    for claim in pack.claims:
        _apply(claim, pack, subject, faults)


def subject_of(arrangement: Arrangement) -> Subject:
    """An arrangement as claims and scripts speak of it."""
    sorts = {volume.name: Sort.VOLUME for volume in arrangement.volumes}
    sorts |= {part.name: Sort.PART for part in arrangement.parts}
    sorts |= {control.name: Sort.CONTROL for control in arrangement.controls}
    sorts |= {mishap.name: Sort.MISHAP for mishap in arrangement.mishaps}
    sorts |= {setting.name: Sort.SETTING for setting in arrangement.settings}
    roles = {role: Meaning(sorts[players[0]], players, role=True) for role, players in arrangement.roles.items()}
    scope = Scope(
        noun=f'role of arrangement "{arrangement.name}"',
        names={**_by_themselves(setting.name for setting in arrangement.settings), **roles},
        states={part.name: part.states for part in arrangement.parts},
        positions={control.name: control.positions for control in arrangement.controls},
        settings={s.name: Threshold(s.low, s.high, s.name) for s in arrangement.settings},
        bands={band.name: band for band in arrangement.bands},
        reach=Reach(arrangement.highest, arrangement.unit),
    )
    starts = tuple(start.name for start in arrangement.starts)
    return Subject(arrangement.name, roles, scope, starts, frozenset(mishap.name for mishap in arrangement.mishaps))


def _outline(outline: Outline) -> Subject:
    names, roles = outline.names, outline.roles
    scope = replace(
        names.scope(roles),
        noun=f'role of arrangement "{outline.name}"',
        names={**_by_themselves(names.settings), **roles},
    )
    return Subject(outline.name, roles, scope, outline.starts or ("",), frozenset(names.mishaps))


def _by_themselves(settings: Iterable[str]) -> dict[str, Meaning]:
    """Settings as what they are called."""
    return {name: Meaning(Sort.SETTING, (name,)) for name in settings}


def _apply(claim: Claim, pack: Pack, subject: Subject, faults: Faults) -> Property | NotApplicable:
    lacks = _lacks(claim, subject)
    if lacks:
        return NotApplicable(claim.id, claim.says, claim.basis, lacks, claim.caution, pack.file)
    return Property(
        id=claim.id,
        says=claim.says,
        basis=claim.basis,
        shape=claim.shape,
        during=claim.during or subject.starts[0],
        when=_condition(claim, "when", subject, faults),
        then=_condition(claim, "then", subject, faults),
        until=None if claim.until is None else _condition(claim, "until", subject, faults),
        pace=claim.pace,
        mishaps=_mishaps(claim, subject, faults),
        caution=claim.caution,
        fillings=claim.fillings,
    )


def _lacks(claim: Claim, subject: Subject) -> tuple[Lack, ...]:
    """Why the claim does not apply here; nothing when it does."""
    terms = [term for term in (claim.when, claim.then, claim.until) if term]
    return lacking(terms, claim.mishaps or (), claim.during, subject)


def lacking(terms: Iterable[Term], roles: Iterable[str], start: str | None, subject: Subject) -> tuple[Lack, ...]:
    """What is named and is not there. A setting needs no role: its own name will do."""
    given = list(terms)
    levels = [name for term in given for name in _levels(term) if name not in subject.scope.names]
    mentioned = [*(name for term in given for name in _subjects(term)), *levels, *roles]
    missing = dict.fromkeys(name for name in mentioned if name not in subject.roles)
    lacks = [Lack(Named.ROLE, name, closest(name, subject.roles)) for name in missing]
    if start is not None and start not in subject.starts:
        lacks.append(Lack(Named.START, start))
    return tuple(lacks)


def _subjects(term: Term) -> Iterator[str]:
    """Whatever a condition says something of, with repeats, left to right."""
    for atom in atoms(term):
        if isinstance(atom, Compare | Is | Has):
            yield atom.subject.name.text


def _levels(term: Term) -> Iterator[str]:
    """Whatever a condition compares with that is no pressure written out, with repeats, left to right."""
    for atom in atoms(term):
        if isinstance(atom, Compare) and isinstance(atom.level, SettingLevel):
            yield atom.level.setting.text


def _condition(claim: Claim, key: str, subject: Subject, faults: Faults) -> Condition:
    term: Term | None = getattr(claim, key)
    return ALWAYS_TRUE if term is None else meant(term, claim.places[key], subject, faults)


def meant(term: Term, place: Place, subject: Subject, faults: Faults) -> Condition:
    """What a condition that stands at `place` says of the arrangement. After any fault it means nothing."""

    def report(code: str, at: tuple[int, int], message: str, hint: str, note: str) -> None:
        note = note or f'in arrangement "{subject.name}"'
        faults.add(code, place, message, hint=hint, note=note, inside=at)

    return resolve(term, subject.scope, report)


def _mishaps(claim: Claim, subject: Subject, faults: Faults) -> frozenset[str]:
    if claim.mishaps is None:
        return subject.mishaps
    return players_of(claim.mishaps, claim.place / "mishaps", subject, faults)


def players_of(roles: Iterable[str], place: Place, subject: Subject, faults: Faults) -> frozenset[str]:
    """The mishaps that play these roles."""
    found = set[str]()
    for role in roles:
        meaning = subject.roles[role]
        if meaning is None:
            continue
        if meaning.sort is not Sort.MISHAP:
            message = f'"{role}" is a {meaning.sort}, not a mishap'
            note = f'in arrangement "{subject.name}"'
            faults.add("not-a-mishap", place, message, hint="name roles of mishaps here", note=note)
        found |= set(meaning.names)
    return frozenset(found)
