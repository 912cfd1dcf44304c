"""One arrangement on the decider: encoded once, then each of its claims decided in this process, checked, and told.

What one claim comes to does not depend on which claims were decided before it: every claim is posed when the decider is
set up, in order, so the engines meet the same formulas whatever is asked and in whatever order.

Limits: a claim's limits are looked at between two units of an engine's work, so a single long query can overstay them;
`bandproof.deciding.many` ends such a process from outside.
"""

from __future__ import annotations

import time
from dataclasses import replace
from typing import TYPE_CHECKING

from bandproof.deciding.cases import Case
from bandproof.deciding.origins import (
    clauses_as_conditions,
    narrowed,
    place_conditions,
    start_condition,
    state_condition,
)
from bandproof.findings.finding import Finding, Learnt, Verdict, Waiting
from bandproof.findings.limits import Clock, GaveUpError, Limits
from bandproof.findings.reasons import (
    Assumption,
    Lacking,
    NoMoreMemory,
    NoPressures,
    Reason,
    ShapeNotDecided,
    StartAssumed,
    StartTooWide,
    StartUnreachable,
    StartUnshown,
)
from bandproof.machine.layout import Layout
from bandproof.machine.semantics import Reading, surely
from bandproof.machine.story import Story
from bandproof.machine.telling import NotARunError
from bandproof.model.arrangement import Start
from bandproof.model.conditions import Condition, Not, Truth
from bandproof.properties.claim import NotApplicable, Pace, Property, Shape
from bandproof.text.errors import CrossCheckError

if TYPE_CHECKING:
    from bandproof.certificates.checks import Written
    from bandproof.encoding.system import StepRule
    from bandproof.engines.run import Decision
    from bandproof.engines.walk import Sights


def unanswered(claim: Property | NotApplicable, *reasons: Reason, seconds: float = 0.0) -> Finding:
    """The finding for a claim that is not applicable, or that stays undecided for `reasons`, after so many seconds."""
    if isinstance(claim, NotApplicable):
        lacking = (Lacking(claim.lacks),)
        return Finding(claim.id, claim.says, claim.basis, Verdict.NOT_APPLICABLE, lacking, caution=claim.caution)
    return Finding(
        claim.id, claim.says, claim.basis, Verdict.UNDECIDED, reasons, seconds=seconds, caution=claim.caution
    )


