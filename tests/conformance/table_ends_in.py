"""Hand-proved cases about *ends in*: if `when` persists and the driver lets things run, `then` is reached and kept.

A claim is refuted by a run that comes to rest outside `then`, or goes round outside it for ever, with `when` all along.
What is due all the time happens in the end: a volume crosses, a slow part moves. Sums as in the sized cases.
"""

from __future__ import annotations

from bandproof.model.conditions import ALWAYS_TRUE, Condition
from bandproof.properties.claim import Shape
from tests.conformance.case import (
    Case,
    Claim,
    at_least,
    below,
    both,
    empty,
    has,
    lever,
    no,
    proven,
    refuted,
    stands,
)
from tests.conformance.small_parts import GOVERNOR, HANDLE, HOSE, ONE_SETTING, REGULATOR, piece
from tests.conformance.table_flow import joined, starting, volumes
from tests.conformance.table_holding import KEEPER, LEAK, PULSE, PULSED, STRONG, TEAR, line, springs, supply
from tests.conformance.table_hunting import RODS
from tests.conformance.table_steps import lifting


def ends_in(then: Condition, when: Condition = ALWAYS_TRUE) -> Claim:
    """If `when` persists and the driver lets things run, `then` is reached and kept."""
    return Claim(Shape.ENDS_IN, when, then)


def ends(name: str, why: str, text: str, claim: Claim, *, mishaps: str = "") -> Case:
    """A case whose claim holds."""
    return proven(name, why, text, claim, mishaps=mishaps)


def strays(name: str, why: str, text: str, claim: Claim, *, mishaps: str = "") -> Case:
    """A case whose claim is broken by a run that stays outside."""
    return refuted(name, why, text, claim, mishaps=mishaps)


def idle(name: str, why: str, text: str, claim: Claim) -> Case:
    """A case whose condition never happens."""
    return empty(name, why, text, claim)


def feed(bore: str, at: str = "v") -> str:
    """A sized feed."""
    return piece("feed", "feed", ports={"a": at}, sizes={"bore": bore})


def vent(bore: str, at: str = "v") -> str:
    """A sized vent."""
    return piece("vent", "vent", ports={"a": at}, sizes={"bore": bore})


FILLS = (
    ends(
        "a fed line fills",
        "below 2 bar it is due to rise all the time",
        line(joined("feed v")),
        ends_in(at_least("v", 2)),
    ),
    ends(
        "a vented line empties",
        "from 2 bar on it is due to fall",
        line(joined("vent v"), v="3"),
        ends_in(below("v", 2)),
    ),
    strays("a shut-in line stays", "it is at rest at 3 bar", line(v="3"), ends_in(below("v", 2))),
    ends("what is so from the start and stays so", "no air comes or goes", line(v="3"), ends_in(at_least("v", 2))),
    ends(
        "a fed tank charges",
        "below 4 bar it is due to rise",
        volumes(tank="tank") + joined("feed tank") + starting(),
        ends_in(at_least("tank", 4)),
    ),
    ends(
        "a leaking tank empties",
        "from 2 bar on it is due to fall",
        volumes(tank="tank") + joined("vent tank") + starting(tank="5"),
        ends_in(below("tank", 2)),
    ),
    strays(
        "a tank beside an empty one does not empty",
        "two tanks of any sizes meet at any pressure below 5 bar, at 3 for one",
        volumes(tank="tank", b="tank") + joined("joint tank b") + starting(tank="5"),
        ends_in(below("tank", 2)),
    ),
)

BALANCES = (
    strays(
        "a feed and a vent of any size",
        "they may balance at 1 bar",
        line(joined("feed v", "vent v")),
        ends_in(at_least("v", 2)),
    ),
    ends(
        "a feed that outdoes its vent",
        "at 1 bar the feed brings 11 and the vent takes 10, and less below",
        line(feed("1.1"), vent("5")),
        ends_in(at_least("v", 1)),
    ),
    strays(
        "a feed that its vent outdoes",
        "at 1 bar the feed brings 9 and the vent takes 10: it rests below",
        line(feed("0.9"), vent("5")),
        ends_in(at_least("v", 1)),
    ),
    ends(
        "a vent that outdoes its feed",
        "from 1 bar on the feed brings at most 9 and the vent takes 10 or more",
        line(feed("0.9"), vent("5"), v="3"),
        ends_in(below("v", 1)),
    ),
    strays(
        "a governed tank whose leak outdoes it",
        "at 1 bar 9 come and 10 go",
        volumes(tank="tank")
        + piece(
            "governor",
            "governor",
            ports={"a": "tank"},
            settings={"cut_in": "4 bar", "cut_out": "5 bar"},
            sizes={"bore": "0.9"},
        )
        + vent("5", "tank")
        + starting(tank="3")
        + GOVERNOR,
        ends_in(at_least("tank", 1)),
    ),
    ends(
        "a governed tank whose leak is small",
        "at 4 bar 50 come and 5 go; below 4 it must load",
        volumes(tank="tank")
        + piece(
            "governor",
            "governor",
            ports={"a": "tank"},
            settings={"cut_in": "4 bar", "cut_out": "5 bar"},
            sizes={"bore": "5"},
        )
        + vent("1", "tank")
        + starting()
        + GOVERNOR,
        ends_in(at_least("tank", 3)),
    ),
)

