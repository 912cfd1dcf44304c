"""Hand-proved cases about steps: tolerances, react before flow, slow parts, one threshold at a time."""

from __future__ import annotations

from tests.conformance.case import (
    Case,
    at_least,
    below,
    both,
    never,
    no,
    proven,
    reachable,
    refuted,
    settled,
    shown,
    some,
    stands,
)


def lifting(start: str, *, flow: str = "", limit: str = "2..4 bar", slow: str = "") -> str:
    """A line with a part that trips when the line is at least `limit`, and perhaps a feed or a vent."""
    return f"""
volumes.v = {{ is = "line" }}
parts.trip = {{ kind = "lifts", ports = {{ a = "v" }}, settings = {{ limit = "{limit}" }}{slow} }}
starts.start.pressures = {{ v = "{start}" }}
""" + (f'parts.flow = {{ kind = "{flow}", ports = {{ a = "v" }} }}\n' if flow else "")


def dropping(start: str, *, flow: str = "") -> str:
    """A line with a part that trips when the line is below 2..4 bar, and perhaps a feed or a vent."""
    return lifting(start, flow=flow).replace("lifts", "drops")


def contrary(start: str) -> str:
    """A vented line with a part that trips when the line is not below 2..4 bar."""
    kind = """
[kinds.contrary]
ports = ["a"]
states = ["calm", "tripped"]
settings = ["limit"]
moves = [{ from = "calm", to = "tripped", when = "not a is below limit" }]
"""
    return lifting(start, flow="vent").replace('kind = "lifts"', 'kind = "contrary"') + kind


TWO_TRIPS = """
volumes.v = { is = "line" }
parts.first = { kind = "lifts", ports = { a = "v" }, settings = { limit = "4 bar" } }
parts.second = { kind = "lifts", ports = { a = "v" }, settings = { limit = "2..4 bar" } }
"""

FED_LINES = """
volumes.v = { is = "line" }
volumes.w = { is = "line" }
parts.feed_v = { kind = "feed", ports = { a = "v" } }
parts.feed_w = { kind = "feed", ports = { a = "w" } }
starts.start = { says = "all at zero" }
"""


CALM = stands("trip", "calm")
TRIPPED = stands("trip", "tripped")

TOLERANCES = (
    proven(
        "lift must",
        "at or above 4 bar, the top of the tolerance, the part must move before the vent can lower the line",
        lifting("5 bar", flow="vent"),
        never(both(CALM, below("v", 4))),
    ),
    refuted(
        "lift need not",
        "at 3 bar, inside the tolerance, the part may stay calm while the vent lowers the line to below 2 bar",
        lifting("3 bar", flow="vent"),
        never(both(CALM, below("v", 2))),
        1,
    ),
    refuted("lift may", "at 3 bar, inside the tolerance, the part may move", lifting("3 bar"), never(TRIPPED), 1),
    proven(
        "lift cannot", "at 1 bar, below the tolerance, it may not, and no air comes", lifting("1 bar"), never(TRIPPED)
    ),
    proven(
        "drop must",
        "below 2 bar, the bottom of the tolerance, the part must move before the feed can raise the line",
        dropping("1 bar", flow="feed"),
        never(both(CALM, at_least("v", 2))),
    ),
    refuted(
        "drop need not",
        "at 3 bar, inside the tolerance, the part may stay calm while the feed raises the line to 4 bar",
        dropping("3 bar", flow="feed"),
        never(both(CALM, at_least("v", 4))),
        1,
    ),
    refuted("drop may", "at 3 bar, inside the tolerance, the part may move", dropping("3 bar"), never(TRIPPED), 1),
    proven(
        "drop cannot", "at 5 bar, above the tolerance, it may not, and no air goes", dropping("5 bar"), never(TRIPPED)
    ),
    proven(
        "not a drop must",
        "at or above 4 bar 'below 2..4 bar' cannot be, so its denial must: the part moves before the line falls",
        contrary("5 bar"),
        never(both(CALM, below("v", 4))),
    ),
    refuted(
        "not a drop need not",
        "at 3 bar 'below 2..4 bar' may be, so its denial need not: the line falls first",
        contrary("3 bar"),
        never(both(CALM, below("v", 2))),
        1,
    ),
    refuted("not a drop may", "at 3 bar 'below 2..4 bar' need not be", contrary("3 bar"), never(TRIPPED), 1),
    proven("not a drop cannot", "below 2 bar 'below 2..4 bar' is sure", contrary("1 bar"), never(TRIPPED)),
)

