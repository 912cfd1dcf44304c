"""Lemmas in a certificate: one query each, with the places as comments that can be read back.

First come the layout's imbalances, then the lemmas about runs: to a reader they are lemmas alike.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from fractions import Fraction
from functools import partial

from bandproof.certificates.reader import WrittenLemma
from bandproof.lemmas.balance import imbalance_of, literals_of, unbalanced
from bandproof.lemmas.cubes import Literal
from bandproof.lemmas.lemma import Lemma, contradiction
from bandproof.machine.imbalance import Imbalance
from bandproof.machine.layout import Layout
from bandproof.properties.claim import Property
from bandproof.properties.monitors import Stillness

#: How a lemma is written to begin that speaks of states that are still.
_STILL = {Stillness.SETTLED: "in a settled state", Stillness.AT_REST: "in a state at rest"}

#: A mark as it is written, in pascals gauge.
_MARK = re.compile(r"[0-9]+(/[1-9][0-9]*)?")

#: How many entries an atom has when written down.
_ENTRIES = 5


def write_lemmas(layout: Layout, lemmas: Iterable[Lemma]) -> str:
    """The queries of the layout's imbalances and of lemmas, to follow those about the invariant."""
    written = [partial(_write_imbalance, layout, imbalance=one) for one in layout.imbalances]
    written += [partial(_write, layout, lemma=lemma) for lemma in lemmas]
    return "".join(write(order=order) for order, write in enumerate(written, start=1))


def _write_imbalance(layout: Layout, order: int, imbalance: Imbalance) -> str:
    place = literals_of(layout, imbalance)
    lines = ["", f"; ---- lemma {order}: a state in this place in which what comes to each volume goes from it again"]
    lines += [f"; lemma: {order}", f"; begins: {_STILL[imbalance.still]}"]
    lines += _place(0, place, Lemma((place,), None).words(layout)[0])
    lines.append("; place 1: pressures at which flows are looked at, pascals gauge")
    lines.append(f"; atoms: {json.dumps([[volume, *map(str, marks)] for volume, marks in imbalance.marks])}")
    return "\n".join([*lines, "(reset)", unbalanced(layout, imbalance)])


def _place(number: int, place: Iterable[Literal], words: str) -> list[str]:
    atoms = json.dumps([_as_list(atom) for atom in sorted(place, key=lambda a: a.order)])
    return [f"; place {number}: {_ascii(words)}", f"; atoms: {atoms}"]


def _write(layout: Layout, order: int, lemma: Lemma) -> str:
    lines = ["", f"; ---- lemma {order}: a run through these places, one after the other, whose air accounts balance"]
    lines.append(f"; lemma: {order}")
    lines.append(f"; begins: {'anywhere' if lemma.start is None else f'at the start {lemma.start}'}")
    for number, (place, words) in enumerate(zip(lemma.places, lemma.words(layout), strict=True)):
        lines += _place(number, place, words)
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


def is_imbalance(written: WrittenLemma) -> bool:
    """The lemma that was written says of states that they are not settled, or not at rest."""
    return written.begins in _STILL.values()


def read_imbalances(layout: Layout, lemmas: Iterable[WrittenLemma]) -> tuple[Imbalance, ...] | None:
    """The imbalances among the lemmas that were written; None when one speaks of what the layout does not have."""
    found: list[Imbalance] = []
    for written in filter(is_imbalance, lemmas):
        still = next(one for one, words in _STILL.items() if words == written.begins)
        if len(written.places) != 2:
            return None
        atoms = [_atom(layout, [], item) for item in written.places[0]]
        marks = dict(map(_marks, written.places[1]))
        known = [atom for atom in atoms if atom is not None and atom.sort in ("level", "part")]
        if len(known) != len(atoms) or not _one_of_each(known) or not marks.keys() <= layout.thresholds.keys():
            return None
        found.append(imbalance_of(layout, known, still, marks))
    return tuple(found)


def _marks(item: object) -> tuple[str, tuple[Fraction, ...]]:
    """The marks of a volume that were written; of none where they cannot be read."""
    match item:
        case [str(volume), *marks] if all(_MARK.fullmatch(str(mark)) for mark in marks):
            return volume, tuple(Fraction(str(mark)) for mark in marks)
    return "", ()


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
