"""Codes of faults in rule packs."""

from __future__ import annotations

from bandproof.text.codes.entry import Code, Reads
from bandproof.text.codes.samples import PACK

PACKS_CODES = (
    Code(
        code="pack-empty",
        summary="A rule pack has no property.",
        explanation="A pack that claims nothing would pass everywhere.",
        sample=PACK,
        at=(3, 2),
        message="the pack has no property",
        hint="add [[property]]",
        reads=Reads.PACK,
    ),
    Code(
        code="bad-property-id",
        summary="A property's id is not spelt as ids are.",
        explanation="Ids become file names and test names: small letters, digits and single hyphens. `time-passes`, `silent-...` and `endless-from-...` are files of the tool's own.",
        sample=PACK
        + """
[[property]]
id = "Tank Fills"
says = "The tank fills."
basis = "common practice, no source"
reachable = "service_tank is at least 100 psi"
""",
        at=(8, 6),
        message='"Tank Fills" cannot be the id of a property',
        hint='use small letters, digits and "-", as in "low-air-vents-trailer"',
        reads=Reads.PACK,
    ),
    Code(
        code="duplicate-property-id",
        summary="Two properties of a pack have the same id.",
        explanation="Verdicts, certificates and expectations are kept by id.",
        sample=PACK
        + """
[[property]]
id = "tank-fills"
says = "The tank fills."
basis = "common practice, no source"
reachable = "service_tank is at least 100 psi"

[[property]]
id = "tank-fills"
says = "The tank is never over-full."
basis = "common practice, no source"
never = "service_tank is at least 140 psi"
""",
        at=(14, 6),
        message='the id "tank-fills" is used twice',
        hint="give every property its own id",
        reads=Reads.PACK,
    ),
    Code(
        code="shape-missing",
        summary="A property claims nothing.",
        explanation="Each property has exactly one of never, always, settled, at_rest, holds and reachable.",
        sample=PACK
        + """
[[property]]
id = "tank-fills"
says = "The tank fills."
basis = "common practice, no source"
""",
        at=(7, 3),
        message='property "tank-fills" claims nothing',
        hint="add one of never, always, settled, at_rest, holds, reachable, ends_in",
        reads=Reads.PACK,
    ),
    Code(
        code="shape-twice",
        summary="A property makes two claims.",
        explanation="With one claim per property a verdict says which claim it is about.",
        sample=PACK
        + """
[[property]]
id = "tank-fills"
says = "The tank fills."
basis = "common practice, no source"
never = "service_tank is at least 140 psi"
reachable = "service_tank is at least 100 psi"
""",
        at=(12, 1),
        message='property "tank-fills" makes two claims, "never" and "reachable"',
        hint="make it two properties",
        reads=Reads.PACK,
    ),
    Code(
        code="shape-not-yet",
        summary="A property has a shape that this version does not decide.",
        explanation=(
            "The shapes within and recoverable are described but not decided; nothing is claimed about them rather "
            "than something wrong."
        ),
        sample=PACK
        + """
[[property]]
id = "tank-fills"
says = "The tank fills."
basis = "common practice, no source"
recoverable = "service_tank is at least 100 psi"
""",
        at=(11, 1),
        message='this version does not decide "recoverable"',
        hint="use one of never, always, settled, at_rest, holds, reachable, ends_in",
        reads=Reads.PACK,
    ),
    Code(
        code="fillings-not-positive",
        summary="A property allows no filling of the lines.",
        explanation=(
            "`fillings` says how often at most the lines are filled during a run, as by a driver who applies the brakes "
            "so often: a whole number of at least 1. Left out, nothing bounds it."
        ),
        sample=PACK
        + """
[[property]]
id = "tank-fills"
says = "The tank fills."
basis = "common practice, no source"
fillings = 0
reachable = "service_tank is at least 100 psi"
""",
        at=(11, 12),
        message="lines cannot be filled 0 times",
        hint="write a whole number of at least 1, or leave it out if nothing bounds it",
        reads=Reads.PACK,
    ),
    Code(
        code="faults-not-yet",
        summary="A property is to survive faults, which this version does not decide.",
        explanation=(
            "Only properties of the arrangement as described, without faults of its parts, are decided. Mishaps of "
            "the surroundings are."
        ),
        sample=PACK
        + """
[[property]]
id = "tank-fills"
says = "The tank fills."
basis = "common practice, no source"
faults = 1
reachable = "service_tank is at least 100 psi"
""",
        at=(11, 10),
        message="this version decides properties without faults only",
        hint="write faults = 0, or leave it out",
        reads=Reads.PACK,
    ),
    Code(
        code="not-a-mishap",
        summary="A property lists something as a mishap that is none.",
        explanation="`mishaps` is `any`, `none` or a list of roles that mishaps play.",
        sample=PACK
        + """
[[property]]
id = "tank-fills"
says = "The tank fills."
basis = "common practice, no source"
mishaps = ["service_tank"]
reachable = "service_tank is at least 100 psi"
""",
        at=(11, 11),
        message='"service_tank" is a volume, not a mishap',
        hint="name roles of mishaps here",
        reads=Reads.PACK,
    ),
    Code(
        code="expected-unknown-model",
        summary="An expectation is for a model the pack does not name.",
        explanation="The path is written as it is in pack.models, or matches a pattern there.",
        sample=PACK
        + """
[pack.expected."../models/other.toml"]
refuted = ["tank-fills"]

[[property]]
id = "tank-fills"
says = "The tank fills."
basis = "common practice, no source"
reachable = "service_tank is at least 100 psi"
""",
        at=(7, 16),
        message='"../models/other.toml" is not among the models of this pack',
        hint='did you mean "models/small.toml"?',
        reads=Reads.PACK,
    ),
    Code(
        code="expected-unknown-property",
        summary="An expectation is for a property the pack does not have.",
        explanation="Expectations name properties by id.",
        sample=PACK
        + """
[pack.expected."models/small.toml"]
refuted = ["tank-fill"]

[[property]]
id = "tank-fills"
says = "The tank fills."
basis = "common practice, no source"
reachable = "service_tank is at least 100 psi"
""",
        at=(8, 12),
        message='the pack has no property "tank-fill"',
        hint='did you mean "tank-fills"?',
        reads=Reads.PACK,
    ),
    Code(
        code="expected-twice",
        summary="A property is expected to come out in two ways.",
        explanation="Each property has one verdict per arrangement.",
        sample=PACK
        + """
[pack.expected."models/small.toml"]
refuted = ["tank-fills"]
empty = ["tank-fills"]

[[property]]
id = "tank-fills"
says = "The tank fills."
basis = "common practice, no source"
reachable = "service_tank is at least 100 psi"
""",
        at=(9, 10),
        message='property "tank-fills" is expected to be refuted already',
        hint="expect one verdict",
        reads=Reads.PACK,
    ),
)
