"""Hand-proved cases about holding: a part that feeds against a leak moves to and fro for ever, and that is a final state.

A to and fro counts as settled: `when` may hold in some of its states, `then` must in all, and a patient driver may act in
it. Sums as in the sized cases: C = 5 from the source brings 50 while choked, a leak of C = 1 takes 3 at 2 bar.
"""

from __future__ import annotations

from dataclasses import replace

from bandproof.properties.claim import Pace
from tests.conformance.case import (
    Case,
    at_least,
    at_rest,
    below,
    both,
    has,
    lever,
    never,
    proven,
    refuted,
    settled,
    stands,
)
from tests.conformance.small_parts import GOVERNOR, HANDLE, HOSE, ONE_SETTING, REDUCER, REGULATOR, RELAY, litres, piece
from tests.conformance.table_flow import joined, starting, volumes
from tests.conformance.table_pace import carried

KEEPER = piece("keeper", "keeper", ports={"a": "v"}, settings={"limit": "4 bar"}, sizes={"bore": "5"})
TEAR = 'mishaps.tear = { says = "" }\n' + piece(
    "hose", "hose", ports={"a": "v"}, mishaps={"tears": "tear"}, sizes={"bore": "1"}
)
LEAK = piece("leak", "vent", ports={"a": "v"}, sizes={"bore": "1"})


def differential(feeds: str, shuts: str, *, bore: str = "5") -> str:
    """A regulator with two settings."""
    settings = {"feeds": f"{feeds} bar", "shuts": f"{shuts} bar"}
    return piece("keeper", "regulator", ports={"a": "v"}, settings=settings, sizes={"bore": bore} if bore else {})


def line(*pieces: str, v: str = "0", kinds: str = "") -> str:
    """A line with parts on it."""
    return volumes(v="line") + "".join(pieces) + starting(v=v) + kinds


STRONG = differential("3", "4")
TURNED = never(lever("handle", "turned"))
PATIENT = Pace.AFTER_SETTLING

#: A governor that keeps its tank between 4 and 5 bar, with a leak that takes far less than it brings.
LEAKING_TANK = (
    volumes(tank="tank")
    + piece(
        "governor",
        "governor",
        ports={"a": "tank"},
        settings={"cut_in": "4 bar", "cut_out": "5 bar"},
        sizes={"bore": "5"},
    )
    + piece("leak", "vent", ports={"a": "tank"}, sizes={"bore": "1"})
    + starting(tank="4.5")
    + GOVERNOR
)

RELAYED = (
    volumes(v="line", pilot="line")
    + piece("relay", "relay", ports={"a": "v", "pilot": "pilot"}, sizes={"bore": "5"})
    + LEAK
    + HANDLE
    + starting(v="4", pilot="4")
    + RELAY
)

#: Any pressure of the relayed line: the leak and the relay keep it below 6 bar.
NEAR_PILOT = both(below("v", 6), carried("v", 4), carried("pilot", 4, 6))

REDUCED = (
    litres("tank", "tank", "20")
    + litres("v", "line", "0.4")
    + piece("keeper", "reducer", ports={"from": "tank", "a": "v"}, settings={"limit": "4 bar"}, sizes={"bore": "5"})
    + LEAK
    + HANDLE
    + starting(tank="7", v="4")
    + REDUCER
)

