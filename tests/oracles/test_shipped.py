"""Second opinions on the shipped arrangements, every claim of every one: all engines agree, or say that they do not know.

These are far too large for decision diagrams and for enumeration to its end; what enumeration sees in its first states
has to fit all the same. The outcome is counted and printed, so that many an "undecided" is not taken for agreement.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest

from bandproof.deciding.cases import Case
from bandproof.encoding.system import Problem, StepRule, pose
from bandproof.engines.reachability import Reachability
from bandproof.model.loader import load_arrangement
from bandproof.properties.language import load_pack, resolve_pack
from tests.oracles.answers import Answer, agree, by_bounded_search, by_enumeration, by_induction
from tests.oracles.z3_engines import by_z3_bounded_search, by_z3_horn

ROOT = Path(__file__).resolve().parents[2]
MODELS = sorted(path.relative_to(ROOT) for path in (ROOT / "models").rglob("*.toml"))

#: Steps of the solver after which reachability is given up, and of z3 after which its engines are.
WORK, RESOURCES = 200_000_000, 5_000_000

ENGINES: dict[str, Callable[[Problem], Answer]] = {
    "bounded search": partial(by_bounded_search, depth=16),
    "k-induction": partial(by_induction, max_k=2),
    "enumeration": partial(by_enumeration, cap=30),
    "z3 bounded search": partial(by_z3_bounded_search, depth=6, resources=RESOURCES),
    "z3 Horn": partial(by_z3_horn, resources=RESOURCES),
}


def by_reachability(problem: Problem) -> Answer:
    """Reachability, as far as it gets; a run of accelerations that it finds has no count of steps."""
    search = Reachability(problem)
    running = search.run()
    try:
        while search.work < WORK:
            next(running)
        return Answer(None, why="limit")
    except StopIteration as end:
        return Answer(reachable=end.value.states is not None)
    finally:
        search.close()


def problems(model: Path) -> Iterator[tuple[str, Problem]]:
    """Every claim that applies to a shipped arrangement, posed."""
    arrangement = load_arrangement(ROOT / model)
    packs = [load_pack(path) for path in sorted((ROOT / "properties").glob("*.toml"))]
    case = Case(arrangement, tuple(claim for pack in packs for claim in resolve_pack(pack, arrangement)))
    rule = StepRule(case.layout())
    for claim in case.properties:
        yield claim.id, pose(rule, claim)


@pytest.mark.long
@pytest.mark.parametrize("model", MODELS, ids=lambda path: path.stem)
def test_opinions_on_shipped_arrangements_agree(model: Path) -> None:
    found: Counter[str] = Counter()
    for name, problem in problems(model):
        opinions = {"reachability": by_reachability(problem)}
        opinions |= {engine: ask(problem) for engine, ask in ENGINES.items()}
        known = [answer for answer in opinions.values() if answer.reachable is not None]
        truth = next((answer for answer in known if answer.steps is not None), known[0] if known else Answer(None))
        for engine, answer in opinions.items():
            assert agree(truth, answer), f"{name}: {engine}"
            found[f"{engine}: {'undecided' if answer.reachable is None else 'agrees'}"] += 1
    print(f"\n{model.stem}: {', '.join(f'{what} {count}' for what, count in sorted(found.items()))}")  # noqa: T201
    claims = found["reachability: agrees"] + found["reachability: undecided"]
    assert sum(count for what, count in found.items() if what.endswith("agrees")) > 1.25 * claims
