"""Findings and jobs written down as JSON text and read back: what was written comes back equal.

An arrangement is not written down but named by the hash of its content; it is given again when a record is read, and
another one is refused. Exact numbers are text, "a" or "a/b"; sets are sorted, so equal values make equal text.

Limits: that a story fits its arrangement is asked as far as names and numbers go; that the machine allows it, and that
a certificate stands, is the business of rechecking.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from itertools import pairwise
from typing import Annotated, Any, Final, Literal

from pydantic import Field

from bandproof.findings.condition_records import (
    ConditionRecord,
    NotApplicableRecord,
    PropertyRecord,
    claim_of,
    claim_record,
    condition_of,
    condition_record,
)
from bandproof.findings.content import arrangement_hash
from bandproof.findings.finding import Finding, Learnt, Vehicle, Verdict, Waiting
from bandproof.findings.imbalance_records import ImbalanceRecord, imbalance_of, imbalance_record
from bandproof.findings.job import Job
from bandproof.findings.limits import Limits
from bandproof.findings.reasons import (
    ConditionNever,
    ConditionUnshown,
    Interrupted,
    Lacking,
    Lemmas,
    NoMoreMemory,
    NoPressures,
    NoRun,
    NoVehicle,
    OutOfMemory,
    OutOfTime,
    PerhapsShorter,
    ShorterUnreal,
    StartAssumed,
    StartUnreachable,
    StartUnshown,
    Unread,
    WorkerDied,
)
from bandproof.findings.shapes import BadRecordError, Exact, Record, read_text
from bandproof.findings.story_records import StoryRecord, story_of, story_record
from bandproof.findings.witness_records import WitnessRecord, witness_of, witness_record
from bandproof.machine.layout import Layout
from bandproof.model.arrangement import Arrangement
from bandproof.properties.monitors import Stillness

FINDING_FORMAT: Final = "bandproof-finding/1"
JOB_FORMAT: Final = "bandproof-job/1"


class StaleRecordError(BadRecordError):
    """A record is about another arrangement than the one at hand, or about an earlier state of it."""


class ArrangementRecord(Record):
    """Which arrangement: `content` is the hash that counts, `sha256` that of the model text it was read from."""

    name: str
    file: str
    sha256: str
    content: str


ReasonRecord = Annotated[
    OutOfTime
    | OutOfMemory
    | NoMoreMemory
    | WorkerDied
    | Interrupted
    | Lacking
    | NoPressures
    | Lemmas
    | NoRun
    | ConditionNever
    | ConditionUnshown
    | NoVehicle
    | Unread
    | PerhapsShorter
    | ShorterUnreal
    | StartUnreachable
    | StartUnshown,
    Field(discriminator="code"),
]


class LearntRecord(Record):
    """`Learnt`."""

    start: str | None
    places: list[list[ConditionRecord]]
    still: Stillness | None = None


class SizeRecord(Record):
    """A volume's size."""

    volume: str
    litres: Exact


class SettingRecord(Record):
    """What a part's setting was found to be."""

    part: str
    setting: str
    pascals: Exact


class VehicleRecord(Record):
    """`Vehicle`."""

    sizes: list[SizeRecord]
    settings: list[SettingRecord]
    assumed: tuple[str, ...]
    drifting: tuple[int, ...]


class WhyRecord(Record):
    """What a finding rests on, as far as it says so in values."""

    reasons: list[ReasonRecord]
    assumptions: tuple[StartAssumed, ...]
    waiting: Waiting | None
    vehicle: VehicleRecord | None
    run: WitnessRecord | None = None
    learnt: list[LearntRecord]
    readings: tuple[str, ...]


class FindingRecord(WhyRecord):
    """A finding. `job` is the key of the job it answers, "" where it was not kept for one."""

    format: Literal["bandproof-finding/1"]
    job: str
    arrangement: ArrangementRecord | None
    property: str
    says: str
    basis: str
    caution: str
    verdict: Verdict
    steps: int | None
    seconds: float
    engine: str
    thresholds: dict[str, list[Exact]] | None
    #: The parts known to fall silent on the layout.
    silent: list[str]
    imbalances: list[ImbalanceRecord]
    story: StoryRecord | None
    certificate: str | None
    quick: FindingRecord | None = None


