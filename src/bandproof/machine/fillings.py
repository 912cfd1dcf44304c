"""How far lines alone can move a tank: the air in lines is not neglected, and not without bound either.

A line that is filled from a tank, emptied elsewhere and filled again does empty the tank. So a tank or chamber may cross
a threshold whenever the flow rule lets it, be it into a line. Most of what that allows is absurd - a line of a cup
draining a store - and a *window* bounds it:

- While a tank is joined, over open passages and lines, to nothing but lines, whatever it loses or gains is air in those
  lines. Let `N` be how often they are filled in the run, at most. Between any two moments the air in the tank then
  differs by no more than `N` times what all lines hold that it can reach, at the highest pressure; so its pressure stays
  within a window of

      d = N * (sum of the lines' greatest litres) * highest / (the tank's least litres).

- So it does not cross a threshold that is more than d away from one it has crossed since it was last joined to anything
  else. What is remembered is which thresholds these are. A further threshold, of another claim, say, takes nothing
  from that.

`N` is what the claim says (`fillings`); or, with the hands off, one more than the mishaps it allows: with controls and
mishaps as they are, the lines are filled once. That is so only where the parts' own moves cannot join a line to the
tank, then to elsewhere, then to the tank again (`_pumps`): a regulator that holds a line by feeding and venting pumps a
tank empty through it. There, and where litres are not declared, there is no window.

*What would be wrong without it:* without the crossing into lines, "never below 60 psi" is proven of a tank that 54
brake applications bring below 60; without the window, nothing could be said of a tank that feeds a brake line.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import product

from bandproof.model.arrangement import Arrangement, Move, Part, Passage, VolumeKind
from bandproof.model.conditions import (
    AllOf,
    AnyOf,
    Condition,
    Happened,
    InPosition,
    NotHappened,
    NotInPosition,
    Truth,
)
from bandproof.model.walker import Walker, leaves
from bandproof.properties.claim import Pace, Property

#: With more settings of controls, mishaps and parts around a tank than this, it has no window: they are not looked through.
COMBINATIONS = 20_000


@dataclass(frozen=True, slots=True)
class Window:
    """While `tank` is joined to lines alone its pressure stays within `width` pascals."""

    tank: str
    width: Fraction


def windows(arrangement: Arrangement, claim: Property) -> tuple[Window, ...]:
    """The windows of a claim's runs: for every tank and chamber that has one narrower than all pressures."""
    fillings = _fillings(claim)
    if fillings is None:
        return ()
    found = []
    for volume in arrangement.volumes:
        if volume.kind is VolumeKind.LINE or volume.litres is None:
            continue
        lines = reachable_lines(arrangement, volume.name)
        litres = [arrangement.volume(line).litres for line in sorted(lines)]
        if not lines or any(one is None for one in litres) or _pumps(arrangement, volume.name, lines):
            continue
        held = sum((one.high for one in litres if one is not None), Fraction(0))
        width = fillings * held * arrangement.highest / volume.litres.low
        if width < arrangement.highest:
            found.append(Window(volume.name, width))
    return tuple(found)


def _fillings(claim: Property) -> int | None:
    if claim.fillings is not None:
        return claim.fillings
    return len(claim.mishaps) + 1 if claim.pace is Pace.HANDS_OFF else None


def reachable_lines(arrangement: Arrangement, tank: str) -> frozenset[str]:
    """The lines that could be joined to a tank, over passages that can open and other lines."""
    lines = {volume.name for volume in arrangement.volumes if volume.kind is VolumeKind.LINE}
    passages = [passage for part in arrangement.parts for passage in part.passages]
    return frozenset(_joined(tank, passages, lines) & lines)


def _joined(start: str, passages: Iterable[Passage], through: Iterable[str]) -> set[str]:
    """The ends that passages lead to from `start`, either way, over nothing but volumes in `through`."""
    ways = [(p.upstream, p.downstream) for p in passages]
    ways += [(v, u) for u, v in ways]
    found, frontier = {start}, [start]
    over = {start, *through}
    while frontier:
        here = frontier.pop()
        for u, v in ways:
            if u == here and v not in found:
                found.add(v)
                if v in over:
                    frontier.append(v)
    return found - {start}


# ------------------------------------------------------------------------------- can parts alone fill a line again?


