"""A claim about settled states that only a to and fro of the bands breaks is refuted by a vehicle, or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from bandproof.deciding.cases import load_cases
from bandproof.deciding.one import Decider
from bandproof.findings.finding import Finding, Verdict
from bandproof.findings.reasons import NoVehicle

HEAD = """\
format = "bandproof/1"
[arrangement]
name = "yard rig"
unit = "psi"
highest = "150 psi"
start = "s"
[sizes]
wide = { C = "3..4", b = "0.3" }
narrow = { C = "0.5..1", b = "0.3" }
[kinds.vent]
says = "open to the air"
ports = ["a"]
states = ["open"]
sizes = ["bore"]
passages = [{ from = "a", to = "atmosphere", size = "bore" }]
"""

#: One inlet of the double check has 100 psi and more, the other is vented: the outlet fills from the first.
SHUTTLE = """
[volumes]
tank = { is = "tank", volume = "40 L" }
a = { is = "line", volume = "0.3 L" }
b = { is = "line", volume = "0.3 L" }
half = { is = "chamber", volume = "2 L" }
[parts.pipe]
kind = "pipe"
ports = { one_end = "tank", other_end = "a" }
sizes = { bore = "wide" }
[parts.vent]
kind = "vent"
ports = { a = "b" }
sizes = { bore = "wide" }
[parts.shuttle]
kind = "double check"
ports = { first = "a", second = "b", outlet = "half" }
sizes = { seat = "wide" }
[starts.s.pressures]
tank = "100..120 psi"
"""

#: Feeds below 38 psi, shuts at 42 psi, against a leak: it goes to and fro for ever, and 5 psi is far below.
REGULATOR = """
[volumes]
half = { is = "line", volume = "0.5 L" }
tank = { is = "tank", volume = "5 L" }
[kinds.regulator]
says = "feeds below the one setting, shuts at the other"
ports = ["a"]
states = ["shut", "feeding"]
sizes = ["bore"]
passages = [{ from = "source", to = "a", open_in = ["feeding"], size = "bore" }]
moves = [
  { from = "shut", to = "feeding", when = "a is below 38 psi" },
  { from = "feeding", to = "shut", when = "a is at least 42 psi" },
]
[parts.leak]
kind = "vent"
ports = { a = "half" }
sizes = { bore = "narrow" }
[parts.regulator]
kind = "regulator"
ports = { a = "half" }
sizes = { bore = "wide" }
[starts.s]
"""

RULES = """\
format = "bandproof/1"
[pack]
name = "rules"
[[property]]
id = "asked"
says = "what is asked"
basis = "common practice, no source"
driver = "hands off"
settled.when = "always"
settled.then = "half is {then}"
"""


def decided(folder: Path, arrangement: str, then: str) -> Finding:
    """The finding about one claim, settled, of one arrangement."""
    roles = '[roles]\nhalf = "half"\n'
    (folder / "rig.toml").write_text(HEAD + arrangement + roles, encoding="utf-8")
    (folder / "rules.toml").write_text(RULES.replace("{then}", then), encoding="utf-8")
    (case,) = load_cases([folder / "rig.toml"], [folder / "rules.toml"])
    return Decider(case).decide(case.claims[0])


@pytest.mark.thorough
@pytest.mark.slow
def test_what_no_vehicle_does_is_not_refuted(tmp_path: Path) -> None:
    finding = decided(tmp_path, SHUTTLE, "at least 60 psi")
    assert finding.verdict is Verdict.UNDECIDED
    (reason,) = finding.reasons
    assert isinstance(reason, NoVehicle)
    assert reason.tried >= 300
    assert finding.story is None


@pytest.mark.slow
def test_what_a_vehicle_does_for_ever_is_refuted(tmp_path: Path) -> None:
    finding = decided(tmp_path, REGULATOR, "below 5 psi")
    assert finding.verdict is Verdict.REFUTED
    assert finding.story is not None
