"""Hand-proved cases about parts that say within what time they move, and about slow parts that never stand.

Surroundings at 1 bar absolute, the source at 10: C = 1 from the source brings a choked 10 dm3/s, so a line of 5 L rises by
2 bar a second up to 4 bar, 0.5 s for a whole bar.
"""

from __future__ import annotations

from tests.conformance.case import (
    Case,
    at_least,
    below,
    both,
    has,
    holds,
    lever,
    never,
    proven,
    refuted,
    settled,
    some,
    stands,
)
from tests.conformance.small_parts import piece
from tests.conformance.table_flow import starting
from tests.conformance.table_hunting import RODS
from tests.conformance.table_pace import part, volume

#: A feed that shuts for good after a jolt.
TRIP = """
[kinds.trip]
ports = ["a"]
states = ["open", "shut"]
sizes = ["bore"]
mishaps = ["trips"]
passages = [{ from = "source", to = "a", open_in = ["open"], size = "bore" }]
moves = [{ from = "open", to = "shut", when = "trips has happened" }]
"""

#: Has two places and is due to leave either, at any pressure.
RESTLESS = """
[kinds.restless]
ports = ["a"]
states = ["here", "there"]
moves = [{ from = "here", to = "there", when = "always" }, { from = "there", to = "here", when = "always" }]
"""


def tripped(reaction: str) -> str:
    """A line at 0.9 bar, fed until a jolt shuts the feed, which takes so long."""
    trip = part("trip", "trip", "v", "1").replace(
        " }\n", f', mishaps = {{ trips = "jolt" }}, reaction = "{reaction}" }}\n'
    )
    return 'mishaps.jolt = { says = "" }\n' + volume("v", "line", "5") + trip + starting(v="0.9") + TRIP


def flicked(reaction: str) -> str:
    """A line at 0.9 bar, fed until a lever is on, and the part that shuts the feed takes so long."""
    kind = TRIP.replace("kinds.trip", "kinds.cock").replace('mishaps = ["trips"]', 'controls = ["lever"]')
    cock = part("cock", "cock", "v", "1").replace(
        " }\n", f', controls = {{ lever = "hand" }}, reaction = "{reaction}" }}\n'
    )
    hand = 'controls.hand = { positions = ["off", "on"] }\n'
    return (
        hand + volume("v", "line", "5") + cock + starting(v="0.9") + kind.replace("trips has happened", "lever is on")
    )


def fed(reaction: str) -> str:
    """An empty line that is fed for ever, and beside it a part that moves for ever."""
    mover = f'parts.mover = {{ kind = "restless", ports = {{ a = "v" }}, reaction = "{reaction}" }}\n'
    return volume("v", "line", "5") + part("drilling", "feed", "v", "1") + mover + starting(v="0") + RESTLESS


def watched(reaction: str) -> str:
    """An empty line that is fed, two valves that undo each other, and a part that is due while the first of them is on."""
    watcher = piece("watcher", "watches", links={"other": "first"}).replace(" }\n", f', reaction = "{reaction}" }}\n')
    rods = piece("first", "opposes", links={"other": "second"}) + piece("second", "follows", links={"other": "first"})
    return volume("v", "line", "5") + part("drilling", "feed", "v", "1") + rods + watcher + starting(v="0.9") + RODS


#: Once the lever is on below 1 bar.
ON = both(lever("hand", "on"), below("v", 1))

#: Once the jolt has come below 1 bar.
JOLT = both(has("jolt"), below("v", 1))

REACTION: tuple[Case, ...] = (
    proven(
        "a part at once",
        "the feed must shut before the line crosses 1 bar",
        tripped("fast"),
        holds(JOLT, below("v", 1)),
        mishaps="jolt",
    ),
    refuted(
        "a part that takes a moment",
        "a jolt, and the line crosses 1 bar before the feed is shut: 0.05 s later",
        tripped("0..400 ms"),
        holds(JOLT, below("v", 1)),
        2,
        mishaps="jolt",
    ),
    proven(
        "a part quicker than a band",
        "0.4 s are less than the 0.5 s for the bar from 1 to 2, so the line cannot cross both",
        tripped("0..400 ms"),
        holds(JOLT, both(below("v", 2), below("v", 3))),
        mishaps="jolt",
    ),
    refuted(
        "a part slower than a band",
        "in 0.6 s the line gets from 0.9 to 2.1 bar: a jolt and two crossings",
        tripped("0..600 ms"),
        holds(JOLT, both(below("v", 2), below("v", 3))),
        3,
        mishaps="jolt",
    ),
    proven(
        "a part that takes a moment has moved once all is settled",
        "while the feed is due it is yet to move, and that is nothing to come to rest in",
        tripped("0..400 ms"),
        settled(stands("trip", "shut"), when=has("jolt")),
        mishaps="jolt",
    ),
    refuted(
        "time passes beside a part with a reaction time that never stands",
        "the line fills, whatever the part does",
        fed("0..10 ms"),
        never(at_least("v", 4)),
        1,
    ),
    refuted(
        "a slow part that never stands lets the air settle",
        "the line fills to 9 bar and stays there, with the part to and fro beside it",
        fed("slow"),
        settled(below("v", 4)),
        1,
    ),
    refuted(
        "a part with a reaction time that never stands lets the air settle",
        "the same",
        fed("0..500 ms"),
        settled(below("v", 4)),
        1,
    ),
    refuted(
        "a part that watches a to and fro is bound by no reaction time",
        "the first valve goes on, the line crosses 1, 2 and 3 bar; the watcher still calm, for its move may come and go at every instant",
        watched("0..10 ms"),
        holds(
            both(stands("first", "on"), below("v", 1), below("v", 2)),
            some(below("v", 3), stands("watcher", "tripped")),
            until=stands("first", "off"),
        ),
        4,
    ),
    refuted(
        "a part that is due no more begins anew",
        "on, across 1 bar, off again before 0.4 s are over, and the feed has never shut: across 2 bar",
        flicked("0..400 ms"),
        holds(ON, both(below("v", 2), below("v", 3)), until=both(lever("hand", "off"), below("v", 1))),
        4,
    ),
)
