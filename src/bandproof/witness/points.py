"""Vehicles and times of acts together, as points of a unit cube for a search.

The axes are the free numbers of a vehicle (`bandproof.simulation.space`), then for each act the time before it: from the act
before, or, where it waits for that, from when the vehicle has settled; by ratio, from SOONEST to LATEST seconds. A plan of many
acts is done evenly: there the same deed has the same time before it whenever it comes, so that an axis stands for each deed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import ALWAYS_TRUE, AtLeast, Below
from bandproof.model.numbers import number_of
from bandproof.model.walker import leaves
from bandproof.simulation.airflow import Floats
from bandproof.simulation.script import Act, Look, Script
from bandproof.simulation.space import Space
from bandproof.simulation.vehicle import Quantity, SettingUse, Vehicle
from bandproof.witness.script_of import Plan, PlannedAct

#: Seconds: a hand that is as quick as can be, and a long wait.
SOONEST = 0.02
LATEST = 1800.0
#: The power to which a share is raised to draw it near a threshold: one application of the brakes takes a psi from a tank.
NEARER = 4
#: A plan of more acts than this is done evenly.
MANY = 8
#: How many candidates are drawn for each vehicle wanted before a start's condition is given up on.
PATIENCE = 1000


class Points:
    """All vehicles that begin as a plan says, with all times of its acts."""

    def __init__(self, space: Space, plan: Plan, *, even: bool | None = None) -> None:
        self.space, self.plan = space, plan
        self.numbers = len(space.free)
        self.even = len(plan.acts) > MANY if even is None else even
        self._axes = _axes(plan, even=self.even)
        self.size = self.numbers + max(self._axes, default=-1) + 1 + len(plan.loose)
        self._same = _shared(space)
        self._fixed = dict(_begins(space, plan))
        pressures = [q.key if q.table == "pressures" else "" for q in space.free]
        self._above = np.array([name in plan.above for name in pressures], dtype=bool)
        self._below = np.array([name in plan.below for name in pressures], dtype=bool)
        self._spans = np.array([_span(q, plan) for q in space.free]).reshape(-1, 2)

    def draw(self, generator: np.random.Generator, count: int, *, guided: bool = False) -> Floats:
        """`count` points drawn at random; `guided`: on the sides of thresholds where the plan begins, half of them near those.

        ValueError when no point keeps the condition of the start.
        """
        found = np.zeros((0, self.size))
        tried = 0
        while len(found) < count and tried < PATIENCE * count:
            drawn = generator.random((count, self.size))
            if guided:
                drawn[:, : self.numbers] = self._guided(drawn[:, : self.numbers])
            found = np.concatenate([found, drawn[self.allowed(self.vehicles(drawn))]])
            tried += count
        if len(found) < count:
            message = f'no vehicle drawn keeps the condition of start "{self.space.start.name}"'
            raise ValueError(message)
        return found[:count]

    def _guided(self, shares: Floats) -> Floats:
        """Shares of numbers drawn anew on the sides of thresholds; of every other point, near them."""
        low, high = self._spans.T
        near = shares[::2]
        near[:] = np.where(self._above, near**NEARER, np.where(self._below, 1 - (1 - near) ** NEARER, near))
        return np.asarray(low + shares * (high - low))

    def vehicles(self, points: Floats) -> list[Vehicle]:
        """The vehicle of each point."""
        shares = points[:, : self.numbers].copy()
        for axis, leader in self._same.items():
            shares[:, axis] = shares[:, leader]
        for axis, share in self._fixed.items():
            shares[:, axis] = share
        return [self.space.vehicle(row) for row in shares]

    def allowed(self, vehicles: Sequence[Vehicle]) -> np.typing.NDArray[np.bool_]:
        """Which vehicles keep the condition of the start."""
        return self.space.keeps(vehicles)

    def gaps(self, points: Floats) -> Floats:
        """Seconds before each act, and before each loose mishap from the start, (points, acts and loose mishaps)."""
        loose = range(self.size - len(self.plan.loose), self.size)
        axes = [*(self.numbers + axis for axis in self._axes), *loose]
        return np.asarray(SOONEST * (LATEST / SOONEST) ** points[:, axes])

    def with_gap(self, points: Floats, act: int, seconds: Floats) -> Floats:
        """The points with other seconds before one act; of a plan done evenly, before each like it."""
        found = points.copy()
        shares = np.log(np.clip(seconds, SOONEST, LATEST) / SOONEST) / np.log(LATEST / SOONEST)
        found[:, self.numbers + self._axes[act]] = shares
        return found

    def freely(self, row: Floats) -> tuple[Points, Floats]:
        """One point in the points of the same plan in which each act has a time of its own, and none is loose."""
        gaps = self.gaps(row[None])
        (script,) = self.scripts(gaps)
        planned = {act.what: act for act in self.plan.acts}
        acts = tuple(
            planned.get(act.what, PlannedAct(act.what, ALWAYS_TRUE)) for act in script if not isinstance(act.what, Look)
        )
        free = Points(self.space, replace(self.plan, acts=acts, loose=()), even=False)
        times = np.array([act.time or 0.0 for act in script])
        after = np.diff(times, prepend=0.0)
        waits = np.array([act.wait for act in script])
        return free, free.with_gaps(row[: self.numbers], np.where([act.time is None for act in script], waits, after))

    def with_gaps(self, numbers: Floats, gaps: Floats) -> Floats:
        """The point, of a plan not done evenly, with these shares of numbers and seconds before its acts."""
        shares = np.log(np.clip(gaps, SOONEST, LATEST) / SOONEST) / np.log(LATEST / SOONEST)
        return np.concatenate([numbers, shares])

    def scripts(self, gaps: Floats, acts: int | None = None) -> list[Script]:
        """The script of each row of gaps, or its first `acts` acts.

        What comes after an act that waits for the vehicle to settle waits for that too; a loose mishap comes before it.
        """
        planned, loose, count = self.plan.acts[:acts], self.plan.loose, len(self.plan.acts)
        waits = np.cumsum([act.settles for act in planned], dtype=np.intp) > 0
        scripts: list[Script] = []
        for row in gaps.tolist():
            times = np.cumsum(row[:count])
            timed = [Act(act.what, float(times[k])) for k, act in enumerate(planned) if not waits[k]]
            timed += [Act(what, seconds) for what, seconds in zip(loose, row[count:], strict=False)]
            waiting = [Act(act.what, None, row[k]) for k, act in enumerate(planned) if waits[k]]
            scripts.append((*sorted(timed, key=lambda act: act.time or 0.0), *waiting))
        return scripts


def _axes(plan: Plan, *, even: bool) -> list[int]:
    """The axis of each act, counted from the first of acts."""
    if not even:
        return list(range(len(plan.acts)))
    kinds: dict[object, int] = {}
    return [kinds.setdefault((act.what, act.settles), len(kinds)) for act in plan.acts]


def _shared(space: Space) -> dict[int, int]:
    """Axes of settings that all parts share, with the axis whose number they take."""
    uses = shared_settings(space.arrangement)
    leaders: dict[object, int] = {}
    same: dict[int, int] = {}
    for axis, quantity in enumerate(space.free):
        name = uses.get(quantity.key) if quantity.table == "settings" else None
        if name is not None:
            leader = leaders.setdefault(name, axis)
            if leader != axis:
                same[axis] = leader
    return same


def shared_settings(arrangement: Arrangement) -> dict[SettingUse, str]:
    """The name of the shared setting behind each use of one."""
    found: dict[SettingUse, str] = {}
    for part in arrangement.parts:
        for atom in (leaf for move in part.moves for leaf in leaves(move.when)):
            if isinstance(atom, Below | AtLeast):
                number = number_of(arrangement, part.name, atom)
                if number is not None and not number.part:
                    found[SettingUse(part.name, atom.low, atom.high)] = number.setting
    return found


def _begins(space: Space, plan: Plan) -> list[tuple[int, float]]:
    """Axes that say how a part or control begins, with the share at which the plan has it."""
    tables = {"parts": plan.parts, "controls": plan.controls}
    return [
        (axis, quantity.share(wanted))
        for axis, quantity in enumerate(space.free)
        if (wanted := tables.get(quantity.table, {}).get(quantity.key)) in quantity.options and wanted is not None
    ]


def _span(quantity: Quantity, plan: Plan) -> tuple[float, float]:
    """The shares within which a volume is on the side of a threshold where the plan begins; all for anything else."""
    low, high = 0.0, 1.0
    if quantity.table == "pressures":
        if quantity.key in plan.above:
            low = quantity.share(float(plan.above[quantity.key]))
        if quantity.key in plan.below:
            high = quantity.share(float(plan.below[quantity.key]))
    low, high = max(low, 0.0), min(high, 1.0)
    return (low, high) if low < high else (0.0, 1.0)


def moved(vehicle: Vehicle, pressures: Floats, settings: Floats) -> Vehicle:
    """The vehicle with each start pressure and each setting moved by so many pascals."""
    return replace(
        vehicle,
        pressures={name: max(p + by, 0.0) for (name, p), by in zip(vehicle.pressures.items(), pressures, strict=True)},
        settings={use: p + by for (use, p), by in zip(vehicle.settings.items(), settings, strict=True)},
    )
