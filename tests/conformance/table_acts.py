"""Hand-proved cases about what starts and drives a run: controls, mishaps, the driver's pace, starts."""

from __future__ import annotations

from bandproof.findings.finding import Verdict
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
    proven,
    refuted,
    some,
    stands,
)
from tests.conformance.table_steps import CALM, lifting

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
        "a start at a threshold",
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

ACTS: tuple[Case, ...] = (*ACTING, *PACES, *STARTS)
