"""Hand-proved cases about the flow rule: unsized passages, and where a tank's or chamber's air can come from and go to."""

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
        "equals exchange nothing across a threshold",
        "both ends are between 2 and 4 bar: neither leads below 2 bar or above 4 bar",
        volumes(v="line", w="line") + joined("joint v w") + starting(v="3", w="3"),
        always(both(at_least("v", 2), below("v", 4), at_least("w", 2), below("w", 4))),
    ),
    refuted(
        "a line vents",
        "the atmosphere is below every threshold",
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
        "a path of many lines",
        "all four lines to the vent are below 4 bar",
        volumes(tank="tank", v="line", w="line", x="line", y="line")
        + joined("joint tank v", "joint v w", "joint w x", "joint x y", "vent y")
        + starting(tank="5"),
        always(at_least("tank", 4)),
        1,
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
        "a tank needs air at or above the threshold",
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

FLOW: tuple[Case, ...] = (*UNSIZED, *PATHS)
