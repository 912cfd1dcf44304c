"""Codes of faults that concern a whole file: finding it, reading it, its tables and keys."""

from __future__ import annotations

from bandproof.text.codes.entry import Code, Reads
from bandproof.text.codes.samples import SMALL
from bandproof.text.messages import Severity

FILES_CODES = (
    Code(
        code="file-missing",
        summary="A file that is named is not there.",
        explanation="Paths in a file are relative to the folder of that file, not to the folder the command runs in.",
        sample="""\
format = "bandproof/1"
extends = "nowhere.toml"
""",
        at=(2, 11),
        message='there is no file "nowhere.toml"',
        hint="check the name and the folder",
    ),
    Code(
        code="file-unreadable",
        summary="A file is there but cannot be read.",
        explanation="It is a folder, or the system does not let you read it.",
        sample="""\
format = "bandproof/1"
extends = "."
""",
        at=(2, 11),
        message='"." cannot be read: it is a folder',
        hint="name a readable file",
    ),
    Code(
        code="file-not-utf8",
        summary="A file is not UTF-8 text.",
        explanation=(
            "TOML is always UTF-8. The place is that of the first byte that is not; editors call the setting encoding."
        ),
        sample="""\
format = "bandproof/1"
# Bremse lösen
""",
        at=(2, 11),
        message="the file is not UTF-8 text: byte 34 is 0xF6",
        hint="save the file with the encoding UTF-8",
        encoding="latin-1",
    ),
    Code(
        code="file-empty",
        summary="A file has nothing in it.",
        explanation="Even the smallest arrangement says its format, its name, its unit, its highest pressure and one start.",
        sample="\n",
        at=(1, 1),
        message="the file is empty",
        hint='begin with format = "bandproof/1"',
    ),
    Code(
        code="toml-syntax",
        summary="The text is not TOML 1.0.",
        explanation=(
            "Nothing else in the file can be judged before this is mended. The place is where reading stopped, which "
            "may be a little after the slip itself."
        ),
        sample="""\
format = "bandproof/1"
[volumes]
tank = { is = tank }
""",
        at=(3, 15),
        message="not TOML: invalid value",
        hint="text stands in quotes, tables begin with [name], and lists with [",
    ),
    Code(
        code="given-twice",
        summary="A file gives one key, port or table twice.",
        explanation="Only one of the two can be meant. Nothing else in the file can be judged before it is clear which.",
        sample=SMALL
        + """
[parts.check]
kind = "check valve"
ports = { inlet = "tank", outlet = "tank", inlet = "tank" }
""",
        at=(15, 44),
        message='the port "inlet" is joined twice',
        hint="remove one of the two, or rename it",
    ),
    Code(
        code="format-missing",
        summary="A file does not say which format it is in.",
        explanation=(
            "The first line of every arrangement and rule pack names the format and its version, so that later "
            "versions can tell old files from new ones."
        ),
        sample="""\
[arrangement]
name = "one tank"
unit = "psi"
highest = "150 psi"

[starts.cold]
""",
        at=(1, 1),
        message="the file does not say which format it is in",
        hint='begin with format = "bandproof/1"',
    ),
    Code(
        code="format-unknown",
        summary="A file is in a format this version does not read.",
        explanation="The file may come from a later version. Its other faults are not looked for.",
        sample="""\
format = "bandproof/9"
""",
        at=(1, 10),
        message='the format "bandproof/9" is not known to this version',
        hint='this version reads "bandproof/1"',
    ),
    Code(
        code="unknown-key",
        summary="A table has a key that means nothing.",
        explanation=(
            "Unknown keys are refused, because a misspelt key would otherwise be a claim or a limit that silently "
            "does nothing."
        ),
        sample=SMALL
        + """
[controls]
knob = { postions = ["free", "pushed"], positions = ["free", "pushed"] }
""",
        at=(14, 10),
        message='controls.knob has no key "postions"',
        hint='did you mean "positions"?',
    ),
    Code(
        code="pack-for-arrangement",
        summary="A rule pack, or a script, is given where an arrangement belongs.",
        explanation=(
            "An arrangement file says what is built and has a table [arrangement]; a rule pack says what must hold of it "
            "and has a table [pack]. `prove` takes arrangements first and rule packs with --properties."
        ),
        sample="""\
format = "bandproof/1"

[pack]
name = "one tank rules"
models = ["models/small.toml"]
""",
        at=(3, 2),
        message="this is a rule pack, not an arrangement",
        hint='name the arrangement first, as in "bandproof prove models/small.toml --properties sample.toml"',
    ),
    Code(
        code="arrangement-for-pack",
        summary="An arrangement, or a script, is given where a rule pack belongs.",
        explanation=(
            "A rule pack says what must hold of arrangements and has a table [pack]; an arrangement file says what is "
            "built and has a table [arrangement]."
        ),
        sample=SMALL,
        at=(3, 2),
        message="this is an arrangement, not a rule pack",
        hint='name it without "--properties", which takes rule packs',
        reads=Reads.PACK,
    ),
    Code(
        code="missing-key",
        summary="A table lacks a key it needs.",
        explanation="A file that extends another may leave out what the other gives; everything else must be there.",
        sample="""\
format = "bandproof/1"

[arrangement]
name = "one tank"
unit = "psi"

[starts.cold]
""",
        at=(3, 2),
        message='arrangement has no "highest"',
        hint='add highest = "150 psi"',
    ),
    Code(
        code="wrong-type",
        summary="A value is of the wrong type.",
        explanation="Pressures, volumes and names are text in quotes; a number without quotes has no unit.",
        sample=SMALL
        + """
[settings]
opens = 38
""",
        at=(14, 9),
        message='"opens" should be text in quotes, not 38',
        hint='write "38" in quotes, with its unit if it has one',
    ),
    Code(
        code="unknown-choice",
        summary="A value is none of the words that can stand there.",
        explanation="A few keys take one of a short list of words.",
        sample=SMALL
        + """
[volumes.hose]
is = "pipe"
""",
        at=(14, 6),
        message='"is" cannot be "pipe"',
        hint='use "tank", "chamber" or "line"',
    ),
    Code(
        code="empty-text",
        summary="A text that people rely on is empty.",
        explanation=(
            "Names, sentences and clauses end up in verdicts and reports; an empty one would leave a claim nobody can "
            "trace."
        ),
        sample="""\
format = "bandproof/1"

[arrangement]
name = ""
unit = "psi"
highest = "150 psi"

[starts.cold]
""",
        at=(4, 8),
        message="the arrangement's name is empty",
        hint="write a name",
    ),
    Code(
        code="extends-cycle",
        summary="A file extends itself, directly or by way of others.",
        explanation="The files a file extends form a chain with an end.",
        sample="""\
format = "bandproof/1"
extends = "sample.toml"
""",
        at=(2, 11),
        message='"sample.toml" extends itself, by way of this file',
        hint="remove this line",
    ),
    Code(
        code="nearly-inherited",
        summary="An entry is nearly called like an inherited one, and does not replace it.",
        explanation=(
            "A file that extends another replaces an entry by giving the same name. A slip in the name leaves the "
            "inherited entry as it is and adds another. It is a warning; `--strict` makes it an error."
        ),
        sample="""\
format = "bandproof/1"
extends = "small.toml"

[starts.colds]
says = "everything empty"
""",
        at=(4, 9),
        message='"colds" is a new entry of starts, beside the inherited "cold"',
        hint='write "cold" to replace that one, or choose a name less like it',
        level=Severity.WARNING,
    ),
    Code(
        code="without-extends",
        summary="A file drops inherited entries but inherits none.",
        explanation="The key `without` only makes sense beside `extends`.",
        sample="""\
format = "bandproof/1"
without = ["parts.check"]

[arrangement]
name = "one tank"
unit = "psi"
highest = "150 psi"

[starts.cold]
""",
        at=(2, 1),
        message='"without" drops inherited entries, but this file extends no other',
        hint='add extends = "…", or remove "without"',
    ),
    Code(
        code="without-unknown",
        summary="A file drops an entry that is not inherited.",
        explanation=(
            "The table and the name are written as in `parts.check`. An entry that this very file gives need not be "
            "dropped: it replaces the inherited one."
        ),
        sample="""\
format = "bandproof/1"
extends = "small.toml"
without = ["volumes.tnak"]
""",
        at=(3, 12),
        message='no entry "volumes.tnak" is inherited',
        hint='did you mean "volumes.tank"?',
    ),
)
