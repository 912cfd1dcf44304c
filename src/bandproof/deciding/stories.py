"""Checks a story file: it is read, played again, and written anew, and its pressures are put into the air accounts.

All that a story file says is either compared with what follows from the arrangement, the claim and the run, or said to be
unchecked: the name of the arrangement's file, and keys that a story file does not have.

Where the file has a witness, its vehicle is run again in seconds by another integrator, which has to break the claim as the file
says; and where the story is that very run, it is read off anew and compared.

Limits: sizes and settings that the pressures of a story without a witness hold for are not in the file. Where the middle of each
declared size does not do, and it is not shown that none does, pressures are looked for anew, and it is said that those in
the file are not checked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from bandproof.deciding.cases import Case, load_cases
from bandproof.deciding.finding_models import find_model
from bandproof.deciding.rechecked import BadFileError, Rechecked, claim_of
from bandproof.findings.shapes import BadRecordError
from bandproof.findings.standing import Question
from bandproof.findings.story_file import StoryFile
from bandproof.findings.witness_records import witness_of
from bandproof.machine.layout import Layout, grid_fault
from bandproof.machine.rig import plays, replay
from bandproof.machine.story import Moved, State, Story
from bandproof.model.conditions import ALWAYS_TRUE, Condition
from bandproof.properties.claim import Pace, Property, Shape
from bandproof.views.json_files import story_json
from bandproof.views.phrases import from_then_on, last_words
from bandproof.views.reasons_text import unreal_words
from bandproof.views.story_files import (
    differing,
    further_keys,
    layout_from_json,
    read_json,
    read_story_file,
    story_from_json,
)

#: What is said of a story whose pressures no accounts balance with.
NOT_BALANCED = "the pressures in it are not such as air could have: no sizes and settings in their ranges fit them"


def recheck_story(text: str, file: Path, model: Path | None, packs: Sequence[Path] | None) -> Rechecked:
    """Check the story in `text`, which was read from `file`, as `recheck_file` does. BadFileError when it is none."""
    try:
        raw = read_json(text)
        document = read_story_file(raw)
    except (BadRecordError, ValueError, RecursionError) as error:
        raise BadFileError(_no_story(file, error)) from error
    about = document.arrangement
    path = model or find_model(about.file, about.sha256, file) or Path(about.file)
    case = load_cases([path], packs)[0]
    answer = Rechecked("story", document.property, case.arrangement.name, ok=False, done=())
    if about.sha256 != case.arrangement.sha256:
        fault = "it was found on another arrangement file, or on an earlier state of this one (sha256 differs)"
        return replace(answer, faults=(fault,))
    how = "which was named" if model else "found by its sha256"
    done = [f"played again on {path.as_posix()}, {how}, property {document.property or 'none'}"]
    if unknown := further_keys(raw):
        done.append(f"not looked at: {', '.join(unknown)[:200]}")
    try:
        return _checked(case, document, replace(answer, done=tuple(done)))
    except BadRecordError as error:
        return replace(answer, faults=(str(error),))


def _checked(case: Case, document: StoryFile, answer: Rechecked) -> Rechecked:
    claim = _asked_of(document, claim_of(case, document.property)) if document.property else None
    layout = layout_from_json(case.arrangement, document)
    fault = grid_fault(case.arrangement, layout.thresholds, _conditions(claim))
    if fault is not None:
        return replace(answer, faults=(f"story file: {fault}",))
    layout = _quiet(layout)
    story = story_from_json(layout, document)
    layout = layout if claim is None else _balanced(layout, claim, story)
    fault = _going_round(layout, story, document) if claim is None else _ending(layout, story, claim)
    fault = fault or said_wrongly(layout, story, document, claim)
    if fault is not None:
        return replace(answer, faults=(fault,))
    if claim is None:
        done = (*answer.done, "no vehicle that does it was looked for: it is a run of the bands")
        return replace(answer, ok=True, done=done)
    if document.witness is not None:
        return _witnessed(layout, story, claim, document, answer)
    if story.seconds:
        return replace(answer, faults=("it has seconds, but no witness whose they are",))
    return _made_real(layout, story, claim, answer)


def _asked_of(document: StoryFile, claim: Property) -> Property:
    """The claim as the story is told of it: where that says that the driver waits and he need not, of one who does."""
    free = document.driver is not None and claim.pace is Pace.ANY_TIME
    return replace(claim, pace=Pace.AFTER_SETTLING) if free else claim


def _conditions(claim: Property | None) -> list[Condition]:
    return [] if claim is None else [claim.when, claim.then, claim.until or ALWAYS_TRUE]


def _quiet(layout: Layout) -> Layout:
    """The layout with the arrangement's silent parts. They are not taken from a file: they are shown anew."""
    from bandproof.engines.silence import quietened  # noqa: PLC0415  (solvers, only when they are needed)

    return Layout(layout.arrangement, layout.thresholds, quietened(layout).layout.silent)