def _pumps(arrangement: Arrangement, tank: str, lines: frozenset[str]) -> bool:
    """Parts' own moves could join a line to the tank, then to elsewhere, then to the tank again.

    Asked for each way the controls can stand and each set of mishaps, pressures and other parts left free.
    """
    touching = [part for part in arrangement.parts if any(_at(p, lines) for p in part.passages)]
    still = [part for part in touching if not part.moves]
    turning = [part for part in touching if part.moves]
    facts = _facts(arrangement, turning)
    combinations = 1
    for choices in (*facts.values(), *(part.states for part in turning)):
        combinations *= len(choices)
    if combinations > COMBINATIONS:
        return True
    fixed = [passage for part in still for passage in part.passages if part.states[0] in passage.open_in]
    return any(
        _pumps_with(tank, lines, turning, fixed, dict(zip(facts, chosen, strict=True)))
        for chosen in product(*facts.values())
    )


def _at(passage: Passage, volumes: frozenset[str]) -> bool:
    return bool({passage.upstream, passage.downstream} & volumes)


def _facts(arrangement: Arrangement, parts: list[Part]) -> dict[tuple[str, str], tuple[object, ...]]:
    """The controls and mishaps that the parts' guards read, each with what it can be."""
    found: dict[tuple[str, str], tuple[object, ...]] = {}
    for leaf in leaves(*(move.when for part in parts for move in part.moves)):
        if isinstance(leaf, InPosition | NotInPosition):
            found["control", leaf.control] = arrangement.control(leaf.control).positions
        elif isinstance(leaf, Happened | NotHappened):
            found["mishap", leaf.mishap] = (False, True)
    return found


_Combination = tuple[str, ...]


def _pumps_with(
    tank: str, lines: frozenset[str], parts: list[Part], fixed: list[Passage], facts: dict[tuple[str, str], object]
) -> bool:
    could = _Could(facts)
    moves = [[move for move in part.moves if move.source != move.target and could.walk(move.when)] for part in parts]
    combinations = list(product(*(part.states for part in parts)))
    joins = {one: _joins(tank, lines, parts, fixed, one) for one in combinations}
    onward = {one: set(_next(one, moves)) for one in combinations}
    for line in lines:
        ours = {one for one, (inside, _) in joins.items() if line in inside}
        theirs = {one for one, (_, outside) in joins.items() if line in outside}
        if _from(_from(ours, onward) & theirs, onward) & ours:
            return True
    return False


def _joins(
    tank: str, lines: frozenset[str], parts: list[Part], fixed: list[Passage], states: _Combination
) -> tuple[set[str], set[str]]:
    """The lines joined to the tank, and those joined to anything else, while the parts stand so."""
    passages = [
        *fixed,
        *(p for part, state in zip(parts, states, strict=True) for p in part.passages if state in p.open_in),
    ]
    ends = {end for p in passages for end in (p.upstream, p.downstream)} - lines - {tank}
    elsewhere = set[str]().union(*(_joined(end, passages, lines) for end in ends))
    return _joined(tank, passages, lines) & lines, elsewhere & lines


def _next(states: _Combination, moves: list[list[Move]]) -> Iterator[_Combination]:
    for number, (state, own) in enumerate(zip(states, moves, strict=True)):
        for move in own:
            if move.source == state:
                yield (*states[:number], move.target, *states[number + 1 :])


def _from(seeds: set[_Combination], onward: dict[_Combination, set[_Combination]]) -> set[_Combination]:
    found, frontier = set(seeds), list(seeds)
    while frontier:
        for one in onward[frontier.pop()]:
            if one not in found:
                found.add(one)
                frontier.append(one)
    return found


class _Could(Walker[bool]):
    """A guard could hold with controls and mishaps as they are, whatever pressures and parts do."""

    __slots__ = ("facts",)

    def __init__(self, facts: dict[tuple[str, str], object]) -> None:
        self.facts = facts

    def other(self, node: Condition) -> bool:
        return bool(node)

    def truth(self, node: Truth) -> bool:
        return node.value

    def in_position(self, node: InPosition) -> bool:
        return self.facts["control", node.control] in node.positions

    def not_in_position(self, node: NotInPosition) -> bool:
        return self.facts["control", node.control] not in node.positions

    def happened(self, node: Happened) -> bool:
        return self.facts["mishap", node.mishap] is True

    def not_happened(self, node: NotHappened) -> bool:
        return self.facts["mishap", node.mishap] is False

    def all_of(self, node: AllOf) -> bool:
        return all(map(self.walk, node.items))

    def any_of(self, node: AnyOf) -> bool:
        return any(map(self.walk, node.items))
