"""What bands prove of a script, vehicles drawn at random do: random arrangements, random scripts, random expectations.

Bands and vehicles share no code: what is decided with solvers on the one side is integrated in time on the other.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from bandproof.deciding.procedures import decided
from bandproof.findings.limits import Limits
from bandproof.findings.verdict import Verdict
from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import AtLeast, Below, Condition, InState
from bandproof.properties.scripts import Procedure, Script, Step, When, load_script_text
from bandproof.simulation.fleet import Fleet
from bandproof.simulation.history import Watch
from bandproof.simulation.simulate import simulate
from bandproof.simulation.space import Space
from bandproof.witness.performing import _acts
from tests.strategies import arrangements

SEED, ROUNDS, VEHICLES, SECONDS = 20261127, 24, 4, 40.0
#: Hands act when the air has come near to rest (see `simulation.accuracy`); a margin of less than this says nothing.
NEARLY = 2500.0

HEAD = """
format = "bandproof/1"
[script]
name = "random"
basis = "invented"
ends = "40 s"
[[step]]
expect = "anything is at least 1 bar"
"""


def written() -> Script:
    return load_script_text(HEAD)


def scripted(arrangement: Arrangement, draw: random.Random) -> Procedure:
    """Acts once settled, each followed by an expectation once settled."""
    steps = []
    mishaps = [mishap.name for mishap in arrangement.mishaps]
    for _ in range(draw.randint(1, 3)):
        if mishaps and draw.random() < 0.3:
            steps.append(Step("", When(settled=True), mishaps=(mishaps.pop(),)))
        elif arrangement.controls:
            control = draw.choice(arrangement.controls)
            steps.append(Step("", When(settled=True), turns=((control.name, draw.choice(control.positions)),)))
        steps.append(Step("", When(settled=True), expect=_expected(arrangement, draw)))
    return Procedure(written(), arrangement.starts[0].name, tuple(steps))


def _expected(arrangement: Arrangement, draw: random.Random) -> Condition:
    if draw.random() < 0.5:
        part = draw.choice(arrangement.parts)
        return InState(part.name, frozenset({draw.choice(part.states)}))
    volume = draw.choice(arrangement.volumes)
    at = arrangement.highest * draw.choice([1, 3, 5, 7]) / 8
    return Below(volume.name, at, at) if draw.random() < 0.5 else AtLeast(volume.name, at, at)


@pytest.mark.packs
def test_what_bands_prove_of_a_script_every_vehicle_does() -> None:
    draw = random.Random(SEED)  # noqa: S311  (a fixed seed)
    generator = np.random.default_rng(SEED)
    came = Counter[str]()
    for arrangement in _drawn(draw):
        procedure = scripted(arrangement, draw)
        found = decided(arrangement, procedure, Limits(2))
        came.update(str(finding.verdict) for finding in found.values())
        asked = {n: f.verdict for n, f in found.items() if f.verdict in {Verdict.PROVEN, Verdict.EMPTY}}
        if asked:
            came["looked at"] += _compared(arrangement, procedure, asked, generator)
    assert came["proven"] > 3, came
    assert came["refuted"] > 1, came
    assert came["looked at"] > 10, came


def _drawn(draw: random.Random) -> list[Arrangement]:
    """Arrangements of the strategy all random tests share, drawn with a seed of our own."""
    from hypothesis import HealthCheck, Phase, given, seed, settings

    kept: list[Arrangement] = []

    @seed(draw.randrange(10**6))
    @settings(
        max_examples=ROUNDS,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(arrangements())
    def keep(arrangement: Arrangement) -> None:
        kept.append(arrangement)

    keep()
    return [_begun_anywhere(one) for one in kept if one.parts and (one.controls or one.mishaps)]


def _begun_anywhere(arrangement: Arrangement) -> Arrangement:
    """A start that need not be settled, so that every vehicle drawn stands in it."""
    return replace(arrangement, starts=tuple(replace(start, settled=False) for start in arrangement.starts))


def _compared(
    arrangement: Arrangement, procedure: Procedure, asked: Mapping[int, Verdict], generator: np.random.Generator
) -> int:
    """How many times an expectation was looked at in a vehicle and stood as it is proven to stand."""
    space = Space(arrangement, arrangement.start(procedure.start))
    vehicles = space.draw(generator, VEHICLES)
    watches: list[Watch] = []

    def observers(fleet: Fleet) -> list[Watch]:
        watches.extend(Watch(fleet, step.expect) for step in procedure.steps if step.expect is not None)
        return watches

    acts = tuple(act for number, step in enumerate(procedure.steps) for act in _acts(number, step))
    histories = simulate(arrangement, vehicles, acts, until=SECONDS, observers=observers)
    numbers = [number for number, step in enumerate(procedure.steps) if step.expect is not None]
    looked = 0
    for place, history in enumerate(histories):
        looks = (
            {} if history.hunted else dict(history.looks)
        )  # a part that hunts never rests, and in bands no more does the air
        for number, watch in zip(numbers, watches, strict=True):
            if number not in asked or number not in looks:
                continue
            margin = [m for time, m in watch.seen[place] if time <= looks[number]][-1]
            assert asked[number] is Verdict.PROVEN, (arrangement, procedure, vehicles[place])
            assert margin > -NEARLY, (number, margin, arrangement, procedure, vehicles[place])
            looked += 1
    return looked


def test_the_comparison_can_fail() -> None:
    """Were a claim called proven that no vehicle keeps, the vehicles would say so."""
    (arrangement, *_) = _drawn(random.Random(1))  # noqa: S311  (a fixed seed)
    nowhere = InState(arrangement.parts[0].name, frozenset())
    never = Procedure(written(), arrangement.starts[0].name, (Step("", When(settled=True), expect=nowhere),))
    with pytest.raises(AssertionError):
        _compared(arrangement, never, {0: Verdict.PROVEN}, np.random.default_rng(1))
