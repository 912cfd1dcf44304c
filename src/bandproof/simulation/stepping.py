"""Vehicles of one arrangement run together: air by ISO 6358, parts as state machines, acts at their times.

Each vehicle has its own time and step; one pass of the loop gives every vehicle one step. How exact this is stands in
`accuracy`:

- the error made in one step is kept below ATOL + RTOL p (p absolute), and errors made do not grow (see `rosenbrock`);
- an event is taken at most EVENT_PASCALS past the threshold, or EVENT_SECONDS late;
- no air is lost: the sum of V p changes by what crosses the boundary, to rounding.

A part makes its move when the guard has held without a break for the part's moving time; a guard that ceases before
that ends the matter. So parts that undo one another's moves take time, and the run goes on. Of a to and fro that never
ends not every swing is worth its steps: a part that has often moved back at once is given a play of HUNTING_PASCALS, and where that does
not calm it, a longer moving time, up to HUNTING_SECONDS.

Hands act and mishaps occur only while no part is due, as in the meaning of an arrangement (delayed and hunting parts apart): at
most a moving time later than the script says.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import exp

import numpy as np
from numpy.typing import NDArray

from bandproof.model.arrangement import VolumeKind
from bandproof.simulation.accuracy import (
    ATOL,
    CALM_PASCALS,
    CALM_SECONDS,
    CHANGE,
    EVENT_PASCALS,
    EVENT_SECONDS,
    FIRST_STEP,
    HUNTING_MEMORY,
    HUNTING_MOVES,
    HUNTING_PASCALS,
    HUNTING_SECONDS,
    LEAST_STEP,
    QUICK,
    RAPID_MEMORY,
    RTOL,
    SETTLED_SECONDS,
)
from bandproof.simulation.airflow import Floats
from bandproof.simulation.fleet import Fleet
from bandproof.simulation.history import Ending, Happening, History, Moved, Record
from bandproof.simulation.margins import Integers, Sight
from bandproof.simulation.rosenbrock import Air
from bandproof.simulation.script import Act, Look, Occur, Script, Turn

RunObserver = Callable[[Sight], None]
Truths = NDArray[np.bool_]

#: Steps after which a vehicle is given up.
MOST_STEPS = 200_000


class Run:
    """Vehicles on their way. Arrays have the vehicles last; those that have arrived are taken out of all of them."""

    #: The names of all arrays with one column for each vehicle still on its way.
    _COLUMNS = (
        *("who", "time", "pressure", "parts", "controls", "mishaps", "litres", "b", "c", "moving", "step", "steps"),
        *("open_c", "margin", "enabled", "holds", "fires", "quick", "near", "recent", "rapid", "moved", "play"),
        *(
            "act",
            "act_time",
            "calm",
            "acted",
            "since",
            "risen",
            "fallen",
            "aim",
            "goal_time",
            "goal_margin",
            "chased",
            "forced",
        ),
    )

    def __init__(
        self,
        fleet: Fleet,
        scripts: list[Script],
        until: float,
        samples: Sequence[float],
        observers: Sequence[RunObserver],
        *,
        keep: bool,
        most_steps: int = MOST_STEPS,
        hunting_play: float = HUNTING_PASCALS,
    ) -> None:
        arrangement = fleet.arrangement
        self.hunting_play = hunting_play
        self.most_steps = most_steps
        self.endings: list[Ending] = [observer for observer in observers if isinstance(observer, Ending)]
        self.fleet, self.arrangement, self.scripts, self.observers, self.keep = (
            fleet,
            arrangement,
            scripts,
            observers,
            keep,
        )
        self.stops = np.unique([*(s for s in samples if 0 < s < until), until])
        self.until = float(until)
        self.guards = fleet.all_guards()
        self.owner = np.array([i for i, _ in fleet.moves], dtype=np.intp)
        parts = arrangement.parts
        self.source = np.array([parts[i].states.index(m.source) for i, m in fleet.moves], dtype=np.intp)
        self.target = np.array([parts[i].states.index(m.target) for i, m in fleet.moves], dtype=np.intp)
        self.delayed = np.array([part.delayed for part in parts], dtype=bool)
        #: Seconds to which the moving time of a part that hunts is drawn out: no more than it may take.
        self.longest = np.array(
            [HUNTING_SECONDS if p.reaction is None else min(HUNTING_SECONDS, p.reaction.high) for p in parts],
            dtype=np.float64,
        )
        self.tanks = np.array([v.kind is VolumeKind.TANK for v in arrangement.volumes], dtype=bool)
        self.atmosphere = float(arrangement.atmosphere)
        self.ends = (self.atmosphere, self.atmosphere + float(arrangement.highest))
        self.record = Record(len(fleet.vehicles), len(arrangement.volumes))
        self._begin(fleet)

    def _begin(self, fleet: Fleet) -> None:
        count, moves, parts = len(fleet.vehicles), len(fleet.moves), len(self.arrangement.parts)
        sight = fleet.sight()
        self.who, self.time, self.pressure = sight.who, sight.times, sight.pressures + self.atmosphere
        self.parts, self.controls, self.mishaps = sight.parts, sight.controls, sight.mishaps
        self.litres, self.b, self.c, self.moving = fleet.litres, fleet.b, fleet.c, fleet.moving
        self.step, self.steps = np.full(count, FIRST_STEP), np.zeros(count, dtype=np.intp)
        self.open_c = np.zeros_like(self.c)
        self.margin, self.fires = np.zeros((moves, count)), np.full((moves, count), np.inf)
        self.enabled, self.holds = np.zeros((moves, count), dtype=bool), np.zeros((moves, count), dtype=bool)
        self.recent, self.rapid, self.moved = (np.zeros((parts, count)) for _ in range(3))
        self.play = np.zeros((moves, count))
        self.quick, self.near = np.zeros((moves, count), dtype=bool), np.zeros((moves, count), dtype=bool)
        self.act, self.forced = np.zeros(count, dtype=np.intp), np.zeros(count, dtype=np.intp)
        self.act_time, self.calm = np.full(count, np.inf), np.full(count, np.inf)
        self.acted, self.since = np.zeros(count), np.zeros(count)
        self.risen, self.fallen = (np.zeros(self.litres.shape, dtype=bool) for _ in range(2))
        self.aim, self.goal_time = np.full(count, np.inf), np.full(count, np.inf)
        self.goal_margin, self.chased = np.zeros((moves, count)), np.zeros((moves, count), dtype=bool)
        everyone = np.arange(count, dtype=np.intp)
        for column in range(count):
            self._next_act(column)
        self._take_stock(everyone)
        self._keep(everyone)
        self._see(everyone)

    def finish(self) -> list[History]:
        """Run all vehicles to their ends and tell what became of them."""
        self._events()
        with np.errstate(all="ignore"):
            while self.who.size:
                self._advance()
                self._events()
                self._arrive()
        return self.record.histories()

    # ------------------------------------------------------------------------------------------------------ steps

    def _advance(self) -> None:
        """One step of every vehicle: taken, or to be tried again shorter."""
        stop = self._stop()
        room = stop - self.time
        wanted = np.minimum(self.step, self.aim)
        seconds = np.where(wanted >= room, room, np.where(wanted > 0.6 * room, room / 2, wanted))
        air = Air(self.fleet.network, self.litres, self.open_c, self.b, self.ends)
        after, error = air.step(self.pressure, seconds)
        share = np.abs(error / (ATOL + RTOL * np.abs(self.pressure))).max(axis=0, initial=1e-9)
        share = np.where(np.isfinite(share), share, 1e9)
        good = (share <= 1) | (seconds <= LEAST_STEP)
        margin = self.guards(self._sight(slice(None), self.time + seconds, after)) - self.play
        crossed = self.enabled & ((margin > 0) != self.holds) & good
        loose = crossed & (np.abs(margin) > EVENT_PASCALS) & (seconds > EVENT_SECONDS)
        late = loose.any(axis=0)
        taken = good & ~late
        self._chase(late, loose, seconds, margin)
        self._resize(taken, good, share, seconds)
        self.steps += 1
        self.forced += taken & (share > 1)
        self._take(taken, np.where(seconds >= room, stop, self.time + seconds), after, margin)

    def _stop(self) -> Floats:
        """The time each vehicle's next step may not pass."""
        acts = np.where(self.act_time > self.time, self.act_time, np.inf)
        planned = self.stops[np.minimum(np.searchsorted(self.stops, self.time, side="right"), len(self.stops) - 1)]
        found: Floats = np.minimum(np.minimum(self.fires.min(axis=0, initial=np.inf), acts), planned)
        return found

    def _resize(self, taken: Truths, good: Truths, share: Floats, seconds: Floats) -> None:
        factor = 0.9 * share ** (-1 / 3)
        longer = np.maximum(seconds * np.clip(factor, 0.2, 6.0), np.where(seconds < self.step, self.step, 0.0))
        shorter = seconds * np.clip(factor, 0.1, 0.7)
        self.step = np.where(taken, longer, np.where(good, self.step, np.maximum(shorter, LEAST_STEP)))

    def _chase(self, late: Truths, loose: Truths, seconds: Floats, margin: Floats) -> None:
        """Where a step went too far past a threshold, aim the next try at it, by the rule of the secant.

        A try that then ends before the threshold is a step taken, and one more aims at it from there; after that the step is
        free again. So every few tries a vehicle gets on, even where a longer step finds a crossing that shorter ones do not.
        """
        self.chased = np.where(late, loose, self.chased)
        self.goal_time = np.where(late, self.time + seconds, self.goal_time)
        self.goal_margin = np.where(late, margin, self.goal_margin)
        if late.any():
            self.aim = np.where(late, self._secant(), self.aim)

    def _secant(self) -> Floats:
        """Seconds from now to where the first chased guard changes, a little past it; infinite where none is chased.

        Shortened a little so that a curved path, whose secant always points to the same side, is caught from both.
        """
        near, far = np.abs(self.margin), np.abs(self.goal_margin)
        share = np.where(self.chased, (near + 0.3 * EVENT_PASCALS) / (near + far), np.inf).min(axis=0, initial=np.inf)
        seconds = np.minimum(share, 0.98) * (self.goal_time - self.time)
        return np.asarray(np.where(np.isfinite(share), np.maximum(seconds, 0.5 * EVENT_SECONDS), np.inf))

    def _take(self, taken: Truths, time: Floats, after: Floats, margin: Floats) -> None:
        self.time = np.where(taken, time, self.time)
        self.pressure = np.where(taken, after, self.pressure)
        self.margin = np.where(taken, margin, self.margin)
        now = self.margin > 0
        self.chased &= now == self.holds
        self.holds = now
        self.aim = np.where(taken, self._secant(), self.aim)
        self.chased &= ~taken
        self._due()
        columns = np.flatnonzero(taken)
        self._look_for_calm(columns)
        self._keep(columns)
        self._see(columns)

    # ----------------------------------------------------------------------------------------------------- events

    def _due(self) -> None:
        """Note when each move that is due will be made; a move that is due no longer is forgotten."""
        due = self.enabled & self.holds
        new = due & np.isinf(self.fires)
        self.fires[~due] = np.inf
        if new.any():
            moves, columns = np.nonzero(new)
            parts = self.owner[moves]
            since = self.time[columns] - self.moved[parts, columns]
            rapid = self.rapid[parts, columns] * np.exp(-since / RAPID_MEMORY)
            most = np.maximum(self.moving[parts, columns], self.longest[parts])
            seconds = self.moving[parts, columns] * 2.0 ** np.maximum(rapid - HUNTING_MOVES, 0.0)
            self.quick[moves, columns] = since < QUICK * self.moving[parts, columns]
            self.near[moves, columns] &= since < RAPID_MEMORY
            self.fires[moves, columns] = self.time[columns] + np.minimum(seconds, most)

    def _events(self) -> None:
        """Everything that happens at the present instant of each vehicle."""
        while True:
            moving = self.fires.min(axis=0, initial=np.inf) <= self.time
            acting = (self.act_time <= self.time) & (self.act_time < self.until)
            if acting.any():
                acting &= ~self._pending()
            columns = np.flatnonzero(moving | acting)
            if not columns.size:
                return
            before = self.open_c[:, columns]
            for column in columns.tolist():
                if moving[column]:
                    self._move(column)
                if acting[column]:
                    self._do(column)
            self._take_stock(columns)
            changed = columns[(before != self.open_c[:, columns]).any(axis=0)]
            self._restart(changed)
            self._see(columns)

    def _pending(self) -> Truths:
        """Whether some part is due that is neither delayed nor hunting, for each vehicle."""
        excused = (self._hunting() | self.delayed[:, None])[self.owner]
        return np.asarray((np.isfinite(self.fires) & ~excused).any(axis=0))

    def _hunting(self) -> Truths:
        """Which parts hunt, (parts, vehicles)."""
        return np.asarray(self.recent * np.exp((self.moved - self.time) / HUNTING_MEMORY) > HUNTING_MOVES)

    def _move(self, column: int) -> None:
        """Every part whose time has come makes its move, the one due longest where there are several."""
        time, who = float(self.time[column]), self.who[column]
        ripe = np.flatnonzero(self.fires[:, column] <= time)
        done: set[int] = set()
        for k in sorted(ripe.tolist(), key=lambda k: float(self.fires[k, column])):
            part = int(self.owner[k])
            if part in done:
                continue
            done.add(part)
            self.parts[part, column] = self.target[k]
            since = time - float(self.moved[part, column])
            quick = bool(self.quick[k, column])
            often = quick or bool(self.near[k, column])
            self.recent[part, column] = self.recent[part, column] * exp(-since / HUNTING_MEMORY) + often
            self.rapid[part, column] = self.rapid[part, column] * exp(-since / RAPID_MEMORY) + quick
            self.moved[part, column] = time
            move = self.fleet.moves[k][1]
            name = self.arrangement.parts[part].name
            self.record.happened(who, Happening(time, Moved(name, move.source, move.target)))
        gone = np.isin(self.owner, list(done))
        self.fires[gone, column] = np.inf

    def _do(self, column: int) -> None:
        act = self.scripts[self.who[column]][self.act[column]]
        match act.what:
            case Turn(control, position):
                row = [c.name for c in self.arrangement.controls].index(control)
                new = self.arrangement.controls[row].positions.index(position)
                changes = bool(self.controls[row, column] != new)
                self.controls[row, column] = new
            case Occur(mishap):
                row = [m.name for m in self.arrangement.mishaps].index(mishap)
                changes = not self.mishaps[row, column]
                self.mishaps[row, column] = True
            case Look(number):
                self.record.looked(self.who[column], number, float(self.time[column]))
                changes = False
        if changes and not isinstance(act.what, Look):
            self.record.happened(self.who[column], Happening(float(self.time[column]), act.what))
        self.acted[column] = self.time[column]
        self.act[column] += 1
        self._next_act(column)

    def _next_act(self, column: int) -> None:
        """Set the time of the next act: never again where there is none, unknown where it waits for calm."""
        script, at = self.scripts[self.who[column]], self.act[column]
        time = script[at].time if at < len(script) else None
        if time is None and at < len(script) and script[at].since:
            time = float(self.time[column]) + script[at].wait
        self.act_time[column] = np.inf if time is None else time
        self.calm[column] = np.inf

    @staticmethod
    def _waits(act: Act) -> bool:
        return act.time is None and not act.since

    def _look_for_calm(self, columns: Integers) -> None:
        """Of vehicles whose next act waits until they have settled, see which have."""
        scripts, act = self.scripts, self.act
        waits = [
            j
            for j in columns.tolist()
            if act[j] < len(scripts[self.who[j]]) and self._waits(scripts[self.who[j]][act[j]])
        ]
        if not waits:
            return
        at = np.array(waits, dtype=np.intp)
        air = Air(self.fleet.network, self.litres[:, at], self.open_c[:, at], self.b[:, at], self.ends)
        hunting = self._hunting()[:, at]
        hunts = hunting.any(axis=0)
        ways = air.displacement(self.pressure[:, at], self.tanks)
        near = np.abs(ways).max(axis=0, initial=0.0) < CALM_PASCALS + self.hunting_play * hunts
        restless = (np.isfinite(self.fires[:, at]) & ~hunting[self.owner]).any(axis=0)
        since = np.maximum(np.where(hunting, 0.0, self.moved[:, at]).max(axis=0, initial=0.0), self.acted[at])
        anew = since > self.since[at]
        self.since[at] = since
        self.risen[:, at] = (self.risen[:, at] & ~anew) | (ways < CALM_PASCALS)
        self.fallen[:, at] = (self.fallen[:, at] & ~anew) | (ways > -CALM_PASCALS)
        swings = (self.risen[:, at] & self.fallen[:, at]).all(axis=0)
        for_ever = hunts & swings & (self.time[at] - since > CALM_SECONDS)
        calm = ~restless & (near | for_ever)
        self.calm[at] = np.where(calm, np.minimum(self.calm[at], self.time[at]), np.inf)
        wait = np.array([scripts[self.who[j]][act[j]].wait for j in waits])
        self.act_time[at] = self.calm[at] + SETTLED_SECONDS + wait

    # ---------------------------------------------------------------------------------------------------- columns

    def _take_stock(self, columns: Integers) -> None:
        """After a change of parts, controls or mishaps: which passages are open, which moves are possible and due."""
        self.open_c[:, columns] = self.fleet.open_c(self.who[columns], self.parts[:, columns])
        hunting = self._hunting()[:, columns]
        self.play[:, columns] = np.where(hunting, self.hunting_play, 0.0)[self.owner]
        for part, j in zip(*np.nonzero(hunting), strict=True):
            self.record.hunts(self.who[columns[j]], self.arrangement.parts[part].name)
        margin = self.guards(self._sight(columns, self.time[columns], self.pressure[:, columns]))
        margin -= self.play[:, columns]
        self.margin[:, columns] = margin
        turned = self.moved[np.ix_(self.owner, columns)] == self.time[columns]
        back = margin + self.play[:, columns] > -2 * self.hunting_play
        self.near[:, columns] = np.where(turned, back, self.near[:, columns])
        self.enabled[:, columns] = self.parts[np.ix_(self.owner, columns)] == self.source[:, None]
        self.holds[:, columns] = margin > 0
        self.chased[:, columns] = False
        self.aim[columns] = np.inf
        self._due()

    def _restart(self, columns: Integers) -> None:
        """After a change of passages: a step short enough to see what comes of it."""
        if columns.size:
            air = Air(
                self.fleet.network, self.litres[:, columns], self.open_c[:, columns], self.b[:, columns], self.ends
            )
            rate = np.abs(air.net(self.pressure[:, columns]) / self.litres[:, columns]).max(axis=0, initial=1e-9)
            self.step[columns] = np.minimum(self.step[columns], CHANGE / rate)

    def _sight(self, columns: Integers | slice, times: Floats, pressures: Floats) -> Sight:
        kept = self.parts[:, columns], self.controls[:, columns], self.mishaps[:, columns]
        return Sight(times, pressures - self.atmosphere, *kept, self.who[columns])

    def _see(self, columns: Integers) -> None:
        if self.observers and columns.size:
            sight = self._sight(columns, self.time[columns], self.pressure[:, columns])
            for observer in self.observers:
                observer(sight)

    def _keep(self, columns: Integers) -> None:
        if self.keep:
            self.record.keep(self.who[columns], self.time[columns], self.pressure[:, columns].T - self.atmosphere)

    def _arrive(self) -> None:
        """Take the vehicles that have reached the end, or were given up, out of all arrays."""
        there = (self.time >= self.until) | (self.steps >= self.most_steps)
        for ending in self.endings:
            there |= ending.finished[self.who]
        if not there.any():
            return
        for j in np.flatnonzero(there).tolist():
            undone = len(self.scripts[self.who[j]]) - int(self.act[j])
            self.record.ended(self.who[j], float(self.time[j]), undone, int(self.forced[j]))
        for name in self._COLUMNS:
            setattr(self, name, getattr(self, name)[..., ~there])
