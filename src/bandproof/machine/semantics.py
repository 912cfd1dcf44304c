"""The meaning of an arrangement: `MEANING.md` beside this file, in its order, as executable definitions.

A state gives every volume a band, every part a state, every control a position, and says which mishaps are present.
Everything here is a pure function of a layout and a state; nothing is remembered between calls and no solver is used.
The encoding in `bandproof.encoding` states the same meaning a second time and must never import this module.

Notation in the docstrings: a volume v in a band has `low(v) <= p(v) < high(v)`; the atmosphere has p = 0 exactly, a
source has p = the declared highest pressure exactly. A one-way passage u -> v carries air only from u to v.

Longer than other modules on purpose: whoever checks the meaning against its page finds all of it here, in order.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import product

from bandproof.machine.circles import Circle
from bandproof.machine.fillings import Window
from bandproof.machine.layout import Layout
from bandproof.machine.pace import Pending
from bandproof.machine.story import Count, Crossed, Event, Moved, Occurred, State, Step, StepKind, Turned
from bandproof.machine.unrest import Restless, fed_in
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Move, Part, Passage, Range, Start, VolumeKind
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
    Leaf,
    Lower,
    NotHappened,
    NotInPosition,
    NotInState,
    NotLower,
    Truth,
)
from bandproof.model.walker import Walker, leaves
from bandproof.physics.iso6358 import flow_bounds
from bandproof.properties.claim import Pace
from bandproof.properties.monitors import Stillness

# ---------------------------------------------------------------------------------------------------- pressures


class Reading:
    """One state of one layout, with the look-ups every definition below needs."""

    __slots__ = ("arrangement", "band", "layout", "part", "position", "state")

    def __init__(self, layout: Layout, state: State) -> None:
        arrangement = layout.arrangement
        self.layout = layout
        self.arrangement = arrangement
        self.state = state
        self.band = {v.name: b for v, b in zip(arrangement.volumes, state.bands, strict=True)}
        self.part = {p.name: s for p, s in zip(arrangement.parts, state.parts, strict=True)}
        self.position = {c.name: s for c, s in zip(arrangement.controls, state.controls, strict=True)}

    def low(self, node: str) -> Fraction:
        """The lowest pressure a node can have (included), pascals gauge."""
        if node == ATMOSPHERE:
            return Fraction(0)
        return self.arrangement.highest if node == SOURCE else self.layout.low(node, self.band[node])

    def high(self, node: str) -> Fraction:
        """The pressure a volume stays below, pascals gauge; the exact pressure of the atmosphere or a source."""
        if node == ATMOSPHERE:
            return Fraction(0)
        return self.arrangement.highest if node == SOURCE else self.layout.high(node, self.band[node])

    def span(self, node: str) -> Range:
        """The closed range of a node's pressures, pascals gauge: bands are closed here, which only ever widens."""
        return Range(self.low(node), self.high(node))

    def kind(self, node: str) -> VolumeKind | None:
        """Tank, chamber or line; None for the atmosphere and a source."""
        return None if node in (ATMOSPHERE, SOURCE) else self.arrangement.volume(node).kind

    def surely_above(self, u: str, v: str) -> bool:
        """p(u) > p(v) for all pressures in the two bands."""
        if v == ATMOSPHERE:
            return self.low(u) > 0
        if u == SOURCE:
            return v != SOURCE and self.high(v) < self.arrangement.highest
        return u != ATMOSPHERE and v != SOURCE and self.low(u) >= self.high(v)

    def open_passages(self) -> Iterator[Passage]:
        """Every passage open in this state."""
        for part in self.arrangement.parts:
            yield from (p for p in part.passages if self.part[part.name] in p.open_in)

    def open_ways(self) -> Iterator[tuple[str, str]]:
        """Every direction (u, v) in which air could go through an open passage."""
        for passage in self.open_passages():
            yield passage.upstream, passage.downstream
            if not passage.one_way:
                yield passage.downstream, passage.upstream


# --------------------------------------------------------------------------------------------------- conditions


class _OfState(Walker[bool]):
    """What a state leaves no doubt about, and how conditions are joined. Negations come as opposites, never as `Not`."""

    __slots__ = ("reading",)

    def __init__(self, reading: Reading) -> None:
        self.reading = reading

    def truth(self, node: Truth) -> bool:
        return node.value

    def in_state(self, node: InState) -> bool:
        return self.reading.part[node.part] in node.states

    def not_in_state(self, node: NotInState) -> bool:
        return self.reading.part[node.part] not in node.states

    def in_position(self, node: InPosition) -> bool:
        return self.reading.position[node.control] in node.positions

    def not_in_position(self, node: NotInPosition) -> bool:
        return self.reading.position[node.control] not in node.positions

    def happened(self, node: Happened) -> bool:
        return node.mishap in self.reading.state.mishaps

    def not_happened(self, node: NotHappened) -> bool:
        return node.mishap not in self.reading.state.mishaps

    def all_of(self, node: AllOf) -> bool:
        return all(map(self.walk, node.items))

    def any_of(self, node: AnyOf) -> bool:
        return any(map(self.walk, node.items))


