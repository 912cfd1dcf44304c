"""In which column of which vehicle each figure of the piping drawing stands: as far on as the air has come.

A hose parts two vehicles and stands between them: before the first vehicle that as many hoses in a row lead to. What no hose
joins to anything belongs to the largest vehicle.
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
    behind = _behind(upstream, hoses)

    def level(vehicle: set[str]) -> int:
        return max((behind[hose] for key in vehicle for hose in upstream[key] & hoses), default=0)

    vehicles = sorted(
        _together(_parted(beside, hoses), hoses, beside), key=lambda one: (level(one), -len(one), min(one))
    )
    column_of: dict[str, int] = {}
    spans: list[tuple[int, int]] = []
    at = 0
    for vehicle in vehicles:
        between = {hose for hose in hoses - set(column_of) if behind[hose] <= level(vehicle)}
        column_of |= dict.fromkeys(between, at)
        at += bool(between)
        deep = _depths(vehicle, upstream)
        column_of |= {key: at + depth for key, depth in deep.items()}
        spans.append((at, at + max(deep.values())))
        at = spans[-1][1] + 1
    last = max((behind[hose] for hose in set(column_of) & hoses), default=0) + 1
    column_of |= {hose: at + behind[hose] - last for hose in hoses - set(column_of)}
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


def _behind(upstream: Mapping[str, set[str]], hoses: set[str]) -> dict[str, int]:
    """How many hoses in a row the air has passed at the far end of each, itself among them."""
    only = {hose: (upstream[hose] & hoses) - {hose} for hose in hoses}
    return {hose: depth + 1 for hose, depth in _depths(hoses, only).items()}


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