REACTING = (
    refuted(
        "pressures stand still in a react",
        "one step to trip, pressures standing still, and only then one for the line to fall below 4 bar",
        lifting("5 bar", flow="vent"),
        never(both(TRIPPED, below("v", 4))),
        2,
    ),
    refuted(
        "two parts react at once",
        "both parts must move at 5 bar, and both may do so in the same step",
        TWO_TRIPS + 'starts.start.pressures = { v = "5 bar" }\n',
        never(both(stands("first", "tripped"), stands("second", "tripped"))),
        1,
    ),
    refuted(
        "one of two parts reacts",
        "a react needs some part, not all: the second part alone may be the one that moves",
        TWO_TRIPS + 'starts.start.pressures = { v = "5 bar" }\n',
        never(both(stands("first", "calm"), stands("second", "tripped"))),
        1,
    ),
    refuted(
        "a may-move joins a react",
        "the first part must move (3 bar or more), the second may (2..5 bar): both in one step",
        TWO_TRIPS.replace('"4 bar"', '"3 bar"').replace("2..4", "2..5") + 'starts.start.pressures = { v = "4 bar" }\n',
        never(both(stands("first", "tripped"), stands("second", "tripped"))),
        1,
    ),
    refuted(
        "a may-move joins a flow",
        "at 3 bar nothing must move, so in one step the part moves and the feed lifts the line to 4 bar",
        lifting("3 bar", flow="feed"),
        never(both(TRIPPED, at_least("v", 4))),
        1,
    ),
    shown(
        "three reacts in a row",
        "each state must leave for the next, one move of a part a step",
        'volumes.v = { is = "line" }\nparts.march = { kind = "march" }\nstarts.start = { says = "all at zero" }\n',
        reachable(stands("march", "four")),
        3,
    ),
    proven(
        "no flow while a part must move",
        "the part must move in every state but its last, so until then the feed cannot lift the line",
        """
volumes.v = { is = "line" }
parts.march = { kind = "march" }
parts.feed = { kind = "feed", ports = { a = "v" } }
starts.start = { says = "all at zero" }
""",
        never(both(at_least("v", 2), no(stands("march", "four")))),
    ),
    refuted(
        "a slow part holds nothing up",
        "its due move is never a must, so the vent lowers the line first",
        lifting("5 bar", flow="vent", slow=', reaction = "slow"'),
        never(both(CALM, below("v", 4))),
        1,
    ),
    refuted(
        "a slow part moves in its own time",
        "its due move may be made",
        lifting("5 bar", slow=', reaction = "slow"'),
        never(TRIPPED),
        1,
    ),
    proven(
        "a slow part's due move is still to come",
        "no state is settled while the move it owes is due",
        lifting("5 bar", slow=', reaction = "slow"'),
        settled(TRIPPED),
    ),
)

CROSSING = (
    refuted(
        "one threshold per step",
        "from below 2 bar to above 4 bar a line crosses two thresholds, so it takes two steps",
        FED_LINES,
        never(both(at_least("v", 4), some(at_least("v", 2), below("v", 2)))),
        2,
    ),
    refuted(
        "two volumes in one step",
        "any set of volumes cross a threshold each in one step of flow",
        FED_LINES,
        never(both(at_least("v", 2), at_least("w", 2))),
        1,
    ),
    refuted(
        "opposite ways in one step",
        "of two joined lines one falls across 4 bar while the other rises across 2 bar, in the same step",
        """
volumes.v = { is = "line" }
volumes.w = { is = "line" }
parts.joint = { kind = "joint", ports = { a = "v", b = "w" } }
starts.start.pressures = { v = "5 bar" }
""",
        never(both(below("v", 4), at_least("w", 2))),
        1,
    ),
    refuted(
        "up and down in turn",
        "fed and vented without sizes: from between 2 and 4 bar one step up, and the other threshold is two steps away",
        """
volumes.v = { is = "line" }
parts.feed = { kind = "feed", ports = { a = "v" } }
parts.vent = { kind = "vent", ports = { a = "v" } }
parts.first = { kind = "lifts", ports = { a = "v" }, settings = { limit = "4 bar" } }
starts.start.pressures = { v = "3 bar" }
""",
        never(both(stands("first", "tripped"), below("v", 2))),
        4,
    ),
)

STEPS: tuple[Case, ...] = (*TOLERANCES, *REACTING, *CROSSING)
