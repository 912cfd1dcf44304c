"""What a line of the table is, and the few kinds its arrangements are put together from."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache

from bandproof.encoding.system import StepRule
from bandproof.engines.silence import quietened
from bandproof.findings.finding import Verdict
from bandproof.machine.layout import Layout, lay_out
from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import (
    ALWAYS_TRUE,
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Condition,
    Happened,
    InPosition,
    InState,
    Not,
)
from bandproof.model.loader import load_arrangement_text
from bandproof.properties.claim import Pace, Property, Shape

#: Follows the text of every case. Surroundings at exactly 1 bar and a source of exactly 10 bar absolute: sums of flows
#: can be done in one's head.
TAIL = """
[arrangement]
name = "tiny"
unit = "bar"
highest = "9 bar"
atmosphere = "1 bar"

[kinds.joint]
ports = ["a", "b"]
states = ["open"]
sizes = ["bore"]
passages = [{ between = ["a", "b"], size = "bore" }]

[kinds.oneway]
ports = ["a", "b"]
states = ["open"]
sizes = ["bore"]
passages = [{ from = "a", to = "b", size = "bore" }]

[kinds.vent]
ports = ["a"]
states = ["open"]
sizes = ["bore"]
passages = [{ from = "a", to = "atmosphere", size = "bore" }]

[kinds.feed]
ports = ["a"]
states = ["open"]
sizes = ["bore"]
passages = [{ from = "source", to = "a", size = "bore" }]

[kinds.tap]
ports = ["a", "b"]
states = ["shut", "open"]
controls = ["lever"]
passages = [{ between = ["a", "b"], open_in = ["open"] }]
moves = [
  { from = "shut", to = "open", when = "lever is turned" },
  { from = "open", to = "shut", when = "lever is plain" },
]

[kinds.lifts]
ports = ["a"]
states = ["calm", "tripped"]
settings = ["limit"]
moves = [{ from = "calm", to = "tripped", when = "a is at least limit" }]

[kinds.drops]
ports = ["a"]
states = ["calm", "tripped"]
settings = ["limit"]
moves = [{ from = "calm", to = "tripped", when = "a is below limit" }]

