"""Lemmas in a certificate: one query each, with the places as comments that can be read back."""

from __future__ import annotations

import json
from collections.abc import Iterable

from bandproof.certificates.reader import WrittenLemma
from bandproof.lemmas.cubes import Literal
from bandproof.lemmas.lemma import Lemma, contradiction
from bandproof.machine.layout import Layout
from bandproof.properties.claim import Property

#: How many entries an atom has when written down.
_ENTRIES = 5


def write_lemmas(layout: Layout, lemmas: Iterable[Lemma]) -> str:
    """The queries of lemmas, to follow those about the invariant."""
    return "".join(_write(layout, order, lemma) for order, lemma in enumerate(lemmas, start=1))


def _write(layout: Layout, order: int, lemma: Lemma) -> str:
    lines = ["", f"; ---- lemma {order}: a run through these places, one after the other, whose air accounts balance"]
    lines.append(f"; lemma: {order}")
    lines.append(f"; begins: {'anywhere' if lemma.start is None else f'at the start {lemma.start}'}")
    for number, (place, words) in enumerate(zip(lemma.places, lemma.words(layout), strict=True)):
        lines.append(f"; place {number}: {_ascii(words)}")
        lines.append(f"; atoms: {json.dumps([_as_list(atom) for atom in sorted(place, key=lambda a: a.order)])}")
    return "\n".join([*lines, "(reset)", contradiction(layout, lemma)])


def _ascii(text: str) -> str:
    return text.encode("ascii", "backslashreplace").decode("ascii")


def _as_list(atom: Literal) -> list[object]:
    return [atom.sort, atom.subject, atom.rank, sorted(atom.values), atom.holds]


def read_lemma(layout: Layout, claim: Property, written: WrittenLemma) -> Lemma | None:
    """The lemma that was written; None when it speaks of what the layout, or a run of the claim, does not have."""
    passed = [start.name for start in layout.arrangement.way_to(claim.during)[1:]]
    places: list[frozenset[Literal]] = []
    for items in written.places:
        atoms = [_atom(layout, passed, item) for item in items]
        if any(atom is None for atom in atoms) or not _one_of_each(atoms):
            return None
        places.append(frozenset(atom for atom in atoms if atom is not None))
    start = None if written.begins == "anywhere" else written.begins.removeprefix("at the start ")
    known = start is None or start in {s.name for s in layout.arrangement.starts}
    return Lemma(tuple(places), start) if places and known else None


def _one_of_each(atoms: Iterable[Literal | None]) -> bool:
    """No two atoms say where the same part or control is: what they say together could be read in two ways."""
    said = [(atom.sort, atom.subject) for atom in atoms if atom is not None and atom.sort in ("part", "control")]
    return len(said) == len(set(said))


def _atom(layout: Layout, passed: list[str], item: object) -> Literal | None:
    if not isinstance(item, list) or len(item) != _ENTRIES:
        return None
    sort, subject, rank, values, holds = item
    if not (isinstance(sort, str) and isinstance(subject, str) and type(rank) is int and isinstance(holds, bool)):
        return None
    if not (isinstance(values, list) and all(isinstance(value, str) for value in values)):
        return None
    arrangement = layout.arrangement
    possible = {
        "part": {p.name: frozenset(p.states) for p in arrangement.parts},
        "control": {c.name: frozenset(c.positions) for c in arrangement.controls},
        "mishap": {m.name: frozenset[str]() for m in arrangement.mishaps},
        "passed": {start: frozenset[str]() for start in passed},
        "level": {volume: frozenset[str]() for volume in layout.thresholds},
    }.get(sort, {})
    ranks = len(layout.thresholds[subject]) if sort == "level" and subject in possible else 1
    if subject not in possible or not set(values) <= possible[subject] or not 0 <= rank < ranks:
        return None
    try:
        return Literal(sort, subject, rank, frozenset(values), holds)
    except ValueError:
        return None
