"""Writes a certificate: an inductive invariant as SMT-LIB 2.6 text with three queries, each to be unsatisfiable.

The text is self-contained and made to be read: every variable is named by what it says, every clause has a line of
words. Each query stands alone after a `(reset)`, so any solver that reads SMT-LIB answers the file as it is. What it
says depends on the arrangement, its thresholds, the claim and the clauses only: the order in which a circuit was built
leaves no trace, so that a checker can write the same text again and compare.

The format is stated in full here, in `bandproof.certificates.lemma_text`, and in `bandproof.certificates.reader`, which reads
it back.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum
from fractions import Fraction

from bandproof.certificates.basis import Basis, fillings_words, silent_words, start_words, window_words
from bandproof.certificates.invariant import Clause, definition_clauses
from bandproof.encoding.bit_words import Wording, claim_words, show_thresholds
from bandproof.encoding.circuit import FALSE
from bandproof.encoding.smt_gates import Gates, Symbols, after_symbol
from bandproof.encoding.system import Problem
from bandproof.machine.layout import Layout
from bandproof.machine.pace import TimingConstraint
from bandproof.model.arrangement import Volume
from bandproof.properties.claim import Property
from bandproof.solvers.smt_terms import (
    Bool,
    BoolSymbol,
    conjunction,
    declaration,
    definition,
    disjunction,
)

#: The version of the certificate format.
FORMAT = "bandproof-certificate/1"

#: How the symbol of a variable begins that is no state bit but stands for what a step could be.
INPUT = "|input "


class Excluded(StrEnum):
    """What a certificate shows to be unreachable."""

    #: The states that break the claim or, of a claim that something is reachable, that show it.
    BAD = "every state that would decide the claim the other way"
    #: The states in which a conditional claim says anything: the claim is empty.
    CONDITION = "every state in which the claim's condition holds"
    #: The states in which a run has come to the claim's start from another: the claim is empty.
    BEGINNING = "every state in which a run has come to the claim's start"


class Query(StrEnum):
    """The three queries, in the order of the file."""

    START = "start"
    STEP = "step"
    PROPERTY = "property"


_ASKS = {
    Query.START: "a state of the start that is outside the invariant",
    Query.STEP: "a state in the invariant, and a step from it that leaves the invariant",
    Query.PROPERTY: "a state in the invariant that the certificate says cannot be reached",
}


def goal_of(problem: Problem, excluded: Excluded) -> int:
    """The formula of the states a certificate excludes."""
    match excluded:
        case Excluded.BAD:
            return problem.bad
        case Excluded.CONDITION:
            return problem.applies
        case Excluded.BEGINNING:
            return problem.begun


def header(
    layout: Layout, claim: Property, excluded: Excluded, counts: tuple[int, int], basis: Basis
) -> dict[str, str]:
    """The fields at the head of a certificate; `counts`: of the clauses and of the lemmas."""
    clauses, lemmas = counts
    arrangement, circles = layout.arrangement, 0 if basis.time is None else basis.time.asked
    return {
        "format": FORMAT,
        "arrangement": _line(arrangement.name),
        "file": _line(arrangement.file) or "none",
        "sha256": arrangement.sha256 or "none",
        "property": _line(claim.id),
        "says": _line(claim.says),
        "basis": _line(claim.basis),
        "claim": _line(claim_words(claim, arrangement.unit)),
        "excludes": excluded.value,
        "start": _line(start_words(layout, claim)),
        "driver": claim.pace.value,
        "mishaps": _line(", ".join(sorted(claim.mishaps))) or "none",
        "fillings": fillings_words(claim),
        "windows": _line(window_words(layout, claim)),
        "silent": _line(silent_words(basis.silent)),
        "hunting": _line(", ".join(sorted(layout.motion.hunting.parts))) or "none",
        "clauses": str(clauses),
        "lemmas": str(lemmas),
        "circles": str(circles),
        "queries": str(len(Query) + lemmas + circles),
    }


def symbols_of(problem: Problem, wording: Wording, nodes: Iterable[int]) -> Symbols:
    """Name every state bit and every other variable among `nodes`, no name twice."""
    taken: set[str] = set()

    def fresh(says: str) -> BoolSymbol:
        plain = "".join(char if char.isascii() and char.isprintable() and char not in "|\\" else "?" for char in says)
        name, number = plain, 1
        while name in taken:
            number += 1
            name = f"{plain} ({number})"
        taken.add(name)
        return BoolSymbol(f"|{name}|")

    bits = {bit.literal >> 1: fresh(wording.says(bit.literal)) for bit in problem.bits}
    known = problem.circuit.names
    names = {node: known[node] for node in nodes if node in known and node not in bits}
    return Symbols(bits, {node: fresh(names[node]) for node in sorted(names, key=lambda node: names[node])})


def write(
    problem: Problem,
    clauses: tuple[Clause, ...],
    excluded: Excluded,
    lemmas: int = 0,
    basis: Basis = Basis(),  # noqa: B008  (frozen)
) -> str:
    """The text of the three queries, and all that goes before them; `lemmas` and `basis` say what will follow."""
    wording = Wording(problem.layout, problem.bits)
    following = _following(problem, clauses)
    nodes = problem.circuit.cone([*following.values(), problem.start, goal_of(problem, excluded)])
    symbols = symbols_of(problem, wording, nodes)
    gates = Gates(problem.circuit, symbols, nodes)
    steps = {after_symbol(symbols.bits[node].name): after for node, after in following.items()}
    fields = header(problem.layout, problem.claim, excluded, (len(clauses), lemmas), basis)
    lines = [
        *(f"; {key}: {value}" for key, value in fields.items()),
        *_HOW_TO_READ,
        *_volumes(problem.layout),
        *_watches(problem.layout),
        *(_ABOUT_ROUNDS if problem.saved != FALSE else []),
        *_readings(problem, clauses),
        *_query(Query.START, gates, symbols, clauses, {"start": problem.start}),
        *_query(Query.STEP, gates, symbols, clauses, steps),
        *_query(Query.PROPERTY, gates, symbols, clauses, {"excluded": goal_of(problem, excluded)}),
    ]
    return "\n".join(lines) + "\n"


_HOW_TO_READ = """\
;
; This file shows that the states it excludes are never reached in the arrangement as written: some set of states, the
; invariant, holds the start, is left by no step, and holds none of them. Three queries say so. Lemmas, if there are
; any, are patterns of states that no real run goes through, because air is conserved; states that are reached only by
; such runs are not counted, and one more query for each shows that its air accounts contradict each other. The queries
; after those show that moves do not go round in circles at one and the same pressures, so that time passes. The answer
; to every query must be "unsat". Run it with any solver that reads SMT-LIB 2.6; it does not depend on the program that wrote it.
; It rests on this too: parts said to be silent stop moving with the hands off and the tanks held, as the files named show;
; parts said to hunt may take any time to move where a circle of their moves can hold.
; A model is not the vehicle, and a certificate is no approval.
;""".splitlines()


def _volumes(layout: Layout) -> list[str]:
    groups: dict[tuple[Fraction, ...], list[Volume]] = {}
    for volume in layout.arrangement.volumes:
        groups.setdefault(layout.thresholds[volume.name], []).append(volume)
    lines = ["; Volumes, and the thresholds they carry; the exact value in pascals is in brackets."]
    for marks, volumes in groups.items():
        shown = [f"{text} [{mark}]" for text, mark in zip(show_thresholds(layout, volumes[0].name), marks, strict=True)]
        lines.append(f"; at: {', '.join(f'{volume.kind.value} {_line(volume.name)}' for volume in volumes)}")
        lines.append(f"; thresholds: {', '.join(shown) or 'none'}")
    return lines


def _watches(layout: Layout) -> list[str]:
    """The pace counters in words; nothing where there are none."""
    lines = [
        f"; While {_line(_due(w))} (at most {_seconds(w.longest)}), {_line(w.mover)} (at least "
        f"{_seconds(w.shortest)} for a whole band) crosses {_at_most(w.allowance)}."
        for w in layout.timing_constraints
    ]
    return [*_ABOUT_WATCHES, *lines] if lines else []


def _due(watch: TimingConstraint) -> str:
    return watch.while_due + (" to cross a threshold" if isinstance(watch.pending, str) else "")


_ABOUT_WATCHES = """\
;
; Pace. A volume is due to cross while its net flow has one sign all over its band; a part with a reaction time is due to
; move while the guard of one of its moves, and of no other, holds all over the bands. While it stays due, a volume in one
; direction and in its band, a part by one move, crossings of other volumes are counted, those that come a whole band after the one before.""".splitlines()


_ABOUT_ROUNDS = """\
;
; For ever. A run that goes on for ever comes back to a state. At some moment, chosen freely, the round begins: where the
; run is then is remembered, and what is seen from then on. Excluded is the end of a round: the run is where it began, the
; condition has held all along, nobody has acted, the claim's end has failed at some time (not asked where it is shown that
; the claim is empty), nothing was due all the time, and no air is lost for good. A round may be no step at all.""".splitlines()


def _seconds(time: Fraction) -> str:
    return f"{float(time):.3g} s"


def _at_most(bands: int) -> str:
    return f"at most {bands} whole bands" if bands > 1 else "at most one whole band" if bands else "no whole band"


def readings(problem: Problem, clauses: Iterable[Clause]) -> tuple[str, ...]:
    """Each clause in words; the ones that only say what bands and states are, are marked."""
    wording = Wording(problem.layout, problem.bits)
    given = {frozenset(clause) for clause in definition_clauses(problem)}
    return tuple(
        f"{'by definition, ' if frozenset(clause) in given else ''}{wording.never(clause)}" for clause in clauses
    )


def _readings(problem: Problem, clauses: tuple[Clause, ...]) -> list[str]:
    lines = [";", "; The invariant, in words:"]
    lines += [f"; c{k}  {_line(words)}" for k, words in enumerate(readings(problem, clauses), start=1)]
    return lines


# --------------------------------------------------------------------------------------------------- the queries


def _following(problem: Problem, clauses: tuple[Clause, ...]) -> dict[int, int]:
    """For every bit that the clauses mention, its node and its value after a step."""
    mentioned = {literal >> 1 for clause in clauses for literal in clause}
    pairs = zip(problem.bits, problem.after, strict=True)
    return {bit.literal >> 1: after for bit, after in pairs if bit.literal >> 1 in mentioned}


def _query(
    query: Query, gates: Gates, symbols: Symbols, clauses: tuple[Clause, ...], roots: dict[str, int]
) -> list[str]:
    definitions, expressions, nodes = gates.define(roots.values())
    state = nodes | {literal >> 1 for clause in clauses for literal in clause}
    lines = ["", f"; ---- {query.value}: {_ASKS[query]}"]
    lines += [] if query is Query.START else ["(reset)"]
    lines.append("(set-logic QF_UF)")
    lines += [declaration(symbol) for node, symbol in symbols.bits.items() if node in state]
    lines += [declaration(symbol) for node, symbol in symbols.inputs.items() if node in nodes]
    lines += [definition(*gate) for gate in definitions]
    lines += [definition(BoolSymbol(name), term) for name, term in zip(roots, expressions, strict=True)]
    lines += _invariant("invariant", "c", [[symbols.literal(x) for x in clause] for clause in clauses])
    if query is Query.STEP:
        lines += _invariant("invariant-after", "n", [[symbols.literal_after(x) for x in clause] for clause in clauses])
    lines += [f"(assert {term})" for term in ASSERTED[query]]
    return [*lines, "(check-sat)"]


def _invariant(name: str, letter: str, clauses: list[list[Bool]]) -> list[str]:
    """The definitions of the clauses, and of all of them together."""
    known = [BoolSymbol(f"{letter}{k}") for k in range(1, len(clauses) + 1)]
    lines = [definition(symbol, disjunction(clause)) for symbol, clause in zip(known, clauses, strict=True)]
    return [*lines, definition(BoolSymbol(name), conjunction(known))]


#: What each query asserts.
ASSERTED = {
    Query.START: ("start", "(not invariant)"),
    Query.STEP: ("invariant", "(not invariant-after)"),
    Query.PROPERTY: ("invariant", "excluded"),
}


def _line(text: str) -> str:
    """Text on one line of plain ASCII, as a comment can carry it."""
    return " ".join(text.split()).encode("ascii", "backslashreplace").decode("ascii")
