"""All codes in one table."""

from __future__ import annotations

from itertools import chain

from bandproof.text.codes.arrangement import ARRANGEMENT_CODES
from bandproof.text.codes.conditions import CONDITIONS_CODES
from bandproof.text.codes.entry import Code
from bandproof.text.codes.files import FILES_CODES
from bandproof.text.codes.kinds import KINDS_CODES
from bandproof.text.codes.packs import PACKS_CODES
from bandproof.text.codes.scripts import SCRIPTS_CODES
from bandproof.text.codes.starts import STARTS_CODES

#: Every code a diagnostic can have, with its manual entry, by subject.
CODES: dict[str, Code] = {
    entry.code: entry
    for entry in chain(
        FILES_CODES, ARRANGEMENT_CODES, KINDS_CODES, STARTS_CODES, CONDITIONS_CODES, PACKS_CODES, SCRIPTS_CODES
    )
}
