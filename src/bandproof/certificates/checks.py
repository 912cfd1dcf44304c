"""Certificates: proofs written down so that a sceptic can check them without this program, and the checking of them.

`write_certificate` turns an engine's invariant into SMT-LIB 2.6 text. `recheck` reads such text, makes sure that it
asks what a certificate asks, and gives it as it is to z3 and, where it is installed, to cvc5. `recheck_against` also
makes sure that the text is about one arrangement and one claim, by writing the transition, the start and the excluded
states anew from the arrangement and comparing.

No engine is imported here: what finds a proof must not be what accepts it. What remains to be believed is the meaning
of an arrangement, which the text states, and the solvers.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from bandproof.certificates.invariant import Clause, minimised
from bandproof.certificates.lemma_text import read_lemma, write_lemmas
from bandproof.certificates.reader import BadCertificateError, Certificate, read
from bandproof.certificates.smtlib import Excluded, Query, goal_of, header, readings, symbols_of, write
from bandproof.encoding.bit_words import Wording
from bandproof.encoding.system import Problem, StepRule, pose
from bandproof.lemmas.lemma import Lemma, refine
from bandproof.machine.layout import Layout, lay_out
from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import ALWAYS_TRUE
from bandproof.properties.claim import Property
from bandproof.solvers import cvc5_solver, z3_solver
from bandproof.solvers.z3_solver import SolverRefusesError
from bandproof.text.errors import CrossCheckError

__all__ = [
    "BadCertificateError",
    "Excluded",
    "Recheck",
    "SolverRun",
    "Written",
    "goal_of",
    "recheck",
    "recheck_against",
    "write_certificate",
]


@dataclass(frozen=True, slots=True)
class Written:
    """A certificate: its text, and each clause of its invariant in words."""

    text: str
    readings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SolverRun:
    """One solver's answers to the queries: start, step, property, and one for each lemma."""

    solver: str
    version: str
    answers: tuple[str, ...]

    @property
    def ok(self) -> bool:
        """Every query is unsatisfiable."""
        return set(self.answers) == {"unsat"}


@dataclass(frozen=True, slots=True)
class Recheck:
    """What became of a certificate. `fields` are those at its head; `faults` say, in sentences, what is wrong."""

    fields: dict[str, str]
    runs: tuple[SolverRun, ...]
    faults: tuple[str, ...]

    @property
    def ok(self) -> bool:
        """The certificate stands: at least one solver ran, all that ran agree, and nothing is at fault."""
        return bool(self.runs) and not self.faults


def write_certificate(
    problem: Problem,
    invariant: tuple[Clause, ...],
    excluded: Excluded = Excluded.BAD,
    lemmas: tuple[Lemma, ...] = (),
) -> Written:
    """Write an engine's invariant down, made small first. CrossCheckError when it is no invariant.

    `excluded` says what the invariant keeps out: the claim's bad, or the condition of a claim found to be empty.
    `lemmas` are those the problem was refined with, in their order.
    """
    clauses = minimised(problem, invariant, goal_of(problem, excluded))
    return Written(_text(problem, clauses, excluded, lemmas), readings(problem, clauses))


def _text(problem: Problem, clauses: tuple[Clause, ...], excluded: Excluded, lemmas: tuple[Lemma, ...]) -> str:
    return write(problem, clauses, excluded, len(lemmas)) + write_lemmas(problem.layout, lemmas)


def recheck(text: str, file: str = "<certificate>") -> Recheck:
    """Check a certificate on its own. BadCertificateError when the text has not the shape of one.

    The text is taken at its word about the arrangement it belongs to; `recheck_against` is not.
    """
    return _asked(read(text, file), text, file)


def recheck_against(
    text: str,
    arrangement: Arrangement,
    claim: Property,
    file: str = "<certificate>",
    *,
    silent: frozenset[str] = frozenset(),
) -> Recheck:
    """Check a certificate, and that it is about this arrangement as it stands now and about this claim.

    `silent` are the parts that are known to fall silent with the hands off and the tanks held.
    """
    certificate = read(text, file)
    faults = _strangeness(certificate, arrangement, claim, silent)
    return Recheck(certificate.fields, (), tuple(faults)) if faults else _asked(certificate, text, file)


# ----------------------------------------------------------------------------------------------------- the solvers


def _asked(certificate: Certificate, text: str, file: str) -> Recheck:
    solvers: list[tuple[str, Callable[[], str], Callable[[str], tuple[str, ...]]]] = [
        (z3_solver.NAME, z3_solver.version, z3_solver.answers)
    ]
    if cvc5_solver.installed():
        solvers.append((cvc5_solver.NAME, cvc5_solver.version, cvc5_solver.answers))
    runs: list[SolverRun] = []
    for name, version, answers in solvers:
        try:
            runs.append(SolverRun(name, version(), answers(text)))
        except SolverRefusesError as error:
            message = f"{name} does not read it: {' '.join(str(error).split())}"
            raise BadCertificateError(1, message, file) from error
    if any({"sat", "unsat"} <= set(given) for given in zip(*(run.answers for run in runs), strict=False)):
        message = f"the solvers disagree about {file}: {', '.join(f'{r.solver} says {r.answers}' for r in runs)}"
        raise CrossCheckError(message)
    faults = [f"{run.solver}: {fault}" for run in runs for fault in _answer_faults(run, len(certificate.lemmas))]
    return Recheck(certificate.fields, tuple(runs), tuple(faults))


