"""Whether a certificate is about the question it should be about: all of it is written anew, and compared.

Taken from the certificate are the clauses of its invariant, the thresholds, the places of its lemmas, and what it
says it excludes. All else - start, step, property, the air accounts of each lemma, the argument that time passes, what
stands at its head and every word beside a formula - follows from the arrangement and the claim. Only the name of the
arrangement's file is left aside: files are moved, and their text is known by its hash.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace

from bandproof.certificates.basis import Basis, Silent, basis_of
from bandproof.certificates.invariant import Clause
from bandproof.certificates.lemma_text import is_imbalance, read_imbalances, read_lemma, write_lemmas
from bandproof.certificates.reader import Certificate
from bandproof.certificates.smtlib import Excluded, symbols_of, write
from bandproof.encoding.bit_words import Wording
from bandproof.encoding.problem import Problem
from bandproof.encoding.silence import endless_claim, endless_problem, silence_problem
from bandproof.encoding.system import StepRule, pose
from bandproof.lemmas.lemma import Lemma, refine
from bandproof.machine.cutout import cut_out
from bandproof.machine.layout import Layout, grid_fault, lay_out
from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import ALWAYS_TRUE, Condition
from bandproof.properties.claim import Property

OTHER_FILE = "it was written for another arrangement file, or for an earlier state of this one (sha256 differs)"

#: What is compared, section by section.
COMPARED = ("head", "start", "step", "property", "lemma", "time passes")

_MARK = re.compile(r"; ---- (start|step|property|lemma|time passes)( \d+)?:.*")


@dataclass(frozen=True, slots=True)
class Posed:
    """The question that a certificate should be about, and what its answer rests on; without `rule` it takes no lemmas."""

    rule: StepRule | None
    problem: Problem
    basis: Basis


#: The question for a certificate, which may choose its thresholds; or what is wrong with its choice.
Poser = Callable[[Certificate], Posed | str]


def certificate_text(
    problem: Problem, clauses: tuple[Clause, ...], excluded: Excluded, lemmas: tuple[Lemma, ...], basis: Basis
) -> str:
    """The whole text of a certificate."""
    count = len(problem.layout.imbalances) + len(lemmas)
    text = write(problem, clauses, excluded, count, basis) + write_lemmas(problem.layout, lemmas)
    return text if basis.time is None else text + basis.time.section


# ---------------------------------------------------------------------------------------------------- the questions


def about_claim(arrangement: Arrangement, claim: Property, silent: tuple[Silent, ...] = ()) -> Poser:
    """Whether a claim holds of an arrangement of which the `silent` parts are known."""

    def posed(certificate: Certificate) -> Posed | str:
        if fault := grid_fault(arrangement, certificate.thresholds, _conditions(claim)):
            return fault
        layout = Layout(arrangement, certificate.thresholds, frozenset(one.part for one in silent))
        imbalances = read_imbalances(layout, certificate.lemmas)
        if imbalances is None:
            return "a lemma of it about settled states speaks of what the arrangement does not have"
        layout = replace(layout, imbalances=imbalances)
        rule = StepRule(layout)
        return Posed(rule, pose(rule, claim), basis_of(layout, silent))

    return _of_this_file(arrangement, posed)


def about_silence(arrangement: Arrangement, part: str, before: tuple[Silent, ...]) -> Poser:
    """Whether a part falls silent, those `before` it being known to."""

    def posed(_: Certificate) -> Posed | str:
        silent = frozenset(one.part for one in before)
        layout = Layout(arrangement, lay_out(arrangement).thresholds, silent)
        if part not in {one.part for one in layout.motion.tanks_held}:
            return f"{part} is not among the parts that could move for ever, those before it being silent"
        cut = cut_out(layout, part)
        return Posed(None, silence_problem(cut), Basis(before))

    return _of_this_file(arrangement, posed)


def about_rest(arrangement: Arrangement, start: str, mishaps: frozenset[str], silent: tuple[Silent, ...] = ()) -> Poser:
    """Whether no run from a start goes round for ever with the hands off."""

    def posed(_: Certificate) -> Posed | str:
        if start not in {one.name for one in arrangement.starts} or not mishaps <= {
            m.name for m in arrangement.mishaps
        }:
            return "the arrangement has no such start, or no such mishap"
        layout = Layout(arrangement, lay_out(arrangement).thresholds, frozenset(one.part for one in silent))
        problem = endless_problem(StepRule(layout), endless_claim(start, mishaps), due=False)
        return Posed(None, problem, basis_of(layout, silent))

    return _of_this_file(arrangement, posed)


def _of_this_file(arrangement: Arrangement, posed: Poser) -> Poser:
    """The question, for a certificate that was written for this text of an arrangement."""

    def checked(certificate: Certificate) -> Posed | str:
        same = certificate.fields.get("sha256") == (arrangement.sha256 or "none")
        return posed(certificate) if same else OTHER_FILE

    return checked


def _conditions(claim: Property) -> tuple[Condition, ...]:
    return claim.when, claim.then, claim.until or ALWAYS_TRUE


# ------------------------------------------------------------------------------------------------------- comparing


def strangeness(certificate: Certificate, text: str, pose_for: Poser) -> list[str]:
    """Why the certificate, whose text is given too, is not about the question; nothing when it is."""
    posed = pose_for(certificate)
    if isinstance(posed, str):
        return [posed]
    excluded = next((e for e in Excluded if e.value == certificate.fields.get("excludes")), None)
    if excluded is None:
        return ["it does not say what it excludes"]
    problem, lemmas = posed.problem, list[Lemma]()
    if posed.rule is None and (certificate.lemmas or excluded is not Excluded.BAD):
        return ["it is about what parts do for ever, and has lemmas or excludes something else"]
    for order, written in enumerate(certificate.lemmas, start=1):
        if is_imbalance(written):
            continue
        lemma = read_lemma(problem.layout, problem.claim, written)
        if lemma is None:
            return [f"its lemma {order} speaks of what the arrangement does not have"]
        if begins_elsewhere(problem, lemma):
            return [f"its lemma {order} is about runs that begin elsewhere than those of the claim"]
        assert posed.rule is not None
        problem = refine(posed.rule, problem, lemma)
        lemmas.append(lemma)
    clauses = _clauses(problem, certificate)
    if isinstance(clauses, str):
        return [f"its invariant mentions {clauses}, which is no state of the arrangement"]
    return differences(text, certificate_text(problem, clauses, excluded, tuple(lemmas), posed.basis))


def begins_elsewhere(problem: Problem, lemma: Lemma) -> bool:
    """The lemma speaks of runs from a start at which no run of the problem begins."""
    way = problem.layout.arrangement.way_to(problem.claim.during)
    return lemma.start not in (None, way[0].name)


def _clauses(problem: Problem, certificate: Certificate) -> tuple[Clause, ...] | str:
    """The clauses of the invariant as the problem's literals; or the first name among them that it does not have."""
    symbols = symbols_of(problem, Wording(problem.layout, problem.bits), ()).bits
    literal = {symbol.name: 2 * node for node, symbol in symbols.items()}
    unknown = {name for clause in certificate.clauses for name, _ in clause} - literal.keys()
    if unknown:
        return min(unknown)
    return tuple(tuple(literal[name] ^ (not holds) for name, holds in c) for c in certificate.clauses)


