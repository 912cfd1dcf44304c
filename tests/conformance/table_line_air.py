"""Hand-proved cases about the air in lines: lines are ends as tanks are, little ones filled again and again empty a tank.

Sums: joined to a line of v litres at nothing, a tank of V litres keeps V / (V + v) of its gauge pressure. Litres that
nobody declared may be any amount above zero.
"""

from __future__ import annotations

from dataclasses import replace

from bandproof.properties.claim import Pace
from tests.conformance.case import Case, at_least, below, both, never, proven, refuted, stands
from tests.conformance.small_parts import FOOT, HANDLE, ONE_SETTING, litres, piece
from tests.conformance.table_flow import joined, starting, volumes
from tests.conformance.table_pace import carried

TAP = HANDLE + piece("tap", "tap", ports={"a": "tank", "b": "v"}, controls={"lever": "handle"})
OFF = Pace.HANDS_OFF


def worked(tank: str = "20", v: str = "0.4") -> str:
    """A lever that fills a line from a tank at 8 bar, and empties it again."""
    return (
        litres("tank", "tank", tank)
        + litres("v", "line", v)
        + HANDLE
        + piece("foot", "foot", ports={"a": "tank", "b": "v"}, controls={"lever": "handle"})
        + starting(tank="8")
        + FOOT
    )


#: A drain with a cavity of its own, which it fills from the tank and empties, when it likes.
TICKS = """
[kinds.ticks]
ports = ["a", "b"]
states = ["filling", "emptying"]
reaction = "slow"
passages = [
  { between = ["a", "b"], open_in = ["filling"] },
  { from = "b", to = "atmosphere", open_in = ["emptying"] },
]
moves = [
  { from = "filling", to = "emptying", when = "always" },
  { from = "emptying", to = "filling", when = "always" },
]
"""

#: Feeds a line from a tank below one pressure, and vents it from there on.
PUMP = (
    ONE_SETTING.replace("kinds.keeper", "kinds.pump")
    .replace('ports = ["a"]', 'ports = ["from", "a"]')
    .replace('states = ["shut", "feeding"]', 'states = ["feeding", "shut"]')
    .replace(
        '[{ from = "source", to = "a", open_in = ["feeding"], size = "bore" }]',
        '[\n  { from = "from", to = "a", open_in = ["feeding"], size = "bore" },\n'
        '  { from = "a", to = "atmosphere", open_in = ["shut"], size = "bore" },\n]',
    )
)


def with_lines(count: int, amount: str) -> str:
    """A tank of 20 litres at 8 bar, joined to so many empty lines."""
    return (
        litres("tank", "tank", "20")
        + "".join(litres(f"v{number}", "line", amount) for number in range(count))
        + joined(*(f"joint tank v{number}" for number in range(count)))
        + starting(tank="8")
    )


def tapped(tank: str, v: str, *, kind: str = "tank", dump: str = "") -> str:
    """A vessel at 8 bar that a lever joins to an empty line, and perhaps a dump that trips below a pressure."""
    trip = piece("dump", "drops", ports={"a": "tank"}, settings={"limit": f"{dump} bar"}) if dump else ""
    return litres("tank", kind, tank) + litres("v", "line", v) + TAP + trip + starting(tank="8")


def undeclared(text: str, name: str) -> str:
    """The same without the litres of one volume."""
    rows = text.splitlines(keepends=True)
    return "".join(r.split(", volume")[0] + " }\n" if r.startswith(f"volumes.{name} ") else r for r in rows)


def two_tanks(amount: str = "20") -> str:
    """A tank at 8 bar joined to an empty one of the same size."""
    return litres("tank", "tank", amount) + litres("b", "tank", amount) + joined("joint tank b") + starting(tank="8")


TRIPPED = never(stands("dump", "tripped"))

