"""Hand-proved cases about parts whose moves stay due round a circle at one and the same pressures: time passes all the same.

`HUNTING` has the arrangements in which a circle can hold, `IN_ORDER` the same made right, and what hunting leaves as it is.
"""

from __future__ import annotations

from tests.conformance.case import (
    Case,
    at_least,
    below,
    both,
    holds,
    lever,
    never,
    no,
    proven,
    refuted,
    some,
    stands,
)
from tests.conformance.small_parts import GOVERNOR, HOSE, piece
from tests.conformance.table_flow import joined, starting, volumes


def governed(cut_in: str, cut_out: str, *, more: str = "", kinds: str = "") -> str:
    """An empty tank that a governor fills."""
    settings = {"cut_in": f"{cut_in} bar", "cut_out": f"{cut_out} bar"}
    governor = piece("governor", "governor", ports={"a": "tank"}, settings=settings)
    return volumes(tank="tank") + governor + more + starting() + GOVERNOR + kinds


LOSS = 'mishaps.loss = { says = "" }\n' + piece("shell", "hose", ports={"a": "tank"}, mishaps={"tears": "loss"})
ALARM = piece("alarm", "lifts", ports={"a": "tank"}, settings={"limit": "4 bar"})
KEPT = holds(at_least("tank", 4), at_least("tank", 2.5))

GOVERNORS = (
    refuted(
        "swapped governor lets the tank rise",
        "from 4 bar on both moves are due for ever; time passes all the same and the loading governor lifts the tank past 5",
        governed("6", "4"),
        never(at_least("tank", 5)),
        2,
    ),
    refuted(
        "swapped governor lets a lost tank fall",
        "past 2.5 and 4 bar with both moves due, then the loss, the shell opens, and the tank falls past both",
        governed("6", "4", more=LOSS, kinds=HOSE),
        KEPT,
        6,
        mishaps="loss",
    ),
    refuted(
        "governor whose ranges overlap",
        "with cut-in at 5.5 and cut-out at 4 bar both moves are due from 4 to 5.5 bar; the tank crosses 3, 4 and 5",
        governed("3..6", "4"),
        never(at_least("tank", 5)),
        3,
    ),
)

GOVERNORS_IN_ORDER = (
    proven(
        "swapped governor stops at the higher setting",
        "from 6 bar on only unloading is due, so it must come before the tank crosses 7",
        governed("6", "4"),
        never(at_least("tank", 7)),
    ),
    proven(
        "overlapping governor stops at the top of its cut-in",
        "from 6 bar on cut-in cannot hold, whatever its number, so unloading must come before 7",
        governed("3..6", "4"),
        never(at_least("tank", 7)),
    ),
    proven(
        "a bystander of a swapped governor must move",
        "the alarm is in no circle and watches no part of one: due from 4 bar on, it moves before the tank crosses 5",
        governed("6", "4", more=ALARM),
        never(both(stands("alarm", "calm"), at_least("tank", 5))),
    ),
    refuted(
        "governor in order fills",
        "loading until 6 bar, the tank crosses 4 and 5",
        governed("4", "6"),
        never(at_least("tank", 5)),
        2,
    ),
    proven(
        "governor in order stops",
        "at 6 bar it must unload before the tank crosses 7",
        governed("4", "6"),
        never(at_least("tank", 7)),
    ),
    proven(
        "governor whose ranges do not meet stops",
        "at 5 bar, the top of cut-out, it must unload before 6",
        governed("2..3", "4..5"),
        never(at_least("tank", 6)),
    ),
    refuted(
        "governor in order, lost tank",
        "past 2.5 and 4 bar, the loss, the shell opens, and the tank falls past both",
        governed("4", "6", more=LOSS, kinds=HOSE),
        KEPT,
        6,
        mishaps="loss",
    ),
)

LATCH = """
[kinds.latch]
ports = ["supply", "delivery"]
states = ["out", "pressed", "in"]
settings = ["hold_in", "release"]
controls = ["knob"]
passages = [
  { between = ["supply", "delivery"], open_in = ["pressed", "in"] },
  { from = "delivery", to = "atmosphere", open_in = ["out"] },
]
moves = [
  { from = "out", to = "pressed", when = "knob is pushed" },
  { from = "pressed", to = "out", when = "knob is not pushed" },
  { from = "pressed", to = "in", when = "delivery is at least hold_in" },
  { from = "in", to = "out", when = "knob is pulled or (delivery is below release and knob is not pushed)" },
  { from = "in", to = "pressed", when = "delivery is below release and knob is pushed" },
]
"""


