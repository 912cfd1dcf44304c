"""The step rule as a total function, and one property's search problem on top of it.

`StepRule` is built once for a layout and serves every property; `Problem` adds what one property fixes: its start, the
driver's pace, the mishaps that may occur, the monitor's memory, and the formula of a bad.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, field
from fractions import Fraction

from bandproof.encoding.circuit import FALSE, TRUE, Circuit, negate
from bandproof.encoding.clauses import ClauseTemplate
from bandproof.encoding.encode import COUNTS, LAST, Bit, Encoding
from bandproof.encoding.flow import FlowRule
from bandproof.encoding.pace import PaceRule
from bandproof.machine.layout import Layout
from bandproof.machine.story import Count, State
from bandproof.model.conditions import AtLeast, Below, Lower, NotLower
from bandproof.model.walker import comparisons
from bandproof.properties.claim import Pace, Property, Shape


class StepRule:
    """All that is the same for every property: the encoding, the flow rule, and the inputs a step can grant."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        #: What has been posed so far.
        self.posed: dict[Property, Problem] = {}
        self._after: dict[object, dict[int, int]] = {}
        self.templates: dict[tuple[int, ...], ClauseTemplate] = {}
        self.encoding = Encoding(layout)
        self.flow = FlowRule(self.encoding)
        self.pace = PaceRule(self.encoding, self.flow)
        self.circuit: Circuit = self.encoding.circuit
        self.pending = self.encoding.pending()
        c, e, arrangement = self.circuit, self.encoding, layout.arrangement
        #: An input for each volume to cross the threshold above it, or below it, where the flow rule allows that;
        #: whether the pace does is asked in `after`.
        self.up = {v.name: self._input(f"up {v.name}") for v in arrangement.volumes}
        self.down = {v.name: self._input(f"down {v.name}") for v in arrangement.volumes}
        self.can_rise = {
            v.name: [
                c.all_of([self.flow.may_rise(v.name, rank), *e.levels[v.name][max(0, rank - 1) : rank], negate(bit)])
                for rank, bit in enumerate(e.levels[v.name])
            ]
            for v in arrangement.volumes
        }
        self.can_fall = {
            v.name: [
                c.all_of([self.flow.may_fall(v.name, rank), bit, *map(negate, e.levels[v.name][rank + 1 : rank + 2])])
                for rank, bit in enumerate(e.levels[v.name])
            ]
            for v in arrangement.volumes
        }
        #: For each part, its possible moves as (source, target, choice and permission).
        self.moves = {
            part.name: [
                (source, target, c.both(self._input(f"move {part.name} {source} {target}"), allowed))
                for source, target in dict.fromkeys((m.source, m.target) for m in part.moves)
                if source != target and (allowed := e.may_move(part, source, target)) != FALSE
            ]
            for part in arrangement.parts
        }
        self.turns = {
            (control.name, position): self._input(f"turn {control.name} {position}")
            for control in arrangement.controls
            for position in control.positions
        }
        self.strikes = {m.name: self._input(f"strike {m.name}") for m in arrangement.mishaps}
        #: An input for one volume to leap, and, for each rank, to leap on past the threshold before it.
        self.accelerate_up = {v.name: self._input(f"leap up {v.name}") for v in arrangement.volumes}
        self.accelerate_down = {v.name: self._input(f"leap down {v.name}") for v in arrangement.volumes}
        ranks = max((len(bits) for bits in e.levels.values()), default=0)
        self.accelerate_on = [self._input(f"leap on at rank {rank}") for rank in range(ranks)]

    def _input(self, name: str) -> int:
        return self.circuit.variable(f"input {name}")

    def driver_may_act(self, pace: Pace) -> int:
        """The driver may change a control, nothing being pending."""
        match pace:
            case Pace.ANY_TIME:
                return TRUE
            case Pace.AFTER_SETTLING:
                return self.flow.settled()
            case Pace.HANDS_OFF:
                return FALSE

    def after(
        self, pace: Pace, mishaps: frozenset[str], free: dict[str, frozenset[int]] | None = None
    ) -> dict[int, int]:
        """For each state bit's literal, the literal of its value after the step that the inputs choose. Built once.

        With `free` given, which needs a layout without timing_constraints, steps or leaps. A leap is a run of flow steps in which
        one volume alone crosses threshold after threshold, all but the last of them of a rank in `free[volume]`: those
        that no guard and no condition of the claim compares the volume with, so that nothing else can happen, and
        nothing is missed, on the way. Leaps reach the same states as steps do, in fewer.
        """
        asked = (pace, mishaps, None if free is None else frozenset(free.items()))
        if asked not in self._after:
            self._after[asked] = self._follow(pace, mishaps, free)
        return dict(self._after[asked])

    def _follow(self, pace: Pace, mishaps: frozenset[str], free: dict[str, frozenset[int]] | None) -> dict[int, int]:
        c, e = self.circuit, self.encoding
        quiet = negate(self.pending)
        driver = self.driver_may_act(pace)
        asked_for = {
            **{("control", *key): c.both(choice, driver) for key, choice in self.turns.items()},
            **{
                ("mishap", name, ""): c.both(choice, negate(e.present(name)))
                for name, choice in self.strikes.items()
                if name in mishaps
            },
        }
        granted: dict[tuple[str, str, str], int] = {}
        taken = negate(quiet)
        for key, choice in asked_for.items():
            granted[key] = c.both(choice, negate(taken))
            taken = c.either(taken, choice)
        acting = c.both(quiet, taken)
        flowing = c.both(quiet, negate(taken))
        following: dict[int, int] = {}
        crossings: dict[str, tuple[list[int], list[int]]] = {}
        accelerating: dict[str, tuple[int, int]] = {}
        if free is not None:
            accelerating, flowing = self._grant_accelerations(flowing)
        for volume, bits in e.levels.items():
            up, down = (self.pace.allows(volume, upward=upward) for upward in (True, False))
            rises, falls = crossings[volume] = ([], [])
            for rank, bit in enumerate(bits):
                rises.append(c.all_of([flowing, self.up[volume], self.can_rise[volume][rank], up]))
                falls.append(
                    c.all_of([flowing, self.down[volume], negate(self.up[volume]), self.can_fall[volume][rank], down])
                )
                following[bit] = c.either(rises[rank], c.both(bit, negate(falls[rank])))
            if free is not None:
                self._follow_acceleration(following, volume, accelerating[volume], free[volume])
        self._follow_parts(following, negate(acting))
        self._follow_controls(following, granted)
        for name in self.strikes:
            bit = e.present(name)
            following[bit] = c.either(bit, granted.get(("mishap", name, ""), FALSE))
        self.pace.follow(following, crossings)
        return following

    def _grant_accelerations(self, flowing: int) -> tuple[dict[str, tuple[int, int]], int]:
        """At most one leap, instead of an ordinary flow step; what remains is the ordinary flow step."""
        c = self.circuit
        accelerating: dict[str, tuple[int, int]] = {}
        for volume in self.up:
            up = c.both(flowing, self.accelerate_up[volume])
            down = c.all_of([flowing, self.accelerate_down[volume], negate(self.accelerate_up[volume])])
            accelerating[volume] = (up, down)
            flowing = c.all_of([flowing, negate(self.accelerate_up[volume]), negate(self.accelerate_down[volume])])
        return accelerating, flowing

    def _follow_acceleration(
        self, following: dict[int, int], volume: str, leap: tuple[int, int], free: frozenset[int]
    ) -> None:
        """Add to `following` what a leap of `volume` does to its thermometer."""
        c, bits = self.circuit, self.encoding.levels[volume]
        up, down = leap
        came = FALSE
        for rank, bit in enumerate(bits):
            first = c.both(up, self.can_rise[volume][rank])
            if rank - 1 in free:
                passing = c.all_of([came, self.accelerate_on[rank], self.flow.may_rise(volume, rank)])
            else:
                passing = FALSE
            came = c.either(first, passing)
            following[bit] = c.either(following[bit], came)
        came = FALSE
        for rank in range(len(bits) - 1, -1, -1):
            first = c.both(down, self.can_fall[volume][rank])
            if rank + 1 in free:
                passing = c.all_of([came, self.accelerate_on[rank], self.flow.may_fall(volume, rank)])
            else:
                passing = FALSE
            came = c.either(first, passing)
            following[bits[rank]] = c.both(following[bits[rank]], negate(came))

    def free_ranks(self, claim: Property) -> dict[str, frozenset[int]]:
        """For each volume the ranks of the thresholds that no guard and no condition of the claim compares it with."""
        compared: dict[str, set[Fraction]] = {v: set() for v in self.up}
        guards = [m.when for part in self.layout.arrangement.parts for m in part.moves]
        for leaf in comparisons(*guards, claim.when, claim.then, *([claim.until] if claim.until else [])):
            match leaf:
                case Below(volume, low, high) | AtLeast(volume, low, high):
                    compared[volume] |= {low, high}
                case Lower(volume, other) | NotLower(volume, other):
                    compared[volume] |= set(self.layout.thresholds[volume])
                    compared[other] |= set(self.layout.thresholds[other])
        return {
            volume: frozenset(r for r, mark in enumerate(self.layout.thresholds[volume]) if mark not in marks)
            for volume, marks in compared.items()
        }

    def _follow_parts(self, following: dict[int, int], free: int) -> None:
        c, e = self.circuit, self.encoding
        for part in self.layout.arrangement.parts:
            gone: list[int] = []
            arrives: dict[str, list[int]] = {s: [] for s in part.states}
            leaves: dict[str, list[int]] = {s: [] for s in part.states}
            for source, target, move in self.moves[part.name]:
                fires = c.all_of([move, free, *map(negate, gone)])
                gone.append(move)
                arrives[target].append(fires)
                leaves[source].append(fires)
            for state in part.states:
                bit = e.part_in(part.name, state)
                if bit & 1 == 0 and bit not in (TRUE, FALSE):
                    stays = c.both(bit, negate(c.any_of(leaves[state])))
                    following[bit] = c.either(stays, c.any_of(arrives[state]))

    def _follow_controls(self, following: dict[int, int], granted: dict[tuple[str, str, str], int]) -> None:
        c, e = self.circuit, self.encoding
        for control in self.layout.arrangement.controls:
            turned = c.any_of(granted["control", control.name, p] for p in control.positions)
            for position in control.positions:
                bit = e.control_at(control.name, position)
                if bit & 1 == 0 and bit not in (TRUE, FALSE):
                    there = granted["control", control.name, position]
                    following[bit] = c.either(there, c.both(bit, negate(turned)))


