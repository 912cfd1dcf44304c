"""A small arrangement and a rule pack that gets every verdict out of it, for the tests of the shells.

A pump fills a tank. A hand valve joins the brake to the tank or vents it.
"""

from __future__ import annotations

from pathlib import Path

ARRANGEMENT = """\
format = "bandproof/1"

[arrangement]
name = "hand valve"
unit = "psi"
highest = "150 psi"
start = "empty"

[volumes]
tank = { is = "tank", volume = "20 L" }
brake = { is = "chamber", volume = "1 L" }

[controls]
lever = { positions = ["back", "forward"] }

[kinds."pump"]
says = "Fills a tank without end."
ports = ["tank"]
states = ["running"]
passages = [{ from = "source", to = "tank" }]

[kinds."hand valve"]
says = "Joins the brake to the tank, or vents it."
ports = ["tank", "brake"]
states = ["venting", "feeding"]
controls = ["lever"]
passages = [
  { between = ["tank", "brake"], open_in = ["feeding"] },
  { from = "brake", to = "atmosphere", open_in = ["venting"] },
]
moves = [
  { from = "venting", to = "feeding", when = "lever is forward" },
  { from = "feeding", to = "venting", when = "lever is back" },
]

[parts]
pump = { kind = "pump", ports = { tank = "tank" } }
valve = { kind = "hand valve", ports = { tank = "tank", brake = "brake" }, controls = { lever = "lever" } }

[roles]
tank = "tank"
brake = "brake"
lever = "lever"
valve = "valve"

[starts.empty]

[starts.braked]
where = "brake is at least 100 psi"
from = "empty"

[starts.told]
where = "brake is at least 100 psi"
assumed = true

[starts.ready]
pressures = { tank = "110..120 psi" }

[starts.impossible]
where = "brake is at least 100 psi and tank is below 20 psi"
from = "empty"
"""

PROVEN = """
[[property]]
id = "back-vents"
says = "With the lever back the brake is empty once settled."
basis = "common practice, no source"
settled.when = "lever is back"
settled.then = "brake is below 20 psi"
"""

SHOWN = """
[[property]]
id = "brake-fills"
says = "The brake can be filled."
basis = "common practice, no source"
reachable = "brake is at least 100 psi"
"""

REFUTED = """
[[property]]
id = "brake-stays-empty"
says = "The brake never holds 20 psi."
basis = "common practice, no source"
caution = "Chock the wheels."
never = "brake is at least 20 psi"
"""

#: A quick hand takes the lever back at once; who lets the air settle sees the brake full first.
HURRIED = """
[[property]]
id = "follows-at-once"
says = "The valve follows the lever back at once."
basis = "common practice, no source"
during = "ready"
never = "lever is back and valve is feeding"
"""

ABSENT = """
[[property]]
id = "trailer-vents"
says = "The trailer line is vented."
basis = "common practice, no source"
settled.when = "always"
settled.then = "trailer_line is below 5 psi"
"""

EMPTY = """
[[property]]
id = "both-ways"
says = "With the lever in both positions at once the brake is empty."
basis = "common practice, no source"
settled.when = "lever is back and lever is forward"
settled.then = "brake is below 20 psi"
"""

HEAD = """\
format = "bandproof/1"

[pack]
name = "hand valve rules"
models = ["../models/hand_valve.toml"]
"""

#: Goes right behind the head.
EXPECTED = """\
[pack.expected."../models/hand_valve.toml"]
refuted = ["brake-stays-empty"]
"""

ALL = HEAD + PROVEN + SHOWN + REFUTED + ABSENT + EMPTY


def lay(folder: Path, pack: str = ALL, arrangement: str = ARRANGEMENT) -> Path:
    """Put the arrangement and a pack where they belong below `folder`; the arrangement's path."""
    model = folder / "models" / "hand_valve.toml"
    model.parent.mkdir()
    model.write_text(arrangement, encoding="utf-8")
    rules = folder / "properties" / "rules.toml"
    rules.parent.mkdir()
    rules.write_text(pack, encoding="utf-8")
    return model
