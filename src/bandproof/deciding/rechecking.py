"""Checks a certificate or a story file that an earlier run has left, with nothing taken over from that run.

A certificate is given to outside solvers as it stands, and written anew from the arrangement that it is about: its start,
step and property, the air accounts of its lemmas, the argument that time passes; so are the proofs of the silent parts
that it names. A story is played again (`bandproof.deciding.stories`). The arrangement is the one named, or one that is found
by the hash of its text.

Limits: where no arrangement is found, a certificate is taken at its word about it, and that is said.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from bandproof.deciding.cases import Case, RequestError, load_cases
from bandproof.deciding.finding_models import find_model
from bandproof.deciding.rechecked import Rechecked, claim_of, read_file
from bandproof.deciding.silences import shown_silent
from bandproof.deciding.stories import recheck_story
from bandproof.model.loader import content_hash
from bandproof.text.errors import InputError

if TYPE_CHECKING:
    from bandproof.certificates.basis import Silent
    from bandproof.certificates.checks import Recheck
    from bandproof.certificates.comparing import Poser


def recheck_file(file: Path, model: Path | None = None, packs: Sequence[Path] | None = None) -> Rechecked:
    """Check the certificate or story in `file` against the arrangement in `model`, or one found by its hash.

    BadFileError when the file is neither or cannot be read, and when no arrangement is found for a story.
    """
    text = read_file(file)
    if text.lstrip()[:1] == "{":
        return recheck_story(text, file, model, packs)
    return _certificate(text, file, model, packs)


def _certificate(text: str, file: Path, model: Path | None, packs: Sequence[Path] | None) -> Rechecked:
    from bandproof.certificates.checks import recheck  # noqa: PLC0415  (solvers, only when they are needed)

    checked = recheck(text, file.as_posix())
    fields = checked.fields
    alone = Rechecked(
        "certificate" if "property" in fields else "argument",
        fields.get("property", "that time passes"),
        fields.get("arrangement", ""),
        checked.ok,
        tuple(_answered(checked)),
        checked.faults,
        _unknown(checked),
        alone=True,
    )
    if checked.faults:
        return alone
    path = model or find_model(fields.get("file", ""), fields.get("sha256", ""), file)
    if path is None:
        named = fields.get("file", "")
        why = f"{named} has another one" if content_hash(Path(named)) else "name it with --model"
        return replace(alone, done=(*alone.done, f"no arrangement with its sha256 was found: {why}"))
    try:
        case = load_cases([path], packs)[0]
        against = _against(text, file, case, fields)
    except (RequestError, InputError) as error:
        if model is not None:
            raise
        said = " ".join(str(error).split())
        return replace(alone, done=(*alone.done, f"{path.as_posix()} has its sha256, but cannot be used: {said}"))
    how = "which was named" if model else "found by its sha256"
    done = (*alone.done, *against.done, f"all of it written anew from {path.as_posix()}, {how}")
    if "excludes" in fields and against.ok:
        done = (*done, f"it excludes {fields['excludes']}")
    return replace(against, kind=alone.kind, claim=alone.claim, arrangement=alone.arrangement, done=done)


def _answered(checked: Recheck) -> list[str]:
    """What the solvers said: the same answer to many queries is said once."""
    said = []
    for run in checked.runs:
        same = len(set(run.answers)) == 1
        count = f" to each of {len(run.answers)} queries" if len(run.answers) > 1 else ""
        said.append(
            f"{run.solver} {run.version}: {run.answers[0] + count if same else ', '.join(run.answers) or 'no query'}"
        )
    return said


def _unknown(checked: Recheck) -> bool:
    answers = {answer for run in checked.runs for answer in run.answers}
    return bool(checked.faults) and "unknown" in answers and "sat" not in answers


# --------------------------------------------------------------------------------------------- against an arrangement


def _against(text: str, file: Path, case: Case, fields: dict[str, str]) -> Rechecked:
    """Whether a certificate to which the solvers agree is about the arrangement of a case, and what it names stands too."""
    from bandproof.certificates.basis import read_silent  # noqa: PLC0415  (as above)
    from bandproof.certificates.checks import recheck_time_passes  # noqa: PLC0415  (as above)
    from bandproof.certificates.comparing import strangeness  # noqa: PLC0415  (as above)
    from bandproof.certificates.reader import read  # noqa: PLC0415  (as above)

    if "property" not in fields:
        return _so_far((), list(recheck_time_passes(text, case.arrangement, file.as_posix()).faults))
    silent = read_silent(fields.get("silent", "none"))
    if silent is None:
        return _so_far((), ["it does not say which parts it takes to be silent"])
    done, faults = shown_silent(silent, file.parent, case)
    strange = strangeness(read(text, file.as_posix()), text, _question(case, fields, silent))
    return _so_far(done, [*faults, *strange])


def _so_far(done: tuple[str, ...], faults: list[str]) -> Rechecked:
    return Rechecked("", "", "", not faults, done, tuple(faults))


def _question(case: Case, fields: dict[str, str], silent: tuple[Silent, ...]) -> Poser:
    """What a certificate's property asks: a claim, that a part falls silent, or that all come to rest."""
    from bandproof.certificates.comparing import about_claim, about_rest, about_silence  # noqa: PLC0415  (as above)
    from bandproof.encoding.silence import endless_claim, silence_claim  # noqa: PLC0415  (as above)

    name, arrangement = fields["property"], case.arrangement
    if name not in {claim.id for claim in case.properties}:
        for part in arrangement.parts:
            if name == silence_claim(part.name).id:
                return about_silence(arrangement, part.name, silent)
        mishaps = frozenset(fields.get("mishaps", "").split(", ")) - {"none"}
        for start in arrangement.starts:
            if name == endless_claim(start.name, mishaps).id:
                return about_rest(arrangement, start.name, mishaps, silent)
    return about_claim(arrangement, claim_of(case, name), silent)
