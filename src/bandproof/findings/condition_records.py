"""Conditions and claims as pydantic models: each node says which it is, and numbers are exact text."""

from __future__ import annotations

from fractions import Fraction
from typing import Annotated, Literal

from pydantic import Field

from bandproof.findings.shapes import Exact, Record
from bandproof.model.conditions import (
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Condition,
    Happened,
    InPosition,
    InState,
    Lower,
    Not,
    NotHappened,
    NotInPosition,
    NotInState,
    NotLower,
    Standing,
    Tie,
    Truth,
)
from bandproof.properties.claim import Lack, NotApplicable, Pace, Property, Shape


class TruthRecord(Record):
    """`Truth`."""

    node: Literal["truth"] = "truth"
    value: bool


class ThresholdRecord(Record):
    """`Below` and `AtLeast`; the ends in pascals gauge."""

    node: Literal["below", "at least"]
    volume: str
    low: Exact
    high: Exact
    setting: str | None
    tie: Tie | None


class LowerRecord(Record):
    """`Lower` and `NotLower`."""

    node: Literal["lower", "not lower"]
    volume: str
    other: str


class InStateRecord(Record):
    """`InState` and `NotInState`."""

    node: Literal["in state", "not in state"]
    part: str
    states: list[str]


class InPositionRecord(Record):
    """`InPosition` and `NotInPosition`."""

    node: Literal["in position", "not in position"]
    control: str
    positions: list[str]


class HappenedRecord(Record):
    """`Happened` and `NotHappened`."""

    node: Literal["happened", "not happened"]
    mishap: str


class NotRecord(Record):
    """`Not`."""

    node: Literal["not"] = "not"
    item: ConditionRecord


class ItemsRecord(Record):
    """`AllOf` and `AnyOf`."""

    node: Literal["all of", "any of"]
    items: list[ConditionRecord]


ConditionRecord = Annotated[
    TruthRecord
    | ThresholdRecord
    | LowerRecord
    | InStateRecord
    | InPositionRecord
    | HappenedRecord
    | NotRecord
    | ItemsRecord,
    Field(discriminator="node"),
]


def condition_record(condition: Condition) -> ConditionRecord:
    """A condition, to be written down."""
    match condition:
        case Truth(value):
            return TruthRecord(value=value)
        case Not(item):
            return NotRecord(item=condition_record(item))
        case AllOf(items):
            return ItemsRecord(node="all of", items=list(map(condition_record, items)))
        case AnyOf(items):
            return ItemsRecord(node="any of", items=list(map(condition_record, items)))
        case Below():
            return _threshold(condition, "below")
        case AtLeast():
            return _threshold(condition, "at least")
        case Lower(volume, other):
            return LowerRecord(node="lower", volume=volume, other=other)
        case NotLower(volume, other):
            return LowerRecord(node="not lower", volume=volume, other=other)
        case _:
            return _standing(condition)


def _threshold(leaf: Below | AtLeast, node: Literal["below", "at least"]) -> ThresholdRecord:
    return ThresholdRecord(
        node=node, volume=leaf.volume, low=str(leaf.low), high=str(leaf.high), setting=leaf.setting, tie=leaf.tie
    )


def _standing(leaf: Standing) -> InStateRecord | InPositionRecord | HappenedRecord:
    match leaf:
        case InState(part, states):
            return InStateRecord(node="in state", part=part, states=sorted(states))
        case NotInState(part, states):
            return InStateRecord(node="not in state", part=part, states=sorted(states))
        case InPosition(control, positions):
            return InPositionRecord(node="in position", control=control, positions=sorted(positions))
        case NotInPosition(control, positions):
            return InPositionRecord(node="not in position", control=control, positions=sorted(positions))
        case Happened(mishap):
            return HappenedRecord(node="happened", mishap=mishap)
        case NotHappened(mishap):
            return HappenedRecord(node="not happened", mishap=mishap)


def condition_of(record: ConditionRecord) -> Condition:
    """The condition that was written down."""
    match record:
        case TruthRecord():
            return Truth(record.value)
        case NotRecord():
            return Not(condition_of(record.item))
        case ItemsRecord():
            items = tuple(map(condition_of, record.items))
            return AllOf(items) if record.node == "all of" else AnyOf(items)
        case ThresholdRecord():
            kind = Below if record.node == "below" else AtLeast
            return kind(record.volume, Fraction(record.low), Fraction(record.high), record.setting, record.tie)
        case LowerRecord():
            return (Lower if record.node == "lower" else NotLower)(record.volume, record.other)
        case InStateRecord():
            return (InState if record.node == "in state" else NotInState)(record.part, frozenset(record.states))
        case InPositionRecord():
            at = InPosition if record.node == "in position" else NotInPosition
            return at(record.control, frozenset(record.positions))
        case HappenedRecord():
            return (Happened if record.node == "happened" else NotHappened)(record.mishap)


class PropertyRecord(Record):
    """A claim that applies."""

    id: str
    says: str
    basis: str
    shape: Shape
    during: str
    when: ConditionRecord
    then: ConditionRecord
    until: ConditionRecord | None
    pace: Pace
    mishaps: list[str]
    fillings: int | None
    caution: str


class NotApplicableRecord(Record):
    """A claim that does not apply."""

    id: str
    says: str
    basis: str
    lacks: tuple[Lack, ...]
    caution: str
    pack: str


def claim_record(claim: Property | NotApplicable) -> PropertyRecord | NotApplicableRecord:
    """A claim, to be written down."""
    if isinstance(claim, NotApplicable):
        return NotApplicableRecord(
            id=claim.id,
            says=claim.says,
            basis=claim.basis,
            lacks=claim.lacks,
            caution=claim.caution,
            pack=claim.pack,
        )
    return PropertyRecord(
        id=claim.id,
        says=claim.says,
        basis=claim.basis,
        shape=claim.shape,
        during=claim.during,
        when=condition_record(claim.when),
        then=condition_record(claim.then),
        until=None if claim.until is None else condition_record(claim.until),
        pace=claim.pace,
        mishaps=sorted(claim.mishaps),
        fillings=claim.fillings,
        caution=claim.caution,
    )


def claim_of(record: PropertyRecord | NotApplicableRecord) -> Property | NotApplicable:
    """The claim that was written down."""
    if isinstance(record, NotApplicableRecord):
        return NotApplicable(record.id, record.says, record.basis, record.lacks, record.caution, record.pack)
    return Property(
        id=record.id,
        says=record.says,
        basis=record.basis,
        shape=record.shape,
        during=record.during,
        when=condition_of(record.when),
        then=condition_of(record.then),
        until=None if record.until is None else condition_of(record.until),
        pace=record.pace,
        mishaps=frozenset(record.mishaps),
        fillings=record.fillings,
        caution=record.caution,
    )
