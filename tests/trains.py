"""Road trains: the shipped two-knob tractor with more trailers behind the first, each fed from the one before.

Invented like the tractor. The claims of `properties/` speak of the first trailer, those of `PACK` of the last.
"""

from __future__ import annotations

from pathlib import Path

TRACTOR = Path(__file__).resolve().parents[1] / "models" / "two_knob_tractor.toml"

UNIT = """
[volumes.trailer_supply_line_N]
is = "line"
volume = "0.6 L"
[volumes.trailer_service_line_N]
is = "line"
volume = "0.6 L"
[volumes.trailer_tank_N]
is = "tank"
volume = "40 L"
[volumes.trailer_spring_chamber_N]
is = "chamber"
volume = "5..7 L"

[mishaps.hose_N_torn]
says = "the supply hose before trailer N tears"

[parts.supply_hose_N]
kind = "hose with coupling"
ports = { towing = "trailer_supply_lineM", towed = "trailer_supply_line_N" }
sizes = { bore = "hose_bore", open_end = "open_hose_end" }
mishaps = { parts = "hose_N_torn" }

[parts.service_hose_N]
kind = "hose with coupling"
ports = { towing = "trailer_service_lineM", towed = "trailer_service_line_N" }
sizes = { bore = "hose_bore", open_end = "open_hose_end" }

[parts.trailer_check_N]
kind = "trailer tank with check"
ports = { supply = "trailer_supply_line_N", tank = "trailer_tank_N" }
sizes = { seat = "trailer_tank_check" }

[parts.trailer_spring_valve_N]
kind = "trailer spring brake valve"
ports = { supply = "trailer_supply_line_N", tank = "trailer_tank_N", springs = "trailer_spring_chamber_N" }
settings = { runs = "trailer_runs", parks = "trailer_parks" }
sizes = { feed = "trailer_spring_feed", exhaust = "trailer_spring_exhaust" }

[parts.trailer_springs_N]
kind = "spring brake chamber"
ports = { chamber = "trailer_spring_chamber_N" }
settings = { holds_off = "springs_off" }

[starts.rolling.parts]
trailer_spring_valve_N = "running"
trailer_springs_N = "released"

[starts.rolling.pressures]
trailer_service_line_N = "0 psi"
"""

#: An entry replaces the inherited one of its name as a whole.
ROLLING = """
[starts.rolling]
says = "under way: tanks full, both knobs in, all trailers charged, foot off the pedal"
[starts.rolling.pressures]
others = "100..120 psi"
service_line = "0 psi"
service_coupling = "0 psi"
trailer_service_line = "0 psi"
[starts.rolling.parts]
park_control = "in"
trailer_control = "in"
pilot_stage = "passing"
tractor_springs = "released"
protection_valve = "open"
trailer_spring_valve = "running"
trailer_springs = "released"
"""

LAST = """
[roles]
last_hose_torn = "TORN"
last_springs = "SPRINGS"
"""

PACK = """
format = "bandproof/1"

[pack]
name = "the last trailer of a train"
says = "what becomes of a train whose last hose tears"

[[property]]
id = "last-hose-torn-parks-last-trailer"
says = "Under way, the hose before the last trailer torn: once the air has settled, the last trailer's springs are on."
basis = "common practice, no source"
during = "rolling"
driver = "hands off"
mishaps = ["last_hose_torn"]
settled = { when = "last_hose_torn has happened", then = "last_springs is applied" }

[[property]]
id = "last-hose-torn-lets-trailer-knob-go"
says = "Under way, the hose before the last trailer torn: once the air has settled, the trailer knob is out."
basis = "common practice, no source"
during = "rolling"
driver = "hands off"
mishaps = ["last_hose_torn"]
settled = { when = "last_hose_torn has happened", then = "trailer_control is out" }

[[property]]
id = "last-hose-torn-race"
says = "Under way, the hose before the last trailer torn: the first trailer's springs come on before its tank is below 60 psi."
basis = "common practice, no source"
during = "rolling"
driver = "hands off"
mishaps = ["last_hose_torn"]
never = "trailer_tank is below 60 psi and trailer_springs is released"
"""


def train(units: int) -> str:
    """The text of an arrangement with so many trailers, at least one."""
    more = [
        UNIT.replace("_N", f"_{number}")
        .replace("trailer N", f"trailer {number}")
        .replace("lineM", f"line_{number - 1}" if number > 2 else "line")
        for number in range(2, units + 1)
    ]
    last = LAST.replace("TORN", f"hose_{units}_torn" if more else "supply_hose_torn")
    last = last.replace("SPRINGS", f"trailer_springs_{units}" if more else "trailer_springs")
    head = f'format = "bandproof/1"\nextends = "{TRACTOR.as_posix()}"\n\n[arrangement]\nname = "train of {units}"\n'
    return head + _tables(ROLLING + "".join(more)) + last


def _tables(text: str) -> str:
    """The text with what stands under one heading more than once brought together."""
    tables: dict[str, list[str]] = {}
    heading = ""
    for line in filter(None, text.splitlines()):
        if line.startswith("["):
            heading = line
        else:
            tables.setdefault(heading, []).append(line)
    return "".join("\n" + "\n".join([heading, *lines]) + "\n" for heading, lines in tables.items())
