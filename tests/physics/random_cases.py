"""Random small arrangements with numbers, a start and a driver's script, for the soundness test."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from hypothesis import strategies as st

from bandproof.machine.layout import Layout, lay_out
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
    Start,
    Volume,
    VolumeKind,
)
from bandproof.model.conditions import (
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Condition,
    Happened,
    InPosition,
    InState,
    Lower,
    Not,
)

from .trajectory import Begin, Deed, Numbers

KPA = 1000
HIGHEST = Fraction(1000 * KPA)
#: A line holds at most this share of the smallest tank or chamber.
LINE_SHARE = 0.002
#: Litres, for volumes without a size.
USUAL = {
    VolumeKind.TANK: Range(Fraction(10), Fraction(50)),
    VolumeKind.CHAMBER: Range(Fraction(1), Fraction(5)),
    VolumeKind.LINE: Range(Fraction("0.01"), Fraction("0.02")),
}


@dataclass(frozen=True, slots=True)
class Case:
    """An arrangement with extra thresholds, one number for all it leaves open, a start, and what the driver does."""

    arrangement: Arrangement
    claims: tuple[Condition, ...]
    numbers: Numbers
    begin: Begin
    script: tuple[Deed, ...]
    until: float

    def layout(self) -> Layout:
        """The layout, of the arrangement with the case's start as its only one."""
        return lay_out(replace(self.arrangement, starts=(self.start(),)), self.claims)

    def start(self) -> Start:
        """The start that lists exactly what the case begins with."""
        return Start(
            "begin",
            tuple((name, Range(p, p)) for name, p in self.begin.pressures.items()),
            tuple((name, frozenset({state})) for name, state in self.begin.parts.items()),
            tuple((name, frozenset({position})) for name, position in self.begin.controls.items()),
        )


@dataclass(frozen=True, slots=True)
class _Names:
    volumes: tuple[str, ...]
    settings: tuple[Setting, ...]
    controls: tuple[Control, ...]
    mishaps: tuple[Mishap, ...]
    parts: tuple[tuple[str, tuple[str, ...]], ...]


@st.composite
def _settings(draw: st.DrawFn) -> tuple[Setting, ...]:
    found = []
    for i in range(draw(st.integers(1, 4))):
        low = draw(st.integers(5, 90)) * 10 * KPA
        width = draw(st.sampled_from([0, 0, 20, 60])) * KPA
        found.append(Setting(f"setting{i}", Fraction(low), Fraction(low + width)))
    return tuple(found)


@st.composite
def _leaves(draw: st.DrawFn, names: _Names) -> Condition:
    kinds = ["below", "at least"] * 4 + ["lower"] * 3 + ["state"]
    kinds += ["position"] * 3 * bool(names.controls) + ["mishap"] * 2 * bool(names.mishaps)
    volume = draw(st.sampled_from(names.volumes))
    setting = draw(st.sampled_from(names.settings))
    match draw(st.sampled_from(kinds)):
        case "below":
            return Below(volume, setting.low, setting.high, setting.name)
        case "at least":
            return AtLeast(volume, setting.low, setting.high, setting.name)
        case "lower":
            return Lower(volume, draw(st.sampled_from([v for v in names.volumes if v != volume])))
        case "state":
            part, states = draw(st.sampled_from(names.parts))
            return InState(part, frozenset({draw(st.sampled_from(states))}))
        case "position":
            control = draw(st.sampled_from(names.controls))
            return InPosition(control.name, frozenset({draw(st.sampled_from(control.positions))}))
        case _:
            return Happened(draw(st.sampled_from(names.mishaps)).name)


def _conditions(names: _Names) -> st.SearchStrategy[Condition]:
    leaf = _leaves(names)
    pair = st.tuples(leaf, st.one_of(leaf, st.builds(Not, leaf)))
    return st.one_of(
        leaf,
        leaf,
        leaf,
        leaf,
        st.builds(Not, leaf),
        st.builds(AllOf, pair),
        st.builds(AllOf, pair),
        st.builds(AnyOf, pair),
    )


