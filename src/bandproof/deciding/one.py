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
from bandproof.deciding.places import place_conditions
from bandproof.findings.finding import Finding, Learnt, Verdict, Waiting
from bandproof.findings.limits import Clock, GaveUpError, Limits
from bandproof.findings.reasons import (
    Assumption,
    Lacking,
    NoMoreMemory,
    NoPressures,
    Reason,
    StartAssumed,
    StartUnreachable,
    StartUnshown,
)
from bandproof.machine.layout import Layout
from bandproof.machine.telling import NotARunError
from bandproof.model.arrangement import Start
from bandproof.properties.claim import NotApplicable, Pace, Property, coming
from bandproof.text.errors import CrossCheckError

if TYPE_CHECKING:
    from bandproof.certificates.checks import Written
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
        from bandproof.certificates.basis import basis_of  # noqa: PLC0415  (so that no claim's seconds hold the loading of solvers)
        from bandproof.encoding.system import StepRule, pose  # noqa: PLC0415  (see `decide`)
        from bandproof.engines.silence import quietened  # noqa: PLC0415  (see `decide`)

        self.case = case
        #: What falls silent, with its proofs, and the grid on which that is known.
        self.quiet = quietened(case.layout())
        self.layout = self.quiet.layout
        self._basis = basis_of(self.layout, self.quiet.known)
        self._rule = StepRule(self.layout)
        self._seen: dict[str, Sights] = {}
        self._origins: dict[str, Decision] = {}
        ways = [self.layout.arrangement.way_to(claim.during)[1:] for claim in case.properties]
        for claim in (*case.properties, *(coming(start.name) for way in ways for start in way)):
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
            finding = unanswered(claim, limit.reason)
        except MemoryError:
            finding = unanswered(claim, NoMoreMemory())
        return replace(finding, seconds=time.perf_counter() - began)

    def _decide(self, claim: Property, clock: Clock) -> Finding:
        start = self.layout.arrangement.start(claim.during)
        decision = self._never_begun(claim, clock) or self._run(claim, clock)
        unshown = self._unshown(start, clock)
        if unshown is not None and decision.story is None and decision.verdict is not Verdict.EMPTY:
            decision = replace(decision, verdict=Verdict.UNDECIDED, reasons=(unshown,))
        finding = replace(_finding(claim, decision.problem.layout, decision), assumptions=self._assumptions(start))
        if decision.verdict is Verdict.UNDECIDED:
            return finding
        written = self._certificate(claim, decision, clock)
        if written is not None:
            finding = replace(finding, certificate=written.text, readings=written.readings)
        if finding.verdict is Verdict.REFUTED:
            finding = self._told_patiently(claim, finding, decision, clock)
        return finding

    def _run(self, claim: Property, clock: Clock, *, least: int = 0, thorough: bool = True) -> Decision:
        from bandproof.engines.run import DisagreementError, decide  # noqa: PLC0415  (as in `decide`)

        try:
            return decide(self._rule, claim, check=clock, seen=self._seen, least=least, thorough=thorough)
        except (DisagreementError, NotARunError) as contradiction:
            message = f'property "{claim.id}": {contradiction}'
            raise CrossCheckError(message) from contradiction

    # ------------------------------------------------------------------------------------------------- certificates

    def _certificate(self, claim: Property, decision: Decision, clock: Clock) -> Written | None:
        """The proof written down, checked by reading that text again; None for an answer that rests on a story."""
        from bandproof.certificates.checks import Excluded, goal_of, recheck, write_certificate  # noqa: PLC0415  (as in `decide`)
        from bandproof.engines.run import search  # noqa: PLC0415  (as in `decide`)

        problem, invariant, excluded = decision.problem, decision.invariant, Excluded.BAD
        if decision.verdict is Verdict.EMPTY:
            lost = any(isinstance(reason, StartUnreachable) for reason in decision.reasons)
            excluded = Excluded.BEGINNING if lost else Excluded.CONDITION
            invariant = search(problem, goal_of(problem, excluded), clock).invariant
        if invariant is None:
            return None
        written = write_certificate(problem, invariant, excluded, decision.lemmas, self._basis)
        checked = recheck(written.text, f"{claim.id}.smt2")
        if not checked.ok:
            message = f'property "{claim.id}": its certificate does not stand: {"; ".join(checked.faults)}'
            raise CrossCheckError(message)
        return written

    # ------------------------------------------------------------------------------------------------------- starts

    def _coming(self, start: Start, clock: Clock) -> Decision:
        """Whether a run comes to a start that has to be reached from another."""
        if start.name not in self._origins:
            self._origins[start.name] = self._run(coming(start.name), clock)
        return self._origins[start.name]

    def _never_begun(self, claim: Property, clock: Clock) -> Decision | None:
        """That no run of the claim begins, since none comes to its start; None when some may.

        A first start is asked too. That it was assumed says that somebody vouches for it, not that there is such a state: without
        one every claim about what never is would be proven, of nothing.
        """
        from bandproof.engines.run import never_begun, no_start  # noqa: PLC0415  (as in `decide`)

        first, *further = self.layout.arrangement.way_to(claim.during)
        if no_start(self._rule, claim):
            return never_begun(self._rule, claim, StartUnreachable(first.name, None), ())
        for start in further:
            decision = self._coming(start, clock)
            if decision.verdict is Verdict.REFUTED:
                assert start.reached_from is not None
                reason = StartUnreachable(start.name, start.reached_from)
                return never_begun(self._rule, claim, reason, decision.lemmas)
        return None

    def _unshown(self, start: Start, clock: Clock) -> StartUnshown | None:
        """Why it is not known whether a run comes to the start; None when one does, when none does, and when none has to."""
        if len(self.layout.arrangement.way_to(start.name)) == 1:
            return None
        unreal = [why for why in self._coming(start, clock).reasons if isinstance(why, NoPressures)]
        return StartUnshown(start.name, unreal[0]) if unreal else None

    def _assumptions(self, start: Start) -> tuple[Assumption, ...]:
        """What is taken for granted about where `start` comes from."""
        first = self.layout.arrangement.way_to(start.name)[0]
        return () if first.plain else (StartAssumed(first.name),)

    # --------------------------------------------------------------------------------------------------------- pace

    def _told_patiently(self, claim: Property, finding: Finding, decision: Decision, clock: Clock) -> Finding:
        """A refuted claim's finding with what becomes of it when the driver lets the air settle before each action.

        Where he breaks the claim too, but by another story, that is the story told first, and the quick one is kept beside it:
        what a patient driver meets matters more than what a quick hand can do.
        """
        waiting, patient = self._if_the_driver_waits(claim, decision, clock)
        if patient is None:
            return replace(finding, waiting=waiting)
        told = _finding(claim, patient.problem.layout, patient)
        return replace(told, assumptions=finding.assumptions, waiting=waiting, quick=replace(finding, waiting=waiting))

    def _if_the_driver_waits(
        self, claim: Property, decision: Decision, clock: Clock
    ) -> tuple[Waiting | None, Decision | None]:
        """What becomes of the claim then, and the decision that refutes it by a story of its own."""
        from bandproof.engines.run import LONGER  # noqa: PLC0415  (as in `decide`)
        from bandproof.machine.rig import replay  # noqa: PLC0415  (as in `decide`)
        from bandproof.witness.rechecking import acts_once_settled  # noqa: PLC0415  (as in `decide`)

        layout, story, witness = decision.problem.layout, decision.story, decision.witness
        if story is None or claim.pace is not Pace.ANY_TIME:
            return None, None
        waiting = replace(claim, pace=Pace.AFTER_SETTLING)
        waits = witness is None or acts_once_settled(layout.arrangement, witness)
        if waits and replay(layout, story, waiting) is None:
            return Waiting(Verdict.REFUTED, same_story=True), None
        try:
            # A driver who waits has fewer runs, so none of them is shorter than the shortest of all.
            patient = self._run(waiting, clock, least=max(0, decision.least - LONGER), thorough=False)
        except GaveUpError as limit:
            return Waiting(Verdict.UNDECIDED, gave_up=limit.reason), None
        return Waiting(patient.verdict), patient if patient.verdict is Verdict.REFUTED else None


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
        witness=decision.witness,
        learnt=tuple(
            Learnt(lemma.start, tuple(place_conditions(layout, place) for place in lemma.places))
            for lemma in decision.lemmas
            if not any(atom.sort == "passed" for place in lemma.places for atom in place)
        ),
    )
