"""The figures of the piping drawing: which symbol a part has, and where pipes meet it.

A part is known by what it does, not by the name of its kind: one way and no other is a check valve, two inlets between
which only the lower pressure decides are a double check, and so on; what is nothing of that is a valve with positions.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from textwrap import wrap

from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Part, Passage, Volume
from bandproof.model.conditions import (
    AtLeast,
    Below,
    Happened,
    InPosition,
    InState,
    Lower,
    NotHappened,
    NotInPosition,
    NotInState,
    NotLower,
)
from bandproof.model.walker import leaves
from bandproof.views import plan_symbols as sign
from bandproof.views.part_ports import Port, sensed
from bandproof.views.phrases import litres, plain
from bandproof.views.plan_layout import Slot

#: Letters in a row of a name, how much wider bold ones are, pixels from mark to mark.
_NAME = 10
_BOLD = 1.08
_MARK = 19.0

#: Pixels across a valve's position, its least height, its height for each pipe, and what stands above and below it.
_POSITION = 34.0
_LEAST = 32.0
_PER_PIPE = 11.0
_ABOVE = 16.0
_BELOW = 12.0
_PER_PILOT = 5.0

Draw = Callable[[float, float], Iterable[str]]


@dataclass(frozen=True, slots=True)
class Figure:
    """A symbol with its words: the room it takes, where the pipes of volumes meet it, how it is drawn with its corner at a point."""

    key: str
    width: float
    height: float
    ends: tuple[Slot, ...]
    draw: Draw


@dataclass(frozen=True, slots=True)
class _Body:
    """A symbol without its words; `above` is the height of what stands on its upper edge."""

    width: float
    height: float
    ends: tuple[Slot, ...]
    draw: Draw
    above: float = 0.0


def part_figure(part: Part, ports: Sequence[Port], marks: Sequence[int], chambers: set[str]) -> Figure:
    """The figure of a part. `ports` as they are drawn, `marks` the numbers of its mishaps."""
    return _finished(part, marks, _body(part, ports, chambers))


def tank_key(name: str) -> str:
    """The key of a tank's figure; no part can be called so."""
    return f"tank {name}"


def tank_figure(volume: Volume, marks: Sequence[int]) -> Figure:
    """The figure of a tank: what feeds it meets its left edge, what it feeds its right one."""
    rows = [*wrap(plain(volume.name), _NAME, break_long_words=False), *filter(None, [litres(volume)])]
    wide, tall = max(map(len, rows)) * sign.ACROSS + 22, max(len(rows) * sign.ROW + 12, 36.0)

    def drawn(x: float, y: float) -> Iterator[str]:
        yield sign.box(x, y, wide, tall, round_ends=True, pen=2)
        yield from sign.row_of(x + wide / 2, y + (tall - len(rows) * sign.ROW) / 2 + sign.ROW - 3, rows)
        yield from _marked(x + wide / 2, y + tall + 11, marks)

    ends = (Slot(volume.name, True, tall / 2), Slot(volume.name, False, tall / 2))
    return Figure(tank_key(volume.name), wide, tall + (20 if marks else 0), ends, drawn)