HOLDING = (
    refuted(
        "a regulator with one setting holds a torn hose",
        "torn, open: shut at 4 bar, feeding below, the line stands about 4 bar for ever",
        line(KEEPER, TEAR, v="4", kinds=ONE_SETTING + HOSE),
        settled(below("v", 1), when=has("tear")),
        2,
        mishaps="tear",
    ),
    refuted(
        "a patient driver acts beside a regulator with one setting",
        "the to and fro about 4 bar never ends, so he need not wait for its end",
        line(KEEPER, LEAK, HANDLE, v="4", kinds=ONE_SETTING),
        TURNED,
        1,
        pace=PATIENT,
    ),
    refuted(
        "a differential regulator holds a torn hose",
        "torn, open: from 5 bar down to 3 and up again for ever",
        line(differential("3", "5"), TEAR, v="5", kinds=REGULATOR + HOSE),
        settled(below("v", 1), when=has("tear")),
        2,
        mishaps="tear",
    ),
    refuted(
        "a patient driver acts beside a differential regulator",
        "from 5 bar down to 3 and up again never ends",
        line(differential("3", "5"), LEAK, HANDLE, v="5", kinds=REGULATOR),
        TURNED,
        1,
        pace=PATIENT,
    ),
    refuted(
        "a relay holds a leaking line at its pilot's pressure",
        "both lines at 4 bar: the leak lowers the one, the relay lifts it again, for ever",
        RELAYED,
        settled(below("v", 1), when=NEAR_PILOT),
        0,
    ),
    refuted(
        "a patient driver acts beside a relay that holds",
        "the to and fro about the pilot's 4 bar never ends",
        RELAYED,
        never(both(lever("handle", "turned"), NEAR_PILOT)),
        1,
        pace=PATIENT,
    ),
    refuted(
        "a governor and a leaking tank at rest",
        "the tank goes from 5 bar down to 4 and up again for ever, so 5 bar is of its rest already",
        LEAKING_TANK.replace('"4.5 bar"', '"5 bar"'),
        at_rest(below("tank", 1)),
        0,
    ),
    refuted(
        "a regulator fed by a tank holds a leaking line",
        "tanks are taken as they are: with the tank at 7 bar the to and fro goes on for ever, whatever air the tank has",
        REDUCED,
        settled(below("v", 1), when=at_least("tank", 6)),
        0,
    ),
    refuted(
        "a patient driver acts beside a regulator fed by a tank",
        "the to and fro is a final one while the tank stands at its pressure; no account of the tank's air ends it",
        REDUCED,
        never(both(lever("handle", "turned"), at_least("tank", 6))),
        1,
        pace=PATIENT,
    ),
)


def springs(more: str, runs: str, parks: str) -> str:
    """A trailer spring brake valve behind a feed: while running it fills the chamber, while parking it vents it."""
    settings = {"runs": f"{runs} bar", "parks": f"{parks} bar"}
    return (
        litres("v", "line", "0.5")
        + litres("c", "chamber", "5")
        + more
        + piece("valve", "springs", ports={"a": "v", "c": "c"}, settings=settings, sizes={"feed": "1", "exhaust": "1"})
        + starting()
        + """
[kinds.springs]
ports = ["a", "c"]
states = ["parking", "running"]
settings = ["runs", "parks"]
sizes = ["feed", "exhaust"]
passages = [
  { from = "a", to = "c", open_in = ["running"], size = "feed" },
  { from = "c", to = "atmosphere", open_in = ["parking"], size = "exhaust" },
]
moves = [
  { from = "parking", to = "running", when = "a is at least runs" },
  { from = "running", to = "parking", when = "a is below parks" },
]
"""
    )


def supply(bore: str) -> str:
    """The feed of the line before the valve."""
    return piece("supply", "feed", ports={"a": "v"}, sizes={"bore": bore})


NARROW = (
    refuted(
        "a valve with one setting behind a narrow feed",
        "running it takes 5 at 4 bar where 1 comes: it parks at once, runs again at 4 bar, for ever; the springs stay on",
        springs(supply("0.1"), "4", "4"),
        settled(at_least("c", 4)),
        0,
    ),
)

#: Goes on at 4 bar, passes on by itself, and rests again below 3 bar.
PULSE = """
[kinds.pulse]
ports = ["a"]
states = ["rest", "on", "spent"]
moves = [
  { from = "rest", to = "on", when = "a is at least 4 bar" },
  { from = "on", to = "spent", when = "always" },
  { from = "spent", to = "rest", when = "a is below 3 bar" },
]

[kinds.catch]
ports = []
states = ["calm", "tripped"]
links = ["other"]
moves = [{ from = "calm", to = "tripped", when = "other is on" }]

[kinds.once]
ports = []
states = ["calm", "tripped"]
moves = [{ from = "calm", to = "tripped", when = "always" }]
"""
PULSED = (piece("pulse", "pulse", ports={"a": "v"}), piece("catch", "catch", links={"other": "pulse"}))