def latching(hold_in: str, release: str) -> str:
    """A knob between a tank at 7 bar and an empty line."""
    settings = {"hold_in": f"{hold_in} bar", "release": f"{release} bar"}
    ports = {"supply": "tank", "delivery": "v"}
    return (
        volumes(tank="tank", v="line")
        + 'controls.knob = { positions = ["free", "pushed", "pulled"] }\n'
        + piece("latch", "latch", ports=ports, settings=settings, controls={"knob": "knob"})
        + starting(tank="7")
        + LATCH
    )


def two_latches(hold_in: str, release: str) -> str:
    """The same with a second knob and line beside it."""
    text = latching(hold_in, release).replace('v = { is = "line" }', 'v = { is = "line" }\nvolumes.w = { is = "line" }')
    first = next(row for row in text.splitlines(keepends=True) if row.startswith("parts.latch"))
    second = first.replace("parts.latch", "parts.other").replace('"v"', '"w"').replace('= "knob"', '= "second"')
    return text.replace(first, first + second + 'controls.second = { positions = ["free", "pushed", "pulled"] }\n')


PUSHED = lever("knob", "pushed")

LATCHES = (
    refuted(
        "latching control whose hold-in is below its release",
        "pushed, pressed, past 2 bar, where it latches and lets go for ever; past 3, and past 4 with either passage open",
        latching("2", "3"),
        never(both(PUSHED, at_least("v", 4))),
        5,
    ),
    refuted(
        "latching control with both settings in the wrong order, toleranced",
        "pushed, pressed, past 1, 2, 3, 4 and 6 bar: between 2 and 3 bar both moves are due whatever the numbers",
        latching("1..2", "3..4"),
        never(both(PUSHED, at_least("v", 6))),
        7,
    ),
    refuted(
        "both knobs held, both in the wrong order",
        "a knob pushed is pressed before anybody acts again: two acts, two reacts; then both lines cross 2, 3 and 4 bar",
        two_latches("2", "3"),
        never(both(at_least("v", 4), at_least("w", 4))),
        7,
    ),
)

LATCHES_IN_ORDER = (
    refuted(
        "latching control in order",
        "pushed, pressed, past 2 and 3 bar, latched, which is due there, past 4",
        latching("3", "2"),
        never(both(PUSHED, at_least("v", 4))),
        6,
    ),
    proven(
        "latching control gives no more than its supply",
        "nothing fills the tank, which stands below 8 bar",
        latching("3", "2"),
        never(at_least("v", 8)),
    ),
    proven(
        "latching control in the wrong order gives no more than its supply",
        "nothing fills the tank, which stands below 8 bar",
        latching("2", "3"),
        never(at_least("v", 8)),
    ),
)

STAGE = """
[kinds.stage]
ports = ["pilot", "inlet", "outlet"]
states = ["venting", "passing"]
settings = ["passes", "vents"]
passages = [
  { between = ["inlet", "outlet"], open_in = ["passing"] },
  { from = "outlet", to = "atmosphere", open_in = ["venting"] },
]
moves = [
  { from = "venting", to = "passing", when = "pilot is at least passes" },
  { from = "passing", to = "venting", when = "pilot is below vents" },
]
"""


def staged(passes: str, vents: str, pilot: str) -> str:
    """A stage between a line at 7 bar and an empty one, under a shut-in pilot."""
    settings = {"passes": f"{passes} bar", "vents": f"{vents} bar"}
    return (
        volumes(p="line", v="line", w="line")
        + piece("stage", "stage", ports={"pilot": "p", "inlet": "v", "outlet": "w"}, settings=settings)
        + starting(p=pilot, v="7")
        + STAGE
    )


STAGES = (
    refuted(
        "stage that passes below where it vents",
        "at 4 bar both moves are due for ever; it passes, and the outlet fills",
        staged("3", "5", "4"),
        never(at_least("w", 2)),
        2,
    ),
)

STAGES_IN_ORDER = (
    proven(
        "stage in order, between its settings",
        "venting at 4 bar it neither passes, below 5, nor has air",
        staged("5", "3", "4"),
        never(at_least("w", 2)),
    ),
    refuted(
        "stage in order, pilot high",
        "at 6 bar it must pass, then the outlet fills",
        staged("5", "3", "6"),
        never(at_least("w", 2)),
        2,
    ),
    proven(
        "stage in the wrong order, pilot low",
        "at 2 bar passing is not due, so the stage vents and nothing hunts",
        staged("3", "5", "2"),
        never(at_least("w", 2)),
    ),
)