def _body(part: Part, ports: Sequence[Port], chambers: set[str]) -> _Body:
    inner = [p for p in part.passages if not {ATMOSPHERE, SOURCE} & {p.upstream, p.downstream}]
    only = part.passages[0] if len(part.passages) == 1 else None
    leaking = leak_of(part)
    if leaking:
        return _Body(30, 12, (Slot(leaking, True, 6),), lambda x, y: sign.leak(x, y + 6))
    if not part.passages and len(ports) == 1 and ports[0].volume in chambers:
        return _Body(44, 24, (Slot(ports[0].volume, True, 12),), lambda x, y: sign.cylinder(x, y, 36, 24))
    if (
        only
        and only.upstream == SOURCE
        and only.downstream != ATMOSPHERE
        and {p.volume for p in ports} <= {SOURCE, only.downstream}
    ):
        return _Body(36, 36, (Slot(only.downstream, False, 18),), lambda x, y: sign.compressor(x + 18, y + 18, 18))
    if only and inner and only.one_way and _by_mishap(part):
        return _Body(34, 22, _through(only, 11), lambda x, y: sign.check(x, y + 11, 34))
    if _is_shuttle(part):
        first, second = part.passages
        ends = (Slot(first.upstream, True, 7), Slot(second.upstream, True, 47), Slot(first.downstream, False, 27))
        return _Body(34, 54, ends, lambda x, y: sign.shuttle(x, y, 34, 54))
    at_first = [p for p in inner if not p.one_way and part.states[0] in p.open_in]
    if at_first and len({(p.upstream, p.downstream) for p in inner}) == 1 and _by_mishap(part):
        return _Body(50, 18, _through(inner[0], 4), lambda x, y: sign.hose(x, y + 4, 50))
    return _Valve(part, ports).body()


def _through(passage: Passage, down: float) -> tuple[Slot, Slot]:
    return Slot(passage.upstream, True, down), Slot(passage.downstream, False, down)


def _is_shuttle(part: Part) -> bool:
    """Two ways into one outlet, and only which inlet is lower decides between them."""
    ends = {(p.upstream, p.downstream) for p in part.passages}
    asked = [*leaves(*(m.when for m in part.moves))]
    return (
        len(part.passages) == len(ends) == 2
        and len({outlet for _, outlet in ends}) == 1
        and not {ATMOSPHERE, SOURCE} & {end for pair in ends for end in pair}
        and bool(asked)
        and all(isinstance(leaf, Lower | NotLower) for leaf in asked)
    )


def leak_of(part: Part) -> str:
    """The volume that a part only ever lets out to the open air, by mishaps; "" for any other part."""
    inner = {end for p in part.passages for end in (p.upstream, p.downstream)} - {ATMOSPHERE}
    vents = all(ATMOSPHERE in (p.upstream, p.downstream) for p in part.passages)
    shut = not any(part.states[0] in p.open_in for p in part.passages)
    return next(iter(inner)) if len(inner) == 1 and vents and shut and _by_mishap(part) else ""


def marks_of(part: Part, numbers: dict[str, int]) -> list[int]:
    """The numbers of the mishaps a part minds."""
    minded = {leaf.mishap for leaf in leaves(*(m.when for m in part.moves)) if isinstance(leaf, Happened | NotHappened)}
    return sorted(numbers[name] for name in minded)


def _by_mishap(part: Part) -> bool:
    """Nothing but mishaps moves the part."""
    return all(isinstance(leaf, Happened | NotHappened) for leaf in leaves(*(m.when for m in part.moves)))


def _finished(part: Part, marks: Sequence[int], body: _Body) -> Figure:
    """The figure of a part: its body, its name above, below it the marks of mishaps and the parts it follows."""
    rows = wrap(plain(part.name), _NAME, break_long_words=False)
    followed = {leaf.part for m in part.moves for leaf in leaves(m.when) if isinstance(leaf, InState | NotInState)}
    foot = [row for name in sorted(followed - {part.name}) for row in wrap(f"follows {plain(name)}", _NAME + 3)]
    names = max(map(len, [*rows, *foot])) * sign.ACROSS * _BOLD
    room = max(body.width, names, _MARK * len(marks))
    left, top = (room - body.width) / 2, len(rows) * sign.ROW + 4 + body.above
    ends = tuple(replace(end, down=end.down + top) for end in body.ends)
    under = top + body.height

    def drawn(x: float, y: float) -> Iterator[str]:
        for end in ends:
            a, b = (x, x + left) if end.left else (x + left + body.width, x + room)
            if a < b:
                yield sign.line((a, y + end.down), (b, y + end.down), dashed=end.dashed)
        yield from body.draw(x + left, y + top)
        yield from sign.row_of(x + room / 2, y + sign.ROW - 3, rows, bold=True)
        yield from _marked(x + room / 2, y + under + 12, marks)
        yield from sign.row_of(x + room / 2, y + under + (22 if marks else 0) + sign.ROW, foot)

    return Figure(part.name, room, under + (22 if marks else 2) + sign.ROW * len(foot), ends, drawn)


