"""Hand-proved cases about steps: tolerances, react before flow, slow parts, one landmark at a time, acts, mishaps, paces."""

from __future__ import annotations

from bandproof.findings import Verdict
from bandproof.properties.claim import Pace
from tests.conformance.case import (
    Case,
    always,
    at_least,
    at_pace,
    below,
    both,
    has,
    lever,
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

TAPPED = """
volumes.v = { is = "line" }
volumes.w = { is = "line" }
controls.handle = { positions = ["plain", "turned"] }
parts.tap = { kind = "tap", ports = { a = "v", b = "w" }, controls = { lever = "handle" } }
parts.vent = { kind = "vent", ports = { a = "v" } }
starts.start.pressures = { v = "5 bar" }
"""

LEVERS = """
volumes.v = { is = "line" }
controls.one = { positions = ["a", "b", "c"] }
controls.two = { positions = ["a", "b"] }
mishaps.bang = { says = "" }
mishaps.crash = { says = "" }
parts.vent = { kind = "vent", ports = { a = "v" } }
starts.start.pressures = { v = "5 bar" }
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
        "one landmark per step",
        "from below 2 bar to above 4 bar a line crosses two landmarks, so it takes two steps",
        FED_LINES,
        never(both(at_least("v", 4), some(at_least("v", 2), below("v", 2)))),
        2,
    ),
    refuted(
        "two volumes in one step",
        "any set of volumes cross a landmark each in one step of flow",
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
        "fed and vented without sizes: from between 2 and 4 bar one step up, and the other landmark is two steps away",
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

ACTING = (
    refuted(
        "one control at a time",
        "two controls take two acts",
        LEVERS,
        never(both(lever("one", "b"), lever("two", "b"))),
        2,
    ),
    refuted(
        "a control jumps", "any position is one act away, not only the next one", LEVERS, never(lever("one", "c")), 1
    ),
    refuted(
        "one mishap at a time",
        "two mishaps take two steps",
        LEVERS,
        never(both(has("bang"), has("crash"))),
        2,
        mishaps="bang crash",
    ),
    refuted(
        "a control or a mishap",
        "a control and a mishap take two steps",
        LEVERS,
        never(both(has("bang"), lever("two", "b"))),
        2,
        mishaps="bang",
    ),
    refuted(
        "an act stands alone",
        "turning a control and letting the line fall are two steps",
        LEVERS,
        never(both(lever("two", "b"), below("v", 2))),
        2,
    ),
    proven(
        "a mishap left out",
        "a mishap that the claim leaves out never happens",
        LEVERS,
        never(has("crash")),
        mishaps="bang",
    ),
    proven(
        "no act while a part must move",
        "at 5 bar the part must move first, so the lever is never turned beside a calm part",
        lifting("5 bar") + 'controls.handle = { positions = ["plain", "turned"] }\n',
        never(both(CALM, lever("handle", "turned"))),
    ),
    proven(
        "no mishap while a part must move",
        "at 5 bar the part must move first, so nothing happens beside a calm part",
        lifting("5 bar") + 'mishaps.bang = { says = "" }\n',
        never(both(CALM, has("bang"))),
        mishaps="bang",
    ),
    refuted(
        "a part follows an act",
        "the act alone leaves the part where it is; it follows in the next step",
        TAPPED,
        never(both(lever("handle", "turned"), stands("tap", "open"))),
        2,
    ),
)

EARLY = refuted(
    "any time",
    "the driver may turn the handle before the vent has emptied the line",
    TAPPED,
    never(both(lever("handle", "turned"), at_least("v", 2))),
    1,
)

PACES = (
    EARLY,
    at_pace(
        EARLY,
        "after settling",
        "a line above 2 bar with an open vent is not settled, so the driver waits until it is below; then nothing feeds it",
        Pace.AFTER_SETTLING,
        Verdict.PROVEN,
    ),
    at_pace(EARLY, "hands off", "the driver never acts", Pace.HANDS_OFF, Verdict.PROVEN),
    refuted(
        "acting after settling",
        "one step to bring the line below 2 bar, one to turn the handle",
        TAPPED,
        never(both(lever("handle", "turned"), some(below("v", 2), at_least("v", 2)))),
        2,
        pace=Pace.AFTER_SETTLING,
    ),
    refuted(
        "a mishap does not wait",
        "the surroundings keep no pace: the mishap may come before the line is empty",
        LEVERS,
        never(both(has("bang"), at_least("v", 2))),
        1,
        pace=Pace.AFTER_SETTLING,
        mishaps="bang",
    ),
    refuted(
        "a mishap needs no driver",
        "hands off holds the driver, not the surroundings",
        LEVERS,
        never(has("bang")),
        1,
        pace=Pace.HANDS_OFF,
        mishaps="bang",
    ),
)

STARTS = (
    refuted(
        "a start range covers bands",
        "1..3 bar overlaps the band from 2 bar on, so the start itself may be above 2 bar",
        'volumes.v = { is = "line" }\nstarts.start.pressures = { v = "1..3 bar" }\n',
        always(below("v", 2)),
        0,
    ),
    proven(
        "a start range ends",
        "1..1.5 bar does not reach 2 bar, and nothing flows",
        'volumes.v = { is = "line" }\nstarts.start.pressures = { v = "1..1.5 bar" }\n',
        always(below("v", 2)),
    ),
    refuted(
        "a start at a landmark",
        "a band includes its lower end: 2 bar is at least 2 bar",
        'volumes.v = { is = "line" }\nstarts.start.pressures = { v = "2 bar" }\n',
        never(at_least("v", 2)),
        0,
    ),
    proven(
        "a settled start",
        "of all pressures only those below 2 bar are settled beside an open vent",
        """
volumes.v = { is = "line" }
parts.vent = { kind = "vent", ports = { a = "v" } }
starts.start = { where = "v is below 8 bar", assumed = true }
""",
        always(below("v", 2)),
    ),
    refuted(
        "a start that need not be settled",
        "the same start without asking for a settled state takes in the line at 5 bar",
        """
volumes.v = { is = "line" }
parts.vent = { kind = "vent", ports = { a = "v" } }
starts.start = { where = "v is below 8 bar", assumed = true, settled = false }
""",
        always(below("v", 2)),
        0,
    ),
    proven(
        "a start has no mishap",
        "no mishap is present at a start, and none may occur",
        """
volumes.v = { is = "line" }
mishaps.bang = { says = "" }
starts.start = { where = "always", assumed = true }
""",
        never(has("bang")),
    ),
)

STEPS: tuple[Case, ...] = (*TOLERANCES, *REACTING, *CROSSING, *ACTING, *PACES, *STARTS)
