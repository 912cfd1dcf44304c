"""Where the things of a drawing stand that runs from left to right, and where its pipes run. Pure geometry, in pixels.

A layered drawing (Sugiyama, Tagawa and Toda 1981): things stand in columns, a pipe that passes a column takes a place
in it as a thing of its own, each column is put in the order of its neighbours, and the pipes turn in the channels
between the columns, each on an upright of its own. y grows downward.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise, permutations
from statistics import fmean, median_high, median_low

#: Pixels between things of a column, between uprights, beside a column, and the height of a pipe that passes one.
_GAP = 12.0
_APART = 8.0
_BESIDE = 5.0
_PASSING = 10.0

#: How much more a pipe that passes a column has its way than a thing in it.
_STRAIGHT = 3

#: Times that the columns are gone through, to and fro, the last time from left to right; and so many uprights at most are put in order by trying every order.
_SWEEPS = 24
_TRIED = 6

#: What pulled things that touch agree on: the mean of what they want, or what most of them want.
_Middle = Callable[[Sequence[float]], float]
_MIDDLES: tuple[_Middle, ...] = (median_low, median_high, fmean)

#: So many orders to begin with are tried, drawn from a fixed seed; what a crossing and a turn count, in pixels.
_TRIES = 80
_SEED = 1
_CROSSING = 100.0
_TURN = 40.0
_TALL = 2.0

#: What an order of uprights costs for each crossing, and for each place where two pipes would lie on one another.
_ON_ONE_ANOTHER = 12
_CLOSE = 4.0


@dataclass(frozen=True, slots=True)
class Slot:
    """Where the pipe `net` meets a thing: at its left or right edge, `down` pixels below its top. Dashed: only senses."""

    net: str
    left: bool
    down: float
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Thing:
    """What stands in a column, with the room it takes."""

    key: str
    column: int
    width: float
    height: float
    slots: tuple[Slot, ...] = ()


@dataclass(frozen=True, slots=True)
class Run:
    """A straight piece of a pipe."""

    net: str
    x1: float
    y1: float
    x2: float
    y2: float
    dashed: bool


@dataclass(frozen=True, slots=True)
class Laid:
    """The left upper corners of the things, the columns' left and right edges, the pipes, the dots where they join.

    `stops` is where a pipe leads to nothing else. `labels` says where the first piece of each pipe begins, which is where its name is written.
    """

    places: dict[str, tuple[float, float]]
    columns: tuple[tuple[float, float], ...]
    runs: tuple[Run, ...]
    dots: tuple[tuple[float, float], ...]
    stops: tuple[tuple[float, float], ...]
    labels: dict[str, tuple[float, float]]
    height: float


def lay_out(things: Sequence[Thing], widths: Mapping[str, float], *, left: float, top: float) -> Laid:
    """Lay out things whose columns are known. `widths` has the width of each pipe's name."""
    columns = _with_passing(things)
    before, after = _open_ends(columns)
    columns, tops = _best([*before, *columns, *after])
    lift = top - min(tops.values(), default=0.0)
    tops = {key: y + lift for key, y in tops.items()}
    y_of = _Heights(tops)
    edges: list[tuple[float, float]] = []
    runs: list[Run] = []
    dots: list[tuple[float, float]] = []
    stops: list[tuple[float, float]] = []
    labels: dict[str, tuple[float, float]] = {}
    x = left
    for number, column in enumerate(columns):
        wide = max((thing.width for thing in column), default=0.0)
        edges.append((x, x + wide))
        x += wide
        if number + 1 == len(columns):
            break
        nets = _channel(column, columns[number + 1], y_of)
        named = [net for net, ends in nets.items() if net not in labels and widths.get(net)]
        room = max((widths[net] for net in named), default=0.0)
        order = _ordered(nets)
        upright = {net: x + _BESIDE + room + _APART * place for place, net in enumerate(order)}
        far = x + 2 * _BESIDE + room + _APART * max(len(order) - 1, 0)
        for net in named:
            y = min(nets[net].left or nets[net].right)
            labels[net] = (x, y) if nets[net].left else (upright.get(net, x), y)
        for net, ends in nets.items():
            runs += _pieces(net, ends, x, upright.get(net), far)
            dots += [(upright[net], y) for y in _joints(ends)] if net in upright else []
            if ends.straight and not (ends.left and ends.right):
                a, b = (x, x + room) if ends.left else (far - _BESIDE, far)
                runs.append(Run(net, a, ends.heights[0], b, ends.heights[0], bool(ends.dashed)))
                stops.append((b if ends.left else a, ends.heights[0]))
        x = far
    places = {
        thing.key: (a + (b - a - thing.width) / 2, tops[thing.key])
        for column, (a, b) in zip(columns, edges, strict=True)
        for thing in column
    }
    runs += _across(columns, edges, places, y_of)
    solid = {thing.key for thing in things}
    bottom = max((tops[thing.key] + thing.height for column in columns for thing in column), default=top)
    return Laid(
        {key: place for key, place in places.items() if key in solid},
        tuple(edges[len(before) : len(edges) - len(after)]),
        tuple(runs),
        tuple(dots),
        tuple(stops),
        labels,
        bottom - top,
    )