class _Surely(_OfState):
    __slots__ = ()

    def below(self, node: Below) -> bool:
        return self.reading.high(node.volume) <= node.low

    def at_least(self, node: AtLeast) -> bool:
        return self.reading.low(node.volume) >= node.high

    def lower(self, node: Lower) -> bool:
        return self.reading.high(node.volume) <= self.reading.low(node.other)

    def not_lower(self, node: NotLower) -> bool:
        return self.reading.low(node.volume) >= self.reading.high(node.other)


class _Maybe(_OfState):
    __slots__ = ()

    def below(self, node: Below) -> bool:
        return self.reading.low(node.volume) < node.high

    def at_least(self, node: AtLeast) -> bool:
        return self.reading.high(node.volume) > node.low

    def lower(self, node: Lower) -> bool:
        return self.reading.low(node.volume) < self.reading.high(node.other)

    def not_lower(self, node: NotLower) -> bool:
        return self.reading.high(node.volume) > self.reading.low(node.other)


def surely(reading: Reading, condition: Condition) -> bool:
    """The condition holds whatever the pressures in their bands and the settings in their tolerances.

    For a guard this is *must*: `below S`, S in [lo, hi], is sure iff p < lo; `at least S` iff p >= hi. What a
    condition joins is asked for one by one: `all of` is sure when each item is, `any of` when one is.
    """
    return _Surely(reading).walk(condition)


def maybe(reading: Reading, condition: Condition) -> bool:
    """The condition holds for some pressures in the bands and some settings in their tolerances.

    For a guard this is *may*: `below S`, S in [lo, hi], may hold iff p < hi; `at least S` iff p >= lo. What a
    condition joins is asked for one by one, each with pressures and settings of its own choice.
    """
    return _Maybe(reading).walk(condition)


def may_moves(reading: Reading, part: Part) -> list[Move]:
    """The moves `part` may make now."""
    here = reading.part[part.name]
    return [m for m in part.moves if m.source == here and maybe(reading, m.when)]


def must_moves(reading: Reading, part: Part) -> list[Move]:
    """The moves of `part` that are sure to be due. One that leads to where the part is changes nothing and never is."""
    here = reading.part[part.name]
    return [m for m in part.moves if m.source == here != m.target and surely(reading, m.when)]


def must_move(reading: Reading, part: Part) -> bool:
    """Some move of `part` is sure to be due."""
    return bool(must_moves(reading, part))


# -------------------------------------------------------------------------------------------------- time passes


class _Could(_Maybe):
    """As `maybe`, where some parts may be in any state; and, with `pressures` free, volumes at any pressure."""

    __slots__ = ("free", "pressures_free")

    def __init__(self, reading: Reading, free: Collection[str], *, pressures_free: bool = False) -> None:
        super().__init__(reading)
        self.free = free
        self.pressures_free = pressures_free

    def in_state(self, node: InState) -> bool:
        return node.part in self.free or super().in_state(node)

    def not_in_state(self, node: NotInState) -> bool:
        return node.part in self.free or super().not_in_state(node)

    def below(self, node: Below) -> bool:
        return self.pressures_free or super().below(node)

    def at_least(self, node: AtLeast) -> bool:
        return self.pressures_free or super().at_least(node)

    def lower(self, node: Lower) -> bool:
        return self.pressures_free or super().lower(node)

    def not_lower(self, node: NotLower) -> bool:
        return self.pressures_free or super().not_lower(node)


def excused(reading: Reading) -> frozenset[str]:
    """The parts that need not move although a move of theirs is due, because they could hunt.

    Where each guard of a hunting part's circle may hold, whatever the states of the parts that can hunt, the part and
    all that watch it are excused: see `bandproof.machine.hunting`.
    """
    hunts = reading.layout.motion.hunting
    could = _Could(reading, hunts.parts)
    return frozenset[str]().union(
        *(hunts.excused_by(c.part) for c in hunts.circles if all(could.walk(move.when) for move in c.moves))
    )


