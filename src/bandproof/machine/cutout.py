"""A piece cut out of an arrangement: all that bears on whether one part moves for ever with the hands off.

The question (`bandproof.encoding.silence`) is about an endless tail of a run in which nobody acts, the tanks stay in their
bands, and of the parts only those move that could move for ever; all others stand still. The piece keeps

1. the part, and every group of joined lines and chambers that its passages touch or that a kept guard reads;
2. every part with a passage at a kept group, and every part whose state a kept guard names;
3. the tanks that a kept passage ends at or a kept guard reads, and the controls and mishaps that kept guards name.

Guards are kept of the parts that could move, and no others: a part that stands still keeps its passages and loses its
moves. It is closed: what a kept line or chamber does in a step hangs on the passages at it and on the pressures at
their other ends; what a kept part may do hangs on its guards; all of these are kept.

*Why every tail of the whole is a tail of the piece.* Leave out of each state what is not kept. A step of the whole in which
something kept changes is then a step of the piece, for it asks less: a part is due in the piece only if it is due, and
does not stand still, in the whole, so the piece never holds time up where the whole lets it pass. (Where the whole holds time up
because of a part that was left out, parts move one after another; the piece lets them do that too, in flow
steps in which nothing flows.) Parts that the whole excuses from moving in some state are slow in the piece, for the
piece alone may not show that they can hunt. Volumes have no litres in the piece, so no pace counter and no window bounds
what they do. Thresholds are those of kept guards: fewer thresholds are wider bands, and every trajectory is followed in them too.

Limits: more runs than the whole has. A part that is not silent in its piece may be silent.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from bandproof.machine.layout import Layout, lay_out
from bandproof.machine.unrest import Restless, groups_of, held_volumes
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement, Part, Start
from bandproof.model.conditions import (
    AtLeast,
    Below,
    Happened,
    InPosition,
    InState,
    Leaf,
    Lower,
    NotHappened,
    NotInPosition,
    NotInState,
    NotLower,
)
from bandproof.model.walker import leaves


@dataclass(frozen=True, slots=True)
class CutOut:
    """The piece: its layout, the part asked about, and the kept parts that could move, as they could in the whole.

    `swings`: the parts that can move for ever at one pressure in the whole.
    """

    layout: Layout
    part: str
    restless: tuple[Restless, ...]
    swings: frozenset[str]


def cut_out(layout: Layout, part: str) -> CutOut:
    """The piece of a layout's arrangement that bears on whether `part` moves for ever with the tanks held."""
    arrangement = layout.arrangement
    piece = _Piece(arrangement, frozenset(one.part for one in layout.motion.tanks_held))
    piece.take_part(part)
    late = frozenset[str]().union(*(parts for _, parts in layout.motion.hunting.excuses))
    restless = tuple(one for one in layout.motion.tanks_held if one.part in piece.parts)
    return CutOut(lay_out(piece.arrangement(late)), part, restless, layout.motion.swinging)


class _Piece:
    """What is kept, as it grows."""

    def __init__(self, whole: Arrangement, moving: frozenset[str]) -> None:
        self._whole = whole
        self._groups = groups_of(whole, held_volumes(whole, tanks=True))
        self.moving = moving
        self.parts: set[str] = set()
        self.stirred: set[str] = set()
        self._others: set[str] = set()

    def take_part(self, name: str) -> None:
        """Keep a part, and what bears on it."""
        if name in self.parts:
            return
        self.parts.add(name)
        if name not in self.moving:
            return
        part = self._whole.part(name)
        for leaf in leaves(*(move.when for move in part.moves)):
            self._take_read(leaf)
        for passage in part.passages:
            for end in (passage.upstream, passage.downstream):
                self._take_group(end)

    def _take_read(self, leaf: Leaf) -> None:
        match leaf:
            case Below(volume) | AtLeast(volume):
                self._take_volume(volume)
            case Lower(volume, other) | NotLower(volume, other):
                self._take_volume(volume)
                self._take_volume(other)
            case InState(part) | NotInState(part):
                self.take_part(part)
            case InPosition(name) | NotInPosition(name) | Happened(name) | NotHappened(name):
                self._others.add(name)
            case _:
                pass

    def _take_volume(self, name: str) -> None:
        self._others.add(name)
        self._take_group(name)

    def _take_group(self, name: str) -> None:
        """Keep the lines and chambers that share their air with `name`, and the parts with passages at them."""
        if name not in self._groups or name in self.stirred:
            return
        self.stirred |= self._groups[name]
        for part in self._whole.parts:
            if any({p.upstream, p.downstream} & self.stirred for p in part.passages):
                self.take_part(part.name)

    def arrangement(self, late: frozenset[str]) -> Arrangement:
        """The kept things as an arrangement with one start, that leaves everything open; parts in `late` are slow."""
        whole = self._whole
        parts = tuple(self._cut(part, late) for part in whole.parts if part.name in self.parts)
        ends = {end for part in parts for passage in part.passages for end in (passage.upstream, passage.downstream)}
        names = (ends - {ATMOSPHERE, SOURCE}) | self.stirred | self._others
        return replace(
            whole,
            volumes=tuple(replace(v, litres=None) for v in whole.volumes if v.name in names),
            parts=parts,
            controls=tuple(control for control in whole.controls if control.name in names),
            mishaps=tuple(mishap for mishap in whole.mishaps if mishap.name in names),
            bands=(),
            starts=(Start("anywhere"),),
            roles={},
        )

    def _cut(self, part: Part, late: frozenset[str]) -> Part:
        """The part with its passages at kept lines and chambers only, and without moves if it stands still."""
        passages = tuple(p for p in part.passages if {p.upstream, p.downstream} & self.stirred)
        moves = part.moves if part.name in self.moving else ()
        return replace(part, passages=passages, moves=moves, slow=part.delayed or part.name in late, reaction=None)
