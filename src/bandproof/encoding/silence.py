"""Silence: whether a part that could move for ever, so far as `bandproof.machine.unrest` sees, falls silent all the same.

Asked with the hands off and the tanks held: in an endless run some state recurs, and all that happens again and again
happens between some two of its visits. So a part that moves without end moves in a loop in which

1. no control, no mishap and no band of a tank changes, and no part moves but those that could move for ever;
2. the part moves, and of each part that moves one that stirs what it reads, or that it watches, or it swings
   (`bandproof.machine.unrest`, for the parts that move in the loop);
3. whenever a line or chamber crosses upward a threshold L at which a guard of the part reads it, air of at least L comes to it
   or to what it shares its air with: some passage there is open, at some time in the loop, from a tank or source that
   perhaps stands at or above L. Downward alike, to a tank or the atmosphere perhaps below L.

*Why 3:* let S be the sum of V max(0, p - L) over a group of lines and chambers that share their air. Flow inside the group
never raises S, nor does flow to or from an end below L. A volume that rises across L does so on air from a neighbour above
L; where that is one of the group, S falls by what the volume takes while it is below L. A run that comes back to where
it was has S back as well, so some of it came from an end at or above L.

It is asked of a piece of the arrangement (`bandproof.machine.cutout`), from any state: where the answer is that there is
no such loop, the part moves finitely often, and the invariant of the search is the proof.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from bandproof.encoding.bits import Bit, BitSort
from bandproof.encoding.circuit import negate
from bandproof.encoding.loops import Loop, changes, looping
from bandproof.encoding.system import Problem, StepRule, pose
from bandproof.machine.cutout import CutOut
from bandproof.machine.unrest import Restless, drivers_of, groups_of, held_volumes
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, VolumeKind
from bandproof.model.conditions import ALWAYS_TRUE, AtLeast, Below, Lower, NotLower
from bandproof.model.walker import comparisons
from bandproof.properties.claim import Pace, Property, Shape
from bandproof.text.units import show_pressure


def silence_claim(part: str) -> Property:
    """The claim of a search for a loop in which a part moves, by which its proof is known."""
    says = f"with the hands off and the tanks held, {part} moves finitely often"
    basis = "no run comes back to a state in such a way that the part could move for ever"
    return Property(f"silent-{part}", says, basis, Shape.NEVER, "anywhere", when=ALWAYS_TRUE, pace=Pace.HANDS_OFF)


def silence_problem(cut: CutOut) -> Problem:
    """The search for a loop in which the part of the piece moves; there is none if the part is silent."""
    rule = StepRule(cut.layout)
    problem = pose(rule, silence_claim(cut.part))
    tanks = held_volumes(cut.layout.arrangement, tanks=True)
    moving = {one.part for one in cut.restless}

    def stands_still(bit: Bit) -> bool:
        match bit.sort:
            case BitSort.VOLUME:
                return bit.subject in tanks
            case BitSort.PART:
                return bit.subject not in moving
            case _:
                return True

    loop = endless(rule, problem, [cut.part], cut.restless, cut.swings)
    return looping(problem, loop, kept=stands_still, from_anywhere=True)


def endless_claim(start: str, mishaps: frozenset[str]) -> Property:
    """The claim of a search for a run from a start that goes round for ever, by which its proof is known."""
    words = "-".join("".join(c if c.isalnum() else " " for c in start).split())
    name = f"endless-from-{words}{'-with-mishaps' if mishaps else ''}"
    says = f'from start "{start}", with the hands off and the tanks held, the parts come to rest'
    basis = "no run comes back to a state in such a way that some part could move for ever"
    return Property(name, says, basis, Shape.NEVER, start, ALWAYS_TRUE, pace=Pace.HANDS_OFF, mishaps=mishaps)


def endless_problem(rule: StepRule, claim: Property, *, due: bool) -> Problem:
    """The search for such a run; with `due`, for one in whose loop every move is due when it is made."""
    problem, motion = pose(rule, claim), rule.layout.motion
    tanks = frozenset(rule.encoding.volumes_of([VolumeKind.TANK]))
    loop = endless(rule, problem, [one.part for one in motion.tanks_held], motion.tanks_held, motion.swinging)
    wanted = [negate(changes(problem, [b for b in problem.bits if b.sort is BitSort.VOLUME and b.subject in tanks]))]
    for part in rule.layout.arrangement.parts if due else ():
        moved = changes(problem, [b for b in problem.bits if b.sort is BitSort.PART and b.subject == part.name])
        wanted.append(rule.circuit.implies(moved, rule.encoding.due(part)))
    return looping(problem, replace(loop, throughout=rule.circuit.all_of(wanted)))


def endless(
    rule: StepRule, problem: Problem, parts: list[str], restless: tuple[Restless, ...], swings: frozenset[str]
) -> Loop:
    """A loop in which one of the parts moves, of those that could all that go with it (2), driven from without (3)."""
    moved = {
        one.part: changes(problem, [b for b in problem.bits if b.sort is BitSort.PART and b.subject == one.part])
        for one in restless
    }
    says = {literal: f"{part} moved" for part, literal in moved.items()}
    some = rule.circuit.any_of(moved[part] for part in parts)
    says.setdefault(some, f"{' or '.join(parts)} moved")
    pairs: dict[tuple[int, int], None] = {}
    for one in restless:
        if one.part not in swings:
            drivers = drivers_of(one, restless)
            driven = rule.circuit.any_of(moved[part] for part in drivers)
            says.setdefault(driven, f"{' or '.join(drivers)} moved")
            if one.part not in drivers:
                pairs[moved[one.part], driven] = None
    for volume in _read(rule, parts):
        for crossed, joined, words in _driven(rule, problem, volume):
            pairs[crossed, joined] = None
            says.setdefault(crossed, words[0])
            says.setdefault(joined, words[1])
    return Loop((some,), because=tuple(pairs), says=tuple(says.items()))


def _read(rule: StepRule, parts: list[str]) -> list[str]:
    """The lines and chambers that guards of the parts read."""
    arrangement = rule.layout.arrangement
    found: dict[str, None] = {}
    for name in parts:
        for leaf in comparisons(*(move.when for move in arrangement.part(name).moves)):
            match leaf:
                case Below(volume) | AtLeast(volume):
                    found[volume] = None
                case Lower(volume, other) | NotLower(volume, other):
                    found |= dict.fromkeys((volume, other))
    held = held_volumes(arrangement, tanks=True)
    return [volume for volume in found if volume not in held]


def _driven(rule: StepRule, problem: Problem, volume: str) -> Iterator[tuple[int, int, tuple[str, str]]]:
    """For each threshold of the volume and either way: it crosses it so, an end that can replace the air is joined."""
    c, e = rule.circuit, rule.encoding
    arrangement = rule.layout.arrangement
    group = groups_of(arrangement, held_volumes(arrangement, tanks=True))[volume]
    after = {bit.literal: value for bit, value in zip(problem.bits, problem.after, strict=True)}
    feeds = [(u, o) for u, v, o in e.ways() if v in group and u not in group and u != ATMOSPHERE]
    drains = [(v, o) for u, v, o in e.ways() if u in group and v not in group and v != SOURCE]
    for bit, mark in zip(e.levels[volume], rule.layout.thresholds[volume], strict=True):
        at = show_pressure(mark, arrangement.unit)
        fed = c.any_of(c.both(o, negate(e.surely_below(u, mark))) for u, o in feeds)
        drained = c.any_of(c.both(o, negate(e.surely_at_least(v, mark))) for v, o in drains)
        near = f"what {volume} shares its air with"
        yield (
            c.both(negate(bit), after[bit]),
            fed,
            (f"{volume} rose across {at}", f"a passage was open from an end perhaps at or above {at} to {near}"),
        )
        yield (
            c.both(bit, negate(after[bit])),
            drained,
            (f"{volume} fell across {at}", f"a passage was open to an end perhaps below {at} from {near}"),
        )
