"""Hand-proved cases about the flow rule where passages have sizes: sums of flows compared with zero.

Sums are in dm3/s at 1 bar absolute surroundings and 10 bar absolute source. Choked, a passage carries C times the upstream
absolute pressure; C = 1 from the source brings 10, C = 5 from 2 bar absolute takes 10.
"""

from __future__ import annotations

from bandproof.properties.claim import Pace
from tests.conformance.case import Case, always, at_least, below, both, never, proven, refuted
from tests.conformance.table_flow import joined, starting, volumes


def sized(feed: str, vent: str, start: str, *, upstream: str = "", more: str = "") -> str:
    """A line fed through one size and vented through another; the feed comes from the source or from `upstream`."""
    ports = f'{{ a = "{upstream}", b = "v" }}' if upstream else '{ a = "v" }'
    kind = "joint" if upstream else "feed"
    return (
        volumes(v="line")
        + f'parts.feed = {{ kind = "{kind}", ports = {ports}, sizes = {{ bore = {feed} }} }}\n'
        + f'parts.vent = {{ kind = "vent", ports = {{ a = "v" }}, sizes = {{ bore = {vent} }} }}\n'
        + more
        + starting(v=start, **({upstream: "2"} if upstream else {}))
    )


def size(c: str, b: str) -> str:
    """An inline size."""
    return f'{{ C = "{c}", b = "{b}" }}'


def backward(c: str) -> str:
    """A line at 2 bar, fed with C = 1, that a passage written as leading from an empty tank to it drains."""
    return (
        volumes(tank="tank", v="line")
        + f'parts.feed = {{ kind = "feed", ports = {{ a = "v" }}, sizes = {{ bore = {size("1", "0.5")} }} }}\n'
        + f'parts.back = {{ kind = "joint", ports = {{ a = "tank", b = "v" }}, sizes = {{ bore = {size(c, "0.5")} }} }}\n'
        + starting(v="2")
    )


def gated(passage: str, start: str) -> str:
    """A line with one sized passage that a handle opens."""
    kind = f"""
[kinds.gate]
ports = ["a"]
states = ["shut", "open"]
sizes = ["bore"]
controls = ["lever"]
passages = [{passage}]
moves = [{{ from = "shut", to = "open", when = "lever is turned" }}]
"""
    ports = f'ports = {{ a = "v" }}, controls = {{ lever = "handle" }}, sizes = {{ bore = {size("1", "0.5")} }}'
    return (
        volumes(v="line")
        + 'controls.handle = { positions = ["plain", "turned"] }\n'
        + f'parts.gate = {{ kind = "gate", {ports} }}\n'
        + starting(v=start)
        + kind
    )


HALF_5 = size("5", "0.5")

