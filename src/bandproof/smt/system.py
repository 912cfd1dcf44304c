"""The step rule as a total function, and one property's search problem on top of it.

`StepRule` is built once for a layout and serves every property; `Problem` adds what one property fixes: its start, the
driver's pace, the mishaps that may occur, the monitor's memory, and the formula of a hit.
"""

from __future__ import annotations

from dataclasses import dataclass

from bandproof.machine.layout import Layout
from bandproof.machine.story import State
from bandproof.properties.claim import Pace, Property, Shape
from bandproof.smt.circuit import FALSE, TRUE, Circuit, negate
from bandproof.smt.encode import Bit, Encoding
from bandproof.smt.flow import FlowRule


class StepRule:
    """All that is the same for every property: the encoding, the flow rule, and the wishes a step can grant."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.encoding = Encoding(layout)
        self.flow = FlowRule(self.encoding)
        self.circuit: Circuit = self.encoding.circuit
        self.pending = self.encoding.pending()
        c, e, arrangement = self.circuit, self.encoding, layout.arrangement
        #: A wish for each volume to cross the landmark above it, or below it, where the flow rule allows that.
        self.up = {v.name: self._wish(f"up {v.name}") for v in arrangement.volumes}
        self.down = {v.name: self._wish(f"down {v.name}") for v in arrangement.volumes}
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
        #: For each part, its possible moves as (source, target, wish and permission).
        self.moves = {
            part.name: [
                (source, target, c.both(self._wish(f"move {part.name} {source} {target}"), allowed))
                for source, target in dict.fromkeys((m.source, m.target) for m in part.moves)
                if source != target and (allowed := e.may_move(part, source, target)) != FALSE
            ]
            for part in arrangement.parts
        }
        self.turns = {
            (control.name, position): self._wish(f"turn {control.name} {position}")
            for control in arrangement.controls
            for position in control.positions
        }
        self.strikes = {m.name: self._wish(f"strike {m.name}") for m in arrangement.mishaps}

    def _wish(self, name: str) -> int:
        return self.circuit.variable(f"wish {name}")

    def driver_may_act(self, pace: Pace) -> int:
        """The driver may change a control, nothing being pending."""
        match pace:
            case Pace.ANY_TIME:
                return TRUE
            case Pace.AFTER_SETTLING:
                return self.flow.settled()
            case Pace.HANDS_OFF:
                return FALSE

    def after(self, pace: Pace, mishaps: frozenset[str]) -> dict[int, int]:
        """For each state bit's literal, the literal of its value after the step that the wishes choose."""
        c, e = self.circuit, self.encoding
        quiet = negate(self.pending)
        driver = self.driver_may_act(pace)
        wished = {
            **{("control", *key): c.both(wish, driver) for key, wish in self.turns.items()},
            **{
                ("mishap", name, ""): c.both(wish, negate(e.present(name)))
                for name, wish in self.strikes.items()
                if name in mishaps
            },
        }
        granted: dict[tuple[str, str, str], int] = {}
        taken = negate(quiet)
        for key, wish in wished.items():
            granted[key] = c.both(wish, negate(taken))
            taken = c.either(taken, wish)
        acting = c.both(quiet, taken)
        flowing = c.both(quiet, negate(taken))
        following: dict[int, int] = {}
        for volume, bits in e.levels.items():
            for rank, bit in enumerate(bits):
                rises = c.all_of([flowing, self.up[volume], self.can_rise[volume][rank]])
                falls = c.all_of([flowing, self.down[volume], negate(self.up[volume]), self.can_fall[volume][rank]])
                following[bit] = c.either(rises, c.both(bit, negate(falls)))
        self._follow_parts(following, negate(acting))
        self._follow_controls(following, granted)
        for name in self.strikes:
            bit = e.present(name)
            following[bit] = c.either(bit, granted.get(("mishap", name, ""), FALSE))
        return following

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
                if bit & 1 == 0 and bit != TRUE and bit != FALSE:
                    stays = c.both(bit, negate(c.any_of(leaves[state])))
                    following[bit] = c.either(stays, c.any_of(arrives[state]))

    def _follow_controls(self, following: dict[int, int], granted: dict[tuple[str, str, str], int]) -> None:
        c, e = self.circuit, self.encoding
        for control in self.layout.arrangement.controls:
            turned = c.any_of(granted["control", control.name, p] for p in control.positions)
            for position in control.positions:
                bit = e.control_at(control.name, position)
                if bit & 1 == 0 and bit != TRUE and bit != FALSE:
                    there = granted["control", control.name, position]
                    following[bit] = c.either(there, c.both(bit, negate(turned)))


