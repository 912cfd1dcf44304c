"""Codes of faults in scripts."""

from __future__ import annotations

from bandproof.text.codes.entry import Code, Reads
from bandproof.text.codes.samples import PACK, SCRIPT

SCRIPTS_CODES = (
    Code(
        code="not-a-script",
        summary="An arrangement or a rule pack is given where a script belongs.",
        explanation="A script says what is done and what should be seen, and has a table [script]. `run` takes an arrangement and a script.",
        sample=PACK,
        at=(3, 2),
        message="this is a rule pack, not a script",
        hint='name the arrangement first, and the script second, as in "bandproof run MODEL SCRIPT"',
        reads=Reads.SCRIPT,
    ),
    Code(
        code="script-empty",
        summary="A script has no step.",
        explanation="Nothing would be done and nothing looked at.",
        sample=SCRIPT,
        at=(3, 2),
        message="the script has no step",
        hint="add [[step]]",
        reads=Reads.SCRIPT,
    ),
    Code(
        code="step-unclear",
        summary="A step of a script does nothing, or more than one thing.",
        explanation="Each step is one of `turn` (controls to positions), `happens` (mishaps) and `expect` (a condition); only `expect` has `within` or `holds_for`, and not both.",
        sample=SCRIPT
        + """
[[step]]
at = "1 s"
says = "wait a little"
""",
        at=(8, 3),
        message='the step has neither "turn" nor "happens" nor "expect"',
        hint="write one of them",
        reads=Reads.SCRIPT,
    ),
    Code(
        code="step-time-twice",
        summary="A step of a script says twice when it comes.",
        explanation="`at` counts from the start, `after` from the step before, `once` waits until the air has come to rest; without any the step comes with the one before.",
        sample=SCRIPT
        + """
[[step]]
at = "1 s"
after = "2 s"
expect = "service_tank is at least 60 psi"
""",
        at=(10, 1),
        message='the step has both "at" and "after"',
        hint="keep one of them",
        reads=Reads.SCRIPT,
    ),
    Code(
        code="step-too-early",
        summary="A step of a script comes before the one above it, or not before the end.",
        explanation="Steps are done in the order in which they are written, and times are not negative.",
        sample=SCRIPT
        + """
[[step]]
at = "4 s"
expect = "service_tank is at least 60 psi"

[[step]]
at = "2 s"
expect = "service_tank is at least 60 psi"
""",
        at=(13, 6),
        message="the step is at 2 s, and the one before it at 4 s",
        hint="write the steps in the order of their times",
        reads=Reads.SCRIPT,
    ),
    Code(
        code="not-a-control",
        summary="A script turns something that is no control.",
        explanation="The keys of `turn` are roles of controls, the values are positions.",
        sample=SCRIPT
        + """
[[step]]
turn = { service_tank = "open" }
""",
        at=(9, 10),
        message='"service_tank" is a volume, not a control',
        hint="name roles of controls here",
        reads=Reads.SCRIPT,
    ),
)
