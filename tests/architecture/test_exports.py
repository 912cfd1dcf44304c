"""What a user may import from the package itself: a list that changes only on purpose."""

from __future__ import annotations

import bandproof

PUBLIC = [
    "Arrangement",
    "BandproofError",
    "Case",
    "CrossCheckError",
    "Decider",
    "Diagnostic",
    "Finding",
    "InputError",
    "Layout",
    "Limits",
    "NotApplicable",
    "Property",
    "RequestError",
    "State",
    "Step",
    "Story",
    "Verdict",
    "find_packs",
    "load_arrangement",
    "load_cases",
    "load_pack",
    "overall",
    "prove",
]


def test_the_public_names_are_these() -> None:
    assert bandproof.__all__ == PUBLIC
    assert sorted(PUBLIC, key=lambda name: (name.islower(), name)) == PUBLIC


def test_each_is_there_and_says_what_it_is() -> None:
    for name in PUBLIC:
        assert getattr(bandproof, name).__doc__, name
