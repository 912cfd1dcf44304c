"""Warns of names that nothing uses: mostly slips, such as a part that was renamed, or a mishap nobody wired up.

A word counts as a use wherever it stands in a part's slots, a role, a start's condition or a band, so a warning is never
wrong about a name that is used; a name that is spelt like another's state may escape it.

Limits: only what the file itself declares is looked at. A file that extends another and leaves parts of it out leaves
names of that other file without use, and that is what it is for.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from itertools import chain

from bandproof.model.files import Merged
from bandproof.model.schema import PartShape
from bandproof.terms.names import words_in
from bandproof.text.input_faults import Faults
from bandproof.text.messages import Severity

#: The tables looked at, and what an entry of each is called.
_NOUNS = {"volumes": "volume", "controls": "control", "mishaps": "mishap", "settings": "setting", "bands": "band"}


def warn_of_unused(merged: Merged, mentioned: Collection[str], faults: Faults) -> None:
    """Note a warning at each name that nothing uses; `mentioned` are words that rule packs use."""
    used = {word for text in chain(_texts(merged), mentioned) for word in words_in(text)}
    for table, noun in _NOUNS.items():
        for name, entry in getattr(merged, table).items():
            if name not in used and entry.place.document is merged.top:
                message = f'nothing uses the {noun} "{name}"'
                hint = "use it, or remove it"
                faults.add("unused-name", entry.place, message, hint=hint, key=True, level=Severity.WARNING)


def _texts(merged: Merged) -> Iterator[str]:
    """Every text in which a name can be used."""
    for part in merged.parts.values():
        if part.value is not None:
            yield from _slots(part.value)
    for role in merged.roles.values():
        yield from _each(role.value)
    for start in merged.starts.values():
        yield from _each(None if start.value is None else start.value.where)
    for band in merged.bands.values():
        yield from _each(band.value)


def _slots(part: PartShape) -> Iterator[str]:
    """What a part's slots are joined to."""
    for slots in (part.ports, part.settings, part.controls, part.mishaps):
        for given in slots.values():
            yield from _each(given)


def _each(given: str | list[str] | None) -> Iterator[str]:
    yield from [given] if isinstance(given, str) else given or ()
