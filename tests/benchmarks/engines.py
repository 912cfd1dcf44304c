"""How long the engines take on the shipped arrangements, compared in one interleaved run.

    python -m tests.benchmarks.engines --seconds 10 --claims 6

Asked: reachability (this package's), bounded search (this package's, the other half of the runner), z3's bounded search, z3's
stock Horn engine, and explicit enumeration. For each claim in turn every engine starts from the laid-out arrangement in a
process of its own and is stopped after the given seconds: encoding counts, loading files does not. Interleaving keeps a busy
machine from favouring one engine. Ratios are to the time of reachability on the same claim; a stopped engine counts with the
time it was given, so that a median marked `>` is a lower bound. Where reachability itself was stopped there is no ratio.

Bounded searches are asked only where a run to a bad exists: they prove nothing. Nothing here is asserted but that engines
which decide agree.
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from statistics import median

from bandproof.deciding.cases import load_cases
from bandproof.encoding.system import Problem, StepRule, pose
from bandproof.machine.layout import Layout
from bandproof.properties.claim import Property
from tests.oracles.answers import Answer, by_bounded_search, by_enumeration, run_reachability
from tests.oracles.z3_engines import by_z3_bounded_search, by_z3_horn

ROOT = Path(__file__).resolve().parents[2]
MODELS = (ROOT / "models" / "two_knob_tractor.toml", *sorted((ROOT / "models" / "twins").glob("*.toml")))

#: No resource limit and no depth or state limit of an engine's own: the clock stops it.
UNLIMITED = 2**31 - 1
DEPTH = 200


def _reachability(problem: Problem) -> Answer:
    return Answer(reachable=run_reachability(problem).states is not None)


@dataclass(frozen=True, slots=True)
class Contender:
    """An engine as it is measured; `proves` says whether it can."""

    name: str
    run: Callable[[Problem], Answer]
    proves: bool = True


REFERENCE = Contender("reachability", _reachability)
CONTENDERS = (
    REFERENCE,
    Contender("bounded search", lambda p: by_bounded_search(p, depth=DEPTH), proves=False),
    Contender("z3 bounded search", lambda p: by_z3_bounded_search(p, depth=DEPTH, resources=UNLIMITED), proves=False),
    Contender("z3 Horn", lambda p: by_z3_horn(p, resources=UNLIMITED)),
    Contender("enumeration", lambda p: by_enumeration(p, cap=UNLIMITED)),
)


@dataclass(frozen=True, slots=True)
class Lap:
    """One engine on one claim: whether a bad is reachable, None when it was stopped; and the seconds it took."""

    model: str
    claim: str
    engine: str
    reachable: bool | None
    seconds: float


def _decide(contender: Contender, layout: Layout, claim: Property, answer: Connection) -> None:
    answer.send(contender.run(pose(StepRule(layout), claim)).reachable)


def lap(model: str, contender: Contender, layout: Layout, claim: Property, seconds: float) -> Lap:
    """Run one engine on one claim in a process of its own."""
    context = multiprocessing.get_context("fork")
    receives, sends = context.Pipe(duplex=False)
    process = context.Process(target=_decide, args=(contender, layout, claim, sends))
    began = time.perf_counter()
    process.start()
    sends.close()
    try:
        found = receives.recv() if receives.poll(seconds) else None
    except EOFError:
        found = None
    took = time.perf_counter() - began
    process.kill()
    process.join()
    receives.close()
    return Lap(model, claim.id, contender.name, found, seconds if found is None else took)


def counts(models: Iterable[Path], claims: int, seconds: float) -> Iterator[Lap]:
    """Every engine on every chosen claim, claim by claim; ValueError when two that decide disagree."""
    paths = list(models)
    for path, case in zip(paths, load_cases(paths), strict=True):
        layout = case.layout()
        chosen = case.properties[:: max(1, -(-len(case.properties) // claims))]
        for claim in chosen:
            known: dict[str, bool] = {}
            for contender in CONTENDERS:
                if not contender.proves and known and not any(known.values()):
                    continue
                done = lap(path.stem, contender, layout, claim, seconds)
                if done.reachable is not None:
                    known[contender.name] = done.reachable
                yield done
            if len(set(known.values())) > 1:
                message = f"{path.stem}, {claim.id}: the engines disagree: {known}"
                raise ValueError(message)


def table(found: list[Lap], seconds: float) -> str:
    """The measurements as a Markdown table, one line per arrangement and engine."""
    lines = [
        "| arrangement | engine | decided | median seconds | median ratio to reachability |",
        "|---|---|---|---|---|",
    ]
    for model in [*dict.fromkeys(x.model for x in found), "all"]:
        here = [x for x in found if model in (x.model, "all")]
        base = {(x.model, x.claim): x for x in here if x.engine == REFERENCE.name}
        for contender in CONTENDERS:
            own = [x for x in here if x.engine == contender.name]
            decided = sum(x.reachable is not None for x in own)
            pairs = [(x, base[x.model, x.claim]) for x in own]
            ratios = sorted((x.seconds / y.seconds, x.reachable is None) for x, y in pairs if y.reachable is not None)
            lines.append(
                f"| {model} | {contender.name} | {decided} of {len(own)} "
                f"| {_median([(x.seconds, x.reachable is None) for x in own])} | {_median(ratios)} |"
            )
    return "\n".join([*lines, "", f"Each engine was stopped after {seconds:g} s on a claim, encoding included."])


def _median(values: list[tuple[float, bool]]) -> str:
    """The median of values of which some are only lower bounds."""
    if not values:
        return "-"
    middle = median(value for value, _ in values)
    bounded = any(open_ and value <= middle for value, open_ in values)
    return f"{'> ' if bounded else ''}{middle:.2g}"


def main() -> int:
    """Measure and print the table."""
    parser = argparse.ArgumentParser(description="Compare the engines on the shipped arrangements.")
    parser.add_argument("--seconds", type=float, default=10.0, help="when an engine is stopped on a claim")
    parser.add_argument("--claims", type=int, default=8, help="how many claims of each arrangement, spread evenly")
    parser.add_argument("models", nargs="*", type=Path, help="arrangement files; the base and its twins by default")
    given = parser.parse_args()
    found = list(counts(given.models or MODELS, given.claims, given.seconds))
    print(table(found, given.seconds))  # noqa: T201
    return 0


if __name__ == "__main__":
    sys.exit(main())