# ------------------------------------------------------------------------------------------------- columns and heights


def _with_passing(things: Sequence[Thing]) -> list[list[Thing]]:
    """The columns, with a thing for each pipe that passes one."""
    count = max((thing.column for thing in things), default=-1) + 1
    columns: list[list[Thing]] = [[] for _ in range(count)]
    for thing in things:
        columns[thing.column].append(thing)
    spans: dict[str, list[tuple[int, bool]]] = {}
    for thing in things:
        for slot in thing.slots:
            spans.setdefault(slot.net, []).append((thing.column - 1 if slot.left else thing.column, slot.dashed))
    for net, ends in spans.items():
        channels = [channel for channel, _ in ends]
        for number in range(min(channels) + 1, max(channels) + 1):
            before = all(dashed for channel, dashed in ends if channel < number)
            after = all(dashed for channel, dashed in ends if channel >= number)
            way = tuple(Slot(net, left, _PASSING / 2, before or after) for left in (True, False))
            columns[number].append(Thing(f"{net} past {number}", number, 0.0, _PASSING, way))
    return columns


def _open_ends(columns: list[list[Thing]]) -> tuple[list[list[Thing]], list[list[Thing]]]:
    """Empty columns beside the first and the last one, where a pipe leads on from it to nothing."""
    if not columns:
        return [], []
    first = any(slot.left for thing in columns[0] for slot in thing.slots)
    last = any(not slot.left for thing in columns[-1] for slot in thing.slots)
    return [[]] * first, [[]] * last


