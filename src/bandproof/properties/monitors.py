"""What each shape of property means, as a monitor: a small automaton that looks at the states of a run one by one.

A monitor is data. `bandproof.machine.monitor` follows it along a run, `bandproof.encoding.monitor` makes formulas of it,
and a certificate says it in its words. After K. Havelund, G. Rosu, "Synthesizing monitors for safety properties", TACAS
2002: what is to be remembered of a run's past is a state of an automaton.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

from bandproof.model.conditions import Condition, Truth
from bandproof.properties.claim import Property, Shape


@dataclass(frozen=True, slots=True)
class Holds:
    """A condition holds in the present state whatever the pressures in their bands and the settings in their tolerances.

    Not `sure`: it holds for some of them.
    """

    condition: Condition
    sure: bool = True


class Stillness(StrEnum):
    """The present state is settled, or at rest; in a to and fro without end, or however that is."""

    SETTLED = "settled"
    AT_REST = "at rest"
    #: Settled, or at rest, and some part could move for ever from here on.
    TO_AND_FRO = "settled in a to and fro"
    TO_AND_FRO_AT_REST = "at rest in a to and fro"


@dataclass(frozen=True, slots=True)
class Remembers:
    """The monitor is in this state, what it has seen of the present one included."""

    state: str


@dataclass(frozen=True, slots=True)
class Fails:
    """`item` does not hold. Of a condition that is sure: it fails for some pressure or setting."""

    item: Formula


@dataclass(frozen=True, slots=True)
class Every:
    """All of `items` hold."""

    items: tuple[Formula, ...]


@dataclass(frozen=True, slots=True)
class Some:
    """One of `items` holds, or more."""

    items: tuple[Formula, ...]


Formula = Holds | Stillness | Remembers | Fails | Every | Some


@dataclass(frozen=True, slots=True)
class Change:
    """Where the monitor is in `source` and `when` holds of the arrangement, it goes to `target`."""

    source: str
    target: str
    when: Formula


@dataclass(frozen=True, slots=True)
class Monitor:
    """An automaton and what is read off it.

    | field     | what it says                                                                                         |
    |-----------|------------------------------------------------------------------------------------------------------|
    | `bad`     | the search ends: the claim is broken or, of one that wants it (`wanted`), shown                      |
    | `applies` | of the arrangement alone: the claim says something here, and is vacuous if nowhere; None: everywhere  |
    | `words`   | the claim as one line, its conditions in their places                                                |
    | `states`  | the monitor's states; before a run it is in the first one                                            |
    | `changes` | made one after another on every state of the run, the first state included                           |
    | `over`    | the state, if there is one, that is never left and in which, as `bad` says, nothing is bad           |
    | `fades`   | a step that is an act, or in which a tank crosses a threshold, leads back to the first state         |
    | `endless` | it looks at rounds a run goes for ever: `applies` says all states of one, `bad` one of them or more  |
    """

    bad: Formula
    words: tuple[str | Condition, ...]
    applies: Formula | None = None
    states: tuple[str, ...] = ("watching",)
    changes: tuple[Change, ...] = ()
    over: str | None = None
    wanted: bool = False
    fades: bool = False
    endless: bool = False

    def __post_init__(self) -> None:
        known = {*(c.source for c in self.changes), *(c.target for c in self.changes), *_remembered(self.bad)}
        if not known <= set(self.states) or (self.over is not None and self.over not in self.states[1:]):
            message = f"a monitor of the states {self.states} speaks of others"
            raise ValueError(message)
        if any(change.source == self.over for change in self.changes):
            message = f"the monitor state {self.over} is to be final, but a change leaves it"
            raise ValueError(message)
        if self.over is not None and not self._is_bad_elsewhere(self.over):
            message = f"in the monitor state {self.over} all is to be over, but a run could be bad there"
            raise ValueError(message)
        if any(map(_remembered, self._of_the_arrangement())):
            message = "a change, and whether a claim applies, hang on the arrangement alone"
            raise ValueError(message)

    def _is_bad_elsewhere(self, over: str) -> bool:
        """It is plain from the items of `bad` that it holds in other monitor states only."""
        items = self.bad.items if isinstance(self.bad, Every) else (self.bad,)
        elsewhere = {Fails(Remembers(over)), *(Remembers(state) for state in self.states if state != over)}
        return not elsewhere.isdisjoint(items)

    def _of_the_arrangement(self) -> tuple[Formula, ...]:
        changes = tuple(change.when for change in self.changes)
        return changes if self.applies is None else (self.applies, *changes)

    def conditions(self) -> Iterator[Condition]:
        """Every condition it looks at."""
        for formula in (self.bad, *self._of_the_arrangement()):
            yield from (leaf.condition for leaf in leaves(formula) if isinstance(leaf, Holds))


def leaves(formula: Formula) -> Iterator[Holds | Stillness | Remembers]:
    """What a formula is made of, left to right, with repeats."""
    match formula:
        case Fails(item):
            yield from leaves(item)
        case Every(items) | Some(items):
            for item in items:
                yield from leaves(item)
        case leaf:
            yield leaf


def _remembered(formula: Formula) -> set[str]:
    return {leaf.state for leaf in leaves(formula) if isinstance(leaf, Remembers)}


# --------------------------------------------------------------------------------------------------- the shapes


def monitor_of(claim: Property, *, restless: bool = False) -> Monitor:
    """What a claim means. `restless`: there is a to and fro that a claim about settled states, or those at rest, meets."""
    when, then = Holds(claim.when), Holds(claim.then)
    match claim.shape:
        case Shape.NEVER:
            return Monitor(bad=when, words=("never: ", claim.when))
        case Shape.REACHABLE:
            return Monitor(bad=when, words=("some run reaches: ", claim.when), wanted=True)
        case Shape.ALWAYS:
            return Monitor(bad=Fails(then), words=("always: ", claim.then))
        case Shape.SETTLED:
            return _when_still(claim, Stillness.SETTLED, Stillness.TO_AND_FRO if restless else None)
        case Shape.AT_REST:
            return _when_still(claim, Stillness.AT_REST, Stillness.TO_AND_FRO_AT_REST if restless else None)
        case Shape.HOLDS:
            return _holds(claim)
        case Shape.ENDS_IN:
            words = ("if ", claim.when, " persists and nobody does anything more, it ends in: ", claim.then)
            return Monitor(bad=Fails(then), words=words, applies=when, endless=True)


def _when_still(claim: Property, still: Stillness, to_and_fro: Stillness | None) -> Monitor:
    """In a to and fro `when` holds if it does in some of its states, `then` only if it does in all.

    That `when` has held is remembered while the to and fro goes on: until an act, or until a tank crosses a threshold.
    """
    when, fails = Holds(claim.when), Fails(Holds(claim.then))
    begins = "in every settled state: if " if still is Stillness.SETTLED else "in every state at rest: if "
    words = (begins, claim.when, " then ", claim.then)
    applies = Every((when, still))
    if to_and_fro is None:
        return Monitor(bad=Every((applies, fails)), words=words, applies=applies)
    return Monitor(
        bad=Every((still, Some((when, Remembers("met"))), fails)),
        words=words,
        applies=applies,
        states=("watching", "met"),
        changes=(
            Change("met", "watching", Fails(to_and_fro)),
            Change("watching", "met", Every((when, to_and_fro))),
        ),
        fades=True,
    )


def _holds(claim: Property) -> Monitor:
    """Only the first `when` binds, and `until` comes before what it would be too late for."""
    until = Truth(value=False) if claim.until is None else claim.until
    changes = (
        Change("waiting", "bound", Holds(claim.when)),
        Change("bound", "released", Holds(until)),
    )
    said = () if claim.until is None else (", until ", claim.until)
    return Monitor(
        bad=Every((Remembers("bound"), Fails(Holds(claim.then)))),
        words=("from the first ", claim.when, " on: ", claim.then, *said),
        applies=Holds(claim.when),
        states=("waiting", "bound", "released"),
        changes=changes,
        over="released",
    )
