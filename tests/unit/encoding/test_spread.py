"""What is reached from seeds over ways that may be passable: solved node by node, the same as walking there."""

from __future__ import annotations

from hypothesis import example, given
from hypothesis import strategies as st

from bandproof.encoding.encode import Encoding
from bandproof.machine.layout import lay_out
from tests.conformance.case import load

NODES = ["a", "b", "c", "d", "e"]
WAYS = [(u, v) for u in NODES for v in NODES]

#: Whichever node is solved first, another one is reached past it.
RING = list(zip(NODES, [*NODES[1:], NODES[0]], strict=True))

#: A layout is needed to have an encoding; what it says does not matter here.
LAYOUT = lay_out(load('volumes.v = { is = "line" }\nstarts.start = { says = "empty" }\n'), ())


def walked(seeds: set[str], ways: set[tuple[str, str]]) -> set[str]:
    """The seeds and whatever the ways lead to from them."""
    reached = set(seeds)
    while more := {v for u, v in ways if u in reached} - reached:
        reached |= more
    return reached


@given(
    st.lists(st.sampled_from(WAYS), unique=True, max_size=12),
    st.sets(st.sampled_from(NODES), max_size=2),
    st.lists(st.sampled_from(WAYS), max_size=12),
)
@example(RING, {"e"}, [])
@example(RING, {"c"}, [("e", "a")])
def test_what_is_reached_is_what_one_walks_to(
    passages: list[tuple[str, str]], seeds: set[str], shut: list[tuple[str, str]]
) -> None:
    encoding = Encoding(LAYOUT)
    circuit = encoding.circuit
    open_bit = {way: circuit.variable(f"{way} is open") for way in passages}
    seed_bit = {node: circuit.variable(f"{node} is a seed") for node in NODES}
    reached = encoding.spread(NODES, seed_bit, [(u, v, open_bit[u, v]) for u, v in passages])
    truth = {bit >> 1: way not in shut for way, bit in open_bit.items()}
    truth |= {bit >> 1: node in seeds for node, bit in seed_bit.items()}
    expected = walked(seeds, set(passages) - set(shut))
    assert circuit.evaluate([reached[node] for node in NODES], truth) == [node in expected for node in NODES]
