"""What a set of trajectories came to, and what there was in the arrangements they ran through."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from itertools import chain
from typing import Any

from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement, Passage
from bandproof.model.conditions import Condition, InState, Lower
from bandproof.model.walker import leaves

from .bandrun import Account
from .random_cases import Case
from .trajectory import Trajectory

#: Everything the random arrangements are meant to have, each of them in some.
FEATURES = (
    "tank",
    "chamber",
    "line",
    "sized passage",
    "passage of uncertain size",
    "unsized passage",
    "one-way passage",
    "two-way passage",
    "source",
    "atmosphere",
    "exact setting",
    "toleranced setting",
    "part at once",
    "slow part",
    "part with a reaction time",
    "linked parts",
    "comparison of volumes",
    "driver script",
    "mishap",
)


class Tally:
    """Counts of one set, which its seed and its number of trajectories define."""

    def __init__(self, seed: int) -> None:
        self.seed = seed
        self.counts: Counter[str] = Counter()
        self.features: Counter[str] = Counter()
        self.mixtures: set[int] = set()
        self.seen: set[str] = set()

    def take(self, case: Case, run: Trajectory, account: Account) -> None:
        """Count a trajectory and how it was followed."""
        found = features(case)
        self.counts += account.counts
        self.counts["trajectories"] += 1
        self.counts[f"ended by {run.ended}"] += 1
        self.counts["different"] += repr(case) not in self.seen
        self.counts["accepted"] += account.escape is None
        self.counts["steps"] += sum(account.counts[kind] for kind in ("react", "flow", "act"))
        self.seen.add(repr(case))
        self.features.update(found)
        self.mixtures.add(sum(1 << i for i, name in enumerate(FEATURES) if name in found))

    def report(self, record_property: Callable[[str, object], None]) -> None:
        """Hand the counts to pytest, which prints them at its end: see `conftest`."""
        record_property(
            "tally",
            {
                "seed": self.seed,
                "counts": dict(self.counts),
                "features": dict(self.features),
                "mixtures": sorted(self.mixtures),
            },
        )


def told(tallies: Sequence[dict[str, Any]]) -> str:
    """What some tallies, as they were reported, come to together."""
    seeds = sorted({tally["seed"] for tally in tallies})
    counts = sum((Counter(tally["counts"]) for tally in tallies), Counter[str]())
    found = sum((Counter(tally["features"]) for tally in tallies), Counter[str]())
    mixtures = {mixture for tally in tallies for mixture in tally["mixtures"]}
    first = ", ".join(f"{counts.pop(name, 0)} {name}" for name in ("trajectories", "different", "accepted", "steps"))
    rest = ", ".join(f"{count} {name}" for name, count in sorted(counts.items()))
    kinds = ", ".join(f"{found[name]} {name}" for name in FEATURES)
    span = f"seed {seeds[0]}" if len(seeds) == 1 else f"seeds {seeds[0]} to {seeds[-1]}"
    return f"{span}: {first} ({rest}); {len(found)} kinds of features in {len(mixtures)} mixtures ({kinds})"


def features(case: Case) -> frozenset[str]:
    """Which of FEATURES a case has."""
    return frozenset(chain(_of_arrangement(case.arrangement), _of_script(case)))


def _of_script(case: Case) -> Iterator[str]:
    for deed in case.script:
        if deed.time < case.until:
            yield "mishap" if deed.position is None else "driver script"


def _of_arrangement(arrangement: Arrangement) -> Iterator[str]:
    yield from (volume.kind.value for volume in arrangement.volumes)
    yield from ("exact setting" if s.low == s.high else "toleranced setting" for s in arrangement.settings)
    for part in arrangement.parts:
        yield "slow part" if part.slow else "part with a reaction time" if part.reaction else "part at once"
        for passage in part.passages:
            yield from _of_passage(passage)
        for move in part.moves:
            yield from _of_guard(move.when, part.name)


def _of_passage(passage: Passage) -> Iterator[str]:
    yield "one-way passage" if passage.one_way else "two-way passage"
    if passage.size is None:
        yield "unsized passage"
    else:
        yield "sized passage"
        if passage.size.c.low < passage.size.c.high or passage.size.b.low < passage.size.b.high:
            yield "passage of uncertain size"
    if SOURCE in (passage.upstream, passage.downstream):
        yield "source"
    if ATMOSPHERE in (passage.upstream, passage.downstream):
        yield "atmosphere"


def _of_guard(guard: Condition, part: str) -> Iterator[str]:
    for atom in leaves(guard):
        if isinstance(atom, Lower):
            yield "comparison of volumes"
        elif isinstance(atom, InState) and atom.part != part:
            yield "linked parts"
