"""Which claims about which arrangements the default run decides; `-m packs` and `-m long` decide the others.

`long` has what is expected to stay undecided, and the twins' share of what takes minutes.
"""

from __future__ import annotations

from pathlib import Path

import pytest

#: The sound arrangement, and the twin that the README shows. The others take long and are for `.ci/run`.
DEFAULT = frozenset({"two_knob_tractor", "fed_from_one_tank"})

#: The sound arrangement; what is asked here of all is asked of it before it is asked of twins.
SOUND = "two_knob_tractor"

#: What is expected to stay without an answer takes a search until there is hardly hope, for minutes.
HOPELESS = "undecided"

#: Claims that take a search for a vehicle that pumps a tank down, or for one that there is not.
PUMPED = frozenset(
    {
        "braking-after-breakaway-costs-no-air",
        "check-valves-keep-service-tanks",
        "full-charge-from-cold",
        "knob-cannot-stay-in-below-hold-in",
        "trailer-releases-only-with-both-knobs-in-at-any-time",
    }
)

#: Claims whose proof takes many accounts of air; where they are refuted they are quick.
ACCOUNTED = frozenset({"pushing-park-leaves-trailer-knob-in", "trailer-releases-only-with-both-knobs-in"})

#: Scripts in which the pedal is pumped hundreds of times.
LONG_SCRIPTS = frozenset({"pumping_tanks_down"})


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark the claims about all other arrangements, before the marker expression is looked at."""
    here = Path(__file__).parent
    for item in items:
        if item.path.parent == here / "scripts" and item.path.stem in LONG_SCRIPTS:
            item.add_marker("packs")
        if item.path.parent != here or item.parent is None:
            continue
        expected = getattr(item, "expected", "")
        later = item.name in PUMPED or (item.name in ACCOUNTED and expected == "proven")
        if expected == HOPELESS or (later and item.parent.name != SOUND):
            item.add_marker("long")
        elif later or item.parent.name not in DEFAULT:
            item.add_marker("packs")