PUMPED = (
    refuted(
        "a lever worked many times empties a tank",
        "each stroke leaves 20 / 20.4 of its pressure: after 36 strokes it is below 4 bar",
        worked(),
        never(below("tank", 4)),
        3,
    ),
    refuted(
        "a drain that ticks by itself empties a tank",
        "each tick leaves 20 / 20.4 of its pressure: after 36 ticks it is below 4 bar, hands off",
        litres("tank", "tank", "20")
        + litres("v", "line", "0.4")
        + piece("drain", "ticks", ports={"a": "tank", "b": "v"})
        + starting(tank="8")
        + TICKS,
        never(below("tank", 4)),
        1,
        pace=OFF,
    ),
    refuted(
        "a part that feeds and vents a tiny line empties a tank",
        "it hunts at 4 bar for ever, and what it lets in it lets out: no state joins the tank to the atmosphere, yet it falls",
        litres("tank", "tank", "20")
        + litres("v", "line", "0.01")
        + piece("pump", "pump", ports={"from": "tank", "a": "v"}, settings={"limit": "4 bar"}, sizes={"bore": "0.2"})
        + starting(tank="8")
        + PUMP,
        never(below("tank", 5)),
        1,
        pace=OFF,
    ),
)

LARGE = (
    refuted(
        "a line of 1.5 % of its tank trips a dump",
        "8 x 20 / 20.3 = 7.88 bar, and the dump trips at 7.9",
        tapped("20", "0.3", dump="7.9"),
        TRIPPED,
        4,
    ),
    refuted(
        "many lines take what one does not",
        "8 x 20 / (20 + 3 x 4) = 5 bar",
        with_lines(3, "4"),
        never(below("tank", 5.5)),
        1,
    ),
    refuted(
        "a line larger than its chamber empties it",
        "8 x 1 / (1 + 10) = 0.73 bar",
        tapped("1", "10", kind="chamber"),
        never(below("tank", 4)),
        3,
    ),
    refuted(
        "a line larger than its tank fills it",
        "8 x 40 / (40 + 1) = 7.8 bar",
        litres("tank", "tank", "1") + litres("v", "line", "40") + joined("oneway v tank") + starting(v="8"),
        never(at_least("tank", 4)),
        1,
    ),
)

UNDECLARED = (
    refuted(
        "a tank without litres may be small",
        "of 0.4 L it keeps half its 8 bar beside a line of 0.4 L, and a smaller one less",
        undeclared(tapped("20", "0.4"), "tank"),
        never(below("tank", 4)),
        3,
    ),
    refuted(
        "a line without litres may be large",
        "of 40 L it leaves a tank of 20 L a third of its 8 bar",
        undeclared(tapped("20", "0.4"), "v"),
        never(below("tank", 4)),
        3,
    ),
    refuted(
        "a tank without litres may be filled by a line",
        "of 0.01 L it takes 8 x 0.4 / 0.41 = 7.8 bar from a line of 0.4 L",
        undeclared(litres("tank", "tank", "1") + litres("v", "line", "0.4"), "tank")
        + joined("joint v tank")
        + starting(v="8"),
        never(at_least("tank", 4)),
        1,
    ),
    refuted(
        "of two tanks without litres the empty one may be far the smaller",
        "a thousandth of the other, it comes up to 7.99 bar",
        undeclared(undeclared(two_tanks(), "tank"), "b"),
        never(at_least("b", 7.9)),
        1,
    ),
    refuted(
        "of two tanks without litres the full one may be far the smaller",
        "a thousandth of the other, it comes down to 0.008 bar",
        undeclared(undeclared(two_tanks(), "tank"), "b"),
        never(below("tank", 0.1)),
        1,
    ),
)

