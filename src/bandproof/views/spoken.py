"""Times as people say them."""

from __future__ import annotations


def spoken_time(seconds: float) -> str:
    """A time for people: "0.04 s", "12.3 s", "4 min 10 s"."""
    if round(seconds) >= 120:
        minutes, rest = divmod(round(seconds), 60)
        return f"{minutes} min {rest} s"
    return f"{seconds:.2f} s" if seconds < 10 else f"{seconds:.1f} s"
