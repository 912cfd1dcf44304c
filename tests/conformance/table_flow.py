"""Hand-proved cases about the flow rule: unsized and sized passages, and where a tank's or chamber's air can go.

Sums of flows are in dm3/s at 1 bar absolute surroundings and 10 bar absolute source. Choked, a passage carries C times the
upstream absolute pressure; C = 1 from the source brings 10, C = 5 from 2 bar absolute takes 10.
"""

from __future__ import annotations

from bandproof.properties.claim import Pace
from tests.conformance.case import Case, always, at_least, below, both, never, no, proven, refuted


def volumes(**kinds: str) -> str:
    """Volume lines: name = kind."""
    return "".join(f'volumes.{name} = {{ is = "{kind}" }}\n' for name, kind in kinds.items())


def joined(*links: str) -> str:
    """Part lines from links such as `tank joint line`, `oneway tank line`, `vent line`, `feed line`."""
    text = ""
    for number, link in enumerate(links):
        kind, *ends = link.split()
        ports = ", ".join(f'{port} = "{end}"' for port, end in zip("ab", ends, strict=False))
        text += f'parts.part{number} = {{ kind = "{kind}", ports = {{ {ports} }} }}\n'
    return text


def starting(**bars: str) -> str:
    """The start's pressures, in bar; what is left out is at zero."""
    inside = ", ".join(f'{name} = "{bar} bar"' for name, bar in bars.items())
    return f"starts.start.pressures = {{ {inside} }}\n"


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


HALF_5 = size("5", "0.5")

UNSIZED = (
    refuted(
        "a line fills from a tank",
        "the tank stands at or above 2 bar, so the line may rise across 2 bar",
        volumes(tank="tank", v="line") + joined("joint tank v") + starting(tank="3"),
        never(at_least("v", 2)),
        1,
    ),
    proven(
        "a line rises no higher than what feeds it",
        "the tank stays below 4 bar, for nothing fills it, and 4 bar is not above 4 bar",
        volumes(tank="tank", v="line") + joined("joint tank v") + starting(tank="3"),
        never(at_least("v", 4)),
    ),
    proven(
        "equals exchange nothing across a landmark",
        "both ends are between 2 and 4 bar: neither leads below 2 bar or above 4 bar",
        volumes(v="line", w="line") + joined("joint v w") + starting(v="3", w="3"),
        always(both(at_least("v", 2), below("v", 4), at_least("w", 2), below("w", 4))),
    ),
    refuted(
        "a line vents",
        "the atmosphere is below every landmark",
        volumes(v="line") + joined("vent v") + starting(v="3"),
        always(at_least("v", 2)),
        1,
    ),
    proven(
        "a vent brings nothing",
        "air comes from no atmosphere at zero gauge",
        volumes(v="line") + joined("vent v") + starting(),
        never(at_least("v", 2)),
    ),
    proven(
        "a feed takes nothing",
        "no air goes back into a source",
        volumes(v="line") + joined("feed v") + starting(v="5"),
        always(at_least("v", 2)),
    ),
    refuted(
        "a feed fills to the top",
        "a source stands at the highest pressure, 9 bar",
        volumes(v="line") + joined("feed v") + starting(),
        never(at_least("v", 8)),
        1,
    ),
    refuted(
        "one way, with the arrow",
        "air may pass from the upstream line at 5 bar",
        volumes(v="line", w="line") + joined("oneway v w") + starting(v="5"),
        never(at_least("w", 4)),
        1,
    ),
    proven(
        "one way, never back",
        "downstream is higher: nothing may fall there and nothing rise upstream",
        volumes(v="line", w="line") + joined("oneway v w") + starting(w="5"),
        always(both(at_least("w", 4), below("v", 4))),
    ),
    proven(
        "a shut passage",
        "the tap is open only with its handle turned, and nobody turns it",
        volumes(v="line", w="line")
        + """
controls.handle = { positions = ["plain", "turned"] }
parts.tap = { kind = "tap", ports = { a = "v", b = "w" }, controls = { lever = "handle" } }
"""
        + starting(v="5"),
        never(at_least("w", 4)),
        pace=Pace.HANDS_OFF,
    ),
)

SIZED = (
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
        "a sized passage pointing away brings nothing",
        "the only way to the source's neighbour leads out of the line: one-way, it carries nothing back",
        volumes(v="line", w="line")
        + 'parts.out = { kind = "oneway", ports = { a = "v", b = "w" }, sizes = { bore = { C = "1", b = "0.5" } } }\n'
        + starting(w="5"),
        never(at_least("v", 4)),
    ),
)

