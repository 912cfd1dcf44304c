"""Hand-proved cases about *settled* and *at rest*, clause by clause."""

from __future__ import annotations

from tests.conformance.case import (
    Case,
    at_least,
    at_rest,
    below,
    both,
    empty,
    no,
    proven,
    refuted,
    same_side,
    settled,
    stands,
)
from tests.conformance.table_flow import joined, starting, volumes
from tests.conformance.table_sized import HALF_5, size, sized

UNVENTED = (
    proven(
        "two-way, lines",
        "no vent: the two ends of a two-way passage are in the same band when settled",
        volumes(v="line", w="line") + joined("joint v w") + starting(v="3"),
        settled(same_side(2, "v", "w")),
    ),
    proven(
        "two-way, a line and a tank",
        "the tank end counts too: the line has to be in the tank's band",
        volumes(tank="tank", v="line") + joined("joint tank v") + starting(tank="3"),
        settled(same_side(2, "tank", "v")),
    ),
    refuted(
        "a line between two tanks",
        "the fuller tank feeds the line, the emptier one drains it: a steady flow, the tanks drifting",
        volumes(tank="tank", v="line", b="tank") + joined("joint tank v", "joint v b") + starting(tank="3"),
        settled(same_side(2, "tank", "v", "b")),
        0,
    ),
    proven(
        "a line above two tanks",
        "both tanks would drain the line and nothing feeds it, so it is not still in a band above both",
        volumes(tank="tank", v="line", b="tank") + joined("joint tank v", "joint v b") + starting(v="3"),
        settled(below("v", 2), when=both(below("tank", 2), below("b", 2))),
    ),
    proven(
        "a line below two tanks",
        "both tanks would feed the line and nothing drains it, so it is not still in a band below both",
        volumes(tank="tank", v="line", b="tank") + joined("joint tank v", "joint v b") + starting(tank="3", b="3"),
        settled(at_least("v", 2), when=both(at_least("tank", 2), at_least("b", 2))),
    ),
    proven(
        "a chamber between two tanks, at rest",
        "at rest the tanks do not drift, so nothing flows: all are in one band",
        volumes(tank="tank", c="chamber", b="tank") + joined("joint tank c", "joint c b") + starting(tank="3"),
        at_rest(same_side(2, "tank", "c", "b")),
    ),
    proven(
        "one-way downhill",
        "no vent: upstream may not be in the higher band",
        volumes(v="line", w="line") + joined("oneway v w") + starting(v="3"),
        settled(no(both(at_least("v", 2), below("w", 2)))),
    ),
    refuted(
        "one-way uphill",
        "a check valve holds: downstream may be in the higher band",
        volumes(v="line", w="line") + joined("oneway v w") + starting(w="3"),
        settled(no(both(at_least("w", 2), below("v", 2)))),
        0,
    ),
    proven(
        "one-way from a tank",
        "the tank is upstream in the higher band, so the line is not still",
        volumes(tank="tank", v="line") + joined("oneway tank v") + starting(tank="3"),
        settled(at_least("v", 2), when=at_least("tank", 2)),
    ),
    proven(
        "one-way into a tank",
        "the line is upstream in the higher band, so it is not still until it has fallen, or the tank has filled",
        volumes(tank="tank", v="line") + joined("oneway v tank") + starting(v="3"),
        settled(below("v", 2), when=below("tank", 2)),
    ),
    proven(
        "fed and not vented",
        "from a source to a lower line nothing is still until the line is in the source's band",
        volumes(v="line") + joined("feed v") + starting(),
        settled(at_least("v", 2)),
    ),
    refuted(
        "charging through a line",
        "the tank drains the line while it charges: settled with the tank still empty",
        volumes(tank="tank", v="line") + joined("feed v", "oneway v tank") + starting(),
        settled(at_least("tank", 2)),
        0,
    ),
    proven(
        "charged through a line, at rest",
        "at rest nothing flows: line and tank are in the source's band",
        volumes(tank="tank", v="line") + joined("feed v", "oneway v tank") + starting(),
        at_rest(both(at_least("v", 2), at_least("tank", 2))),
    ),
    proven(
        "charging through a sized line",
        "into an empty tank below 1 bar the way out takes 5 x 2 = 10 of the line's 1 bar, less than the feed's 11",
        volumes(tank="tank", v="line")
        + f'parts.feed = {{ kind = "feed", ports = {{ a = "v" }}, sizes = {{ bore = {size("1.1", "0.5")} }} }}\n'
        + f'parts.out = {{ kind = "oneway", ports = {{ a = "v", b = "tank" }}, sizes = {{ bore = {HALF_5} }} }}\n'
        + starting(),
        settled(at_least("v", 1)),
    ),
    refuted(
        "shut in",
        "a line with no open passage is still at any pressure",
        volumes(v="line") + starting(v="3"),
        settled(below("v", 2)),
        0,
    ),
    proven(
        "a chamber must be still",
        "chambers count like lines: not settled beside a line in another band",
        volumes(c="chamber", v="line") + joined("joint c v") + starting(c="3"),
        settled(same_side(2, "c", "v")),
    ),
)