def _balanced(layout: Layout, claim: Property, story: Story) -> Layout:
    from bandproof.engines.refining import balanced  # noqa: PLC0415  (solvers, only when they are needed)

    return balanced(layout, claim, story)


def _ending(layout: Layout, story: Story, claim: Property) -> str | None:
    """Why the story is no run from the claim's start to its first bad."""
    return replay(layout, story, claim) if story.start == claim.during else "it starts elsewhere than the claim"


def _going_round(layout: Layout, story: Story, document: StoryFile) -> str | None:
    """Why a story without a claim is no run with the hands off that comes back to where it was, parts having moved."""
    freely = Property("", "", "", Shape.NEVER, story.start, pace=Pace.HANDS_OFF, mishaps=_mishaps(layout))
    fault = plays(layout, story, freely)
    loop = round_of(story.states)
    if fault is not None or loop is None or document.ending != from_then_on(loop):
        return fault or "its last state is none that it has been in before, or its ending tells another"
    moved = any(isinstance(event, Moved) for step in story.steps[loop:] for event in step.events)
    return None if moved else "no part moves in what it says goes on for ever"


def _mishaps(layout: Layout) -> frozenset[str]:
    return frozenset(mishap.name for mishap in layout.arrangement.mishaps)


def round_of(states: tuple[State, ...]) -> int | None:
    """The number of the first state that is the last one again, what is remembered beside; None when there is none."""
    plain = [replace(state, counts=(), crossed=()) for state in states]
    first = plain.index(plain[-1])
    return first if first < len(plain) - 1 else None


def said_wrongly(layout: Layout, story: Story, document: StoryFile, claim: Property | None) -> str | None:
    """What in the file is not what a story file of this run and claim says."""
    if claim is None:
        says, ending = str(Question.COMES_TO_REST), document.ending
    else:
        says, ending = claim.says, last_words(claim.says, broken=claim.shape is not Shape.REACHABLE)
    witness = None if document.witness is None else witness_of(document.witness)
    written = story_json(
        layout,
        story,
        claim=document.property,
        says=says,
        ending=ending,
        witness=witness,
        patient=document.driver is not None,
    )
    place = differing(document, written)
    return None if place is None else f'story file, "{place}" is not what this run and its claim say'


def _witnessed(layout: Layout, story: Story, claim: Property, document: StoryFile, answer: Rechecked) -> Rechecked:
    """Whether the vehicle breaks the claim in seconds too, and the story is its run."""
    from bandproof.witness.rechecking import recheck_witness  # noqa: PLC0415  (as above)
    from bandproof.witness.telling import same_run  # noqa: PLC0415  (as above)

    assert document.witness is not None
    witness = witness_of(document.witness)
    faults = recheck_witness(layout.arrangement, claim, witness)
    if not faults and story.seconds:
        faults = same_run(layout, claim, witness, story)
    if faults:
        return replace(answer, faults=tuple(f"the witness: {fault}" for fault in faults))
    ran = f"its vehicle, run for {witness.end:.2f} s by another integrator, does it"
    told = "the story is that run, read off in bands" if story.seconds else "the story is not that run, but led to it"
    return replace(answer, ok=True, done=(*answer.done, f"{ran}; {told}"))


def _made_real(layout: Layout, story: Story, claim: Property, answer: Rechecked) -> Rechecked:
    """Whether air as it is conserved lets the story happen, with the pressures in the file or with others."""
    from bandproof.witness.concretise import (  # noqa: PLC0415  (as above)
        Concrete,
        Impossible,
        find_pressures,
        satisfied_by,
    )

    written = any(part.pressures for part in story.parts())
    fits = satisfied_by(layout, story) if all(part.pressures for part in story.parts()) else None
    if fits:
        said = "its pressures balance with every volume at the middle of its size"
        return replace(answer, ok=True, done=(*answer.done, said))
    if fits is False:
        return replace(answer, faults=(NOT_BALANCED,))
    found = find_pressures(layout, story, claim)
    if isinstance(found, Concrete):
        said = "pressures that fit it were found anew" + ("; those in the file were not checked" if written else "")
        return replace(answer, ok=True, done=(*answer.done, said))
    unknown = not isinstance(found, Impossible)
    return replace(answer, faults=(unreal_words(found.reason),), unknown=unknown)


def _no_story(file: Path, error: Exception) -> str:
    """What is wrong with a file that should be a story, each fault on a line that names the file."""
    said = "nested too deeply" if isinstance(error, RecursionError) else str(error)
    if not isinstance(error, BadRecordError):
        said = f"this is no story file: {said}"
    return "\n".join(f"{file.as_posix()}: {line}" for line in said.splitlines())
