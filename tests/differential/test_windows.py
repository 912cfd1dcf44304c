"""The window of a tank among lines, step by step, by hand and in both meanings."""

from __future__ import annotations

from dataclasses import replace

from bandproof.encoding.system import StepRule, pose
from bandproof.machine.layout import lay_out
from bandproof.machine.semantics import successors
from bandproof.machine.story import State
from bandproof.properties.claim import Pace
from tests.conformance.case import Case, below, load, never, proven
from tests.conformance.small_parts import FOOT, HANDLE, HOSE, litres, piece
from tests.conformance.table_flow import starting
from tests.differential.compare import encoded_successors

#: A lever that fills a line of 0.4 L from a tank of 20 L, or empties it; a hose from the tank that may tear.
TEXT = (
    litres("tank", "tank", "20")
    + litres("v", "line", "0.4")
    + HANDLE
    + 'mishaps.tear = { says = "" }\n'
    + piece("foot", "foot", ports={"a": "tank", "b": "v"}, controls={"lever": "handle"})
    + piece("hose", "hose", ports={"a": "tank"}, mishaps={"tears": "tear"})
    + starting(tank="8")
    + FOOT
    + HOSE
)
#: Thresholds at 4, 6 and 6.25 bar. One filling of 0.4 L at 9 bar moves the tank 0.18 bar; 20 fillings 3.6.
LAYOUT = lay_out(load(TEXT), [below("tank", 4), below("tank", 6), below("tank", 6.25)])


def onward(state: State, *, fillings: int) -> set[State]:
    """All states one step further, the same in both meanings."""
    case: Case = replace(
        proven("windows", "", TEXT, never(below("tank", 4)), pace=Pace.HANDS_OFF, mishaps="tear"), fillings=fillings
    )
    claim = case.property()
    problem = pose(StepRule(LAYOUT), claim)
    assert [window.tank for window in problem.windows] == ["tank"]
    stepped = {after for _, after in successors(LAYOUT, state, claim.pace, claim.mishaps, problem.windows)}
    assert encoded_successors(problem, state, problem.after) - {state} == stepped - {state}
    return stepped


def at(band: int, *crossed: int, hose: str = "whole", torn: bool = False, line: int = 0) -> State:
    """The tank in this band, the lever turned, with what the window remembers."""
    parts = tuple({"foot": "feeding", "hose": hose}[part.name] for part in LAYOUT.arrangement.parts)
    mishaps = frozenset({"tear"} if torn else ())
    return State((band, line), parts, ("turned",), mishaps, LAYOUT.no_counts(), (frozenset(crossed),))


def tank(states: set[State]) -> set[tuple[int, frozenset[int]]]:
    """Where the tank gets to, and what is then remembered."""
    return {(state.bands[0], state.crossed[0]) for state in states if not state.mishaps}


def test_what_was_crossed_is_remembered() -> None:
    assert (2, frozenset({2})) in tank(onward(at(3), fillings=1))
    assert (1, frozenset({1})) in tank(onward(at(2), fillings=1))
    assert (1, frozenset({1, 2})) in tank(onward(at(2, 2), fillings=20))


def test_a_threshold_too_far_from_one_that_was_crossed_is_not() -> None:
    """From 6.25 to 6 bar are 0.25, from 6 to 4 are 2."""
    assert all(band != 1 for band, _ in tank(onward(at(2, 2), fillings=1)))
    assert any(band == 1 for band, _ in tank(onward(at(2, 2), fillings=2)))
    assert all(band != 0 for band, _ in tank(onward(at(1, 1), fillings=11)))
    assert any(band == 0 for band, _ in tank(onward(at(1, 1), fillings=12)))


def test_back_across_the_same_threshold_is_free() -> None:
    assert any(band == 3 for band, _ in tank(onward(at(2, 2, line=3), fillings=1)))


def test_a_tank_joined_to_the_atmosphere_is_not_bounded_and_remembers_nothing() -> None:
    torn = {(state.bands[0], state.crossed[0]) for state in onward(at(2, 2, torn=True), fillings=1)}
    assert torn == {(2, frozenset())}
    open_to_it = {state for state in onward(at(2, hose="torn", torn=True), fillings=1) if state.bands[0] == 1}
    assert {state.crossed[0] for state in open_to_it} == {frozenset()}
