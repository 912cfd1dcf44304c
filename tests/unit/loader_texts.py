"""A good arrangement that uses every part of the file format, and ways to spoil it."""

from __future__ import annotations

from bandproof.model.loader import load_arrangement_text
from bandproof.text.diagnostics import Diagnostic
from bandproof.text.errors import InputError
from bandproof.text.spans import SourceFile

GOOD = """\
format = "bandproof/1"

[arrangement]
name = "tank, valve and line"
says = "a tank that fills a line through a valve"
unit = "bar"
highest = "10 bar"
atmosphere = "1 bar"
start = "charged"
caution = "a model is not the vehicle"

[bands]
low = "below 4 bar"
working = "4 bar to charged_at"
full = "at least 8 bar"
any = "0 bar to 9.5 bar"

[settings]
opens = { value = "3 ± 0.5 bar", says = "when the valve opens", basis = "common practice, no source" }
shuts = "2..3 bar"
charged_at = "8 bar"

[sizes]
wide = { C = "4..6 dm3/(s bar)", b = 0.5, says = "a torn hose" }

[volumes]
tank = { is = "tank", volume = "20 L", says = "the store" }
line = { is = "line", volume = "0.4..0.6 L" }
cavity = { is = "chamber" }

[controls]
knob = { positions = ["free", "held in", "pulled"], says = "in reach" }

[mishaps]
breakaway = { says = "the hose parts" }
burst = {}

[kinds."held valve"]
says = "opens by hand, shuts by itself"
ports = ["inlet", "outlet"]
states = ["shut", "wide open"]
settings = ["lift"]
sizes = ["bore"]
controls = ["hand"]
links = ["partner"]
mishaps = ["tears"]
reaction = "slow"
passages = [
  { from = "inlet", to = "outlet", open_in = ["wide open"], size = "bore" },
  { between = ["outlet", "atmosphere"], open_in = ["shut"] },
  { between = ["inlet", "source"] },
  { between = ["outlet", "inlet"] },
]
moves = [
  { from = "shut", to = "wide open", when = "hand is 'held in' and inlet is at least lift" },
  { from = ["wide open"], to = "shut", when = "inlet is below pressure of outlet or partner is not shut" },
  { from = "wide open", to = "shut", when = "tears has happened" },
]

[kinds.rod]
ports = ["chamber"]
states = ["in", "out"]
moves = [{ from = ["in"], to = "out", when = "chamber is at least 1 bar" }]

[parts.valve]
kind = "held valve"
ports = { inlet = "tank", outlet = "line" }
settings = { lift = "opens" }
sizes = { bore = "wide" }
controls = { hand = "knob" }
links = { partner = "second" }
mishaps = { tears = ["breakaway", "burst"] }
starts_in = "wide open"
reaction = "fast"
says = "the first one"

[parts.second]
kind = "held valve"
ports = { inlet = "cavity", outlet = "cavity" }
settings = { lift = "1..2 bar" }
sizes = { bore = { C = 2, b = "0.2..0.3" } }
controls = { hand = "knob" }
links = { partner = "valve" }

[parts.rod]
kind = "rod"
ports = { chamber = "line" }

[roles]
store = "tank"
pipes = ["line", "cavity"]
lever = "knob"
valves = ["valve", "second"]
tearing = ["breakaway", "burst"]
opening = "opens"

[starts.cold]
says = "empty"

[starts.charged]
where = "every pipes is not low and tank is at least charged_at and valve is 'wide open' and lever is free"
from = "cold"

[starts.held]
assumed = true
settled = true
pressures = { tank = "4..5 bar", others = "1 bar" }
parts = { second = "wide open", rod = ["in", "out"] }
controls = { knob = ["held in", "pulled"] }
"""


def spoilt(old: str, new: str, text: str = GOOD) -> tuple[str, str]:
    """The text with one stretch replaced, and the same with the marks « » that `new` may hold."""
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in the text"
    marked = text.replace(old, new)
    return marked.replace("«", "").replace("»", ""), marked


def mark(text: str, faults: tuple[Diagnostic, ...]) -> str:
    """The text with « » around every stretch that is at fault."""
    lines = SourceFile("", text).lines
    for fault in sorted(faults, key=lambda f: (f.line, f.column), reverse=True):
        line, start = lines[fault.line - 1], fault.column - 1
        end = start + fault.length
        lines[fault.line - 1] = f"{line[:start]}«{line[start:end]}»{line[end:]}"
    return "\n".join(lines)


def faults_in(text: str) -> tuple[Diagnostic, ...]:
    """Every diagnostic of an arrangement text."""
    try:
        load_arrangement_text(text, "t.toml")
    except InputError as error:
        return error.diagnostics
    return ()
