"""One state seen by both meanings: as values of an encoded problem's bits, and as the executable machine's state."""

from __future__ import annotations

from bandproof.encoding.bits import Bit, BitSort
from bandproof.encoding.circuit import FALSE, negate
from bandproof.encoding.clauses import Numbered
from bandproof.encoding.system import Problem
from bandproof.machine.story import State
from bandproof.solvers.sat import Sat


def bit_values(problem: Problem, state: State) -> list[bool]:
    """The state as values of the problem's bits; monitor bits false."""
    return [_holds(problem, state, bit) for bit in problem.bits]


def _holds(problem: Problem, state: State, bit: Bit) -> bool:
    arrangement = problem.layout.arrangement
    match bit.sort, bit.subject:
        case BitSort.VOLUME, name:
            return state.bands[[v.name for v in arrangement.volumes].index(str(name))] > bit.rank
        case BitSort.PART, name:
            return state.parts[[p.name for p in arrangement.parts].index(str(name))] == bit.value
        case BitSort.CONTROL, name:
            return state.controls[[c.name for c in arrangement.controls].index(str(name))] == bit.value
        case BitSort.MISHAP, name:
            return name in state.mishaps
        case BitSort.COUNT, int(number):
            return state.counts[number].count > bit.rank
        case BitSort.LAST, int(number):
            return {None: "none", True: "up", False: "down"}[state.counts[number].last] == bit.value
        case BitSort.WINDOW, name:
            return bit.value in state.crossed[[w.tank for w in problem.windows].index(str(name))]
        case _:
            return False


def node_values(problem: Problem, values: list[bool]) -> dict[int, bool]:
    """Values of the problem's bits as values of the circuit's variable nodes."""
    return dict(zip((b.literal >> 1 for b in problem.bits), values, strict=True))


def encoded_successors(problem: Problem, state: State, function: tuple[int, ...]) -> set[State]:
    """Every state that `function`, the problem's step or acceleration, reaches from `state`, asked of the solver one by one."""
    bits = [b.literal for b in problem.bits]
    numbered = Numbered(problem.circuit, [*bits, *function])
    sat = Sat(numbered.clauses)
    values = bit_values(problem, state)
    for bit, value in zip(bits, values, strict=True):
        sat.add([numbered.signed(bit) if value else -numbered.signed(bit)])
    after = [numbered.signed(a) for a in function]
    found = set()
    while sat.holds():
        model = sat.model()
        truth = [(model[abs(a) - 1] > 0) == (a > 0) for a in after]
        found.add(problem.state_of(truth))
        sat.add([-a if t else a for a, t in zip(after, truth, strict=True)])
    sat.close()
    return found


def memories_after(problem: Problem, values: list[bool], after: State) -> set[tuple[bool, ...]]:
    """What the monitor's bits can be after a step to `after` from the state in which the bits have `values`."""
    bits = [b.literal for b in problem.bits]
    numbered = Numbered(problem.circuit, [*bits, *problem.after])
    sat = Sat(numbered.clauses)
    for bit, value in zip(bits, values, strict=True):
        sat.add([numbered.signed(bit) if value else -numbered.signed(bit)])
    watched = []
    for meant, there, value in zip(problem.bits, problem.after, bit_values(problem, after), strict=True):
        if meant.sort is BitSort.MONITOR:
            watched.append(numbered.signed(there))
        else:
            sat.add([numbered.signed(there) if value else -numbered.signed(there)])
    found = set()
    while sat.holds():
        model = sat.model()
        truth = [(model[abs(a) - 1] > 0) == (a > 0) for a in watched]
        found.add(tuple(truth))
        if not watched:
            break
        sat.add([-a if t else a for a, t in zip(watched, truth, strict=True)])
    sat.close()
    return found


def keeps_form(problem: Problem, function: tuple[int, ...]) -> bool:
    """No step, or acceleration, leads from a well-formed state to one that is not."""
    bits = [b.literal for b in problem.bits]
    step = Numbered(problem.circuit, [*bits, *function, problem.well_formed])
    then = Numbered(problem.circuit, [*bits, problem.well_formed], first=step.size + 1)
    sat = Sat([*step.clauses, *then.clauses])
    sat.add([step.signed(problem.well_formed)])
    sat.add([-then.signed(problem.well_formed)])
    for bit, after in zip(bits, function, strict=True):
        sat.add([-step.signed(after), then.signed(bit)])
        sat.add([step.signed(after), -then.signed(bit)])
    broken = sat.holds()
    sat.close()
    return not broken


def over_is_final(problem: Problem) -> bool:
    """Where the problem says that all is over, no bad is, and no step or acceleration leads back."""
    circuit, over = problem.circuit, problem.over
    if over == FALSE:
        return True
    place = next(i for i, bit in enumerate(problem.bits) if bit.literal == over)
    wrong = [problem.bad, negate(problem.after[place]), negate(problem.accelerated[place])]
    numbered = Numbered(circuit, [over, problem.well_formed, *wrong])
    sat = Sat(numbered.clauses)
    sat.add([numbered.signed(over)])
    sat.add([numbered.signed(problem.well_formed)])
    found = any(sat.holds([numbered.signed(literal)]) for literal in wrong)
    sat.close()
    return not found
