"""The shipped twins, and the edits of the base arrangement that make each of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from bandproof.model.arrangement import Arrangement, Range
from bandproof.model.edits import add_passage, bypass_part, change_setting, change_size, remove_part
from bandproof.model.loader import load_arrangement
from bandproof.text.units import parse_pressures

ROOT = Path(__file__).parents[3]
BASE = ROOT / "models" / "two_knob_tractor.toml"
TWINS = {path.stem: path for path in (ROOT / "models" / "twins").glob("*.toml")}


def _in_series(base: Arrangement) -> str:
    """The part between the trailer control's delivery and the supply line."""
    ends = {"trailer_delivery", "supply_line"}
    return next(part.name for part in base.parts if ends <= {volume for _, volume in part.ports})


def _fed_from_one_tank(base: Arrangement) -> Arrangement:
    seat = base.size("double_check_seat")
    without = remove_part(base, "double_check")
    return add_passage(without, "knob_feed_pipe", "service_tank_1", "knob_feed", size=seat)


def _abrupt_stage(base: Arrangement) -> Arrangement:
    return change_size(base, "stage_throttle", c=Range(Fraction("2.3"), Fraction("2.7")))


def _feed_too_large(base: Arrangement) -> Arrangement:
    return change_size(base, "trailer_feed", c=Range(Fraction("5.4"), Fraction("6.6")))


def _no_stage(base: Arrangement) -> Arrangement:
    return bypass_part(base, _in_series(base), "inlet", "outlet", size=base.size("stage_bore"))


def _protection_valve_stays_open(base: Arrangement) -> Arrangement:
    return bypass_part(base, "protection_valve", "service_in", "service_out", size=base.size("protection_bore"))


def _release_below_stage(base: Arrangement) -> Arrangement:
    return change_setting(base, "trailer_release", *parse_pressures("5..10 psi"))


_MADE = {
    "abrupt_stage": _abrupt_stage,
    "fed_from_one_tank": _fed_from_one_tank,
    "feed_too_large": _feed_too_large,
    "protection_valve_stays_open": _protection_valve_stays_open,
    "release_below_stage": _release_below_stage,
}


def made(twin: str) -> Arrangement:
    """The twin made from the base by edits alone."""
    edit: Callable[[Arrangement], Arrangement] = _no_stage if twin.startswith("no_") else _MADE[twin]
    return edit(load_arrangement(BASE))


def bare(arrangement: Arrangement) -> Arrangement:
    """The arrangement without what only people read: names of kinds, remarks, and which text it came from."""
    return replace(
        arrangement,
        name="",
        says="",
        caution="",
        file="",
        sha256="",
        parts=tuple(replace(part, kind="", says="") for part in arrangement.parts),
        settings=tuple(replace(setting, says="", basis="") for setting in arrangement.settings),
    )
