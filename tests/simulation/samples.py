"""Small arrangements and vehicles for the tests of this folder; an atmosphere of exactly 1 bar, as in worked values."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from functools import cache
from pathlib import Path

import numpy as np

from bandproof.model.arrangement import (
    ATMOSPHERE,
    SOURCE,
    Arrangement,
    Control,
    Mishap,
    Move,
    Part,
    Passage,
    Volume,
    VolumeKind,
)
from bandproof.model.conditions import AtLeast, Below, Condition
from bandproof.model.loader import load_arrangement
from bandproof.simulation.vehicle import Vehicle, setting_uses

MODELS = Path(__file__).parents[2] / "models"
#: Seconds: shorter than anything that is measured here.
AT_ONCE = 1e-6


@cache
def shipped(name: str) -> Arrangement:
    """An arrangement of `models/`, by its path there."""
    return load_arrangement(MODELS / name)


def gauge(bar_abs: str | float) -> Fraction:
    """Pascals gauge of a pressure in bar absolute."""
    return (Fraction(bar_abs) - 1) * 100_000


def passage(upstream: str, downstream: str, *open_in: str, one_way: bool = False) -> Passage:
    return Passage(upstream, downstream, one_way, frozenset(open_in or ("open",)))


def pipe(*passages: Passage, name: str = "pipe") -> Part:
    """A part that always stands in the state `open`."""
    return Part(name, "pipe", ("open",), passages)


def watcher(name: str, when: Condition) -> Part:
    """A part that notes, by its one move from `no` to `yes`, when a condition comes true."""
    return Part(name, "watcher", ("no", "yes"), (), (Move("no", "yes", when),))


def arranged(
    parts: Sequence[Part],
    volumes: Sequence[tuple[str, VolumeKind]] = (("tank", VolumeKind.TANK),),
    controls: Sequence[Control] = (),
    mishaps: Sequence[Mishap] = (),
    highest: str = "8",
) -> Arrangement:
    return Arrangement(
        name="bench",
        unit="bar",
        atmosphere=Fraction(100_000),
        highest=gauge(highest),
        volumes=tuple(Volume(name, kind) for name, kind in volumes),
        parts=tuple(parts),
        controls=tuple(controls),
        mishaps=tuple(mishaps),
    )


def vehicle(
    arrangement: Arrangement,
    pressures: dict[str, float],
    *,
    litres: float | dict[str, float] = 10.0,
    size: tuple[float, float] = (5.0, 0.3),
    moving: float = AT_ONCE,
) -> Vehicle:
    """A vehicle with pressures in bar absolute, all passages of one size and settings at their low ends."""
    return Vehicle(
        settings={use: float(use.low) for use in setting_uses(arrangement)},
        litres={v.name: litres if isinstance(litres, float) else litres[v.name] for v in arrangement.volumes},
        sizes={(part.name, k): size for part in arrangement.parts for k in range(len(part.passages))},
        pressures={name: (bar - 1) * 1e5 for name, bar in pressures.items()},
        parts={part.name: part.states[0] for part in arrangement.parts},
        controls={control.name: control.positions[0] for control in arrangement.controls},
        moving={part.name: moving for part in arrangement.parts},
    )


def random_arrangement(generator: np.random.Generator) -> Arrangement:
    """Two to five volumes, always-open passages, and one to three valves that open at one pressure and shut at another."""
    kinds = generator.choice(list(VolumeKind), size=generator.integers(2, 6))
    volumes = [(f"v{i}", VolumeKind(kind)) for i, kind in enumerate(kinds)]
    names = [name for name, _ in volumes]

    def drawn(*open_in: str) -> Passage:
        upstream, downstream = generator.choice([*names, *names, SOURCE, ATMOSPHERE], size=2, replace=False)
        while upstream == downstream or {str(upstream), str(downstream)} == {SOURCE, ATMOSPHERE}:
            upstream, downstream = generator.choice([*names, SOURCE, ATMOSPHERE], size=2, replace=False)
        return passage(str(upstream), str(downstream), *open_in, one_way=bool(generator.random() < 0.5))

    parts = [pipe(*(drawn() for _ in range(generator.integers(1, 4))))]
    for i in range(generator.integers(1, 4)):
        low, high = (gauge(float(x)) for x in np.sort(generator.choice(np.arange(15, 75), size=2, replace=False)) / 10)
        volume = str(generator.choice(names))
        moves = (Move("shut", "open", AtLeast(volume, high, high)), Move("open", "shut", Below(volume, low, low)))
        ways = (drawn("open"), drawn(*generator.choice(["open", "shut"], size=1)))
        parts.append(Part(f"valve{i}", "valve", ("shut", "open"), ways, moves))
    return arranged(parts, volumes)


def random_vehicle(generator: np.random.Generator, arrangement: Arrangement) -> Vehicle:
    """Volumes of usual size down to lines of 0.02 L, sizes from a drilling to a wide bore, any pressures."""
    litres = {VolumeKind.TANK: (10.0, 50.0), VolumeKind.CHAMBER: (1.0, 7.0), VolumeKind.LINE: (0.02, 0.6)}
    made = vehicle(arrangement, {v.name: float(generator.uniform(1, 8)) for v in arrangement.volumes}, moving=1e-3)
    sizes = {key: (float(np.exp(generator.uniform(-1, 2.3))), float(generator.uniform(0, 0.5))) for key in made.sizes}
    return Vehicle(
        settings=made.settings,
        litres={v.name: float(generator.uniform(*litres[v.kind])) for v in arrangement.volumes},
        sizes=sizes,
        pressures=made.pressures,
        parts=made.parts,
        controls=made.controls,
        moving=made.moving,
    )
