"""Lessons in a certificate: one query each, with the places as comments that can be read back."""

from __future__ import annotations

import json
from collections.abc import Iterable

from bandproof.machine.layout import Layout
from bandproof.smt.certificate_text import WrittenLesson
from bandproof.smt.learned import Lesson, contradiction
from bandproof.smt.places import Atom

#: How many entries an atom has when written down.
_ENTRIES = 5


def write_lessons(layout: Layout, lessons: Iterable[Lesson]) -> str:
    """The queries of lessons, to follow those about the invariant."""
    return "".join(_write(layout, order, lesson) for order, lesson in enumerate(lessons, start=1))


def _write(layout: Layout, order: int, lesson: Lesson) -> str:
    lines = ["", f"; ---- lesson {order}: a run through these places, one after the other, whose air accounts balance"]
    lines.append(f"; lesson: {order}")
    lines.append(f"; begins: {'anywhere' if lesson.start is None else f'at the start {lesson.start}'}")
    for number, (place, words) in enumerate(zip(lesson.places, lesson.words(layout), strict=True)):
        lines.append(f"; place {number}: {_ascii(words)}")
        lines.append(f"; atoms: {json.dumps([_listed(atom) for atom in sorted(place, key=lambda a: a.order)])}")
    return "\n".join([*lines, "(reset)", contradiction(layout, lesson)])


def _ascii(text: str) -> str:
    return text.encode("ascii", "backslashreplace").decode("ascii")


def _listed(atom: Atom) -> list[object]:
    return [atom.sort, atom.subject, atom.rank, sorted(atom.values), atom.holds]


def read_lesson(layout: Layout, written: WrittenLesson) -> Lesson | None:
    """The lesson that was written; None when it speaks of what the layout does not have."""
    places: list[frozenset[Atom]] = []
    for items in written.places:
        atoms = [_atom(layout, item) for item in items]
        if any(atom is None for atom in atoms):
            return None
        places.append(frozenset(atom for atom in atoms if atom is not None))
    start = None if written.begins == "anywhere" else written.begins.removeprefix("at the start ")
    known = start is None or start in {s.name for s in layout.arrangement.starts}
    return Lesson(tuple(places), start) if places and known else None


def _atom(layout: Layout, item: object) -> Atom | None:
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
        "level": {volume: frozenset[str]() for volume in layout.landmarks},
    }.get(sort, {})
    ranks = len(layout.landmarks[subject]) if sort == "level" and subject in possible else 1
    if subject not in possible or not set(values) <= possible[subject] or not 0 <= rank < ranks:
        return None
    return Atom(sort, subject, rank, frozenset(values), holds)
