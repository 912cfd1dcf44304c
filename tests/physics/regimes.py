"""Cases that aim at what random arrangements seldom do: each regime a strategy, whose runs are to show it.

Small arrangements are put together from pieces as conformance cases are, with random numbers and more pieces beside.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from hypothesis import strategies as st

from bandproof.model.arrangement import (
    ATMOSPHERE,
    SOURCE,
    Arrangement,
    Control,
    Mishap,
    Move,
    Part,
    Passage,
    Range,
    Setting,
    Size,
    Volume,
    VolumeKind,
)
from bandproof.model.conditions import (
    ALWAYS_TRUE,
    AtLeast,
    Below,
    Condition,
    Happened,
    InPosition,
    InState,
    Lower,
    Not,
)

from .random_cases import HIGHEST, KPA, Case, numbers_of, scripts_of
from .trajectory import Begin, Deed, Numbers

TANK, CHAMBER, LINE = VolumeKind.TANK, VolumeKind.CHAMBER, VolumeKind.LINE
CONTROL = Control("lever", ("plain", "turned"))
TURNED = InPosition("lever", frozenset({"turned"}))
TEARS = Mishap("tear")

#: Seconds that a part takes for its due move, unless something else comes before.
SWITCHING = (0.003, 0.02, 0.1)


@dataclass(frozen=True, slots=True)
class Regime:
    """A strategy of cases, and what the runs are counted by: a case is in its regime where its run has some of that."""

    name: str
    cases: st.SearchStrategy[Case]
    observed: str


def only(value: str) -> Range:
    """One number."""
    return Range(Fraction(value), Fraction(value))


@st.composite
def sizes(draw: st.DrawFn, *conductances: str) -> Size:
    """A size, now and then a range."""
    c = Fraction(draw(st.sampled_from(conductances or ("0.1", "0.5", "2", "8"))))
    b = Fraction(draw(st.sampled_from(("0", "0.3", "0.5"))))
    return Size(Range(c, c * draw(st.sampled_from((1, 1, 2)))), Range(b, b))


def setting(name: str, kpa: int, width: int = 0) -> Setting:
    """A setting from so many kPa on."""
    return Setting(name, Fraction(kpa * KPA), Fraction((kpa + width) * KPA))


def below(volume: str, at: Setting) -> Below:
    """The volume is below the setting."""
    return Below(volume, at.low, at.high, at.name)


def at_least(volume: str, at: Setting) -> AtLeast:
    """The volume is at least at the setting."""
    return AtLeast(volume, at.low, at.high, at.name)


def in_state(part: str, state: str) -> InState:
    """The part is in the state."""
    return InState(part, frozenset({state}))


def way(one: str, other: str, size: Size | None, *states: str, one_way: bool = False) -> Passage:
    """A passage open in these states."""
    return Passage(one, other, one_way, frozenset(states), size)


def pipe(name: str, one: str, other: str, size: Size | None, *, one_way: bool = False) -> Part:
    """A passage that is always open."""
    return Part(name, "pipe", ("open",), (way(one, other, size, "open", one_way=one_way),))


def two(name: str, passages: Sequence[Passage], to_b: Condition, to_a: Condition | None, *, slow: bool = False) -> Part:
    """A part of the states a and b."""
    moves = (Move("a", "b", to_b), *(() if to_a is None else (Move("b", "a", to_a),)))
    return Part(name, "two", ("a", "b"), tuple(passages), moves, slow)


@st.composite
def case_of(
    draw: st.DrawFn,
    volumes: Sequence[Volume],
    parts: Sequence[Part],
    settings: Sequence[Setting],
    *,
    until: float = 10.0,
    script: tuple[Deed, ...] | None = None,
    pressures: dict[str, int] | None = None,
    switched: bool = False,
    undeclared: bool = False,
) -> Case:
    """The case, with numbers, claims, a start and a script. Start pressures lie on no threshold, but for the highest."""
    arrangement = Arrangement(
        "regime",
        "kPa",
        Fraction(101_325),
        HIGHEST,
        tuple(volumes),
        tuple(parts),
        (CONTROL,),
        (TEARS,),
        settings=tuple(settings),
    )
    names = [v.name for v in volumes]
    beside = st.builds(lambda k, off: Fraction(k * 10 * KPA + off), st.integers(0, 98), st.sampled_from([300, 3700]))
    given = {name: Fraction(kpa * KPA) for name, kpa in (pressures or {}).items()}
    begin = Begin(
        {name: given[name] if name in given else draw(st.one_of(st.just(Fraction(0)), beside)) for name in names},
        {p.name: draw(st.sampled_from(p.states)) for p in parts},
        {"lever": "plain"},
    )
    mark = st.integers(5, 95).map(lambda k: Fraction(k * 10 * KPA))
    claims = draw(
        st.lists(st.builds(lambda v, m: AtLeast(v, m, m), st.sampled_from(names), mark), min_size=1, max_size=4)
    )
    numbers: Numbers = draw(numbers_of(arrangement))
    if switched:
        numbers = replace(numbers, switching={p.name: draw(st.sampled_from(SWITCHING)) for p in parts if not p.delayed})
    if undeclared:
        any_litres = st.sampled_from([0.003, 0.05, 0.7, 4.0, 30.0, 400.0, 3000.0])
        free = {v.name: draw(any_litres) for v in volumes if v.litres is None}
        numbers = replace(numbers, litres={**numbers.litres, **free})
    deeds = draw(scripts_of(arrangement, begin)) if script is None else script
    return Case(arrangement, tuple(claims), numbers, begin, deeds, until)


@st.composite
def beside(draw: st.DrawFn, names: Sequence[str], settings: Sequence[Setting]) -> list[Part]:
    """More pieces: an alarm, a hose that tears, a tap, a part that watches another volume; or nothing."""
    found: list[Part] = []
    some = st.sampled_from(list(names))
    at = st.sampled_from(list(settings))
    if draw(st.booleans()):
        found.append(two("alarm", (), at_least(draw(some), draw(at)), None))
    if draw(st.booleans()):
        tear = way(draw(some), ATMOSPHERE, draw(sizes()), "b")
        found.append(two("hose", (tear,), Happened("tear"), None))
    if len(names) > 1 and draw(st.booleans()):
        one, other = draw(st.permutations(list(names)))[:2]
        found.append(two("bypass", (way(one, other, draw(sizes()), "b"),), TURNED, Not(TURNED)))
    return found


# ------------------------------------------------------------------------------------------------------- chatter


@st.composite
def chatter(draw: st.DrawFn) -> Case:
    """Moves due round a circle at one pressure: settings in the wrong order, valves that undo each other, a flip."""
    kinds = draw(st.lists(st.sampled_from([TANK, CHAMBER, LINE]), min_size=1, max_size=3))
    litres = {TANK: "4", CHAMBER: "1", LINE: "0.2"}
    volumes = [Volume(f"v{i}", kind, only(litres[kind])) for i, kind in enumerate(kinds)]
    names = [v.name for v in volumes]
    low, high = setting("low", draw(st.integers(10, 40)) * 10), setting("high", draw(st.integers(45, 70)) * 10)
    if draw(st.integers(0, 3)) == 0:
        low, high = setting("low", 200, 200), setting("high", 300, draw(st.sampled_from([0, 150])))
    v = names[0]
    feeds = way(SOURCE, v, draw(sizes("0.5", "2", "8")), "a")
    vents = way(v, ATMOSPHERE, draw(sizes("0.1", "0.5")), "b")
    core: list[Part]
    match draw(st.sampled_from(["governor", "rods", "rods", "flip", "three"])):
        case "governor":
            core = [two("core", (feeds, vents), at_least(v, low), below(v, high))]
        case "rods":
            first = two("first", (feeds,), in_state("second", "a"), in_state("second", "b"))
            core = [first, two("second", (vents,), in_state("first", "b"), in_state("first", "a"))]
        case "flip":
            core = [two("core", (feeds, vents), ALWAYS_TRUE, ALWAYS_TRUE)]
        case _:
            others = {"first": "third", "second": "first", "third": "second"}
            core = [
                two(n, (feeds,) if n == "first" else (), in_state(o, "a"), in_state(o, "b")) for n, o in others.items()
            ]
    if draw(st.booleans()):
        core.append(pipe("always", SOURCE, v, draw(sizes("0.5", "2")), one_way=True))
    if draw(st.booleans()):
        core.append(two("watcher", (vents,), in_state(core[0].name, "b"), draw(st.sampled_from([None, TURNED]))))
    if len(names) > 1 and draw(st.booleans()):
        core.append(pipe("joint", v, names[1], draw(sizes()), one_way=draw(st.booleans())))
    parts = [*core, *draw(beside(names, [low, high]))]
    return draw(case_of(volumes, parts, [low, high], until=4.0, switched=True))


# ------------------------------------------------------------------------------------------------------- holding


@st.composite
def holding(draw: st.DrawFn) -> Case:
    """A part that feeds against a leak: with one setting, with two, or following another line; perhaps through a line."""
    volumes = [Volume("v", draw(st.sampled_from([LINE, CHAMBER])), only(draw(st.sampled_from(["0.2", "1"]))))]
    low = draw(st.integers(20, 50)) * 10
    one, other = setting("one", low), setting("other", low + draw(st.sampled_from([0, 20, 100])))
    feed = draw(sizes("0.5", "2", "8"))
    leak = draw(sizes("0.1", "0.3"))
    upstream = SOURCE
    if draw(st.integers(0, 2)) == 0:
        volumes.append(Volume("tank", TANK, only(draw(st.sampled_from(["4", "400"])))))
        upstream = "tank"
    feeds = way(upstream, "v", feed, "b", one_way=True)
    to_feed: Condition = below("v", one)
    to_shut: Condition = at_least("v", other)
    if draw(st.integers(0, 4)) == 0:
        volumes.append(Volume("pilot", LINE, only("0.2")))
        to_feed, to_shut = Lower("v", "pilot"), Not(Lower("v", "pilot"))
    also = (way("v", ATMOSPHERE, leak, "a"),) if draw(st.integers(0, 3)) == 0 else ()
    parts = [two("keeper", (feeds, *also), to_feed, to_shut)]
    if draw(st.integers(0, 4)):
        parts.append(pipe("leak", "v", ATMOSPHERE, leak, one_way=True))
    if draw(st.booleans()):
        volumes.append(Volume("w", draw(st.sampled_from([LINE, CHAMBER])), only("0.2")))
        parts.append(pipe("joint", "v", "w", draw(sizes("0.5", "2"))))
        if draw(st.booleans()):
            parts.append(two("second", (way("w", ATMOSPHERE, leak, "b"),), at_least("w", one), below("w", one)))
    names = [v.name for v in volumes]
    if draw(st.booleans()):
        parts += draw(beside(names, [one, other]))
    script = draw(st.sampled_from([(), (Deed(1.0, "tear"),), (Deed(1.0, "lever", "turned"),)]))
    pressures = {"tank": 803} if upstream == "tank" else {}
    return draw(case_of(volumes, parts, [one, other], until=12.0, script=script, pressures=pressures, switched=True))


# --------------------------------------------------------------------------------------------------- air in lines


@st.composite
def large_lines(draw: st.DrawFn) -> Case:
    """A store and lines of about its size, joined by levers and pipes, some vented."""
    store = Volume("store", draw(st.sampled_from([TANK, CHAMBER])), only(draw(st.sampled_from(["1", "4", "20"]))))
    lines = [
        Volume(f"v{i}", LINE, only(draw(st.sampled_from(["0.3", "1", "5", "40"]))))
        for i in range(draw(st.integers(1, 3)))
    ]
    names = [v.name for v in lines]
    limit = setting("limit", draw(st.integers(10, 80)) * 10)
    parts = [
        two("tap", (way("store", names[0], draw(sizes()), "b", one_way=draw(st.booleans())),), TURNED, Not(TURNED))
    ]
    for i, name in enumerate(names[1:]):
        source = draw(st.sampled_from(["store", names[i]]))
        parts.append(pipe(f"pipe{i}", source, name, draw(sizes()), one_way=draw(st.booleans())))
    parts += draw(beside([*names, "store"], [limit]))
    pressures = {"store": draw(st.sampled_from([0, 503, 803]))}
    script = tuple(Deed(0.5 * (i + 1), "lever", ("turned", "plain")[i % 2]) for i in range(draw(st.integers(1, 6))))
    return draw(case_of([store, *lines], parts, [limit], script=script, pressures=pressures))


@st.composite
def pumped(draw: st.DrawFn) -> Case:
    """A line filled from a store and emptied elsewhere, again and again: by a lever, by a drain that ticks, by a part."""
    store = Volume("store", draw(st.sampled_from([TANK, CHAMBER])), only(draw(st.sampled_from(["1", "2", "4"]))))
    volumes = [store, Volume("v", LINE, only(draw(st.sampled_from(["0.05", "0.2", "0.5"]))))]
    size = draw(sizes("2", "8"))
    fills, empties = way("store", "v", size, "b"), way("v", ATMOSPHERE, size, "a")
    start = draw(st.integers(30, 90)) * 10 + 3
    limit = setting("limit", draw(st.integers(10, 60)) * 10)
    script: tuple[Deed, ...] = ()
    match draw(st.sampled_from(["lever", "lever", "ticks", "part", "other"])):
        case "lever":
            pump = two("pump", (fills, empties), TURNED, Not(TURNED))
            gap = draw(st.sampled_from([0.1, 0.3]))
            script = tuple(Deed(gap * (i + 1), "lever", ("turned", "plain")[i % 2]) for i in range(30))
        case "ticks":
            pump = two("pump", (fills, empties), ALWAYS_TRUE, ALWAYS_TRUE, slow=True)
        case "part":
            pump = two("pump", (fills, empties), below("v", limit), at_least("v", limit))
        case _:
            volumes.append(Volume("pilot", LINE, only("0.2")))
            pump = two("pump", (fills, empties), below("pilot", limit), at_least("pilot", limit))
            script = ()
    parts = [pump]
    if len(volumes) > 2:
        turn = two(
            "turn",
            (way(SOURCE, "pilot", draw(sizes("2")), "b"), way("pilot", ATMOSPHERE, draw(sizes("2")), "a")),
            below("pilot", limit),
            at_least("pilot", setting("higher", int(limit.low) // KPA + 50)),
        )
        parts.append(turn)
    settings = [limit, setting("higher", int(limit.low) // KPA + 50)]
    if draw(st.booleans()):
        parts += draw(beside(["store", "v"], settings))
    return draw(case_of(volumes, parts, settings, script=script, pressures={"store": start}, switched=True))


# ------------------------------------------------------------------------------------------------ litres and edges


@st.composite
def undeclared(draw: st.DrawFn) -> Case:
    """Volumes of which some have no litres, and may be of any."""
    kinds = draw(st.lists(st.sampled_from([TANK, TANK, CHAMBER, LINE]), min_size=2, max_size=4))
    volumes = [
        Volume(f"v{i}", kind, draw(st.sampled_from([None, None, only("1"), only("20")])))
        for i, kind in enumerate(kinds)
    ]
    volumes[0] = replace(volumes[0], litres=None)
    names = [v.name for v in volumes]
    limit = setting("limit", draw(st.integers(10, 80)) * 10)
    parts = [two("tap", (way(names[0], names[1], draw(sizes()), "b"),), TURNED, Not(TURNED))]
    for i, name in enumerate(names[1:]):
        other = draw(st.sampled_from([SOURCE, ATMOSPHERE, *names[: i + 1]]))
        ends = (name, other) if other == ATMOSPHERE else (other, name)
        parts.append(pipe(f"pipe{i}", *ends, draw(st.one_of(st.none(), sizes())), one_way=draw(st.booleans())))
    parts += draw(beside(names, [limit]))
    return draw(case_of(volumes, parts, [limit], undeclared=True, until=30.0))


@st.composite
def highest(draw: st.DrawFn) -> Case:
    """Volumes that start at the highest pressure or are filled up to it, with thresholds close under it."""
    kinds = draw(st.lists(st.sampled_from([TANK, CHAMBER, LINE]), min_size=1, max_size=3))
    litres = {TANK: "4", CHAMBER: "1", LINE: "0.2"}
    volumes = [Volume(f"v{i}", kind, only(litres[kind])) for i, kind in enumerate(kinds)]
    names = [v.name for v in volumes]
    limit = setting("limit", draw(st.sampled_from([500, 990, 995])), draw(st.sampled_from([0, 4])))
    parts = [
        two("vent", (way(names[0], ATMOSPHERE, draw(sizes()), "b"),), TURNED, Not(TURNED)),
        two("feed", (way(SOURCE, names[-1], draw(sizes()), "a"),), at_least(names[-1], limit), below(names[0], limit)),
    ]
    for i, name in enumerate(names[1:]):
        parts.append(pipe(f"pipe{i}", names[i], name, draw(sizes()), one_way=draw(st.booleans())))
    parts += draw(beside(names, [limit]))
    pressures = {name: 1000 for name in names if draw(st.booleans())}
    pressures[names[0]] = 1000
    case = draw(case_of(volumes, parts, [limit], pressures=pressures, switched=draw(st.booleans())))
    near = Fraction(draw(st.sampled_from([980, 999])) * KPA)
    return replace(case, claims=(*case.claims, AtLeast(names[0], near, near)))


@st.composite
def chains(draw: st.DrawFn) -> Case:
    """Three to six lines in a row, from a source or a store to a vent, a hose or a dead end."""
    lines = [
        Volume(f"v{i}", LINE, only(draw(st.sampled_from(["0.02", "0.2", "1"])))) for i in range(draw(st.integers(3, 6)))
    ]
    names = [v.name for v in lines]
    volumes = list(lines)
    head = draw(st.sampled_from([SOURCE, "tank"]))
    if head == "tank":
        volumes.append(Volume("tank", TANK, only(draw(st.sampled_from(["1", "40"])))))
    limit = setting("limit", draw(st.integers(10, 80)) * 10)
    parts = [pipe("head", head, names[0], draw(st.one_of(st.none(), sizes())), one_way=True)]
    for i, (one, other) in enumerate(pairwise(names)):
        parts.append(pipe(f"pipe{i}", one, other, draw(st.one_of(st.none(), sizes())), one_way=draw(st.booleans())))
    tail = way(names[-1], ATMOSPHERE, draw(st.one_of(st.none(), sizes())), "b")
    ends: list[tuple[Condition, Condition | None]] = [
        (TURNED, Not(TURNED)),
        (Happened("tear"), None),
        (at_least(names[0], limit), below(names[0], limit)),
    ]
    to_b, to_a = draw(st.sampled_from(ends))
    parts.append(two("tail", (tail,), to_b, to_a))
    pressures = {"tank": draw(st.sampled_from([303, 803]))} if head == "tank" else {}
    return draw(case_of(volumes, parts, [limit], pressures=pressures, switched=True))


@st.composite
def same_setting(draw: st.DrawFn) -> Case:
    """Parts that use one setting with a tolerance: each has a number of its own, or all have one."""
    volumes = [Volume("v", LINE, only("0.2")), Volume("w", draw(st.sampled_from([LINE, CHAMBER])), only("1"))]
    name, low = "limit", draw(st.integers(15, 50)) * 10
    limit = setting(name, low, draw(st.sampled_from([20, 100, 200])))
    size = st.one_of(st.none(), sizes())
    fronts: list[Condition] = [TURNED, below("v", limit)]
    backs: list[Condition] = [below("w", limit), below("v", limit)]
    parts = [
        two(
            "first",
            (way(SOURCE, "v", draw(size), "b"),),
            draw(st.sampled_from(fronts)),
            at_least("v", limit),
        ),
        two("second", (way("v", "w", draw(size), "b"),), at_least("v", limit), below("v", limit)),
        two(
            "third",
            (way("w", ATMOSPHERE, draw(size), "b"),),
            at_least("w", limit),
            draw(st.sampled_from(backs)),
        ),
        pipe("leak", "v", ATMOSPHERE, draw(sizes("0.1", "0.5")), one_way=True),
    ]
    parts += draw(beside(["v", "w"], [limit]))
    case: Case = draw(case_of(volumes, parts, [limit], switched=True, until=5.0))
    share = st.sampled_from([Fraction(k, 4) for k in range(5)])
    own = {(p.name, name): limit.low + draw(share) * (limit.high - limit.low) for p in parts}
    if draw(st.booleans()):
        own = dict.fromkeys(own, case.numbers.settings[name])
    return replace(case, numbers=replace(case.numbers, own=own))


Cases = Callable[[], st.SearchStrategy[Case]]

REGIMES = (
    Regime("chatter", chatter(), "while moves stay due"),
    Regime("holding", holding(), "moves again and again"),
    Regime("large lines", large_lines(), "by lines alone"),
    Regime("pumped lines", pumped(), "by lines alone"),
    Regime("undeclared litres", undeclared(), "crossings of undeclared litres"),
    Regime("the highest pressure", highest(), "crossings from the last band"),
    Regime("chains of lines", chains(), "crossings of lines in a row"),
    Regime("one setting of several parts", same_setting(), "moves by one setting"),
)
