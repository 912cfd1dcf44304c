"""The kinds that hunt, hold and pump, for the tables about them, and how a part of any kind is written."""

from __future__ import annotations

from collections.abc import Mapping

from tests.conformance.table_sized import size

#: Feeds its port from the source below one pressure, and shuts at or above another.
REGULATOR = """
[kinds.regulator]
ports = ["a"]
states = ["shut", "feeding"]
settings = ["feeds", "shuts"]
sizes = ["bore"]
passages = [{ from = "source", to = "a", open_in = ["feeding"], size = "bore" }]
moves = [
  { from = "shut", to = "feeding", when = "a is below feeds" },
  { from = "feeding", to = "shut", when = "a is at least shuts" },
]
"""

#: The same with one setting for both moves.
ONE_SETTING = (
    REGULATOR.replace('"feeds", "shuts"', '"limit"')
    .replace("below feeds", "below limit")
    .replace("at least shuts", "at least limit")
    .replace("kinds.regulator", "kinds.keeper")
)

#: The same, fed from a volume.
REDUCER = (
    ONE_SETTING.replace("kinds.keeper", "kinds.reducer")
    .replace('ports = ["a"]', 'ports = ["from", "a"]')
    .replace('from = "source"', 'from = "from"')
)

#: Makes one line follow another.
RELAY = """
[kinds.relay]
ports = ["a", "pilot"]
states = ["shut", "feeding"]
sizes = ["bore"]
passages = [{ from = "source", to = "a", open_in = ["feeding"], size = "bore" }]
moves = [
  { from = "shut", to = "feeding", when = "a is below pressure of pilot" },
  { from = "feeding", to = "shut", when = "a is at least pressure of pilot" },
]
"""

GOVERNOR = """
[kinds.governor]
ports = ["a"]
states = ["loading", "unloaded"]
settings = ["cut_in", "cut_out"]
sizes = ["bore"]
passages = [{ from = "source", to = "a", open_in = ["loading"], size = "bore" }]
moves = [
  { from = "loading", to = "unloaded", when = "a is at least cut_out" },
  { from = "unloaded", to = "loading", when = "a is below cut_in" },
]
"""

HOSE = """
[kinds.hose]
ports = ["a"]
states = ["whole", "torn"]
mishaps = ["tears"]
sizes = ["bore"]
passages = [{ from = "a", to = "atmosphere", open_in = ["torn"], size = "bore" }]
moves = [{ from = "whole", to = "torn", when = "tears has happened" }]
"""

#: Joins its ends with the lever turned, and vents the second with the lever plain.
FOOT = """
[kinds.foot]
ports = ["a", "b"]
states = ["venting", "feeding"]
controls = ["lever"]
passages = [
  { between = ["a", "b"], open_in = ["feeding"] },
  { from = "b", to = "atmosphere", open_in = ["venting"] },
]
moves = [
  { from = "venting", to = "feeding", when = "lever is turned" },
  { from = "feeding", to = "venting", when = "lever is plain" },
]
"""

HANDLE = 'controls.handle = { positions = ["plain", "turned"] }\n'


def piece(
    name: str,
    kind: str,
    *,
    ports: Mapping[str, str] | None = None,
    settings: Mapping[str, str] | None = None,
    sizes: Mapping[str, str] | None = None,
    **slots: Mapping[str, str],
) -> str:
    """A part line; `sizes` are conductances C, with a critical ratio of 0.5."""
    named = {"ports": ports or {}, "settings": settings or {}, **slots}
    inner = [f"{slot} = {{ {_texts(values)} }}" for slot, values in named.items() if values]
    if sizes:
        inner.append("sizes = { " + ", ".join(f"{slot} = {size(c, '0.5')}" for slot, c in sizes.items()) + " }")
    return f"parts.{name} = {{ " + ", ".join([f'kind = "{kind}"', *inner]) + " }\n"


def _texts(values: Mapping[str, str]) -> str:
    return ", ".join(f'{name} = "{value}"' for name, value in values.items())


def litres(name: str, kind: str, amount: str) -> str:
    """A volume line with litres."""
    return f'volumes.{name} = {{ is = "{kind}", volume = "{amount} L" }}\n'
