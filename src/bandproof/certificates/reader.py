"""Reads a certificate back and checks its shape, before any solver sees it.

Only the few SMT-LIB commands of the format are let through, and the parts that make the three queries mean what they
claim - what is asserted, what the invariant is made of, that the clauses after a step say of the bits after it what
the clauses before say of the bits before - are compared with the one form they can have. What the shape leaves free is
what the gates say; that is the arrangement's, and is compared by `bandproof.certificates.checks` with the arrangement itself.

Kept by hand: what accepts proofs must be short enough to be read in full, and a reader of all of SMT-LIB lets too much through.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from bandproof.certificates.smtlib import ASSERTED, FORMAT, INPUT, Query
from bandproof.encoding.smt_gates import after_symbol
from bandproof.solvers.smt_terms import Bool, BoolSymbol, Negation, conjunction, disjunction, text
from bandproof.text.errors import FileError

#: A term as read: a symbol, or a list of terms.
SExpression = str | list["SExpression"]

#: A literal of a clause: the symbol of a state bit, and whether it holds.
Signed = tuple[str, bool]

#: Longer texts are refused unread; the largest shipped arrangement needs a hundredth of this.
_LONGEST = 64_000_000

_DEEPEST = 64
_TOKEN = re.compile(r"[()]|\|[^|\\]*\||;[^\n]*|[^\s()|;\"]+|\s+")
_FIELD = re.compile(r"; ([a-z0-9]+): ?(.*)")
_LANDMARK = re.compile(r"[^,\[\]]+ \[(\d+(?:/[1-9]\d*)?)\]")
#: Variables have a blank in their names, so that none can be mistaken for a gate, a clause or a constant.
_VARIABLE = re.compile(r"\|[^|\n]* [^|\n]*\|")
_GATE = re.compile(r"g[1-9]\d*")
_COUNT = re.compile(r"\d{1,6}")


class BadCertificateError(FileError, ValueError):
    """Text that is no certificate: what is wrong, and on which line (from 1) of which file."""

    def __init__(self, line: int, message: str, file: str = "<certificate>") -> None:
        self.file = file
        self.line = line
        self.message = message
        super().__init__(message)

    def __str__(self) -> str:
        return (
            f"{self.file}, line {self.line}: this is no certificate: {self.message}.\n"
            "Take it again as it was written, or prove the property anew."
        )


@dataclass(frozen=True, slots=True)
class WrittenLemma:
    """A lemma as it is written down: where it begins, and for each place the list of its atoms, not yet understood."""

    begins: str
    places: tuple[list[object], ...]


@dataclass(frozen=True, slots=True)
class Certificate:
    """What a certificate's text says; `queries` is how many questions it asks."""

    fields: dict[str, str]
    thresholds: dict[str, tuple[Fraction, ...]]
    lemmas: tuple[WrittenLemma, ...]
    clauses: tuple[tuple[Signed, ...], ...]
    queries: int


def read(text: str, file: str = "<certificate>") -> Certificate:
    """Read a certificate; BadCertificateError, with the file's name, when it has not the shape of one."""
    try:
        return _read(text)
    except BadCertificateError as error:
        raise BadCertificateError(error.line, error.message, file) from None


def _read(text: str) -> Certificate:
    if len(text) > _LONGEST:
        raise BadCertificateError(1, "the text is too long for a certificate")
    if not text.isascii():
        raise BadCertificateError(1, "a certificate is plain ASCII text")
    text = text.replace("\r\n", "\n")
    comments = _Comments(text)
    if comments.fields.get("format") != FORMAT:
        raise BadCertificateError(1, f'the first line should be "; format: {FORMAT}"')
    sections, accounts = _sections(text, len(comments.lemmas), _circles(comments.fields))
    checked = [_Section(query, commands) for query, commands in zip(Query, sections, strict=True)]
    for section in checked[1:]:
        if section.clauses != checked[0].clauses:
            raise BadCertificateError(section.line, f"the {section.query} query has another invariant than the first")
    for commands in accounts:
        check_numbers(commands)
    counted = (str(len(checked[0].clauses)), str(len(comments.lemmas)), str(len(sections) + len(accounts)))
    if tuple(comments.fields.get(key) for key in ("clauses", "lemmas", "queries")) != counted:
        raise BadCertificateError(1, "the numbers of clauses, lemmas and queries are not those stated")
    lemmas = tuple(WrittenLemma(begins, tuple(places)) for begins, places in comments.lemmas)
    return Certificate(comments.fields, comments.thresholds, lemmas, checked[0].clauses, len(sections) + len(accounts))


def _circles(fields: dict[str, str]) -> int:
    stated = fields.get("circles", "")
    if not _COUNT.fullmatch(stated):
        raise BadCertificateError(1, "it does not say how many circles of moves it throws out")
    return int(stated)


def read_argument(text: str, form: str, file: str = "<argument>") -> tuple[dict[str, str], int]:
    """The head of an argument that time passes, and how many queries it has; BadCertificateError when it is none."""
    try:
        return _read_argument(text, form)
    except BadCertificateError as error:
        raise BadCertificateError(error.line, error.message, file) from None


