"""bandproof: proves, or refutes with a drawn counterexample, what a compressed-air control arrangement does.

    from bandproof.views.reasons_text import reason_text

    case, = load_cases([Path("models/two_knob_tractor.toml")])
    for finding in prove([case])[0]:
        print(finding.property, finding.verdict, reason_text(finding))

What is not named here is reached by its module: `bandproof.machine.rig.Rig` to step an arrangement by hand,
`bandproof.views` to draw, `bandproof.certificates.checks` to check a proof.
"""

from __future__ import annotations

from bandproof.api import overall, prove
from bandproof.deciding.cases import Case, RequestError, find_packs, load_cases
from bandproof.deciding.one import Decider
from bandproof.findings.finding import Finding, Verdict
from bandproof.findings.limits import Limits
from bandproof.machine.layout import Layout
from bandproof.machine.story import State, Step, Story
from bandproof.model.arrangement import Arrangement
from bandproof.model.loader import load_arrangement
from bandproof.properties.claim import NotApplicable, Property
from bandproof.properties.packs import load_pack
from bandproof.text.diagnostics import Diagnostic
from bandproof.text.errors import BandproofError, CrossCheckError, InputError

__all__ = [
    "Arrangement",
    "BandproofError",
    "Case",
    "CrossCheckError",
    "Decider",
    "Diagnostic",
    "Finding",
    "InputError",
    "Layout",
    "Limits",
    "NotApplicable",
    "Property",
    "RequestError",
    "State",
    "Step",
    "Story",
    "Verdict",
    "find_packs",
    "load_arrangement",
    "load_cases",
    "load_pack",
    "overall",
    "prove",
]
