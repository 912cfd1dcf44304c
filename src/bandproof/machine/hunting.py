"""Time passes: which parts could move for ever at one and the same pressures, and what is done about it.

While a part must move, nothing flows and nobody acts. So if moves stay due round a circle at one and the same
pressures, time stops, and anything could be "proven" of what would come after.

A part can take part in this only by running a circle of its own moves (`bandproof.machine.circles`) while every volume
stands still, together with parts that can do so too. The parts that can are the greatest set H of which each has a
circle that can be run when the parts in H move and no others do. *Why no others:* of the parts that move without end
each runs some circle without end, and in the end all the others stand still; so those that move without end satisfy
what H is the greatest solution of. Each move may find the moving parts in states of its own: one assignment for a whole
circle would overlook two valves that undo each other. Delayed parts never hold time up and are left out; whether they too
could move for ever at one and the same pressures is asked apart (`swinging`).

Almost always H is empty: time always passes. Where it is not, the parts of a circle all of whose guards can hold need
not move, nor need any part whose guards name a state of theirs, directly or through others: with the one to and fro,
the other's move comes due and goes again at every instant. Their moves are may-moves there. That is a predicate of the
state and costs no memory.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from bandproof.machine.circles import Circle, Surroundings, can_be_run, circles
from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import InState, NotInState
from bandproof.model.walker import leaves


@dataclass(frozen=True, slots=True)
class Hunting:
    """What can hunt: circles that can be run while no time passes, and for each part that has one the parts it excuses."""

    circles: tuple[Circle, ...] = ()
    excuses: tuple[tuple[str, frozenset[str]], ...] = ()

    @property
    def parts(self) -> frozenset[str]:
        """The parts that can hunt."""
        return frozenset(part for part, _ in self.excuses)

    def excused_by(self, part: str) -> frozenset[str]:
        """The part itself and all that watch it, directly or through others."""
        return dict(self.excuses)[part]


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage of the fixed point: what stands still, the circles that cannot be run then, and those that can."""

    around: Surroundings
    dropped: tuple[Circle, ...]
    left: tuple[Circle, ...]


def stages(arrangement: Arrangement, *, delayed: bool = False) -> Iterator[Stage]:
    """The stages, from all circles on, those of delayed parts only where asked for; the last one drops none."""
    everywhere = frozenset(volume.name for volume in arrangement.volumes)
    left = tuple(circle for part in arrangement.parts if delayed or not part.delayed for circle in circles(part))
    while True:
        around = Surroundings(arrangement, everywhere, frozenset(circle.part for circle in left))
        after = tuple(circle for circle in left if can_be_run(circle, around))
        yield Stage(around, tuple(circle for circle in left if circle not in after), after)
        if after == left:
            return
        left = after


def hunting(arrangement: Arrangement) -> Hunting:
    """The parts of an arrangement that can hunt. Nothing in it says that time always passes."""
    *_, last = stages(arrangement)
    found = last.left
    names = dict.fromkeys(circle.part for circle in found)
    return Hunting(found, tuple((name, watchers(arrangement, [name])) for name in names))


def swinging(arrangement: Arrangement) -> tuple[Circle, ...]:
    """The circles that can be run for ever at one and the same pressures, taking time or none."""
    *_, last = stages(arrangement, delayed=True)
    return last.left


def watchers(arrangement: Arrangement, parts: Iterable[str]) -> frozenset[str]:
    """The parts themselves, and every part whose guards name a state of one of them, directly or through others."""
    found = set(parts)
    named = {
        part.name: {
            leaf.part for leaf in leaves(*(m.when for m in part.moves)) if isinstance(leaf, InState | NotInState)
        }
        for part in arrangement.parts
    }
    while more := {part for part, names in named.items() if part not in found and names & found}:
        found |= more
    return frozenset(found)
