"""Hypothesis strategies that aim at the corners of the step rule and the flow rule.

`tests.strategies` draws small arrangements for enumeration; these lean on what is easy to get wrong: sums of sized flows
that are exactly zero, passages that start or end anywhere at all, dead-end lines beside tanks and chambers, slow parts,
comparisons of two volumes, thresholds that only some volumes carry, thresholds at the two ends of the scale.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from hypothesis import strategies as st

from bandproof.machine.imbalance import Imbalance
from bandproof.machine.layout import Layout
from bandproof.machine.story import State
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
    Size,
    Start,
    Volume,
    VolumeKind,
)
from bandproof.model.conditions import (
    ALWAYS_TRUE,
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
    Truth,
)
from bandproof.properties.claim import Pace, Property
from bandproof.properties.monitors import Stillness
from tests import strategies

BAR = Fraction(100_000)
ATMOSPHERIC = BAR
HIGHEST = 9 * BAR
#: Absolute pressures of 2, 4 and 5 bar against 1 bar outside and a source of 10 bar. A choked feed of C = 1 from the
#: source brings 10 dm3/s; a choked vent of C = 5, 5/2 or 2 takes exactly that away at the first, second or third mark.
MARKS = (BAR, 3 * BAR, 4 * BAR)
CONDUCTANCES = tuple(map(Fraction, ("0", "1", "2", "5/2", "5")))
RATIOS = tuple(map(Fraction, ("0", "1/5", "1/2")))

#: Sizes that cancel one another exactly as said above come up often only when they are asked for.
EXACT = tuple(
    Size(Range(c, c), Range(b, b)) for c in map(Fraction, ("1", "2", "5/2", "5")) for b in (Fraction(1, 2), Fraction(0))
)


def spans(values: st.SearchStrategy[Fraction]) -> st.SearchStrategy[Range]:
    """A closed range with both ends from `values`, quite often a single number."""
    return st.one_of(values.map(lambda v: Range(v, v)), st.tuples(values, values).map(lambda e: Range(min(e), max(e))))


def sizes() -> st.SearchStrategy[Size | None]:
    """No size, one of the sizes that cancel exactly, or any range of conductance and ratio."""
    loose = st.builds(Size, spans(st.sampled_from(CONDUCTANCES)), spans(st.sampled_from(RATIOS)))
    return st.one_of(st.none(), st.sampled_from(EXACT), loose)


@st.composite
def passages(draw: st.DrawFn, volumes: list[str], states: tuple[str, ...]) -> Passage:
    """A passage between any two ends that a file can name, now and then from a volume to itself."""
    upstream = draw(st.sampled_from([*volumes, *volumes, SOURCE, ATMOSPHERE]))
    downstream = draw(st.sampled_from([*volumes, *volumes, ATMOSPHERE, SOURCE]))
    open_in = draw(st.one_of(st.just(frozenset(states)), st.frozensets(st.sampled_from(states), min_size=1)))
    return Passage(upstream, downstream, draw(st.booleans()), open_in, draw(sizes()))


@st.composite
def conditions(draw: st.DrawFn, arrangement: Arrangement, *, guard: bool, depth: int = 2) -> Condition:
    """A condition over the arrangement's names; tolerances and comparisons of two volumes only in guards."""
    shapes = ["pressure", "pressure", "pressure", "control", "mishap", "part"]
    shapes += ["lower"] if guard else []
    shapes += ["not", "all", "any"] if depth else []
    shape = draw(st.sampled_from(shapes))
    volume = st.sampled_from([v.name for v in arrangement.volumes])
    inner = conditions(arrangement, guard=guard, depth=depth - 1)
    if shape == "control" and arrangement.controls:
        control = draw(st.sampled_from(arrangement.controls))
        return InPosition(control.name, draw(st.frozensets(st.sampled_from(control.positions), min_size=1)))
    if shape == "mishap" and arrangement.mishaps:
        return Happened(draw(st.sampled_from(arrangement.mishaps)).name)
    if shape == "part":
        part = draw(st.sampled_from(arrangement.parts))
        return InState(part.name, draw(st.frozensets(st.sampled_from(part.states), min_size=1)))
    if shape == "lower":
        return Lower(draw(volume), draw(volume))
    if shape == "not":
        return Not(draw(inner))
    if shape == "all":
        return AllOf(tuple(draw(st.lists(inner, max_size=3))))
    if shape == "any":
        return AnyOf(tuple(draw(st.lists(inner, max_size=3))))
    if draw(st.integers(0, 11)) == 0:
        return Truth(value=draw(st.booleans()))
    levels = st.sampled_from([*MARKS, *MARKS, *MARKS, Fraction(0), HIGHEST])
    level = draw(spans(levels)) if guard else draw(levels.map(lambda v: Range(v, v)))
    if draw(st.booleans()):
        return Below(draw(volume), level.low, level.high)
    return AtLeast(draw(volume), level.low, level.high)


