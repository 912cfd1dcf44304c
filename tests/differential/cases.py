"""What a differential test is asked about: an arrangement laid out, with a claim."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import strategies as st

from bandproof.machine.layout import Layout
from bandproof.model.conditions import Truth
from bandproof.properties.claim import Property
from tests import strategies
from tests.differential import drawn


def draw_case(data: st.DataObject, *, most_volumes: int = 4) -> tuple[Layout, Property]:
    """An arrangement from one of the two generators, and a claim about it."""
    if data.draw(st.integers(0, 3)) == 0:
        arrangement = data.draw(strategies.arrangements())
        claim = data.draw(strategies.properties(arrangement))
    else:
        arrangement = data.draw(drawn.networks(most_volumes=most_volumes))
        claim = data.draw(drawn.claims(arrangement))
    return strategies.layout_for(arrangement, claim), claim


def impossible(claim: Property) -> Property:
    """The claim with a consequence that never holds: it is broken exactly where its condition happens."""
    return replace(claim, then=Truth(value=False), until=None)
