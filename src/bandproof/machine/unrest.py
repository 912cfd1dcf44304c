"""To and fro: which parts could move for ever with the hands off, and which volumes they would stir.

With the hands off and no mishap to come, let some volumes be *held* at their present pressures: the tanks, when it is
asked whether an arrangement is settled; none, when it is asked whether it is at rest. A part can then move without end
only

1. by running a circle of its own moves (`bandproof.machine.circles`) in which held volumes stand still and the others
   may have any pressure at each move, and
2. if something keeps changing what the guards of the circle read: a passage that another such part, or the part
   itself, opens and shuts in its circle, from which a volume they read can be reached over volumes that are not held,
   through any passages that can open; or the state of another such part. Parts that can go round for ever at one and
   the same pressures, taking time or none (`bandproof.machine.hunting.swinging`), need nothing of the kind.

The parts left are the greatest set of which each is so with respect to the set. *Why it is sound:* of the parts that
move without end take what is left when all others stand still for good. A pressure that no such part stirs belongs to a
network of volumes and passages that stay as they are between ends held fixed. Flow through a passage rises with the
pressure before it and falls with that behind it, so such a network runs to its one equilibrium, each pressure in the end
from one side; a guard that reads only such pressures, and parts that stand still, changes its truth finitely often. So a
part that moves without end reads something stirred.

A part does not run a circle from a state of which a move is due whatever the pressures do: a stopped engine ends the to
and fro of its governor (`bandproof.machine.circles.staying`).

At rest there is no air from without unless a source can feed. Without one, what all volumes hold together in pressure
energy, the sum of V p^2, falls with every bit of air that flows; so pressures come to stand, and parts that go on moving
stir nothing (`fed_in`).

Limits: more parts are found than can move for ever, because nothing is asked of where the pressures get to. Those that a
search then shows to fall silent are left out (`Layout.silent`).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from bandproof.machine.circles import Circle, Surroundings, can_be_run, circles, staying
from bandproof.machine.hunting import Hunting, hunting, swinging
from bandproof.model.arrangement import SOURCE, Arrangement, Control, Part, Volume, VolumeKind
from bandproof.model.conditions import AtLeast, Below, InState, Lower, NotInState, NotLower
from bandproof.model.walker import leaves


@dataclass(frozen=True, slots=True)
class Restless:
    """A part that could move for ever: its circles, and the volumes that its passages stir, all that share their air."""

    part: str
    circles: tuple[Circle, ...]
    stirs: frozenset[str]

    def reaches(self, part: Part, circle: Circle) -> frozenset[str]:
        """The states of the part from which its moves lead into the circle, whatever their guards say."""
        found = set(circle.states)
        while more := {m.source for m in part.moves if m.target in found and m.source not in found}:
            found |= more
        return frozenset(found)


@dataclass(frozen=True, slots=True)
class Motion:
    """Which parts could move for ever: while no time passes, with the tanks held, and with nothing held.

    `swinging`: those that could at one and the same pressures, the ones that take time for it too.
    """

    hunting: Hunting
    swinging: frozenset[str]
    tanks_held: tuple[Restless, ...]
    nothing_held: tuple[Restless, ...]


def motion_of(arrangement: Arrangement, silent: frozenset[str] = frozenset()) -> Motion:
    """What could move for ever in an arrangement; `silent` parts do not with the tanks held."""
    return _motion(arrangement.volumes, arrangement.parts, arrangement.controls, arrangement.highest, silent)


@lru_cache(maxsize=64)
def _motion(
    volumes: tuple[Volume, ...],
    parts: tuple[Part, ...],
    controls: tuple[Control, ...],
    highest: Fraction,
    silent: frozenset[str],
) -> Motion:
    """The same, of just what it depends on: layouts are made often that differ in thresholds or starts only."""
    arrangement = Arrangement("", "psi", Fraction(0), highest, volumes, parts, controls)
    swings = swinging(arrangement)
    return Motion(
        hunting(arrangement),
        frozenset(circle.part for circle in swings),
        unrest(arrangement, swings, tanks_held=True, silent=silent),
        unrest(arrangement, swings, tanks_held=False),
    )


def fed_in(part: Part) -> frozenset[str]:
    """The states of a part from which its moves lead to one that opens a source, whatever their guards say."""
    found = {
        s for passage in part.passages if SOURCE in (passage.upstream, passage.downstream) for s in passage.open_in
    }
    while more := {m.source for m in part.moves if m.target in found and m.source not in found}:
        found |= more
    return frozenset(found)


def held_volumes(arrangement: Arrangement, *, tanks: bool) -> frozenset[str]:
    """The volumes that are held: the tanks, or none."""
    return frozenset(v.name for v in arrangement.volumes if tanks and v.kind is VolumeKind.TANK)


def unrest(
    arrangement: Arrangement, swings: tuple[Circle, ...], *, tanks_held: bool, silent: frozenset[str] = frozenset()
) -> tuple[Restless, ...]:
    """The parts that could move for ever with the hands off. `silent` are those known not to."""
    held = held_volumes(arrangement, tanks=tanks_held)
    groups = groups_of(arrangement, held)
    left = {part.name: tuple(circles(part)) for part in arrangement.parts if part.name not in silent}
    while True:
        around = Surroundings(arrangement, held, frozenset(name for name, found in left.items() if found))
        stirs = {name: _stirred(arrangement.part(name), found, groups) for name, found in left.items() if found}
        after = {
            name: tuple(
                circle
                for circle in _staying(arrangement.part(name), found, around)
                if can_be_run(circle, around) and (_swings(circle, swings) or _driven(circle, stirs))
            )
            for name, found in left.items()
        }
        if after == left:
            return tuple(Restless(name, found, stirs[name]) for name, found in left.items() if found)
        left = after


def _staying(part: Part, found: tuple[Circle, ...], around: Surroundings) -> tuple[Circle, ...]:
    """The circles with what they need for the part to stay in them; a slow part may linger in any case."""
    return found if part.delayed else tuple(staying(part, circle, around) for circle in found)


def _swings(circle: Circle, swings: tuple[Circle, ...]) -> bool:
    return any((one.part, one.moves) == (circle.part, circle.moves) for one in swings)


def _driven(circle: Circle, stirs: dict[str, frozenset[str]]) -> bool:
    """Some guard of the circle reads a stirred volume, or the state of another part that could move for ever."""
    stirred = frozenset[str]().union(*stirs.values())
    return _reads(circle, stirred, frozenset(stirs))


def _reads(circle: Circle, stirred: frozenset[str], moving: frozenset[str]) -> bool:
    """Some guard of the circle reads one of the volumes, or the state of one of the parts that is not its own."""
    return any(
        (isinstance(leaf, Below | AtLeast) and leaf.volume in stirred)
        or (isinstance(leaf, Lower | NotLower) and bool({leaf.volume, leaf.other} & stirred))
        or (isinstance(leaf, InState | NotInState) and leaf.part != circle.part and leaf.part in moving)
        for leaf in leaves(*(move.when for move in circle.moves))
    )


def drivers_of(one: Restless, restless: tuple[Restless, ...]) -> tuple[str, ...]:
    """The parts of which one moves for ever too if `one` does, unless it swings: they stir what it reads, or it watches them."""
    return tuple(
        other.part
        for other in restless
        if any(_reads(circle, other.stirs, frozenset({other.part})) for circle in one.circles)
    )


def _stirred(part: Part, found: tuple[Circle, ...], groups: dict[str, frozenset[str]]) -> frozenset[str]:
    """The volumes that can feel a passage which the part opens and shuts in one of the circles."""
    touched = {
        end
        for circle in found
        for passage in part.passages
        if circle.states & passage.open_in and circle.states - passage.open_in
        for end in (passage.upstream, passage.downstream)
    }
    return frozenset[str]().union(*(groups[end] for end in touched if end in groups))


def groups_of(arrangement: Arrangement, held: frozenset[str]) -> dict[str, frozenset[str]]:
    """For each volume that is not held, all those it can share its air with over passages that can open."""
    group = {v.name: frozenset({v.name}) for v in arrangement.volumes if v.name not in held}
    for part in arrangement.parts:
        for passage in part.passages:
            ends = (passage.upstream, passage.downstream)
            if all(end in group for end in ends):
                joined = group[ends[0]] | group[ends[1]]
                group |= dict.fromkeys(joined, joined)
    return group
