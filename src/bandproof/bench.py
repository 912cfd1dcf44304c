"""One arrangement on the bench: encoded once, then each of its claims decided in this process, checked, and told.

What one claim comes to does not depend on which claims were decided before it: every claim is posed when the bench is
set up, in order, so the engines meet the same formulas whatever is asked and in whatever order.

Limits: a claim's limits are looked at between two units of an engine's work, so a single long query can overstay them;
`bandproof.workers` ends such a process from outside.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from bandproof.errors import CrossCheckError
from bandproof.findings import Finding, Verdict
from bandproof.limits import Clock, GaveUpError, Limits
from bandproof.machine.layout import Layout, lay_out
from bandproof.machine.story import State, Story
from bandproof.model.arrangement import Arrangement, Start
from bandproof.model.conditions import AllOf, AtLeast, Below, Condition, Happened, InPosition, InState, Not, Truth
from bandproof.properties.claim import NotApplicable, Pace, Property, Shape

if TYPE_CHECKING:
    from bandproof.engines.run import Decision


@dataclass(frozen=True, slots=True)
class Case:
    """An arrangement and the claims made of it, in the order in which they are reported."""

    arrangement: Arrangement
    claims: tuple[Property | NotApplicable, ...]

    @property
    def properties(self) -> tuple[Property, ...]:
        """The claims that apply."""
        return tuple(claim for claim in self.claims if isinstance(claim, Property))

    def layout(self) -> Layout:
        """The grid on which all claims are decided; the same whichever of them are asked for."""
        conditions = [c for p in self.properties for c in (p.when, p.then, p.until) if c is not None]
        return lay_out(self.arrangement, conditions)


def unanswered(claim: Property | NotApplicable, reason: str = "", seconds: float = 0.0) -> Finding:
    """The finding for a claim that is not applicable, or that stays undecided for `reason`."""
    if isinstance(claim, NotApplicable):
        return Finding(claim.id, claim.says, claim.basis, Verdict.NOT_APPLICABLE, claim.reason, caution=claim.caution)
    return Finding(
        claim.id, claim.says, claim.basis, Verdict.UNDECIDED, reason, seconds=seconds, caution=claim.caution
    )


class Bench:
    """An encoded arrangement; `decide` answers its claims one at a time."""

    def __init__(self, case: Case) -> None:
        import bandproof.certify  # noqa: F401, PLC0415  (so that no claim's seconds hold the loading of solvers)
        from bandproof.smt.system import StepRule, pose  # noqa: PLC0415  (see `decide`)

        self.case = case
        self.layout = case.layout()
        self._rule = StepRule(self.layout)
        self._seen: dict[str, list[State]] = {}
        self._origins: dict[str, str] = {}
        self._waiting: dict[Property, Verdict] = {}
        for claim in case.properties:
            pose(self._rule, claim)

    def decide(self, claim: Property | NotApplicable, limits: Limits | None = None) -> Finding:
        """Answer one claim of the case. CrossCheckError when two parts of this program contradict each other.

        Solvers are imported here and not with the module, so that findings can be drawn where there are none.
        """
        if isinstance(claim, NotApplicable):
            return unanswered(claim)
        began = time.perf_counter()
        try:
            finding = self._decide(claim, Clock(limits or Limits()))
        except GaveUpError as limit:
            finding = unanswered(claim, str(limit))
        except MemoryError:
            finding = unanswered(claim, "not decided: the system has no more memory")
        return replace(finding, seconds=time.perf_counter() - began)

    def _decide(self, claim: Property, clock: Clock) -> Finding:
        start = self.layout.arrangement.start(claim.during)
        lost = self._unreachable(start, clock)
        if lost:
            return replace(unanswered(claim), verdict=Verdict.EMPTY, reason=lost)
        decision = self._run(claim, clock)
        finding = Finding(
            property=claim.id,
            says=claim.says,
            basis=claim.basis,
            verdict=decision.verdict,
            reason=decision.reason,
            steps=None if decision.story is None else len(decision.story.steps),
            caution=claim.caution,
            layout=self.layout,
            story=decision.story,
            certificate=self._certificate(claim, decision, clock),
            engine=decision.engine,
        )
        if decision.story is not None:
            finding = self._story_checked(finding, decision.story, start, clock)
        if claim.pace is Pace.AFTER_SETTLING:
            self._waiting[_sense(claim)] = finding.verdict
        if finding.verdict is Verdict.REFUTED:
            finding = _with_reason(finding, self._if_the_driver_waits(claim, finding.story, clock))
        return _with_reason(finding, self._assumption(start))

    def _run(self, claim: Property, clock: Clock) -> Decision:
        from bandproof.engines.bounded import NotARunError  # noqa: PLC0415  (as in `decide`)
        from bandproof.engines.run import DisagreementError, decide  # noqa: PLC0415  (as in `decide`)

        try:
            return decide(self._rule, claim, check=clock, seen=self._seen)
        except (DisagreementError, NotARunError) as contradiction:
            message = f'property "{claim.id}": {contradiction}'
            raise CrossCheckError(message) from contradiction

    # ------------------------------------------------------------------------------------------------- certificates

    def _certificate(self, claim: Property, decision: Decision, clock: Clock) -> str | None:
        """The proof as text, checked by reading that text again; None for an answer that rests on a story."""
        from bandproof.certify import Excluded, recheck, write_certificate  # noqa: PLC0415  (as in `decide`)
        from bandproof.engines.run import search  # noqa: PLC0415  (as in `decide`)

        invariant, excluded = decision.invariant, Excluded.HIT
        if decision.verdict is Verdict.EMPTY:
            invariant = search(decision.problem, decision.problem.applies, clock).invariant
            excluded = Excluded.CONDITION
        if invariant is None:
            return None
        text = write_certificate(decision.problem, invariant, excluded).text
        checked = recheck(text, f"{claim.id}.smt2")
        if not checked.ok:
            message = f'property "{claim.id}": its certificate does not stand: {"; ".join(checked.faults)}'
            raise CrossCheckError(message)
        return text

    # ------------------------------------------------------------------------------------------------------- starts

    def _unreachable(self, start: Start, clock: Clock) -> str:
        """Why no state of `start` can come about, or nothing when some state can, or is assumed to."""
        if start.plain or start.assumed or start.reached_from is None:
            return ""
        if start.name not in self._origins:
            reason = self._unreachable(self.layout.arrangement.start(start.reached_from), clock)
            if not reason and not self._reaches(start, start_condition(self.layout, start), clock):
                reason = f'its start "{start.name}" cannot be reached from "{start.reached_from}"'
            self._origins[start.name] = reason
        return self._origins[start.name]

    def _assumption(self, start: Start) -> str:
        """What is taken for granted about where `start` comes from, or nothing."""
        while not start.plain and not start.assumed and start.reached_from is not None:
            start = self.layout.arrangement.start(start.reached_from)
        return "" if start.plain else f'start "{start.name}" is assumed, not shown reachable'

    def _reaches(self, start: Start, condition: Condition, clock: Clock) -> bool:
        """Some run without mishaps from where `start` comes from gets to `condition`, settled if the start is."""
        shape = Shape.SETTLED if start.settled else Shape.REACHABLE
        origin = start.reached_from or start.name
        sought = Property("start", start.says, "", shape, origin, when=condition, then=Truth(value=False))
        return self._run(sought, clock).story is not None

    def _story_checked(self, finding: Finding, story: Story, start: Start, clock: Clock) -> Finding:
        """The finding, unless its story begins in a state that does not come about."""
        if start.plain or start.assumed or start.reached_from is None:
            return finding
        if self._reaches(start, state_condition(self.layout, story.states[0]), clock):
            return finding
        reason = f'the run found begins in a state of start "{start.name}" that cannot be reached'
        return replace(finding, verdict=Verdict.UNDECIDED, reason=reason, story=None, steps=None)

    # --------------------------------------------------------------------------------------------------------- pace

    def _if_the_driver_waits(self, claim: Property, story: Story | None, clock: Clock) -> str:
        """What becomes of a claim refuted at any time when the driver lets the air settle before each action."""
        from bandproof.machine.rig import replay  # noqa: PLC0415  (as in `decide`)

        if story is None or claim.pace is not Pace.ANY_TIME:
            return ""
        waiting = replace(claim, pace=Pace.AFTER_SETTLING)
        if replay(self.layout, story, waiting) is None:
            return "also refuted when the driver lets the air settle before each action"
        sense = _sense(waiting)
        if sense not in self._waiting:
            try:
                self._waiting[sense] = self._run(waiting, clock).verdict
            except GaveUpError:
                return "not decided in the time left whether it holds when the driver lets the air settle"
        return f"{self._waiting[sense]} when the driver lets the air settle before each action"


def _sense(claim: Property) -> Property:
    """The claim without its words: two claims of one sense have one answer."""
    return replace(claim, id="", says="", basis="", caution="")


def _with_reason(finding: Finding, further: str) -> Finding:
    """The finding with one more thing said about it."""
    return replace(finding, reason="; ".join(r for r in (finding.reason, further) if r))


# ------------------------------------------------------------------------------------ sets of states as conditions


def start_condition(layout: Layout, start: Start) -> Condition:
    """The states of `start` as a condition on `layout`; that they are to be settled is left aside."""
    items: list[Condition] = [start.where]
    for volume, pressures in start.pressures:
        marks = layout.landmarks[volume]
        items += [AtLeast(volume, m, m) for m in [m for m in marks if m <= pressures.low][-1:]]
        items += [Below(volume, m, m) for m in [m for m in marks if m > pressures.high][:1]]
    items += [InState(part, states) for part, states in start.parts]
    items += [InPosition(control, positions) for control, positions in start.controls]
    items += [Not(Happened(mishap.name)) for mishap in layout.arrangement.mishaps]
    return AllOf(tuple(items))


def state_condition(layout: Layout, state: State) -> Condition:
    """The condition that holds in `state` alone."""
    arrangement = layout.arrangement
    items: list[Condition] = []
    for volume, band in zip(arrangement.volumes, state.bands, strict=True):
        marks = layout.landmarks[volume.name]
        items += [AtLeast(volume.name, m, m) for m in marks[:band][-1:]]
        items += [Below(volume.name, m, m) for m in marks[band : band + 1]]
    items += [InState(part.name, frozenset({at})) for part, at in zip(arrangement.parts, state.parts, strict=True)]
    items += [
        InPosition(control.name, frozenset({at}))
        for control, at in zip(arrangement.controls, state.controls, strict=True)
    ]
    for mishap in arrangement.mishaps:
        here = Happened(mishap.name)
        items.append(here if mishap.name in state.mishaps else Not(here))
    return AllOf(tuple(items))