def _best(columns: list[list[Thing]]) -> tuple[list[list[Thing]], dict[str, float]]:
    """The best of several arrangements, each grown from another order of the pipes from the top down."""
    draw = random.Random(_SEED)  # noqa: S311  (a drawing that comes out the same every time)
    nets = sorted({slot.net for column in columns for thing in column for slot in thing.slots})
    found = []
    for number in range(_TRIES):
        rank = {net: draw.random() for net in nets}
        grown = [
            sorted(column, key=lambda thing: fmean(rank[s.net] for s in thing.slots) if thing.slots else 1.0)
            for column in columns
        ]
        tops = _closed_up(grown, _heights(grown, sorting=number % 2 == 0, middle=_MIDDLES[number // 2 % 3]))
        found.append((_badness(grown, tops), number, grown, tops))
    _, _, grown, tops = min(found)
    return grown, tops


def _badness(columns: list[list[Thing]], tops: dict[str, float]) -> float:
    """What makes a drawing hard to follow: crossings, turns, pipes that climb, height."""
    y_of = _Heights(tops)
    feet = [tops[t.key] + t.height for column in columns for t in column]
    bad = _TALL * (max(feet) - min(tops.values())) if feet else 0.0
    for before, after in pairwise(columns):
        nets = _channel(before, after, y_of)
        order = _ordered(nets)
        bad += _CROSSING * _cost(order, nets) + sum(_TURN + nets[n].heights[-1] - nets[n].heights[0] for n in order)
    return bad


def _closed_up(columns: list[list[Thing]], tops: dict[str, float]) -> dict[str, float]:
    """The same with things that no pipe meets below all others of their column, and no empty stripe across the drawing."""
    for column in columns:
        foot = max((tops[t.key] + t.height + _GAP for t in column if t.slots), default=0.0)
        for thing in column:
            if not thing.slots:
                tops[thing.key] = foot
                foot += thing.height + _GAP
    taken = sorted((tops[t.key], tops[t.key] + t.height, t.key) for column in columns for t in column)
    moved: dict[str, float] = {}
    foot, spare = taken[0][0] if taken else 0.0, 0.0
    for above, below, key in taken:
        spare += max(0.0, above - foot - _GAP)
        moved[key] = above - spare
        foot = max(foot, below)
    return moved


def _heights(columns: list[list[Thing]], *, sorting: bool, middle: _Middle) -> dict[str, float]:
    """The top of every thing. When `sorting`, the lists of `columns` are put in the order of their neighbours first."""
    tops: dict[str, float] = {}
    for column in columns:
        y = 0.0
        for thing in column:
            tops[thing.key] = y
            y += thing.height + _GAP
    y_of = _Heights(tops)
    count = len(columns)
    for sweep in range(_SWEEPS):
        from_left = sweep % 2 == 1
        for number in range(count) if from_left else reversed(range(count)):
            column = columns[number]
            beside = _beside(columns, number, y_of, left=from_left)
            wanted = {thing.key: _wish(thing, beside, tops[thing.key]) for thing in column}
            if sorting and sweep < _SWEEPS // 2:
                column.sort(key=lambda thing: wanted[thing.key] + thing.height / 2)
            for thing, y in zip(column, _apart(column, wanted, middle), strict=True):
                tops[thing.key] = y
    for number in reversed(range(count)):
        beside = _beside(columns, number, y_of, left=False)
        wanted = {
            t.key: tops[t.key] if any(s.left for s in t.slots) else _wish(t, beside, tops[t.key])
            for t in columns[number]
        }
        for thing, y in zip(columns[number], _apart(columns[number], wanted, middle), strict=True):
            tops[thing.key] = y
    return tops


@dataclass(frozen=True, slots=True)
class _Heights:
    tops: dict[str, float]

    def __call__(self, thing: Thing, slot: Slot) -> float:
        return self.tops[thing.key] + slot.down


def _beside(
    columns: list[list[Thing]], number: int, y_of: _Heights, *, left: bool
) -> dict[tuple[str, bool], list[float]]:
    """Where the pipes stand that enter a column from the left or from the right, by pipe and side."""
    there = number - 1 if left else number
    if not 0 <= there < len(columns) - 1:
        return {}
    channel = _channel(columns[there], columns[there + 1], y_of)
    return {(net, left): ends.left if left else ends.right for net, ends in channel.items()}


def _wish(thing: Thing, beside: dict[tuple[str, bool], list[float]], now: float) -> float:
    """The top that would make the pipes of a thing straight, as many as can be; where it is now, if it has none."""
    tops = [y - slot.down for slot in thing.slots for y in beside.get((slot.net, slot.left), ())]
    return median_low(tops) if tops else now


def _apart(column: Sequence[Thing], wanted: Mapping[str, float], middle: _Middle) -> list[float]:
    """Tops as near to `wanted` as can be without changing the order: pools of neighbours (isotonic regression)."""
    pools: list[tuple[int, list[float]]] = []
    offset = 0.0
    offsets = []
    for thing in column:
        offsets.append(offset)
        pools.append((1, [wanted[thing.key] - offset] * (1 if thing.width else _STRAIGHT)))
        while len(pools) > 1 and middle(pools[-2][1]) >= middle(pools[-1][1]):
            count, wishes = pools.pop()
            pools[-1] = (pools[-1][0] + count, pools[-1][1] + wishes)
        offset += thing.height + _GAP
    flat = [middle(wishes) for count, wishes in pools for _ in range(count)]
    return [y + offset for y, offset in zip(flat, offsets, strict=True)]


# --------------------------------------------------------------------------------------------------------------- pipes


@dataclass(frozen=True, slots=True)
class _Ends:
    """Where a pipe enters a channel from the left and leaves it to the right; `dashed` are those that only sense."""

    left: list[float]
    right: list[float]
    dashed: set[tuple[bool, float]]

    @property
    def heights(self) -> list[float]:
        return sorted({*self.left, *self.right})

    @property
    def straight(self) -> bool:
        return len(self.heights) == 1


def _channel(before: Sequence[Thing], after: Sequence[Thing], y_of: _Heights) -> dict[str, _Ends]:
    nets: dict[str, _Ends] = {}
    for things, left in ((before, True), (after, False)):
        for thing in things:
            for slot in thing.slots:
                if slot.left is left:
                    continue
                ends = nets.setdefault(slot.net, _Ends([], [], set()))
                y = y_of(thing, slot)
                (ends.left if left else ends.right).append(y)
                if slot.dashed:
                    ends.dashed.add((left, y))
    return nets


def _ordered(nets: Mapping[str, _Ends]) -> list[str]:
    """The pipes that turn in a channel, in the order of their uprights from left to right that crosses least."""
    turning = [net for net, ends in nets.items() if not ends.straight]
    if len(turning) <= _TRIED:
        return min(map(list, permutations(turning)), key=lambda order: _cost(order, nets))
    order: list[str] = []
    for net in turning:
        places = [[*order[:at], net, *order[at:]] for at in range(len(order) + 1)]
        order = min(places, key=lambda some: _cost(some, nets))
    return order


def _cost(order: Sequence[str], nets: Mapping[str, _Ends]) -> int:
    cost = 0
    for place, net in enumerate(order):
        low, high = nets[net].heights[0] - _CLOSE, nets[net].heights[-1] + _CLOSE
        for further in order[place + 1 :]:
            cost += sum(low < y < high for y in nets[further].left)
            cost += _ON_ONE_ANOTHER * sum(
                abs(y - other) < _CLOSE for y in nets[further].left for other in nets[net].right
            )
        for nearer in order[:place]:
            cost += sum(low < y < high for y in nets[nearer].right)
    return cost


def _pieces(net: str, ends: _Ends, near: float, upright: float | None, far: float) -> Iterator[Run]:
    if upright is None:
        y = ends.heights[0]
        if ends.left and ends.right:
            yield Run(net, near, y, far, y, bool(ends.dashed))
        return
    for y in sorted(set(ends.left)):
        yield Run(net, near, y, upright, y, (True, y) in ends.dashed)
    for y in sorted(set(ends.right)):
        yield Run(net, upright, y, far, y, (False, y) in ends.dashed)
    for above, below in pairwise(ends.heights):
        yield Run(
            net, upright, above, upright, below, _only_senses(ends, above) or _only_senses(ends, below, down=True)
        )


def _only_senses(ends: _Ends, y: float, *, down: bool = False) -> bool:
    """All that an upright leads to above `y` (or below it) only senses."""
    there = [(left, h) for left, some in ((True, ends.left), (False, ends.right)) for h in some]
    beyond = [one for one in there if (one[1] >= y if down else one[1] <= y)]
    return all(one in ends.dashed for one in beyond)


def _joints(ends: _Ends) -> list[float]:
    """Where three pieces of a pipe meet on its upright."""
    heights = ends.heights
    within = heights[1:-1]
    both = [y for y in (heights[0], heights[-1]) if y in ends.left and y in ends.right]
    return [*within, *both]


def _across(
    columns: list[list[Thing]],
    edges: list[tuple[float, float]],
    places: Mapping[str, tuple[float, float]],
    y_of: _Heights,
) -> Iterable[Run]:
    """The pieces beside things narrower than their column, and those that pass one."""
    for column, (a, b) in zip(columns, edges, strict=True):
        for thing in column:
            x = places[thing.key][0]
            for slot in thing.slots:
                y = y_of(thing, slot)
                if slot.left and x > a:
                    yield Run(slot.net, a, y, x, y, slot.dashed)
                elif not slot.left and x + thing.width < b:
                    yield Run(slot.net, x + thing.width, y, b, y, slot.dashed)