#: The group of the bit by which the monitor of `holds` remembers that the claim binds no more.
RELEASED = "monitor released"


@dataclass(frozen=True, slots=True)
class Problem:
    """Find a run from `start` to a `bad`.

    All fields are literals of `circuit`. `after[i]` is the value of `bits[i]` after a step; it depends on the bits and
    on the inputs. `well_formed` holds in every state and is kept by every step. `applies` says that the condition of a
    conditional property holds here; TRUE for the other shapes. `over` is the bit that says nothing can be a bad any
    more, now or later; FALSE where there is no such bit.
    """

    circuit: Circuit
    layout: Layout
    claim: Property
    bits: tuple[Bit, ...]
    after: tuple[int, ...]
    accelerated: tuple[int, ...]
    start: int
    bad: int
    applies: int
    well_formed: int
    #: Formulas of this circuit as clauses, made once and shared by all problems of one rule.
    templates: dict[tuple[int, ...], ClauseTemplate] = field(compare=False, repr=False)
    over: int = FALSE

    def state_of(self, values: list[bool]) -> State:
        """The arrangement's state when the bits have `values` (monitor bits are left aside)."""
        truth = {(bit.group, bit.value): value for bit, value in zip(self.bits, values, strict=True)}
        arrangement = self.layout.arrangement
        return State(
            tuple(
                sum(truth[f"volume {v.name}", str(m)] for m in self.layout.thresholds[v.name])
                for v in arrangement.volumes
            ),
            tuple(_standing(truth, f"part {p.name}", p.states) for p in arrangement.parts),
            tuple(_standing(truth, f"control {k.name}", k.positions) for k in arrangement.controls),
            frozenset(m.name for m in arrangement.mishaps if truth[f"mishap {m.name}", "present"]),
            tuple(
                Count(
                    sum(truth[f"{COUNTS}{number}", str(rank + 1)] for rank in range(watch.allowance)),
                    None if truth[f"{LAST}{number}", "none"] else truth[f"{LAST}{number}", "up"],
                )
                for number, watch in enumerate(self.layout.timing_constraints)
            ),
        )


