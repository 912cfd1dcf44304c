"""The static argument that time always passes, as SMT-LIB text: one query for each circle that it throws out.

The argument is that of `bandproof.machine.hunting`: parts that move for ever at one and the same pressures run circles of
their own moves. All circles that can be run with all parts moving are kept, then those that can be run with only the
parts moving that have such a circle, and so on until none is lost. Each query says that the guards of one
circle that was thrown out can all hold: with one pressure for each volume, one number for each setting of a part, one
position for each control and one answer for each mishap, one state for each part that stands still, and for each move a
state of its own for each part that moves. The answer to each must be "unsat".

`bandproof.machine.circles` answers the same questions without a solver; what is written here is written from the text at its
head, and the two are compared wherever an arrangement is proved.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from bandproof.encoding.bit_words import condition_words
from bandproof.machine.circles import Circle, Surroundings
from bandproof.machine.hunting import Stage, stages
from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import (
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Happened,
    InPosition,
    InState,
    Lower,
    NotHappened,
    NotInPosition,
    NotInState,
    NotLower,
    Truth,
)
from bandproof.model.walker import Walker
from bandproof.solvers import cvc5_solver, z3_solver
from bandproof.solvers.smt_terms import (
    FALSE,
    TRUE,
    Bool,
    BoolSymbol,
    Negation,
    Number,
    Real,
    RealSymbol,
    assertion,
    at_least,
    at_most,
    conjunction,
    declaration,
    disjunction,
    over,
)
from bandproof.text.errors import CrossCheckError

#: The version of the format.
FORMAT = "bandproof-time-passes/1"


#: The line before the argument in a certificate of a claim.
SECTION = "; ---- time passes: the guards of a circle of moves that is thrown out, all of which hold"


@dataclass(frozen=True, slots=True)
class TimePasses:
    """The argument as text, and how many circles are left that can be run: none, where time always passes.

    `section` is what a certificate of a claim carries of it, with `asked` queries.
    """

    text: str
    left: int
    section: str
    asked: int


def write_time_passes(arrangement: Arrangement) -> TimePasses:
    """The argument for an arrangement. The text states each stage of the fixed point, and a query for each circle dropped."""
    found = list(stages(arrangement))
    left = len(found[-1].left)
    asked = sum(len(stage.dropped) for stage in found)
    argued = "\n".join([*_HOW_TO_READ, *_argued(arrangement, found)]) + "\n"
    head = "\n".join(_head(arrangement, asked, left)) + "\n"
    return TimePasses(head + argued, left, f"\n{SECTION}\n{argued}", asked)


def _argued(arrangement: Arrangement, found: list[Stage]) -> list[str]:
    left, lines = found[-1].left, list[str]()
    for number, stage in enumerate(found, start=1):
        moving = ", ".join(sorted(stage.around.moving)) or "none"
        lines += [
            "",
            f"; ==== stage {number}: parts that may move: {moving}",
            f"; circles thrown out: {len(stage.dropped)}",
        ]
        for circle in stage.dropped:
            lines += ["", *_told(circle, arrangement.unit), "(reset)", "(set-logic QF_LRA)"]
            lines += [*query(circle, stage.around), "(check-sat)"]
    lines += ["", f"; ==== circles that can be run: {len(left) or 'none, so time always passes'}"]
    for circle in left:
        lines += _told(circle, arrangement.unit)
    return lines


def check_time_passes(written: TimePasses, name: str = "time-passes.smt2") -> None:
    """Have the solvers answer the queries; CrossCheckError unless each says "unsat" to each."""
    asked = written.text.count("(check-sat)")
    if not asked:
        return
    runs = [(z3_solver.NAME, z3_solver.answers(written.text))]
    if cvc5_solver.installed():
        runs.append((cvc5_solver.NAME, cvc5_solver.answers(written.text)))
    for solver, answers in runs:
        if answers != ("unsat",) * asked:
            message = f"{name}: {solver} does not agree that the circles thrown out cannot be run: {', '.join(answers)}"
            raise CrossCheckError(message)


def _head(arrangement: Arrangement, queries: int, left: int) -> list[str]:
    fields = {
        "format": FORMAT,
        "arrangement": _line(arrangement.name),
        "file": _line(arrangement.file) or "none",
        "sha256": arrangement.sha256 or "none",
        "queries": str(queries),
        "circles left": str(left),
    }
    return [f"; {key}: {value}" for key, value in fields.items()]


_HOW_TO_READ = """\
;
; While a part must move, no air flows. Parts could keep that up for ever only by running circles of their own moves at
; one and the same pressures. Stage by stage, circles are thrown out whose guards cannot all hold while other parts than
; those with a circle left stand still; one query for each says so, and its answer must be "unsat". In a query each part
; that may move has a state of its own at each move of the circle; pressures, settings, controls, mishaps and all other
; parts are as they are throughout. Pressures are in pascals.""".splitlines()


def _told(circle: Circle, unit: str) -> list[str]:
    lines = [f"; circle of {_line(circle.part)}"]
    for number, move in enumerate(circle.moves, start=1):
        said = f"{move.source} to {move.target} when {condition_words(move.when, unit)}"
        lines.append(f"; move {number}: {_line(said)}")
    return lines


def query(circle: Circle, around: Surroundings) -> list[str]:
    """Commands that declare what a circle's guards and needs speak of, and assert them all."""
    names = _Names(around)
    wanted = [_Guard(names, circle.part, "", 0).walk(need) for need in circle.needs]
    wanted += [
        _Guard(names, circle.part, move.source, number).walk(move.when)
        for number, move in enumerate(circle.moves, start=1)
    ]
    lines = [declaration(symbol) for symbol in names.symbols]
    return [*lines, *(assertion(term) for term in (*names.rules, *wanted))]


