"""Hand-proved cases about pace: how far one volume can get while another one is sure to cross a threshold.

A volume of V litres with the net flow q dm3/s needs V x bars / q seconds for a band. Surroundings at 1 bar absolute, the
source at 10; C = 5 from 2 bar absolute takes 10 dm3/s, C = 1 from the source brings 10 as long as it is choked.
"""

from __future__ import annotations

from bandproof.model.conditions import Condition
from tests.conformance.case import Case, at_least, below, both, never, proven, refuted, some, stands
from tests.conformance.table_flow import starting
from tests.conformance.table_sized import size

#: A part that opens and shuts its port whenever it likes.
FICKLE = """
[kinds.fickle]
ports = ["a"]
states = ["open", "shut"]
sizes = ["bore"]
reaction = "slow"
passages = [PASSAGES]
moves = [{ from = "open", to = "shut", when = "always" }, { from = "shut", to = "open", when = "always" }]
"""
DRAINS = 'from = "a", to = "atmosphere"'
FILLS = 'from = "source", to = "a"'


def fickle(opened: str, shut: str = "") -> str:
    """The kind, with a way for its air in one state and perhaps another way in the other."""
    ways = [
        f'{{ {way}, open_in = ["{state}"], size = "bore" }}' for way, state in ((opened, "open"), (shut, "shut")) if way
    ]
    return FICKLE.replace("PASSAGES", ", ".join(ways))


def volume(name: str, kind: str, litres: str) -> str:
    """A volume line with litres."""
    return f'volumes.{name} = {{ is = "{kind}", volume = "{litres} L" }}\n'


def part(name: str, kind: str, at: str, c: str) -> str:
    """A part of one port and one size."""
    return f'parts.{name} = {{ kind = "{kind}", ports = {{ a = "{at}" }}, sizes = {{ bore = {size(c, "0.5")} }} }}\n'


def race(feed: str, *, litres: str = "0.5", vent: str = "vent", port: str = "5") -> str:
    """A pilot line at 8 bar that empties through C = 5, and a trailer tank that fills from nothing."""
    return (
        volume("pilot", "line", litres)
        + volume("trailer", "tank", "50")
        + part("port", vent, "pilot", port)
        + part("drilling", "feed", "trailer", feed)
        + starting(pilot="8", trailer="0")
    )


def fills_and_empties(feed: str) -> str:
    """A pilot line that fills from nothing through C = 5, and a trailer tank at 5 bar that empties."""
    return (
        volume("pilot", "line", "0.5")
        + volume("trailer", "tank", "50")
        + part("port", feed, "pilot", "5")
        + part("drilling", "vent", "trailer", "1")
        + starting(pilot="0", trailer="5")
    )


def carried(name: str, *bars: float) -> Condition:
    """Nothing, but its thresholds are carried."""
    return both(*(some(below(name, bar), at_least(name, bar)) for bar in bars))


#: The trailer has crossed 2 and 4 bar, and the pilot line has not come below 1 bar.
LAGS = both(at_least("pilot", 1), at_least("trailer", 4), carried("trailer", 2))

#: The same the other way: the trailer has come below 4 and 2 bar, and the pilot line has not come up to 8 bar.
LAGS_DOWN = never(both(below("pilot", 8), below("trailer", 2), carried("trailer", 4)))

#: Notes how often the trailer has gone to and fro across 2 bar.
TREMBLES = """
[kinds.tally]
ports = ["a"]
states = ["none", "once", "back", "twice"]
moves = [
  { from = "none", to = "once", when = "a is at least 2 bar" },
  { from = "once", to = "back", when = "a is below 2 bar" },
  { from = "back", to = "twice", when = "a is at least 2 bar" },
]
"""

