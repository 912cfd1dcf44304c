"""The one search along ways, for whatever asks what can be reached. It knows nothing of what the nodes stand for.

A graph library would say it in as many lines and cost every start of the program a tenth of a second.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable
from typing import TypeVar

Node = TypeVar("Node", bound=Hashable)


def reachable(start: Iterable[Node], onward: Callable[[Node], Iterable[Node]]) -> set[Node]:
    """The nodes of `start`, and every node to which steps of `onward` lead from them."""
    reached = set(start)
    ahead = list(reached)
    while ahead:
        fresh = set(onward(ahead.pop())) - reached
        reached |= fresh
        ahead += fresh
    return reached
