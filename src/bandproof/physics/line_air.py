"""How much the band machine neglects by taking lines to hold no air (MEANING.md).

Filling a line of V litres to a tank's pressure p takes V p of the tank's air, so the tank of W litres ends at
p W / (W + V): it loses the share V / (W + V) of its pressure. This is computed for every line and the tank, among those
it can exchange air with, for which the share is largest; a bound over the declared ranges.

Limits: one filling of one line. Lines filled together cost the sum; a line filled again and again costs it each time.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement, VolumeKind
from bandproof.model.graph import reachable

#: A line that costs more than this share of a tank's pressure should be declared a chamber.
NOTICEABLE = Fraction(2, 100)


@dataclass(frozen=True, slots=True)
class LineAir:
    """One filling of `line` costs `tank` at most the share `share` of its pressure."""

    line: str
    tank: str
    share: Fraction

    @property
    def noticeable(self) -> bool:
        """So much that the line should be declared a chamber."""
        return self.share > NOTICEABLE


@dataclass(frozen=True, slots=True)
class Neglected:
    """What is neglected: the cost of every line that has one, dearest first, and the volumes whose size is not given."""

    costs: tuple[LineAir, ...]
    unsized: tuple[str, ...]

    def sentence(self) -> str:
        """What to say with a verdict."""
        said = []
        if self.costs:
            worst = self.costs[0]
            percent = float(100 * worst.share)
            said.append(
                f"air in lines is neglected: one filling of {worst.line} costs {worst.tank} "
                f"at most {percent:.2g} % of its pressure"
            )
        said += [
            f"{cost.line} costs {cost.tank} {float(100 * cost.share):.2g} %, more than 2 %: declare {cost.line} a chamber"
            for cost in self.costs
            if cost.noticeable
        ]
        if self.unsized:
            said.append(f"no volume is given for {', '.join(self.unsized)}, so what filling lines costs is not known")
        return "; ".join(said)


def neglected(arrangement: Arrangement) -> Neglected:
    """The air that the band machine neglects in the lines of an arrangement."""
    costs: list[LineAir] = []
    unsized: set[str] = set()
    for line in arrangement.volumes:
        if line.kind is not VolumeKind.LINE:
            continue
        tanks = [arrangement.volume(n) for n in _near(arrangement, line.name)]
        tanks = [t for t in tanks if t.kind is VolumeKind.TANK]
        if not tanks:
            continue
        unsized |= {v.name for v in (line, *tanks) if v.litres is None}
        shares = [
            LineAir(line.name, t.name, line.litres.high / (t.litres.low + line.litres.high))
            for t in tanks
            if line.litres is not None and t.litres is not None
        ]
        costs += sorted(shares, key=lambda cost: (-cost.share, cost.tank))[:1]
    order = [v.name for v in arrangement.volumes]
    return Neglected(
        tuple(sorted(costs, key=lambda cost: (-cost.share, cost.line))), tuple(n for n in order if n in unsized)
    )


def _near(arrangement: Arrangement, line: str) -> set[str]:
    """The volumes a line can draw air from: those upstream of it over passages, through other lines only."""
    kinds = {v.name: v.kind for v in arrangement.volumes}
    ways: set[tuple[str, str]] = set()
    for part in arrangement.parts:
        for passage in part.passages:
            ways.add((passage.upstream, passage.downstream))
            if not passage.one_way:
                ways.add((passage.downstream, passage.upstream))

    def upstream(here: str) -> set[str]:
        passed = kinds[here] is VolumeKind.LINE
        return {u for u, v in ways if v == here and u not in (ATMOSPHERE, SOURCE)} if passed else set()

    return reachable([line], upstream) - {line}