def pending(layout: Layout, state: State) -> bool:
    """Some part must move now, so that no time passes. A delayed part never must, nor one that is excused."""
    reading = Reading(layout, state)
    late = excused(reading)
    return any(must_move(reading, p) for p in layout.arrangement.parts if not p.delayed and p.name not in late)


# ----------------------------------------------------------------------------------------------------- flow rule


def net_inflow(reading: Reading, volume: str, own: Range) -> tuple[Fraction | None, Fraction | None]:
    """Least and greatest net flow into `volume` while its pressure is in `own`, in dm3/s at the reference atmosphere.

    Taken over every pressure of its neighbours in their bands and every size in its range; None stands for no bound. An
    unsized passage has any size in (0, infinity): it makes the sum unbounded on the side its flow can have, and can be
    as small as wanted otherwise.
    """
    least: Fraction | None = Fraction(0)
    greatest: Fraction | None = Fraction(0)
    for passage in reading.open_passages():
        if volume not in (passage.upstream, passage.downstream) or passage.upstream == passage.downstream:
            continue
        inward = passage.downstream == volume
        other = reading.span(passage.upstream if inward else passage.downstream)
        if passage.size is None:
            if other.high > own.low and (inward or not passage.one_way):
                greatest = None
            if other.low < own.high and (not inward or not passage.one_way):
                least = None
            continue
        up, down = (other, own) if inward else (own, other)
        flow = flow_bounds(passage.size, up, down, atmosphere=reading.arrangement.atmosphere, one_way=passage.one_way)
        low, high = (flow.low, flow.high) if inward else (-flow.high, -flow.low)
        least = None if least is None else least + low
        greatest = None if greatest is None else greatest + high
    return least, greatest


def may_rise(layout: Layout, state: State, volume: str) -> bool:
    """`volume` may cross the threshold L above its band: the greatest net inflow at p = L is positive."""
    reading = Reading(layout, state)
    if reading.band[volume] == len(layout.thresholds[volume]):
        return False
    mark = reading.high(volume)
    _, greatest = net_inflow(reading, volume, Range(mark, mark))
    return greatest is None or greatest > 0


def may_fall(layout: Layout, state: State, volume: str) -> bool:
    """`volume` may cross the threshold L below its band: the least net inflow at p = L is negative."""
    reading = Reading(layout, state)
    if reading.band[volume] == 0:
        return False
    mark = reading.low(volume)
    least, _ = net_inflow(reading, volume, Range(mark, mark))
    return least is None or least < 0


# --------------------------------------------------------------------------------------------- the air in lines


def among_lines(reading: Reading, tank: str) -> bool:
    """No open passages and lines join `tank` to a source, the atmosphere or another tank or chamber."""
    ways = list(reading.open_ways())
    ways += [(v, u) for u, v in ways]
    lines = {v.name for v in reading.arrangement.volumes if v.kind is VolumeKind.LINE}
    inner = _spread({tank}, [(u, v) for u, v in ways if u in lines | {tank}])
    return inner <= lines | {tank}


def in_window(layout: Layout, state: State, windows: tuple[Window, ...], volume: str, *, upward: bool) -> bool:
    """Crossing its next threshold, `volume` stays within its window: see `bandproof.machine.fillings`."""
    band = state.bands[[v.name for v in layout.arrangement.volumes].index(volume)]
    mark = layout.high(volume, band) if upward else layout.low(volume, band)
    marks = layout.thresholds[volume]
    return all(
        abs(marks[rank] - mark) <= window.width
        for window, crossed in zip(windows, state.crossed, strict=True)
        if window.tank == volume
        for rank in crossed
    )


def _crossed(layout: Layout, before: State, after: State, windows: tuple[Window, ...]) -> tuple[frozenset[int], ...]:
    """What the windows remember after a step: the thresholds crossed while their tank was, and is, among lines."""
    if not windows:
        return ()
    place = {volume.name: i for i, volume in enumerate(layout.arrangement.volumes)}
    earlier, now = Reading(layout, before), Reading(layout, after)
    memory: list[frozenset[int]] = []
    for window, crossed in zip(windows, before.crossed, strict=True):
        was, is_now = before.bands[place[window.tank]], after.bands[place[window.tank]]
        inside = among_lines(earlier, window.tank) and among_lines(now, window.tank)
        memory.append(crossed | frozenset(range(min(was, is_now), max(was, is_now))) if inside else frozenset())
    return tuple(memory)


# --------------------------------------------------------------------------------------------- settled, at rest


