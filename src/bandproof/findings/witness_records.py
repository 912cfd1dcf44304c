"""Witnesses as pydantic models: what stands under "witness" in a story file, whole and to the last digit."""

from __future__ import annotations

from bandproof.findings.shapes import Record
from bandproof.findings.witness import Common, Deed, Measured, PartMove, Witness
from bandproof.simulation.script import Occur, Turn
from bandproof.simulation.vehicle import Assumed


class TurnRecord(Record):
    """The driver sets a control, at a time in seconds."""

    control: str
    to: str
    seconds: float


class OccurRecord(Record):
    """A mishap occurs, at a time in seconds."""

    mishap: str
    seconds: float


class MoveRecord(Record):
    """`PartMove`."""

    seconds: float
    part: str
    to: str


class MeasuredRecord(Record):
    """`Measured`, pascals gauge."""

    volume: str
    pascals: float
    limit: float


class AssumedRecord(Record):
    """`Assumed`: a number the arrangement does not declare, and the range it was taken from."""

    what: str
    value: float
    low: float
    high: float
    unusual: bool


class CommonRecord(Record):
    """`Common`."""

    broken: int
    drawn: int
    cut: int


class WitnessRecord(Record):
    """`Witness`. Numbers of the vehicle by table and name: pascals gauge, litres, dm3/(s bar), seconds."""

    start: str
    vehicle: dict[str, dict[str, float | str]]
    acts: list[TurnRecord | OccurRecord]
    when: float
    end: float
    margin: float
    measured: list[MeasuredRecord]
    pressures: dict[str, float]
    moves: list[MoveRecord]
    hunted: list[str]
    assumed: list[AssumedRecord]
    common: CommonRecord
    tried: int


def witness_record(witness: Witness) -> WitnessRecord:
    """A witness, to be written down."""
    return WitnessRecord(
        start=witness.start,
        vehicle={table: dict(numbers) for table, numbers in witness.vehicle.items()},
        acts=list(map(_act_record, witness.deeds)),
        when=witness.when,
        end=witness.end,
        margin=witness.margin,
        measured=[MeasuredRecord(volume=m.volume, pascals=m.pascals, limit=m.limit) for m in witness.measured],
        pressures=dict(witness.pressures),
        moves=[MoveRecord(seconds=m.time, part=m.part, to=m.target) for m in witness.moves],
        hunted=list(witness.hunted),
        assumed=[
            AssumedRecord(what=a.what, value=a.value, low=a.low, high=a.high, unusual=a.unusual)
            for a in witness.assumed
        ],
        common=CommonRecord(broken=witness.common.broken, drawn=witness.common.drawn, cut=witness.common.cut),
        tried=witness.tried,
    )


def witness_of(record: WitnessRecord) -> Witness:
    """The witness that was written down. Whether it is one is the business of rechecking."""
    return Witness(
        start=record.start,
        vehicle=record.vehicle,
        deeds=tuple(map(_deed_of, record.acts)),
        when=record.when,
        end=record.end,
        margin=record.margin,
        measured=tuple(Measured(m.volume, m.pascals, m.limit) for m in record.measured),
        pressures=record.pressures,
        moves=tuple(PartMove(m.seconds, m.part, m.to) for m in record.moves),
        hunted=tuple(record.hunted),
        assumed=tuple(Assumed(a.what, a.value, a.low, a.high, a.unusual) for a in record.assumed),
        common=Common(record.common.broken, record.common.drawn, record.common.cut),
        tried=record.tried,
    )


def _act_record(deed: Deed) -> TurnRecord | OccurRecord:
    match deed.what:
        case Turn(control, position):
            return TurnRecord(control=control, to=position, seconds=deed.time)
        case Occur(mishap):
            return OccurRecord(mishap=mishap, seconds=deed.time)


def _deed_of(record: TurnRecord | OccurRecord) -> Deed:
    if isinstance(record, TurnRecord):
        return Deed(Turn(record.control, record.to), record.seconds)
    return Deed(Occur(record.mishap), record.seconds)
