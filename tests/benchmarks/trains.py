"""How deciding grows with the number of trailers: processor seconds for each claim about a train's last trailer.

    python -m tests.benchmarks.trains --units 1 2 4 --seconds 120

Asked: the shipped two-knob tractor with so many trailers, each fed from the one before (`tests.trains`), and the claims of
`tests.trains.PACK`: two about the end of the last trailer, one race. The encoding, which all claims of a train share, is a
line of its own. A claim is stopped after the given seconds, and then undecided. Ratios are to the train of fewest units; that
of a claim which was stopped is a lower bound, marked `>`. Nothing here is asserted.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from bandproof.deciding.cases import load_cases
from bandproof.deciding.one import Decider
from bandproof.findings.limits import Limits
from bandproof.findings.reasons import OutOfTime
from tests.trains import PACK, train

ENCODING = "(encoding)"


@dataclass(frozen=True, slots=True)
class Lap:
    """One claim of a train of so many units: the answer, and processor seconds; `stopped`: it would have taken longer."""

    units: int
    claim: str
    answer: str
    seconds: float
    stopped: bool = False


def laps(units: int, seconds: float) -> Iterator[Lap]:
    """Every claim of `PACK` about such a train, in its order, after the encoding."""
    with TemporaryDirectory() as folder:
        model, pack = Path(folder) / "train.toml", Path(folder) / "pack.toml"
        model.write_text(train(units), encoding="utf-8")
        pack.write_text(PACK, encoding="utf-8")
        (case,) = load_cases([model], [pack])
    begun = time.process_time()
    decider = Decider(case)
    yield Lap(units, ENCODING, "", time.process_time() - begun)
    for claim in case.claims:
        begun = time.process_time()
        found = decider.decide(claim, Limits(seconds=seconds))
        stopped = any(isinstance(reason, OutOfTime) for reason in found.reasons)
        yield Lap(units, claim.id, str(found.verdict), time.process_time() - begun, stopped)


def table(done: Sequence[Lap]) -> str:
    """The laps as Markdown, a row for each claim and train, with ratios to the smallest train."""
    least = {lap.claim: lap for lap in sorted(done, key=lambda lap: -lap.units)}
    rows = ["| units | claim | answer | seconds | ratio |", "|--:|---|---|--:|--:|"]
    for lap in done:
        first = least[lap.claim]
        known = not first.stopped and first.seconds > 0
        ratio = f"{'>' if lap.stopped else ''}{lap.seconds / first.seconds:.1f}" if known else ""
        rows.append(f"| {lap.units} | {lap.claim} | {lap.answer} | {lap.seconds:.1f} | {ratio} |")
    return "\n".join(rows)


def main() -> None:
    """Measure, and print the table."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--units", type=int, nargs="+", default=[1, 2, 4])
    parser.add_argument("--seconds", type=float, default=120.0, help="time for each claim")
    asked = parser.parse_args()
    done: list[Lap] = []
    for units in asked.units:
        for lap in laps(units, asked.seconds):
            sys.stderr.write(f"{lap.units} {lap.claim} {lap.answer} {lap.seconds:.1f}\n")
            done.append(lap)
    sys.stdout.write(table(done) + "\n")


if __name__ == "__main__":
    main()
