"""Codes of faults in kinds, and in the parts that are made of them."""

from __future__ import annotations

from bandproof.text.codes.entry import Code
from bandproof.text.codes.samples import SMALL, VALVE
from bandproof.text.messages import Severity

KINDS_CODES = (
    Code(
        code="unknown-kind",
        summary="A part is of a kind that is not known.",
        explanation="Kinds come from the catalogue (see the command `kinds`) or from [kinds] in the file.",
        sample=SMALL
        + """
[parts.check]
kind = "no such valve"
""",
        at=(14, 8),
        message='there is no kind "no such valve"',
        hint='did you mean "check valve"?',
    ),
    Code(
        code="kind-shadows-catalogue",
        summary="An arrangement gives its own kind the name of one in the catalogue.",
        explanation="A reader who knows the catalogue would take the part for something it is not.",
        sample=SMALL
        + """
[kinds."check valve"]
ports = ["inlet", "outlet"]
states = ["open"]
""",
        at=(13, 8),
        message='the kind "check valve" is in the catalogue already',
        hint="choose another name, so that nobody takes it for the catalogue's",
    ),
    Code(
        code="bad-reaction",
        summary="What is said of how quickly a part moves is neither fast nor slow nor a time.",
        explanation="A part that is due moves at once (fast), at any time (slow), or within the time that is written.",
        sample=SMALL
        + """
[parts.check]
kind = "check valve"
ports = { inlet = "tank", outlet = "tank" }
reaction = "quick"
""",
        at=(16, 12),
        message='"quick" is not a time',
        hint='write "fast", "slow" or the range of times it takes, as in "0..50 ms"',
    ),
    Code(
        code="duplicate-state",
        summary="A kind lists a state twice.",
        explanation="Each state stands once; the first is the one a part starts in.",
        sample=SMALL
        + """
[kinds."my valve"]
ports = ["inlet", "outlet"]
states = ["open", "shut", "open"]
""",
        at=(15, 27),
        message='the state "open" is listed twice',
        hint="remove one of the two",
    ),
    Code(
        code="duplicate-slot",
        summary="A kind gives one name to two of its ports and slots.",
        explanation="The guards of a kind speak of ports, settings, controls, links and mishaps by name alone.",
        sample=SMALL
        + """
[kinds."my valve"]
ports = ["inlet", "outlet"]
states = ["open"]
settings = ["inlet"]
""",
        at=(16, 13),
        message='"inlet" is in "ports" already',
        hint="give every port and slot its own name",
    ),
    Code(
        code="passage-ends",
        summary="A passage does not have two ends.",
        explanation=(
            "A passage is two-way, `between` two ends, or one-way, `from` one `to` another. An end is a port, "
            "`atmosphere` or `source`."
        ),
        sample=SMALL
        + """
[kinds."my valve"]
ports = ["inlet", "outlet"]
states = ["open"]
passages = [{ between = ["inlet", "outlet"], to = "atmosphere" }]
""",
        at=(16, 13),
        message="a passage has two ends, and these keys do not name two",
        hint='write between = ["a", "b"] for two-way, or from = "a" and to = "b" for one-way',
    ),
    Code(
        code="passage-direction",
        summary="A one-way passage leads the way air cannot go.",
        explanation=(
            "Pressures are gauge: no volume is ever below the atmosphere, and none above a source. A passage written "
            "this way round would never carry air."
        ),
        sample=SMALL
        + """
[kinds."my valve"]
ports = ["inlet"]
states = ["open"]
passages = [{ from = "atmosphere", to = "inlet" }]
""",
        at=(16, 22),
        message="no air ever flows from the atmosphere",
        hint='exchange "from" and "to"',
    ),
    Code(
        code="unknown-port",
        summary="A port is named that the kind does not have.",
        explanation="Ports are listed under `ports` of the kind; a part joins every one of them to a volume.",
        sample=VALVE
        + """
[parts.check]
kind = "my valve"
ports = { inlet = "tank", outlet = "line", vent = "line" }
settings = { opens = "60 psi" }
controls = { knob = "knob" }
""",
        at=(34, 44),
        message='the kind "my valve" has no port "vent"',
        hint="its ports are inlet, outlet",
    ),
    Code(
        code="unknown-state",
        summary="A state is named that the part or kind does not have.",
        explanation="States are listed under `states` of the kind.",
        sample=SMALL
        + """
[kinds."my valve"]
ports = ["inlet", "outlet"]
states = ["open", "shut"]
moves = [{ from = "open", to = "closed", when = "inlet is below 20 psi" }]
""",
        at=(16, 32),
        message='this kind has no state "closed"',
        hint="its states are open, shut",
    ),
    Code(
        code="move-to-itself",
        summary="A move leads from a state to the same state.",
        explanation="A part stays where it is without any move.",
        sample=SMALL
        + """
[kinds."my valve"]
ports = ["inlet", "outlet"]
states = ["open", "shut"]
moves = [{ from = ["open", "shut"], to = "shut", when = "inlet is below 20 psi" }]
""",
        at=(16, 28),
        message='this move leads from "shut" to "shut" itself',
        hint="a part stays where it is without a move; name another state",
    ),
    Code(
        code="missing-port",
        summary="A part does not say what one of its ports is joined to.",
        explanation="Every port of the kind is joined to a volume. A port that is plugged gets a volume of its own.",
        sample=VALVE
        + """
[parts.check]
kind = "my valve"
ports = { inlet = "tank" }
settings = { opens = "60 psi" }
controls = { knob = "knob" }
""",
        at=(34, 1),
        message='part "check" does not say what its port "outlet" is joined to',
        hint="add outlet = … to its ports",
    ),
    Code(
        code="ports-meet",
        summary="Two ports of a part are joined to one volume.",
        explanation=(
            "Air that goes from a volume to itself changes nothing, so such a part mostly does nothing either. It is a "
            "warning; `--strict` makes it an error."
        ),
        sample=SMALL
        + """
[parts.check]
kind = "check valve"
ports = { inlet = "tank", outlet = "tank" }
""",
        at=(15, 36),
        message='part "check" has its ports "inlet" and "outlet" on one volume, "tank"',
        hint="join one of the two to another volume",
        level=Severity.WARNING,
    ),
    Code(
        code="missing-slot",
        summary="A part leaves a slot open that must be filled.",
        explanation=(
            "Settings, controls and links are needed, because guards speak of them. A size left out is unknown, and a "
            "mishap left out never happens."
        ),
        sample=VALVE
        + """
[parts.check]
kind = "my valve"
ports = { inlet = "tank", outlet = "line" }
controls = { knob = "knob" }
""",
        at=(32, 8),
        message='part "check" does not fill the setting slot "opens"',
        hint='add settings = { opens = "…" } to the part',
    ),
    Code(
        code="unknown-slot",
        summary="A slot is named that the kind does not have.",
        explanation="Slots are listed under `settings`, `sizes`, `controls`, `links` and `mishaps` of the kind.",
        sample=VALVE
        + """
[parts.check]
kind = "my valve"
ports = { inlet = "tank", outlet = "line" }
settings = { opens_at = "60 psi" }
controls = { knob = "knob" }
""",
        at=(35, 14),
        message='the kind "my valve" has no slot "opens_at" in settings',
        hint='did you mean "opens"?',
    ),
    Code(
        code="unknown-volume",
        summary="A volume is named that the arrangement does not have.",
        explanation=(
            "Ports are joined to entries of [volumes]; the atmosphere and the source are not volumes but belong to "
            "passages of a kind."
        ),
        sample=VALVE
        + """
[parts.check]
kind = "my valve"
ports = { inlet = "tnak", outlet = "line" }
settings = { opens = "60 psi" }
controls = { knob = "knob" }
""",
        at=(34, 19),
        message='there is no volume "tnak"',
        hint='did you mean "tank"?',
    ),
    Code(
        code="unknown-setting",
        summary="A setting is named that the arrangement does not have.",
        explanation="A slot takes the name of an entry of [settings] or a pressure written out, as in `38 ± 4 psi`.",
        sample=VALVE
        + """
[settings]
cracking = "2 psi"

[parts.check]
kind = "my valve"
ports = { inlet = "tank", outlet = "line" }
settings = { opens = "craking" }
controls = { knob = "knob" }
""",
        at=(38, 22),
        message='there is no setting "craking"',
        hint='did you mean "cracking"?',
    ),
    Code(
        code="unknown-size",
        summary="A size is named that the arrangement does not have.",
        explanation="A slot takes the name of an entry of [sizes] or a table with C and b.",
        sample=VALVE
        + """
[parts.check]
kind = "my valve"
ports = { inlet = "tank", outlet = "line" }
settings = { opens = "60 psi" }
controls = { knob = "knob" }
sizes = { bore = "narrow" }
""",
        at=(37, 18),
        message='there is no size "narrow"',
        hint="add it under [sizes]",
    ),
    Code(
        code="unknown-control",
        summary="A control is named that the arrangement does not have.",
        explanation="Controls are entries of [controls].",
        sample=VALVE
        + """
[parts.check]
kind = "my valve"
ports = { inlet = "tank", outlet = "line" }
settings = { opens = "60 psi" }
controls = { knob = "lever" }
""",
        at=(36, 21),
        message='there is no control "lever"',
        hint="the controls are knob",
    ),
    Code(
        code="unknown-part",
        summary="A part is named that the arrangement does not have.",
        explanation="A link joins a part to another entry of [parts], as a rod or a wire does.",
        sample=SMALL
        + """
[kinds."rod end"]
ports = ["inlet"]
states = ["near", "far"]
links = ["partner"]
moves = [{ from = "near", to = "far", when = "partner is out" }]

[parts.end]
kind = "rod end"
ports = { inlet = "tank" }
links = { partner = "stage" }
""",
        at=(22, 21),
        message='there is no part "stage"',
        hint="the parts are end",
    ),
    Code(
        code="unknown-mishap",
        summary="A mishap is named that the arrangement does not have.",
        explanation="Mishaps are entries of [mishaps].",
        sample=VALVE
        + """
[mishaps]
breakaway = {}

[parts.check]
kind = "my valve"
ports = { inlet = "tank", outlet = "line" }
settings = { opens = "60 psi" }
controls = { knob = "knob" }
mishaps = { bursts = ["breakaway", "brakeaway"] }
""",
        at=(40, 36),
        message='there is no mishap "brakeaway"',
        hint='did you mean "breakaway"?',
    ),
    Code(
        code="control-lacks-position",
        summary="A kind asks for a position that the control joined to it does not have.",
        explanation="The guard could never come true, so the part would never make that move.",
        sample=VALVE
        + """
[controls]
pedal = { positions = ["released", "applied"] }

[parts.check]
kind = "my valve"
ports = { inlet = "tank", outlet = "line" }
settings = { opens = "60 psi" }
controls = { knob = "pedal" }
""",
        at=(39, 21),
        message='the kind "my valve" asks for the position "pushed", which control "pedal" does not have',
        hint="give it that position, or join another control here",
    ),
    Code(
        code="link-lacks-state",
        summary="A kind asks for a state that the part linked to it does not have.",
        explanation="The guard could never come true, so the part would never make that move.",
        sample=SMALL
        + """
[kinds."rod end"]
ports = ["inlet"]
states = ["near", "far"]
links = ["partner"]
moves = [{ from = "near", to = "far", when = "partner is out" }]

[parts.end]
kind = "rod end"
ports = { inlet = "tank" }
links = { partner = "end" }
""",
        at=(22, 21),
        message='the kind "rod end" asks for the state "out", which part "end" does not have',
        hint="give it that state, or join another part here",
    ),
)