@dataclass(slots=True, frozen=True)
class _Names:
    """The symbols of one query and what holds of them by what they are."""

    around: Surroundings
    symbols: dict[RealSymbol | BoolSymbol, None] = field(default_factory=dict)
    rules: list[Bool] = field(default_factory=list)

    def number(self, says: str, low: Fraction, high: Fraction) -> RealSymbol:
        """An unknown number in a closed range."""
        symbol = RealSymbol(f"|{_line(says)}|")
        if symbol not in self.symbols:
            self.symbols[symbol] = None
            self.rules.append(at_most(Number(low), symbol, Number(high)))
        return symbol

    def fact(self, says: str) -> BoolSymbol:
        """Something that is so or not."""
        symbol = BoolSymbol(f"|{_line(says)}|")
        self.symbols[symbol] = None
        return symbol

    def one_of(self, says: str, values: tuple[str, ...], wanted: frozenset[str]) -> Bool:
        """What `says` names is one of `values`, and one of those `wanted`."""
        known = [BoolSymbol(f"|{_line(f'{says} {value}')}|") for value in values]
        if known[0] not in self.symbols:
            self.symbols.update(dict.fromkeys(known))
            self.rules.append(disjunction(known))
            pairs = [(one, other) for n, one in enumerate(known) for other in known[:n]]
            self.rules.extend(disjunction([Negation(one), Negation(other)]) for one, other in pairs)
        return disjunction([symbol for symbol, value in zip(known, values, strict=True) if value in wanted])


class _Guard(Walker[Bool]):
    """The guard of one move, as a formula over the symbols of its query."""

    __slots__ = ("names", "number", "part", "source")

    def __init__(self, names: _Names, part: str, source: str, number: int) -> None:
        self.names, self.part, self.source, self.number = names, part, source, number

    def truth(self, node: Truth) -> Bool:
        return TRUE if node.value else FALSE

    def below(self, node: Below) -> Bool:
        return over(self._setting(node), self._pressure(node.volume))

    def at_least(self, node: AtLeast) -> Bool:
        return at_least(self._pressure(node.volume), self._setting(node))

    def lower(self, node: Lower) -> Bool:
        return over(self._pressure(node.other), self._pressure(node.volume))

    def not_lower(self, node: NotLower) -> Bool:
        return at_least(self._pressure(node.volume), self._pressure(node.other))

    def in_state(self, node: InState) -> Bool:
        return self._stands(node.part, node.states)

    def not_in_state(self, node: NotInState) -> Bool:
        return self._stands(node.part, frozenset(self._arrangement().part(node.part).states) - node.states)

    def in_position(self, node: InPosition) -> Bool:
        return self.names.one_of(f"{node.control} stands at", self._positions(node.control), node.positions)

    def not_in_position(self, node: NotInPosition) -> Bool:
        positions = self._positions(node.control)
        return self.names.one_of(f"{node.control} stands at", positions, frozenset(positions) - node.positions)

    def happened(self, node: Happened) -> Bool:
        return self.names.fact(f"{node.mishap} has happened")

    def not_happened(self, node: NotHappened) -> Bool:
        return Negation(self.names.fact(f"{node.mishap} has happened"))

    def all_of(self, node: AllOf) -> Bool:
        return conjunction([self.walk(item) for item in node.items])

    def any_of(self, node: AnyOf) -> Bool:
        return disjunction([self.walk(item) for item in node.items])

    def _arrangement(self) -> Arrangement:
        return self.names.around.arrangement

    def _positions(self, control: str) -> tuple[str, ...]:
        return self._arrangement().control(control).positions

    def _stands(self, part: str, states: frozenset[str]) -> Bool:
        if part == self.part:
            return TRUE if self.source in states else FALSE
        when = f" at move {self.number}" if part in self.names.around.moving else ""
        return self.names.one_of(f"{part} is{when}", self._arrangement().part(part).states, states)

    def _pressure(self, volume: str) -> Real:
        when = "" if volume in self.names.around.steady else f" at move {self.number}"
        return self.names.number(f"pressure of {volume}{when}", Fraction(0), self._arrangement().highest)

    def _setting(self, leaf: Below | AtLeast) -> Real:
        """The number compared with; one that has no name is another one each time."""
        name = leaf.setting or f"number {len(self.names.symbols)} at move {self.number}"
        return self.names.number(f"{name} in {leaf.low} to {leaf.high}", leaf.low, leaf.high)


def z3_says_it_can_be_run(circle: Circle, around: Surroundings) -> bool:
    """z3 finds that the circle can be run."""
    text = "\n".join(["(set-logic QF_LRA)", *query(circle, around), "(check-sat)"])
    return z3_solver.answers(text) == ("sat",)


def _line(text: str) -> str:
    """Text on one line of plain ASCII, fit for a comment and for a quoted symbol."""
    plain = " ".join(text.split()).encode("ascii", "backslashreplace").decode("ascii")
    return plain.replace("|", "?").replace("\\", "?")