_SATISFIABLE = {
    Query.START: "some state of the start is outside the invariant",
    Query.STEP: "some step leads out of the invariant",
    Query.PROPERTY: "the invariant holds a state that it should exclude",
}


def _answer_faults(run: SolverRun, lemmas: int) -> list[str]:
    asked = len(Query) + lemmas
    if len(run.answers) != asked:
        return [f"{len(run.answers)} answers to {asked} queries"]
    faults: list[str] = []
    for query, answer in zip(Query, run.answers, strict=False):
        if answer != "unsat":
            faults.append(_SATISFIABLE[query] if answer == "sat" else f'the {query} query is answered "{answer}"')
    for order, answer in enumerate(run.answers[len(Query) :], start=1):
        if answer != "unsat":
            faults.append(f'the air accounts of lemma {order} are answered "{answer}": the lemma is not shown')
    return faults


# ------------------------------------------------------------------------------------ the arrangement and the claim


def _strangeness(
    certificate: Certificate, arrangement: Arrangement, claim: Property, silent: frozenset[str]
) -> list[str]:
    """Why the certificate is not about this arrangement and claim; nothing when it is."""
    if certificate.fields.get("sha256") != (arrangement.sha256 or "none"):
        return ["it was written for another arrangement file, or for an earlier state of this one (sha256 differs)"]
    excluded = next((e for e in Excluded if e.value == certificate.fields.get("excludes")), None)
    if excluded is None:
        return ["it does not say what it excludes"]
    if fault := _threshold_fault(certificate.thresholds, arrangement, claim):
        return [fault]
    layout = Layout(arrangement, certificate.thresholds, silent)
    stated = header(layout, claim, excluded, len(certificate.clauses), len(certificate.lemmas))
    keys = [*stated, *(key for key in certificate.fields if key not in stated)]
    differing = [key for key in keys if certificate.fields.get(key) != stated.get(key)]
    if differing:
        return [f'it is about something else: its "{key}" is not that of the claim' for key in differing]
    rule = StepRule(layout)
    problem = pose(rule, claim)
    lemmas: list[Lemma] = []
    begins = arrangement.way_to(claim.during)[0].name
    for order, written in enumerate(certificate.lemmas, start=1):
        lemma = read_lemma(layout, claim, written)
        if lemma is None:
            return [f"its lemma {order} speaks of what the arrangement does not have"]
        if lemma.start not in (None, begins):
            return [f"its lemma {order} is about runs that begin elsewhere than those of the claim"]
        problem = refine(rule, problem, lemma)
        lemmas.append(lemma)
    literal = {
        symbol.name: 2 * node for node, symbol in symbols_of(problem, Wording(layout, problem.bits), ()).bits.items()
    }
    unknown = {name for clause in certificate.clauses for name, _ in clause} - literal.keys()
    if unknown:
        return [f"its invariant mentions {min(unknown)}, which is no state of the arrangement"]
    clauses = tuple(tuple(literal[name] ^ (not holds) for name, holds in c) for c in certificate.clauses)
    return _differences(certificate, read(_text(problem, clauses, excluded, tuple(lemmas))))


def _threshold_fault(
    thresholds: dict[str, tuple[Fraction, ...]], arrangement: Arrangement, claim: Property
) -> str | None:
    """More thresholds than needed only make bands narrower, which is sound; fewer could hide what the claim compares."""
    needed = lay_out(arrangement, [claim.when, claim.then, claim.until or ALWAYS_TRUE]).thresholds
    if set(thresholds) != set(needed):
        return "its volumes are not those of the arrangement"
    for volume, marks in needed.items():
        if not set(marks) <= set(thresholds[volume]):
            return f"it leaves out a threshold of {volume}"
        if any(mark >= arrangement.highest for mark in thresholds[volume]):
            return f"it has a threshold of {volume} above the highest pressure"
    return None


def _differences(given: Certificate, written: Certificate) -> list[str]:
    if given.commands == written.commands:
        return []
    pairs = zip(given.commands, written.commands, strict=False)
    place = next((i for i, (one, other) in enumerate(pairs) if one != other), -1)
    asked = [*(f"{query} query" for query in Query), *(f"query of lemma {k + 1}" for k in range(len(given.lemmas)))]
    query = asked[given.commands[:place].count("(check-sat)") if place >= 0 else -1]
    return [f"its {query} does not say what the arrangement and the claim say"]
