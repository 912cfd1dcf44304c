"""Checks a certificate or a story file that an earlier run has left, with nothing taken over from that run.

A certificate is given to outside solvers as it stands and, when an arrangement is named, compared with what that
arrangement and claim say. A story is played again on the executable machine, and pressures are looked for anew.

Limits: the pressures that stand in a story file are compared with its bands and not added up again.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from bandproof.deciding.cases import Case, RequestError, load_cases
from bandproof.findings.shapes import BadRecordError
from bandproof.machine.layout import Layout
from bandproof.machine.rig import replay
from bandproof.machine.story import Story
from bandproof.properties.claim import Property
from bandproof.terms.names import closest
from bandproof.text.errors import FileError
from bandproof.views.reasons_text import unreal_words
from bandproof.views.story_files import layout_from_json, read_story_file, story_from_json


@dataclass(frozen=True, slots=True)
class Rechecked:
    """What became of a file: whether it stands, what was done, and what is wrong with it.

    `unknown` says that nothing contradicts it, but that some solver could not tell.
    """

    kind: str
    claim: str
    arrangement: str
    ok: bool
    done: tuple[str, ...]
    faults: tuple[str, ...] = ()
    unknown: bool = False


class BadFileError(FileError):
    """A file that is neither a certificate nor a story, or one that cannot be read. The text says where and why."""


def recheck_file(file: Path, model: Path | None = None, packs: Sequence[Path] | None = None) -> Rechecked:
    """Check the certificate or story in `file`.

    With `model` a certificate must also be about that arrangement and its claim. A story always needs the arrangement:
    without `model`, the file it names is read. BadFileError when the file is neither or cannot be read.
    """
    try:
        text = file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "it is not UTF-8 text"
        message = f"{file.as_posix()}: cannot be read: {reason}."
        raise BadFileError(message) from error
    if text.lstrip()[:1] == "{":
        return _story(text, file, model, packs)
    return _certificate(text, file, model, packs)


def _certificate(text: str, file: Path, model: Path | None, packs: Sequence[Path] | None) -> Rechecked:
    from bandproof.certificates.checks import recheck, recheck_against  # noqa: PLC0415  (solvers, only when they are needed)

    name = file.as_posix()
    checked = recheck(text, name)
    done = [f"{run.solver} {run.version}: {', '.join(run.answers)}" for run in checked.runs]
    claim, arrangement = checked.fields.get("property", ""), checked.fields.get("arrangement", "")
    faults = checked.faults
    if model is None:
        done.append("taken at its word about the arrangement and the claim; name the arrangement with --model")
    elif not faults:
        case = load_cases([model], packs)[0]
        silent = _quiet(case, case.layout()).silent
        against = recheck_against(text, case.arrangement, _claim(case, claim), name, silent=silent)
        faults = against.faults
        done.append(f"compared with {model.as_posix()}")
    answers = {answer for run in checked.runs for answer in run.answers}
    unknown = bool(faults) and "unknown" in answers and "sat" not in answers
    return Rechecked("certificate", claim, arrangement, not faults, tuple(done), tuple(faults), unknown)


def _quiet(case: Case, layout: Layout) -> Layout:
    """The layout with the arrangement's silent parts. They are not taken from a file: they are shown anew."""
    from bandproof.engines.silence import quietened  # noqa: PLC0415  (as above)

    silent = quietened(case.layout()).layout.silent
    return Layout(layout.arrangement, layout.thresholds, silent)


def _story(text: str, file: Path, model: Path | None, packs: Sequence[Path] | None) -> Rechecked:
    try:
        document = read_story_file(json.loads(text))
    except (BadRecordError, ValueError, RecursionError) as error:
        raise BadFileError(_no_story(file, error)) from error
    claim, sha256, source = document.property, document.arrangement.sha256, document.arrangement.file
    case = load_cases([model or Path(source)], packs)[0]
    arrangement, property_ = case.arrangement, _claim(case, claim)
    done = (f"played again on {arrangement.file}, property {claim}",)
    if sha256 != arrangement.sha256:
        fault = "it was found on another arrangement file, or on an earlier state of this one (sha256 differs)"
        return Rechecked("story", claim, arrangement.name, ok=False, done=(), faults=(fault,))
    try:
        layout = _quiet(case, layout_from_json(arrangement, document))
        story = story_from_json(layout, document)
    except BadRecordError as error:
        return Rechecked("story", claim, arrangement.name, ok=False, done=(), faults=(str(error),))
    wrong = (
        replay(layout, story, property_) if story.start == property_.during else "it starts elsewhere than the claim"
    )
    if wrong is not None or not story.pressures:
        faults = () if wrong is None else (wrong,)
        return Rechecked("story", claim, arrangement.name, wrong is None, done, faults)
    return _made_real(layout, story, property_, done)


def _made_real(layout: Layout, story: Story, claim: Property, done: tuple[str, ...]) -> Rechecked:
    """Whether air as it is conserved lets the story happen. Its pressures are looked for anew, not taken from the file."""
    from bandproof.witness.concretise import Impossible, Real, find_pressures  # noqa: PLC0415  (as above)

    answer = find_pressures(layout, story, claim)
    name = layout.arrangement.name
    if isinstance(answer, Real):
        return Rechecked("story", claim.id, name, ok=True, done=(*done, "pressures that fit it were found anew"))
    unknown = not isinstance(answer, Impossible)
    return Rechecked(
        "story", claim.id, name, ok=False, done=done, faults=(unreal_words(answer.reason),), unknown=unknown
    )


def _claim(case: Case, name: str) -> Property:
    for claim in case.properties:
        if claim.id == name:
            return claim
    near = closest(name, [claim.id for claim in case.properties])
    hint = f'; did you mean "{near}"?' if near else "; name its rule pack with --properties"
    message = f'{case.arrangement.file} has no applicable property "{name}"{hint}'
    raise RequestError(message)


def _no_story(file: Path, error: Exception) -> str:
    """What is wrong with a file that should be a story, each fault on a line that names the file."""
    said = "nested too deeply" if isinstance(error, RecursionError) else str(error)
    if not isinstance(error, BadRecordError):
        said = f"this is no story file: {said}"
    return "\n".join(f"{file.as_posix()}: {line}" for line in said.splitlines())