@st.composite
def _sizes(draw: st.DrawFn) -> Size | None:
    if draw(st.integers(0, 3)) == 0:
        return None
    c = draw(st.sampled_from(["0.02", "0.2", "1", "5", "20"]))
    spread = draw(st.sampled_from(["1", "1", "1.5", "3"]))
    b = draw(st.sampled_from(["0", "0.2", "0.35", "0.5"]))
    wide = draw(st.sampled_from(["0", "0", "0.1"]))
    return Size(Range(Fraction(c), Fraction(c) * Fraction(spread)), Range(Fraction(b), Fraction(b) + Fraction(wide)))


@st.composite
def _passages(draw: st.DrawFn, names: _Names, states: tuple[str, ...]) -> tuple[Passage, ...]:
    found = []
    for _ in range(draw(st.integers(1, 3))):
        one = draw(st.sampled_from([*names.volumes, *names.volumes, SOURCE]))
        other = draw(st.sampled_from([*[v for v in names.volumes if v != one] * 2, ATMOSPHERE]))
        open_in = draw(st.sets(st.sampled_from(states), min_size=1))
        found.append(Passage(one, other, draw(st.booleans()), frozenset(open_in), draw(_sizes())))
    return tuple(found)


def _opposite(guard: Condition, settings: tuple[Setting, ...]) -> Condition:
    """A guard for the way back: with play, where there is a setting for it."""
    match guard:
        case AtLeast(volume, low, _):
            for setting in settings:
                if setting.high < low:
                    return Below(volume, setting.low, setting.high, setting.name)
        case Below(volume, _, high):
            for setting in settings:
                if setting.low > high:
                    return AtLeast(volume, setting.low, setting.high, setting.name)
        case _:
            pass
    return Not(guard)


#: Seconds within which a part moves: shorter than most crossings, about as long, longer.
REACTIONS = st.sampled_from(["0.02", "0.2", "1"]).map(lambda most: Range(Fraction(0), Fraction(most)))


@st.composite
def _parts(draw: st.DrawFn, names: _Names, name: str, states: tuple[str, ...], *, reacting: bool) -> Part:
    """A part. Most of its pairs of opposite moves have opposite guards, since most others chatter."""
    conditions = _conditions(names)
    guards: dict[tuple[str, str], Condition] = {}
    for way in [(s, t) for s in states for t in states if s != t]:
        back = guards.get((way[1], way[0]))
        if back is not None and draw(st.integers(0, 3)):
            guards[way] = _opposite(back, names.settings)
        elif draw(st.integers(0, 3)):
            guards[way] = draw(conditions)
    slow = draw(st.integers(0, 4)) == 0
    reaction = draw(REACTIONS) if reacting and not slow else None
    moves = tuple(Move(s, t, guard) for (s, t), guard in guards.items())
    return Part(name, "any", states, draw(_passages(names, states)), moves, slow, reaction=reaction)


@st.composite
def _arrangements(draw: st.DrawFn, *, reacting: bool) -> Arrangement:
    kinds = draw(st.lists(st.sampled_from(list(VolumeKind)), min_size=2, max_size=6))
    litres = {
        VolumeKind.TANK: st.sampled_from([4.0, 10.0, 40.0]),
        VolumeKind.CHAMBER: st.sampled_from([0.5, 1.0, 2.0]),
        VolumeKind.LINE: st.sampled_from([0.2, 0.5, 1.0]),
    }
    drawn = [draw(litres[kind]) for kind in kinds]
    smallest = min([size for size, kind in zip(drawn, kinds, strict=True) if kind != VolumeKind.LINE], default=10.0)
    volumes = []
    for i, (size, kind) in enumerate(zip(drawn, kinds, strict=True)):
        real = Fraction(size * LINE_SHARE * smallest if kind == VolumeKind.LINE else size).limit_denominator(10**6)
        volumes.append(Volume(f"{kind.value}{i}", kind, Range(real, real)))
    states = [tuple("abc"[: draw(st.sampled_from([1, 2, 2, 2, 3]))]) for _ in range(draw(st.integers(1, 5)))]
    controls = [
        Control(f"control{i}", tuple("xyz"[: draw(st.integers(2, 3))]))
        for i in range(draw(st.sampled_from([0, 1, 1, 2])))
    ]
    names = _Names(
        tuple(v.name for v in volumes),
        draw(_settings()),
        tuple(controls),
        tuple(Mishap(f"mishap{i}") for i in range(draw(st.integers(0, 1)))),
        tuple((f"part{i}", s) for i, s in enumerate(states)),
    )
    return Arrangement(
        name="random",
        unit="kPa",
        atmosphere=Fraction(101_325),
        highest=HIGHEST,
        volumes=tuple(volumes),
        parts=tuple(draw(_parts(names, name, s, reacting=reacting)) for name, s in names.parts),
        controls=names.controls,
        mishaps=names.mishaps,
        settings=names.settings,
    )