class JobRecord(Record):
    """A job."""

    format: Literal["bandproof-job/1"]
    key: str
    arrangement: ArrangementRecord
    thresholds: dict[str, list[Exact]]
    silent: list[str]
    claim: PropertyRecord | NotApplicableRecord
    limits: Limits


# ---------------------------------------------------------------------------------------------------------- findings


def write_finding(finding: Finding, *, job: str = "") -> str:
    """A finding as JSON text; `job` is the key of the job it answers."""
    return _finding_record(finding, job).model_dump_json(indent=2, by_alias=True) + "\n"


def why_document(finding: Finding) -> dict[str, Any]:
    """What a finding rests on - its reasons and all that goes with them - as `json.loads` would give it."""
    return _why(finding).model_dump(mode="json")


def read_finding(text: str, arrangement: Arrangement, *, job: str | None = None) -> Finding:
    """The finding in a text.

    BadRecordError when the text holds none, StaleRecordError when it is about another arrangement or, where `job` is
    given, answers another job.
    """
    record = read_text(FindingRecord, text, "finding")
    if job is not None and record.job != job:
        message = "finding: it answers another job"
        raise StaleRecordError(message)
    return _finding_of(record, arrangement)


def _finding_of(record: FindingRecord, arrangement: Arrangement) -> Finding:
    layout = None
    if record.arrangement is not None:
        _same(record.arrangement, arrangement, "finding")
        layout = _layout(arrangement, record.thresholds or {}, record.silent, "finding", record.imbalances)
    story = record.story
    if story is not None and layout is None:
        message = "finding: there is a story, but no arrangement"
        raise BadRecordError(message)
    return Finding(
        property=record.property,
        says=record.says,
        basis=record.basis,
        verdict=record.verdict,
        reasons=tuple(record.reasons),
        steps=record.steps,
        seconds=record.seconds,
        caution=record.caution,
        layout=layout,
        story=None if story is None or layout is None else story_of(layout, story),
        certificate=record.certificate,
        engine=record.engine,
        assumptions=record.assumptions,
        waiting=record.waiting,
        vehicle=None if record.vehicle is None else _vehicle_of(record.vehicle),
        witness=None if record.run is None else witness_of(record.run),
        learnt=tuple(
            Learnt(one.start, tuple(tuple(map(condition_of, place)) for place in one.places), one.still)
            for one in record.learnt
        ),
        readings=record.readings,
        quick=None if record.quick is None else _finding_of(record.quick, arrangement),
    )


def _finding_record(finding: Finding, job: str) -> FindingRecord:
    layout = finding.layout
    return FindingRecord(
        format=FINDING_FORMAT,
        job=job,
        arrangement=None if layout is None else _arrangement_record(layout.arrangement),
        property=finding.property,
        says=finding.says,
        basis=finding.basis,
        caution=finding.caution,
        verdict=finding.verdict,
        steps=finding.steps,
        seconds=finding.seconds,
        engine=finding.engine,
        thresholds=None if layout is None else _thresholds(layout),
        silent=[] if layout is None else sorted(layout.silent),
        imbalances=[] if layout is None else list(map(imbalance_record, layout.imbalances)),
        story=None if finding.story is None else story_record(finding.story),
        certificate=finding.certificate,
        quick=None if finding.quick is None else _finding_record(finding.quick, job),
        **dict(_why(finding)),
    )


def _why(finding: Finding) -> WhyRecord:
    return WhyRecord(
        reasons=list(finding.reasons),
        assumptions=finding.assumptions,
        waiting=finding.waiting,
        vehicle=None if finding.vehicle is None else _vehicle_record(finding.vehicle),
        run=None if finding.witness is None else witness_record(finding.witness),
        learnt=[
            LearntRecord(
                start=one.start,
                places=[list(map(condition_record, place)) for place in one.places],
                still=one.still,
            )
            for one in finding.learnt
        ],
        readings=finding.readings,
    )