PATHS = (
    proven(
        "a tank does not fall into a dead-end line",
        "the line leads nowhere: filling it does not empty a tank",
        volumes(tank="tank", v="line") + joined("joint tank v") + starting(tank="5"),
        always(at_least("tank", 4)),
    ),
    proven(
        "a chamber does not fall into a dead-end line",
        "the line leads nowhere: filling it does not empty a chamber",
        volumes(tank="chamber", v="line") + joined("joint tank v") + starting(tank="5"),
        always(at_least("tank", 4)),
    ),
    proven(
        "a pilot line does not fill a tank",
        "its air is too little, and nothing stands behind it",
        volumes(tank="tank", v="line") + joined("joint tank v") + starting(v="5"),
        never(at_least("tank", 4)),
    ),
    proven(
        "a pilot line does not fill a chamber",
        "its air is too little, and nothing stands behind it",
        volumes(tank="chamber", v="line") + joined("joint tank v") + starting(v="5"),
        never(at_least("tank", 4)),
    ),
    refuted(
        "a tank falls through an empty line",
        "the line to the vent is below 4 bar, so the tank may fall across 4 bar at once",
        volumes(tank="tank", v="line") + joined("joint tank v", "vent v") + starting(tank="5"),
        always(at_least("tank", 4)),
        1,
    ),
    refuted(
        "a tank falls after the line",
        "the line must be below 4 bar before the tank can fall across it",
        volumes(tank="tank", v="line") + joined("joint tank v", "vent v") + starting(tank="5", v="5"),
        always(at_least("tank", 4)),
        2,
    ),
    refuted(
        "every line of the path is below",
        "the first line is below 4 bar but the second, before the vent, has to fall first",
        volumes(tank="tank", v="line", w="line")
        + joined("joint tank v", "joint v w", "vent w")
        + starting(tank="5", w="5"),
        always(at_least("tank", 4)),
        2,
    ),
    refuted(
        "a tank falls into a chamber",
        "the chamber below 4 bar is a place for its air, the line between them is below 4 bar too",
        volumes(tank="tank", v="line", c="chamber") + joined("joint tank v", "joint v c") + starting(tank="5"),
        always(at_least("tank", 4)),
        1,
    ),
    refuted(
        "a path does not pass through a store above",
        "the second tank, at 5 bar, must fall first: it stands between the line and the vent",
        volumes(tank="tank", v="line", b="tank")
        + joined("joint tank v", "joint v b", "vent b")
        + starting(tank="5", b="5"),
        always(at_least("tank", 4)),
        2,
    ),
    proven(
        "a check valve ends the path",
        "air cannot leave the tank against the arrow",
        volumes(tank="tank", v="line") + joined("oneway v tank", "vent v") + starting(tank="5"),
        always(at_least("tank", 4)),
    ),
    proven(
        "a check valve farther on ends the path",
        "air can leave the tank into the line but not pass the line's check valve",
        volumes(tank="tank", v="line", w="line") + joined("joint tank v", "oneway w v", "vent w") + starting(tank="5"),
        always(at_least("tank", 4)),
    ),
    refuted(
        "a tank fills through full lines",
        "the feed's lines one after the other, then the tank",
        volumes(tank="tank", v="line", w="line") + joined("feed v", "joint v w", "joint w tank") + starting(),
        never(at_least("tank", 4)),
        3,
    ),
    refuted(
        "a chamber fills from a tank",
        "the line first, then the chamber",
        volumes(tank="tank", v="line", c="chamber") + joined("joint tank v", "joint v c") + starting(tank="5"),
        never(at_least("c", 4)),
        2,
    ),
    proven(
        "a check valve ends the way up",
        "the line that stands full beside the chamber gets no air from the tank against the arrow",
        volumes(tank="tank", v="line", c="chamber") + joined("oneway v tank", "joint v c") + starting(tank="5", v="5"),
        never(at_least("c", 4)),
    ),
    refuted(
        "a tank fills from a chamber above",
        "a chamber at 5 bar is a store, the line between is full; 40 L at 5 bar are 50 L at 4 bar",
        volumes(v="line")
        + 'volumes.tank = { is = "tank", volume = "10 L" }\n'
        + 'volumes.c = { is = "chamber", volume = "40 L" }\n'
        + joined("joint tank v", "joint v c")
        + starting(c="5", v="5"),
        never(at_least("tank", 4)),
        1,
    ),
    proven(
        "a tank needs air at or above the landmark",
        "the other tank stands below 4 bar, the full line behind a check valve is a dead end",
        volumes(tank="tank", v="line", b="tank") + joined("joint tank v", "joint tank b") + starting(v="5", b="3"),
        never(at_least("tank", 4)),
    ),
    proven(
        "a tank alone keeps its air",
        "no passage is open at it",
        volumes(tank="tank") + starting(tank="5"),
        always(both(at_least("tank", 4), no(below("tank", 4)))),
    ),
)

FLOW: tuple[Case, ...] = (*UNSIZED, *SIZED, *PATHS)