TO_AND_FRO = (
    refuted(
        "a latch that is due again and again, and never takes",
        "the pulse may pass on before the catch has moved, each time round: the catch stays calm for ever, due or not",
        line(STRONG, LEAK, *PULSED, v="4", kinds=REGULATOR + PULSE),
        settled(stands("catch", "tripped"), when=stands("pulse", "on")),
        1,
    ),
    proven(
        "a due move that only itself can end",
        "it is due whatever the to and fro does, so no final state is without it",
        line(STRONG, LEAK, piece("once", "once"), v="4", kinds=REGULATOR + PULSE),
        settled(stands("once", "tripped")),
    ),
    refuted(
        "when and then of a to and fro are of different states",
        "the line is at 4 bar at the start and, past 4 and 3.5, below that; no single state is both",
        line(STRONG, LEAK, v="4", kinds=REGULATOR),
        settled(at_least("v", 3.5), when=at_least("v", 4)),
        2,
    ),
    proven(
        "then holds in all of a to and fro",
        "below 3 bar it must feed, and at 2 bar 50 come where 3 go: the line never falls below 2",
        line(STRONG, LEAK, v="4", kinds=REGULATOR),
        settled(at_least("v", 2), when=at_least("v", 4)),
    ),
    refuted(
        "a to and fro about one pressure is not above it",
        "at 4 bar it is shut and the leak takes it below",
        line(KEEPER, LEAK, v="4", kinds=ONE_SETTING),
        settled(at_least("v", 4)),
        1,
    ),
)

AT_EASE = (
    proven(
        "a regulator without a leak comes to rest",
        "below 4 bar it feeds or has to, and nothing takes the air away",
        line(KEEPER, kinds=ONE_SETTING),
        settled(at_least("v", 4)),
    ),
    proven(
        "a regulator shuts",
        "at 4 bar it must shut before the line crosses 6",
        line(KEEPER, LEAK, kinds=ONE_SETTING),
        settled(below("v", 6)),
    ),
    proven(
        "a weak leak does not empty a differential regulator's line",
        "below 3 bar it must feed, and at 2 bar 50 come where 3 go",
        line(STRONG, LEAK, v="4", kinds=REGULATOR),
        settled(at_least("v", 2)),
    ),
    refuted(
        "a leak of any size may outdo a regulator of any size",
        "feeding, the line may still balance below 2 bar",
        line(differential("3", "4", bore=""), joined("vent v"), v="4", kinds=REGULATOR),
        settled(at_least("v", 2)),
        4,
    ),
    proven(
        "a governed tank does not empty through a weak leak",
        "below 4 bar it must load, and at 3 bar 50 come where 4 go",
        LEAKING_TANK,
        at_rest(at_least("tank", 3)),
    ),
    refuted(
        "a patient driver acts beside a governed tank",
        "charging and leaking tanks are settled",
        LEAKING_TANK.replace("parts.governor", HANDLE + "parts.governor"),
        TURNED,
        1,
        pace=PATIENT,
    ),
    refuted(
        "a shuttle that chatters between equal tanks is at rest",
        "all three stand at 5 bar: the shuttle may move or not, no air does",
        volumes(tank="tank", b="tank", v="line")
        + piece("shuttle", "shuttle", ports={"first": "tank", "second": "b", "outlet": "v"})
        + starting(tank="5", b="5", v="5")
        + """
[kinds.shuttle]
ports = ["first", "second", "outlet"]
states = ["on_first", "on_second"]
passages = [
  { between = ["first", "outlet"], open_in = ["on_first"] },
  { between = ["second", "outlet"], open_in = ["on_second"] },
]
moves = [
  { from = "on_first", to = "on_second", when = "first is below pressure of second" },
  { from = "on_second", to = "on_first", when = "second is below pressure of first" },
]
""",
        at_rest(below("tank", 1)),
        0,
    ),
)

#: What a part does with the hands off and the tanks held, shown once for each arrangement.
NEEDS_SILENCE: tuple[Case, ...] = tuple(
    replace(case, needs="that the valve falls silent: of its bands alone it could go to and fro for ever")
    for case in (
        proven(
            "a valve that shuts below where it opens, behind a wide feed",
            "running it takes 3 at 2 bar, where 50 come: it never parks again, and the chamber fills to the source's pressure",
            springs(supply("5"), "4", "2"),
            settled(at_least("c", 4)),
        ),
    )
)

HOLDS_FOR_EVER: tuple[Case, ...] = (*HOLDING, *NARROW, *TO_AND_FRO)
COMES_TO_REST: tuple[Case, ...] = AT_EASE
