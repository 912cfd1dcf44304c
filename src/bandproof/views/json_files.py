"""Stories and verdicts as JSON-able values.

The shape of a story file is stated in `bandproof.findings.story_file`; `bandproof.views.story_files` reads it back. The
document of `prove` has, for each result, sentences for people and beside them the values that they were made from.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from bandproof.findings.finding import Finding, Verdict
from bandproof.findings.records import why_document
from bandproof.findings.standing import Standing
from bandproof.findings.story_file import (
    STORY_FORMAT,
    CrossedEvent,
    Identity,
    LeadShape,
    MovedEvent,
    OccurredEvent,
    StateShape,
    StepShape,
    StoryFile,
    TurnedEvent,
)
from bandproof.findings.witness import Witness
from bandproof.findings.witness_records import witness_record
from bandproof.machine.layout import Layout
from bandproof.machine.story import Crossed, Event, Moved, Occurred, Story, Turned
from bandproof.model.arrangement import Arrangement
from bandproof.properties.claim import NotApplicable, Property
from bandproof.text.units import show_pressure
from bandproof.views.phrases import pressure_number, real_pressure
from bandproof.views.reasons_text import reason_text

PROVE_FORMAT = "bandproof/1"

#: What `json.loads` gives for an object.
Document = dict[str, Any]


def story_json(
    layout: Layout,
    story: Story,
    *,
    claim: str = "",
    says: str = "",
    ending: str = "",
    witness: Witness | None = None,
    patient: bool = False,
) -> Document:
    """A story as the document of a story file; `claim` is the property's id and `says` its sentence.

    `patient`: it is told of a driver who lets the air settle before each act, though the claim is of any.
    """
    arrangement = layout.arrangement
    file = StoryFile(
        format=STORY_FORMAT,
        arrangement=Identity(name=arrangement.name, file=arrangement.file, sha256=arrangement.sha256),
        property=claim,
        says=says,
        ending=ending,
        unit=arrangement.unit,
        thresholds={volume: [str(mark) for mark in marks] for volume, marks in layout.thresholds.items()},
        start=story.start,
        driver="after settling" if patient else None,
        lead=_lead(layout, story.lead),
        initial=state_shape(layout, story, 0),
        steps=_steps(layout, story),
        loop=story.loop,
        seconds=list(story.seconds) or None,
        witness=None if witness is None else witness_record(witness),
    )
    without = {key for key in ("driver", "lead", "loop", "seconds", "witness") if getattr(file, key) is None}
    return file.model_dump(mode="json", by_alias=True, exclude=without)


def _steps(layout: Layout, story: Story) -> list[StepShape]:
    return [
        StepShape(
            kind=step.kind.value,
            events=[_event(event, layout.arrangement.unit) for event in step.events],
            **dict(state_shape(layout, story, number)),
        )
        for number, step in enumerate(story.steps, start=1)
    ]


def _lead(layout: Layout, story: Story | None) -> LeadShape | None:
    if story is None:
        return None
    before, initial = _lead(layout, story.lead), state_shape(layout, story, 0)
    return LeadShape(start=story.start, lead=before, initial=initial, steps=_steps(layout, story))


def prove_json(
    arrangement: Arrangement,
    findings: Iterable[Finding],
    *,
    certificates: Mapping[str, str] | None = None,
    stories: Mapping[str, str] | None = None,
    quick: Mapping[str, str] | None = None,
    standing: Iterable[tuple[Standing, list[str]]] = (),
    asked: Mapping[str, Document] | None = None,
) -> Document:
    """The document of `prove --json`; three mappings give the files written for each property id.

    `quick` has the stories of a quick hand, where a patient driver has one of his own.

    `standing` are the answers to the standing questions, each with its files; `asked` gives what was asked, as from
    `claim_json`, for each property id.
    """
    files, told, of, quicker = certificates or {}, stories or {}, asked or {}, quick or {}
    return {
        "format": PROVE_FORMAT,
        "arrangement": {"name": arrangement.name, "file": arrangement.file, "sha256": arrangement.sha256},
        "standing": [
            {
                "question": str(one.question),
                "answer": str(one.answer),
                "start": one.start or None,
                "says": one.says,
                "hint": one.hint,
                "loop": one.loop,
                "files": names,
            }
            for one, names in standing
        ],
        "results": [
            {
                **_result(one, files.get(one.property), told.get(one.property), quicker.get(one.property)),
                **of.get(one.property, {}),
            }
            for one in findings
        ],
    }


def claim_json(claim: Property | NotApplicable, *, expected: Verdict, belief: bool) -> Document:
    """What was asked of an arrangement, and what the rule packs expect; the former None where the claim does not apply."""
    asked: Document = dict.fromkeys(("start", "driver", "mishaps", "fillings"))
    if isinstance(claim, Property):
        asked = {"start": claim.during, "driver": str(claim.pace), "mishaps": sorted(claim.mishaps)}
        asked["fillings"] = claim.fillings
    return {**asked, "expected": str(expected), "belief": belief}


def _result(finding: Finding, certificate: str | None, story: str | None, quick: str | None) -> Document:
    """A story refutes, or shows what a proven claim says can happen; then it is called a witness."""
    shows = finding.verdict is Verdict.PROVEN
    return {
        "property": finding.property,
        "says": finding.says,
        "basis": finding.basis,
        "caution": finding.caution,
        "verdict": str(finding.verdict),
        "reason": reason_text(finding),
        "steps": finding.steps,
        "seconds": round(finding.seconds, 3),
        "engine": finding.engine,
        "certificate": certificate,
        "counterexample": None if shows else story,
        "witness": story if shows else None,
        "quick": quick,
        **why_document(finding),
    }


def state_shape(layout: Layout, story: Story, number: int) -> StateShape:
    """The state of a story with that number, as a story file shows it."""
    arrangement, state = layout.arrangement, story.states[number]
    names = [volume.name for volume in arrangement.volumes]
    bands = dict(zip(names, state.bands, strict=True))
    real = dict(zip(names, story.pressures[number], strict=True)) if story.pressures else {}
    return StateShape(
        bands={name: _range(layout, name, band) for name, band in bands.items()},
        band_numbers=bands,
        pressures={name: real_pressure(layout, name, bands[name], value) for name, value in real.items()},
        pascals={name: str(value) for name, value in real.items()},
        parts=dict(zip((part.name for part in arrangement.parts), state.parts, strict=True)),
        controls=dict(zip((control.name for control in arrangement.controls), state.controls, strict=True)),
        mishaps=sorted(state.mishaps),
    )


def _range(layout: Layout, volume: str, band: int) -> str:
    unit = layout.arrangement.unit
    low, high = layout.low(volume, band), layout.high(volume, band)
    return f"{pressure_number(low, unit)}..{pressure_number(high, unit)} {unit}"


def _event(event: Event, unit: str) -> TurnedEvent | MovedEvent | OccurredEvent | CrossedEvent:
    match event:
        case Turned(control, source, target):
            return TurnedEvent(control=control, from_=source, to=target)
        case Moved(part, source, target):
            return MovedEvent(part=part, from_=source, to=target)
        case Occurred(mishap):
            return OccurredEvent(mishap=mishap)
        case Crossed(volume, threshold, upward):
            crosses = show_pressure(threshold, unit)
            return CrossedEvent(volume=volume, crosses=crosses, pascals=str(threshold), upward=upward)