def _vehicle_record(vehicle: Vehicle) -> VehicleRecord:
    return VehicleRecord(
        sizes=[SizeRecord(volume=volume, litres=str(litres)) for volume, litres in vehicle.sizes],
        settings=[SettingRecord(part=p, setting=name, pascals=str(value)) for p, name, value in vehicle.settings],
        assumed=vehicle.assumed,
        drifting=vehicle.drifting,
    )


def _vehicle_of(record: VehicleRecord) -> Vehicle:
    return Vehicle(
        sizes=tuple((size.volume, Fraction(size.litres)) for size in record.sizes),
        settings=tuple((found.part, found.setting, Fraction(found.pascals)) for found in record.settings),
        assumed=record.assumed,
        drifting=record.drifting,
    )


# -------------------------------------------------------------------------------------------------------------- jobs


def write_job(job: Job) -> str:
    """A job as JSON text."""
    record = JobRecord(
        format=JOB_FORMAT,
        key=job.key,
        arrangement=_arrangement_record(job.layout.arrangement),
        thresholds=_thresholds(job.layout),
        silent=sorted(job.layout.silent),
        claim=claim_record(job.claim),
        limits=job.limits,
    )
    return record.model_dump_json(indent=2, by_alias=True) + "\n"


def read_job(text: str, arrangement: Arrangement) -> Job:
    """The job in a text.

    BadRecordError when the text holds none, StaleRecordError when it is about another arrangement, or when its key is
    not that of what it says: it was changed by hand, or written by another version of this program.
    """
    record = read_text(JobRecord, text, "job")
    _same(record.arrangement, arrangement, "job")
    job = Job(_layout(arrangement, record.thresholds, record.silent, "job"), claim_of(record.claim), record.limits)
    if job.key != record.key:
        message = "job: its key is not that of what it says; it was changed, or written by another version"
        raise StaleRecordError(message)
    return job


# ------------------------------------------------------------------------------------------------------ arrangements


def _arrangement_record(arrangement: Arrangement) -> ArrangementRecord:
    return ArrangementRecord(
        name=arrangement.name,
        file=arrangement.file,
        sha256=arrangement.sha256,
        content=arrangement_hash(arrangement),
    )


def _same(record: ArrangementRecord, arrangement: Arrangement, noun: str) -> None:
    if record.content != arrangement_hash(arrangement):
        message = (
            f'{noun}: it is about "{record.name}" ({record.file}) as it was then, '
            f'and not about "{arrangement.name}" ({arrangement.file}) as it is'
        )
        raise StaleRecordError(message)


def _thresholds(layout: Layout) -> dict[str, list[str]]:
    return {volume: [str(mark) for mark in marks] for volume, marks in layout.thresholds.items()}


def _layout(
    arrangement: Arrangement,
    written: dict[str, list[str]],
    silent: list[str],
    noun: str,
    imbalances: Iterable[ImbalanceRecord] = (),
) -> Layout:
    marks = {volume: tuple(map(Fraction, found)) for volume, found in written.items()}
    if sorted(marks) != sorted(volume.name for volume in arrangement.volumes):
        message = f"{noun}, thresholds: its volumes are not those of the arrangement"
        raise BadRecordError(message)
    for volume, found in marks.items():
        if any(low >= high for low, high in pairwise((Fraction(0), *found, arrangement.highest))):
            message = f"{noun}, thresholds.{volume}: they must rise from above 0 to below the highest pressure"
            raise BadRecordError(message)
    if unknown := set(silent) - {part.name for part in arrangement.parts}:
        message = f'{noun}, silent: the arrangement has no part "{min(unknown)}"'
        raise BadRecordError(message)
    known = tuple(map(imbalance_of, imbalances))
    if not all(one.fits(arrangement, marks) for one in known):
        message = f"{noun}, imbalances: they speak of what the arrangement, or its thresholds, do not have"
        raise BadRecordError(message)
    return Layout(arrangement, marks, frozenset(silent), known)
