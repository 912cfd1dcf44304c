"""The built-in renderer is loaded once, before the first picture, so that no single test pays for it."""

from __future__ import annotations

import pytest

from bandproof.views.graphviz import render_svg


@pytest.fixture(scope="session", autouse=True)
def _renderer_is_loaded() -> None:
    render_svg("digraph { a -> b }")