VENTED = (
    proven(
        "vented and unfed",
        "a vented line that nothing feeds is empty when settled",
        volumes(v="line") + joined("vent v") + starting(v="3"),
        settled(below("v", 2)),
    ),
    proven(
        "vented and unfed, chamber",
        "a vented chamber that nothing feeds is empty when settled",
        volumes(c="chamber") + joined("vent c") + starting(c="3"),
        settled(below("c", 2)),
    ),
    proven(
        "vented through an empty line",
        "node by node the empty line could stay and the full one lose nothing it must; the group is vented and unfed",
        volumes(v="line", w="line") + joined("joint v w", "vent w") + starting(v="3"),
        settled(both(below("v", 2), below("w", 2))),
    ),
    proven(
        "vented through two empty lines",
        "the same, one line farther from the atmosphere",
        volumes(v="line", w="line", x="line") + joined("joint v w", "joint w x", "vent x") + starting(v="3"),
        settled(below("v", 2)),
    ),
    refuted(
        "vented behind a check valve",
        "the vent is upstream of the check valve: the line beyond it is shut in and may keep its air",
        volumes(v="line", w="line") + joined("vent v", "oneway v w") + starting(w="3"),
        settled(below("w", 2)),
        0,
    ),
    refuted(
        "fed and vented, unsized",
        "a source against a vent, sizes unknown: any pressure can be the balance",
        volumes(v="line") + joined("feed v", "vent v") + starting(v="5"),
        settled(below("v", 4)),
        0,
    ),
    proven(
        "fed and vented, sized: too high",
        "above 3 bar the feed's 10 never equals the vent's 5 x 4 = 20 and more",
        sized(size("1", "0.5"), HALF_5, "5"),
        settled(below("v", 3)),
    ),
    refuted(
        "fed and vented, sized: balanced",
        "between 1 and 3 bar the vent takes 10 to 20 of 10: zero is in that interval, at its end",
        sized(size("1", "0.5"), HALF_5, "2"),
        settled(no(both(at_least("v", 1), below("v", 3)))),
        0,
    ),
    refuted(
        "fed and vented, sized: not too low",
        "below 1 bar the vent takes up to 10 of 10: zero is at the end of the interval",
        sized(size("1", "0.5"), HALF_5, "0"),
        settled(at_least("v", 1)),
        0,
    ),
    proven(
        "fed and vented, sized: too low",
        "below 1 bar the vent takes at most 5 x 2 = 10 of 11: the line must rise",
        sized(size("1.1", "0.5"), HALF_5, "0"),
        settled(at_least("v", 1)),
    ),
    refuted(
        "air passes downhill through a group",
        "source, full line, empty line, atmosphere: each way down lies between a feed and a vent",
        volumes(v="line", w="line") + joined("feed v", "joint v w", "vent w") + starting(v="3"),
        settled(no(both(at_least("v", 2), below("w", 2)))),
        0,
    ),
    refuted(
        "air passes down from a tank",
        "the tank feeds the full line, that the empty one, that the atmosphere",
        volumes(tank="tank", v="line", w="line")
        + joined("joint tank v", "joint v w", "vent w")
        + starting(tank="3", v="3"),
        settled(no(both(at_least("v", 2), below("w", 2)))),
        0,
    ),
    refuted(
        "air passes down into a tank",
        "the source feeds the full line, that the empty one, that the tank, which goes on filling",
        volumes(tank="tank", v="line", w="line") + joined("feed v", "joint v w", "oneway w tank") + starting(v="3"),
        settled(no(both(at_least("v", 2), below("w", 2)))),
        0,
    ),
    refuted(
        "air passes through many lines",
        "down from the source into the first line, on through three lines of that band, down into the last, and out",
        volumes(v="line", w="line", x="line", y="line", z="line")
        + joined("feed v", "joint v w", "joint w x", "joint x y", "joint y z", "vent z")
        + starting(v="3", w="3", x="3", y="3"),
        settled(no(both(at_least("y", 2), below("z", 2)))),
        0,
    ),
    proven(
        "no standing flow uphill",
        "the full line beside the vent gets air only from the empty one beside the feed, so it is not still",
        volumes(v="line", w="line") + joined("feed v", "joint v w", "vent w") + starting(w="3"),
        settled(no(both(at_least("w", 2), below("v", 2)))),
    ),
    proven(
        "no standing flow into a dead end",
        "the side branch passes nothing on, so it is in the band of the line it hangs on",
        volumes(v="line", w="line") + joined("feed v", "vent v", "joint v w") + starting(v="3"),
        settled(same_side(2, "v", "w")),
    ),
    refuted(
        "fed by a tank and vented",
        "a tank bleeding through a torn line: the line is fed and vented and may stand in the lower band",
        volumes(tank="tank", v="line") + joined("joint tank v", "vent v") + starting(tank="3"),
        settled(no(both(at_least("tank", 2), below("v", 2)))),
        0,
    ),
    refuted(
        "drained by a vent and a tank",
        "the source feeds one end, the vent takes from the other, and a tank may go on filling from the group",
        volumes(tank="tank", v="line", w="line")
        + joined("feed v", "joint v w", "vent w", "oneway v tank")
        + starting(v="3"),
        settled(no(both(at_least("v", 2), below("w", 2), below("tank", 2)))),
        0,
    ),
)

