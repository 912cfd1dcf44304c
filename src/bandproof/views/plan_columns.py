"""In which column of which vehicle each figure of the piping drawing stands: as far on as the air has come.

A hose parts two vehicles and stands between them. What no hose joins to anything belongs to the largest of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from bandproof.model.graph import reachable


@dataclass(frozen=True, slots=True)
class Columns:
    """The first and last column of each vehicle, from the towing one on, and the column of every figure."""

    vehicles: tuple[tuple[int, int], ...]
    column_of: dict[str, int]


def columns_of(upstream: Mapping[str, set[str]], hoses: set[str]) -> Columns:
    """Columns for figures; `upstream` has for each those whose air comes to it directly, hoses among them."""
    beside = {key: set(some) for key, some in upstream.items()}
    for key, some in upstream.items():
        for one in some:
            beside[one].add(key)
    vehicles = _in_order(_together(_parted(beside, hoses), hoses, beside), hoses, upstream, beside)
    column_of: dict[str, int] = {}
    spans: list[tuple[int, int]] = []
    at = 0
    for place, vehicle in enumerate(vehicles):
        before = {one for earlier in vehicles[:place] for one in earlier}
        between = {hose for hose in hoses - set(column_of) if beside[hose] & vehicle and beside[hose] & before}
        column_of |= dict.fromkeys(between, at)
        at += bool(between)
        deep = _depths(vehicle, upstream)
        column_of |= {key: at + depth for key, depth in deep.items()}
        spans.append((at, at + max(deep.values())))
        at = spans[-1][1] + 1
    for hose in hoses - set(column_of):
        ends = [span[1] + 1 for span, vehicle in zip(spans, vehicles, strict=True) if beside[hose] & vehicle]
        column_of[hose] = min(ends, default=at)
    return Columns(tuple(spans), column_of)


def _parted(beside: Mapping[str, set[str]], hoses: set[str]) -> list[set[str]]:
    """What hangs together without the hoses."""
    parts: list[set[str]] = []
    for key in beside:
        if key not in hoses and not any(key in part for part in parts):
            parts.append(reachable([key], lambda here: beside[here] - hoses))
    return parts


def _together(parts: list[set[str]], hoses: set[str], beside: Mapping[str, set[str]]) -> list[set[str]]:
    """The parts that hang together, those that no hose joins to another taken together with the largest."""
    joined = [part for part in parts if any(beside[hose] & part for hose in hoses)]
    alone = set[str]().union(*(part for part in parts if part not in joined))
    if not joined:
        return [alone] if alone else []
    largest = max(joined, key=len)
    return [part | alone if part is largest else part for part in joined]


def _in_order(
    vehicles: list[set[str]], hoses: set[str], upstream: Mapping[str, set[str]], beside: Mapping[str, set[str]]
) -> list[set[str]]:
    """The vehicles as hoses lead from one to the next, beginning with the largest that no hose feeds."""
    towed = {key for key, some in upstream.items() if some & hoses}
    order: list[set[str]] = []
    left = list(vehicles)
    while left:
        before = {one for vehicle in order for one in vehicle}
        joined = [v for v in left if any(beside[hose] & v and beside[hose] & before for hose in hoses)]
        fresh = [v for v in left if not v & towed] or left
        order.append(joined[0] if joined else max(fresh, key=len))
        left.remove(order[-1])
    return order


def _depths(vehicle: set[str], upstream: Mapping[str, set[str]]) -> dict[str, int]:
    """How many figures the air has passed before each, at most; a way round that comes back to itself is not followed."""
    found: dict[str, int] = {}
    under_way: set[str] = set()

    def depth(key: str) -> int:
        if key not in found:
            under_way.add(key)
            ahead = sorted(one for one in upstream[key] if one in vehicle and one not in under_way)
            found[key] = max((depth(one) + 1 for one in ahead), default=0)
            under_way.discard(key)
        return found[key]

    for key in sorted(vehicle):
        depth(key)
    return found
