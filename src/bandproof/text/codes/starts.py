"""Codes of faults in starts."""

from __future__ import annotations

from bandproof.text.codes.entry import Code
from bandproof.text.codes.samples import SMALL

STARTS_CODES = (
    Code(
        code="no-start",
        summary="An arrangement has no start.",
        explanation=(
            "A start says where the runs begin that a verdict speaks of. An empty [starts.cold] is enough: everything "
            "at zero and in its first state."
        ),
        sample="""\
format = "bandproof/1"

[arrangement]
name = "one tank"
unit = "psi"
highest = "150 psi"
""",
        at=(3, 2),
        message="the arrangement has no start",
        hint="add [starts.cold]",
    ),
    Code(
        code="unknown-start",
        summary="A start is named that the arrangement does not have.",
        explanation="Starts are entries of [starts].",
        sample=SMALL
        + """
[starts.charged]
where = "tank is at least 100 psi"
from = "clod"
""",
        at=(15, 8),
        message='there is no start "clod"',
        hint='did you mean "cold"?',
    ),
    Code(
        code="start-unfounded",
        summary="A start gives a condition but no reason why such states can be.",
        explanation=(
            "A proof from states that can never be is worth nothing. Say which start it is reached from, and that is "
            "shown; or say that it is assumed, and the verdict will say so too."
        ),
        sample=SMALL
        + """
[starts.charged]
where = "tank is at least 100 psi"
""",
        at=(13, 9),
        message='start "charged" gives a condition, but not why such a state can be',
        hint='add from = "…", the start it is reached from, or assumed = true',
    ),
    Code(
        code="start-from-and-assumed",
        summary="A start is both assumed and to be shown reachable.",
        explanation="One of the two is meant.",
        sample=SMALL
        + """
[starts.charged]
where = "tank is at least 100 psi"
from = "cold"
assumed = true
""",
        at=(16, 1),
        message='start "charged" is both assumed and to be reached from "cold"',
        hint="remove one of the two",
    ),
    Code(
        code="start-cycle",
        summary="Starts are to be reached from one another in a circle.",
        explanation="Following `from` must end at a plain list or at a start that is assumed.",
        sample=SMALL
        + """
[starts.charged]
where = "tank is at least 100 psi"
from = "rolling"

[starts.rolling]
where = "tank is at least 60 psi"
from = "charged"
""",
        at=(15, 8),
        message='this start is to be reached from itself: "charged" from "rolling" from "charged"',
        hint="let one of them be a plain list, or assumed",
    ),
    Code(
        code="start-empty",
        summary="A start allows no state or position of something.",
        explanation="An empty list leaves no state to start from, and from nowhere everything is proven.",
        sample=SMALL
        + """
[controls]
knob = { positions = ["free", "pushed"] }

[starts.held]
controls = { knob = [] }
""",
        at=(17, 21),
        message='start "held" allows no position of "knob"',
        hint="name at least one position",
    ),
    Code(
        code="unknown-position",
        summary="A position is named that the control does not have.",
        explanation="Positions are listed under `positions` of the control.",
        sample=SMALL
        + """
[controls]
knob = { positions = ["free", "pushed"] }

[starts.held]
controls = { knob = "pusht" }
""",
        at=(17, 21),
        message='control "knob" has no position "pusht"',
        hint='did you mean "pushed"?',
    ),
)