PACE: tuple[Case, ...] = (
    proven(
        "a pilot line empties before a trailer fills",
        "the pilot is below 1 bar after at most 0.5 x 8 / (5 x 2) = 0.4 s; the trailer takes 50 x 2 / 10 = 10 s from 2 to 4",
        race("1"),
        never(LAGS),
    ),
    refuted(
        "a trailer that is quick enough wins the race",
        "with C = 25 the trailer takes 50 x 2 / 250 = 0.4 s from 2 to 4 bar, and may begin just below 2",
        race("25"),
        never(LAGS),
        2,
    ),
    proven(
        "a trailer that is nearly quick enough loses the race",
        "with C = 24.9 it takes 0.4016 s, longer than 0.4 s",
        race("24.9"),
        never(LAGS),
    ),
    refuted(
        "a larger pilot line is slower",
        "0.5 to 13 litres may take 13 x 8 / 10 = 10.4 s, more than the trailer's 10 s",
        race("1", litres="0.5..13"),
        never(LAGS),
        2,
    ),
    refuted(
        "a smaller port is slower",
        "through C = 0.19 the pilot may take 0.5 x 8 / (0.19 x 2) = 10.5 s, more than the trailer's 10 s",
        race("1", port="0.19..5"),
        never(LAGS),
        2,
    ),
    refuted(
        "a pilot line without litres can be as slow as it likes",
        "nothing says how much air has to go out of it",
        race("1").replace(', volume = "0.5 L"', ""),
        never(LAGS),
        2,
    ),
    refuted(
        "a port without a size can be as slow as it likes",
        "an unsized vent can be as narrow as it takes",
        race("1").replace(
            f'ports = {{ a = "pilot" }}, sizes = {{ bore = {size("5", "0.5")} }}', 'ports = { a = "pilot" }'
        ),
        never(LAGS),
        2,
    ),
    proven(
        "one whole band is not two",
        "in 0.4 s the trailer crosses one whole band of 0.4 s: it may cross 2 and 4 bar, but not 6",
        race("25"),
        never(both(at_least("pilot", 1), at_least("trailer", 6), carried("trailer", 2, 4))),
    ),
    refuted(
        "one whole band is one",
        "in 0.4 s the trailer crosses one whole band of 0.4 s: it may cross 2 and 4 bar",
        race("25"),
        never(both(at_least("pilot", 1), at_least("trailer", 4), carried("trailer", 2, 6))),
        2,
    ),
    refuted(
        "two whole bands are two",
        "with C = 50 a whole band takes 0.2 s: in 0.4 s the trailer may cross 2, 4 and 6 bar",
        race("50"),
        never(both(at_least("pilot", 1), at_least("trailer", 6), carried("trailer", 2, 4, 8))),
        3,
    ),
    proven(
        "two whole bands are not three",
        "with C = 50 a whole band takes 0.2 s: in 0.4 s the trailer may cross 2, 4 and 6 bar, but not 8",
        race("50"),
        never(both(at_least("pilot", 1), at_least("trailer", 8), carried("trailer", 2, 4, 6))),
    ),
    proven(
        "a pilot line fills before a trailer empties",
        "at 8 bar, 9 absolute, C = 5 still brings 50 x 0.6 = 30, so 0.5 x 8 / 30 s are enough; the trailer takes 50 x 2 / 5 = 20 s",
        fills_and_empties("feed"),
        LAGS_DOWN,
    ),
    refuted(
        "a pilot line whose feed shuts is not due any more",
        "the feed shuts as the trailer comes below 4 bar, and the pilot stands still while it goes on below 2",
        fills_and_empties("fickle") + fickle(FILLS),
        LAGS_DOWN,
        2,
    ),
    refuted(
        "trembling about one threshold takes no time",
        "the trailer goes up, down and up across 2 bar, and the pilot need not have moved",
        volume("pilot", "line", "0.5")
        + volume("trailer", "tank", "50")
        + part("port", "vent", "pilot", "5")
        + part("tremble", "fickle", "trailer", "1")
        + 'parts.tally = { kind = "tally", ports = { a = "trailer" } }\n'
        + starting(pilot="8", trailer="0")
        + fickle(FILLS, DRAINS)
        + TREMBLES,
        never(both(at_least("pilot", 1), stands("tally", "twice"), carried("trailer", 4))),
        6,
    ),
    refuted(
        "a pilot line whose port shuts is not due any more",
        "the port shuts as the trailer crosses 2 bar, and the pilot stands still while it goes on to 4",
        race("1", vent="fickle") + fickle(DRAINS),
        never(LAGS),
        2,
    ),
    refuted(
        "a pilot line that is to go the other way begins anew",
        "the port changes from emptying to filling as the trailer crosses 2 bar, and the pilot need cross no threshold",
        race("1", vent="fickle")
        + 'parts.low = { kind = "drops", ports = { a = "pilot" }, settings = { limit = "1 bar" } }\n'
        + 'parts.high = { kind = "lifts", ports = { a = "pilot" }, settings = { limit = "8.5 bar" } }\n'
        + fickle(DRAINS, FILLS),
        never(both(LAGS, below("pilot", 8.5), stands("low", "calm"), stands("high", "calm"))),
        2,
    ),
    refuted(
        "a pilot line that has crossed a threshold begins anew",
        "the trailer crosses 2 bar before the pilot crosses 4, and 4 bar after it: each threshold of the pilot is timed by itself",
        race("1"),
        never(both(LAGS, carried("pilot", 4))),
        2,
    ),
    proven(
        "each threshold of the pilot line has its own race",
        "the pilot takes at most 0.5 x 5 / (5 x 5) = 0.1 s down to 4 bar, where the trailer takes 10 s from 2 to 4",
        race("1"),
        never(both(at_least("pilot", 4), at_least("trailer", 4), carried("trailer", 2), carried("pilot", 1))),
    ),
)