#: A line that a regulator with one setting keeps at 4 bar against a leak, from nothing.
KEPT = line(KEEPER, LEAK, kinds=ONE_SETTING)
HUNTED = both(at_least("v", 3), below("v", 5))

#: The same, with another line beside it that a feed fills.
BESIDE = volumes(w="line") + piece("fill", "feed", ports={"a": "w"}, sizes={"bore": "1"}) + KEPT

ROUND = (
    ends(
        "a regulator ends about its setting",
        "below 4 bar it feeds and 50 come, at 4 it shuts: it goes to and fro between 3 and 5 for ever",
        KEPT,
        ends_in(HUNTED),
    ),
    strays(
        "a regulator does not end above its setting",
        "at 4 bar it shuts, and the leak takes the line below, again and again",
        KEPT,
        ends_in(at_least("v", 4)),
    ),
    strays(
        "a regulator does not end below its setting",
        "below 4 bar it feeds, and the line comes to 4, again and again",
        KEPT,
        ends_in(below("v", 4)),
    ),
    strays(
        "a regulator does not end shut",
        "shut, it is due as the line falls below 4 bar",
        KEPT,
        ends_in(stands("keeper", "shut")),
    ),
    strays(
        "a torn hose at a regulator does not empty the line",
        "about 4 bar it goes to and fro for ever",
        line(KEEPER, TEAR, v="4", kinds=ONE_SETTING + HOSE),
        ends_in(below("v", 1), when=has("tear")),
        mishaps="tear",
    ),
    ends(
        "a line that fills beside a to and fro",
        "it is due all the time, so it crosses, however often the other goes to and fro before",
        BESIDE,
        ends_in(at_least("w", 2)),
    ),
    strays(
        "a to and fro beside a line that fills",
        "that the one line fills does not end the other's to and fro",
        BESIDE,
        ends_in(at_least("v", 4)),
    ),
    ends(
        "a differential regulator without a leak ends full",
        "it feeds below 3 bar until 4, and no air leaves",
        line(STRONG, kinds=REGULATOR),
        ends_in(at_least("v", 4)),
    ),
    strays(
        "a spring brake valve with one setting behind a narrow feed",
        "running it takes 5 at 4 bar where 1 comes: it parks, runs, parks for ever",
        springs(supply("0.1"), "4", "4"),
        ends_in(at_least("c", 4)),
    ),
    ends(
        "a spring brake valve in order behind a wide feed",
        "the line rises to 4, the valve runs, never parks again, and the chamber fills",
        springs(supply("5"), "4", "2"),
        ends_in(at_least("c", 4)),
    ),
    strays(
        "a latch that is due again and again",
        "the pulse passes on before the catch has moved, each time round",
        line(STRONG, LEAK, *PULSED, v="4", kinds=REGULATOR + PULSE),
        ends_in(stands("catch", "tripped")),
    ),
    strays(
        "a slow part that is due again and again, but not for long",
        "each time the line is at 4 bar it is due, and no more when the line is below",
        line(
            STRONG,
            LEAK,
            piece("trip", "lifts", ports={"a": "v"}, settings={"limit": "4 bar"}).replace(
                " }\n", ', reaction = "slow" }\n'
            ),
            kinds=REGULATOR,
        ),
        ends_in(stands("trip", "tripped")),
    ),
    ends(
        "a line that fills beside two valves that undo each other",
        "time passes, and the line is due all the time",
        volumes(v="line")
        + joined("feed v")
        + piece("first", "opposes", links={"other": "second"})
        + piece("second", "follows", links={"other": "first"})
        + starting()
        + RODS,
        ends_in(at_least("v", 2)),
    ),
)

#: At 4 bar a dump opens for good; the feed it has against it brings less than it takes.
DUMP = """
[kinds.dump]
ports = ["a"]
states = ["shut", "open"]
sizes = ["bore"]
passages = [{ from = "a", to = "atmosphere", open_in = ["open"], size = "bore" }]
moves = [{ from = "shut", to = "open", when = "a is at least 4 bar" }]
"""

#: Lets air in from the source with its lever turned.
COCK = """
[kinds.cock]
ports = ["a"]
states = ["shut", "open"]
controls = ["lever"]
passages = [{ from = "source", to = "a", open_in = ["open"] }]
moves = [
  { from = "shut", to = "open", when = "lever is turned" },
  { from = "open", to = "shut", when = "lever is plain" },
]
"""
COCKED = line(HANDLE, piece("cock", "cock", ports={"a": "v"}, controls={"lever": "handle"}), kinds=COCK)