SIZED: tuple[Case, ...] = (
    proven(
        "equal flows do not lift",
        "at 1 bar the feed brings 10 and the vent takes 5 x 2 = 10: the net is not positive",
        sized(size("1", "0.5"), HALF_5, "0"),
        never(at_least("v", 1)),
    ),
    proven(
        "equal flows do not lower",
        "at 1 bar the feed brings 10 and the vent takes 5 x 2 = 10: the net is not negative",
        sized(size("1", "0.5"), HALF_5, "2"),
        always(at_least("v", 1)),
    ),
    refuted(
        "the largest feed counts for rising",
        "a feed of up to 1.01 may bring 10.1 against 10",
        sized(size("0.9..1.01", "0.5"), HALF_5, "0"),
        never(at_least("v", 1)),
        1,
    ),
    refuted(
        "the smallest feed counts for falling",
        "a feed of down to 0.99 may bring no more than 9.9 against 10",
        sized(size("0.99..1.1", "0.5"), HALF_5, "2"),
        always(at_least("v", 1)),
        1,
    ),
    refuted(
        "the smallest vent counts for rising",
        "a vent of down to 4.99 may take no more than 9.98 of 10",
        sized(size("1", "0.5"), size("4.99..6", "0.5"), "0"),
        never(at_least("v", 1)),
        1,
    ),
    refuted(
        "the largest vent counts for falling",
        "a vent of up to 5.01 may take 10.02 against 10",
        sized(size("1", "0.5"), size("4..5.01", "0.5"), "2"),
        always(at_least("v", 1)),
        1,
    ),
    refuted(
        "choked feed",
        "2/10 is at the critical ratio 0.2: the feed is choked and brings 10, the vent takes 4.95 x 2 = 9.9",
        sized(size("1", "0.2"), size("4.95", "0.5"), "0"),
        never(at_least("v", 1)),
        1,
    ),
    proven(
        "feed not choked",
        "with b = 0 the feed brings 10 sqrt(1 - 0.2^2) = 9.80, the vent takes 9.9",
        sized(size("1", "0"), size("4.95", "0.5"), "0"),
        never(at_least("v", 1)),
    ),
    refuted(
        "vent not choked",
        "with b = 0.2 the vent takes 10 sqrt(1 - (0.3/0.8)^2) = 9.27 of 10",
        sized(size("1", "0.5"), size("5", "0.2"), "0"),
        never(at_least("v", 1)),
        1,
    ),
    proven(
        "torn line against a restricted feed",
        "whatever the tank has below 3 bar, 4 absolute, the feed brings at most 4, and the vent takes 2 x 2 = 4 at 1 bar",
        sized(size("1", "0.5"), size("2", "0.5"), "0", upstream="tank", more=volumes(tank="tank")),
        never(both(at_least("v", 1), below("tank", 3))),
    ),
    refuted(
        "torn line against a wide feed",
        "a feed of 1.1 from a tank just below 3 bar brings nearly 4.4 against 4",
        sized(size("1.1", "0.5"), size("2", "0.5"), "0", upstream="tank", more=volumes(tank="tank")),
        never(both(at_least("v", 1), below("tank", 3))),
        1,
    ),
    refuted(
        "one unsized feed outdoes all sizes",
        "an unsized passage from the source can be as wide as it takes",
        sized(size("1", "0.5"), HALF_5, "0", more=joined("feed v")),
        never(at_least("v", 1)),
        1,
    ),
    refuted(
        "an unsized vent outdoes all sizes",
        "an unsized vent can be as wide as it takes",
        sized(size("1", "0.5"), HALF_5, "2", more=joined("vent v")),
        always(at_least("v", 1)),
        1,
    ),
    refuted(
        "the largest way back counts for falling",
        "back into the tank at zero a passage of up to 5.01 may take 10.02 of 10",
        backward("4..5.01"),
        always(at_least("v", 1)),
        1,
    ),
    proven(
        "a small way back does not suffice",
        "back into the tank at zero a passage of at most 5 takes 10 of 10",
        backward("4..5"),
        always(at_least("v", 1)),
    ),
    refuted(
        "the smallest way back counts for rising",
        "at 3 bar, 4 absolute, a passage of down to 2 may take no more than 8 of 10 into the tank below 1 bar",
        backward("2..3"),
        never(both(at_least("v", 3), below("tank", 1))),
        1,
    ),
    proven(
        "a large way back is enough",
        "at 3 bar, 4 absolute, a passage of 2.5 takes 10 of 10 into the tank below 1 bar",
        backward("2.5..3"),
        never(both(at_least("v", 3), below("tank", 1))),
    ),
    proven(
        "a shut sized feed brings nothing",
        "the gate is open only with its handle turned, and nobody turns it",
        gated('{ from = "source", to = "a", open_in = ["open"], size = "bore" }', "0"),
        never(at_least("v", 1)),
        pace=Pace.HANDS_OFF,
    ),
    proven(
        "a shut sized vent takes nothing",
        "the gate is open only with its handle turned, and nobody turns it",
        gated('{ from = "a", to = "atmosphere", open_in = ["open"], size = "bore" }', "2"),
        always(at_least("v", 1)),
        pace=Pace.HANDS_OFF,
    ),
    refuted(
        "an open sized feed brings air",
        "one act to turn the handle, one react to open the gate, one flow",
        gated('{ from = "source", to = "a", open_in = ["open"], size = "bore" }', "0"),
        never(at_least("v", 1)),
        3,
    ),
    proven(
        "a sized passage pointing away brings nothing",
        "the only way to the source's neighbour leads out of the line: one-way, it carries nothing back",
        volumes(v="line", w="line")
        + 'parts.out = { kind = "oneway", ports = { a = "v", b = "w" }, sizes = { bore = { C = "1", b = "0.5" } } }\n'
        + starting(w="5"),
        never(at_least("v", 4)),
    ),
)
