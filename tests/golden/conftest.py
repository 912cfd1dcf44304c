"""Golden files: whole outputs kept beside the tests.

`pytest tests/golden --accept-golden` writes what the code gives now; read the difference before committing it. On a
mismatch the output is saved in `tests/golden/actual/`, which is never committed.
"""

from __future__ import annotations

from collections.abc import Callable
from difflib import unified_diff
from itertools import islice
from pathlib import Path

import pytest

#: Lines of a difference that a failure shows; the whole is in the saved file.
_SHOWN = 40


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--accept-golden", action="store_true", help="write golden files instead of comparing with them")


@pytest.fixture
def golden(request: pytest.FixtureRequest) -> Callable[[str, str], None]:
    """A check that a text is the golden file of that name."""
    accept = bool(request.config.getoption("--accept-golden", default=False))
    here = Path(__file__).parent
    return lambda name, text: compare(here, name, text, accept=accept)


def compare(here: Path, name: str, text: str, *, accept: bool) -> None:
    """Compare `text` with `here/files/name`, or write it there when `accept` is set."""
    kept, actual = here / "files" / name, here / "actual" / name
    if accept:
        kept.parent.mkdir(exist_ok=True)
        kept.write_text(text, encoding="utf-8", newline="\n")
        return
    wanted = kept.read_text(encoding="utf-8") if kept.exists() else ""
    if text == wanted:
        actual.unlink(missing_ok=True)
        return
    actual.parent.mkdir(exist_ok=True)
    actual.write_text(text, encoding="utf-8", newline="\n")
    lines = unified_diff(wanted.splitlines(), text.splitlines(), "golden", "now", lineterm="")
    pytest.fail(f"{name} is not what it was (--accept-golden accepts it):\n" + "\n".join(islice(lines, _SHOWN)))
