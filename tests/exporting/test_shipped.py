"""The claims that are shipped, exported: runs of both, in both directions. By default a few of them, with `-m long` all."""

from __future__ import annotations

import random
from functools import cache
from pathlib import Path

import pytest

from bandproof.deciding.cases import Case, load_cases
from bandproof.encoding.bit_words import choice_words
from bandproof.encoding.system import StepRule, pose
from bandproof.engines.run import decide
from bandproof.exporting.question import CHOICE, START, question
from bandproof.machine.layout import Layout
from bandproof.properties.claim import Property
from tests.exporting.played import (
    Pair,
    a_start,
    follow_circuit,
    follow_machine,
    near,
    read_witness,
    stays_out,
    takes_for_start,
)
from tests.exporting.reader import Unrolled, read

ROOT = Path(__file__).resolve().parents[2]
MODELS = sorted((ROOT / "models").rglob("*.toml"))
BASE = ROOT / "models" / "two_knob_tractor.toml"

#: In the default run every so many of a model's claims are played; the seed decides which come first.
SPARSE = 10

#: Steps within which nothing may be bad where no run is.
NEAR = 8


@cache
def laid_out(model: Path) -> tuple[Case, Layout, StepRule]:
    (case,) = load_cases([model])
    layout = case.layout()
    return case, layout, StepRule(layout)


def play(model: Path, claim: Property, runs: int) -> int:
    """Play an exported claim against the machine; how often something moved."""
    _, layout, rule = laid_out(model)
    pair = Pair(layout, claim, read(question(pose(rule, claim), rule.choices).as_bytes()))
    chosen = {name for name in pair.circuit.names("i") if not name.startswith(START)}
    assert chosen <= {CHOICE + choice_words(choice) for choice in rule.choices.values()}
    step_of = Unrolled(pair.circuit, from_zero=False)
    moves = 0
    for seed in range(runs):
        rng = random.Random(f"{claim.id} {seed}")  # noqa: S311  (no secret)
        start = a_start(pair, step_of, rng)
        assert start is not None
        assert takes_for_start(pair, start)
        moves += follow_circuit(pair, start, rng, 12).moves
        moves += follow_machine(pair, step_of, start, rng, 12).moves
        for _ in range(4):
            other = near(layout, start, rng)
            if not takes_for_start(pair, other):
                stays_out(pair, other, rng, 4)
    return moves


def witnessed(model: Path, claim: Property, most: int) -> int | None:
    """The number of steps to a bad state that an exported problem shows, each looked at on the machine."""
    _, layout, rule = laid_out(model)
    pair = Pair(layout, claim, read(question(pose(rule, claim), rule.choices).as_bytes()))
    witness = Unrolled(pair.circuit, from_zero=True).witness(most)
    return None if witness is None else len(read_witness(pair, witness)) - 1


def agrees_with_engines(model: Path, claim: Property) -> int | None:
    """The engines' shortest run of bands and the first witness have the same steps; without a run, no witness is near."""
    story = decide(laid_out(model)[2], claim, real=False).story
    steps = None if story is None else len(story.steps)
    assert witnessed(model, claim, NEAR if steps is None else steps + 1) == steps, claim.id
    return steps


@pytest.mark.slow
def test_a_broken_twin_is_refuted_by_a_witness_that_the_machine_follows() -> None:
    twin = BASE.parent / "twins" / "fed_from_one_tank.toml"
    (claim,) = (claim for claim in laid_out(twin)[0].properties if claim.id == "knobs-stay-fed-without-tank-1")
    assert (agrees_with_engines(twin, claim) or 0) > 1


@pytest.mark.long
@pytest.mark.parametrize("model", MODELS, ids=lambda path: path.stem)
def test_witnesses_of_all_shipped_claims_are_as_long_as_stories(model: Path) -> None:
    found = [agrees_with_engines(model, claim) for claim in laid_out(model)[0].properties]
    assert any(found)


@pytest.mark.slow
@pytest.mark.parametrize("model", [BASE, MODELS[0]], ids=lambda path: path.stem)
def test_shipped_claims_run_alike(model: Path) -> None:
    for claim in laid_out(model)[0].properties[::SPARSE]:
        assert play(model, claim, 1) > 0, claim.id


@pytest.mark.long
@pytest.mark.parametrize("model", MODELS, ids=lambda path: path.stem)
def test_all_shipped_claims_run_alike(model: Path) -> None:
    for claim in laid_out(model)[0].properties:
        assert play(model, claim, 3) > 0, claim.id