class Decider:
    """An encoded arrangement; `decide` answers its claims one at a time."""

    def __init__(self, case: Case) -> None:
        import bandproof.certificates.checks  # noqa: F401, PLC0415  (so that no claim's seconds hold the loading of solvers)
        from bandproof.encoding.system import StepRule, pose  # noqa: PLC0415  (see `decide`)
        from bandproof.engines.silence import quietened  # noqa: PLC0415  (see `decide`)

        self.case = case
        #: What falls silent, with its proofs, and the grid on which that is known.
        self.quiet = quietened(case.layout())
        self.layout = self.quiet.layout
        self._rule = StepRule(self.layout)
        self._seen: dict[str, Sights] = {}
        self._origins: dict[str, StartUnreachable | None] = {}
        self._unshown: dict[str, StartUnshown] = {}
        self._waiting: dict[Property, Verdict] = {}
        for claim in case.properties:
            if claim.shape is not Shape.ENDS_IN:
                pose(self._rule, claim)

    def decide(self, claim: Property | NotApplicable, limits: Limits | None = None) -> Finding:
        """Answer one claim of the case. CrossCheckError when two parts of this program contradict each other.

        Solvers are imported here and not with the module, so that findings can be drawn where there are none.
        """
        if isinstance(claim, NotApplicable):
            return unanswered(claim)
        if claim.shape is Shape.ENDS_IN:
            return unanswered(claim, ShapeNotDecided(claim.shape))
        began = time.perf_counter()
        try:
            finding = self._decide(claim, Clock(limits or Limits()))
        except GaveUpError as limit:
            finding = unanswered(claim, limit.reason)
        except MemoryError:
            finding = unanswered(claim, NoMoreMemory())
        return replace(finding, seconds=time.perf_counter() - began)

    def _decide(self, claim: Property, clock: Clock) -> Finding:
        start = self.layout.arrangement.start(claim.during)
        lost = self._unreachable(start, clock)
        if lost is not None:
            return replace(unanswered(claim, lost), verdict=Verdict.EMPTY)
        decision, lacking = self._answer(claim, start, clock)
        finding = _finding(claim, self.layout, decision)
        if lacking and decision.verdict is not Verdict.UNDECIDED and decision.story is None:
            too_wide = StartTooWide(finding.verdict, start.name, start.reached_from or start.name, lacking)
            return replace(finding, verdict=Verdict.UNDECIDED, reasons=(too_wide,))
        finding = replace(finding, assumptions=self._assumptions(start))
        if decision.verdict is Verdict.UNDECIDED:
            return finding
        written = self._certificate(claim, decision, clock)
        if written is not None:
            finding = replace(finding, certificate=written.text, readings=written.readings)
        if claim.pace is Pace.AFTER_SETTLING:
            self._waiting[_sense(claim)] = finding.verdict
        if finding.verdict is Verdict.REFUTED:
            finding = replace(finding, waiting=self._if_the_driver_waits(claim, finding.story, clock))
        return finding

    def _run(
        self, claim: Property, clock: Clock, rule: StepRule | None = None, *, real: bool = True, least: int = 0
    ) -> Decision:
        from bandproof.engines.run import DisagreementError, decide  # noqa: PLC0415  (as in `decide`)

        try:
            # A narrowed start has states of its own, so what is known to be reachable is not shared with it.
            seen = self._seen if rule is None else None
            return decide(rule or self._rule, claim, check=clock, seen=seen, real=real, least=least)
        except (DisagreementError, NotARunError) as contradiction:
            message = f'property "{claim.id}": {contradiction}'
            raise CrossCheckError(message) from contradiction

    # ------------------------------------------------------------------------------------------------- certificates

    def _certificate(self, claim: Property, decision: Decision, clock: Clock) -> Written | None:
        """The proof written down, checked by reading that text again; None for an answer that rests on a story."""
        from bandproof.certificates.checks import Excluded, recheck, write_certificate  # noqa: PLC0415  (as in `decide`)
        from bandproof.engines.run import search  # noqa: PLC0415  (as in `decide`)

        invariant, excluded = decision.invariant, Excluded.BAD
        if decision.verdict is Verdict.EMPTY:
            invariant = search(decision.problem, decision.problem.applies, clock).invariant
            excluded = Excluded.CONDITION
        if invariant is None:
            return None
        written = write_certificate(decision.problem, invariant, excluded, lemmas=decision.lemmas)
        checked = recheck(written.text, f"{claim.id}.smt2")
        if not checked.ok:
            message = f'property "{claim.id}": its certificate does not stand: {"; ".join(checked.faults)}'
            raise CrossCheckError(message)
        return written

    # ------------------------------------------------------------------------------------------------------- starts

    def _unreachable(self, start: Start, clock: Clock) -> StartUnreachable | None:
        """Why no state of `start` can come about; None when some state can, or is assumed to."""
        if start.plain or start.assumed or start.reached_from is None:
            return None
        if start.name not in self._origins:
            reason = self._unreachable(self.layout.arrangement.start(start.reached_from), clock)
            if reason is None:
                shape = Shape.SETTLED if start.settled else Shape.REACHABLE
                decision = self._run(_sought(start, start_condition(self.layout, start), shape), clock)
                unreal = next((why for why in decision.reasons if isinstance(why, NoPressures)), None)
                if unreal is not None:
                    self._unshown[start.name] = StartUnshown(start.name, unreal)
                elif decision.story is None:
                    reason = StartUnreachable(start.name, start.reached_from)
            self._origins[start.name] = reason
        return self._origins[start.name]

    def _assumptions(self, start: Start) -> tuple[Assumption, ...]:
        """What is taken for granted about where `start` comes from."""
        line = [start]
        while not start.plain and not start.assumed and start.reached_from is not None:
            start = self.layout.arrangement.start(start.reached_from)
            line.append(start)
        found: list[Assumption] = [self._unshown[one.name] for one in line if one.name in self._unshown]
        return tuple(found if start.plain else [*found, StartAssumed(start.name)])

    def _answer(
        self, claim: Property, start: Start, clock: Clock, least: int = 0
    ) -> tuple[Decision, tuple[Condition, ...]]:
        """The answer, and what a state of the start that cannot come about lacks, where runs began in such states.

        A run from such a state refutes nothing. What shows that the state cannot be reached limits the start, and the
        claim is decided again, until a run begins in a state that can be reached or there is none.
        """
        from bandproof.encoding.system import with_starts_of  # noqa: PLC0415  (as in `decide`)

        decision = self._run(claim, clock, least=least)
        if start.plain or start.assumed or start.reached_from is None:
            return decision, ()
        learned: list[Condition] = []
        lacking: dict[Condition, None] = {}
        while decision.story is not None:
            first = decision.story.states[0]
            here = state_condition(self.layout, first)
            sought = _sought(start, here, Shape.REACHABLE)
            # What shows that bands cannot get there is put in terms of bands; whether air can is not asked here.
            origin = self._run(sought, clock, real=False)
            if origin.story is not None:
                break
            clauses = _clauses(origin)
            reading = Reading(self.layout, first)
            if all(surely(reading, clause) for clause in clauses):
                # Only the pace counters keep runs away from this state, and they are no condition: it alone is left out.
                clauses = (*clauses, Not(here))
            learned += clauses
            lacking |= dict.fromkeys(clause for clause in clauses if not surely(reading, clause))
            arrangement = narrowed(self.layout.arrangement, start.name, learned)
            rule = with_starts_of(self._rule, Layout(arrangement, self.layout.thresholds, self.layout.silent))
            decision = self._run(claim, clock, rule)
        return decision, tuple(lacking)

    # --------------------------------------------------------------------------------------------------------- pace

    def _if_the_driver_waits(self, claim: Property, story: Story | None, clock: Clock) -> Waiting | None:
        """What becomes of a claim refuted at any time when the driver lets the air settle before each action."""
        from bandproof.engines.run import LONGER  # noqa: PLC0415  (as in `decide`)
        from bandproof.machine.rig import replay  # noqa: PLC0415  (as in `decide`)

        if story is None or claim.pace is not Pace.ANY_TIME:
            return None
        waiting = replace(claim, pace=Pace.AFTER_SETTLING)
        if replay(self.layout, story, waiting) is None:
            return Waiting(Verdict.REFUTED, same_story=True)
        sense = _sense(waiting)
        if sense not in self._waiting:
            try:
                start = self.layout.arrangement.start(claim.during)
                # A driver who waits has fewer runs, so none of them is shorter than the shortest of all.
                self._waiting[sense] = self._answer(waiting, start, clock, max(0, len(story.steps) - LONGER))[0].verdict
            except GaveUpError as limit:
                return Waiting(Verdict.UNDECIDED, gave_up=limit.reason)
        return Waiting(self._waiting[sense])