def _standing(truth: dict[tuple[str, str], bool], group: str, values: tuple[str, ...]) -> str:
    if len(values) == 1:
        return values[0]
    if len(values) == 2:
        return values[truth[group, values[1]]]
    return next(value for value in values if truth[group, value])


def pose(rule: StepRule, claim: Property) -> Problem:
    """The search problem of one property. It is built once."""
    if claim not in rule.posed:
        rule.posed[claim] = _pose(rule, claim)
    return rule.posed[claim]


def with_starts_of(rule: StepRule, layout: Layout) -> StepRule:
    """The same rule for a layout that differs in its starts only."""
    other = copy(rule)
    other.layout = layout
    other.posed = {}
    return other


def _pose(rule: StepRule, claim: Property) -> Problem:
    c, e = rule.circuit, rule.encoding
    start = e.start(rule.layout.arrangement.start(claim.during), rule.flow.settled)
    after = rule.after(claim.pace, claim.mishaps)
    # A leap passes over states in which a pace counter would have to be looked at, so there are none beside counters.
    leap = (
        dict(after) if rule.layout.timing_constraints else rule.after(claim.pace, claim.mishaps, rule.free_ranks(claim))
    )
    bits = list(e.bits)
    when = e.condition(claim.when, sure=True)
    breaks = negate(e.condition(claim.then, sure=True))
    applies = TRUE
    over = FALSE
    match claim.shape:
        case Shape.NEVER | Shape.REACHABLE:
            bad = when
        case Shape.ALWAYS:
            bad = breaks
        case Shape.SETTLED | Shape.AT_REST:
            applies = c.both(when, rule.flow.settled() if claim.shape is Shape.SETTLED else rule.flow.at_rest())
            bad = c.both(applies, breaks)
        case Shape.HOLDS:
            applies = when
            memory, bad = _watch(rule, claim, when, breaks)
            bits += [bit for bit, _ in memory]
            after.update({bit.literal: value for bit, value in memory})
            leap.update({bit.literal: value for bit, value in memory})
            start = c.all_of([start, *(negate(bit.literal) for bit, _ in memory)])
            over = next(bit.literal for bit, _ in memory if bit.group == RELEASED)
    return Problem(
        c,
        rule.layout,
        claim,
        tuple(bits),
        tuple(after[b.literal] for b in bits),
        tuple(leap[b.literal] for b in bits),
        start,
        bad,
        applies,
        e.well_formed,
        rule.templates,
        over,
    )


def _watch(rule: StepRule, claim: Property, when: int, breaks: int) -> tuple[list[tuple[Bit, int]], int]:
    """The monitor of `holds`: two bits of memory about the states before this one, and the formula of a bad.

    `bound`: the first `once` was seen earlier and nothing has released it; `released`: it was released. What the
    present state adds is combined into the values the memory takes after the step.
    """
    c, e = rule.circuit, rule.encoding
    bound = Bit(c.variable("monitor: bound"), "monitor bound", "yes")
    released = Bit(c.variable("monitor: released"), RELEASED, "yes")
    until = FALSE if claim.until is None else e.condition(claim.until, sure=True)
    now_bound = c.both(negate(released.literal), c.either(bound.literal, when))
    frees = c.both(now_bound, until)
    memory = [
        (bound, c.both(now_bound, negate(until))),
        (released, c.either(released.literal, frees)),
    ]
    return memory, c.all_of([now_bound, negate(until), breaks])
