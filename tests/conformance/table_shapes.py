"""Hand-proved cases about the shapes of claims, and about parts that compare two volumes."""

from __future__ import annotations

from bandproof.findings.finding import Verdict
from bandproof.model.conditions import ALWAYS_TRUE
from bandproof.properties.claim import Pace
from tests.conformance.case import (
    Case,
    always,
    at_least,
    below,
    both,
    empty,
    has,
    holds,
    lever,
    never,
    no,
    proven,
    reachable,
    refuted,
    settled,
    shown,
    stands,
)
from tests.conformance.table_flow import joined, starting, volumes

MARCH = volumes(v="line") + 'parts.march = { kind = "march" }\n' + starting()

LEVER = """
volumes.v = { is = "line" }
controls.handle = { positions = ["a", "b", "c"] }
mishaps.bang = { says = "" }
starts.start = { says = "all at zero" }
"""


HOLDS = (
    refuted(
        "holds, broken",
        "turned to b, then on to a",
        LEVER,
        holds(lever("handle", "b"), lever("handle", "b")),
        2,
    ),
    proven("holds, mishap", "what has happened stays", LEVER, holds(has("bang"), has("bang")), mishaps="bang"),
    refuted(
        "holds from the start",
        "the first once is the start itself",
        LEVER,
        holds(lever("handle", "a"), lever("handle", "a", "b")),
        1,
    ),
    refuted(
        "holds, broken at once",
        "where once is seen and stays is not, the claim is broken there and then",
        MARCH,
        holds(stands("march", "two"), stands("march", "three", "four")),
        1,
    ),
    proven(
        "holds until, at the same state",
        "three breaks stays, but is until: B until C, and C is here",
        MARCH,
        holds(stands("march", "two"), stands("march", "two"), stands("march", "three")),
    ),
    proven(
        "holds is not bound again",
        "released at three; four is a once again, but only the first once counts",
        MARCH,
        holds(stands("march", "two", "four"), stands("march", "two"), stands("march", "three")),
    ),
    proven(
        "holds, once and until together",
        "bound and released in the same state",
        MARCH,
        holds(stands("march", "two"), stands("march", "one"), stands("march", "two")),
    ),
    refuted(
        "holds, until too late",
        "until comes at four, stays is broken at three before that",
        MARCH,
        holds(stands("march", "two"), stands("march", "two"), stands("march", "four")),
        2,
    ),
    refuted(
        "holds, until before once",
        "an until seen before the first once releases nothing",
        MARCH,
        holds(stands("march", "two"), stands("march", "two", "three"), stands("march", "one")),
        3,
    ),
    proven(
        "holds without until",
        "from three on the march ends in four",
        MARCH,
        holds(stands("march", "three"), stands("march", "three", "four")),
    ),
    empty("holds, never once", "the line has no air", MARCH, holds(at_least("v", 2), below("v", 2))),
)

OTHERS = (
    refuted(
        "one state only",
        "nothing can differ, and what is never to be is",
        volumes(v="line") + starting(),
        never(ALWAYS_TRUE),
        0,
    ),
    proven("one state only, always", "nothing can differ", volumes(v="line") + starting(), always(ALWAYS_TRUE)),
    shown(
        "reachable",
        "the feed fills the line",
        volumes(v="line") + joined("feed v") + starting(),
        reachable(at_least("v", 2)),
        1,
    ),
    shown("reachable at once", "the start is one", volumes(v="line") + starting(), reachable(below("v", 2)), 0),
    refuted("not reachable", "no air comes", volumes(v="line") + starting(), reachable(at_least("v", 2)), None),
    proven("always", "no air comes", volumes(v="line") + starting(), always(below("v", 2))),
    empty(
        "settled, condition never",
        "no air comes, so the condition never happens",
        volumes(v="line") + starting(),
        settled(below("v", 1), when=at_least("v", 2)),
    ),
    Case(
        "reachable hands off",
        "nobody turns the handle",
        LEVER,
        reachable(lever("handle", "b")),
        Verdict.REFUTED,
        None,
        Pace.HANDS_OFF,
    ),
)


def shuttle(v: str, w: str) -> str:
    """A part that moves over when the first line is below the second; a marker carries the threshold."""
    return (
        volumes(v="line", w="line")
        + """
parts.over = { kind = "over", ports = { a = "v", b = "w" } }
parts.marker = { kind = "lifts", ports = { a = "v" }, settings = { limit = "2 bar" } }
[kinds.over]
ports = ["a", "b"]
states = ["first", "second"]
moves = [{ from = "first", to = "second", when = "a is below pressure of b" }]
""".replace("[kinds.over]", starting(v=v, w=w) + "[kinds.over]")
    )


COMPARED = (
    proven(
        "surely lower",
        "below 2 bar against 2 bar and more: it must move, so no settled state is without the move",
        shuttle("0", "3"),
        settled(stands("over", "second")),
    ),
    refuted(
        "perhaps lower",
        "in one band either may be lower: it may move",
        shuttle("0", "0"),
        never(stands("over", "second")),
        1,
    ),
    refuted(
        "perhaps not lower",
        "in one band either may be lower: it need not move, and the state is settled",
        shuttle("0", "0"),
        settled(stands("over", "second")),
        0,
    ),
    proven(
        "surely not lower",
        "2 bar and more against below 2 bar: it may not move",
        shuttle("3", "0"),
        never(stands("over", "second")),
    ),
    proven(
        "not lower, guarded by not",
        "'not a below b' must where 'a below b' cannot be",
        shuttle("3", "0").replace("a is below pressure of b", "a is at least pressure of b"),
        settled(both(stands("over", "second"), no(stands("over", "first")))),
    ),
)

SHAPES: tuple[Case, ...] = (*HOLDS, *OTHERS, *COMPARED)
