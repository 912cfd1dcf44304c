"""Strategies that spoil a good text: lines and characters dropped, doubled, swapped and replaced by awkward ones."""

from __future__ import annotations

import re

from hypothesis import strategies as st

#: Bits that are awkward to a reader of TOML, of numbers or of conditions.
AWKWARD = (
    *('"', "'", '"""', "'''", "[", "]", "[[", "{", "}", "=", ".", ",", "#", "\\", "\n", "\r", "\t", "\x00", "\x1b"),
    *("é", "名", "𝒳", "e\u0301", "\u2028", "\u202e", "\ufeff", "\\u0000", "\\uD800"),
    *(
        "1e400",
        "9" * 400,
        "nan",
        "-inf",
        "0x1F",
        "1_000.5",
        "-0",
        "true",
        "1979-05-27",
        "[]",
        "{}",
        '""',
        '"x"',
        "[1, {}]",
    ),
    *(
        "..",
        " ± ",
        "+-",
        "psi",
        "bar",
        "not ",
        " and ",
        " or ",
        "(",
        ")",
        "is",
        "at least",
        "every ",
        "pressure of ",
        "below",
    ),
)

#: One edit: what is done, and two numbers between 0 and 1 that say where, and with what.
EDITS = st.tuples(
    st.sampled_from(["drop line", "double line", "line", "drop", "put", "value", "word", "quoted"]),
    st.floats(0, 1, exclude_max=True),
    st.floats(0, 1, exclude_max=True),
)


def spoil(text: str, edits: list[tuple[str, float, float]]) -> str:
    """The text after all edits."""
    for what, where, which in edits:
        text = _edit(text, what, where, which)
    return text


def _edit(text: str, what: str, where: float, which: float) -> str:
    awkward = AWKWARD[int(which * len(AWKWARD))]
    if what in {"drop line", "double line", "line"}:
        lines = text.split("\n")
        index = int(where * len(lines))
        new = {"drop line": [], "double line": [lines[index]] * 2, "line": [awkward]}[what]
        return "\n".join([*lines[:index], *new, *lines[index + 1 :]])
    if what in {"drop", "put"}:
        index = int(where * (len(text) + 1))
        return text[:index] + (awkward if what == "put" else "") + text[index + (what == "drop") :]
    pattern = {"value": r"(?<== ).*", "word": r"[A-Za-z_]+", "quoted": r'"[^"\n]*"'}[what]
    found = list(re.finditer(pattern, text))
    if not found:
        return text
    spot = found[int(where * len(found))]
    other = awkward if what == "value" else found[int(which * len(found))].group()
    return text[: spot.start()] + other + text[spot.end() :]


def spoilt(text: str) -> st.SearchStrategy[str]:
    """The text after one to six edits."""
    return st.lists(EDITS, min_size=1, max_size=6).map(lambda edits: spoil(text, edits))