def settled(layout: Layout, state: State) -> bool:
    """With the tanks held at their present bands and the hands off, nothing more would change, or not without end.

    No part has a move to make that only itself, a tank or an act can end; lines and chambers can all be still; and
    those that a to and fro without end would stir may be anywhere the to and fro keeps coming back to.
    """
    reading, kinds = Reading(layout, state), frozenset({VolumeKind.LINE, VolumeKind.CHAMBER})
    return _final(reading, layout.motion.tanks_held, kinds) and not _known_not(reading, Stillness.SETTLED)


def at_rest(layout: Layout, state: State) -> bool:
    """The same with nothing held."""
    reading = Reading(layout, state)
    return _final(reading, layout.motion.nothing_held, frozenset(VolumeKind)) and not _known_not(
        reading, Stillness.AT_REST
    )


def _known_not(reading: Reading, still: Stillness) -> bool:
    """The layout knows that what flows in such a state does not balance as a whole."""
    return any(
        one.denies(still)
        and all(reading.low(volume) >= mark for volume, mark in one.at_least)
        and all(reading.high(volume) <= mark for volume, mark in one.below)
        and all(reading.part[part] in states for part, states in one.parts)
        for one in reading.layout.imbalances
    )


def to_and_fro(layout: Layout, state: State, *, tanks_held: bool) -> bool:
    """Some part could move for ever from here on, with the hands off."""
    restless = layout.motion.tanks_held if tanks_held else layout.motion.nothing_held
    return bool(_moving(Reading(layout, state), restless))


def _moving(reading: Reading, restless: tuple[Restless, ...]) -> tuple[Restless, ...]:
    """The parts that could move for ever from here on.

    From its present state a part's moves lead into one of its circles, and with controls, mishaps and the parts that
    cannot move for ever as they are, each guard of the circle can hold at some pressures.
    """
    could = _Could(reading, frozenset(r.part for r in restless), pressures_free=True)

    def runs(one: Restless, circle: Circle) -> bool:
        part = reading.arrangement.part(one.part)
        return reading.part[one.part] in one.reaches(part, circle) and all(
            map(could.walk, (*(move.when for move in circle.moves), *circle.needs))
        )

    return tuple(one for one in restless if any(runs(one, circle) for circle in one.circles))


def _final(reading: Reading, restless: tuple[Restless, ...], kinds: frozenset[VolumeKind]) -> bool:
    moving = _moving(reading, restless)
    names = frozenset(one.part for one in moving)
    stirred = frozenset[str]()
    if VolumeKind.TANK not in kinds or _fed(reading):
        stirred = stirred.union(*(one.stirs for one in moving))
    if any(_has_to_move(reading, part, names, stirred) for part in reading.arrangement.parts if part.name not in names):
        return False
    volumes = [v.name for v in reading.arrangement.volumes if v.kind in kinds]
    return _still(reading, {v for v in volumes if v not in stirred}) and all(
        _comes_back(reading, v, moving, stirred) for v in volumes if v in stirred
    )


def _fed(reading: Reading) -> bool:
    """A source feeds, or a part's moves lead from its present state to one in which it does."""
    return any(reading.part[part.name] in fed_in(part) for part in reading.arrangement.parts)


def _has_to_move(reading: Reading, part: Part, moving: frozenset[str], stirred: frozenset[str]) -> bool:
    """A move of `part` is due, and no to and fro can end that: its guard reads nothing stirred and no moving part.

    A delayed part's due move counts: it is yet to come.
    """
    return any(
        not any(_reads(leaf, moving, stirred) for leaf in leaves(move.when)) for move in must_moves(reading, part)
    )


def _reads(leaf: Leaf, moving: frozenset[str], stirred: frozenset[str]) -> bool:
    match leaf:
        case Below(volume) | AtLeast(volume):
            return volume in stirred
        case Lower(volume, other) | NotLower(volume, other):
            return volume in stirred or other in stirred
        case InState(part) | NotInState(part):
            return part in moving
        case _:
            return False


class _InToAndFro(Reading):
    """A state with parts put where a to and fro may have them, and the volumes it stirs at any pressure."""

    __slots__ = ("stirred",)

    def __init__(self, reading: Reading, states: Mapping[str, str], stirred: frozenset[str]) -> None:
        super().__init__(reading.layout, reading.state)
        self.part = {**self.part, **states}
        self.stirred = stirred

    def span(self, node: str) -> Range:
        return Range(Fraction(0), self.arrangement.highest) if node in self.stirred else super().span(node)


