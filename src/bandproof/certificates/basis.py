"""What a certificate rests on beside its own three queries and its lemmas, said at its head.

That time passes is shown in the certificate itself. That a part falls silent is shown in a file of its own, which the
certificate names with the hash of its text; so is what that proof takes to be silent in its turn.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256

from bandproof.certificates.time_passes import TimePasses, write_time_passes
from bandproof.machine.fillings import windows
from bandproof.machine.layout import Layout
from bandproof.properties.claim import Pace, Property
from bandproof.text.units import show_pressure

#: What stands where a hash would, for a part that is taken to be silent without a proof.
UNSHOWN = "not shown"

_WRITTEN = re.compile(r"(\S+) \(silent-\1\.smt2 (\S+|not shown)\)")


@dataclass(frozen=True, slots=True)
class Silent:
    """A part that falls silent, and the hash of the text that proves it."""

    part: str
    sha256: str = UNSHOWN

    @property
    def file(self) -> str:
        """The name of the file that proves it."""
        return f"silent-{self.part}.smt2"


@dataclass(frozen=True, slots=True)
class Basis:
    """The silent parts of a layout, and the argument that time passes; None where nothing hangs on it."""

    silent: tuple[Silent, ...] = ()
    time: TimePasses | None = None


def basis_of(layout: Layout, silent: Iterable[Silent] = ()) -> Basis:
    """What a certificate on a layout rests on: the proofs given of its silent parts, and that time passes."""
    known = tuple(silent)
    unshown = sorted(layout.silent - {one.part for one in known})
    return Basis((*known, *map(Silent, unshown)), write_time_passes(layout.arrangement))


def hash_of(text: str) -> str:
    """The hash by which a certificate's text is known, however its lines end."""
    return sha256(text.replace("\r\n", "\n").encode()).hexdigest()


def silent_words(silent: Iterable[Silent]) -> str:
    """The silent parts as the head of a certificate names them, in the order in which they were shown."""
    return ", ".join(f"{one.part} ({one.file} {one.sha256})" for one in silent) or "none"


def read_silent(text: str) -> tuple[Silent, ...] | None:
    """What `silent_words` wrote; None when it is something else, or names a part twice."""
    if text == "none":
        return ()
    found = [_WRITTEN.fullmatch(item) for item in text.split(", ")]
    silent = tuple(Silent(item[1], item[2]) for item in found if item is not None)
    return silent if len(silent) == len(found) == len({one.part for one in silent}) else None


def start_words(layout: Layout, claim: Property) -> str:
    """The starts that a run of the claim passes, the claim's own first; the last says when it is taken for granted."""
    way = layout.arrangement.way_to(claim.during)
    assumed = " (assumed)" if way[0].assumed else ""
    return ", reached from ".join(start.name for start in reversed(way)) + assumed


def fillings_words(claim: Property) -> str:
    """How often lines are filled in a run of the claim."""
    if claim.fillings is not None:
        return f"at most {claim.fillings}"
    return f"at most {len(claim.mishaps) + 1}, with the hands off" if claim.pace is Pace.HANDS_OFF else "any number"


def window_words(layout: Layout, claim: Property) -> str:
    """The windows of the claim's runs: how far a tank moves while air goes from or to it into lines only."""
    unit = layout.arrangement.unit
    found = windows(layout.arrangement, claim)
    return ", ".join(f"{w.tank} moves {show_pressure(w.width, unit)} [{w.width}] at most" for w in found) or "none"