def _read_argument(text: str, form: str) -> tuple[dict[str, str], int]:
    if len(text) > _LONGEST or not text.isascii():
        raise BadCertificateError(1, "an argument is plain ASCII text, and shorter")
    fields = _Comments(text).fields
    before, *sections = between_resets(text)
    for commands in sections:
        check_numbers(commands)
    if fields.get("format") != form or before or fields.get("queries") != str(len(sections)):
        raise BadCertificateError(1, "its format or the number of its queries is not as stated")
    return fields, len(sections)


# -------------------------------------------------------------------------------------------------------- comments


class _Comments:
    """What the comments say to a program."""

    def __init__(self, text: str) -> None:
        self.fields: dict[str, str] = {}
        self.thresholds: dict[str, tuple[Fraction, ...]] = {}
        self.lemmas: list[tuple[str, list[list[object]]]] = []
        self._volumes: list[str] = []
        for number, line in enumerate(text.split("\n"), start=1):
            found = _FIELD.fullmatch(line)
            if found is not None:
                self._take(found[1], found[2], number)

    def _take(self, key: str, value: str, line: int) -> None:
        match key:
            case "at":
                self._volumes = [name.partition(" ")[2] for name in value.split(", ")]
            case "thresholds":
                self.thresholds.update(dict.fromkeys(self._volumes, _marks(value, line)))
            case "lemma":
                if value != str(len(self.lemmas) + 1):
                    raise BadCertificateError(line, "the lemmas are not numbered in order")
                self.lemmas.append(("", []))
            case "begins" if self.lemmas and not self.lemmas[-1][0]:
                self.lemmas[-1] = (value, self.lemmas[-1][1])
            case "atoms" if self.lemmas:
                self.lemmas[-1][1].append(_parsed_list(value, line))
            case _:
                if key in self.fields:
                    raise BadCertificateError(line, f'the field "{key}" is given twice')
                self.fields[key] = value


def _parsed_list(text: str, line: int) -> list[object]:
    try:
        value = json.loads(text)
    except (ValueError, RecursionError):
        value = None
    if not isinstance(value, list):
        raise BadCertificateError(line, "the atoms of a place are not a list")
    return value


def _marks(text: str, line: int) -> tuple[Fraction, ...]:
    if text == "none":
        return ()
    found = [_LANDMARK.fullmatch(item) for item in text.split(", ")]
    marks = tuple(Fraction(item[1]) for item in found if item is not None)
    if len(marks) != len(found) or list(marks) != sorted(set(marks)) or marks[0] <= 0:
        raise BadCertificateError(line, "the thresholds are not pressures in ascending order")
    return marks


# ----------------------------------------------------------------------------------------------------- expressions


def _terms(text: str) -> Iterator[tuple[int, SExpression]]:
    """Every command with the line it starts on."""
    stack: list[list[SExpression]] = []
    place, line, started = 0, 1, 1
    for found in _TOKEN.finditer(text):
        if found.start() != place:
            break
        piece = found[0]
        place = found.end()
        if piece == "(":
            if len(stack) == _DEEPEST:
                raise BadCertificateError(line, "the brackets are nested too deeply")
            started = line if not stack else started
            stack.append([])
        elif piece == ")":
            if not stack:
                raise BadCertificateError(line, "a bracket is closed that was never opened")
            done = stack.pop()
            if stack:
                stack[-1].append(done)
            else:
                yield started, done
        elif piece.isspace() or piece[0] == ";":
            line += piece.count("\n")
        elif stack:
            stack[-1].append(piece)
            line += piece.count("\n") if "|" in piece else 0
        else:
            raise BadCertificateError(line, "there is something outside all brackets")
    if place < len(text):
        raise BadCertificateError(line, "there is something here that no certificate holds")
    if stack:
        raise BadCertificateError(line, "the text ends in the middle of a command")


def _written(term: SExpression) -> str:
    return term if isinstance(term, str) else f"({' '.join(map(_written, term))})"


#: The commands between two `(reset)`, each with its line.
_Commands = list[tuple[int, list[SExpression]]]


def _sections(text: str, lemmas: int, circles: int) -> tuple[list[_Commands], list[_Commands]]:
    """The commands of the queries about the invariant, and of those about lemmas and circles."""
    sections = between_resets(text)
    count = len(Query)
    if len(sections) != count + lemmas + circles:
        message = (
            f"there should be {count} queries and one for each of {lemmas} lemmas and {circles} circles, "
            f"and there are {len(sections)}"
        )
        raise BadCertificateError(text.count("\n") + 1, message)
    return sections[:count], sections[count:]


def between_resets(text: str) -> list[_Commands]:
    """The commands before, between and after the places where all is forgotten; BadCertificateError when they cannot be read."""
    sections: list[_Commands] = [[]]
    for line, term in _terms(text):
        assert isinstance(term, list)
        if term == ["reset"]:
            sections.append([])
        else:
            sections[-1].append((line, term))
    return sections