def _comes_back(reading: Reading, volume: str, moving: tuple[Restless, ...], stirred: frozenset[str]) -> bool:
    """A to and fro without end can have `volume` in its present band again and again.

    It stays there, or comes in from below, so some way in which the moving parts may stand while time passes does not
    let it fall, or lets it rise across the threshold below; and the other way round. Time passes only while no part must
    move, so parts that the pressure of this volume alone makes move at once do not stand so.
    """
    layout, band = reading.layout, reading.band[volume]

    def flows(at: int, own: Range) -> list[tuple[Fraction | None, Fraction | None]]:
        return [
            net_inflow(_InToAndFro(reading, states, stirred), volume, own)
            for states in _stands(reading, volume, at, moving)
        ]

    low, high = layout.low(volume, band), layout.high(volume, band)
    here = flows(band, Range(low, high))
    under = flows(band - 1, Range(low, low)) if band > 0 else []
    over = flows(band + 1, Range(high, high)) if band < len(layout.thresholds[volume]) else []
    not_falling = any(most is None or most >= 0 for _, most in here) or any(
        most is None or most > 0 for _, most in under
    )
    not_rising = any(least is None or least <= 0 for least, _ in here) or any(
        least is None or least < 0 for least, _ in over
    )
    return not_falling and not_rising


def _stands(reading: Reading, volume: str, band: int, moving: tuple[Restless, ...]) -> Iterator[dict[str, str]]:
    """How the moving parts at `volume` may stand in a to and fro while time passes and the volume is in `band`."""
    near = [
        (one.part, sorted(frozenset[str]().union(*(circle.states for circle in one.circles))))
        for one in moving
        if any(volume in (p.upstream, p.downstream) for p in reading.arrangement.part(one.part).passages)
    ]
    allowed = [
        [state for state in states if not _moves_at_once(reading, part, state, volume, band)] for part, states in near
    ]
    for states in product(*allowed):
        yield dict(zip((part for part, _ in near), states, strict=True))


class _SureOf(Walker[bool]):
    """What the band of one volume alone makes sure."""

    __slots__ = ("high", "low", "volume")

    def __init__(self, volume: str, low: Fraction, high: Fraction) -> None:
        self.volume = volume
        self.low = low
        self.high = high

    def other(self, node: Condition) -> bool:
        return node == ALWAYS_TRUE

    def below(self, node: Below) -> bool:
        return node.volume == self.volume and self.high <= node.low

    def at_least(self, node: AtLeast) -> bool:
        return node.volume == self.volume and self.low >= node.high

    def all_of(self, node: AllOf) -> bool:
        return all(map(self.walk, node.items))

    def any_of(self, node: AnyOf) -> bool:
        return any(map(self.walk, node.items))


def _moves_at_once(reading: Reading, part: str, state: str, volume: str, band: int) -> bool:
    """Whatever else is so, `part` must move from `state` while `volume` is in `band`."""
    one, layout = reading.arrangement.part(part), reading.layout
    if one.delayed or any(part in late for _, late in layout.motion.hunting.excuses):
        return False
    sure = _SureOf(volume, layout.low(volume, band), layout.high(volume, band))
    return any(move.source == state != move.target and sure.walk(move.when) for move in one.moves)


def _still(reading: Reading, still: set[str]) -> bool:
    """The volumes in `still` can all be still together; the others hold or draw air as they like.

    Volumes outside `still`, and sources, are *feeds*; volumes outside, and the atmosphere, are *drains*. Call a way
    u -> v *downhill* when p(u) > p(v) for sure. All can be still only if every downhill way that touches a still
    volume lies on a path that never rises, through still volumes, from a feed to a drain, and every still volume's net
    inflow over its band can be zero. It follows that where nothing drains a group of joined volumes, or nothing feeds
    it, none of its ways is downhill: both ends of a two-way passage are in the same band, no one-way passage has its
    upstream band above its downstream band, and a vented group that nothing feeds is in band 0 throughout.

    A tank that a line charges is a drain as the atmosphere is: while it fills, the line is still.
    """
    ways = [(u, v) for u, v in reading.open_ways() if u in still or v in still]
    gentle = [(u, v) for u, v in ways if not reading.surely_above(v, u)]
    ends = {node for way in ways for node in way} - still
    fed = _spread(ends - {ATMOSPHERE}, gentle)
    drained = _spread(ends - {SOURCE}, [(v, u) for u, v in gentle])
    if any(reading.surely_above(u, v) and not (u in fed and v in drained) for u, v in ways):
        return False
    return all(_can_balance(reading, volume) for volume in still)


def _can_balance(reading: Reading, volume: str) -> bool:
    least, greatest = net_inflow(reading, volume, reading.span(volume))
    return (least is None or least <= 0) and (greatest is None or greatest >= 0)