def _finding(claim: Property, layout: Layout, decision: Decision) -> Finding:
    """A decision as a finding, before anything is written or said beside it."""
    return Finding(
        property=claim.id,
        says=claim.says,
        basis=claim.basis,
        verdict=decision.verdict,
        reasons=decision.reasons,
        steps=None if decision.story is None else len(decision.story.steps),
        caution=claim.caution,
        layout=layout,
        story=decision.story,
        engine=decision.engine,
        vehicle=decision.vehicle,
        learnt=tuple(
            Learnt(lemma.start, tuple(place_conditions(layout, place) for place in lemma.places))
            for lemma in decision.lemmas
        ),
    )


def _sense(claim: Property) -> Property:
    """The claim without its words: two claims of one sense have one answer."""
    return replace(claim, id="", says="", basis="", caution="")


def _sought(start: Start, condition: Condition, shape: Shape) -> Property:
    """The claim that a run without mishaps from where `start` comes from gets to `condition`."""
    origin = start.reached_from or start.name
    return Property("start", start.says, "", shape, origin, when=condition, then=Truth(value=False))


def _clauses(decision: Decision) -> tuple[Condition, ...]:
    """The invariant of a decision as conditions."""
    from bandproof.encoding.bits import condition_of  # noqa: PLC0415  (as in `decide`)

    bits = {bit.literal >> 1: bit for bit in decision.problem.bits}
    return clauses_as_conditions(
        [condition_of(bits[x >> 1], holds=not x & 1) for x in clause] for clause in decision.invariant or ()
    )
