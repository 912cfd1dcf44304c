"""Imbalances of a layout written down and read back."""

from __future__ import annotations

from fractions import Fraction
from typing import Literal

from bandproof.findings.shapes import Exact, Record
from bandproof.machine.imbalance import Imbalance
from bandproof.properties.monitors import Stillness


class ImbalanceRecord(Record):
    """`Imbalance`; pressures in pascals gauge, by volume."""

    still: Literal["settled", "at rest"]
    at_least: dict[str, Exact]
    below: dict[str, Exact]
    parts: dict[str, list[str]]
    marks: dict[str, list[Exact]]


def imbalance_record(imbalance: Imbalance) -> ImbalanceRecord:
    """An imbalance as its record."""
    return ImbalanceRecord(
        still="settled" if imbalance.still is Stillness.SETTLED else "at rest",
        at_least={volume: str(mark) for volume, mark in imbalance.at_least},
        below={volume: str(mark) for volume, mark in imbalance.below},
        parts={part: sorted(states) for part, states in imbalance.parts},
        marks={volume: list(map(str, marks)) for volume, marks in imbalance.marks},
    )


def imbalance_of(record: ImbalanceRecord) -> Imbalance:
    """The imbalance of a record."""
    return Imbalance(
        Stillness(record.still),
        tuple((volume, Fraction(mark)) for volume, mark in record.at_least.items()),
        tuple((volume, Fraction(mark)) for volume, mark in record.below.items()),
        tuple((part, frozenset(states)) for part, states in record.parts.items()),
        tuple((volume, tuple(map(Fraction, marks))) for volume, marks in record.marks.items()),
    )
