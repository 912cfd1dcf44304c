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


def beside(tank: str, line: str, kind: str = "tank") -> str:
    """A tank, or a chamber, and a line, of so many litres."""
    return (
        f'volumes.tank = {{ is = "{kind}", volume = "{tank} L" }}\nvolumes.v = {{ is = "line", volume = "{line} L" }}\n'
    )


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
    refuted(
        "a tank falls into a dead-end line",
        "the line is an end: of 20 L it leaves a tank of 20 L the half of its 5 bar",
        beside("20", "20") + joined("joint tank v") + starting(tank="5"),
        always(at_least("tank", 4)),
        1,
    ),
    refuted(
        "a chamber falls into a dead-end line",
        "the line is an end: as large as the chamber it leaves it the half of its 5 bar",
        beside("1", "1", "chamber") + joined("joint tank v") + starting(tank="5"),
        always(at_least("tank", 4)),
        1,
    ),
    refuted(
        "a line fills a tank",
        "forty times as large it lifts it to 5 x 40 / 41 = 4.9 bar",
        beside("1", "40") + joined("joint tank v") + starting(v="5"),
        never(at_least("tank", 4)),
        1,
    ),
    refuted(
        "a line fills a chamber",
        "forty times as large it lifts it to 5 x 40 / 41 = 4.9 bar",
        beside("1", "40", "chamber") + joined("joint tank v") + starting(v="5"),
        never(at_least("tank", 4)),
        1,
    ),
    proven(
        "a tank and a line in one band exchange nothing across a threshold",
        "both stand between 4 bar and the highest pressure: neither draws the other below 4",
        volumes(tank="tank", v="line") + joined("joint tank v") + starting(tank="5", v="6"),
        always(at_least("tank", 4)),
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
        "only what is joined to a tank counts",
        "the first line is below 4 bar, and the tank falls into it whatever stands behind it",
        volumes(tank="tank", v="line", w="line")
        + joined("joint tank v", "joint v w", "vent w")
        + starting(tank="5", w="5"),
        always(at_least("tank", 4)),
        1,
    ),
    refuted(
        "lines fall one after the other, then the tank",
        "the vented line first, then the one before it, then the tank: none falls while all that it is joined to is above",
        volumes(tank="tank", v="line", w="line")
        + joined("joint tank v", "joint v w", "vent w")
        + starting(tank="5", v="5", w="5"),
        always(at_least("tank", 4)),
        3,
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
        "air does not pass through a store above",
        "the second tank, at 5 bar, must fall first, then the line: it stands between the line and the vent",
        volumes(tank="tank", v="line", b="tank")
        + joined("joint tank v", "joint v b", "vent b")
        + starting(tank="5", v="5", b="5"),
        always(at_least("tank", 4)),
        3,
    ),
    proven(
        "a check valve ends the path",
        "air cannot leave the tank against the arrow",
        volumes(tank="tank", v="line") + joined("oneway v tank", "vent v") + starting(tank="5"),
        always(at_least("tank", 4)),
    ),
    proven(
        "a check valve farther on ends the path",
        "the line beside the tank is as full as the tank, and its air does not pass its check valve",
        volumes(tank="tank", v="line", w="line")
        + joined("joint tank v", "oneway w v", "vent w")
        + starting(tank="5", v="5"),
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
        "the empty line beside the chamber gets no air from the tank against the arrow",
        volumes(tank="tank", v="line", c="chamber") + joined("oneway v tank", "joint v c") + starting(tank="5"),
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
        "all that is joined to it, tank or line, stands below 4 bar",
        volumes(tank="tank", v="line", b="tank") + joined("joint tank v", "joint tank b") + starting(v="3", b="3"),
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
