"""Pieces of DOT text shared by the pictures: quoting, record fields, wrapped labels, nodes and edges.

Only plain and record labels are used: the WebAssembly renderer has no HTML labels. Pictures are black on white, and
every difference that matters is a shape, a line style or a word.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from textwrap import wrap

FONT = "Helvetica"

#: What must not be torn apart at a line's end, and the blank that holds it together.
_KEPT = re.compile(
    r"\([^()]{1,20}\)|(?:at )?[0-9.–]+ (?:psi|kPa|bar|MPa|L|dm³)(?![a-z])|open air|air source|all closed|[→↔] \S+"
    r"|[a-z]+ [0-9]{1,2}(?![0-9.–])(?! (?:psi|kPa|bar|MPa|L|dm³))"
)
_FIXED = "\N{NO-BREAK SPACE}"

#: Blanks at the start of a line that Graphviz does not strip.
INDENT = "\N{EM SPACE}"

_RECORD_SIGNS = str.maketrans({sign: "\\" + sign for sign in '\\{}|<>"'})
_LABEL_SIGNS = str.maketrans({"\\": "\\\\", '"': '\\"'})


def identifier(kind: str, name: str) -> str:
    """A quoted node name that no other kind of thing shares."""
    return '"' + f"{kind} {name}".translate(_LABEL_SIGNS) + '"'


def lines(text: str, width: int, indent: str = "") -> list[str]:
    """`text` broken between words into lines of at most `width` signs; never empty.

    A number stays with its unit, and "open air" stays whole. `indent` starts the lines after the first.
    """
    kept = _KEPT.sub(lambda found: found[0].replace(" ", _FIXED), text)
    rows = wrap(kept, width, break_long_words=False, break_on_hyphens=False, subsequent_indent=indent)
    return [row.replace(_FIXED, " ") for row in rows] or [""]


def label(rows: Iterable[str], justify: str = "n") -> str:
    """A quoted plain label with one line per row; `justify` is n (centred), l or r."""
    joint = "\\" + justify
    text = joint.join(row.translate(_LABEL_SIGNS) for row in rows)
    return f'"{text}{joint}"' if justify != "n" else f'"{text}"'


def field(rows: Iterable[str], justify: str = "l", port: str = "") -> str:
    """One field of a record label, with a port to tie edges to if one is named."""
    joint = "\\" + justify
    text = joint.join(row.translate(_RECORD_SIGNS) for row in rows)
    tail = joint if justify != "n" else ""
    return (f"<{port}> " if port else "") + text + tail


def node(name: str, text: str, **attributes: str) -> str:
    """A node line; `name` and `text` are already quoted."""
    return f"  {name} [label={text}{_more(attributes)}];"


def edge(tail: str, head: str, **attributes: str) -> str:
    """An edge line; both ends are quoted names, with `:port` where wanted."""
    given = _more(attributes).removeprefix(", ")
    return f"  {tail} -> {head} [{given}];" if given else f"  {tail} -> {head};"


def graph(name: str, body: Iterable[str], **attributes: str) -> str:
    """A whole directed graph in the house font, black on white."""
    head = ["digraph " + label([name]) + " {"]
    head.append(f'  graph [fontname="{FONT}", fontsize=14, bgcolor="white"{_more(attributes)}];')
    head.append(f'  node [fontname="{FONT}", fontsize=12, color="black", fontcolor="black"];')
    head.append(f'  edge [fontname="{FONT}", fontsize=11, color="black", fontcolor="black", arrowsize=0.7];')
    return "\n".join([*head, *body, "}"]) + "\n"


def _more(attributes: dict[str, str]) -> str:
    return "".join(f", {key}={_value(value)}" for key, value in attributes.items())


def _value(value: str) -> str:
    bare = value.replace(".", "", 1).replace("-", "", 1).isalnum()
    return value if bare or value.startswith('"') else f'"{value}"'
