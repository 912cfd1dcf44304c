"""Small good files, to which the broken samples of the catalogue add their fault."""

from __future__ import annotations

#: The smallest arrangement with anything in it. What follows it directly belongs to its start.
SMALL = """\
format = "bandproof/1"

[arrangement]
name = "one tank"
unit = "psi"
highest = "150 psi"

[volumes.tank]
is = "tank"

[starts.cold]
"""

#: The same with a kind of its own, and what a part of that kind needs.
VALVE = (
    SMALL
    + """
[volumes.line]
is = "line"

[controls.knob]
positions = ["free", "pushed"]

[kinds."my valve"]
ports = ["inlet", "outlet"]
states = ["open", "shut"]
settings = ["opens"]
sizes = ["bore"]
controls = ["knob"]
mishaps = ["bursts"]
passages = [{ between = ["inlet", "outlet"], open_in = ["open"], size = "bore" }]
moves = [
  { from = "shut", to = "open", when = "knob is pushed or bursts has happened" },
  { from = "open", to = "shut", when = "inlet is below opens" },
]
"""
)

#: The head of a rule pack that names the small arrangement.
PACK = """\
format = "bandproof/1"

[pack]
name = "one tank rules"
models = ["models/small.toml"]
"""

#: The head of a script for the small arrangement.
SCRIPT = """\
format = "bandproof/1"

[script]
name = "one tank, looked at"
basis = "common practice, no source"
ends = "10 s"
"""

#: The arrangement that sample packs and scripts are applied to.
PACK_SUBJECT = (
    SMALL
    + """
[roles]
service_tank = "tank"
"""
)

#: The files that samples may mention, by name.
BESIDE = {"small.toml": SMALL}