DRIFT = (
    refuted(
        "a leaking tank drifts",
        "tanks are taken as they are: settled while the tank still loses air",
        volumes(tank="tank") + joined("vent tank") + starting(tank="5"),
        settled(below("tank", 4)),
        0,
    ),
    proven(
        "a leaking tank is not at rest",
        "at rest asks for the tank too: vented and unfed means empty",
        volumes(tank="tank") + joined("vent tank") + starting(tank="5"),
        at_rest(below("tank", 4)),
    ),
    refuted(
        "a filling tank drifts",
        "settled while the source still fills the tank",
        volumes(tank="tank") + joined("feed tank") + starting(),
        settled(at_least("tank", 4)),
        0,
    ),
    proven(
        "a filling tank is not at rest",
        "at rest the tank is in the source's band",
        volumes(tank="tank") + joined("feed tank") + starting(),
        at_rest(at_least("tank", 4)),
    ),
    proven(
        "two tanks at rest",
        "joined tanks are in one band at rest",
        volumes(tank="tank", b="tank") + joined("joint tank b") + starting(tank="5"),
        at_rest(same_side(4, "tank", "b")),
    ),
    refuted(
        "two tanks settled",
        "joined tanks may drift while settled",
        volumes(tank="tank", b="tank") + joined("joint tank b") + starting(tank="5"),
        settled(same_side(4, "tank", "b")),
        0,
    ),
    proven(
        "not settled with a move due",
        "from 2 bar on the part must move, so no settled state has it calm there",
        volumes(v="line")
        + 'parts.trip = { kind = "lifts", ports = { a = "v" }, settings = { limit = "2 bar" } }\n'
        + starting(v="3"),
        settled(stands("trip", "tripped")),
    ),
    empty(
        "never settled in that band",
        "a vented line is settled below 2 bar only, so its condition never happens",
        volumes(v="line") + joined("vent v") + starting(v="3"),
        settled(below("v", 2), when=at_least("v", 2)),
    ),
    empty(
        "never at rest in that band",
        "a leaking tank is at rest below 2 bar only",
        volumes(tank="tank") + joined("vent tank") + starting(tank="3"),
        at_rest(below("tank", 2), when=at_least("tank", 2)),
    ),
)

SETTLED: tuple[Case, ...] = (*UNVENTED, *VENTED, *DRIFT)