@st.composite
def networks(draw: st.DrawFn, *, least_volumes: int = 1, most_volumes: int = 4, most_parts: int = 3) -> Arrangement:
    """An arrangement with one start called `start`; every volume is compared with some threshold or is joined to one."""
    kinds = st.sampled_from([VolumeKind.LINE, VolumeKind.LINE, VolumeKind.TANK, VolumeKind.CHAMBER])
    volumes = tuple(Volume(f"v{i}", draw(kinds)) for i in range(draw(st.integers(least_volumes, most_volumes))))
    names = [v.name for v in volumes]
    bare = []
    for i in range(draw(st.integers(1, most_parts))):
        states = tuple(f"s{k}" for k in range(draw(st.integers(1, 3))))
        drawn = tuple(draw(st.lists(passages(names, states), min_size=1, max_size=4)))
        slow, within = draw(st.integers(0, 2)) == 0, draw(st.sampled_from([None, None, "0.02", "0.3"]))
        reaction = None if slow or within is None else Range(Fraction(0), Fraction(within))
        bare.append(Part(f"p{i}", "drawn", states, drawn, slow=slow, reaction=reaction))
    still = Arrangement(
        "drawn",
        "bar",
        ATMOSPHERIC,
        HIGHEST,
        volumes,
        tuple(bare),
        tuple(Control(f"c{i}", ("a", "b", "c")[: draw(st.integers(1, 3))]) for i in range(draw(st.integers(0, 2)))),
        tuple(Mishap(f"m{i}") for i in range(draw(st.integers(0, 2)))),
    )
    parts = [replace(part, moves=tuple(draw(st.lists(moves(still, part), max_size=4)))) for part in still.parts]
    return replace(still, parts=tuple(parts), starts=(draw(starts(still)),))


@st.composite
def paced(draw: st.DrawFn, *, most_volumes: int = 3) -> Arrangement:
    """A network with litres and sizes throughout, and a valve that fills or empties each volume: pace counters come up.

    Some litres are alike and some far apart, so that a volume crosses no band or a few while another one is due.
    """
    network = draw(networks(least_volumes=2, most_volumes=most_volumes, most_parts=2))
    litres = st.sampled_from([Range(Fraction(low), Fraction(high)) for low, high in ((1, 1), (2, 3), (4, 4), (40, 50))])
    volumes = tuple(replace(volume, litres=draw(litres)) for volume in network.volumes)
    parts = tuple(
        replace(part, passages=tuple(replace(p, size=draw(wide_enough())) for p in part.passages[:1]))
        for part in network.parts
    )
    valve = draw(st.sampled_from(parts))
    ways = []
    for volume in volumes:
        ends = draw(st.sampled_from([(SOURCE, volume.name), (volume.name, ATMOSPHERE)]))
        open_in = draw(
            st.one_of(st.just(frozenset(valve.states)), st.frozensets(st.sampled_from(valve.states), min_size=1))
        )
        ways.append(Passage(*ends, one_way=True, open_in=open_in, size=draw(wide_enough())))
    parts = tuple(replace(p, passages=(*p.passages, *ways)) if p is valve else p for p in parts)
    return replace(network, volumes=volumes, parts=parts)