#: The windows bound lines alone, and a lever's lines only where the claim says how often they are filled; how much air
#: there is, is what these need.
ACCOUNTED = (
    proven(
        "a dump below what a line can take does not trip",
        "8 x 20 / 20.3 = 7.88 bar is the least, for the line is never emptied",
        tapped("20", "0.3", dump="7.5"),
        TRIPPED,
    ),
    proven(
        "many lines take no more than they hold",
        "8 x 20 / (20 + 3 x 4) = 5 bar, not below 4.5",
        with_lines(3, "4"),
        never(below("tank", 4.5)),
    ),
    proven(
        "a chamber keeps its air from a small line",
        "8 x 10 / (10 + 1) = 7.3 bar",
        tapped("10", "1", kind="chamber"),
        never(below("tank", 4)),
    ),
    proven(
        "a line gives no more than it holds",
        "8 x 40 / (40 + 1) = 7.805 bar, not 7.9",
        litres("tank", "tank", "1") + litres("v", "line", "40") + joined("oneway v tank") + starting(v="8"),
        never(at_least("tank", 7.9)),
    ),
    proven(
        "equal tanks meet in the middle",
        "8 x 20 / 40 = 4 bar, not 5",
        two_tanks(),
        never(at_least("b", 5)),
    ),
)

KEPT = (
    refuted(
        "equal tanks come near the middle",
        "8 x 20 / 40 = 4 bar, past 3.5",
        two_tanks(),
        never(at_least("b", 3.5)),
        1,
    ),
    proven(
        "hands off, a line is filled once",
        "one filling of 0.4 L takes at most 0.4 x 9 = 3.6 of 160, less than the 2 bar x 20 from one pressure to the next",
        with_lines(1, "0.4"),
        never(both(below("tank", 4), carried("tank", 6))),
        pace=OFF,
    ),
    proven(
        "a check valve keeps a tank without litres",
        "no air goes against the arrow, however small the tank",
        volumes(tank="tank", v="line") + joined("oneway v tank", "vent v") + starting(tank="8"),
        never(below("tank", 4)),
    ),
)

LINE_AIR: tuple[Case, ...] = (*PUMPED, *LARGE, *UNDECLARED)
AIR_KEPT: tuple[Case, ...] = (*ACCOUNTED, *KEPT)
NEEDS_ACCOUNT: tuple[Case, ...] = tuple(
    replace(case, needs="an account of the air: what a store loses is in what it was joined to") for case in ACCOUNTED
)

#: Right as the others, but of so many states that engines which visit each of them are no use.
MANY_LINES: tuple[Case, ...] = (
    refuted(
        "thirty lines of 0.4 L",
        "8 x 20 / (20 + 30 x 0.4) = 5 bar",
        with_lines(30, "0.4"),
        never(below("tank", 5.5)),
        1,
    ),
)

#: Claims that allow so many `fillings`. Thirty strokes leave 8 x (20 / 20.4)^30 = 4.4 bar, forty leave 3.6.
NEEDS_FILLINGS: tuple[Case, ...] = (
    proven(
        "ten strokes do not empty a tank",
        "ten fillings take at most 10 x 0.4 x 9 = 36 of 160, less than the 2 bar x 20 between 6 and 4 bar",
        worked(),
        never(both(below("tank", 4), carried("tank", 6))),
    ).allowing(10),
    proven(
        "one stroke does not trip a dump far below",
        "8 x 20 / 20.4 = 7.84 bar is left; one filling does not take the 2 bar x 20 between 6 and 4 bar",
        worked(),
        never(both(below("tank", 4), carried("tank", 6))),
    ).allowing(1),
    refuted(
        "forty strokes empty a tank",
        "8 x (20 / 20.4)^40 = 3.6 bar",
        worked(),
        never(below("tank", 4)),
        3,
    ).allowing(40),
    refuted(
        "one filling of a large line empties a tank",
        "8 x 20 / (20 + 40) = 2.7 bar",
        worked(v="40"),
        never(below("tank", 4)),
        3,
    ).allowing(1),
    refuted(
        "one filling with nobody's litres",
        "the tank may be of 0.4 L as the line is, and smaller",
        undeclared(worked(), "tank"),
        never(below("tank", 4)),
        3,
    ).allowing(1),
)
