"""What a differential test is asked about: an arrangement laid out, with a claim."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import strategies as st

from bandproof.machine.layout import Layout, lay_out
from bandproof.model.arrangement import Range, Volume, VolumeKind
from bandproof.model.conditions import AtLeast, Truth
from bandproof.properties.claim import Property
from tests import strategies
from tests.differential import drawn
from tests.physics.random_cases import Case
from tests.physics.regimes import REGIMES, Regime


def draw_case(data: st.DataObject, *, most_volumes: int = 4) -> tuple[Layout, Property]:
    """An arrangement from one of the generators, and a claim about it."""
    kind = data.draw(st.integers(0, 5))
    if kind == 5:
        return draw_paced(data)
    if kind == 0:
        arrangement = data.draw(strategies.arrangements())
        claim = data.draw(strategies.properties(arrangement))
    else:
        arrangement = data.draw(drawn.networks(most_volumes=most_volumes))
        claim = data.draw(drawn.claims(arrangement))
    return strategies.layout_for(arrangement, claim), claim


def draw_paced(data: st.DataObject) -> tuple[Layout, Property]:
    """An arrangement that is likely to have pace counters, and a claim about it, with thresholds enough to count."""
    arrangement = data.draw(drawn.paced())
    claim = data.draw(drawn.claims(arrangement))
    marks = (
        AtLeast(v.name, mark, mark) for v in arrangement.volumes for mark in (drawn.BAR, 2 * drawn.BAR, 6 * drawn.BAR)
    )
    layout = lay_out(arrangement, (claim.when, claim.then, claim.until or Truth(value=True), *marks))
    return layout, claim


def draw_restless(data: st.DataObject, regime: Regime | None = None) -> tuple[Layout, Property]:
    """An arrangement of one of the regimes of the trajectories, and a claim about it, perhaps with fillings."""
    case: Case = data.draw((regime or data.draw(st.sampled_from(REGIMES))).cases)
    start = replace(case.start(), name="start", settled=data.draw(st.integers(0, 4)) == 0)
    if data.draw(st.booleans()):
        start = replace(start, parts=())
    arrangement = replace(case.arrangement, starts=(start,))
    claim = data.draw(drawn.claims(arrangement))
    claim = replace(claim, fillings=data.draw(st.sampled_from([None, 1, 1, 2, 5])))
    if data.draw(st.integers(0, 3)):
        arrangement = replace(arrangement, volumes=tuple(map(smaller_lines, arrangement.volumes)))
    return lay_out(arrangement, (claim.when, claim.then, claim.until or Truth(value=True), *case.claims)), claim


def smaller_lines(volume: Volume) -> Volume:
    """A line of a fiftieth of the litres: so little air that tanks have narrow windows."""
    if volume.kind is not VolumeKind.LINE or volume.litres is None:
        return volume
    return replace(volume, litres=Range(volume.litres.low / 50, volume.litres.high / 50))


def impossible(claim: Property) -> Property:
    """The claim with a consequence that never holds: it is broken exactly where its condition happens."""
    return replace(claim, then=Truth(value=False), until=None)
