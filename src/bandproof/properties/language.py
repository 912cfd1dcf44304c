"""Rule packs and what they claim of an arrangement: every role in a claim becomes the names that play it there.

A claim that mentions a role, start or mishap the arrangement does not have is not applicable, which is an answer and
no fault. A claim that says of a role what cannot be said of its players is a fault.
"""

from __future__ import annotations

from collections.abc import Iterator

from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import ALWAYS_TRUE, Condition
from bandproof.model.resolve import Meaning, Reach, Scope, Sort, Threshold, resolve
from bandproof.properties.claim import Lack, Named, NotApplicable, Property
from bandproof.properties.packs import Claim, Pack, expected_verdicts, load_pack, load_pack_text, model_files
from bandproof.terms.names import closest
from bandproof.terms.nodes import Compare, Has, Is, SettingLevel, Term, atoms
from bandproof.text.input_faults import Faults

__all__ = ["Claim", "Pack", "expected_verdicts", "load_pack", "load_pack_text", "model_files", "resolve_pack"]


def resolve_pack(pack: Pack, arrangement: Arrangement) -> tuple[Property | NotApplicable, ...]:
    """Every claim of the pack about this arrangement, in order; InputError with every misuse of a role."""
    faults = Faults()
    scope = _scope(arrangement)
    found = [_apply(claim, arrangement, scope, faults) for claim in pack.claims]
    faults.stop_if_any()
    return tuple(found)


def _roles(arrangement: Arrangement) -> dict[str, Meaning]:
    sorts = {volume.name: Sort.VOLUME for volume in arrangement.volumes}
    sorts |= {part.name: Sort.PART for part in arrangement.parts}
    sorts |= {control.name: Sort.CONTROL for control in arrangement.controls}
    sorts |= {mishap.name: Sort.MISHAP for mishap in arrangement.mishaps}
    sorts |= {setting.name: Sort.SETTING for setting in arrangement.settings}
    return {role: Meaning(sorts[players[0]], players, role=True) for role, players in arrangement.roles.items()}


def _scope(arrangement: Arrangement) -> Scope:
    return Scope(
        noun=f'role of arrangement "{arrangement.name}"',
        names=_roles(arrangement),
        states={part.name: part.states for part in arrangement.parts},
        positions={control.name: control.positions for control in arrangement.controls},
        settings={s.name: Threshold(s.low, s.high, s.name) for s in arrangement.settings},
        bands={band.name: band for band in arrangement.bands},
        reach=Reach(None, arrangement.unit),
    )


def _apply(claim: Claim, arrangement: Arrangement, scope: Scope, faults: Faults) -> Property | NotApplicable:
    lacks = _lacks(claim, arrangement)
    if lacks:
        return NotApplicable(claim.id, claim.says, claim.basis, lacks, claim.caution)
    return Property(
        id=claim.id,
        says=claim.says,
        basis=claim.basis,
        shape=claim.shape,
        during=claim.during or arrangement.starts[0].name,
        when=_condition(claim, "when", scope, arrangement, faults),
        then=_condition(claim, "then", scope, arrangement, faults),
        until=None if claim.until is None else _condition(claim, "until", scope, arrangement, faults),
        pace=claim.pace,
        mishaps=_mishaps(claim, arrangement, faults),
        caution=claim.caution,
    )


def _lacks(claim: Claim, arrangement: Arrangement) -> tuple[Lack, ...]:
    """Why the claim does not apply here; nothing when it does."""
    mentioned = [name for term in (claim.when, claim.then, claim.until) if term for name in _names(term)]
    missing = dict.fromkeys(name for name in [*mentioned, *(claim.mishaps or ())] if name not in arrangement.roles)
    lacks = [Lack(Named.ROLE, name, closest(name, arrangement.roles)) for name in missing]
    if claim.during is not None and all(start.name != claim.during for start in arrangement.starts):
        lacks.append(Lack(Named.START, claim.during))
    return tuple(lacks)


def _names(term: Term) -> Iterator[str]:
    """Every role a condition mentions, with repeats, left to right."""
    for atom in atoms(term):
        if isinstance(atom, Compare | Is | Has):
            yield atom.subject.name.text
        if isinstance(atom, Compare) and isinstance(atom.level, SettingLevel):
            yield atom.level.setting.text


def _condition(claim: Claim, key: str, scope: Scope, arrangement: Arrangement, faults: Faults) -> Condition:
    term: Term | None = getattr(claim, key)
    if term is None:
        return ALWAYS_TRUE

    def report(code: str, at: tuple[int, int], message: str, hint: str, note: str) -> None:
        note = note or f'in arrangement "{arrangement.name}"'
        faults.add(code, claim.places[key], message, hint=hint, note=note, inside=at)

    return resolve(term, scope, report)


def _mishaps(claim: Claim, arrangement: Arrangement, faults: Faults) -> frozenset[str]:
    if claim.mishaps is None:
        return frozenset(mishap.name for mishap in arrangement.mishaps)
    roles, found = _roles(arrangement), set[str]()
    for role in claim.mishaps:
        meaning = roles[role]
        if meaning.sort is not Sort.MISHAP:
            message = f'"{role}" is a {meaning.sort}, not a mishap'
            note = f'in arrangement "{arrangement.name}"'
            faults.add("not-a-mishap", claim.place / "mishaps", message, hint="name roles of mishaps here", note=note)
        found |= set(meaning.names)
    return frozenset(found)
