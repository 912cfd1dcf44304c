"""Codes of faults in conditions."""

from __future__ import annotations

from bandproof.text.codes.entry import Code
from bandproof.text.codes.samples import SMALL

CONDITIONS_CODES = (
    Code(
        code="condition-empty",
        summary="A condition has nothing in it.",
        explanation="`always` and `never` are conditions too.",
        sample=SMALL
        + """
[starts.charged]
where = ""
from = "cold"
""",
        at=(14, 9),
        message="the condition is empty",
        hint='write one, such as "tank is at least 60 psi", or "always"',
    ),
    Code(
        code="condition-unfinished",
        summary="A condition stops in the middle.",
        explanation="The hint lists everything that could come next.",
        sample=SMALL
        + """
[starts.charged]
where = "tank is at least 100 psi and"
from = "cold"
""",
        at=(14, 35),
        message='the condition stops after "and"',
        hint='go on with "(", a name, "always", "every", "never", "not" or "some"',
    ),
    Code(
        code="condition-word",
        summary="A word stands where it cannot stand.",
        explanation=(
            "A condition is made of `X is below P`, `X is at least P`, `X is (not) NAME` and `X has (not) happened`, "
            "joined by `and`, `or`, `not` and parentheses. States of several words stand in quotation marks."
        ),
        sample=SMALL
        + """
[starts.charged]
where = "tank above 100 psi"
from = "cold"
""",
        at=(14, 15),
        message='"above" cannot stand here',
        hint='here the condition may go on with "has" or "is"',
    ),
    Code(
        code="condition-character",
        summary="A condition holds a character that is not used.",
        explanation="Names are made of letters a to z, digits and underscores.",
        sample=SMALL
        + """
[starts.charged]
where = "tank is at least 100 psi; never"
from = "cold"
""",
        at=(14, 34),
        message='the character ";" has no place in a condition',
        hint="names are made of letters, digits and underscores; put other states in quotation marks",
    ),
    Code(
        code="condition-operator",
        summary="A condition holds an operator.",
        explanation="Conditions are written in words, so that those who did not write them can read them.",
        sample=SMALL
        + """
[starts.charged]
where = "tank >= 100 psi"
from = "cold"
""",
        at=(14, 15),
        message='">=" is an operator; conditions are written in words',
        hint='use "is below", "is at least", "is", "is not", "and", "or", "not"',
    ),
    Code(
        code="condition-parenthesis",
        summary="Parentheses do not match.",
        explanation=(
            "Every parenthesis is opened and closed. `and` binds more strongly than `or`, and `not` more strongly "
            "than both."
        ),
        sample=SMALL
        + """
[starts.charged]
where = "not (tank is below 100 psi"
from = "cold"
""",
        at=(14, 14),
        message="this parenthesis is never closed",
        hint='close it with ")"',
    ),
    Code(
        code="condition-quote",
        summary="A quotation mark is never closed.",
        explanation="States and positions of several words stand in quotation marks, single or double.",
        sample=SMALL
        + """
[starts.charged]
where = "tank is 'nearly full"
from = "cold"
""",
        at=(14, 18),
        message="this quotation mark is never closed",
        hint="close it with '",
    ),
    Code(
        code="condition-too-deep",
        summary="A condition is nested more deeply than anyone can read.",
        explanation="The limit is 40 levels of parentheses and `not`.",
        sample=SMALL
        + """
[starts.charged]
where = "not not not not not not not not not not not not not not not not not not not not not not not not not not not not not not not not not not not not not not not not always"
from = "cold"
""",
        at=(14, 10),
        message="the condition is nested more than 40 deep",
        hint="split it, or drop parentheses",
    ),
    Code(
        code="unknown-name",
        summary="A condition speaks of something unknown.",
        explanation="A kind speaks of its ports and slots, a start of the arrangement's names and roles.",
        sample=SMALL
        + """
[starts.charged]
where = "tnak is at least 100 psi"
from = "cold"
""",
        at=(14, 10),
        message='"tnak" is no name of this arrangement',
        hint='did you mean "tank"?',
    ),
    Code(
        code="unknown-band",
        summary="A condition speaks of a named band that is not there.",
        explanation="Named bands are entries of [bands]. In a kind there are none.",
        sample=SMALL
        + """
[bands]
low = "below 60 psi"

[starts.charged]
where = "tank is not lo"
from = "cold"
""",
        at=(17, 22),
        message='there is no named band "lo"',
        hint='did you mean "low"?',
    ),
    Code(
        code="wrong-subject",
        summary="Something is said of a thing of which it cannot be said.",
        explanation=(
            "Volumes are below or at least a pressure, or in a named band; parts are in a state; controls are in a "
            "position; mishaps have happened or not."
        ),
        sample=SMALL
        + """
[controls]
knob = { positions = ["free", "pushed"] }

[starts.charged]
where = "tank is at least 100 psi and knob is below 20 psi"
from = "cold"
""",
        at=(17, 39),
        message='"is below" cannot be said of "knob", which is a control',
        hint='of a control, say "is" with one of its positions',
    ),
    Code(
        code="setting-not-exact",
        summary="A toleranced setting stands where one exact pressure is needed.",
        explanation=(
            "In a kind's guard a setting is used with its tolerance. Elsewhere say which end is meant, or the claim "
            "would mean two things."
        ),
        sample=SMALL
        + """
[settings]
opens = "38 ± 4 psi"

[starts.charged]
where = "tank is at least opens"
from = "cold"
""",
        at=(17, 27),
        message='the setting "opens" has a tolerance, so it is no exact pressure',
        hint='write "lowest of opens" or "highest of opens"',
    ),
    Code(
        code="list-without-every",
        summary="A role with several players is used as if it had one.",
        explanation="`every` and `some` say whether all of them are meant or at least one.",
        sample=SMALL
        + """
[volumes.other_tank]
is = "tank"

[roles]
service_tank = ["tank", "other_tank"]

[starts.charged]
where = "service_tank is at least 100 psi"
from = "cold"
""",
        at=(20, 10),
        message='"service_tank" stands for 2 things: tank, other_tank',
        hint='write "every service_tank" or "some service_tank"',
    ),
    Code(
        code="every-not-a-role",
        summary="`every` or `some` stands before something that is no role.",
        explanation="A role may be played by several things; any other name stands for one.",
        sample=SMALL
        + """
[starts.charged]
where = "every tank is at least 100 psi"
from = "cold"
""",
        at=(14, 10),
        message='"every tank" needs a role, and "tank" is a volume',
        hint='drop "every"',
    ),
    Code(
        code="pressure-of-outside-kind",
        summary="Two pressures are compared outside a kind.",
        explanation=(
            "Bands decide such a comparison only where they do not overlap. Kinds need it, for check valves and the "
            "like, and allow for both answers; a claim would be left undecided."
        ),
        sample=SMALL
        + """
[volumes.line]
is = "line"

[starts.charged]
where = "line is below pressure of tank"
from = "cold"
""",
        at=(17, 24),
        message="only the moves of a kind can compare two pressures with one another",
        hint="compare each volume with a pressure or a setting",
    ),
)
