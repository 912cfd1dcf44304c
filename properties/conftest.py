"""Which of the arrangements that these packs name the default run decides; `-m packs` decides the others."""

from __future__ import annotations

from pathlib import Path

import pytest

#: The sound arrangement, and the twin that the README shows. The others take long and are for `.ci/run`.
DEFAULT = frozenset({"two_knob_tractor", "fed_from_one_tank"})


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark the claims about all other arrangements, before the marker expression is looked at."""
    here = Path(__file__).parent
    for item in items:
        if item.path.parent == here and item.parent is not None and item.parent.name not in DEFAULT:
            item.add_marker("packs")