def differences(given: str, written: str) -> list[str]:
    """The first section in which two certificates differ."""
    one, other = _sections(given), _sections(written)
    for name in dict.fromkeys((*other, *one)):
        kind = name if name in COMPARED else name.rpartition(" ")[0]
        if kind not in COMPARED or one.get(name) == other.get(name):
            continue
        if kind == "head" and (key := _differing_field(one[name], other[name])):
            return [f'it is about something else: its "{key}" is not that of the claim']
        said = {"head": "head", "lemma": f"query of {name}", "time passes": "argument that time passes"}
        return [f"its {said.get(kind, f'{name} query')} does not say what the arrangement and the claim say"]
    return []


def unnamed(text: str) -> str:
    """A text without the name of the file that its arrangement was read from, and with lines that end alike."""
    return re.sub(r"^; file: .*\n", "", text.replace("\r\n", "\n"), count=1, flags=re.MULTILINE)


def _sections(text: str) -> dict[str, list[str]]:
    name, found = "head", dict[str, list[str]]()
    for line in unnamed(text).split("\n"):
        if mark := _MARK.fullmatch(line):
            name = mark[1] + (mark[2] or "")
        found.setdefault(name, []).append(line)
    return found


def _differing_field(one: list[str], other: list[str]) -> str | None:
    for mine, theirs in zip(one, other, strict=False):
        if mine != theirs:
            field = re.match(r"; ([a-z0-9]+): ", theirs)
            return field[1] if field and field[1] not in ("at", "thresholds") else None
    return None
