"""Break the meaning clause by clause and see whether a test notices.

    python -m tests.mutation.run                 every break, a Markdown table on standard output
    python -m tests.mutation.run --only path     only breaks whose file, function or clause contains `path`

Each break is applied to a copy of the tree in a temporary folder; the suites run there one after another until one fails.
The exit code is 1 when a break is noticed by no suite. Not part of the test run: it takes some seconds for each break.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.mutation.breaks import CONDITIONS, EXECUTABLE, GRID, MONITORS, NUMBERS, PHYSICS, Break
from tests.mutation.breaks_encoded import COUNTERS, FLOW, STATES, STEPS
from tests.mutation.breaks_endless import ENDLESS
from tests.mutation.breaks_motion import BREAKS as MOTION

ROOT = Path(__file__).resolve().parents[2]
BREAKS = (
    *(*EXECUTABLE, *MONITORS, *CONDITIONS, *GRID, *NUMBERS, *PHYSICS),
    *(*STATES, *FLOW, *COUNTERS, *STEPS, *ENDLESS, *MOTION),
)

#: With what the default run leaves out for its time alone.
SHORT = ("-m", "not long and not huge")

#: Quickest first. The table is asked with few engines: each statement of the meaning has one at least.
SUITES = {
    "numbers": ["tests/unit/machine", "tests/unit/encoding", "tests/unit/test_walker.py", *SHORT],
    "table": ["tests/conformance", "-k", "not diagrams and not z3 and not induction", *SHORT],
    "differential": ["tests/differential", *SHORT, "--hypothesis-seed=7"],
}

#: A break may send a search round in circles; none of the suites takes a tenth of this.
PATIENCE = 600


@dataclass(frozen=True, slots=True)
class Outcome:
    """What noticed a break: the suite and the first test that failed, or nothing."""

    broken: Break
    suite: str | None
    test: str


def copy_tree(target: Path) -> None:
    """Copy what the suites need."""
    ignore = shutil.ignore_patterns("__pycache__", "*.egg-info")
    for folder in ("src", "tests"):
        shutil.copytree(ROOT / folder, target / folder, ignore=ignore)
    shutil.copy(ROOT / "pyproject.toml", target / "pyproject.toml")


def first_failure(tree: Path, arguments: list[str]) -> str | None:
    """The first test of a suite that fails in `tree`, or None when all pass."""
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "--no-header", *arguments]
    environment = {**os.environ, "PYTHONPATH": str(tree / "src")}
    try:
        done = subprocess.run(
            command, cwd=tree, env=environment, capture_output=True, text=True, check=False, timeout=PATIENCE
        )
    except subprocess.TimeoutExpired:
        return "does not end"
    if done.returncode == 0:
        return None
    found = re.search(r"^(?:FAILED|ERROR) (\S+?\.py(?:::\w+)?(?:\[[^\]]*\])?)", done.stdout, re.MULTILINE)
    return found[1] if found else f"pytest ended with {done.returncode}"


def try_breaks(breaks: Iterable[Break], suites: dict[str, list[str]]) -> Iterable[Outcome]:
    """Apply each break in turn to one copy of the tree, and put the source back after it.

    RuntimeError when a suite fails without any break.
    """
    with TemporaryDirectory() as folder:
        tree = Path(folder)
        copy_tree(tree)
        for arguments in suites.values():
            if (test := first_failure(tree, arguments)) is not None:
                message = f"the sound tree fails: {test}"
                raise RuntimeError(message)
        for broken in breaks:
            source = tree / broken.file
            sound = source.read_text(encoding="utf-8")
            _write(source, broken.apply(sound))
            yield _outcome(tree, broken, suites)
            _write(source, sound)


def _write(source: Path, text: str) -> None:
    """Write a module and forget its compiled form, which could pass for that of a text of equal length and second."""
    source.write_text(text, encoding="utf-8")
    for compiled in source.parent.glob(f"__pycache__/{source.stem}.*.pyc"):
        compiled.unlink()


def _outcome(tree: Path, broken: Break, suites: dict[str, list[str]]) -> Outcome:
    for suite, arguments in suites.items():
        test = first_failure(tree, arguments)
        if test is not None:
            return Outcome(broken, suite, test)
    return Outcome(broken, None, "")


def row(number: int, outcome: Outcome) -> str:
    """One line of the table."""
    broken = outcome.broken
    where = f"{Path(broken.file).name} `{broken.within.removeprefix('def ').rstrip('(')}`"
    noticed = f"{outcome.suite}: {outcome.test.split('::')[-1]}" if outcome.suite else "**nothing**"
    return f"| {number} | {where} | {broken.clause} | {noticed} |".replace("\n", " ")


def main() -> int:
    """Run the breaks asked for; 1 when one of them went unnoticed."""
    parser = argparse.ArgumentParser(description="Break the meaning clause by clause.")
    parser.add_argument("--after", type=int, default=0, help="leave out the first so many of them")
    parser.add_argument("--only", default="", help="breaks whose file, function or clause contains this")
    given = parser.parse_args()
    breaks = [b for b in BREAKS if given.only in f"{b.file} {b.within} {b.clause}"][given.after :]
    print("| # | where | clause broken | noticed by |\n|---|---|---|---|", flush=True)  # noqa: T201
    unnoticed = 0
    for number, outcome in enumerate(try_breaks(breaks, SUITES), start=given.after + 1):
        print(row(number, outcome), flush=True)  # noqa: T201
        unnoticed += outcome.suite is None
    print(f"\n{len(breaks)} breaks, {unnoticed} unnoticed", flush=True)  # noqa: T201
    return 1 if unnoticed else 0


if __name__ == "__main__":
    sys.exit(main())