def wide_enough() -> st.SearchStrategy[Size]:
    """A size that is not nothing, more often than not a single number."""
    loose = st.builds(Size, spans(st.sampled_from(CONDUCTANCES[1:])), spans(st.sampled_from(RATIOS)))
    return st.one_of(st.sampled_from(EXACT), st.sampled_from(EXACT), loose)


@st.composite
def moves(draw: st.DrawFn, arrangement: Arrangement, part: Part) -> Move:
    """A move of a part, rarely one back to the state it came from."""
    source = draw(st.sampled_from(part.states))
    others = [s for s in part.states if s != source] or [source]
    target = draw(st.sampled_from([*others * 6, source]))
    return Move(source, target, draw(conditions(arrangement, guard=True, depth=1)))


@st.composite
def starts(draw: st.DrawFn, arrangement: Arrangement) -> Start:
    """A start that lists some things, leaves others open, and may add a condition and ask for a settled state."""
    pressure = spans(st.sampled_from([Fraction(0), *MARKS, HIGHEST]))
    listed = draw(st.booleans())
    pressures = tuple((v.name, draw(pressure)) for v in arrangement.volumes if listed or draw(st.booleans()))
    parts = tuple(
        (p.name, draw(st.frozensets(st.sampled_from(p.states), min_size=1)))
        for p in arrangement.parts
        if listed or draw(st.booleans())
    )
    controls = tuple((c.name, frozenset({c.positions[0]})) for c in arrangement.controls if draw(st.booleans()))
    where = draw(conditions(arrangement, guard=False, depth=1)) if draw(st.booleans()) else ALWAYS_TRUE
    return Start("start", pressures, parts, controls, where, settled=draw(st.integers(0, 2)) == 0)


@st.composite
def claims(draw: st.DrawFn, arrangement: Arrangement) -> Property:
    """A property of any shape that is searched for, about the arrangement."""
    condition = conditions(arrangement, guard=False)
    return Property(
        "drawn",
        "drawn",
        "none",
        draw(st.sampled_from(strategies.SEARCHED)),
        "start",
        draw(condition),
        draw(condition),
        draw(st.one_of(st.none(), condition)),
        draw(st.sampled_from(Pace)),
        frozenset(m.name for m in arrangement.mishaps if draw(st.booleans())),
    )


@st.composite
def states(draw: st.DrawFn, layout: Layout) -> State:
    """Any state of a layout, reachable or not."""
    arrangement = layout.arrangement
    state = State(
        tuple(draw(st.integers(0, len(layout.thresholds[v.name]))) for v in arrangement.volumes),
        tuple(draw(st.sampled_from(p.states)) for p in arrangement.parts),
        tuple(draw(st.sampled_from(c.positions)) for c in arrangement.controls),
        frozenset(m.name for m in arrangement.mishaps if draw(st.booleans())),
    )
    return draw(strategies.remembering(layout, state))


@st.composite
def imbalances(draw: st.DrawFn, layout: Layout) -> Imbalance:
    """What a layout could know of states that do not balance: here it need not be true."""
    levels: dict[bool, list[tuple[str, Fraction]]] = {True: [], False: []}
    for volume, marks in layout.thresholds.items():
        if marks and draw(st.integers(0, 2)) == 0:
            levels[draw(st.booleans())].append((volume, draw(st.sampled_from(marks))))
    parts = [
        (part.name, frozenset(draw(st.sets(st.sampled_from(part.states), min_size=1))))
        for part in layout.arrangement.parts
        if draw(st.integers(0, 2)) == 0
    ]
    still = draw(st.sampled_from((Stillness.SETTLED, Stillness.AT_REST)))
    return Imbalance(still, tuple(levels[True]), tuple(levels[False]), tuple(parts))
