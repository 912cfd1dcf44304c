"""What the pictures share: the house style of a graph, names of nodes, wrapped labels and record fields.

Graphs are objects of the library `graphviz`, which knows how DOT quotes; only record fields, which it does not know, are
escaped here. Drawing them is another module's business.

Only plain and record labels are used: the WebAssembly renderer has no HTML labels. Pictures are black on white, and
every difference that matters is a shape, a line style or a word.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from textwrap import wrap
from typing import TypeAlias

import graphviz

FONT = "Helvetica"

#: A directed graph: `node(name, label, **attributes)`, `edge(tail, head, label, **attributes)`, `subgraph()`.
Picture: TypeAlias = graphviz.Digraph

#: What must not be torn apart at a line's end, and the blank that holds it together.
_KEPT = re.compile(
    r"\([^()]{1,20}\)|(?:at )?[0-9.–]+ (?:psi|kPa|bar|MPa|L|dm³)(?![a-z])|open air|air source|all closed|[→↔] \S+"
    r"|[a-z]+ [0-9]{1,2}(?![0-9.–])(?! (?:psi|kPa|bar|MPa|L|dm³))"
)
_FIXED = "\N{NO-BREAK SPACE}"

#: Blanks at the start of a line that Graphviz does not strip.
INDENT = "\N{EM SPACE}"

#: Quotation marks are left to the library.
_RECORD_SIGNS = str.maketrans({sign: "\\" + sign for sign in "\\{}|<>"})


def picture(name: str, **attributes: str) -> Picture:
    """An empty graph in the house font, black on white."""
    return graphviz.Digraph(
        graphviz.escape(name),
        graph_attr={"fontname": FONT, "fontsize": "14", "bgcolor": "white", **attributes},
        node_attr={"fontname": FONT, "fontsize": "12", "color": "black", "fontcolor": "black"},
        edge_attr={"fontname": FONT, "fontsize": "11", "color": "black", "fontcolor": "black", "arrowsize": "0.7"},
    )


def text(drawing: Picture) -> str:
    """A finished graph as DOT text."""
    return str(drawing.source)


def identifier(kind: str, name: str) -> str:
    """A node name that no other kind of thing shares. `name` has no colon: the library reads a port behind one."""
    named: str = graphviz.escape(f"{kind} {name}")
    return named


def lines(text: str, width: int, indent: str = "") -> list[str]:
    """`text` broken between words into lines of at most `width` signs; never empty.

    A number stays with its unit, and "open air" stays whole. `indent` starts the lines after the first.
    """
    kept = _KEPT.sub(lambda found: found[0].replace(" ", _FIXED), text)
    rows = wrap(kept, width, break_long_words=False, break_on_hyphens=False, subsequent_indent=indent)
    return [row.replace(_FIXED, " ") for row in rows] or [""]


def label(rows: Iterable[str], justify: str = "n") -> str:
    """A plain label with one line per row; `justify` is n (centred), l or r."""
    joint = "\\" + justify
    told = joint.join(graphviz.escape(row) for row in rows)
    kept: str = graphviz.nohtml(told + (joint if justify != "n" else ""))
    return kept


def field(rows: Iterable[str], justify: str = "l", port: str = "") -> str:
    """One field of a record label, with a port to tie edges to if one is named."""
    joint = "\\" + justify
    told = joint.join(row.translate(_RECORD_SIGNS) for row in rows)
    tail = joint if justify != "n" else ""
    return (f"<{port}> " if port else "") + told + tail


def record(fields: Iterable[str]) -> str:
    """A record label: fields one above the other."""
    return "{" + "|".join(fields) + "}"
