"""The benchmark script works: it times every engine, notices a stop, and takes medians of bounds for what they are."""

from __future__ import annotations

import time

import pytest

from bandproof.encoding.system import Problem
from tests.benchmarks.engines import CONTENDERS, REFERENCE, Contender, Lap, lap, table
from tests.conformance.table import TABLE
from tests.oracles.answers import Answer


@pytest.mark.slow
def test_every_engine_is_timed_and_decides() -> None:
    case = next(c for c in TABLE if c.name == "one threshold per step")
    done = [lap("tiny", contender, case.layout(), case.property(), 60) for contender in CONTENDERS]
    assert [x.reachable for x in done] == [True] * len(CONTENDERS)
    assert all(x.seconds > 0 for x in done)


def sleepy(problem: Problem) -> Answer:
    time.sleep(60)
    return Answer(reachable=bool(problem.bad))


def test_an_engine_is_stopped() -> None:
    case = TABLE[0]
    assert lap("tiny", Contender("sleepy", sleepy), case.layout(), case.property(), 0.1).reachable is None


def test_a_median_of_stopped_runs_is_a_lower_bound() -> None:
    found = [
        Lap("m", claim, engine, reachable, seconds)
        for claim in ("x", "y", "z")
        for engine, reachable, seconds in ((REFERENCE.name, True, 0.5), ("z3 Horn", None, 10.0))
    ]
    lines = table(found, 10).splitlines()
    assert "| m | reachability | 3 of 3 | 0.5 | 1 |" in lines
    assert "| m | z3 Horn | 0 of 3 | > 10 | > 20 |" in lines
    assert "| m | enumeration | 0 of 0 | - | - |" in lines
