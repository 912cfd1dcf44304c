"""The executable step against the encoded step, state by state, in both directions."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from bandproof.machine.judge import Watch, hit, watch
from bandproof.machine.semantics import at_rest, driver_may_act, pending, settled, start_states, successors
from bandproof.machine.story import State
from bandproof.smt.sat import Sat
from bandproof.smt.circuit import Numbered
from bandproof.smt.system import Problem, StepRule, pose
from tests.strategies import arrangements, layout_for, properties, states

BUDGET = 60


def bit_values(problem: Problem, state: State) -> list[bool]:
    """The state as values of the problem's bits; monitor bits false."""
    arrangement = problem.layout.arrangement
    band = dict(zip((f"volume {v.name}" for v in arrangement.volumes), state.bands, strict=True))
    stands = dict(zip((f"part {p.name}" for p in arrangement.parts), state.parts, strict=True))
    stands.update(zip((f"control {c.name}" for c in arrangement.controls), state.controls, strict=True))
    values = []
    for bit in problem.bits:
        if bit.group in band:
            values.append(band[bit.group] > bit.rank)
        elif bit.group in stands:
            values.append(stands[bit.group] == bit.value)
        else:
            values.append(bit.group.removeprefix("mishap ") in state.mishaps)
    return values


def encoded_successors(problem: Problem, state: State) -> set[State]:
    """Every state the encoded step reaches from `state`, by asking the solver for one after another."""
    bits = [b.literal for b in problem.bits]
    numbered = Numbered(problem.circuit, [*bits, *problem.after])
    sat = Sat(numbered.clauses)
    values = bit_values(problem, state)
    for bit, value in zip(bits, values, strict=True):
        sat.add([numbered.signed(bit) if value else -numbered.signed(bit)])
    after = [numbered.signed(a) for a in problem.after]
    found = set()
    while sat.holds():
        model = sat.model()
        truth = [(model[abs(a) - 1] > 0) == (a > 0) for a in after]
        found.add(problem.state_of(truth))
        sat.add([-a if t else a for a, t in zip(after, truth, strict=True)])
    sat.close()
    return found


@given(st.data())
@settings(max_examples=BUDGET, deadline=None)
def test_both_steps_lead_to_the_same_states(data: st.DataObject) -> None:
    arrangement = data.draw(arrangements())
    claim = data.draw(properties(arrangement))
    layout = layout_for(arrangement, claim)
    state = data.draw(states(layout))
    problem = pose(StepRule(layout), claim)
    stepped = {after for _, after in successors(layout, state, claim.pace, claim.mishaps)}
    assert encoded_successors(problem, state) - {state} == stepped - {state}


@given(st.data())
@settings(max_examples=BUDGET, deadline=None)
def test_both_agree_on_every_single_state_fact(data: st.DataObject) -> None:
    arrangement = data.draw(arrangements())
    claim = data.draw(properties(arrangement))
    layout = layout_for(arrangement, claim)
    rule = StepRule(layout)
    problem = pose(rule, claim)
    roots = [rule.pending, rule.flow.settled(), rule.flow.at_rest(), rule.driver_may_act(claim.pace), problem.hit]
    nodes = [b.literal >> 1 for b in problem.bits]
    starts = set(start_states(layout, arrangement.starts[0]))
    for state in [data.draw(states(layout)) for _ in range(8)] + sorted(starts, key=repr)[:4]:
        values = dict(zip(nodes, bit_values(problem, state), strict=True))
        seen = watch(layout, claim, Watch.WAITING, state)
        assert problem.circuit.evaluate(roots, values) == [
            pending(layout, state),
            settled(layout, state),
            at_rest(layout, state),
            driver_may_act(layout, state, claim.pace),
            hit(layout, claim, seen, state),
        ]
        assert problem.circuit.evaluate([problem.start], values) == [state in starts]
