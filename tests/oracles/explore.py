"""Explicit enumeration: breadth first, no solver. The oracle the other engines are compared with; small models only."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from bandproof.machine.fillings import windows
from bandproof.machine.layout import Layout
from bandproof.machine.monitor import bad, watch
from bandproof.machine.semantics import start_states, successors, with_memory
from bandproof.machine.story import State, Step, Story
from bandproof.properties.claim import Property

#: A state of the arrangement, and that of the monitor that has seen it.
_Node = tuple[State, str]


@dataclass(frozen=True, slots=True)
class Explored:
    """The outcome: a shortest story to a bad, or None when every state was seen; `complete` is false at the cap."""

    story: Story | None
    states: int
    complete: bool


def explore(layout: Layout, claim: Property, *, cap: int = 200_000) -> Explored:
    """Search every state reachable from the claim's start, at most `cap` of them, for the first bad."""
    origin: dict[_Node, tuple[_Node, Step] | None] = {}
    queue: deque[_Node] = deque()
    monitor, bounds = layout.monitor(claim), windows(layout.arrangement, claim)

    def meet(node: _Node, came: tuple[_Node, Step] | None) -> bool:
        if node in origin:
            return False
        origin[node] = came
        queue.append(node)
        return bad(layout, monitor, node[1], node[0])

    for first in start_states(layout, layout.arrangement.start(claim.during)):
        (state,) = with_memory(layout, [first], bounds)
        node = (state, watch(layout, monitor, monitor.states[0], state))
        if meet(node, None):
            return Explored(_story(claim.during, origin, node), len(origin), complete=True)
    while queue:
        if len(origin) > cap:
            return Explored(None, len(origin), complete=False)
        here = queue.popleft()
        for step, after in successors(layout, here[0], claim.pace, claim.mishaps, bounds):
            node = (after, watch(layout, monitor, here[1], after, here[0]))
            if meet(node, (here, step)):
                return Explored(_story(claim.during, origin, node), len(origin), complete=True)
    return Explored(None, len(origin), complete=True)


def _story(start: str, origin: dict[_Node, tuple[_Node, Step] | None], last: _Node) -> Story:
    states = [last[0]]
    steps: list[Step] = []
    while (came := origin[last]) is not None:
        last, step = came
        states.append(last[0])
        steps.append(step)
    return Story(start, tuple(reversed(states)), tuple(reversed(steps)))
