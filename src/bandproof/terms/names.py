"""The vocabulary of files: which words conditions take for themselves, what a name may look like, what one is near to.

It is for what people write and this program reads. What people are shown is worded in `bandproof.views.phrases`, what
stands in certificates in `bandproof.encoding.bit_words`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from difflib import get_close_matches

#: The words with a meaning of their own; nothing may be named so.
RESERVED = frozenset(
    {
        *("and", "or", "not", "is", "has", "happened", "below", "at", "least", "always", "never"),
        *("every", "some", "lowest", "highest", "pressure", "of"),
    }
)

_NAME = re.compile(r"[A-Za-z_][A-Za-z0-9_]*")
_LABEL = re.compile(r"[A-Za-z0-9_]+(?:[ -][A-Za-z0-9_]+)*")


def words_in(text: str) -> Iterator[str]:
    """Whatever could be a name in a text, left to right, with repeats."""
    return (found[0] for found in _NAME.finditer(text))


def is_name(text: str) -> bool:
    """Whether a volume, part, control, mishap, setting, band, role or slot may look like this."""
    return _NAME.fullmatch(text) is not None


def is_label(text: str) -> bool:
    """Whether a state or position may look like this: words of letters and digits, joined by single blanks or `-`."""
    return _LABEL.fullmatch(text) is not None


def is_plain(text: str) -> bool:
    """Whether a condition can mention this without quotes."""
    return is_name(text) and text not in RESERVED


def closest(word: str, known: Iterable[str]) -> str | None:
    """The known word most like `word`, if any is like it at all."""
    found = get_close_matches(word[:80], sorted(known), n=1, cutoff=0.6)
    return found[0] if found else None


def suggest(word: str, known: Iterable[str], *, among: str = "", otherwise: str = "") -> str:
    """A hint for a word that is not known.

    It is the known word most like it; or else, where `among` is given, all known words after that phrase; or else
    `otherwise`, which says what to do when there is nothing to choose from.
    """
    choices = list(known)
    near = closest(word, choices)
    if near is not None:
        return f'did you mean "{near}"?'
    return f"{among} {listed(choices, most=12)}" if among and choices else otherwise


def listed(words: Iterable[str], *, most: int = 8) -> str:
    """Words as a list for a message, in the order given, cut after `most`."""
    items = list(words)
    shown = items[:most]
    rest = [f"{len(items) - most} more"] if len(items) > most else []
    return ", ".join([*shown, *rest])
