"""Small arrangements in which the band machine alone tells of air that is not there, and their twins in which it is."""

from __future__ import annotations

from fractions import Fraction

from bandproof.encoding.system import Problem, StepRule, pose
from bandproof.engines.run import search
from bandproof.lemmas.lemma import Lemma, refine
from bandproof.machine.story import Story
from bandproof.model.arrangement import (
    ATMOSPHERE,
    SOURCE,
    Arrangement,
    Control,
    Move,
    Part,
    Passage,
    Range,
    Start,
    Volume,
    VolumeKind,
)
from bandproof.model.conditions import AllOf, AtLeast, Below, Condition, InPosition, Lower, Not
from bandproof.properties.claim import Property, Shape
from bandproof.witness.concretise import Concrete, Impossible, Unclear, concretise
from tests.strategies import layout_for

KPA = Fraction(1000)
TANK, CHAMBER, LINE = VolumeKind.TANK, VolumeKind.CHAMBER, VolumeKind.LINE


def volume(name: str, kind: VolumeKind, litres: str | tuple[str, str] | None) -> Volume:
    if litres is None:
        return Volume(name, kind)
    low, high = (litres, litres) if isinstance(litres, str) else litres
    return Volume(name, kind, Range(Fraction(low), Fraction(high)))


def exactly(**kpa: int) -> tuple[tuple[str, Range], ...]:
    return tuple((name, Range(value * KPA, value * KPA)) for name, value in kpa.items())


def at_least(name: str, kpa: int) -> Condition:
    return AtLeast(name, kpa * KPA, kpa * KPA)


def below(name: str, kpa: int) -> Condition:
    return Below(name, kpa * KPA, kpa * KPA)


def never(condition: Condition, shape: Shape = Shape.NEVER) -> Property:
    return Property("claim", "a claim", "none", shape, "start", condition)


def piped(volumes: tuple[Volume, ...], parts: tuple[Part, ...], start: Start, *positions: str) -> Arrangement:
    controls = (Control("knob", positions),) if positions else ()
    return Arrangement(
        "sample", "kPa", Fraction(101_325), 1000 * KPA, volumes, parts, controls, starts=(start,), sha256="12" * 32
    )


def pipe(upstream: str, downstream: str, *, one_way: bool = True, name: str = "pipe") -> Part:
    return Part(name, "pipe", ("open",), (Passage(upstream, downstream, one_way, frozenset({"open"})),))


def tap(upstream: str, downstream: str, position: str = "on", name: str = "tap") -> Part:
    turned = InPosition("knob", frozenset({position}))
    return Part(
        name,
        "tap",
        ("shut", "open"),
        (Passage(upstream, downstream, False, frozenset({"open"})),),
        (Move("shut", "open", turned), Move("open", "shut", Not(turned))),
    )


def cylinder(pilot: str | tuple[str, str], tank: str = "50") -> tuple[Arrangement, Property]:
    """A full pilot cylinder is joined to an empty tank. Can the tank reach 300 kPa?"""
    start = Start(
        "start",
        exactly(pilot=600, tank=0),
        (("tap", frozenset({"shut"})),),
        (("knob", frozenset({"off"})),),
    )
    volumes = (volume("pilot", CHAMBER, pilot), volume("tank", TANK, tank))
    return piped(volumes, (tap("pilot", "tank"),), start, "off", "on"), never(at_least("tank", 300))


def ring(full: int) -> tuple[Arrangement, Property]:
    """Three equal chambers in a ring of check valves, one of them full. Can all three reach 300 kPa?"""
    names = ("a", "b", "c")
    volumes = tuple(volume(name, CHAMBER, "2") for name in names)
    parts = tuple(pipe(u, v, name=f"check_{u}{v}") for u, v in zip(names, ("b", "c", "a"), strict=True))
    start = Start("start", exactly(a=full, b=0, c=0))
    return piped(volumes, parts, start), never(AllOf(tuple(at_least(name, 300) for name in names)))


def lock() -> tuple[Arrangement, Property]:
    """A small chamber is filled from a source and emptied into a tank, by turns: an air lock."""
    start = Start(
        "start",
        exactly(chamber=0, tank=0),
        (("fill", frozenset({"shut"})), ("empty", frozenset({"shut"}))),
        (("knob", frozenset({"off"})),),
    )
    volumes = (volume("chamber", CHAMBER, "1"), volume("tank", TANK, "3"))
    parts = (tap(SOURCE, "chamber", "fill", "fill"), tap("chamber", "tank", "empty", "empty"))
    return piped(volumes, parts, start, "off", "fill", "empty"), never(at_least("tank", 300))


def shuttle() -> tuple[Arrangement, Property]:
    """Two equal tanks feed a leaking line through a shuttle that chooses the higher one: both fall, by turns."""
    valve = Part(
        "shuttle",
        "shuttle",
        ("first", "second"),
        (
            Passage("one", "line", False, frozenset({"first"})),
            Passage("two", "line", False, frozenset({"second"})),
        ),
        (Move("first", "second", Lower("one", "two")), Move("second", "first", Lower("two", "one"))),
    )
    volumes = (volume("one", TANK, "10"), volume("two", TANK, "10"), volume("line", LINE, "0.1"))
    start = Start("start", exactly(one=600, two=600, line=0), (("shuttle", frozenset({"first"})),))
    arrangement = piped(volumes, (valve, pipe("line", ATMOSPHERE, name="leak")), start)
    return arrangement, never(AllOf((below("one", 300), below("two", 300))))


Answer = Concrete | Impossible | Unclear


def shortest(problem: Problem) -> Story | None:
    return search(problem, problem.bad, lambda: None).story


def learn(arrangement: Arrangement, claim: Property, rounds: int) -> tuple[Problem, list[Lemma], Answer | None]:
    """Search, make real, learn, and search again. The last answer is None when no story is left."""
    rule = StepRule(layout_for(arrangement, claim))
    problem = pose(rule, claim)
    lemmas: list[Lemma] = []
    answer: Answer | None = None
    while len(lemmas) <= rounds:
        story = shortest(problem)
        if story is None:
            return problem, lemmas, None
        answer = concretise(rule, problem, story)
        if not isinstance(answer, Impossible):
            break
        lemmas.append(answer.lemma)
        problem = refine(rule, problem, answer.lemma)
    return problem, lemmas, answer