DRIVEN = (
    strays(
        "reached and not kept",
        "past 2 bar, at 4 the dump opens, and below 1 bar 9 come and 10 go",
        line(feed("0.9"), piece("dump", "dump", ports={"a": "v"}, sizes={"bore": "5"}), kinds=DUMP),
        ends_in(at_least("v", 2)),
    ),
    ends(
        "reached in the end",
        "at 4 bar the dump opens, and from 1 bar on less comes than goes",
        line(feed("0.9"), piece("dump", "dump", ports={"a": "v"}, sizes={"bore": "5"}), kinds=DUMP),
        ends_in(below("v", 1)),
    ),
    ends(
        "the driver lets things run",
        "the lever stays turned, so the cock opens and the line fills",
        COCKED,
        ends_in(at_least("v", 2), when=lever("handle", "turned")),
    ),
    strays(
        "the driver need not act",
        "nobody turns the lever, and the line stays empty",
        COCKED,
        ends_in(at_least("v", 2)),
    ),
    strays(
        "the driver may have acted before",
        "turned, filled, and back: with the lever plain the shut-in line keeps its air",
        COCKED,
        ends_in(below("v", 2), when=lever("handle", "plain")),
    ),
    idle("ends in, never begun", "no air comes", line(), ends_in(below("v", 1), when=at_least("v", 2))),
)

SURROUNDED = (
    ends(
        "a torn line empties",
        "torn, the hose opens, and nothing feeds the line",
        line(TEAR, v="5", kinds=HOSE),
        ends_in(below("v", 2), when=has("tear")),
        mishaps="tear",
    ),
    strays(
        "a whole line keeps its air",
        "the hose need not tear",
        line(TEAR, v="5", kinds=HOSE),
        ends_in(below("v", 2)),
        mishaps="tear",
    ),
    strays(
        "a mishap spoils what is reached",
        "the line fills, the hose tears, and at 1 bar 0.9 come and 2 go",
        line(feed("0.09"), TEAR, kinds=HOSE),
        ends_in(at_least("v", 1)),
        mishaps="tear",
    ),
    ends(
        "a mishap left out spoils nothing",
        "the claim allows no mishap, and the line is due to rise",
        line(feed("0.09"), TEAR, kinds=HOSE),
        ends_in(at_least("v", 1)),
    ),
    idle(
        "ends in, after a mishap left out",
        "the claim allows no mishap",
        line(TEAR, v="5", kinds=HOSE),
        ends_in(below("v", 2), when=has("tear")),
    ),
)

MOVES = (
    ends(
        "a slow part moves in the end",
        "at 5 bar, shut in, its move is due all the time",
        lifting("5 bar", slow=', reaction = "slow"'),
        ends_in(stands("trip", "tripped")),
    ),
    strays(
        "a slow part may be too late",
        "the vent takes the line below 2 bar before it has moved, and its move is due no more",
        lifting("5 bar", flow="vent", slow=', reaction = "slow"'),
        ends_in(stands("trip", "tripped")),
    ),
    ends(
        "a part that is not slow is not too late",
        "at 4 bar or more it must move before the line falls",
        lifting("5 bar", flow="vent"),
        ends_in(stands("trip", "tripped")),
    ),
    strays(
        "a part inside its tolerance need not move",
        "its setting may be 3.5 bar where the line stands at 3",
        lifting("3 bar"),
        ends_in(stands("trip", "tripped")),
    ),
    ends(
        "a march ends",
        "each move is due until it is made",
        volumes(v="line") + piece("march", "march") + starting(),
        ends_in(stands("march", "four")),
    ),
    strays(
        "a march does not end before its end",
        "it must leave three",
        volumes(v="line") + piece("march", "march") + starting(),
        ends_in(no(stands("march", "four"))),
    ),
)

#: Two lines, one behind the other, and a vent on the nearer one.
CHAIN = volumes(far="line", near="line") + joined("joint far near", "vent near")
FED_CHAIN = volumes(far="line", near="line") + joined("joint far near", "vent near", "feed far")

CHAINS = (
    ends(
        "a chain empties",
        "air only leaves it: each line alone could be fed by the other, both together cannot",
        CHAIN + starting(far="5", near="5"),
        ends_in(below("far", 2)),
    ),
    strays(
        "a chain that is fed need not empty",
        "what comes may be as much as goes at any pressure",
        FED_CHAIN + starting(far="5", near="5"),
        ends_in(below("far", 2)),
    ),
    strays(
        "a chain behind a one-way valve does not empty",
        "the far line holds its air",
        volumes(far="line", near="line") + joined("oneway near far", "vent near") + starting(far="5", near="5"),
        ends_in(below("far", 2)),
    ),
    ends(
        "a chain empties beside a to and fro",
        "the regulated line is another; of the chain's air some leaves round after round, and none comes back",
        volumes(v="line") + KEEPER + LEAK + CHAIN + starting(far="5", near="5") + ONE_SETTING,
        ends_in(below("far", 2)),
    ),
    strays(
        "a line beside a lever",
        "nothing joins them",
        line(HANDLE, v="3"),
        ends_in(below("v", 2)),
    ),
)

ENDS_IN: tuple[Case, ...] = (*FILLS, *CHAINS, *BALANCES, *ROUND, *DRIVEN, *SURROUNDED, *MOVES)
