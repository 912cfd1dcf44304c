"""Starts given by a condition: sets of states as conditions, and what a proof of unreachability says about a state.

A start given by a condition takes in every state the condition allows, and some of those may never come about. A run
that begins in such a state refutes nothing; what the state lacks is then said in words.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import TYPE_CHECKING

from bandproof.machine.layout import Layout
from bandproof.machine.story import State
from bandproof.model.arrangement import Arrangement, Start
from bandproof.model.conditions import (
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Condition,
    Happened,
    InPosition,
    InState,
    Not,
)

if TYPE_CHECKING:
    from bandproof.lemmas import cubes


def start_condition(layout: Layout, start: Start) -> Condition:
    """The states of `start` as a condition on `layout`; that they are to be settled is left aside."""
    items: list[Condition] = [start.where]
    for volume, pressures in start.pressures:
        marks = layout.thresholds[volume]
        items += [AtLeast(volume, m, m) for m in [m for m in marks if m <= pressures.low][-1:]]
        items += [Below(volume, m, m) for m in [m for m in marks if m > pressures.high][:1]]
    items += [InState(part, states) for part, states in start.parts]
    items += [InPosition(control, positions) for control, positions in start.controls]
    items += [Not(Happened(mishap.name)) for mishap in layout.arrangement.mishaps]
    return AllOf(tuple(items))


def state_condition(layout: Layout, state: State) -> Condition:
    """The condition that holds in `state` alone."""
    arrangement = layout.arrangement
    items: list[Condition] = []
    for volume, band in zip(arrangement.volumes, state.bands, strict=True):
        marks = layout.thresholds[volume.name]
        items += [AtLeast(volume.name, m, m) for m in marks[:band][-1:]]
        items += [Below(volume.name, m, m) for m in marks[band : band + 1]]
    items += [InState(part.name, frozenset({at})) for part, at in zip(arrangement.parts, state.parts, strict=True)]
    items += [
        InPosition(control.name, frozenset({at}))
        for control, at in zip(arrangement.controls, state.controls, strict=True)
    ]
    for mishap in arrangement.mishaps:
        here = Happened(mishap.name)
        items.append(here if mishap.name in state.mishaps else Not(here))
    return AllOf(tuple(items))


def clauses_as_conditions(clauses: Iterable[Iterable[Condition | None]]) -> tuple[Condition, ...]:
    """Clauses of an invariant, their literals as conditions, each a condition that holds in every reachable state.

    None stands for a literal about what a run remembers. A clause with one says nothing of a state alone, and is left out.
    """
    known = [list(clause) for clause in clauses]
    return tuple(_any([fact for fact in clause if fact is not None]) for clause in known if None not in clause)


def place_conditions(layout: Layout, place: Iterable[cubes.Literal]) -> tuple[Condition, ...]:
    """What is true in the states of a lemma's place, in a fixed order."""
    return tuple(_true_there(layout, literal) for literal in sorted(place, key=lambda literal: literal.order))


def _true_there(layout: Layout, literal: cubes.Literal) -> Condition:
    match literal.sort:
        case "level":
            mark = layout.thresholds[literal.subject][literal.rank]
            return AtLeast(literal.subject, mark, mark) if literal.holds else Below(literal.subject, mark, mark)
        case "mishap":
            return Happened(literal.subject) if literal.holds else Not(Happened(literal.subject))
        case "part":
            return InState(literal.subject, literal.values)
        case _:
            return InPosition(literal.subject, literal.values)


def _any(items: list[Condition]) -> Condition:
    return items[0] if len(items) == 1 else AnyOf(tuple(items))


def narrowed(arrangement: Arrangement, name: str, further: Iterable[Condition]) -> Arrangement:
    """The arrangement with the start called `name` limited to states in which `further` hold too."""
    starts = tuple(
        replace(start, where=AllOf((start.where, *further))) if start.name == name else start
        for start in arrangement.starts
    )
    return replace(arrangement, starts=starts)