def _spread(seeds: set[str], ways: list[tuple[str, str]]) -> set[str]:
    """The nodes reached from `seeds` along `ways`."""
    # Written out, so that the meaning can be read, and checked by hand, without leaving this file.
    reached = set(seeds)
    frontier = list(seeds)
    while frontier:
        here = frontier.pop()
        for u, v in ways:
            if u == here and v not in reached:
                reached.add(v)
                frontier.append(v)
    return reached


# ---------------------------------------------------------------------------------------------------------- pace


def due(layout: Layout, state: State, volume: str) -> bool | None:
    """Whether `volume` is due to cross the threshold above its band (True), the one below (False), or none (None).

    Due upward: it may rise, and its net inflow is positive over its whole band, for all pressures of its neighbours in
    their bands and all sizes; due downward alike. Nothing can then keep it from crossing but a change elsewhere.
    """
    reading = Reading(layout, state)
    least, greatest = net_inflow(reading, volume, reading.span(volume))
    if least is not None and least > 0 and may_rise(layout, state, volume):
        return True
    if greatest is not None and greatest < 0 and may_fall(layout, state, volume):
        return False
    return None


def reacting(layout: Layout, state: State, part: str) -> Move | None:
    """The one move of a part with a reaction time that is due and not excused; None where none is, or several."""
    reading = Reading(layout, state)
    found = set() if part in excused(reading) else set(must_moves(reading, layout.arrangement.part(part)))
    return found.pop() if len(found) == 1 else None


def awaited(layout: Layout, state: State, pending: Pending) -> bool | Move | None:
    """What a volume or a part with a reaction time is due to do: its direction, or its move; None if nothing."""
    return due(layout, state, pending) if isinstance(pending, str) else reacting(layout, state, pending.part)


def in_pace(layout: Layout, state: State, volume: str, *, upward: bool) -> bool:
    """No watch is in the way of `volume` crossing a threshold now.

    A watch (u, v, k) says: while u is due in one direction and stays in its band, v crosses at most k whole bands, those
    upward and those downward taken together. So v, having crossed k, may only go back over the threshold it crossed last.
    Why that is so: u takes at most sigma for what is due, wherever in its band it began. Two crossings of v one after
    the other in the same direction are a whole band apart, which takes v at least tau; such stretches of time do not
    overlap, so there are at most k = floor(sigma / tau) of them. The first crossing since u became due takes no time
    that is known of, nor does a crossing against the last one: that is the same threshold again, about which v may
    tremble as fast as it likes. It follows that v crosses at most 1 + k different thresholds.

    The same where u is a part with a reaction time, and due is that one move of it, and no other, is: sigma is then the time
    within which that move is made unless it ceases to be due.

    The memory is kept only while u is due (see `remember`), so whether it is need not be asked here.
    """
    return not any(
        watch.mover == volume and counts.last is upward and counts.count >= watch.allowance
        for watch, counts in zip(layout.timing_constraints, state.counts, strict=True)
    )


def remember(layout: Layout, before: State, after: State, windows: tuple[Window, ...] = ()) -> State:
    """`after`, to which one step leads from `before`, with what its pace counters and the windows then remember.

    While u stays due in one direction and in its band (a part: by one and the same move), a crossing of v in the direction
    of its last one counts, and every crossing becomes the last. Otherwise nothing is remembered.
    """
    pending = dict.fromkeys(watch.pending for watch in layout.timing_constraints)
    waiting = {one: _waits(layout, before, after, one) for one in pending}
    place = {volume.name: i for i, volume in enumerate(layout.arrangement.volumes)}
    memory: list[Count] = []
    for watch, counts in zip(layout.timing_constraints, before.counts, strict=True):
        way = after.bands[place[watch.mover]] - before.bands[place[watch.mover]]
        if not waiting[watch.pending]:
            memory.append(Count())
        elif way == 0:
            memory.append(counts)
        else:
            memory.append(Count(counts.count + (counts.last is (way > 0)), way > 0))
    return replace(after, counts=tuple(memory), crossed=_crossed(layout, before, after, windows))


def _waits(layout: Layout, before: State, after: State, pending: Pending) -> bool:
    """What was due before a step is the very thing that is due after it."""
    if isinstance(pending, str):
        place = [volume.name for volume in layout.arrangement.volumes].index(pending)
        if before.bands[place] != after.bands[place]:
            return False
    was = awaited(layout, before, pending)
    return was is not None and was == awaited(layout, after, pending)


