"""By how many pascals a claim is broken in runs in seconds (or, of a `reachable` one, shown), by its shape.

A judge sees a batch of vehicles after every step and every event. Where the claim is not broken it says how near that
came, so that a search can climb.

| shape             | broken by                                                                                     |
|-------------------|-----------------------------------------------------------------------------------------------|
| never, reachable  | the nearness of `when`, at any moment                                                         |
| always            | the nearness of the opposite of `then`, at any moment                                         |
| holds             | the nearness of the opposite of `then` after the first `when` and before `until`              |
| settled           | the nearness of `when` and not `then`, at a moment when lines and chambers stand still as long as the tanks keep their pressures, and no part is about to move |
| at_rest, ends_in  | the same with nothing held                                                                    |

A to and fro counts as settled, and at rest, once it has come round: the parts stand as they did, no act or mishap between,
every pressure is back to within what the simulator may err by, and no volume that is not held was on its way up all the time, or
down. Then `when` has to have held at some moment of the round, and
`then` to have failed at some.

Limits: a round of more than ROUND moves is not looked for. Nor is what `ends_in` says of runs that neither come to rest nor go
to and fro.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from bandproof.model.arrangement import VolumeKind
from bandproof.model.conditions import AllOf, Condition, Not
from bandproof.model.walker import comparisons
from bandproof.properties.claim import Property, Shape
from bandproof.simulation.accuracy import (
    HUNTING_MEMORY,
    HUNTING_MOVES,
    HUNTING_PASCALS,
    SETTLED_PASCALS,
    STATED_PASCALS,
    STATED_SHARE,
)
from bandproof.simulation.airflow import Floats
from bandproof.simulation.fleet import Fleet
from bandproof.simulation.history import Ending
from bandproof.simulation.margins import Integers, Sight
from bandproof.simulation.rosenbrock import Air
from bandproof.witness.nearness import nearness

Truths = NDArray[np.bool_]

#: A claim broken by so many times what the simulator may err by is broken; the run need not go on.
ENOUGH = 3.0
#: So many sights are judged together.
AT_ONCE = 16
#: Moves after which a to and fro has to have come round.
ROUND = 8
#: Pascals. A part whose guard is nearer than this to holding is about to move.
NEAR = SETTLED_PASCALS + STATED_PASCALS


def target(claim: Property) -> Condition:
    """The condition that breaks a claim, or shows it, once the time is right for it."""
    match claim.shape:
        case Shape.NEVER | Shape.REACHABLE:
            return claim.when
        case Shape.ALWAYS | Shape.HOLDS:
            return Not(claim.then)
        case Shape.SETTLED | Shape.AT_REST | Shape.ENDS_IN:
            return AllOf((claim.when, Not(claim.then)))


def allowance(arrangement_atmosphere: float, claim: Property, *, hunted: bool = False) -> float:
    """What a margin has to exceed to be no error of the simulator, pascals."""
    marks = [float(leaf.low) for leaf in comparisons(target(claim)) if hasattr(leaf, "low")]
    highest = max(marks, default=0.0)
    return STATED_PASCALS + STATED_SHARE * (arrangement_atmosphere + highest) + HUNTING_PASCALS * hunted


class Judge(Ending):
    """Watches a claim through the runs of a fleet, and ends runs in which it is broken by ENOUGH allowances.

    `margins`: the greatest so far of each vehicle; `times`: when that was; `first`: when the claim was first broken,
    infinite where it was not. With `wanted`, all runs end once so many vehicles have broken it; where it does not `ends`
    them, it looks on to their ends. What is seen after a run
    should have ended counts for nothing: it is judged a few moments late, AT_ONCE together, as that takes hardly longer
    than one.
    """

    def __init__(self, fleet: Fleet, claim: Property, *, wanted: int | None = None, ends: bool = True) -> None:
        count = len(fleet.vehicles)
        self.finished = np.zeros(count, dtype=bool)
        enough = ENOUGH * allowance(float(fleet.arrangement.atmosphere), claim, hunted=True)
        self._enough = enough if ends else np.inf
        self._wanted = count if wanted is None else wanted
        self._margins, self._times = np.full(count, -np.inf), np.zeros(count)
        self._first = np.full(count, np.inf)
        self._last = np.stack([np.zeros(count), np.full(count, -np.inf)])
        self._value = _value(fleet, claim)
        self._waiting: list[Sight] = []

    @property
    def margins(self) -> Floats:
        """The greatest margin of each vehicle, pascals."""
        self._judge()
        return self._margins

    @property
    def times(self) -> Floats:
        """When each vehicle had its greatest margin, seconds."""
        self._judge()
        return self._times

    @property
    def first(self) -> Floats:
        """When the claim was first broken in each vehicle, seconds."""
        self._judge()
        return self._first

    def __call__(self, sight: Sight) -> None:
        """Take note of what is seen."""
        self._waiting.append(sight)
        if len(self._waiting) >= AT_ONCE:
            self._judge()

    def _judge(self) -> None:
        if not self._waiting:
            return
        joined = _joined(self._waiting)
        rows = self._value.rows(joined)
        at = 0
        for sight in self._waiting:
            after = at + len(sight.who)
            self._take(sight, rows[:, at:after])
            at = after
        self._waiting.clear()

    def _take(self, sight: Sight, rows: Floats) -> None:
        going = ~self.finished[sight.who]
        if not going.all():
            sight, rows = _only(sight, np.flatnonzero(going)), rows[:, going]
        values = self._value(sight, rows)
        better = values > self._margins[sight.who]
        who = sight.who[better]
        self._margins[who], self._times[who] = values[better], sight.times[better]
        new = (values > 0) & np.isinf(self._first[sight.who])
        if new.any():
            self._first[sight.who[new]] = self._crossed(sight, values)[new]
        self._last[:, sight.who] = sight.times, values
        self.finished[sight.who] |= values > self._enough
        if np.count_nonzero(self.finished) >= self._wanted:
            self.finished[:] = True

    def _crossed(self, sight: Sight, values: Floats) -> Floats:
        """When each margin passed zero since what was seen last, by the rule of three."""
        time, value = self._last[:, sight.who]
        passed = np.isfinite(value) & (value < 0) & (values > 0)
        share = np.divide(value, value - values, out=np.ones_like(values), where=passed)
        return np.asarray(time + share * (sight.times - time))


def _joined(sights: Sequence[Sight]) -> Sight:
    """Several sights side by side: a vehicle may be in it more than once."""
    return Sight(*(np.concatenate([getattr(s, field) for s in sights], axis=-1) for field in Sight.__slots__))


class _Value(Protocol):
    """By how much a claim is broken at a moment: from what was seen before, and from numbers of that moment (rows).

    Those numbers are worked out for many moments together.
    """

    def rows(self, sights: Sight) -> Floats: ...

    def __call__(self, sight: Sight, rows: Floats, /) -> Floats: ...


def _value(fleet: Fleet, claim: Property) -> _Value:
    match claim.shape:
        case Shape.NEVER | Shape.REACHABLE | Shape.ALWAYS:
            return _Plain(fleet, claim)
        case Shape.HOLDS:
            return _Bound(fleet, claim)
        case Shape.SETTLED:
            return _Still(fleet, claim, tanks_held=True)
        case Shape.AT_REST | Shape.ENDS_IN:
            return _Still(fleet, claim, tanks_held=False)


class _Plain:
    """At any moment."""

    def __init__(self, fleet: Fleet, claim: Property) -> None:
        self._broken = nearness(fleet, target(claim))

    def rows(self, sights: Sight) -> Floats:
        return self._broken(sights)[None]

    def __call__(self, _: Sight, rows: Floats, /) -> Floats:
        return np.asarray(rows[0])


class _Bound:
    """After the first `when` and before `until`."""

    def __init__(self, fleet: Fleet, claim: Property) -> None:
        until = () if claim.until is None else (claim.until,)
        self._margins = [nearness(fleet, one) for one in (claim.when, target(claim), *until)]
        self._bound, self._over = (np.zeros(len(fleet.vehicles), dtype=bool) for _ in range(2))
        self._cap = float(fleet.arrangement.highest)

    def rows(self, sights: Sight) -> Floats:
        return np.array([margin(sights) for margin in self._margins])

    def __call__(self, sight: Sight, rows: Floats) -> Floats:
        once, broken, *until = rows
        self._bound[sight.who] |= once > 0
        bound = self._bound[sight.who]
        for one in until:
            self._over[sight.who] |= bound & (one > 0)
        over = self._over[sight.who]
        waiting = np.minimum(once, 0.0) + np.minimum(broken, 0.0) - 2 * self._cap
        return np.where(over, -8 * self._cap, np.where(bound, broken, waiting))


class _Still:
    """At moments when everything that is not held stands still, or a to and fro has come round."""

    def __init__(self, fleet: Fleet, claim: Property, *, tanks_held: bool) -> None:
        conditions = target(claim), claim.when, Not(claim.then)
        self._margins = [nearness(fleet, condition) for condition in conditions]
        self._stillness = Stillness(fleet, tanks_held=tanks_held)
        self._rounds = _Rounds(fleet)

    def rows(self, sights: Sight) -> Floats:
        return np.concatenate([[margin(sights) for margin in self._margins], self._stillness.displacement(sights)])

    def __call__(self, sight: Sight, rows: Floats) -> Floats:
        values, when, fails, ways = rows[0].copy(), rows[1], rows[2], rows[3:]
        self._stillness(sight)
        columns = np.flatnonzero(values > 0)
        if columns.size:
            still, distance = self._stillness.of(_only(sight, columns))
            values[columns] = np.where(still, values[columns], -np.maximum(distance, 1.0))
        return np.asarray(np.maximum(values, self._rounds(sight, when, fails, ways)))


class _Rounds:
    """Whether a to and fro has come round: by how much both `when` held in it and `then` failed; -inf where none has.

    The last ROUND times that a part had just moved are marked: how the vehicle stood, and what has been seen since, the
    greatest margins of `when` and of not `then`, the least and the greatest way of each volume to its rest. Arrays have the
    marks first and the vehicles last.
    """

    def __init__(self, fleet: Fleet) -> None:
        sight = fleet.sight()
        self._parts, self._acts = sight.parts.copy(), self._done(sight)
        self._atmosphere = float(fleet.arrangement.atmosphere)
        volumes, count = sight.pressures.shape
        self._good = np.zeros((ROUND, count), dtype=bool)
        self._oldest = np.zeros(count, dtype=np.intp)
        self._when, self._fails = np.zeros((ROUND, count)), np.zeros((ROUND, count))
        self._stood = np.zeros((ROUND, *self._parts.shape), dtype=np.intp)
        self._pressures, self._least, self._most = (np.zeros((ROUND, volumes, count)) for _ in range(3))

    @staticmethod
    def _done(sight: Sight) -> Integers:
        return np.concatenate([sight.controls, sight.mishaps.astype(np.intp)])

    def __call__(self, sight: Sight, when: Floats, fails: Floats, ways: Floats) -> Floats:
        """Take note of what is seen, with the margins of `when` and of not `then`, and the ways to rest."""
        acts, who = self._done(sight), sight.who
        acted = (acts != self._acts[:, who]).any(axis=0)
        moved = (sight.parts != self._parts[:, who]).any(axis=0)
        self._acts[:, who], self._parts[:, who] = acts, sight.parts
        self._good[:, who[acted]] = False
        if self._good[:, who].any():
            self._when[:, who] = np.maximum(self._when[:, who], when)
            self._fails[:, who] = np.maximum(self._fails[:, who], fails)
            self._least[:, :, who] = np.minimum(self._least[:, :, who], ways)
            self._most[:, :, who] = np.maximum(self._most[:, :, who], ways)
        found = np.full(len(who), -np.inf)
        for j in np.flatnonzero(moved).tolist():
            vehicle = who[j]
            found[j] = self._come_round(vehicle, sight.parts[:, j], sight.pressures[:, j])
            at = self._oldest[vehicle]
            self._oldest[vehicle] = (at + 1) % ROUND
            self._good[at, vehicle], self._when[at, vehicle], self._fails[at, vehicle] = True, when[j], fails[j]
            self._stood[at, :, vehicle], self._pressures[at, :, vehicle] = sight.parts[:, j], sight.pressures[:, j]
            self._least[at, :, vehicle] = self._most[at, :, vehicle] = ways[:, j]
        return found

    def _come_round(self, vehicle: int, parts: Integers, pressures: Floats) -> float:
        """What the marks say to which a vehicle is back, having had nowhere else to go."""
        near = STATED_PASCALS + STATED_SHARE * (pressures + self._atmosphere)
        back = self._good[:, vehicle] & (self._stood[:, :, vehicle] == parts).all(axis=1)
        back &= (np.abs(self._pressures[:, :, vehicle] - pressures) <= near).all(axis=1)
        back &= (self._least[:, :, vehicle] <= SETTLED_PASCALS).all(axis=1)
        back &= (self._most[:, :, vehicle] >= -SETTLED_PASCALS).all(axis=1)
        both = np.minimum(self._when[:, vehicle], self._fails[:, vehicle])
        return float(both.max(where=back, initial=-np.inf))


class Stillness:
    """Whether vehicles stand still, or would if their tanks kept their pressures. It has to see the whole of a run."""

    def __init__(self, fleet: Fleet, *, tanks_held: bool) -> None:
        self._fleet, self._swings = fleet, _Swings(fleet)
        arrangement = fleet.arrangement
        self._held = np.array([tanks_held and v.kind is VolumeKind.TANK for v in arrangement.volumes], dtype=bool)
        self._guards = fleet.all_guards()
        parts, moves = arrangement.parts, fleet.moves
        self._owner = np.array([i for i, _ in moves], dtype=np.intp)
        self._source = np.array([[parts[i].states.index(move.source)] for i, move in moves]).reshape(-1, 1)
        self._near = np.array([[0.0 if parts[i].slow else -NEAR] for i, _ in moves]).reshape(-1, 1)
        atmosphere = float(arrangement.atmosphere)
        self._ends = atmosphere, atmosphere + float(arrangement.highest)

    def __call__(self, sight: Sight) -> None:
        """Take note of what is seen."""
        self._swings(sight)

    def of(self, sight: Sight) -> tuple[Truths, Floats]:
        """Which of the vehicles seen stand still, and by how many pascals a volume is off."""
        distance = np.abs(self.displacement(sight)).max(axis=0, initial=0.0)
        hunting = self._swings.hunting(sight)
        play = HUNTING_PASCALS * hunting.any(axis=0)
        return (distance < SETTLED_PASCALS + play) & ~self._restless(sight, hunting), distance

    def _restless(self, sight: Sight, hunting: Truths) -> Truths:
        """Which vehicles have a part that is about to move and does not just go to and fro."""
        here = (sight.parts[self._owner] == self._source) & ~hunting[self._owner]
        return np.asarray((here & (self._guards(sight) > self._near)).any(axis=0))

    def displacement(self, sight: Sight) -> Floats:
        """By how many pascals each volume would rise until all that is not held stands still, (volumes, vehicles seen)."""
        fleet = self._fleet
        c = fleet.open_c(sight.who, sight.parts)
        air = Air(fleet.network, fleet.litres[:, sight.who], c, fleet.b[:, sight.who], self._ends)
        return air.displacement(sight.pressures + self._ends[0], self._held)


class _Swings:
    """How often each part has moved lately: more than HUNTING_MOVES times in about HUNTING_MEMORY seconds is to and fro."""

    def __init__(self, fleet: Fleet) -> None:
        shape = len(fleet.arrangement.parts), len(fleet.vehicles)
        self._stood, self._moves, self._since = fleet.states(), np.zeros(shape), np.zeros(shape[1])

    def __call__(self, sight: Sight) -> None:
        """Take note of what is seen."""
        who = sight.who
        self._moves[:, who] *= np.exp((self._since[who] - sight.times) / HUNTING_MEMORY)
        self._moves[:, who] += self._stood[:, who] != sight.parts
        self._stood[:, who], self._since[who] = sight.parts, sight.times

    def hunting(self, sight: Sight) -> Truths:
        """Which parts go to and fro, (parts, vehicles seen)."""
        return np.asarray(self._moves[:, sight.who] > HUNTING_MOVES)


def _only(sight: Sight, columns: Integers) -> Sight:
    return Sight(
        sight.times[columns],
        sight.pressures[:, columns],
        sight.parts[:, columns],
        sight.controls[:, columns],
        sight.mishaps[:, columns],
        sight.who[columns],
    )


class FirstTime(Ending):
    """When a condition first held in each vehicle after a time of its own, or, where it never did, when it was nearest."""

    def __init__(self, fleet: Fleet, condition: Condition, after: Floats) -> None:
        self._nearness, self._after = nearness(fleet, condition), after
        self._best = np.full(len(fleet.vehicles), -np.inf)
        self.finished = np.zeros(len(fleet.vehicles), dtype=bool)
        self.times = after.copy()

    def __call__(self, sight: Sight) -> None:
        """Take note of what is seen."""
        values = np.minimum(self._nearness(sight), 1.0)
        better = (values > self._best[sight.who]) & (sight.times >= self._after[sight.who])
        who = sight.who[better]
        self._best[who], self.times[who] = values[better], sight.times[better]
        self.finished[who] = values[better] > 0
