"""Hypothesis strategies: small random arrangements, states and properties. The one generator all property tests share.

Sizes are kept so that explicit enumeration stays quick: at most four volumes, three thresholds, three parts.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from hypothesis import strategies as st

from bandproof.machine.fillings import Window
from bandproof.machine.layout import Layout, lay_out
from bandproof.machine.semantics import Reading, among_lines, awaited
from bandproof.machine.story import Count, State
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
from bandproof.properties.claim import Pace, Property, Shape

MARKS = tuple(Fraction(100_000 * k) for k in (1, 3, 6))
HIGHEST = Fraction(1_000_000)

#: The shapes that a run to one state decides; where runs end is another question (`tests.differential.test_rounds`).
SEARCHED = tuple(shape for shape in Shape if shape is not Shape.ENDS_IN)


def ranges(values: st.SearchStrategy[Fraction]) -> st.SearchStrategy[Range]:
    """A closed range with both ends from `values`."""
    return st.tuples(values, values).map(lambda ends: Range(min(ends), max(ends)))


def sizes() -> st.SearchStrategy[Size]:
    """A size with conductance and critical ratio each exact or a range."""
    conductance = st.sampled_from([Fraction(1, 10), Fraction(1), Fraction(3)])
    ratio = st.sampled_from([Fraction(0), Fraction(3, 10), Fraction(1, 2)])
    return st.builds(Size, ranges(conductance), ranges(ratio))


@st.composite
def conditions(draw: st.DrawFn, arrangement: Arrangement, *, guard: bool, depth: int = 2) -> Condition:
    """A condition over the arrangement's names; tolerances and comparisons of volumes only in guards."""
    shapes = ["pressure", "pressure", "control", "mishap", "part"] + (["lower"] if guard else [])
    if depth:
        shapes += ["not", "all", "any"]
    shape = draw(st.sampled_from(shapes))
    volume = st.sampled_from([v.name for v in arrangement.volumes])
    inner = conditions(arrangement, guard=guard, depth=depth - 1)
    if shape == "control" and arrangement.controls:
        control = draw(st.sampled_from(arrangement.controls))
        return InPosition(control.name, frozenset({draw(st.sampled_from(control.positions))}))
    if shape == "mishap" and arrangement.mishaps:
        return Happened(draw(st.sampled_from(arrangement.mishaps)).name)
    if shape == "part" and arrangement.parts:
        part = draw(st.sampled_from(arrangement.parts))
        return InState(part.name, frozenset({draw(st.sampled_from(part.states))}))
    if shape == "lower":
        return Lower(draw(volume), draw(volume))
    if shape == "not":
        return Not(draw(inner))
    if shape in ("all", "any"):
        items = tuple(draw(st.lists(inner, min_size=1, max_size=2)))
        return AllOf(items) if shape == "all" else AnyOf(items)
    level = draw(ranges(st.sampled_from(MARKS)))
    if not guard:
        level = Range(level.low, level.low)
    below = draw(st.booleans())
    return (Below if below else AtLeast)(draw(volume), level.low, level.high)


@st.composite
def parts(draw: st.DrawFn, name: str, volumes: list[str]) -> Part:
    """A part without moves: some states, some passages."""
    states = tuple(f"s{i}" for i in range(draw(st.integers(1, 3))))
    passages = []
    for _ in range(draw(st.integers(1, 3))):
        upstream = draw(st.sampled_from([*volumes, *volumes, SOURCE]))
        downstream = draw(st.sampled_from([v for v in [*volumes, ATMOSPHERE] if v != upstream]))
        passages.append(
            Passage(
                upstream,
                downstream,
                draw(st.booleans()),
                frozenset(draw(st.sets(st.sampled_from(states), min_size=1))),
                draw(st.one_of(st.none(), sizes())),
            )
        )
    return Part(name, "random", states, tuple(passages), slow=draw(st.integers(0, 4)) == 0)


@st.composite
def arrangements(draw: st.DrawFn) -> Arrangement:
    """A small arrangement with one start called `start`."""
    kinds = st.sampled_from([VolumeKind.LINE, VolumeKind.LINE, VolumeKind.TANK, VolumeKind.CHAMBER])
    volumes = tuple(Volume(f"v{i}", draw(kinds)) for i in range(draw(st.integers(1, 4))))
    names = [v.name for v in volumes]
    bare = Arrangement(
        "random",
        "kPa",
        Fraction(100_000),
        HIGHEST,
        volumes,
        tuple(draw(parts(f"p{i}", names)) for i in range(draw(st.integers(1, 3)))),
        tuple(Control(f"c{i}", ("a", "b", "c")[: draw(st.integers(2, 3))]) for i in range(draw(st.integers(0, 1)))),
        tuple(Mishap(f"m{i}") for i in range(draw(st.integers(0, 1)))),
    )
    moved = []
    for part in bare.parts:
        moves = []
        if len(part.states) > 1:
            for _ in range(draw(st.integers(0, 4))):
                source = draw(st.sampled_from(part.states))
                target = draw(st.sampled_from([s for s in part.states if s != source]))
                moves.append(Move(source, target, draw(conditions(bare, guard=True, depth=1))))
        moved.append(Part(part.name, part.kind, part.states, part.passages, tuple(moves), part.slow))
    pressure = ranges(st.sampled_from([Fraction(0), *MARKS, HIGHEST]))
    start = Start(
        "start",
        tuple((name, draw(pressure)) for name in names),
        tuple((p.name, frozenset({draw(st.sampled_from(p.states))})) for p in moved),
        tuple((c.name, frozenset({c.positions[0]})) for c in bare.controls),
        settled=draw(st.integers(0, 5)) == 0,
    )
    return Arrangement(
        bare.name,
        bare.unit,
        bare.atmosphere,
        bare.highest,
        volumes,
        tuple(moved),
        bare.controls,
        bare.mishaps,
        starts=(start,),
    )


@st.composite
def properties(draw: st.DrawFn, arrangement: Arrangement) -> Property:
    """A property of any shape that is searched for, about the arrangement."""
    condition = conditions(arrangement, guard=False)
    return Property(
        "random",
        "random",
        "none",
        draw(st.sampled_from(SEARCHED)),
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
    return draw(remembering(layout, state))


@st.composite
def remembering(draw: st.DrawFn, layout: Layout, state: State) -> State:
    """The state with any memory of the pace counters whose pending volume is due; the others have none."""
    found: list[Count] = []
    for watch in layout.timing_constraints:
        counts = st.builds(Count, st.integers(0, watch.allowance), st.sampled_from([None, True, False]))
        found.append(draw(counts) if awaited(layout, state, watch.pending) is not None else Count())
    return replace(state, counts=tuple(found))


@st.composite
def windowed(draw: st.DrawFn, layout: Layout, state: State, windows: tuple[Window, ...]) -> State:
    """The state with any memory of the windows whose tank is among lines: thresholds next to each other; the others have none."""
    crossed = []
    reading = Reading(layout, state)
    for window in windows:
        count = len(layout.thresholds[window.tank])
        low = draw(st.integers(0, count))
        ranks = frozenset(range(low, draw(st.integers(low, count))))
        crossed.append(ranks if among_lines(reading, window.tank) else frozenset())
    return replace(state, crossed=tuple(crossed))


def layout_for(arrangement: Arrangement, claim: Property | None = None) -> Layout:
    """The layout on which a claim is decided."""
    claims: tuple[Condition, ...] = ()
    if claim is not None:
        claims = (claim.when, claim.then, claim.until or Truth(value=True))
    return lay_out(arrangement, claims)
