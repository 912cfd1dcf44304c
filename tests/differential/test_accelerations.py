"""Accelerations of one volume over several thresholds, proved by hand: how far they go, and where they stop."""

from __future__ import annotations

import pytest

from bandproof.encoding.system import StepRule, pose
from bandproof.machine.layout import Layout, lay_out
from bandproof.machine.story import State
from bandproof.model.conditions import Condition
from bandproof.properties.claim import Property, Shape
from tests.conformance.case import at_least, load
from tests.differential.compare import encoded_successors

#: A line beside a tank. What trips with the tank gives both the thresholds 2, 4 and 6 bar; nothing compares the line.
BESIDE = """
volumes.v = { is = "line" }
volumes.t = { is = "tank" }
parts.joint = { kind = "joint", ports = { a = "v", b = "t" } }
parts.two = { kind = "lifts", ports = { a = "t" }, settings = { limit = "2 bar" } }
parts.four = { kind = "lifts", ports = { a = "t" }, settings = { limit = "4 bar" } }
parts.six = { kind = "lifts", ports = { a = "t" }, settings = { limit = "6 bar" } }
starts.start = { says = "all at zero" }
"""

#: The same, with a part that compares the line with 4 bar.
GUARDED = BESIDE + 'parts.guard = { kind = "drops", ports = { a = "v" }, settings = { limit = "4 bar" } }\n'


def bands_reached(text: str, compared: Condition, line: int, tank: int) -> set[int]:
    """The bands to which one acceleration takes the line, the tank standing still and every part where it belongs."""
    claim = Property("acceleration", "", "by hand", Shape.NEVER, "start", when=compared)
    arrangement = load(text)
    layout = lay_out(arrangement, (claim.when,))
    state = _standing(layout, line, tank)
    problem = pose(StepRule(layout), claim)
    volumes = [volume.name for volume in arrangement.volumes]
    v, t = volumes.index("v"), volumes.index("t")
    return {s.bands[v] for s in encoded_successors(problem, state, problem.accelerated) if s.bands[t] == tank}


def _standing(layout: Layout, line: int, tank: int) -> State:
    bands = {"v": line, "t": tank}
    tripped = {"two": tank >= 1, "four": tank >= 2, "six": tank >= 3, "guard": line < 2, "joint": False}
    parts = tuple("tripped" if tripped[part.name] else part.states[0] for part in layout.arrangement.parts)
    return State(tuple(bands[volume.name] for volume in layout.arrangement.volumes), parts, (), frozenset())


CASES: list[tuple[str, str, Condition, tuple[int, int], set[int]]] = [
    ("nothing compares the line: from zero to the tank's top band", BESIDE, at_least("t", 2), (0, 3), {0, 1, 2, 3}),
    ("the tank is below 6 bar, so it lifts nothing across 6", BESIDE, at_least("t", 2), (0, 2), {0, 1, 2}),
    ("the tank is at least 2 bar, so it draws nothing below 2", BESIDE, at_least("t", 2), (3, 1), {3, 2, 1}),
    ("down to an empty tank", BESIDE, at_least("t", 2), (3, 0), {3, 2, 1, 0}),
    ("the claim compares the line with 4 bar: no farther up", BESIDE, at_least("v", 4), (0, 3), {0, 1, 2}),
    ("the claim compares the line with 4 bar: no farther down", BESIDE, at_least("v", 4), (3, 0), {3, 2, 1}),
    ("a part compares the line with 4 bar: no farther up", GUARDED, at_least("t", 2), (0, 3), {0, 1, 2}),
    ("a part compares the line with 4 bar: no farther down", GUARDED, at_least("t", 2), (3, 0), {3, 2, 1}),
]


@pytest.mark.parametrize(("why", "text", "compared", "bands", "reached"), CASES)
def test_a_leap_goes_as_far_as_steps_that_nothing_sees(
    why: str, text: str, compared: Condition, bands: tuple[int, int], reached: set[int]
) -> None:
    assert bands_reached(text, compared, *bands) == reached, why
