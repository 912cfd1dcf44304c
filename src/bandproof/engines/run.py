"""The runner: poses one property, lets the engines work side by side, checks what they say, and is the only way out.

A refutation is replayed on the executable machine before it leaves; a proof leaves with its invariant, which
`bandproof.certificates.checks` checks with another solver. Engines take turns by a clock of solver steps, not of seconds, so that
two runs give the same answer by the same engine.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from bandproof.encoding.circuit import FALSE, TRUE
from bandproof.encoding.system import Problem, StepRule, pose
from bandproof.engines.bounded import Unrolling, a_start, no_state_in
from bandproof.engines.reachability import Reachability, Reached
from bandproof.engines.refining import with_imbalances
from bandproof.engines.seeking import Sought, first_look, second_look, witnessable
from bandproof.engines.walk import Sights, walks
from bandproof.findings.finding import Vehicle, Verdict
from bandproof.findings.limits import GaveUpError
from bandproof.findings.reasons import (
    ConditionNever,
    ConditionUnshown,
    Lemmas,
    NoPressures,
    NoRun,
    NoVehicle,
    PerhapsShorter,
    Reason,
    ShorterUnreal,
    StartUnreachable,
    Unread,
)
from bandproof.findings.witness import Witness
from bandproof.lemmas.lemma import Lemma, refine
from bandproof.machine.layout import Layout
from bandproof.machine.monitor import applies
from bandproof.machine.rig import replay
from bandproof.machine.story import State, Story, joined
from bandproof.machine.telling import tell
from bandproof.properties.claim import Property
from bandproof.properties.monitors import monitor_of
from bandproof.witness.concretise import Check, Concrete, Impossible, Unclear, concretise

#: Reachability runs alone for this many solver steps before bounded search joins it: most proofs are found by then.
HEAD_START = 3_000_000

#: The same where any run will do: there bounded search finds most, and has less to show.
ANY_RUN = 1_000_000

#: From then on it still gets this many solver steps for each one of bounded search, whose steps take longer.
SHARE = 4

#: Once reachability has found some run, bounded search gets this many solver steps to find a shortest one.
SHORTEST = 100_000_000

#: Bounded search looks this many steps further at a time.
STRIDE = 4

#: Where any run will do: it is easier to find one among longer runs than to show that no shorter one is there.
LONG_STRIDE = 8

#: A story may be this many steps longer than the shortest run of the band machine, if that makes it real.
LONGER = 2

#: A run to the condition of a proven claim is made real when it has at most this many steps.
SHORT = 6

#: After this many impossible runs the search ends undecided.
LEMMAS = 8

#: So often the layout is made finer for one claim.
REFINED = 24


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a search found: a shortest run to the goal, or the clauses of an invariant that excludes it.

    `least`: the run is perhaps no shortest one, but no shorter one has fewer steps than this.
    """

    story: Story | None
    invariant: tuple[tuple[int, ...], ...] | None
    engine: str
    least: int | None = None


@dataclass(frozen=True, slots=True)
class Decision:
    """The answer to one property, checked. `problem` is what the invariant's literals refer to.

    `vehicle` is what the story's pressures hold for, where they come from air accounts; `witness` whose run it tells. No
    run of the bands of fewer than `least` steps decides the claim so.
    """

    verdict: Verdict
    reasons: tuple[Reason, ...]
    engine: str
    problem: Problem
    story: Story | None = None
    invariant: tuple[tuple[int, ...], ...] | None = None
    lemmas: tuple[Lemma, ...] = ()
    vehicle: Vehicle | None = None
    witness: Witness | None = None
    least: int = 0


class DisagreementError(Exception):
    """Two parts of the tool contradict each other. A defect of the tool: no verdict is given."""


