"""Hand-proved cases about edges: the highest pressure, one number for a setting, and what a claim's run begins from.

`start` is the start of every claim of the table; here it is often one that has to come about from another.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

from tests.conformance.case import (
    Case,
    always,
    at_least,
    below,
    both,
    empty,
    never,
    no,
    proven,
    reachable,
    refuted,
    settled,
    shown,
    stands,
)
from tests.conformance.small_parts import HANDLE, ONE_SETTING, litres, piece
from tests.conformance.table_flow import joined, starting, volumes
from tests.conformance.table_steps import TWO_TRIPS

#: What a claim about a tank may not compare with where 9 bar is the highest pressure, and the code that refuses it. Bands
#: are half-open, so a tank that starts at 9 bar would be "never at least 9 bar" in all of them.
AT_HIGHEST: tuple[tuple[str, str], ...] = (
    ('never = "tank is at least 9 bar"', "pressure-at-highest"),
    ('always = "tank is below 9 bar"', "pressure-at-highest"),
    ('reachable = "tank is at least 9 bar"', "pressure-at-highest"),
    ('settled.when = "always"\nsettled.then = "tank is below 900 kPa"', "pressure-at-highest"),
    ('never = "tank is at least highest of opens"', "pressure-at-highest"),
    ('never = "tank is at least 10 bar"', "pressure-above-highest"),
    ('never = "tank is below 0 bar"', "pressure-not-positive"),
)

#: The last band is named by the threshold under it.
AT_TOP = (
    proven(
        "a shut-in tank at the highest pressure stays above all thresholds",
        "no passage is open at it, and 9 bar is at least 8.5",
        volumes(tank="tank") + starting(tank="9"),
        always(at_least("tank", 8.5)),
    ),
    refuted(
        "a tank at the highest pressure leaks",
        "the vent takes it from 9 bar across 8.5",
        volumes(tank="tank") + joined("vent tank") + starting(tank="9"),
        always(at_least("tank", 8.5)),
        1,
    ),
    refuted(
        "a tank at the highest pressure is settled there",
        "it is shut in",
        volumes(tank="tank") + starting(tank="9"),
        settled(below("tank", 8.5)),
        0,
    ),
    refuted(
        "a source lifts a tank into the band under the highest pressure",
        "a source at 9 bar lifts the tank across 8.5",
        volumes(tank="tank") + joined("feed tank") + starting(),
        never(at_least("tank", 8.5)),
        1,
    ),
)

#: Goes on when its line is below a setting, and on again when the line is at or above the same setting.
COUNTS = """
[kinds.counts]
ports = ["a"]
states = ["one", "two", "three"]
settings = ["limit"]
moves = [
  { from = "one", to = "two", when = "a is below limit" },
  { from = "two", to = "three", when = "a is at least limit" },
]
"""


def counting(*more: str) -> str:
    """A line at 3 bar with a counting part whose setting is 2..4 bar."""
    part = piece("count", "counts", ports={"a": "v"}, settings={"limit": "2..4 bar"})
    return volumes(v="line") + part + joined(*more) + starting(v="3") + COUNTS


def trips(setting: str, first: str = "x", second: str = "x") -> str:
    """Two parts that trip at settings of the file, on one shut-in line at 3 bar."""
    parts = TWO_TRIPS.replace('"2..4 bar"', f'"{second}"').replace('limit = "4 bar"', f'limit = "{first}"')
    return parts + f"settings.x = {setting}\n" + starting(v="3")


def opposed(setting: str) -> str:
    """One part that trips at or above a setting of the file, one that trips below it, on a shut-in line at 3 bar."""
    both_parts = piece("first", "lifts", ports={"a": "v"}, settings={"limit": "x"})
    both_parts += piece("second", "drops", ports={"a": "v"}, settings={"limit": "x"})
    return volumes(v="line") + both_parts + f"settings.x = {setting}\n" + starting(v="3")


BOTH = never(both(stands("first", "tripped"), stands("second", "tripped")))
TOGETHER = settled(stands("second", "tripped"), when=stands("first", "tripped"))

NEEDS_ONE_NUMBER: tuple[Case, ...] = (
    replace(
        proven(
            "a setting is not above and below one pressure",
            "the line stands at 3 bar, and the setting is one number: either above it, or not",
            counting(),
            never(stands("count", "three")),
        ),
        needs="that a setting is one number throughout a run",
    ),
)

ONE_NUMBER = (
    refuted(
        "a setting may be passed",
        "with the setting at 3.5 bar the part goes on at 3, and on again when the feed has lifted the line past 3.5",
        counting("feed v"),
        never(stands("count", "three")),
        2,
    ),
    proven(
        "one toleranced setting for both moves does not hunt",
        "its one number is above the pressure or not, so one move is due at most, and it shuts before the line crosses 5",
        volumes(v="line")
        + piece("keeper", "keeper", ports={"a": "v"}, settings={"limit": "2..4 bar"})
        + starting()
        + ONE_SETTING,
        never(at_least("v", 5)),
    ),
    refuted(
        "two parts that use one setting name have two numbers",
        "the first trips at 2.5 bar, the second would at 3.5: it stays calm at 3",
        trips('"2..4 bar"'),
        TOGETHER,
        1,
    ),
    refuted(
        "two parts with settings of their own have two numbers",
        "the first trips at 2.5 bar, the second would at 3.5: it stays calm at 3",
        trips('"2..4 bar"', first="2..4 bar", second="2..4 bar"),
        TOGETHER,
        1,
    ),
    refuted(
        "one setting name is two numbers, one on either side of a pressure",
        "the first trips at or above its 2.5 bar, the second below its 3.5, both at 3",
        opposed('"2..4 bar"'),
        BOTH,
        1,
    ),
    proven(
        "an exact setting is one number for all",
        "3 bar is not below 2.5 bar for the second",
        opposed('"2.5 bar"'),
        BOTH,
    ),
    proven(
        "two parts that use one exact setting trip together",
        "3 bar is at least 2.5 bar for both",
        trips('"2.5 bar"'),
        TOGETHER,
    ),
)

EMPTY_TANKS = litres("tank", "tank", "20") + litres("b", "tank", "20")


def chained(*where: str, first: str = "", more: str = "") -> str:
    """Starts built on one another: a plain one, then one for each condition, the last called `start`."""
    names = [*(f"start{number}" for number in range(len(where))), "start"]
    text = f'starts.start0 = {{ says = "plain", pressures = {{ {first} }} }}\n'
    for (before, name), condition in zip(pairwise(names), where, strict=True):
        text += f'starts.{name} = {{ where = "{condition}", from = "{before}" }}\n'
    return more + text


JOINED = EMPTY_TANKS + joined("joint tank b")
FULL = 'tank = "4 bar"'
ANYTHING = reachable(at_least("tank", 0))

#: Whether a start can come about is asked where claims are decided as a whole, not by one engine.
FROM_STARTS = (
    empty(
        "a start built on a start, with no source anywhere",
        "no air comes to the empty tank, so neither start can come about",
        chained("tank is at least 2 bar", "tank is at least 4 bar", more=volumes(tank="tank")),
        reachable(at_least("tank", 4)),
    ),
    empty(
        "a start built on a start, with a vent",
        "the tank loses the air of the plain start and gets none: 6 bar cannot come about",
        chained(
            "tank is at least 2 bar",
            "tank is at least 6 bar",
            first=FULL,
            more=volumes(tank="tank") + joined("vent tank"),
        ),
        reachable(at_least("tank", 6)),
    ),
    empty(
        "a start that takes more air than there is",
        "80 in one tank of 20 L are 2 bar in two, and never 3 in the second",
        chained("b is at least 3 bar", first=FULL, more=JOINED),
        reachable(at_least("b", 3)),
    ),
    empty(
        "a start built on a start that takes more air than there is",
        "the second tank never has 3 bar, so nothing comes after it",
        chained("b is at least 3 bar", "tank is at least 1 bar", first=FULL, more=JOINED),
        ANYTHING,
    ),
    empty(
        "two starts each of which can come about, but not one after the other",
        "the tank that has fallen below 3 bar gets no air to be at 3.5 again",
        chained(
            "tank is below 3 bar",
            "tank is at least 3.5 bar",
            first=FULL,
            more=volumes(tank="tank") + joined("vent tank"),
        ),
        ANYTHING,
    ),
    empty(
        "a start built on a start that any pressure fits, with no source anywhere",
        "the first start can come about, but only with the tank empty, and no air comes to it",
        chained("handle is plain", "tank is at least 4 bar", more=volumes(tank="tank") + HANDLE),
        reachable(at_least("tank", 4)),
    ),
    empty(
        "a start built on a start that any pressure fits takes more air than there is",
        "80 in one tank of 20 L are 2 bar in two, and never 3 in the second",
        chained("handle is plain", "b is at least 3 bar", first=FULL, more=JOINED + HANDLE),
        reachable(at_least("b", 3)),
    ),
    refuted(
        "a start that any pressure fits holds no more air than there is",
        "80 in one tank of 20 L are 2 bar in two, and never 3 in the second",
        chained("handle is plain", first=FULL, more=JOINED + HANDLE),
        reachable(at_least("b", 3)),
    ),
    proven(
        "no run begins where there is more air than there is",
        "80 in one tank of 20 L are 2 bar in two, and never 3 in the second",
        chained("handle is plain", first=FULL, more=JOINED + HANDLE),
        never(at_least("b", 3)),
    ),
    shown(
        "a start built on a start, with a source",
        "the feed fills the tank past 2 and past 4 bar",
        chained("tank is at least 2 bar", "tank is at least 4 bar", more=volumes(tank="tank") + joined("feed tank")),
        reachable(at_least("tank", 4)),
        0,
    ),
    shown(
        "a start that takes no more air than there is",
        "80 in one tank of 20 L are 2 bar in two, past 1.5",
        chained("b is at least 1.5 bar", first=FULL, more=JOINED),
        reachable(at_least("b", 1.5)),
        0,
    ),
    proven(
        "a claim from a start that can come about",
        "settled the vented tank only falls",
        chained("tank is below 3 bar", first=FULL, more=volumes(tank="tank") + joined("vent tank")),
        never(at_least("tank", 3)),
    ),
)

#: A condition that only the air account rules out.
NO_SUCH_AIR: tuple[Case, ...] = (
    replace(
        empty(
            "a condition that takes more air than there is",
            "80 in one tank of 20 L are 2 bar in two, and never 3 in the second",
            JOINED + starting(tank="4"),
            settled(no(at_least("tank", 1)), when=at_least("b", 3)),
        ),
        needs="an account of the air: what a store loses is in what it was joined to",
    ),
)

EDGES: tuple[Case, ...] = (*AT_TOP, *ONE_NUMBER)
STARTS_ON_STARTS: tuple[Case, ...] = FROM_STARTS

#: Settings that a file says are one number for all who use them.
NEEDS_SHARED: tuple[Case, ...] = (
    proven(
        "a shared setting is on one side of a pressure",
        "its number is above 3 bar or not, so only one of the two trips",
        opposed('{ value = "2..4 bar", shared = true }'),
        BOTH,
    ),
    refuted(
        "a shared setting may be any of its range",
        "at 2.5 bar both trip",
        trips('{ value = "2..4 bar", shared = true }'),
        never(stands("first", "tripped")),
        1,
    ),
    refuted(
        "a setting said not to be shared is two numbers, one on either side",
        "the first trips at or above its 2.5 bar, the second below its 3.5, both at 3",
        opposed('{ value = "2..4 bar", shared = false }'),
        BOTH,
        1,
    ),
    refuted(
        "a setting said not to be shared is two numbers",
        "the first trips at 2.5 bar, the second would at 3.5: it stays calm at 3",
        trips('{ value = "2..4 bar", shared = false }'),
        TOGETHER,
        1,
    ),
)

#: Whether a vehicle is settled hangs on its very numbers: no part is due by them. Lemmas say nothing of that.
NEEDS_SETTLED_NUMBERS: tuple[Case, ...] = (
    proven(
        "two parts that share one setting have one number",
        "at 3 bar the first has tripped, so the number is no more than 3, and the second must",
        trips('{ value = "2..4 bar", shared = true }'),
        TOGETHER,
    ),
)