@dataclass(frozen=True, slots=True)
class Problem:
    """Find a run from `start` to a `hit`.

    All fields are literals of `circuit`. `after[i]` is the value of `bits[i]` after a step; it depends on the bits and
    on the wishes. `well_formed` holds in every state and is kept by every step. `applies` says that the condition of a
    conditional property holds here; TRUE for the other shapes.
    """

    circuit: Circuit
    layout: Layout
    claim: Property
    bits: tuple[Bit, ...]
    after: tuple[int, ...]
    start: int
    hit: int
    applies: int
    well_formed: int

    def state_of(self, values: list[bool]) -> State:
        """The arrangement's state when the bits have `values` (monitor bits are left aside)."""
        truth = {(bit.group, bit.value): value for bit, value in zip(self.bits, values, strict=True)}
        arrangement = self.layout.arrangement
        return State(
            tuple(
                sum(truth[f"volume {v.name}", str(m)] for m in self.layout.landmarks[v.name])
                for v in arrangement.volumes
            ),
            tuple(_standing(truth, f"part {p.name}", p.states) for p in arrangement.parts),
            tuple(_standing(truth, f"control {k.name}", k.positions) for k in arrangement.controls),
            frozenset(m.name for m in arrangement.mishaps if truth[f"mishap {m.name}", "present"]),
        )


def _standing(truth: dict[tuple[str, str], bool], group: str, values: tuple[str, ...]) -> str:
    if len(values) == 1:
        return values[0]
    if len(values) == 2:
        return values[truth[group, values[1]]]
    return next(value for value in values if truth[group, value])


def pose(rule: StepRule, claim: Property) -> Problem:
    """The search problem of one property."""
    c, e = rule.circuit, rule.encoding
    start = e.start(rule.layout.arrangement.start(claim.during), rule.flow.settled)
    after = rule.after(claim.pace, claim.mishaps)
    bits = list(e.bits)
    when = e.condition(claim.when, sure=True)
    breaks = negate(e.condition(claim.then, sure=True))
    applies = TRUE
    match claim.shape:
        case Shape.NEVER | Shape.REACHABLE:
            hit = when
        case Shape.ALWAYS:
            hit = breaks
        case Shape.SETTLED | Shape.AT_REST:
            applies = c.both(when, rule.flow.settled() if claim.shape is Shape.SETTLED else rule.flow.at_rest())
            hit = c.both(applies, breaks)
        case Shape.HOLDS:
            applies = when
            memory, hit = _watch(rule, claim, when, breaks)
            bits += [bit for bit, _ in memory]
            after.update({bit.literal: value for bit, value in memory})
            start = c.all_of([start, *(negate(bit.literal) for bit, _ in memory)])
    return Problem(
        c, rule.layout, claim, tuple(bits), tuple(after[b.literal] for b in bits), start, hit, applies, e.well_formed
    )


def _watch(rule: StepRule, claim: Property, when: int, breaks: int) -> tuple[list[tuple[Bit, int]], int]:
    """The monitor of `holds`: two bits of memory about the states before this one, and the formula of a hit.

    `bound`: the first `once` was seen earlier and nothing has released it; `released`: it was released. What the
    present state adds is combined into the values the memory takes after the step.
    """
    c, e = rule.circuit, rule.encoding
    bound = Bit(c.variable("monitor: bound"), "monitor bound", "yes")
    released = Bit(c.variable("monitor: released"), "monitor released", "yes")
    until = FALSE if claim.until is None else e.condition(claim.until, sure=True)
    now_bound = c.both(negate(released.literal), c.either(bound.literal, when))
    frees = c.both(now_bound, until)
    memory = [
        (bound, c.both(now_bound, negate(until))),
        (released, c.either(released.literal, frees)),
    ]
    return memory, c.all_of([now_bound, negate(until), breaks])
