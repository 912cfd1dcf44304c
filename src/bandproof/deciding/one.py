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
from bandproof.deciding.origins import clauses_as_conditions, narrowed, start_condition, state_condition
from bandproof.findings.finding import Finding, Verdict
from bandproof.findings.limits import Clock, GaveUpError, Limits
from bandproof.machine.layout import Layout
from bandproof.machine.semantics import Reading, surely
from bandproof.machine.story import Story
from bandproof.machine.telling import NotARunError
from bandproof.model.arrangement import Start
from bandproof.model.conditions import Condition, Not, Truth
from bandproof.properties.claim import NotApplicable, Pace, Property, Shape
from bandproof.text.errors import CrossCheckError
from bandproof.views.phrases import show_condition

if TYPE_CHECKING:
    from bandproof.encoding.system import StepRule
    from bandproof.engines.run import Decision
    from bandproof.engines.walk import Sights

#: How many of the things that a start's condition lacks are named.
_SHOWN = 3


def unanswered(claim: Property | NotApplicable, reason: str = "", seconds: float = 0.0) -> Finding:
    """The finding for a claim that is not applicable, or that stays undecided for `reason`."""
    if isinstance(claim, NotApplicable):
        return Finding(claim.id, claim.says, claim.basis, Verdict.NOT_APPLICABLE, claim.reason, caution=claim.caution)
    return Finding(claim.id, claim.says, claim.basis, Verdict.UNDECIDED, reason, seconds=seconds, caution=claim.caution)


class Decider:
    """An encoded arrangement; `decide` answers its claims one at a time."""

    def __init__(self, case: Case) -> None:
        import bandproof.certificates.checks  # noqa: F401, PLC0415  (so that no claim's seconds hold the loading of solvers)
        from bandproof.encoding.system import StepRule, pose  # noqa: PLC0415  (see `decide`)

        self.case = case
        self.layout = case.layout()
        self._rule = StepRule(self.layout)
        self._seen: dict[str, Sights] = {}
        self._origins: dict[str, str] = {}
        self._unshown: dict[str, str] = {}
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
        decision, lacking = self._answer(claim, start, clock)
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
            engine=decision.engine,
        )
        if decision.verdict is Verdict.UNDECIDED:
            return _with_reason(finding, self._assumption(start))
        if lacking and decision.story is None:
            return replace(finding, verdict=Verdict.UNDECIDED, reason=self._too_wide(start, finding, lacking))
        finding = replace(finding, certificate=self._certificate(claim, decision, clock))
        if claim.pace is Pace.AFTER_SETTLING:
            self._waiting[_sense(claim)] = finding.verdict
        if finding.verdict is Verdict.REFUTED:
            finding = _with_reason(finding, self._if_the_driver_waits(claim, finding.story, clock))
        return _with_reason(finding, self._assumption(start))

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

    def _certificate(self, claim: Property, decision: Decision, clock: Clock) -> str | None:
        """The proof as text, checked by reading that text again; None for an answer that rests on a story."""
        from bandproof.certificates.checks import Excluded, recheck, write_certificate  # noqa: PLC0415  (as in `decide`)
        from bandproof.engines.run import search  # noqa: PLC0415  (as in `decide`)

        invariant, excluded = decision.invariant, Excluded.BAD
        if decision.verdict is Verdict.EMPTY:
            invariant = search(decision.problem, decision.problem.applies, clock).invariant
            excluded = Excluded.CONDITION
        if invariant is None:
            return None
        text = write_certificate(decision.problem, invariant, excluded, lemmas=decision.lemmas).text
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
            if not reason:
                shape = Shape.SETTLED if start.settled else Shape.REACHABLE
                decision = self._run(_sought(start, start_condition(self.layout, start), shape), clock)
                if decision.verdict is Verdict.UNDECIDED:
                    self._unshown[start.name] = f'start "{start.name}" is not shown reachable: {decision.reason}'
                elif decision.story is None:
                    reason = f'its start "{start.name}" cannot be reached from "{start.reached_from}"'
            self._origins[start.name] = reason
        return self._origins[start.name]

    def _assumption(self, start: Start) -> str:
        """What is taken for granted about where `start` comes from, or nothing."""
        remarks = [self._unshown.get(start.name, "")]
        while not start.plain and not start.assumed and start.reached_from is not None:
            start = self.layout.arrangement.start(start.reached_from)
            remarks.append(self._unshown.get(start.name, ""))
        if not start.plain:
            remarks.append(f'start "{start.name}" is assumed, not shown reachable')
        return "; ".join(remark for remark in remarks if remark)

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
            rule = with_starts_of(self._rule, Layout(arrangement, self.layout.thresholds))
            decision = self._run(claim, clock, rule)
        return decision, tuple(lacking)

    def _too_wide(self, start: Start, finding: Finding, lacking: tuple[Condition, ...]) -> str:
        unit = self.layout.arrangement.unit
        missing = " and ".join(show_condition(condition, unit) for condition in lacking[:_SHOWN])
        return (
            f'{finding.verdict} for the states of start "{start.name}" that can be reached from "{start.reached_from}"; '
            f"its condition allows others too: add to it, for one, that {missing}"
        )

    # --------------------------------------------------------------------------------------------------------- pace

    def _if_the_driver_waits(self, claim: Property, story: Story | None, clock: Clock) -> str:
        """What becomes of a claim refuted at any time when the driver lets the air settle before each action."""
        from bandproof.engines.run import LONGER  # noqa: PLC0415  (as in `decide`)
        from bandproof.machine.rig import replay  # noqa: PLC0415  (as in `decide`)

        if story is None or claim.pace is not Pace.ANY_TIME:
            return ""
        waiting = replace(claim, pace=Pace.AFTER_SETTLING)
        if replay(self.layout, story, waiting) is None:
            return "also refuted when the driver lets the air settle before each action"
        sense = _sense(waiting)
        if sense not in self._waiting:
            try:
                start = self.layout.arrangement.start(claim.during)
                # A driver who waits has fewer runs, so none of them is shorter than the shortest of all.
                self._waiting[sense] = self._answer(waiting, start, clock, max(0, len(story.steps) - LONGER))[0].verdict
            except GaveUpError:
                return "not decided in the time left whether it holds when the driver lets the air settle"
        return f"{self._waiting[sense]} when the driver lets the air settle before each action"


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


def _with_reason(finding: Finding, further: str) -> Finding:
    """The finding with one more thing said about it."""
    return replace(finding, reason="; ".join(r for r in (finding.reason, further) if r))
