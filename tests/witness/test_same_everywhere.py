"""The same question is asked in the same words, and gets the same answer, in every process."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

SCRIPT = """
import hashlib
import z3
read = z3.Solver.from_string

def told(solver, text):
    print(hashlib.sha256(text.encode()).hexdigest())
    read(solver, text)

z3.Solver.from_string = told
from tests.witness.samples import cylinder, learn, lock, ring, shuttle
for arrangement, claim in (cylinder(("1", "40")), ring(960), lock(), shuttle()):
    problem, lemmas, answer = learn(arrangement, claim, 8)
    print([lemma.words(problem.layout) for lemma in lemmas])
    print(None if answer is None else (answer.story, answer.sizes, answer.settings, answer.drifting))
"""


@pytest.mark.thorough
@pytest.mark.slow
def test_the_order_of_sets_leaves_no_trace() -> None:
    root = Path(__file__).parents[2]
    path = os.pathsep.join([str(root / "src"), str(root)])
    printed = {
        subprocess.run(
            [sys.executable, "-c", SCRIPT],
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": path},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    }
    assert len(printed) == 1
    assert "Fraction" in printed.pop()