def _delays(part: Part) -> st.SearchStrategy[float]:
    """The seconds a part takes that need not move at once; often all that it may take."""
    if part.reaction is None:
        return st.sampled_from([0.003, 0.2, 2.0])
    most = float(part.reaction.high)
    return st.sampled_from([0.1, 0.6, 1.0, 1.0]).map(lambda share: share * most)


@st.composite
def numbers_of(draw: st.DrawFn, arrangement: Arrangement) -> Numbers:
    """One number for everything the arrangement leaves open, inside what it declares."""
    share = st.sampled_from([Fraction(k, 4) for k in range(5)])

    def inside(given: Range | Setting) -> Fraction:
        return given.low + (draw(share) if given.low != given.high else 0) * (given.high - given.low)

    sizes: dict[tuple[str, int], tuple[float, float]] = {}
    for part in arrangement.parts:
        for k, passage in enumerate(part.passages):
            if passage.size is None:
                c, b = draw(st.sampled_from([0.02, 0.3, 2.0, 30.0])), draw(st.sampled_from([0.0, 0.3, 0.6]))
                sizes[part.name, k] = (c, b)
            else:
                sizes[part.name, k] = (float(inside(passage.size.c)), float(inside(passage.size.b)))
    return Numbers(
        settings={s.name: inside(s) for s in arrangement.settings},
        litres={v.name: float(inside(v.litres or USUAL[v.kind])) for v in arrangement.volumes},
        sizes=sizes,
        delays={p.name: draw(_delays(p)) for p in arrangement.parts if p.delayed},
        together=draw(st.booleans()),
        choice=draw(st.integers(0, 1)),
    )


@st.composite
def scripts_of(
    draw: st.DrawFn, arrangement: Arrangement, begin: Begin, waits: tuple[float, ...] = ()
) -> tuple[Deed, ...]:
    """Up to seven deeds, each of which changes something."""
    stand = dict(begin.controls)
    mishaps = [m.name for m in arrangement.mishaps]
    time, found = 0.0, []
    for _ in range(draw(st.integers(1, 7))):
        time += draw(st.sampled_from([0.003, 0.1, 0.7, 3.0, *waits]))
        choices = [(c.name, p) for c in arrangement.controls for p in c.positions if p != stand[c.name]]
        name, position = draw(st.sampled_from([*choices, *((m, None) for m in mishaps), ("", None)]))
        if position is not None:
            stand[name] = position
        elif name:
            mishaps.remove(name)
        else:
            continue
        found.append(Deed(time, name, position))
    return tuple(found)


@st.composite
def cases(draw: st.DrawFn, *, reacting: bool = False) -> Case:
    """A random case. Start pressures never lie on a threshold: there rounding would decide what happens.

    With `reacting` all parts take their time for a move.
    """
    arrangement = draw(_arrangements(reacting=reacting))
    beside = st.builds(
        lambda k, off: Fraction(k * 10 * KPA + off), st.integers(0, 99), st.sampled_from([300, 3700, 9700])
    )
    pressure = st.one_of(st.sampled_from([Fraction(0), HIGHEST]), beside)
    mark = st.integers(5, 95).map(lambda k: Fraction(k * 10 * KPA))
    names = [v.name for v in arrangement.volumes]
    claims = draw(st.lists(st.builds(lambda v, m: AtLeast(v, m, m), st.sampled_from(names), mark), max_size=3))
    begin = Begin(
        {name: draw(pressure) for name in names},
        {p.name: draw(st.sampled_from(p.states)) for p in arrangement.parts},
        {c.name: draw(st.sampled_from(c.positions)) for c in arrangement.controls},
    )
    numbers = draw(numbers_of(arrangement))
    return Case(arrangement, tuple(claims), numbers, begin, draw(scripts_of(arrangement, begin)), until=30.0)


# ---------------------------------------------------------------------------------------------------- cases of pace

