"""What the pictures that are written by hand have in common: words, and labels that keep their distance."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape


def words_at(x: float, y: float, words: str, *, anchor: str = "start", size: int = 12, colour: str = "black") -> str:
    """Words at a place in pixels."""
    fill = f' fill="{colour}"' if colour != "black" else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" text-anchor="{anchor}"{fill}>{escape(words)}</text>'


def spread(wanted: Sequence[float], apart: float) -> list[float]:
    """Heights near `wanted` (given from the lowest in the picture up) that are `apart` pixels or more from each other."""
    placed: list[float] = []
    for y in wanted:
        placed.append(min(y, placed[-1] - apart) if placed else y)
    return placed
