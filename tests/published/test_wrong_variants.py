"""Every published case has a wrong variant that fails, and fails for the reason it was made wrong.

The verdicts themselves are tests of the packs in `rules/`. Here the stories are looked into: what the driver and the
surroundings do in them, and where they leave the part or space that is wrong.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest

from bandproof.findings.finding import Verdict
from bandproof.machine.semantics import Reading
from bandproof.properties.packs import expected_verdicts, load_pack, model_files
from bandproof.text.units import parse_pressure
from tests.published.deciding import RULES, done, posed

pytestmark = pytest.mark.slow


@dataclass(frozen=True, slots=True)
class Wrong:
    """A claim that a wrong variant breaks, what is done in the story, in any order, and what its last state shows."""

    arrangement: str
    rules: str
    claim: str
    done: tuple[str, ...]
    ends: Callable[[Reading], bool]
    #: Where the arrangement is alike on both sides, what is done and shown in a story about the other side.
    mirrored: tuple[tuple[str, ...], Callable[[Reading], bool]] | None = None


def stands(part: str, state: str) -> Callable[[Reading], bool]:
    """The part is left in a state."""
    return lambda reading: reading.part[part] == state


def lost(volume: str, pressure: str) -> Callable[[Reading], bool]:
    """The volume is left below a pressure."""
    return lambda reading: reading.high(volume) <= parse_pressure(pressure)


def holds(volume: str, pressure: str) -> Callable[[Reading], bool]:
    """The volume is left at or above a pressure."""
    return lambda reading: reading.low(volume) >= parse_pressure(pressure)


BOTH_PARTED = ("supply_parted", "service_parted", "pedal applied")

TABLE = (
    # Saskatchewan Air Brake Manual, combination pre-trip steps 8, 9 and 10.
    Wrong(
        "combination_crossed_hoses",
        "break_service_line",
        "no-loss-at-all",
        ("service_parted",),
        lost("supply_line", "100 psi"),
    ),
    Wrong(
        "combination_low_release",
        "break_supply_line",
        "tractor-keeps-20",
        ("supply_parted",),
        stands("trailer_control", "in"),
    ),
    Wrong(
        "combination_bleeds_back",
        "break_supply_line",
        "trailer-coupling-quiet",
        ("supply_parted",),
        holds("trailer_tank", "5 psi"),
    ),
    Wrong(
        "combination_bleeds_back",
        "break_supply_line",
        "trailer-tank-keeps-its-air",
        ("supply_parted",),
        lost("trailer_tank", "100 psi"),
    ),
    Wrong(
        "combination_springs_not_vented",
        "break_supply_line",
        "trailer-brakes-apply",
        ("supply_parted",),
        lost("trailer_supply_line", "5 psi"),
    ),
    Wrong(
        "combination_no_protection",
        "apply_after_break",
        "application-costs-no-air",
        BOTH_PARTED,
        stands("trailer_control", "out"),
    ),
    # BC Driving Commercial Vehicles p. 172.
    Wrong(
        "dual_circuit_fed_from_one",
        "dual_shut_off",
        "waits-for-the-higher-tank",
        ("tank_1_lost",),
        holds("service_tank_2", "100 psi"),
    ),
    Wrong(
        "dual_circuit_fed_from_lower",
        "dual_shut_off",
        "waits-for-the-higher-tank",
        ("tank_1_lost",),
        holds("service_tank_2", "100 psi"),
        (("tank_2_lost",), holds("service_tank_1", "100 psi")),
    ),
    # Interpretation nht76-5.77.
    Wrong(
        "split_system_second_control_both",
        "second_control",
        "second-control-fails",
        ("second_control_failure",),
        stands("second_control", "broken"),
    ),
    # FMVSS 121 S5.8.2.
    Wrong(
        "supply_retention_unprotected", "supply_retention", "tank-leak", ("tank_leak",), lost("trailer_tank", "70 psi")
    ),
    Wrong(
        "supply_retention_set_to_65",
        "supply_retention",
        "tank-leak",
        ("tank_leak",),
        stands("protection_valve", "open"),
    ),
    Wrong(
        "supply_retention_set_to_65",
        "supply_retention",
        "brake-line-leak",
        ("brake_line_leak", "rig_pedal applied"),
        stands("relay_valve", "applied"),
    ),
    Wrong(
        "supply_retention",
        "supply_retention",
        "excluded-supply-line-leak",
        ("supply_line_leak",),
        stands("protection_valve", "shut"),
    ),
    Wrong(
        "supply_retention",
        "supply_retention",
        "excluded-protection-valve-leak",
        ("protection_valve_leak",),
        stands("protection_valve", "shut"),
    ),
    Wrong(
        "supply_retention_springs_from_supply",
        "supply_retention",
        "excluded-parking-chamber-leak",
        ("parking_chamber_leak",),
        lost("parking_chambers", "75 psi"),
    ),
)


@pytest.mark.parametrize("wrong", TABLE, ids=lambda wrong: f"{wrong.arrangement}-{wrong.claim}")
def test_it_fails_for_the_reason_it_was_made_wrong(wrong: Wrong) -> None:
    here = posed(wrong.arrangement, wrong.rules)
    decision = here.decide(wrong.claim)
    assert decision.verdict is Verdict.REFUTED
    assert decision.story is not None
    sides = [(wrong.done, wrong.ends), *([wrong.mirrored] if wrong.mirrored else [])]
    ends = [shown for actions, shown in sides if sorted(actions) == sorted(done(decision.story))]
    assert len(ends) == 1
    assert ends[0](Reading(here.layout, decision.story.states[-1]))


@pytest.mark.parametrize("rules", sorted(path.stem for path in RULES.glob("*.toml")))
def test_every_pack_expects_a_failure(rules: str) -> None:
    pack = load_pack(RULES / f"{rules}.toml")
    assert any("refuted" in expected_verdicts(pack, model).values() for model in model_files(pack))