#: Thresholds, kPa: few for a volume that is slow to cross one, many for one that is quick. While a volume is below about
#: 450 kPa the source is choked, and what it brings is the same all the way: the bounds on times are then met.
_FEW = [(400,), (300,), (200, 400), (150, 450)]
_MANY = [(80, 160, 240, 320, 400), (100, 200, 300, 400), (130, 260, 390), (60, 160, 300, 400)]


@st.composite
def _valves(draw: st.DrawFn, name: str, volume: str, names: _Names, *, reacting: bool) -> Part:
    """A valve that fills its volume in state a, or empties it in state b, or both; in state c it is often shut."""
    fills, drains = draw(st.sampled_from([("a", ""), ("a", ""), ("", "b"), ("a", "b"), ("ac", "b"), ("ac", "bc")]))
    conductances = st.sampled_from(["1", "2", "3"]).map(Fraction)
    ratio = draw(st.sampled_from([Fraction(1, 2), Fraction(1, 2), Fraction(3, 10)]))
    passages = []
    for upstream, downstream, states in ((SOURCE, volume, fills), (volume, ATMOSPHERE, drains)):
        if not states:
            continue
        c = draw(conductances)
        size = Size(Range(c, c * draw(st.sampled_from([1, 1, 1, 2]))), Range(ratio, ratio))
        passages.append(Passage(upstream, downstream, one_way=True, open_in=frozenset(states), size=size))
    ways = draw(st.lists(st.sampled_from(["ab", "ba", "ac", "cb", "bc"]), max_size=1))
    moves = tuple(Move(way[0], way[1], draw(_conditions(names))) for way in ways)
    reaction = draw(REACTIONS) if reacting else None
    return Part(name, "valve", ("a", "b", "c"), tuple(passages), moves, reaction=reaction)


@st.composite
def paced_cases(draw: st.DrawFn, *, reacting: bool = False) -> Case:
    """A case of volumes that race each other: litres and sizes throughout, some slow to cross a threshold, some quick.

    Either all volumes are lines or none is, so that the air in lines is no matter. With `reacting` every valve takes its
    time for a move.
    """
    kinds = draw(st.sampled_from([[VolumeKind.LINE], [VolumeKind.TANK, VolumeKind.CHAMBER]]))
    slow = draw(st.integers(1, 2))
    volumes, grids = [], []
    for i in range(slow + draw(st.integers(1, 2))):
        litres = Fraction(draw(st.sampled_from([1, 2, 3] if i < slow else [2, 3, 4, 6])))
        size = Range(litres, litres * draw(st.sampled_from([1, 1, 1, 2])))
        volumes.append(Volume(f"v{i}", draw(st.sampled_from(kinds)), size))
        grids.append(draw(st.sampled_from(_FEW if i < slow else _MANY)))
    names = _Names(
        tuple(v.name for v in volumes),
        tuple(Setting(f"at{top}", top, top) for top in dict.fromkeys(Fraction(grid[-1] * KPA) for grid in grids)),
        (Control("control0", ("x", "y")),),
        (),
        tuple((f"part{i}", ("a", "b", "c")) for i in range(len(volumes))),
    )
    arrangement = Arrangement(
        name="race",
        unit="kPa",
        atmosphere=Fraction(101_325),
        highest=HIGHEST,
        volumes=tuple(volumes),
        parts=tuple(
            draw(_valves(name, v.name, names, reacting=reacting))
            for (name, _), v in zip(names.parts, volumes, strict=True)
        ),
        controls=names.controls,
        settings=names.settings,
    )
    stands = [min({s for p in part.passages for s in p.open_in}) for part in arrangement.parts]
    low, high = st.sampled_from([0, 3_700, 50_300]), st.sampled_from([503_700, 996_300])
    begin = Begin(
        {v.name: Fraction(draw(low if at == "a" else high)) for v, at in zip(volumes, stands, strict=True)},
        {p.name: at for p, at in zip(arrangement.parts, stands, strict=True)},
        {"control0": "x"},
    )
    marks = [(v.name, Fraction(k * KPA)) for v, grid in zip(volumes, grids, strict=True) for k in grid]
    claims = tuple(AtLeast(name, mark, mark) for name, mark in marks)
    return Case(
        arrangement, claims, draw(numbers_of(arrangement)), begin, draw(scripts_of(arrangement, begin)), until=10.0
    )