[kinds.march]
ports = []
states = ["one", "two", "three", "four"]
moves = [
  { from = "one", to = "two", when = "always" },
  { from = "two", to = "three", when = "always" },
  { from = "three", to = "four", when = "always" },
]
"""

BAR = 100_000


def below(volume: str, bar: float) -> Condition:
    """`volume` is below `bar`; halves are exact."""
    level = Fraction(bar) * BAR
    return Below(volume, level, level)


def at_least(volume: str, bar: float) -> Condition:
    """`volume` is at least `bar`."""
    level = Fraction(bar) * BAR
    return AtLeast(volume, level, level)


def stands(part: str, *states: str) -> Condition:
    """`part` is in one of `states`."""
    return InState(part, frozenset(states))


def lever(control: str, *positions: str) -> Condition:
    """`control` stands in one of `positions`."""
    return InPosition(control, frozenset(positions))


def has(mishap: str) -> Condition:
    """`mishap` has happened."""
    return Happened(mishap)


def both(*items: Condition) -> Condition:
    """Every one of `items`."""
    return AllOf(items)


def some(*items: Condition) -> Condition:
    """Some one of `items`."""
    return AnyOf(items)


def no(item: Condition) -> Condition:
    """Not `item`."""
    return Not(item)


def same_side(bar: float, *volumes: str) -> Condition:
    """All of `volumes` are below `bar`, or all are at or above it."""
    return some(both(*(below(v, bar) for v in volumes)), both(*(at_least(v, bar) for v in volumes)))


@dataclass(frozen=True, slots=True)
class Claim:
    """The part of a property that matters to a case."""

    shape: Shape
    when: Condition = ALWAYS_TRUE
    then: Condition = ALWAYS_TRUE
    until: Condition | None = None


def never(condition: Condition) -> Claim:
    """In no reachable state."""
    return Claim(Shape.NEVER, when=condition)


def always(condition: Condition) -> Claim:
    """In every reachable state."""
    return Claim(Shape.ALWAYS, then=condition)


def settled(then: Condition, when: Condition = ALWAYS_TRUE) -> Claim:
    """In every reachable settled state."""
    return Claim(Shape.SETTLED, when, then)


def at_rest(then: Condition, when: Condition = ALWAYS_TRUE) -> Claim:
    """In every reachable state at rest."""
    return Claim(Shape.AT_REST, when, then)


def holds(once: Condition, stays: Condition, until: Condition | None = None) -> Claim:
    """From the first `once` on, `stays` until `until`."""
    return Claim(Shape.HOLDS, once, stays, until)


def reachable(condition: Condition) -> Claim:
    """Some run gets there."""
    return Claim(Shape.REACHABLE, when=condition)


@dataclass(frozen=True, slots=True)
class Case:
    """A tiny arrangement, a claim, and what is true of it by the reasoning in `why`.

    `text` is followed by TAIL. `steps` is the length of the shortest run to the bad: the counterexample, or the run that
    shows a reachable claim. `pace`, `mishaps` and `fillings` are the claim's; a mishap not listed never happens. `needs`
    says what the verdict takes besides the bands: engines that search the bands alone find a run, and do not decide it.
    """

    name: str
    why: str
    text: str
    claim: Claim
    verdict: Verdict
    steps: int | None = None
    pace: Pace = Pace.ANY_TIME
    mishaps: frozenset[str] = field(default_factory=frozenset)
    fillings: int | None = None
    needs: str = ""

    def property(self) -> Property:
        """The claim as the property the engines are asked."""
        c = self.claim
        return Property(
            self.name,
            self.why,
            "by hand",
            c.shape,
            "start",
            c.when,
            c.then,
            c.until,
            self.pace,
            self.mishaps,
            fillings=self.fillings,
        )

    def allowing(self, fillings: int) -> Case:
        """The same of a claim that allows so many fillings of the lines."""
        return replace(self, fillings=fillings)

    def quiet_layout(self) -> Layout:
        """The same with the parts that a search shows silent."""
        return quietened(self.layout()).layout

    def layout(self) -> Layout:
        """The grid on which the claim is decided."""
        c = self.claim
        return lay_out(load(self.text), (c.when, c.then, c.until or ALWAYS_TRUE))


def proven(name: str, why: str, text: str, claim: Claim, *, pace: Pace = Pace.ANY_TIME, mishaps: str = "") -> Case:
    """A case whose claim holds."""
    return Case(name, why, text, claim, Verdict.PROVEN, None, pace, frozenset(mishaps.split()))


def shown(name: str, why: str, text: str, claim: Claim, steps: int) -> Case:
    """A case of a reachable claim that holds, by a shortest run of `steps` steps."""
    return Case(name, why, text, claim, Verdict.PROVEN, steps)


def refuted(
    name: str,
    why: str,
    text: str,
    claim: Claim,
    steps: int | None = None,
    *,
    pace: Pace = Pace.ANY_TIME,
    mishaps: str = "",
) -> Case:
    """A case whose claim is broken after `steps` steps, and no earlier."""
    return Case(name, why, text, claim, Verdict.REFUTED, steps, pace, frozenset(mishaps.split()))


def empty(name: str, why: str, text: str, claim: Claim) -> Case:
    """A case whose condition never happens."""
    return Case(name, why, text, claim, Verdict.EMPTY)


def at_pace(case: Case, name: str, why: str, pace: Pace, verdict: Verdict) -> Case:
    """The same arrangement and claim at another pace of the driver, where no run breaks it."""
    return replace(case, name=name, why=why, pace=pace, verdict=verdict, steps=None)


@cache
def load(text: str) -> Arrangement:
    """The arrangement that `text` and TAIL describe."""
    return load_arrangement_text('format = "bandproof/1"\n' + text + TAIL, "tiny.toml")


@cache
def step_rule(case: Case) -> StepRule:
    """The encoded step rule of a case, built once for all tests of the table."""
    return StepRule(case.layout())