def _marked(x: float, y: float, marks: Sequence[int]) -> Iterator[str]:
    """The marks of mishaps in a row about a point."""
    for number, one in enumerate(marks):
        yield sign.mark(x + _MARK * (number - (len(marks) - 1) / 2), y, one)


class _Valve:
    """Positions one below the other, the pipes at the first; hands and springs above, pressures below."""

    def __init__(self, part: Part, ports: Sequence[Port]) -> None:
        self._part = part
        pipes = [p for p in ports if p.way != "none" and p.volume not in (ATMOSPHERE, SOURCE)]
        self._left = [p.volume for p in pipes if p.side == "n"]
        self._right = [p.volume for p in pipes if p.side != "n"]
        self._pilots = list(dict.fromkeys(v for move in part.moves for v in sensed(move.when)))
        ends = {end for p in part.passages for end in (p.upstream, p.downstream)}
        if SOURCE in ends:
            self._left.insert(0, SOURCE)
        if ATMOSPHERE in ends:
            (self._left if self._right else self._right).append(ATMOSPHERE)
        self._only_sensed = {p.volume: p.side == "n" for p in ports if p.way == "none"}
        most = max(len(self._left), len(self._right), 1)
        self._tall = max(_LEAST, _PER_PIPE * (most + 1))
        self._positions = positions(part)
        asked = [leaf for move in part.moves for leaf in leaves(move.when)]
        self._controls = list(dict.fromkeys(a.control for a in asked if isinstance(a, InPosition | NotInPosition)))
        self._sprung = any(isinstance(a, Below | AtLeast) for a in asked)

    def body(self) -> _Body:
        hands = [row for name in self._controls for row in wrap(plain(name), _NAME + 2)]
        above = (_ABOVE if self._controls or self._sprung else 0.0) + sign.ROW * len(hands)
        stack = self._tall * len(self._positions)
        inset = sign.STUB if ATMOSPHERE in (*self._left, *self._right) else 8.0
        wide = _POSITION + 2 * inset
        pipes = [
            Slot(volume, left, self._down(some, n))
            for left, some in ((True, self._left), (False, self._right))
            for n, volume in enumerate(some)
            if volume not in {ATMOSPHERE, SOURCE}
        ]
        pilots = [
            Slot(volume, self._only_sensed[volume], stack + _BELOW + _PER_PILOT * n, dashed=True)
            for n, volume in enumerate(self._pilots)
            if volume in self._only_sensed
        ]

        def drawn(x: float, y: float) -> Iterator[str]:
            for end in pipes:
                a, b = (x, x + inset) if end.left else (x + inset + _POSITION, x + wide)
                yield sign.line((a, y + end.down), (b, y + end.down))
            yield from self._stack(x + inset, y)
            yield from self._hands(x + inset, y, hands)
            yield from self._pressures(x + inset, y + stack, inset)

        tall = stack + (_BELOW + _PER_PILOT * len(self._pilots) if self._pilots else 0)
        return _Body(wide, tall, (*pipes, *pilots), drawn, above)

    def _down(self, some: Sequence[str], n: int) -> float:
        return self._tall * (n + 1) / (len(some) + 1)

    def _place(self, end: str) -> tuple[float, float]:
        """Where an end lies at the edge of a position, from its left upper corner."""
        if end in self._left:
            return 0.0, self._down(self._left, self._left.index(end))
        return _POSITION, self._down(self._right, self._right.index(end))

    def _stack(self, x: float, y: float) -> Iterator[str]:
        for number, (_, ways) in enumerate(self._positions):
            top = y + self._tall * number
            yield sign.box(x, top, _POSITION, self._tall)
            if len(self._positions) > 1:
                yield from sign.row_of(x + _POSITION + 8, top + 11, [letter(number)], anchor="start")
            yield from self._position(x, top, ways)
        for outside in {ATMOSPHERE, SOURCE} & {*self._left, *self._right}:
            dx, dy = self._place(outside)
            if outside == ATMOSPHERE:
                yield from sign.vent(x + dx, y + dy, left=dx == 0)
            else:
                yield sign.source(x + dx, y + dy)

    def _position(self, x: float, y: float, ways: Sequence[Passage]) -> Iterator[str]:
        joined = {end for p in ways for end in (p.upstream, p.downstream)}
        for end in (*self._left, *self._right):
            if end not in joined:
                dx, dy = self._place(end)
                yield from sign.closed(x + dx, y + dy, left=dx == 0)
        for passage in ways:
            ends = (passage.upstream, passage.downstream)
            (x1, y1), (x2, y2) = map(self._place, ends if passage.upstream != ATMOSPHERE else ends[::-1])
            one_way = passage.one_way or ATMOSPHERE in ends
            narrow = throttled(self._part, passage)
            yield from sign.way_through(sign.Way((x + x1, y + y1), (x + x2, y + y2), one_way, narrow))

    def _hands(self, x: float, y: float, hands: Sequence[str]) -> Iterator[str]:
        places = len(self._controls) + self._sprung
        apart = _POSITION * 0.6 if places > 1 else 0.0
        first = x + (_POSITION - apart * (places - 1)) / 2
        for n in range(len(self._controls)):
            yield from sign.knob(first + apart * n, y)
        if self._sprung:
            yield sign.spring(first + apart * (places - 1), y)
        if hands:
            yield from sign.row_of(x + _POSITION / 2, y - 18 - sign.ROW * (len(hands) - 1), hands)

    def _pressures(self, x: float, foot: float, inset: float) -> Iterator[str]:
        """The triangles of what the part senses, and the dashed ways to them."""
        count = len(self._pilots)
        for n, volume in enumerate(self._pilots):
            at, level = x + _POSITION * (n + 1) / (count + 1), foot + _BELOW + _PER_PILOT * n
            yield sign.pilot(at, foot)
            if volume in self._only_sensed:
                edge = x - inset if self._only_sensed[volume] else x + _POSITION + inset
                yield sign.line((at, foot + 8), (at, level), (edge, level), dashed=True)
            elif volume in (*self._left, *self._right):
                dx, dy = self._place(volume)
                outside = x + dx + (-5 if dx == 0 else 5)
                top = foot - self._tall * len(self._positions) + dy
                yield sign.line((at, foot + 8), (at, level), (outside, level), (outside, top), dashed=True, wide=1)
                yield sign.dot_at(outside, top)


def letter(number: int) -> str:
    """The letter of a valve's position."""
    return chr(ord("a") + number)


def positions(part: Part) -> list[tuple[list[str], list[Passage]]]:
    """The states of a part taken together where the same passages are open, the first state's first."""
    found: dict[tuple[int, ...], list[str]] = {}
    for state in part.states:
        found.setdefault(tuple(n for n, p in enumerate(part.passages) if state in p.open_in), []).append(state)
    return [(states, [part.passages[n] for n in ways]) for ways, states in found.items()]


def throttled(part: Part, passage: Passage) -> bool:
    """Another passage between the same ends, open in other states, lets more air through."""
    return any(
        other.size is not None and passage.size is not None and other.size.c.high > passage.size.c.high
        for other in part.passages
        if {other.upstream, other.downstream} == {passage.upstream, passage.downstream}
        and not other.open_in & passage.open_in
    )
