"""Claims about where runs end, by looking at every state: the oracle for searches that look for a round.

The states in which the claim's condition holds, with the steps between them that are no acts, are parted into strongly
connected components. What has to be seen in a round is seen in some round of a component or in none, but for one thing:
a way that air takes for good has to be kept out of. So the states that spoil a component are taken out of it, and what
is left is parted again (as for acceptance by pairs: E. A. Emerson, C.-L. Lei, "Modalities for model checking", Science of
Computer Programming 8 (1987)).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from bandproof.machine.endless import apart, due_throughout, lost_for_good
from bandproof.machine.fillings import windows
from bandproof.machine.layout import Layout
from bandproof.machine.monitor import applies, bad
from bandproof.machine.semantics import Reading, start_states, successors, with_memory
from bandproof.machine.story import State, StepKind
from bandproof.properties.claim import Property


@dataclass(frozen=True, slots=True)
class Ends:
    """Whether some run goes round for ever with the condition all along; and whether one does so outside the end."""

    met: bool
    broken: bool


def by_components(layout: Layout, claim: Property, *, cap: int = 3_000) -> Ends | None:
    """What is so of the claim; None when it has more than `cap` states."""
    graph = _graph(layout, claim, cap)
    if graph is None:
        return None
    monitor = layout.monitor(claim)
    rounds = list(_rounds(layout, graph))
    outside = (bad(layout, monitor, monitor.states[0], state) for states in rounds for state in states)
    return Ends(bool(rounds), any(outside))


#: For each state those to which a step leads from it.
_Graph = dict[State, set[State]]


def _graph(layout: Layout, claim: Property, cap: int) -> _Graph | None:
    """The states in which the claim's condition holds, with the steps between them that are no acts."""
    bounds, monitor = windows(layout.arrangement, claim), layout.monitor(claim)
    starts = start_states(layout, layout.arrangement.start(claim.during))
    todo = [with_memory(layout, [first], bounds)[0] for first in starts]
    steps: _Graph = {state: set() for state in todo}
    while todo:
        here = todo.pop()
        for step, after in successors(layout, here, claim.pace, claim.mishaps, bounds):
            if after not in steps:
                steps[after] = set()
                todo.append(after)
            if step.kind is not StepKind.ACT:
                steps[here].add(after)
        if len(steps) > cap:
            return None
    kept = {state for state in steps if applies(layout, monitor, state)}
    return {state: steps[state] & kept for state in kept}


def _rounds(layout: Layout, graph: _Graph) -> Iterator[list[State]]:
    """Sets of states that can be gone through for ever, each as large as it can be."""
    todo = [set(graph)]
    while todo:
        inside = todo.pop()
        for component in _components({state: graph[state] & inside for state in inside}):
            states = list(component)
            if due_throughout(layout, states):
                continue
            ways = lost_for_good(layout, states)
            spoilt = {state for state in states if any(apart(Reading(layout, state), *way) for way in ways)}
            if spoilt:
                todo.append(component - spoilt)
            else:
                yield states


def _components(graph: _Graph) -> Iterator[set[State]]:
    """The strongly connected components: M. Sharir, "A strong-connectivity algorithm" (1981)."""
    order: list[State] = []
    seen: set[State] = set()
    for first in graph:
        _visit(graph, first, seen, order)
    back: _Graph = {state: set() for state in graph}
    for state, further in graph.items():
        for after in further:
            back[after].add(state)
    found: set[State] = set()
    for state in reversed(order):
        component: list[State] = []
        _visit(back, state, found, component)
        if component:
            yield set(component)


def _visit(graph: _Graph, first: State, seen: set[State], order: list[State]) -> None:
    """Add to `order` what is reached from `first` and not yet seen, each after all that is reached from it."""
    if first in seen:
        return
    seen.add(first)
    path = [(first, iter(graph[first]))]
    while path:
        state, further = path[-1]
        after = next((after for after in further if after not in seen), None)
        if after is None:
            order.append(state)
            path.pop()
        else:
            seen.add(after)
            path.append((after, iter(graph[after])))