def with_memory(layout: Layout, states: Sequence[State], windows: tuple[Window, ...]) -> list[State]:
    """The states of a run from its start on, with what pace counters and windows remember in each."""
    nothing = tuple(frozenset[int]() for _ in windows)
    run = [replace(states[0], counts=layout.no_counts(), crossed=nothing)]
    for state in states[1:]:
        run.append(remember(layout, run[-1], state, windows))
    return run


# --------------------------------------------------------------------------------------------------------- steps


def driver_may_act(layout: Layout, state: State, pace: Pace) -> bool:
    """The driver may change a control in this state (nothing being pending is checked apart)."""
    return pace is Pace.ANY_TIME or (pace is Pace.AFTER_SETTLING and settled(layout, state))


def successors(
    layout: Layout, state: State, pace: Pace, mishaps: frozenset[str], windows: tuple[Window, ...] = ()
) -> Iterator[tuple[Step, State]]:
    """Every step from `state`, with the state it leads to. `mishaps` are those that may occur in this run.

    Exactly one of: *react*, while some part must move: a non-empty set of parts make may-moves, pressures stand
    still. *flow*: any set of volumes each cross one threshold where flow rule and pace allow, any set of parts make
    may-moves. *act*: the driver changes one control, or one mishap occurs. A step changes something.
    """
    reading = Reading(layout, state)
    arrangement = layout.arrangement
    part_choices: list[list[tuple[str, Event | None]]] = [
        [(reading.part[p.name], None)]
        + [(m.target, Moved(p.name, m.source, m.target)) for m in may_moves(reading, p) if m.source != m.target]
        for p in arrangement.parts
    ]
    busy = pending(layout, state)
    band_choices: list[list[tuple[int, Event | None]]] = [
        [(band, None)] if busy else _crossings(layout, state, windows, volume.name, band)
        for volume, band in zip(arrangement.volumes, state.bands, strict=True)
    ]
    kind = StepKind.REACT if busy else StepKind.FLOW
    for bands in product(*band_choices):
        for parts in product(*part_choices):
            events = tuple(event for _, event in (*bands, *parts) if event is not None)
            if events:
                after = replace(state, bands=tuple(b for b, _ in bands), parts=tuple(p for p, _ in parts))
                yield Step(kind, events), remember(layout, state, after, windows)
    if not busy:
        yield from acts(layout, state, pace, mishaps, windows)


def may_cross(layout: Layout, state: State, windows: tuple[Window, ...], volume: str, *, upward: bool) -> bool:
    """Flow rule, pace and windows let `volume` cross the threshold above its band, or the one below."""
    return (
        (may_rise if upward else may_fall)(layout, state, volume)
        and in_pace(layout, state, volume, upward=upward)
        and in_window(layout, state, windows, volume, upward=upward)
    )


def _crossings(
    layout: Layout, state: State, windows: tuple[Window, ...], volume: str, band: int
) -> list[tuple[int, Event | None]]:
    choices: list[tuple[int, Event | None]] = [(band, None)]
    if may_cross(layout, state, windows, volume, upward=True):
        choices.append((band + 1, Crossed(volume, layout.high(volume, band), upward=True)))
    if may_cross(layout, state, windows, volume, upward=False):
        choices.append((band - 1, Crossed(volume, layout.low(volume, band), upward=False)))
    return choices


def acts(
    layout: Layout, state: State, pace: Pace, mishaps: frozenset[str], windows: tuple[Window, ...] = ()
) -> Iterator[tuple[Step, State]]:
    """Every act, nothing being pending: the driver changes one control, or one mishap occurs.

    It changes neither bands nor parts, so volumes that are due stay due; a part may be due no longer.
    """
    arrangement = layout.arrangement
    if driver_may_act(layout, state, pace):
        for i, control in enumerate(arrangement.controls):
            for position in control.positions:
                if position == state.controls[i]:
                    continue
                turned = (*state.controls[:i], position, *state.controls[i + 1 :])
                event = Turned(control.name, state.controls[i], position)
                yield Step(StepKind.ACT, (event,)), remember(layout, state, replace(state, controls=turned), windows)
    for mishap in arrangement.mishaps:
        if mishap.name in mishaps - state.mishaps:
            after = replace(state, mishaps=state.mishaps | {mishap.name})
            yield Step(StepKind.ACT, (Occurred(mishap.name),)), remember(layout, state, after, windows)


