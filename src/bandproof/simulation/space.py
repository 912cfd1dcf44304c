"""The space of an arrangement's vehicles: the nominal one, vehicles drawn at random, and vehicles as given numbers.

A vehicle is a point of the unit cube with one axis for each free quantity, so that a search can vary all of them alike.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from bandproof.model.arrangement import Arrangement, Start
from bandproof.model.conditions import ALWAYS_TRUE
from bandproof.simulation.airflow import Floats
from bandproof.simulation.fleet import Fleet
from bandproof.simulation.vehicle import Quantity, Vehicle, quantities

#: How many candidates are drawn for each vehicle wanted before a start's condition is given up on.
PATIENCE = 1000


class Space:
    """All vehicles of `arrangement` that begin in `start`.

    A start's condition (`where`) is kept by drawing again. That a start is settled is not looked at: whoever needs it
    lets the air run first. `widened`: what is not declared may lie far beyond its everyday range.
    """

    def __init__(self, arrangement: Arrangement, start: Start, *, widened: bool = False) -> None:
        self.arrangement = arrangement
        self.start = start
        found = quantities(arrangement, start)
        self.quantities = tuple(q.widened() for q in found) if widened else found
        self.free = tuple(q for q in self.quantities if q.free)

    def vehicle(self, shares: Sequence[float] | Floats) -> Vehicle:
        """The vehicle at a point of the unit cube, one share for each of `free`. ValueError for another length."""
        if len(shares) != len(self.free):
            message = f"a vehicle here is a point of {len(self.free)} shares, not of {len(shares)}"
            raise ValueError(message)
        rest = iter(shares)
        return self._made([float(next(rest)) if q.free else 0.5 for q in self.quantities])

    def nominal(self) -> Vehicle:
        """The vehicle in the middle of every range; the first option where one of several is to be chosen."""
        return self._made([0.0 if q.options else 0.5 for q in self.quantities])

    def shares(self, vehicle: Vehicle) -> Floats:
        """The point of the unit cube at which a vehicle stands."""
        return np.array([q.share(_value(vehicle, q)) for q in self.free])

    def draw(self, generator: np.random.Generator, count: int) -> list[Vehicle]:
        """`count` vehicles drawn at random; the same for the same generator. ValueError when no start can be found."""
        found: list[Vehicle] = []
        tried = 0
        while len(found) < count and tried < PATIENCE * (1 + len(found)):
            found += self._fit([self.vehicle(row) for row in generator.random((count, len(self.free)))])
            tried += count
        if len(found) < count:
            message = f'no vehicle drawn keeps the condition of start "{self.start.name}"'
            raise ValueError(message)
        return found[:count]

    def given(self, numbers: Mapping[str, Mapping[str, Any]]) -> Vehicle:
        """The nominal vehicle with these numbers put in, as `numbers_of` writes them: table, then name, then value.

        ValueError with every name that is unknown and every value outside its range.
        """
        known = {(q.table, name_of(q)): i for i, q in enumerate(self.quantities)}
        shares = [0.0 if q.options else 0.5 for q in self.quantities]
        exact: dict[int, Any] = {}
        faults = []
        for table, name, value in ((t, n, v) for t, named in numbers.items() for n, v in named.items()):
            at = known.get((table, name))
            if at is None:
                faults.append(f'"{name}" is nothing a vehicle has a number for in "{table}"')
            elif not _inside(self.quantities[at], value):
                faults.append(f"{self.quantities[at].what} is {value}, outside {_range(self.quantities[at])}")
            else:
                exact[at], shares[at] = value, self.quantities[at].share(value)
        if faults:
            raise ValueError("; ".join(faults))
        return self._made(shares, exact)

    def keeps(self, vehicles: Sequence[Vehicle]) -> NDArray[np.bool_]:
        """Which of these vehicles keep the condition of the start."""
        if self.start.where == ALWAYS_TRUE or not vehicles:
            return np.ones(len(vehicles), dtype=bool)
        fleet = Fleet(self.arrangement, vehicles)
        return np.asarray(fleet.margin(self.start.where)(fleet.sight()) > 0)

    def _fit(self, drawn: list[Vehicle]) -> list[Vehicle]:
        return [vehicle for vehicle, kept in zip(drawn, self.keeps(drawn), strict=True) if kept]

    def _made(self, shares: Sequence[float], exact: Mapping[int, Any] | None = None) -> Vehicle:
        tables: dict[str, dict[Any, Any]] = {
            name: {} for name in ("settings", "litres", "c", "b", "pressures", "parts", "controls", "moving")
        }
        given = exact or {}
        for i, (quantity, share) in enumerate(zip(self.quantities, shares, strict=True)):
            tables[quantity.table][quantity.key] = given[i] if i in given else quantity.at(share)
        c, b = tables.pop("c"), tables.pop("b")
        assumed = tuple(q.noted(share) for q, share in zip(self.quantities, shares, strict=True) if q.assumed)
        return Vehicle(**tables, sizes={key: (c[key], b[key]) for key in c}, assumed=assumed)


def name_of(quantity: Quantity) -> str:
    """The name of a quantity within its table, as text."""
    if quantity.table == "settings":
        use = quantity.key
        return f"{use.part} {use.low}..{use.high} Pa"
    return f"{quantity.key[0]} {quantity.key[1]}" if quantity.table in "cb" else str(quantity.key)


def numbers_of(space: Space, vehicle: Vehicle) -> dict[str, dict[str, float | str]]:
    """All numbers of a vehicle as plain tables, which `Space.given` reads back to the last digit."""
    told: dict[str, dict[str, float | str]] = {}
    for quantity in space.quantities:
        told.setdefault(quantity.table, {})[name_of(quantity)] = _value(vehicle, quantity)
    return told


def _value(vehicle: Vehicle, quantity: Quantity) -> float | str:
    if quantity.table in "cb":
        value: float | str = vehicle.sizes[quantity.key]["cb".index(quantity.table)]
        return value
    table: Mapping[Any, float | str] = getattr(vehicle, quantity.table)
    return table[quantity.key]


def _inside(quantity: Quantity, value: Any) -> bool:
    if quantity.options:
        return value in quantity.options
    return isinstance(value, int | float) and quantity.low <= value <= quantity.high


def _range(quantity: Quantity) -> str:
    return " / ".join(quantity.options) or f"{quantity.low:g}..{quantity.high:g}"


def assumptions(vehicle: Vehicle) -> Iterator[str]:
    """A line for each assumed number of a vehicle, the unusual ones marked."""
    for one in vehicle.assumed:
        mark = " (outside the middle 90 %)" if one.unusual else ""
        yield f"{one.what}: {one.value:.3g}, assumed in {one.low:g}..{one.high:g}{mark}"