def search(problem: Problem, goal: int, check: Check, *, shortest: bool = True, least: int = 0) -> Outcome:
    """Find a run to `goal`, a shortest one unless told otherwise, or an invariant that excludes it.

    No run of fewer than `least` steps gets there, as is known already. `check` may raise GaveUpError to stop the
    search; a run already found is then given all the same.
    """
    check()
    if goal == FALSE or no_state_in(problem, goal):
        return Outcome(None, (), "no state")
    reach = Reachability(problem, goal)
    running = reach.run()
    bounded: Unrolling | None = None
    longer: Reached | None = None
    allowance = 0
    depth = least
    stride, alone = (STRIDE, HEAD_START) if shortest else (LONG_STRIDE, ANY_RUN)
    try:
        while True:
            check()
            if bounded is None and (longer is not None or reach.work > alone):
                bounded = Unrolling(problem, from_start=True, goal=goal)
            if longer is None and (bounded is None or reach.work < alone + SHARE * bounded.work):
                try:
                    next(running)
                except StopIteration as end:
                    if end.value.states is None:
                        return Outcome(None, end.value.invariant, "reachability")
                    longer = end.value
                    allowance = SHORTEST + (bounded.work if bounded is not None else 0)
                    if not shortest:
                        return _as_found(problem, longer, depth)
            elif longer is not None and bounded is not None and bounded.work > allowance:
                return _as_found(problem, longer, depth)
            elif bounded is not None:
                high = depth + stride - 1
                story = bounded.shortest(depth, high) if shortest else bounded.some(high)
                if story is not None:
                    return Outcome(story, None, "bounded search")
                depth += stride
    except GaveUpError:
        if longer is None:
            raise
        return _as_found(problem, longer, depth)
    finally:
        reach.close()
        if bounded is not None:
            bounded.close()


def _as_found(problem: Problem, reached: Reached, depth: int) -> Outcome:
    """The run that reachability found, when bounded search could not look for a shorter one to the end."""
    assert reached.states is not None
    states = [problem.state_of(values) for values in reached.states]
    story = tell(problem.layout, problem.claim, states, problem.round_from(reached.states))
    return Outcome(story, None, "reachability", depth if len(joined(story).steps) > depth else None)


