"""Random runs of random arrangements, for laws that every story must keep."""

from __future__ import annotations

from itertools import islice

from hypothesis import strategies as st

from bandproof.machine.layout import Layout, lay_out
from bandproof.machine.semantics import successors
from bandproof.machine.story import Step, Story
from bandproof.properties.claim import Pace
from tests.strategies import arrangements, states


@st.composite
def runs(draw: st.DrawFn, *, most: int = 6) -> tuple[Layout, Story]:
    """A run of at most `most` steps from any state; half of them with real pressures inside the bands."""
    arrangement = draw(arrangements())
    layout = lay_out(arrangement)
    mishaps = frozenset(mishap.name for mishap in arrangement.mishaps)
    seen = [draw(states(layout))]
    steps: list[Step] = []
    for _ in range(draw(st.integers(0, most))):
        onward = list(islice(successors(layout, seen[-1], Pace.ANY_TIME, mishaps), 20))
        if not onward:
            break
        step, state = draw(st.sampled_from(onward))
        steps.append(step)
        seen.append(state)
    story = Story("start", tuple(seen), tuple(steps))
    if not draw(st.booleans()):
        return layout, story
    names = [volume.name for volume in arrangement.volumes]
    share = draw(st.fractions(0, 1).filter(lambda f: f < 1))
    real = tuple(
        tuple(
            layout.low(name, band) + share * (layout.high(name, band) - layout.low(name, band))
            for name, band in zip(names, state.bands, strict=True)
        )
        for state in seen
    )
    return layout, Story("start", tuple(seen), tuple(steps), real)
