"""Codes of faults in an arrangement's names, quantities, bands, controls and roles."""

from __future__ import annotations

from bandproof.text.codes.entry import Code
from bandproof.text.codes.samples import PACK_SUBJECT, SMALL
from bandproof.text.messages import Severity

ARRANGEMENT_CODES = (
    Code(
        code="bad-name",
        summary="A name is not spelt as names are.",
        explanation=(
            "Volumes, parts, controls, mishaps, settings, bands, roles and slots: letters, digits and underscores, "
            "beginning with a letter. States, positions, starts and kinds may be several words."
        ),
        sample=SMALL
        + """
[volumes."wet tank"]
is = "tank"
""",
        at=(13, 10),
        message='"wet tank" cannot be the name of a volume',
        hint="use letters, digits and underscores, beginning with a letter",
    ),
    Code(
        code="reserved-word",
        summary="A name is a word with a meaning of its own.",
        explanation=(
            "Conditions are made of words such as `below` and `not`, and passages may end at `atmosphere` and "
            "`source`; nothing else can be called so."
        ),
        sample=SMALL
        + """
[volumes.atmosphere]
is = "tank"
""",
        at=(13, 10),
        message='"atmosphere" has a meaning of its own and cannot be the name of a volume',
        hint="choose another name",
    ),
    Code(
        code="name-twice",
        summary="One name is given to two things.",
        explanation=(
            "Volumes, parts, controls, mishaps and settings share their names, because a role may speak of any of them."
        ),
        sample=SMALL
        + """
[settings]
tank = "60 psi"
""",
        at=(14, 1),
        message='"tank" names a setting and a volume',
        hint="give one of the two another name",
    ),
    Code(
        code="unused-name",
        summary="Nothing uses a name that the file declares.",
        explanation=(
            "A volume, control, mishap, setting or band that no part, role, start or rule pack mentions is mostly a slip: "
            "what was meant to use it uses something else. It is a warning; `--strict` makes it an error."
        ),
        sample=PACK_SUBJECT
        + """
[mishaps]
hose_torn = {}
""",
        at=(17, 1),
        message='nothing uses the mishap "hose_torn"',
        hint="use it, or remove it",
        level=Severity.WARNING,
    ),
    Code(
        code="hunting-part",
        summary="The moves of a part stay due round a circle at one and the same pressures.",
        explanation=(
            "A governor that cuts in above where it cuts out, or two valves that undo each other, would move for ever "
            "while no air flows. Most often two settings are in the wrong order. Claims are decided all the same: such "
            "parts may then be late. It is a warning; `--strict` makes it an error."
        ),
        sample=SMALL
        + """
[parts.governor]
kind = "my governor"
ports = { tank = "tank" }
settings = { cut_in = "120 psi", cut_out = "100 psi" }

[kinds."my governor"]
ports = ["tank"]
states = ["loading", "unloaded"]
settings = ["cut_in", "cut_out"]
moves = [
  { from = "loading", to = "unloaded", when = "tank is at least cut_out" },
  { from = "unloaded", to = "loading", when = "tank is below cut_in" },
]
""",
        at=(13, 8),
        message='"governor" can hunt: its moves stay due round a circle at one pressure',
        hint=(
            "governor.cut_in 120 psi is above governor.cut_out 100 psi: "
            "let governor.cut_in be no higher than governor.cut_out"
        ),
        level=Severity.WARNING,
    ),
    Code(
        code="bad-quantity",
        summary="A text is not the quantity it should be.",
        explanation=(
            "A quantity is a number and a unit: `60 psi`, `38 ± 4 psi` (or `38 +- 4 psi`), `33..43 psi`. Numbers are "
            "plain decimals of at most fifteen digits on either side of the point."
        ),
        sample=SMALL
        + """
[settings]
opens = "sixty psi"
""",
        at=(14, 9),
        message='"sixty psi" is not a pressure',
        hint='write it as in "60 psi"',
    ),
    Code(
        code="unit-missing",
        summary="A quantity has no unit.",
        explanation="Units are always written out, so that nobody has to guess whether 6 means psi or bar.",
        sample=SMALL
        + """
[settings]
opens = "60"
""",
        at=(14, 9),
        message='the pressure "60" has no unit',
        hint='write the unit, as in "60 psi"',
    ),
    Code(
        code="unit-unknown",
        summary="A quantity has a unit that is not known for it.",
        explanation=(
            "Pressures take psi, kPa, bar and MPa, all gauge; volumes L, dm3 and in3; sizes dm3/(s bar) and m3/(s "
            "Pa). Capital letters matter."
        ),
        sample=SMALL
        + """
[settings]
opens = "60 psig"
""",
        at=(14, 9),
        message='"psig" is not a unit of pressure',
        hint="use psi, kPa, bar or MPa",
    ),
    Code(
        code="range-reversed",
        summary="A range runs from high to low.",
        explanation="The lower end stands first, and a tolerance is not negative.",
        sample=SMALL
        + """
[settings]
opens = "43..33 psi"
""",
        at=(14, 9),
        message='the range "43..33 psi" runs from high to low',
        hint="write the lower end first, and tolerances without a minus sign",
    ),
    Code(
        code="range-not-wanted",
        summary="A range stands where one exact number is needed.",
        explanation=(
            "A condition compares with one pressure. Where the number is not known exactly, give the range a name "
            "under [settings] and say which end is meant."
        ),
        sample=SMALL
        + """
[starts.charged]
where = "tank is at least 95..105 psi"
from = "cold"
""",
        at=(14, 29),
        message="a condition compares with one exact pressure, not with a range",
        hint="give the setting a name, and write the name or its lowest or highest end here",
    ),
    Code(
        code="setting-not-positive",
        summary="A setting is zero or its tolerance reaches zero.",
        explanation="Pressures are gauge and nothing is ever below zero, so a part that moves at zero never moves.",
        sample=SMALL
        + """
[settings]
opens = "3 ± 4 psi"
""",
        at=(14, 9),
        message='the setting "3 ± 4 psi" reaches down to -1 psi',
        hint="every value of a setting must be above zero (gauge)",
    ),
    Code(
        code="setting-above-highest",
        summary="A setting cannot be reached in this arrangement.",
        explanation=(
            "No volume ever holds more than arrangement.highest, so a part with this setting would never move, or "
            "never be sure to."
        ),
        sample=SMALL
        + """
[settings]
opens = "160 psi"
""",
        at=(14, 9),
        message='the setting "160 psi" goes above the highest pressure of the arrangement, 150 psi',
        hint="lower the setting, or raise arrangement.highest",
    ),
    Code(
        code="pressure-not-positive",
        summary="A pressure is not above zero where it must be.",
        explanation=(
            "Pressures are gauge. Nothing is ever below zero, so comparing with zero decides nothing. Of "
            "`atmosphere`, the one absolute pressure, and of `highest`, zero makes no sense either."
        ),
        sample=SMALL
        + """
[starts.charged]
where = "tank is at least 0 psi"
from = "cold"
""",
        at=(14, 27),
        message="no pressure is ever below 0 psi, so this compares nothing",
        hint="write a pressure above zero (gauge)",
    ),
    Code(
        code="pressure-above-highest",
        summary="A pressure is above the declared highest one.",
        explanation="No volume ever holds more than arrangement.highest, so this can never come true.",
        sample=SMALL
        + """pressures = { tank = "100..200 psi" }
""",
        at=(12, 22),
        message='"100..200 psi" is above the highest pressure of this arrangement, 150 psi',
        hint="lower it, or raise arrangement.highest",
    ),
    Code(
        code="pressure-at-highest",
        summary="A condition or band compares with the declared highest pressure.",
        explanation=(
            "Nothing is above arrangement.highest, so being below it or at it tells nothing that a gauge could show. A "
            "condition or band compares with pressures above zero and below the highest; a start may reach it."
        ),
        sample=SMALL
        + """
[starts.charged]
where = "tank is at least 150 psi"
from = "cold"
""",
        at=(14, 27),
        message="nothing lies above 150 psi, the highest pressure of this arrangement",
        hint="lower it, or raise arrangement.highest",
    ),
    Code(
        code="volume-not-positive",
        summary="A volume is not above zero.",
        explanation="A volume may be left out where it is not known; zero would be a claim.",
        sample=SMALL
        + """
[volumes.hose]
is = "line"
volume = "0 L"
""",
        at=(15, 10),
        message='the volume "0 L" is not above zero',
        hint="leave the volume out if it is not known",
    ),
    Code(
        code="size-not-positive",
        summary="A size is zero or reaches zero.",
        explanation="C is the sonic conductance of ISO 6358. A passage that may be of any size is simply left unsized.",
        sample=SMALL
        + """
[sizes]
feed = { C = "0..2", b = "0.3" }
""",
        at=(14, 14),
        message="the size C = 0..2 reaches zero",
        hint="leave the size out if it is not known",
    ),
    Code(
        code="ratio-out-of-range",
        summary="A critical ratio is not one.",
        explanation="b is the critical pressure ratio of ISO 6358, at least 0 and below 1; flow is choked below it.",
        sample=SMALL
        + """
[sizes]
feed = { C = "0.3", b = "1.5" }
""",
        at=(14, 25),
        message="the critical ratio b = 1.5 is not between 0 and 1",
        hint="write b as at least 0 and below 1 (ISO 6358)",
    ),
    Code(
        code="band-syntax",
        summary="A named band is not written as one.",
        explanation=(
            "A band is `below P`, `at least P` or `P to Q`, with P and Q pressures or settings without tolerance. It "
            "holds its lower end and not its upper."
        ),
        sample=SMALL
        + """
[bands]
low = "under 60 psi"
""",
        at=(14, 7),
        message='band "low" is not written as a band: "under 60 psi"',
        hint='write "below 60 psi", "at least 100 psi" or "60 psi to 100 psi"',
    ),
    Code(
        code="band-empty",
        summary="A named band holds no pressure.",
        explanation="The lower end is not below the upper.",
        sample=SMALL
        + """
[bands]
working = "125 psi to 60 psi"
""",
        at=(14, 11),
        message='band "working" holds no pressure: "125 psi to 60 psi"',
        hint="write the lower end first; a band does not hold its upper end",
    ),
    Code(
        code="too-few-positions",
        summary="A control has fewer than two positions.",
        explanation="A control is something the driver sets; with one position there is nothing to set.",
        sample=SMALL
        + """
[controls]
knob = { positions = ["free"] }
""",
        at=(14, 22),
        message='control "knob" has only one position',
        hint="a control has two positions or more",
    ),
    Code(
        code="duplicate-position",
        summary="A control lists a position twice.",
        explanation="Each position stands once; the first is where the control stands by default.",
        sample=SMALL
        + """
[controls]
knob = { positions = ["free", "pushed", "free"] }
""",
        at=(14, 41),
        message='the position "free" is listed twice',
        hint="remove one of the two",
    ),
    Code(
        code="role-unknown-name",
        summary="A role is given to something the arrangement does not have.",
        explanation="A role names volumes, parts, controls, mishaps or settings of the arrangement.",
        sample=SMALL
        + """
[roles]
service_tank = "tnak"
""",
        at=(14, 16),
        message='role "service_tank" names "tnak", which this arrangement does not have',
        hint='did you mean "tank"?',
    ),
    Code(
        code="role-empty",
        summary="A role is played by nothing.",
        explanation="What is said of every member of an empty list is always true, so an empty role would prove everything.",
        sample=SMALL
        + """
[roles]
service_tank = []
""",
        at=(14, 16),
        message='role "service_tank" is played by nothing',
        hint="name who plays it, or remove the role",
    ),
    Code(
        code="role-mixed",
        summary="A role is played by things of different sorts.",
        explanation="What can be said of a volume cannot be said of a control, so a list role holds one sort only.",
        sample=SMALL
        + """
[controls]
knob = { positions = ["free", "pushed"] }

[roles]
service_tank = ["tank", "knob"]
""",
        at=(17, 25),
        message='role "service_tank" mixes a volume and a control',
        hint="let all players of a role be of one sort",
    ),
    Code(
        code="role-repeats",
        summary="A role names the same thing twice.",
        explanation="The second time says nothing new and is most likely a slip for another name.",
        sample=SMALL
        + """
[roles]
service_tank = ["tank", "tank"]
""",
        at=(14, 25),
        message='role "service_tank" names "tank" twice',
        hint="remove one of the two",
    ),
)
