"""The step rule as a total function, and one property's search problem on top of it.

`StepRule` is built once for a layout and serves every property; a `Problem` adds what one property fixes: its start, the
driver's pace, the mishaps that may occur, the monitor's memory, and the formula of a bad.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from bandproof.encoding.bits import (
    BitSort,
    Choice,
    Deed,
    DriverChoice,
    FlowChoice,
    GoOnChoice,
    MishapChoice,
    MoveChoice,
)
from bandproof.encoding.circuit import FALSE, TRUE, Circuit, negate
from bandproof.encoding.clauses import ClauseTemplate
from bandproof.encoding.encode import Encoding
from bandproof.encoding.endless import endless
from bandproof.encoding.final import FinalRule
from bandproof.encoding.flow import FlowRule
from bandproof.encoding.monitor import encode_monitor
from bandproof.encoding.pace import PaceRule
from bandproof.encoding.problem import Problem
from bandproof.encoding.way import WayRule
from bandproof.encoding.windows import WindowRule
from bandproof.machine.fillings import Window, windows
from bandproof.machine.layout import Layout
from bandproof.model.arrangement import VolumeKind
from bandproof.model.conditions import AtLeast, Below, Lower, NotLower
from bandproof.model.walker import comparisons
from bandproof.properties.claim import Pace, Property
from bandproof.properties.monitors import Monitor

__all__ = ["Problem", "StepRule", "pose"]


class StepRule:
    """All that is the same for every property: the encoding, the flow rule, and the choices a step can grant.

    With an `encoding` of the same layout given, the formulas are built on that, in its circuit.
    """

    def __init__(self, layout: Layout, encoding: Encoding | None = None) -> None:
        self.layout = layout
        #: What has been posed so far.
        self.posed: dict[Property, Problem] = {}
        self._after: dict[object, dict[int, int]] = {}
        self.templates: dict[tuple[int, ...], ClauseTemplate] = {}
        self.encoding = Encoding(layout) if encoding is None else encoding
        #: What each variable stands for by which a step is chosen.
        self.choices: dict[int, Choice] = {}
        self.flow = FlowRule(self.encoding)
        self.final = FinalRule(self.encoding, self.flow)
        self.pace = PaceRule(self.encoding, self.flow)
        self.windows = WindowRule(self.encoding, self.flow)
        self.circuit: Circuit = self.encoding.circuit
        self.pending = self.encoding.pending()
        c, e, arrangement = self.circuit, self.encoding, layout.arrangement
        #: A choice for each volume to cross the threshold above it, or below it, where the flow rule allows that;
        #: whether the pace does is asked in `after`.
        self.up = {v.name: self._chosen(FlowChoice(Deed.UP, v.name)) for v in arrangement.volumes}
        self.down = {v.name: self._chosen(FlowChoice(Deed.DOWN, v.name)) for v in arrangement.volumes}
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
                (source, target, c.both(self._chosen(MoveChoice(part.name, source, target)), allowed))
                for source, target in dict.fromkeys((m.source, m.target) for m in part.moves)
                if source != target and (allowed := e.may_move(part, source, target)) != FALSE
            ]
            for part in arrangement.parts
        }
        turns = [DriverChoice(control.name, at) for control in arrangement.controls for at in control.positions]
        self.turns = {choice: self._chosen(choice) for choice in turns}
        self.strikes = {
            choice: self._chosen(choice) for choice in (MishapChoice(mishap.name) for mishap in arrangement.mishaps)
        }
        #: A choice for one volume to accelerate, and, for each rank, to go on past the threshold before it.
        self.accelerate_up = {v.name: self._chosen(FlowChoice(Deed.ACCELERATE_UP, v.name)) for v in arrangement.volumes}
        self.accelerate_down = {
            v.name: self._chosen(FlowChoice(Deed.ACCELERATE_DOWN, v.name)) for v in arrangement.volumes
        }
        ranks = max((len(bits) for bits in e.levels.values()), default=0)
        self.accelerate_on = [self._chosen(GoOnChoice(rank)) for rank in range(ranks)]

    def _chosen(self, choice: Choice) -> int:
        literal = self.circuit.variable(f"input {self.encoding.prefix}{choice.says}")
        self.choices[literal] = choice
        return literal

    def driver_may_act(self, pace: Pace) -> int:
        """The driver may change a control, nothing being pending."""
        match pace:
            case Pace.ANY_TIME:
                return TRUE
            case Pace.AFTER_SETTLING:
                return self.final.settled()
            case Pace.HANDS_OFF:
                return FALSE

    def after(
        self,
        pace: Pace,
        mishaps: frozenset[str],
        windows: tuple[Window, ...] = (),
        free: dict[str, frozenset[int]] | None = None,
        begun: int = TRUE,
    ) -> dict[int, int]:
        """For each state bit's literal, the literal of its value after the step that is chosen. Built once.

        Pace and mishaps bind where `begun` holds; elsewhere the driver acts at any time, and no mishap occurs.

        With `free` given, which needs a layout without timing constraints and no windows, steps or accelerations. An acceleration is a run of flow steps in which
        one volume alone crosses threshold after threshold, all but the last of them of a rank in `free[volume]`: those
        that no guard and no condition of the claim compares the volume with, so that nothing else can happen, and
        nothing is missed, on the way. Accelerations reach the same states as steps do, in fewer.
        """
        asked = (pace, mishaps, windows, None if free is None else frozenset(free.items()), begun)
        if asked not in self._after:
            self._after[asked] = self._follow(pace, mishaps, windows, free, begun)
        return dict(self._after[asked])

    def _follow(
        self,
        pace: Pace,
        mishaps: frozenset[str],
        windows: tuple[Window, ...],
        free: dict[str, frozenset[int]] | None,
        begun: int,
    ) -> dict[int, int]:
        c, e = self.circuit, self.encoding
        quiet = negate(self.pending)
        driver = c.either(self.driver_may_act(pace), negate(begun))
        asked_for: dict[DriverChoice | MishapChoice, int] = {
            **{turn: c.both(chosen, driver) for turn, chosen in self.turns.items()},
            **{
                strike: c.all_of([chosen, begun, negate(e.present(strike.mishap))])
                for strike, chosen in self.strikes.items()
                if strike.mishap in mishaps
            },
        }
        granted: dict[DriverChoice | MishapChoice, int] = {}
        taken = negate(quiet)
        for act, asked in asked_for.items():
            granted[act] = c.both(asked, negate(taken))
            taken = c.either(taken, asked)
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
                near = self.windows.allows(windows, volume, rank)
                rises.append(c.all_of([flowing, self.up[volume], self.can_rise[volume][rank], up, near]))
                down_here = c.all_of([flowing, self.down[volume], negate(self.up[volume]), down, near])
                falls.append(c.both(down_here, self.can_fall[volume][rank]))
                following[bit] = c.either(rises[rank], c.both(bit, negate(falls[rank])))
            if free is not None:
                self._follow_acceleration(following, volume, accelerating[volume], free[volume])
        self._follow_parts(following, negate(acting))
        self._follow_controls(following, granted)
        for strike in self.strikes:
            bit = e.present(strike.mishap)
            following[bit] = c.either(bit, granted.get(strike, FALSE))
        following.update((bit.literal, bit.literal) for bit in e.bits if bit.sort is BitSort.FROZEN)
        self.pace.follow(following, crossings)
        self.windows.follow(windows, following, crossings)
        return following

    def touched(self, after: Mapping[int, int]) -> int:
        """The step to `after` is an act, or a tank crosses a threshold in it."""
        c = self.circuit
        tanks = set(self.encoding.volumes_of([VolumeKind.TANK]))
        bits = [
            bit.literal
            for bit in self.encoding.bits
            if bit.sort in (BitSort.CONTROL, BitSort.MISHAP) or (bit.sort is BitSort.VOLUME and bit.subject in tanks)
        ]
        return c.any_of(c.both(c.either(bit, after[bit]), negate(c.both(bit, after[bit]))) for bit in bits)

    def _grant_accelerations(self, flowing: int) -> tuple[dict[str, tuple[int, int]], int]:
        """At most one acceleration, instead of an ordinary flow step; what remains is the ordinary flow step."""
        c = self.circuit
        accelerating: dict[str, tuple[int, int]] = {}
        for volume in self.up:
            up = c.both(flowing, self.accelerate_up[volume])
            down = c.all_of([flowing, self.accelerate_down[volume], negate(self.accelerate_up[volume])])
            accelerating[volume] = (up, down)
            flowing = c.all_of([flowing, negate(self.accelerate_up[volume]), negate(self.accelerate_down[volume])])
        return accelerating, flowing

    def _follow_acceleration(
        self, following: dict[int, int], volume: str, acceleration: tuple[int, int], free: frozenset[int]
    ) -> None:
        """Add to `following` what an acceleration of `volume` does to its thermometer."""
        c, bits = self.circuit, self.encoding.levels[volume]
        up, down = acceleration
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

    def free_ranks(self, monitor: Monitor) -> dict[str, frozenset[int]]:
        """For each volume the ranks of the thresholds that no guard and no condition of the monitor compares it with."""
        compared: dict[str, set[Fraction]] = {v: set() for v in self.up}
        guards = [m.when for part in self.layout.arrangement.parts for m in part.moves]
        for leaf in comparisons(*guards, *monitor.conditions()):
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

    def _follow_controls(self, following: dict[int, int], granted: Mapping[DriverChoice | MishapChoice, int]) -> None:
        c, e = self.circuit, self.encoding
        for control in self.layout.arrangement.controls:
            turned = c.any_of(granted[DriverChoice(control.name, p)] for p in control.positions)
            for position in control.positions:
                bit = e.control_at(control.name, position)
                if bit & 1 == 0 and bit not in (TRUE, FALSE):
                    there = granted[DriverChoice(control.name, position)]
                    following[bit] = c.either(there, c.both(bit, negate(turned)))


def pose(rule: StepRule, claim: Property) -> Problem:
    """The search problem of one property. It is built once."""
    if claim not in rule.posed:
        rule.posed[claim] = _pose(rule, claim)
    return rule.posed[claim]


def _pose(rule: StepRule, claim: Property) -> Problem:
    c, e, monitor = rule.circuit, rule.encoding, rule.layout.monitor(claim)
    bounds = windows(rule.layout.arrangement, claim)
    first, *others = rule.layout.arrangement.way_to(claim.during)
    start = e.start(first, rule.final.settled)
    way = WayRule(e, rule.final, others)
    rule.choices |= way.choices
    after = rule.after(claim.pace, claim.mishaps, bounds, begun=way.begun)
    # An acceleration passes over states in which a counter, a window or such a monitor would have to look, so there is none there.
    acceleration = after
    if not (rule.layout.timing_constraints or bounds or monitor.fades or monitor.endless):
        acceleration = rule.after(claim.pace, claim.mishaps, free=rule.free_ranks(monitor), begun=way.begun)
    watching = encode_monitor(e, rule.final, monitor)
    still = negate(rule.touched(after)) if monitor.fades else TRUE
    kept = tuple(c.all_of([literal, still, way.begun]) for literal in watching.after)
    crossed = rule.windows.bits(bounds)
    bits = (*e.bits, *crossed)
    memory = (*watching.bits, *way.bits)
    problem = Problem(
        c,
        rule.layout,
        claim,
        (*bits, *memory),
        (*(way.follow(bit, after[bit.literal]) for bit in bits), *kept, *way.after),
        (*(way.follow(bit, acceleration[bit.literal]) for bit in bits), *kept, *way.after),
        c.all_of([start, *(negate(bit.literal) for bit in (*crossed, *memory))]),
        c.both(watching.bad, way.begun),
        c.both(watching.applies, way.begun),
        e.well_formed,
        rule.templates,
        watching.over,
        e.prefix,
        bounds,
        way.begun,
    )
    return endless(e, rule.flow, problem) if monitor.endless else problem
