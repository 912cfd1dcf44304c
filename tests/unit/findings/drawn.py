"""Random findings and jobs: every kind of reason, condition and story, on random arrangements."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import strategies as st

from bandproof.findings.finding import Finding, Learnt, Vehicle, Verdict, Waiting
from bandproof.findings.job import Job
from bandproof.findings.limits import Limits
from bandproof.findings.reasons import (
    ConditionNever,
    ConditionUnshown,
    Interrupted,
    Lacking,
    Lemmas,
    NoMoreMemory,
    NoPressures,
    NoRun,
    NoVehicle,
    OutOfMemory,
    OutOfTime,
    PerhapsShorter,
    Reason,
    ShorterUnreal,
    StartAssumed,
    StartUnreachable,
    StartUnshown,
    Unreal,
    WorkerDied,
)
from bandproof.machine.layout import Layout
from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import AtLeast, Below, Condition, Tie
from bandproof.model.walker import normal_form
from bandproof.properties.claim import Lack, Named, NotApplicable
from bandproof.terms.nodes import End
from tests.strategies import arrangements, conditions, layout_for, properties
from tests.unit.views.runs import runs

words = st.text(st.characters(codec="utf-8"), max_size=8)
names = st.lists(words, max_size=3).map(tuple)
numbers = st.integers(0, 2**70)
exact = st.fractions()
seconds = st.floats(allow_nan=False)

out_of_time = st.builds(OutOfTime, seconds)
out_of_memory = st.builds(OutOfMemory, numbers)
unreal = st.builds(NoPressures, st.sampled_from(Unreal), names, names)
lacks = st.lists(st.builds(Lack, st.sampled_from(Named), words, st.none() | words), max_size=3).map(tuple)


def wide(arrangement: Arrangement) -> st.SearchStrategy[tuple[Condition, ...]]:
    """Some conditions, tolerances and comparisons among them."""
    written = conditions(arrangement, guard=True)
    tie = st.builds(Tie, words, st.none() | st.sampled_from(End))
    tied = st.builds(Below, words, exact, exact, words, tie) | st.builds(AtLeast, words, exact, exact, words, tie)
    return st.lists(written | written.map(normal_form) | tied, max_size=3).map(tuple)


def reasons() -> st.SearchStrategy[Reason]:
    """Any reason."""
    return st.one_of(
        out_of_time,
        out_of_memory,
        st.just(NoMoreMemory()),
        st.builds(WorkerDied, st.none() | numbers, st.none() | numbers),
        st.just(Interrupted()),
        st.builds(Lacking, lacks),
        unreal,
        st.builds(Lemmas, numbers),
        st.just(NoRun()),
        st.just(ConditionNever()),
        st.builds(ConditionUnshown, unreal),
        st.builds(NoVehicle, st.integers(0, 5000)),
        st.builds(PerhapsShorter, numbers, numbers),
        st.builds(ShorterUnreal, numbers),
        st.builds(StartUnreachable, words, st.none() | words),
        st.builds(StartUnshown, words, unreal),
    )


vehicles = st.builds(
    Vehicle,
    st.lists(st.tuples(words, exact), max_size=3).map(tuple),
    st.lists(st.tuples(words, words, exact), max_size=3).map(tuple),
    names,
    st.lists(numbers, max_size=3).map(tuple),
)


@st.composite
def findings(draw: st.DrawFn) -> tuple[Finding, Arrangement]:
    """A finding, not one that makes sense, and the arrangement it is about."""
    layout, story = draw(runs(most=4))
    arrangement = layout.arrangement
    known: Layout | None = layout if draw(st.booleans()) else None
    learnt = st.builds(Learnt, st.none() | words, st.lists(wide(arrangement), max_size=2).map(tuple))
    waiting = st.builds(Waiting, st.sampled_from(Verdict), st.booleans(), st.none() | out_of_time | out_of_memory)
    assumption = st.builds(StartAssumed, words)
    finding = Finding(
        property=draw(words),
        says=draw(words),
        basis=draw(words),
        verdict=draw(st.sampled_from(Verdict)),
        reasons=tuple(draw(st.lists(reasons(), max_size=3))),
        steps=draw(st.none() | numbers),
        seconds=draw(seconds),
        caution=draw(words),
        layout=known,
        story=story if known is not None and draw(st.booleans()) else None,
        certificate=draw(st.none() | words),
        engine=draw(words),
        assumptions=tuple(draw(st.lists(assumption, max_size=2))),
        waiting=draw(st.none() | waiting),
        vehicle=draw(st.none() | vehicles),
        learnt=tuple(draw(st.lists(learnt, max_size=2))),
        readings=draw(names),
    )
    quick = replace(finding, engine=draw(words)) if draw(st.booleans()) else None
    return replace(finding, quick=quick), arrangement


@st.composite
def jobs(draw: st.DrawFn) -> Job:
    """A job about a random claim, or about one that does not apply."""
    arrangement = draw(arrangements())
    claim = draw(properties(arrangement))
    layout = layout_for(arrangement, claim)
    limits = Limits(draw(st.none() | st.floats(0, allow_nan=False)), draw(st.none() | st.integers(1, 10**6)))
    lacking = NotApplicable(claim.id, claim.says, claim.basis, draw(lacks), draw(words), draw(words))
    return Job(layout, lacking if draw(st.booleans()) else claim, limits)