def check_numbers(commands: _Commands) -> None:
    """The query of a lemma or a circle declares numbers and asserts things about them, and then asks; nothing else.

    BadCertificateError where it does more.
    """
    last = len(commands) - 1
    for place, (line, command) in enumerate(commands):
        match command:
            case ["set-logic", "QF_LRA"] if place == 0:
                pass
            case ["declare-const", str(name), "Real" | "Bool"] if 0 < place < last and _VARIABLE.fullmatch(name):
                pass
            case ["assert", _] if 0 < place < last:
                pass
            case ["check-sat"] if place == last > 0:
                pass
            case _:
                raise BadCertificateError(
                    line, f"this command does not belong to a lemma or circle: {_written(command)[:60]}"
                )
    if not commands:
        raise BadCertificateError(1, "a lemma or circle asks nothing")


# --------------------------------------------------------------------------------------------------------- queries


class _Section:
    """One query, its shape checked command by command."""

    def __init__(self, query: Query, commands: _Commands) -> None:
        self.query = query
        self.line = commands[0][0] if commands else 1
        self._declared: set[str] = set()
        self._defined: dict[str, SExpression] = {}
        asserted: list[str] = []
        ended = False
        for place, (line, command) in enumerate(commands):
            self.line = line
            match command:
                case ["set-logic", "QF_UF"] if place == 0:
                    pass
                case ["declare-const", str(name), "Bool"] if place and not self._defined and _VARIABLE.fullmatch(name):
                    self._new(name)
                    self._declared.add(name)
                case ["define-fun", str(name), [], "Bool", term] if place and not asserted:
                    self._check_term(term)
                    self._new(name)
                    self._defined[name] = term
                case ["assert", term] if not ended:
                    asserted.append(_written(term))
                case ["check-sat"] if not ended:
                    ended = True
                case _:
                    self._fail(f"this command does not belong here: {_written(command)[:60]}")
        if not ended or tuple(asserted) != ASSERTED[query]:
            self._fail(f"the {query} query should assert {' and '.join(ASSERTED[query])}, and then ask")
        self.clauses = self._clauses()
        self._check_rest()

    def _fail(self, message: str) -> None:
        raise BadCertificateError(self.line, message)

    def _new(self, name: str) -> None:
        if name in self._declared or name in self._defined or f"|{name}|" in self._declared:
            self._fail(f"{name} is introduced twice")

    def _check_term(self, term: SExpression) -> None:
        """Only known symbols under `and`, `or` and `not`."""
        if isinstance(term, str):
            if term not in self._declared and term not in self._defined and term not in ("true", "false"):
                self._fail(f"{term} is used before it is introduced")
            return
        operator, operands = (term[0], term[1:]) if term else (None, [])
        if operator not in ("and", "or", "not") or not operands or (operator == "not" and len(operands) > 1):
            self._fail("a term is made of and, or and not only")
        for operand in operands:
            self._check_term(operand)

    def _clauses(self) -> tuple[tuple[Signed, ...], ...]:
        found: list[tuple[Signed, ...]] = []
        while (term := self._defined.get(f"c{len(found) + 1}")) is not None:
            items = term[1:] if isinstance(term, list) and term[0] == "or" else [] if term == "false" else [term]
            found.append(tuple(map(self._literal, items)))
        return tuple(found)

    def _literal(self, term: SExpression) -> Signed:
        match term:
            case str(name) if name in self._declared and not name.startswith(INPUT):
                return name, True
            case ["not", str(name)] if name in self._declared and not name.startswith(INPUT):
                return name, False
        raise BadCertificateError(self.line, "a clause is made of declared state variables and their negations only")

    def _check_rest(self) -> None:
        """Everything that is not a gate is there, and is what the clauses make it."""
        numbers = range(1, len(self.clauses) + 1)
        expected: dict[str, Bool] = {"invariant": conjunction(BoolSymbol(f"c{k}") for k in numbers)}
        free = {"start"} if self.query is Query.START else {"excluded"}
        if self.query is Query.STEP:
            mentioned = {name for clause in self.clauses for name, _ in clause}
            free = {after_symbol(name) for name in mentioned}
            expected["invariant-after"] = conjunction(BoolSymbol(f"n{k}") for k in numbers)
            for k, clause in enumerate(self.clauses, start=1):
                after = [(BoolSymbol(after_symbol(name)), holds) for name, holds in clause]
                expected[f"n{k}"] = disjunction(symbol if holds else Negation(symbol) for symbol, holds in after)
        for name, term in expected.items():
            if _written(self._defined.get(name, "")) != text(term):
                self._fail(f"in the {self.query} query, {name} should be {text(term)[:60]}")
        if missing := free - self._defined.keys():
            self._fail(f"the {self.query} query does not define {min(missing)}")
        known = {*expected, *free, *(f"c{k}" for k in numbers)}
        for name in self._defined:
            if name not in known and not _GATE.fullmatch(name):
                self._fail(f"the {self.query} query defines {name}, which has no place there")
