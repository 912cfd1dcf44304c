"""Warns of what is allowed but mostly a slip: a part whose ports meet, an override that overrides nothing.

Limits: a name is like another by its letters alone. Names that differ in digits only are taken for a row of things.
"""

from __future__ import annotations

import re
from difflib import get_close_matches

from bandproof.model.files import Merged
from bandproof.text.input_faults import Faults
from bandproof.text.messages import Severity

#: How much alike two names are that may be meant for one: one letter of seven wrong, or two exchanged in nine.
_ALIKE = 0.85


def warn_of_slips(merged: Merged, faults: Faults) -> None:
    """Note a warning at each part with two ports on one volume, and at each entry that is nearly an inherited one."""
    _warn_of_ports(merged, faults)
    _warn_of_near_names(merged, faults)


def _warn_of_ports(merged: Merged, faults: Faults) -> None:
    for name, part in merged.parts.items():
        met: dict[str, str] = {}
        for port, volume in ({} if part.value is None else part.value.ports).items():
            if volume in met:
                message = f'part "{name}" has its ports "{met[volume]}" and "{port}" on one volume, "{volume}"'
                hint = "join one of the two to another volume"
                place = part.place / "ports" / port
                faults.add("ports-meet", place, message, hint=hint, level=Severity.WARNING)
            met.setdefault(volume, port)


def _warn_of_near_names(merged: Merged, faults: Faults) -> None:
    for added in merged.added:
        others = [name for name in added.inherited if _letters(name) != _letters(added.name)]
        for near in get_close_matches(added.name[:80], others, n=1, cutoff=_ALIKE):
            message = f'"{added.name}" is a new entry of {added.table}, beside the inherited "{near}"'
            hint = f'write "{near}" to replace that one, or choose a name less like it'
            faults.add("nearly-inherited", added.place, message, hint=hint, key=True, level=Severity.WARNING)


def _letters(name: str) -> str:
    """The name without numbers: those who number their things mean others."""
    return re.sub(r"[-_ ]?\d+", "", name)