def decide(
    rule: StepRule,
    claim: Property,
    *,
    check: Check = lambda: None,
    seen: dict[str, Sights] | None = None,
    real: bool = True,
    witnessed: bool = True,
    thorough: bool = True,
    least: int = 0,
) -> Decision:
    """Decide one property. `seen` keeps, per start, pace and mishaps, states known to be reachable, to be reused.

    No run of fewer than `least` steps refutes it (or, for `reachable`, shows it), as is known already.

    A run that ends the search is believed once a vehicle does it (MEANING.md, "No false alarm"). Where none is found at
    once, air accounts are drawn up: a run that no pressures fit teaches a lemma, and the search goes on among the runs that
    the lemma does not forbid ("Air is conserved"). Where it is not shown that no pressures fit, vehicles are looked for
    harder, then other runs, and the claim stays undecided when none comes true. Runs to a start that has to be reached from
    another are believed of the accounts. With `witnessed` false all are; with `real` false the band machine's runs are
    taken as they are: for comparing engines with one another, not for a verdict. Not `thorough`: vehicles are not looked for
    to the last.
    """
    problem = pose(rule, claim)
    known = {} if seen is None else seen
    sights = known.setdefault(f"{claim.during}|{claim.pace}|{sorted(claim.mishaps)}", _sights(problem))
    lemmas: list[Lemma] = []
    doubt: NoPressures | None = None
    refined = 0
    while True:
        outcome = search(problem, problem.bad, check, least=least)
        if outcome.story is None:
            break
        _replayed(rule, claim, outcome.story, outcome.engine)
        sights.extend(outcome.story.states)
        if not real:
            return _shown(claim, problem, outcome, outcome.story)
        finer = with_imbalances(rule.layout, claim, outcome.story, check) if refined < REFINED else None
        if finer is not None:
            refined += 1
            rule, problem = _on(finer, claim, lemmas)
            sights = _sights(problem)
            continue
        sought = Sought(0)
        by_vehicle = witnessed and witnessable(rule.layout, claim)
        if by_vehicle:
            sought = first_look(rule.layout, claim, outcome.story, check)
        if sought.witness is not None:
            sights.extend(() if sought.story is None else sought.story.states, real=True)
            return _witnessed(claim, problem, outcome, sought, tuple(lemmas))
        answer = concretise(rule, problem, outcome.story, told=not by_vehicle, more=LONGER, check=check)
        if isinstance(answer, Concrete):
            _replayed(rule, claim, answer.story, "the search for pressures")
        if sought.tried and not isinstance(answer, Impossible):
            story = answer.story if isinstance(answer, Concrete) else outcome.story
            further = second_look(rule.layout, claim, story, check, thorough=thorough)
            sought = replace(further, tried=sought.tried + further.tried)
            if sought.witness is not None:
                sights.extend(() if sought.story is None else sought.story.states, real=True)
                return _witnessed(claim, problem, replace(outcome, story=story), sought, tuple(lemmas))
        if isinstance(answer, Concrete):
            if sought.tried:
                reason = NoVehicle(sought.tried, len(joined(answer.story).steps))
                return _undecided(reason, outcome.engine, problem, lemmas)
            sights.extend(answer.story.states, real=True)
            shown = _shown(claim, problem, outcome, answer.story)
            return replace(shown, lemmas=tuple(lemmas), vehicle=_vehicle(answer))
        lemma = answer.hint if isinstance(answer, Unclear) else answer.lemma
        doubt = doubt or (answer.reason if isinstance(answer, Unclear) else None)
        if lemma is None or len(lemmas) == LEMMAS:
            return _undecided(doubt or answer.reason, outcome.engine, problem, lemmas)
        lemmas.append(lemma)
        problem = refine(rule, problem, lemma)
    if doubt:
        return _undecided(doubt, outcome.engine, problem, lemmas)
    reasons = (Lemmas(len(lemmas)),) if lemmas else ()
    decision = Decision(
        Verdict.PROVEN, reasons, outcome.engine, problem, invariant=outcome.invariant, lemmas=tuple(lemmas)
    )
    if monitor_of(claim).wanted:
        return replace(decision, verdict=Verdict.REFUTED, reasons=(NoRun(),))
    return _empty(rule, decision, sights, check) or decision


def _on(layout: Layout, claim: Property, lemmas: Iterable[Lemma]) -> tuple[StepRule, Problem]:
    """The claim posed on a finer layout, with the lemmas known so far."""
    rule = StepRule(layout)
    problem = pose(rule, claim)
    for lemma in lemmas:
        problem = refine(rule, problem, lemma)
    return rule, problem


def no_start(rule: StepRule, claim: Property) -> bool:
    """Whether no state at all is one that the claim's runs begin with."""
    problem = pose(rule, claim)
    return no_state_in(problem, problem.start)


def never_begun(rule: StepRule, claim: Property, reason: StartUnreachable, lemmas: tuple[Lemma, ...]) -> Decision:
    """The answer to a claim none of whose runs begins, which the search for one has shown with these lemmas."""
    problem = pose(rule, claim)
    for lemma in lemmas:
        problem = refine(rule, problem, lemma)
    return Decision(Verdict.EMPTY, (reason,), "", problem, lemmas=lemmas)


def _witnessed(
    claim: Property, problem: Problem, outcome: Outcome, sought: Sought, lemmas: tuple[Lemma, ...]
) -> Decision:
    """The answer that a vehicle gives; told by the bands' own run where the vehicle's is too long to be told."""
    assert outcome.story is not None
    shown = _shown(claim, problem, outcome, sought.story or outcome.story)
    unread = () if sought.story is not None else (Unread(sought.unread),)
    return replace(shown, reasons=(*shown.reasons, *unread), lemmas=lemmas, witness=sought.witness)


