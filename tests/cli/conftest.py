"""The small arrangement of `samples.py` in a folder of its own, and the command line run there in this process."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from bandproof.cli import app
from tests.cli.samples import lay

Run = Callable[..., Result]


@pytest.fixture
def model(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The arrangement with its pack; the working folder is theirs."""
    monkeypatch.chdir(tmp_path)
    return lay(tmp_path).relative_to(tmp_path)


@pytest.fixture
def run() -> Run:
    """Run the command line with these arguments; the result has its exit code and both streams."""

    def with_arguments(*arguments: str | Path) -> Result:
        return CliRunner().invoke(app, [str(a) for a in arguments], catch_exceptions=False)

    return with_arguments
