"""Small arrangements of which it is known by hand which claims a vehicle breaks, and by which numbers."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache

from bandproof.encoding.system import StepRule
from bandproof.engines.run import decide
from bandproof.findings.witness import NoWitness, Witness
from bandproof.machine.story import State, Story
from bandproof.model.arrangement import (
    ATMOSPHERE,
    SOURCE,
    Arrangement,
    Control,
    Mishap,
    Move,
    Part,
    Passage,
    Range,
    Setting,
    Size,
    Start,
    VolumeKind,
)
from bandproof.model.conditions import AllOf, Below, Condition, Happened, InPosition, InState, Not
from bandproof.properties.claim import Pace, Property, Shape
from bandproof.witness.search import Budget, find_witness
from tests.strategies import layout_for

from .samples import KPA, LINE, TANK, at_least, below, exactly, never, piped, volume

SMALL = Budget(vehicles=60, population=24, generations=4, common=40)


def between(**kpa: tuple[int, int]) -> tuple[tuple[str, Range], ...]:
    return tuple((name, Range(low * KPA, high * KPA)) for name, (low, high) in kpa.items())


def size(low: str, high: str, b: str = "0.3") -> Size:
    return Size(Range(Fraction(low), Fraction(high)), Range(Fraction(b), Fraction(b)))


def bore(upstream: str, downstream: str, given: Size, name: str, *, one_way: bool = True) -> Part:
    return Part(name, "pipe", ("open",), (Passage(upstream, downstream, one_way, frozenset({"open"}), given),))


def cock(upstream: str, downstream: str, given: Size, name: str, opens: Condition) -> Part:
    """A passage that is open as long as a condition holds."""
    moves = (Move("shut", "open", opens), Move("open", "shut", Not(opens)))
    return Part(
        name, "cock", ("shut", "open"), (Passage(upstream, downstream, False, frozenset({"open"}), given),), moves
    )


def leaking() -> tuple[Arrangement, Property]:
    """A tank of 10-20 L at 700-900 kPa loses its air through C = 0.1-0.5: it falls below 600 kPa in every vehicle."""
    start = Start("start", between(tank=(700, 900)))
    parts = (bore("tank", ATMOSPHERE, size("0.1", "0.5"), "leak"),)
    return piped((volume("tank", TANK, ("10", "20")),), parts, start), never(below("tank", 600))


def supplied() -> tuple[Arrangement, Property]:
    """A tank fed from another that is at 500 kPa at most never gets to 510 kPa."""
    start = Start("start", between(store=(400, 500), tank=(0, 100)))
    parts = (bore("store", "tank", size("1", "2"), "feed"),)
    volumes = (volume("store", TANK, "40"), volume("tank", TANK, ("1", "10")))
    return piped(volumes, parts, start), never(at_least("tank", 510))


def fed(leak: tuple[str, str]) -> tuple[Arrangement, Property]:
    """A compressor of C = 0.5-0.8 at 1000 kPa holds a tank above 600 kPa against a leak of as much at less pressure."""
    start = Start("start", between(tank=(700, 900)))
    parts = (bore(SOURCE, "tank", size("0.5", "0.8"), "compressor"), bore("tank", ATMOSPHERE, size(*leak), "leak"))
    return piped((volume("tank", TANK, ("10", "20")),), parts, start), never(below("tank", 600))


def race() -> tuple[Arrangement, Property]:
    """Two volumes at 800 kPa are vented, one of 5 L through C = 5.5, one of 2 L through C = 0.01-40.

    For the first to be below 200 kPa while the second is still at 790 or more: the first takes V/C ln(901/301) = 1.0 s at
    choked flow, the second 2/C ln(901/891) = 0.022/C s. So C has to be below 0.022: one vehicle in 3,000.
    """
    start = Start("start", exactly(timer=800, line=800))
    parts = (
        bore("timer", ATMOSPHERE, size("5.5", "5.5"), "quick"),
        bore("line", ATMOSPHERE, size("0.01", "40"), "slow"),
    )
    volumes = (volume("timer", TANK, "5"), volume("line", TANK, "2"))
    return piped(volumes, parts, start), never(AllOf((below("timer", 200), at_least("line", 790))))


def alarmed(pace: Pace = Pace.ANY_TIME) -> tuple[Arrangement, Property]:
    """A hand opens a drain; an alarm set to 580..620 kPa goes off. It may do so while the tank is still at 600 or more."""
    opened = InPosition("knob", frozenset({"open"}))
    alarm = Part(
        "alarm",
        "alarm",
        ("quiet", "ringing"),
        (),
        (Move("quiet", "ringing", Below("tank", 580 * KPA, 620 * KPA, "warning")),),
    )
    start = Start(
        "start",
        between(tank=(700, 800), spare=(300, 400)),
        (("alarm", frozenset({"quiet"})), ("drain", frozenset({"shut"})), ("burst", frozenset({"shut"}))),
        (("knob", frozenset({"shut"})),),
    )
    made = Arrangement(
        "alarmed",
        "kPa",
        Fraction(101_325),
        1000 * KPA,
        (volume("tank", TANK, ("10", "20")), volume("spare", LINE, "1")),
        (
            cock("tank", ATMOSPHERE, size("1", "2"), "drain", opened),
            cock("spare", ATMOSPHERE, size("1", "2"), "burst", Happened("torn")),
            alarm,
        ),
        (Control("knob", ("shut", "open")),),
        (Mishap("torn"),),
        settings=(Setting("warning", 580 * KPA, 620 * KPA),),
        starts=(start,),
        sha256="34" * 32,
    )
    rings = InState("alarm", frozenset({"ringing"}))
    claim = replace(never(AllOf((rings, at_least("tank", 600)))), pace=pace, mishaps=frozenset({"torn"}))
    return made, claim


def drained() -> tuple[Arrangement, Property]:
    """Once the drain is open and all is still, the tank is not at 100 kPa or more: at rest that is so, settled it is not."""
    made, claim = alarmed()
    opened = InState("drain", frozenset({"open"}))
    return made, replace(claim, shape=Shape.SETTLED, when=opened, then=below("tank", 100))


def regulated(then: int) -> tuple[Arrangement, Property]:
    """A regulator feeds a leaking line from below 380 kPa to 420 kPa: it goes to and fro between the two for ever."""
    regulator = Part(
        "regulator",
        "regulator",
        ("shut", "open"),
        (Passage("tank", "line", False, frozenset({"open"}), size("2", "3")),),
        (Move("shut", "open", below("line", 380)), Move("open", "shut", at_least("line", 420))),
    )
    start = Start("start", between(tank=(700, 900), line=(380, 420)), (("regulator", frozenset({"shut"})),))
    volumes = (volume("tank", TANK, "500"), volume("line", LINE, ("0.5", "1")))
    parts = (regulator, bore("line", ATMOSPHERE, size("0.3", "0.5"), "leak"))
    claim = replace(never(at_least("line", 415)), shape=Shape.SETTLED, then=at_least("line", then))
    return piped(volumes, parts, start), claim


def regulated_beside() -> tuple[Arrangement, Property]:
    """The same, beside a chamber that empties slowly: while the line goes to and fro, that is not settled."""
    arrangement, claim = regulated(390)
    start = arrangement.starts[0]
    beside = replace(
        arrangement,
        volumes=(*arrangement.volumes, volume("slow", VolumeKind.CHAMBER, "20")),
        parts=(*arrangement.parts, bore("slow", ATMOSPHERE, size("0.1", "0.1"), "bleed")),
        starts=(replace(start, pressures=(*start.pressures, *between(slow=(500, 600)))),),
    )
    return beside, replace(claim, when=at_least("slow", 20), then=below("slow", 20))


@cache
def story_of(case: str) -> Story:
    """The run of the bands that the engines find for one of these; where there is none, its start alone."""
    arrangement, claim = CASES[case]
    layout = layout_for(arrangement, claim)
    found = decide(StepRule(layout), claim, real=False).story
    if found is not None:
        return found
    start = arrangement.start("start")
    bands = tuple(layout.band_at(v.name, dict(start.pressures)[v.name].low) for v in arrangement.volumes)
    first = State(bands, tuple(p.states[0] for p in arrangement.parts), ())
    return Story("start", (first,), ())


CASES = {
    "leaking": leaking(),
    "supplied": supplied(),
    "fed": fed(("0.02", "0.1")),
    "fed too little": fed(("0.5", "3")),
    "race": race(),
    "alarmed": alarmed(),
    "patient": alarmed(Pace.AFTER_SETTLING),
    "drained": drained(),
    "to and fro": regulated(390),
    "to and fro kept": regulated(370),
    "to and fro beside": regulated_beside(),
}
FOUND = ("leaking", "fed too little", "alarmed", "patient", "drained", "to and fro")


@cache
def answer(case: str) -> Witness | NoWitness:
    """What a small search finds."""
    arrangement, claim = CASES[case]
    return find_witness(arrangement, claim, story_of(case), budget=SMALL)


def witness(case: str) -> Witness:
    found = answer(case)
    assert isinstance(found, Witness), found
    return found


__all__ = ["CASES", "FOUND", "VolumeKind", "answer", "story_of", "witness"]
