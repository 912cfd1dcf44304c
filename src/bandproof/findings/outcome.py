"""Verdicts against what was expected of them: the one place where `[pack.expected]` gets its meaning."""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum

from bandproof.findings.verdict import Verdict


class Outcome(StrEnum):
    """How the verdict of one claim, or what came out of many, compares with what the rule packs expect."""

    AS_EXPECTED = "as expected"
    FAILS = "refuted, and not expected to be"
    STANDS = "proven, and expected otherwise"
    OPEN = "neither proven nor refuted, and not expected to be"
    APART = "does not apply"


def outcome(verdict: Verdict, expected: Verdict = Verdict.PROVEN) -> Outcome:
    """One verdict against the one expected of it.

    What does not apply counts for nothing where it was expected to be proven; elsewhere nobody knows any more what was
    expected, which is open.
    """
    if verdict is expected is not Verdict.NOT_APPLICABLE:
        return Outcome.AS_EXPECTED
    match verdict:
        case Verdict.REFUTED:
            return Outcome.FAILS
        case Verdict.PROVEN:
            return Outcome.STANDS
        case Verdict.NOT_APPLICABLE if expected in (Verdict.PROVEN, Verdict.NOT_APPLICABLE):
            return Outcome.APART
        case _:
            return Outcome.OPEN


def together(outcomes: Iterable[Outcome]) -> Outcome:
    """Many outcomes in one: the gravest of them. OPEN where there is nothing but what does not apply."""
    met = set(outcomes)
    for grave in (Outcome.FAILS, Outcome.STANDS, Outcome.OPEN, Outcome.AS_EXPECTED):
        if grave in met:
            return grave
    return Outcome.OPEN
