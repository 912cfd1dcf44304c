"""A good rule pack that uses every part of its format, and arrangements to apply it to."""

from __future__ import annotations

from bandproof.model.loader import load_arrangement_text
from bandproof.properties.language import load_pack_text, resolve_pack
from bandproof.text.diagnostics import Diagnostic
from bandproof.text.errors import InputError
from tests.unit.loader_texts import GOOD as ARRANGEMENT

GOOD = """\
format = "bandproof/1"

[pack]
name = "small rules"
says = "what a valve does"
models = ["models/one.toml", "models/more/*.toml"]

[pack.expected."models/one.toml"]
refuted = ["never-full"]
empty = ["at-rest"]

[pack.expected."models/more/two.toml"]
not_applicable = ["holds-on"]
undecided = ["goes-out"]

[[property]]
id = "never-full"
says = "The tank is never above 9 bar."
basis = "common practice, no source"
caution = "a model is not the vehicle"
belief = true
never = "store is at least 9 bar"

[[property]]
id = "always-any"
says = "The pipes are always in a band."
basis = "common practice, no source"
during = "cold"
driver = "hands off"
mishaps = "none"
always = "every pipes is any or store is full"

[[property]]
id = "settles"
says = "Once it settles, the valves are shut."
basis = "common practice, no source"
driver = "after settling"
mishaps = ["tearing"]
settled.when = "store is below lowest of opening and lever is not 'held in'"
settled.then = "every valves is shut"

[[property]]
id = "at-rest"
says = "At rest nothing has torn."
basis = "common practice, no source"
faults = 0
at_rest.when = "always"
at_rest.then = "some tearing has not happened"

[[property]]
id = "holds-on"
says = "Once charged it stays so until something tears."
basis = "common practice, no source"
mishaps = "any"
holds.once = "store is at least highest of opening"
holds.stays = "store is not low"
holds.until = "some tearing has happened"

[[property]]
id = "goes-out"
says = "The lever can be held."
basis = "common practice, no source"
reachable = "lever is 'held in'"
"""


def faults_in(text: str, arrangement: str = ARRANGEMENT) -> tuple[Diagnostic, ...]:
    """Every diagnostic of a pack, by itself or applied to an arrangement."""
    try:
        resolve_pack(load_pack_text(text, "p.toml"), load_arrangement_text(arrangement))
    except InputError as error:
        return error.diagnostics
    return ()