def check_step(
    layout: Layout,
    before: State,
    after: State,
    pace: Pace,
    mishaps: frozenset[str],
    *,
    windows: tuple[Window, ...] = (),
) -> Step | str:
    """The step from `before` to `after`, or, as a sentence, why there is none. Never enumerates."""
    reading = Reading(layout, before)
    arrangement = layout.arrangement
    moved, faults = _moved(reading, after)
    crossed: list[Event] = []
    for volume, b, a in zip(arrangement.volumes, before.bands, after.bands, strict=True):
        if a == b:
            continue
        if abs(a - b) > 1:
            faults.append(f"{volume.name} crosses more than one threshold")
        elif not (may_rise if a > b else may_fall)(layout, before, volume.name):
            faults.append(f"{volume.name} cannot {'rise' if a > b else 'fall'}")
        elif not in_pace(layout, before, volume.name, upward=a > b):
            faults.append(f"{volume.name} cannot {'rise' if a > b else 'fall'} again so soon")
        elif not in_window(layout, before, windows, volume.name, upward=a > b):
            faults.append(f"{volume.name} cannot {'rise' if a > b else 'fall'} so far by the air in lines alone")
        mark = layout.high(volume.name, b) if a > b else layout.low(volume.name, b)
        crossed.append(Crossed(volume.name, mark, upward=a > b))
    acts: list[Event] = [
        Turned(c.name, b, a)
        for c, b, a in zip(arrangement.controls, before.controls, after.controls, strict=True)
        if a != b
    ]
    if acts and not driver_may_act(layout, before, pace):
        faults.append(f"the driver may not act now at the pace {pace.value!r}")
    if before.mishaps - after.mishaps:
        faults.append("a mishap is undone")
    faults += [f"mishap {m} is not allowed" for m in sorted(after.mishaps - before.mishaps - mishaps)]
    acts += [Occurred(m.name) for m in arrangement.mishaps if m.name in after.mishaps - before.mishaps]
    if not faults and _memory(remember(layout, before, after, windows)) != _memory(after):
        faults.append("the pace counters or windows do not follow from the step")
    if faults:
        return "; ".join(faults)
    busy = pending(layout, before)
    if acts:
        if busy or moved or crossed or len(acts) > 1:
            return "an act stands alone, while no part has to move"
        return Step(StepKind.ACT, tuple(acts))
    if busy and crossed:
        return "pressures stand still while a part has to move"
    if not crossed and not moved:
        return "nothing changes"
    return Step(StepKind.REACT if busy else StepKind.FLOW, (*crossed, *moved))


def _memory(state: State) -> tuple[object, ...]:
    return state.counts, state.crossed


def _moved(reading: Reading, after: State) -> tuple[list[Event], list[str]]:
    moved: list[Event] = []
    faults: list[str] = []
    for part, target in zip(reading.arrangement.parts, after.parts, strict=True):
        source = reading.part[part.name]
        if target == source:
            continue
        if target not in {m.target for m in may_moves(reading, part)}:
            faults.append(f"{part.name} cannot move from {source} to {target}")
        moved.append(Moved(part.name, source, target))
    return moved, faults


# -------------------------------------------------------------------------------------------------------- starts


def is_start(layout: Layout, state: State, start: Start) -> bool:
    """`state` belongs to the start: see `bandproof.model.arrangement.Start`."""
    reading = Reading(layout, state)
    return (
        not state.mishaps
        and state.counts == layout.no_counts()
        and not any(state.crossed)
        and all(overlaps(layout, name, reading.band[name], given) for name, given in start.pressures)
        and all(reading.part[name] in states for name, states in start.parts)
        and all(reading.position[name] in positions for name, positions in start.controls)
        and maybe(reading, start.where)
        and (not start.settled or settled(layout, state))
    )


def overlaps(layout: Layout, volume: str, band: int, given: Range) -> bool:
    """Some pressure of the band is in the given closed range."""
    low, high = layout.low(volume, band), layout.high(volume, band)
    return low <= given.high and (given.low < high or given.low == layout.arrangement.highest == high)


def start_states(layout: Layout, start: Start) -> Iterator[State]:
    """Every state of the start. The number is the product of all that it leaves open: for small ones only."""
    arrangement = layout.arrangement
    given = dict(start.pressures)
    parts = dict(start.parts)
    controls = dict(start.controls)
    bands = [
        [
            band
            for band in range(len(layout.thresholds[v.name]) + 1)
            if v.name not in given or overlaps(layout, v.name, band, given[v.name])
        ]
        for v in arrangement.volumes
    ]
    stood = [[s for s in p.states if s in parts.get(p.name, p.states)] for p in arrangement.parts]
    turned = [[s for s in c.positions if s in controls.get(c.name, c.positions)] for c in arrangement.controls]
    for b, p, c in product(product(*bands), product(*stood), product(*turned)):
        state = State(b, p, c, counts=layout.no_counts())
        if is_start(layout, state, start):
            yield state