#: Two valves with a rod each to the other: the first does the opposite of the second, the second follows the first.
RODS = """
[kinds.opposes]
ports = []
states = ["off", "on"]
links = ["other"]
moves = [
  { from = "off", to = "on", when = "other is off" },
  { from = "on", to = "off", when = "other is on" },
]

[kinds.follows]
ports = []
states = ["off", "on"]
links = ["other"]
moves = [
  { from = "off", to = "on", when = "other is on" },
  { from = "on", to = "off", when = "other is off" },
]

[kinds.stays]
ports = []
states = ["off", "on"]
links = ["other"]
moves = [{ from = "off", to = "on", when = "other is off" }]

[kinds.watches]
ports = []
states = ["calm", "tripped"]
links = ["other"]
moves = [{ from = "calm", to = "tripped", when = "other is on" }]

[kinds.flips]
ports = []
states = ["off", "on"]
moves = [{ from = "off", to = "on", when = "always" }, { from = "on", to = "off", when = "always" }]
"""


def braked(*parts: str) -> str:
    """A brake with its feed open, and parts given as `name kind other`."""
    text = volumes(brake="line") + joined("feed brake")
    for part in parts:
        name, kind, *other = part.split()
        text += piece(name, kind, links={"other": other[0]} if other else {})
    return text + starting() + RODS


UNDOING = ("first opposes second", "second follows first")
RISES = never(at_least("brake", 5))
LIFTED = never(both(stands("alarm", "calm"), at_least("brake", 5)))

#: "While the first is on and the watcher has not followed, the brake stays below 5 bar."
WATCHED = holds(
    both(stands("first", "on"), stands("watcher", "calm"), below("brake", 5)),
    below("brake", 5),
    some(stands("watcher", "tripped"), stands("first", "off")),
)

VALVES = (
    refuted(
        "two valves that undo each other",
        "each move is due at another state of the other valve, so the circle holds at one pressure; the feed lifts the brake",
        braked(*UNDOING),
        RISES,
        1,
    ),
    refuted(
        "three valves round a circle",
        "each does the opposite of the one before, and three cannot all agree: some move is always due",
        braked("first opposes third", "second opposes first", "third opposes second"),
        RISES,
        1,
    ),
    refuted(
        "a part that flips by itself",
        "its moves are due for ever, and the feed lifts the brake",
        braked("flip flips"),
        RISES,
        1,
    ),
    refuted(
        "a part that watches a hunting part may be late",
        "the first is on; before the watcher has moved the brake crosses 5 bar: it may take any time, as what it watches may",
        braked(*UNDOING, "watcher watches first"),
        WATCHED,
        2,
    ),
)

VALVES_IN_ORDER = (
    proven(
        "a bystander of two valves that undo each other must move",
        "it watches neither valve: due from 3 bar on, it moves before the brake crosses 5",
        braked(*UNDOING).replace(
            "starts.start", piece("alarm", "lifts", ports={"a": "brake"}, settings={"limit": "3 bar"}) + "starts.start"
        ),
        LIFTED,
    ),
    refuted(
        "two valves that agree",
        "the first goes on, the second follows, and only then the feed lifts the brake",
        braked("first stays second", "second follows first"),
        RISES,
        3,
    ),
    proven(
        "two valves that agree must have moved",
        "until both are on a move is due that ends, and nothing flows",
        braked("first stays second", "second follows first"),
        never(both(at_least("brake", 5), no(both(stands("first", "on"), stands("second", "on"))))),
    ),
    proven(
        "a part that watches a part that does not hunt must move",
        "the first is on for good, so the watcher moves before the brake crosses 5",
        braked("first stays second", "second follows first", "watcher watches first"),
        WATCHED,
    ),
    refuted(
        "a slow part that flips holds nothing up",
        "its due moves are never musts",
        braked("flip flips").replace(
            'states = ["off", "on"]\nmoves = [{ from = "off", to = "on", when = "always" }',
            'states = ["off", "on"]\nreaction = "slow"\nmoves = [{ from = "off", to = "on", when = "always" }',
        ),
        RISES,
        1,
    ),
)

HUNTING: tuple[Case, ...] = (*GOVERNORS, *LATCHES, *STAGES, *VALVES)
IN_ORDER: tuple[Case, ...] = (*GOVERNORS_IN_ORDER, *LATCHES_IN_ORDER, *STAGES_IN_ORDER, *VALVES_IN_ORDER)
