"""What the engines found, as plain values: the one thing that reports, drawings and shells depend on."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from bandproof.findings.reasons import Assumption, GaveUp, OutOfMemory, OutOfTime, Reason
from bandproof.findings.verdict import Verdict
from bandproof.findings.witness import Witness
from bandproof.machine.layout import Layout
from bandproof.machine.story import Story
from bandproof.model.conditions import Condition
from bandproof.properties.monitors import Stillness

__all__ = ["Finding", "Learnt", "Vehicle", "Verdict", "Waiting", "gave_up", "out_of_memory"]


@dataclass(frozen=True, slots=True)
class Waiting:
    """What becomes of a claim refuted at any time when the driver lets the air settle before each action.

    `same_story` says that the story which refutes the claim is such a run already. `gave_up` is the limit that was
    reached while it was looked into; the verdict is then undecided. Where such a driver breaks the claim by another story than a
    quick one, the finding tells his, and the other is `Finding.quick`.
    """

    verdict: Verdict
    same_story: bool = False
    gave_up: OutOfTime | OutOfMemory | None = None


@dataclass(frozen=True, slots=True)
class Learnt:
    """A lemma: no real run goes through these places in this order, because air is conserved.

    Each place is the states in which all its conditions hold. `start`: only of runs that begin, there, at the first.
    `still`: no state in the one place is settled, or at rest, since the flows of the whole do not balance there.
    """

    start: str | None
    places: tuple[tuple[Condition, ...], ...]
    still: Stillness | None = None


@dataclass(frozen=True, slots=True)
class Vehicle:
    """One vehicle in the declared ranges: what the pressures of a story hold for.

    `sizes` are the volumes' sizes in litres; `assumed` names those of them that the arrangement does not give.
    `settings` are the numbers found for toleranced settings, as part, setting and pascals gauge. `drifting` are the
    numbers of the states at whose end the driver acts, or a part reacts, after pressures have moved inside their bands.
    """

    sizes: tuple[tuple[str, Fraction], ...]
    settings: tuple[tuple[str, str, Fraction], ...]
    assumed: tuple[str, ...]
    drifting: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Finding:
    """The answer to one property of one arrangement.

    `reasons` say why, `assumptions` what is taken for granted about the start. `steps` is the length of the story,
    where there is one. `story` is the counterexample of a refuted property, or the run that shows a proven reachable
    one, and `vehicle` what its pressures hold for; `certificate` is SMT-LIB text for a proof, and `readings` its
    clauses in words. `witness` is the vehicle, run in seconds, that does what the story says. `learnt` are the lemmas that the search was told. `layout` is the grid the story's bands refer to.
    `quick` is the shortest story of all, with its witness, where `story` is that of a driver who lets the air settle before each act.
    """

    property: str
    says: str
    basis: str
    verdict: Verdict
    reasons: tuple[Reason, ...] = ()
    steps: int | None = None
    seconds: float = 0.0
    caution: str = ""
    layout: Layout | None = None
    story: Story | None = None
    certificate: str | None = None
    engine: str = ""
    assumptions: tuple[Assumption, ...] = ()
    waiting: Waiting | None = None
    vehicle: Vehicle | None = None
    learnt: tuple[Learnt, ...] = ()
    readings: tuple[str, ...] = ()
    witness: Witness | None = None
    quick: Finding | None = None


def gave_up(finding: Finding) -> GaveUp | None:
    """What ended the search before there was an answer; None when there is one, or when more time would not help."""
    return next((reason for reason in finding.reasons if isinstance(reason, GaveUp)), None)


def out_of_memory(finding: Finding) -> bool:
    """The memory limit was reached on the way to the finding."""
    waited = None if finding.waiting is None else finding.waiting.gave_up
    return isinstance(gave_up(finding), OutOfMemory) or isinstance(waited, OutOfMemory)