def _undecided(reason: NoPressures | NoVehicle, engine: str, problem: Problem, lemmas: list[Lemma]) -> Decision:
    return Decision(Verdict.UNDECIDED, (reason,), engine, problem, lemmas=tuple(lemmas))


def _vehicle(real: Concrete) -> Vehicle:
    return Vehicle(real.sizes, real.settings, real.assumed, real.drifting)


def _replayed(rule: StepRule, claim: Property, story: Story, engine: str) -> None:
    """DisagreementError unless the executable machine accepts the story."""
    fault = replay(rule.layout, story, claim)
    if fault is not None:
        message = f"{claim.id}: {engine} gave a run that the machine refuses: {fault}"
        raise DisagreementError(message)


def _shown(claim: Property, problem: Problem, outcome: Outcome, story: Story) -> Decision:
    """The answer when a run exists: `story`, which is the outcome's own or another one."""
    assert outcome.story is not None
    steps, more = len(joined(outcome.story).steps), len(joined(story).steps)
    reasons: list[Reason] = []
    if outcome.least is not None and not story.seconds:
        reasons.append(PerhapsShorter(steps, outcome.least))
    if more > steps and not story.seconds:
        reasons.append(ShorterUnreal(more - steps))
    verdict = Verdict.PROVEN if monitor_of(claim).wanted else Verdict.REFUTED
    least = steps if outcome.least is None else outcome.least
    return Decision(verdict, tuple(reasons), outcome.engine, problem, story=story, least=least)


def _sights(problem: Problem) -> Sights:
    """What walks from the problem's start see, as far as it is looked at."""

    def seen() -> Iterator[State]:
        # A walk from where another start has to be reached first says nothing of what comes after that one.
        first = a_start(problem) if problem.begun == TRUE else None
        if first is not None:
            yield from walks(problem.layout, problem.claim, first)

    return Sights(seen())


def _empty(rule: StepRule, proven: Decision, sights: Sights, check: Check) -> Decision | None:
    """The answer to a proven conditional claim whose condition holds in no reachable state; None when it does in one.

    A short run to the condition is to be real, as one to a bad is; where it is not shown that there is none, the claim
    stays proven, and says so. If no run to it is short and no lemma was needed, the bands are believed: that a proof says
    something is a courtesy, and to find the pressures of a long run can take longer than the proof.
    """
    problem, lemmas = proven.problem, list(proven.lemmas)
    monitor = problem.layout.monitor(problem.claim)
    if monitor.applies is None:
        return None

    def wanted(state: State) -> bool:
        check()
        return applies(rule.layout, monitor, state)

    if not monitor.endless and sights.some_real(wanted):
        return None
    if lemmas:
        story = search(problem, problem.applies, check, shortest=False).story
    else:
        seen = not monitor.endless and sights.some(wanted)
        story = None if monitor.endless else _short_run(problem, problem.applies, check)
        if story is None and (seen or search(problem, problem.applies, check, shortest=False).story is not None):
            return None
    while True:
        if story is None:
            return replace(
                proven, verdict=Verdict.EMPTY, reasons=(ConditionNever(),), problem=problem, lemmas=tuple(lemmas)
            )
        answer = concretise(rule, replace(problem, bad=problem.applies), story, told=False, check=check)
        if isinstance(answer, Concrete):
            sights.extend(answer.story.states, real=True)
            return None
        if isinstance(answer, Unclear) or len(lemmas) == LEMMAS:
            return replace(proven, reasons=(*proven.reasons, ConditionUnshown(answer.reason)))
        lemmas.append(answer.lemma)
        problem = refine(rule, problem, answer.lemma)
        story = search(problem, problem.applies, check, shortest=False).story


def _short_run(problem: Problem, goal: int, check: Check) -> Story | None:
    """A run to the goal of at most SHORT steps, as it comes; None when there is none."""
    check()
    bounded = Unrolling(problem, from_start=True, goal=goal)
    try:
        return bounded.some(SHORT)
    finally:
        bounded.close()
