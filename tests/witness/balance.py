"""Checks made-real pressures again, in plain arithmetic and from the arrangement alone."""

from __future__ import annotations

from fractions import Fraction

from bandproof.machine.layout import Layout
from bandproof.machine.story import StepKind
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Part, Passage
from bandproof.witness.concretise import Concrete


def wrong_with(layout: Layout, real: Concrete) -> list[str]:
    """What is wrong with made-real pressures; nothing when they can be believed."""
    names = [v.name for v in layout.arrangement.volumes]
    faults: list[str] = []
    for k, (state, pressures) in enumerate(zip(real.story.states, real.story.pressures, strict=True)):
        for name, band, p in zip(names, state.bands, pressures, strict=True):
            if not layout.low(name, band) <= p <= layout.high(name, band):
                faults.append(f"{name} is outside its band in state {k}")
    for k, step in enumerate(real.story.steps):
        before, after = (dict(zip(names, real.story.pressures[i], strict=True)) for i in (k, k + 1))
        if step.kind is not StepKind.FLOW and k not in real.drifting and before != after:
            faults.append(f"pressures do not stand still in step {k + 1}")
        faults += [f"step {k + 1}: {fault}" for fault in _unbalanced(layout, real, k, before, after)]
    arrangement = layout.arrangement
    for part, name, value in real.settings:
        setting = {s.name: s for s in arrangement.settings}.get(name)
        if setting is not None and not setting.low <= value <= setting.high:
            faults.append(f"{name} of {part} is outside its tolerance")
    return faults


def _unbalanced(
    layout: Layout, real: Concrete, k: int, before: dict[str, Fraction], after: dict[str, Fraction]
) -> list[str]:
    """Groups of joined volumes whose air, or highest or lowest pressure, changes without a reason."""
    sizes = dict(real.sizes)
    joined: dict[str, set[str]] = {name: {name} for name in sizes}
    fed: set[str] = set()
    vented: set[str] = set()
    for order, part in enumerate(layout.arrangement.parts):
        states = {real.story.states[i].parts[order] for i in (k, k + 1)}
        for passage in part.passages:
            if passage.open_in & states or _may_hover(part):
                _join(passage, joined, fed, vented)
    faults: list[str] = []
    for group in {id(g): g for g in joined.values()}.values():
        gained = sum((sizes[n] * (after[n] - before[n]) for n in group), Fraction(0))
        if not group & fed:
            if gained > 0:
                faults.append(f"{sorted(group)} gain air from nowhere")
            if max(after[n] for n in group) > max(before[n] for n in group):
                faults.append(f"{sorted(group)} rise above the highest of them")
        if not group & vented:
            if gained < 0:
                faults.append(f"{sorted(group)} lose air to nowhere")
            if min(after[n] for n in group) < min(before[n] for n in group):
                faults.append(f"{sorted(group)} fall below the lowest of them")
    return faults


def _join(passage: Passage, joined: dict[str, set[str]], fed: set[str], vented: set[str]) -> None:
    u, v = passage.upstream, passage.downstream
    if u == SOURCE and v in joined:
        fed.add(v)
    if v == ATMOSPHERE and u in joined:
        vented.add(u)
    if v == SOURCE and not passage.one_way and u in joined:
        fed.add(u)
    if u == ATMOSPHERE and not passage.one_way and v in joined:
        vented.add(v)
    if u in joined and v in joined and joined[u] is not joined[v]:
        both = joined[u] | joined[v]
        for name in both:
            joined[name] = both


def _may_hover(part: Part) -> bool:
    """A fast part that can come back to a state it left, by whatever way, might flick round and round between two looks at it."""
    return not part.slow and any(state in _beyond(part, state) for state in part.states)


def _beyond(part: Part, state: str) -> set[str]:
    """The states that moves lead to from this one, by way of others."""
    found: set[str] = set()
    waiting = [state]
    while waiting:
        here = waiting.pop()
        further = {move.target for move in part.moves if move.source == here != move.target} - found
        found |= further
        waiting += further
    return found
