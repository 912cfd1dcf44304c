"""The largest sets of this folder, and the counts it prints at the end."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from .tally import told


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave the long and huge sets of this folder out unless the marker expression names them."""
    asked = config.option.markexpr
    here = Path(__file__).parent
    left_out = [
        item
        for item in items
        if item.path.parent == here
        and any(item.get_closest_marker(name) and name not in asked for name in ("long", "huge"))
    ]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in left_out]


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print what every set of trajectories came to; read from the reports, so that it works with xdist too."""
    sets: dict[str, list[dict[str, Any]]] = {}
    for outcome in ("passed", "failed"):
        for report in terminalreporter.stats.get(outcome, ()):
            for name, value in getattr(report, "user_properties", ()):
                if name == "trajectories":
                    terminalreporter.write_line(f"{report.nodeid}: {value}")
                elif name == "tally":
                    terminalreporter.write_line(f"{report.nodeid}: {told([value])}")
                    sets.setdefault(report.nodeid.partition("[")[0], []).append(value)
    for test, tallies in sets.items():
        if len(tallies) > 1:
            terminalreporter.write_line(f"{test}, all {len(tallies)}: {told(tallies)}")
