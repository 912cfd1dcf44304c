"""Certificates: proofs written down so that a sceptic can check them without this program, and the checking of them.

`write_certificate` turns an engine's invariant into SMT-LIB 2.6 text. `recheck` reads such text, makes sure that it
asks what a certificate asks, and gives it as it is to z3 and, where it is installed, to cvc5. `recheck_against` also
makes sure that the text is about one arrangement and one claim, by writing all of it anew from the arrangement, but for
the invariant and the places of lemmas, and comparing (`bandproof.certificates.comparing`).

No engine is imported here: what finds a proof must not be what accepts it. What remains to be believed is the meaning
of an arrangement, which the text states, and the solvers.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from bandproof.certificates.basis import Basis, Silent, basis_of
from bandproof.certificates.comparing import (
    OTHER_FILE,
    Poser,
    about_claim,
    certificate_text,
    strangeness,
    unnamed,
)
from bandproof.certificates.invariant import Clause, minimised
from bandproof.certificates.reader import BadCertificateError, Certificate, read, read_argument
from bandproof.certificates.smtlib import Excluded, Query, goal_of, readings
from bandproof.certificates.time_passes import FORMAT, write_time_passes
from bandproof.encoding.system import Problem
from bandproof.lemmas.lemma import Lemma
from bandproof.model.arrangement import Arrangement
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
    "recheck_posed",
    "recheck_time_passes",
    "write_certificate",
]


@dataclass(frozen=True, slots=True)
class Written:
    """A certificate: its text, and each clause of its invariant in words."""

    text: str
    readings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SolverRun:
    """One solver's answers to the queries: start, step, property, one for each lemma, and one for each circle."""

    solver: str
    version: str
    answers: tuple[str, ...]

    @property
    def ok(self) -> bool:
        """Every query is unsatisfiable."""
        return set(self.answers) <= {"unsat"}


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
    basis: Basis | None = None,
) -> Written:
    """Write an engine's invariant down, made small first. CrossCheckError when it is no invariant.

    `excluded` says what the invariant keeps out: the claim's bad, or the condition of a claim found to be empty.
    `lemmas` are those the problem was refined with, in their order. `basis` is what the proof rests on beside; when none
    is given, that time passes is argued anew, and silent parts are named without a proof.
    """
    clauses = minimised(problem, invariant, goal_of(problem, excluded))
    basis = basis_of(problem.layout) if basis is None else basis
    return Written(certificate_text(problem, clauses, excluded, lemmas, basis), readings(problem, clauses))


def recheck(text: str, file: str = "<certificate>") -> Recheck:
    """Check a certificate, or an argument that time passes, on its own. BadCertificateError when the text is neither.

    The text is taken at its word about the arrangement it belongs to; `recheck_against` is not.
    """
    if text.startswith(f"; format: {FORMAT}"):
        fields, queries = read_argument(text, FORMAT, file)
        return _asked(fields, [f"the query of circle {n + 1} is" for n in range(queries)], text, file)
    certificate = read(text, file)
    return _asked(certificate.fields, _questions(certificate), text, file)


def recheck_against(
    text: str,
    arrangement: Arrangement,
    claim: Property,
    file: str = "<certificate>",
    *,
    silent: Iterable[Silent] = (),
) -> Recheck:
    """Check a certificate, and that it is about this arrangement as it stands now and about this claim.

    `silent` are the parts that are known to fall silent with the hands off and the tanks held, with their proofs.
    """
    return recheck_posed(text, about_claim(arrangement, claim, tuple(silent)), file)


def recheck_posed(text: str, pose: Poser, file: str = "<certificate>") -> Recheck:
    """Check a certificate, and that it is about the question that `pose` asks. BadCertificateError when it is none."""
    certificate = read(text, file)
    faults = strangeness(certificate, text, pose)
    if faults:
        return Recheck(certificate.fields, (), tuple(faults))
    return _asked(certificate.fields, _questions(certificate), text, file)


def recheck_time_passes(text: str, arrangement: Arrangement, file: str = "<argument>") -> Recheck:
    """Check an argument that time passes, and that it is that of this arrangement. BadCertificateError when it is none."""
    fields, _ = read_argument(text, FORMAT, file)
    if fields.get("sha256") != (arrangement.sha256 or "none"):
        return Recheck(fields, (), (OTHER_FILE,))
    if unnamed(text) != unnamed(write_time_passes(arrangement).text):
        return Recheck(fields, (), ("its argument that time passes is not that of the arrangement",))
    return recheck(text, file)


# ----------------------------------------------------------------------------------------------------- the solvers


def _asked(fields: dict[str, str], questions: list[str], text: str, file: str) -> Recheck:
    """What the solvers answer; `questions` begin the sentences that say what an answer other than `unsat` means."""
    solvers: list[tuple[str, Callable[[], str], Callable[[str], tuple[str, ...]]]] = [
        (z3_solver.NAME, z3_solver.version, z3_solver.answers)
    ]
    if cvc5_solver.installed():
        solvers.append((cvc5_solver.NAME, cvc5_solver.version, cvc5_solver.answers))
    runs: list[SolverRun] = []
    for name, version, answers in solvers:
        try:
            runs.append(SolverRun(name, version(), answers(text) if questions else ()))
        except SolverRefusesError as error:
            message = f"{name} does not read it: {' '.join(str(error).split())}"
            raise BadCertificateError(1, message, file) from error
    if any({"sat", "unsat"} <= set(given) for given in zip(*(run.answers for run in runs), strict=False)):
        message = f"the solvers disagree about {file}: {', '.join(f'{r.solver} says {r.answers}' for r in runs)}"
        raise CrossCheckError(message)
    faults = [f"{run.solver}: {fault}" for run in runs for fault in _answer_faults(run, questions)]
    return Recheck(fields, tuple(runs), tuple(faults))


_SATISFIABLE = {
    f"the {Query.START} query is": "some state of the start is outside the invariant",
    f"the {Query.STEP} query is": "some step leads out of the invariant",
    f"the {Query.PROPERTY} query is": "the invariant holds a state that it should exclude",
}


def _questions(certificate: Certificate) -> list[str]:
    lemmas = len(certificate.lemmas)
    circles = certificate.queries - len(Query) - lemmas
    found = list(_SATISFIABLE)
    found += [f"the air accounts of lemma {order} are" for order in range(1, lemmas + 1)]
    return [*found, *(f"the query of circle {order} is" for order in range(1, circles + 1))]


def _answer_faults(run: SolverRun, questions: list[str]) -> list[str]:
    if len(run.answers) != len(questions):
        return [f"{len(run.answers)} answers to {len(questions)} queries"]
    faults: list[str] = []
    for question, answer in zip(questions, run.answers, strict=True):
        if answer == "sat" and question in _SATISFIABLE:
            faults.append(_SATISFIABLE[question])
        elif answer != "unsat":
            shown = "" if question in _SATISFIABLE else ": it is not shown"
            faults.append(f'{question} answered "{answer}"{shown}')
    return faults
