"""Writes a certificate: an inductive invariant as SMT-LIB 2.6 text with three queries, each to be unsatisfiable.

The text is self-contained and made to be read: every variable is named by what it says, every clause has a line of
words. Each query stands alone after a `(reset)`, so any solver that reads SMT-LIB answers the file as it is. What it
says depends on the arrangement, its landmarks, the claim and the clauses only: the order in which a circuit was built
leaves no trace, so that a checker can write the same text again and compare.

The format is stated in full here, in `bandproof.smt.lesson_text`, and in `bandproof.smt.certificate_text`, which reads
it back.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from bandproof.machine.layout import Layout
from bandproof.model.arrangement import Volume
from bandproof.properties.claim import Property
from bandproof.smt.circuit import Circuit
from bandproof.smt.invariant import Clause, definition_clauses
from bandproof.smt.system import Problem
from bandproof.smt.wording import Wording, claim_words, show_landmarks

#: The version of the certificate format.
FORMAT = "bandproof-certificate/1"

#: How the symbol of a variable begins that is no state bit but stands for what a step could be.
WISH = "|wish "

#: Gates used once are written in place, up to this many levels deep; deeper ones get a name of their own.
_DEEPEST = 5


class Excluded(StrEnum):
    """What a certificate shows to be unreachable."""

    #: The states that break the claim or, of a claim that something is reachable, that show it.
    HIT = "every state that would decide the claim the other way"
    #: The states in which a conditional claim says anything: the claim is empty.
    CONDITION = "every state in which the claim's condition holds"


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
    return problem.hit if excluded is Excluded.HIT else problem.applies


def header(layout: Layout, claim: Property, excluded: Excluded, clauses: int, lessons: int) -> dict[str, str]:
    """The fields at the head of a certificate."""
    arrangement = layout.arrangement
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
        "start": _line(claim.during),
        "driver": claim.pace.value,
        "mishaps": _line(", ".join(sorted(claim.mishaps))) or "none",
        "clauses": str(clauses),
        "lessons": str(lessons),
    }


@dataclass(frozen=True, slots=True)
class Symbols:
    """The SMT-LIB symbols of a problem: of its state bits, and of every other variable of its circuit."""

    bits: dict[int, str]
    wishes: dict[int, str]

    def literal(self, literal: int) -> str:
        """A state literal before a step."""
        return _signed(self.bits[literal >> 1], literal)

    def literal_after(self, literal: int) -> str:
        """A state literal after a step."""
        return _signed(after_symbol(self.bits[literal >> 1]), literal)

    def of(self, node: int) -> str:
        """Any variable."""
        return self.bits[node] if node in self.bits else self.wishes[node]


def after_symbol(symbol: str) -> str:
    """The symbol for the same fact after a step."""
    return f"|after: {symbol[1:-1]}|"


def symbols_of(problem: Problem, wording: Wording, nodes: Iterable[int]) -> Symbols:
    """Name every state bit and every other variable among `nodes`, no name twice."""
    taken: set[str] = set()

    def fresh(text: str) -> str:
        plain = "".join(char if char.isascii() and char.isprintable() and char not in "|\\" else "?" for char in text)
        name, number = plain, 1
        while name in taken:
            number += 1
            name = f"{plain} ({number})"
        taken.add(name)
        return f"|{name}|"

    bits = {bit.literal >> 1: fresh(wording.says(bit.literal)) for bit in problem.bits}
    known = problem.circuit.names
    names = {node: known[node] for node in nodes if node in known and node not in bits}
    return Symbols(bits, {node: fresh(names[node]) for node in sorted(names, key=lambda node: names[node])})


def write(problem: Problem, clauses: tuple[Clause, ...], excluded: Excluded, lessons: int = 0) -> str:
    """The text of the three queries, and all that goes before them; `lessons` is how many more queries will follow."""
    wording = Wording(problem.layout, problem.bits)
    following = _following(problem, clauses)
    nodes = problem.circuit.cone([*following.values(), problem.start, goal_of(problem, excluded)])
    symbols = symbols_of(problem, wording, nodes)
    gates = Gates(problem.circuit, symbols, nodes)
    steps = {after_symbol(symbols.bits[node]): after for node, after in following.items()}
    fields = header(problem.layout, problem.claim, excluded, len(clauses), lessons)
    lines = [
        *(f"; {key}: {value}" for key, value in fields.items()),
        *_HOW_TO_READ,
        *_volumes(problem.layout),
        *_watches(problem.layout),
        *_readings(problem, clauses),
        *_query(Query.START, gates, symbols, clauses, {"start": problem.start}),
        *_query(Query.STEP, gates, symbols, clauses, steps),
        *_query(Query.PROPERTY, gates, symbols, clauses, {"excluded": goal_of(problem, excluded)}),
    ]
    return "\n".join(lines) + "\n"


_HOW_TO_READ = """\
;
; This file shows that the states it excludes are never reached in the arrangement as written: some set of states, the
; invariant, holds the start, is left by no step, and holds none of them. Three queries say so. Lessons, if there are
; any, are patterns of states that no real run goes through, because air is conserved; states that are reached only by
; such runs are not counted, and one more query for each shows that its air accounts contradict each other. The answer
; to every query must be "unsat". Run it with any solver that reads SMT-LIB 2.6; it does not depend on the program that wrote it.
; A model is not the vehicle, and a certificate is no approval.
;""".splitlines()


def _volumes(layout: Layout) -> list[str]:
    groups: dict[tuple[Fraction, ...], list[Volume]] = {}
    for volume in layout.arrangement.volumes:
        groups.setdefault(layout.landmarks[volume.name], []).append(volume)
    lines = ["; Volumes, and the landmarks they carry; the exact value in pascals is in brackets."]
    for marks, volumes in groups.items():
        shown = [f"{text} [{mark}]" for text, mark in zip(show_landmarks(layout, volumes[0].name), marks, strict=True)]
        lines.append(f"; at: {', '.join(f'{volume.kind.value} {_line(volume.name)}' for volume in volumes)}")
        lines.append(f"; landmarks: {', '.join(shown) or 'none'}")
    return lines


def _watches(layout: Layout) -> list[str]:
    """The pace counters in words; nothing where there are none."""
    lines = [
        f"; While {_line(w.pending)} is due to cross a landmark (at most {_seconds(w.longest)}), {_line(w.mover)} (at least "
        f"{_seconds(w.shortest)} for a whole band) crosses {_at_most(w.allowance)}."
        for w in layout.watches
    ]
    return [*_ABOUT_WATCHES, *lines] if lines else []


_ABOUT_WATCHES = """\
;
; Pace. A volume is due while its net flow has one sign all over its band. While it stays due, in one direction and in
; its band, crossings of other volumes are counted, those that come a whole band after the one before.""".splitlines()


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
    lines += [f"(declare-const {name} Bool)" for node, name in symbols.bits.items() if node in state]
    lines += [f"(declare-const {name} Bool)" for node, name in symbols.wishes.items() if node in nodes]
    lines += definitions
    lines += [_define(name, text) for name, text in zip(roots, expressions, strict=True)]
    lines += [
        _define(f"c{k}", join("or", [symbols.literal(x) for x in clause])) for k, clause in enumerate(clauses, start=1)
    ]
    lines.append(_define("invariant", join("and", [f"c{k}" for k in range(1, len(clauses) + 1)])))
    if query is Query.STEP:
        lines += [
            _define(f"n{k}", join("or", [symbols.literal_after(x) for x in clause]))
            for k, clause in enumerate(clauses, start=1)
        ]
        lines.append(_define("invariant-after", join("and", [f"n{k}" for k in range(1, len(clauses) + 1)])))
    lines += [f"(assert {text})" for text in ASSERTED[query]]
    return [*lines, "(check-sat)"]


#: What each query asserts.
ASSERTED = {
    Query.START: ("start", "(not invariant)"),
    Query.STEP: ("invariant", "(not invariant-after)"),
    Query.PROPERTY: ("invariant", "excluded"),
}


def _define(name: str, text: str) -> str:
    return f"(define-fun {name} () Bool {text})"


def join(operator: str, items: list[str]) -> str:
    """`and` or `or` over any number of items."""
    if not items:
        return "true" if operator == "and" else "false"
    return items[0] if len(items) == 1 else f"({operator} {' '.join(items)})"


def _signed(text: str, literal: int) -> str:
    return f"(not {text})" if literal & 1 else text


def _line(text: str) -> str:
    """Text on one line of plain ASCII, as a comment can carry it."""
    return " ".join(text.split()).encode("ascii", "backslashreplace").decode("ascii")


class Gates:
    """The gates of a circuit as SMT-LIB terms, in an order that depends on what they say only.

    `mark` is written behind every gate's name.
    """

    def __init__(self, circuit: Circuit, symbols: Symbols, nodes: Iterable[int], *, mark: str = "") -> None:
        self._symbols = symbols
        self._mark = mark
        self._operands: dict[int, list[int]] = {}
        digest: dict[int, bytes] = {}
        for node in nodes:
            operands = circuit.operands[node]
            if operands is None:
                digest[node] = b"false" if node == 0 else symbols.of(node).encode()
                continue
            keyed = sorted((digest[x >> 1] + (b"-" if x & 1 else b"+"), x) for x in operands)
            digest[node] = hashlib.blake2b(b"\0".join(key for key, _ in keyed), digest_size=16).digest()
            self._operands[node] = [x for _, x in keyed]

    def define(self, roots: Iterable[int]) -> tuple[list[str], list[str], set[int]]:
        """Definitions of the gates that need a name, the roots as terms, and all nodes they rest on."""
        wanted = list(roots)
        order = self._order(wanted)
        uses: dict[int, int] = {}
        for node in order:
            for x in self._operands.get(node, ()):
                uses[x >> 1] = uses.get(x >> 1, 0) + 1
        for x in wanted:
            uses[x >> 1] = uses.get(x >> 1, 0) + 1
        name: dict[int, str] = {}
        height: dict[int, int] = {}
        definitions: list[str] = []
        for node in order:
            if node not in self._operands:
                continue
            inside = max(height.get(x >> 1, 0) for x in self._operands[node])
            if uses[node] > 1 or inside == _DEEPEST:
                text = self._all_of(node, name)
                name[node] = f"g{len(name) + 1}{self._mark}"
                definitions.append(_define(name[node], text))
                height[node] = 0
            else:
                height[node] = inside + 1
        return definitions, [self._term(x, name) for x in wanted], set(order)

    def _order(self, roots: list[int]) -> list[int]:
        """All nodes under the roots, operands before users, in the order a reader meets them."""
        seen: set[int] = set()
        order: list[int] = []
        stack = [(x >> 1, False) for x in reversed(roots)]
        while stack:
            node, done = stack.pop()
            if done:
                order.append(node)
            elif node not in seen:
                seen.add(node)
                stack.append((node, True))
                stack.extend((x >> 1, False) for x in reversed(self._operands.get(node, [])))
        return order

    def _term(self, literal: int, name: dict[int, str]) -> str:
        node = literal >> 1
        if node == 0:
            return "true" if literal & 1 else "false"
        if node in name:
            return _signed(name[node], literal)
        if node not in self._operands:
            return _signed(self._symbols.of(node), literal)
        if literal & 1:
            return join("or", [self._term(x ^ 1, name) for x in self._operands[node]])
        return self._all_of(node, name)

    def _all_of(self, node: int, name: dict[int, str]) -> str:
        return join("and", [self._term(x, name) for x in self._operands[node]])
