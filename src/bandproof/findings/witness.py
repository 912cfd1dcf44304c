"""A witness: one vehicle whose run in seconds breaks a claim, or shows a reachable one. Plain values, with no array in them.

Pressures in pascals gauge, times in seconds from the start of the run.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from bandproof.simulation.script import Act, Occur, Turn
from bandproof.simulation.vehicle import Assumed

#: All numbers of a vehicle by table and name, as `bandproof.simulation.space.numbers_of` writes them.
Numbers = Mapping[str, Mapping[str, float | str]]


@dataclass(frozen=True, slots=True)
class Deed:
    """An act or mishap of a witness run: what is done at `time`."""

    what: Turn | Occur
    time: float


@dataclass(frozen=True, slots=True)
class PartMove:
    """`part` went to the state `target` at `time`."""

    time: float
    part: str
    target: str


@dataclass(frozen=True, slots=True)
class Measured:
    """What a comparison of the claim finds at the end of a witness run: `pascals` of `volume` against `limit`."""

    volume: str
    pascals: float
    limit: float


@dataclass(frozen=True, slots=True)
class Common:
    """Of `drawn` vehicles drawn at random over the declared ranges, with the same acts, `broken` break the claim.

    `cut` had not broken it when they were given up before the time was over: parts in them go to and fro all the time.
    """

    broken: int
    drawn: int
    cut: int = 0


@dataclass(frozen=True, slots=True)
class Witness:
    """One vehicle and what is done to it, by which a claim is broken (or, of a `reachable` one, shown).

    | field       | what it says                                                                            |
    |-------------|-----------------------------------------------------------------------------------------|
    | `vehicle`   | every number of the vehicle, as it stands at the start named `start`                     |
    | `deeds`     | acts and mishaps in their order                                                         |
    | `when`      | when the claim is first broken                                                          |
    | `end`       | when it is broken by most, which is where the run ends                                  |
    | `margin`    | by how many pascals then; the highest pressure of the arrangement where no pressure decides |
    | `measured`  | what the claim's comparisons find at the end                                            |
    | `pressures` | of every volume at the end                                                              |
    | `moves`     | of every part until the end                                                             |
    | `hunted`    | parts that went to and fro at one pressure                                              |
    | `assumed`   | numbers the arrangement does not declare, with the ranges they were taken from          |
    | `tried`     | how many vehicles were run before this one was found, itself included                   |
    """

    start: str
    vehicle: Numbers
    deeds: tuple[Deed, ...]
    when: float
    end: float
    margin: float
    measured: tuple[Measured, ...]
    pressures: Mapping[str, float]
    moves: tuple[PartMove, ...]
    hunted: tuple[str, ...]
    assumed: tuple[Assumed, ...]
    common: Common
    tried: int

    @property
    def usual(self) -> bool:
        """Whether no assumed number lies outside the middle nine tenths of its range."""
        return not any(one.unusual for one in self.assumed)

    @property
    def script(self) -> tuple[Act, ...]:
        """The deeds as the simulator takes them."""
        return tuple(Act(deed.what, deed.time) for deed in self.deeds)


@dataclass(frozen=True, slots=True)
class NoWitness:
    """No vehicle was found, of `tried` that were run; the nearest missed the break by `-best_margin` pascals.

    A positive `best_margin` is a break that does not exceed what the simulator may err by.
    """

    tried: int
    best_margin: float
