"""What `prove` says of one arrangement before any table: does it hold, what fails that should not, what to look at.

The text stands in lines that know how far they are set in; `bandproof.shell.screen` breaks them to the width there is.
Nothing in them hangs on colour. Every list keeps to what a person can do something about: what is proven is a number.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from bandproof.api import overall
from bandproof.deciding.saving import CERTIFICATE, GRAPH, TEXT, Shelf
from bandproof.findings.finding import Finding, Verdict
from bandproof.findings.outcome import Outcome, outcome
from bandproof.findings.reasons import Interrupted
from bandproof.views.reasons_text import reason_text

#: How many of the failures are told in full; the others have a line each.
_IN_FULL = 5

#: What a basis begins with that names no published clause.
_UNSOURCED = ("common practice", "from memory")


@dataclass(frozen=True, slots=True)
class Line:
    """A paragraph, set in by so many columns and its further lines by `hang` more; `style` is a name of colours."""

    text: str
    inset: int = 0
    hang: int = 0
    style: str = ""


class Told:
    """The findings of a shelf, sorted by what a person has to do about them."""

    def __init__(self, shelf: Shelf) -> None:
        case = shelf.case
        self.shelf = shelf
        self.finished = [one for one in shelf.ordered() if not _unfinished(one)]
        self.unfinished = len(shelf.ordered()) - len(self.finished)
        came = {one.property: outcome(one.verdict, case.expects(one.property)) for one in self.finished}
        self.fails = sorted((one for one in self.finished if came[one.property] is Outcome.FAILS), key=self._gravity)
        self.stands = [one for one in self.finished if came[one.property] is Outcome.STANDS]
        self.open = [one for one in self.finished if came[one.property] is Outcome.OPEN]
        known = [one for one in self.finished if came[one.property] is Outcome.AS_EXPECTED]
        fallen = [one for one in known if one.verdict is Verdict.REFUTED]
        self.beliefs = [one for one in fallen if one.property in case.beliefs]
        self.fallen = [one for one in fallen if one.property not in case.beliefs]
        self.left = [one for one in known if one.verdict in (Verdict.UNDECIDED, Verdict.EMPTY)]
        self.outcome = overall([(case, self.finished)])

    def _gravity(self, finding: Finding) -> tuple[bool, ...]:
        """The worst first: new before known, cautioned before not, by any hand before by quick ones, clauses first."""
        quick_only = finding.waiting is not None and finding.waiting.verdict is Verdict.PROVEN
        known = finding.property in self.shelf.case.beliefs
        return known, not finding.caution, quick_only, finding.basis.startswith(_UNSOURCED)


def _unfinished(finding: Finding) -> bool:
    return any(isinstance(reason, Interrupted) for reason in finding.reasons)


def headline(told: Told) -> Line:
    """Whether the arrangement does what is claimed of it, in one sentence."""
    match told.outcome:
        case Outcome.FAILS:
            said = f"{_claims(len(told.fails))} {'fails' if len(told.fails) == 1 else 'fail'} that should not."
            return Line(f"FAILS: {said}", style="bad")
        case Outcome.STANDS:
            said = f"{_claims(len(told.stands))} proven that the rule packs expect otherwise."
            return Line(f"NOT AS EXPECTED: {said}", style="bad")
        case _ if told.unfinished:
            return Line("NOT FINISHED: nothing has failed so far that should not.", style="open")
        case Outcome.OPEN if told.open:
            return Line(f"NOT DECIDED: {_claims(len(told.open))} without an answer.", style="open")
        case Outcome.OPEN:
            return Line("NOT DECIDED: no claim applies to this arrangement.", style="open")
        case _ if told.fallen:
            return Line("FAILS AS EXPECTED: what falls is what the rule packs say falls here.", style="open")
        case _:
            beliefs = ", but for known false beliefs" if told.beliefs else ""
            return Line(f"HOLDS: all that applies is as it should be{beliefs}.", style="good")


def _claims(count: int) -> str:
    return f"{count} {'claim' if count == 1 else 'claims'}"


def answer(shelf: Shelf) -> Iterator[Line]:
    """The whole answer about one arrangement."""
    told = Told(shelf)
    yield Line(f"{shelf.case.arrangement.name} ({shelf.case.arrangement.file})", hang=2, style="head")
    yield headline(told)
    yield from _numbers(told)
    yield from _failures(told)
    for head, findings, tell in (
        ("Proven, though the rule packs expect otherwise:", told.stands, _otherwise),
        ("Without an answer:", told.open, _why),
        ("Fails as the rule packs expect:", told.fallen, _fallen),
        ("Known false beliefs, each with its picture:", told.beliefs, _belief),
        ("Without an answer, as the rule packs expect:", told.left, _why),
    ):
        if findings:
            yield Line("")
            yield Line(head, style="head")
        for one in findings:
            yield from tell(shelf, one)


def _numbers(told: Told) -> Iterator[Line]:
    """How much was decided, and where it was put."""
    yield Line(f"{counts(told.finished)}.")
    if told.unfinished:
        yield Line(f"{_claims(told.unfinished)} not reached before the run was interrupted.")
    if any(one.verdict is not Verdict.NOT_APPLICABLE for one in told.finished):
        folder = told.shelf.folder.as_posix()
        yield Line(f"Pictures (.svg), stories (.txt) and proofs (.smt2) are in {folder}", hang=2)
        yield Line("To check one again: bandproof recheck FILE. To see the piping: bandproof draw MODEL", hang=2)


def summary(shelves: Sequence[Shelf]) -> Iterator[Line]:
    """Several arrangements in a sentence, and by name those that are not as they should be."""
    came = [Told(shelf) for shelf in shelves]
    apart = [told for told in came if told.outcome is not Outcome.AS_EXPECTED or told.unfinished]
    if not apart:
        yield Line(f"All {len(came)} arrangements come out as the rule packs expect.", style="good")
        return
    yield Line(f"{len(apart)} of {len(came)} arrangements do not come out as the rule packs expect:", style="bad")
    for told in apart:
        yield Line(f"{told.shelf.case.arrangement.file}: {headline(told).text}", 2, 2)


def counts(findings: Iterable[Finding]) -> str:
    """How many findings have each verdict."""
    verdicts = [finding.verdict for finding in findings]
    found = ", ".join(f"{verdicts.count(verdict)} {verdict}" for verdict in Verdict if verdict in verdicts)
    return f"{_claims(len(verdicts))}: {found}" if found else "nothing decided"


# ------------------------------------------------------------------------------------------------------------ lists


def _failures(told: Told) -> Iterator[Line]:
    """What fails and should not: the worst in full, the rest in a line each."""
    if told.fails:
        yield Line("")
        yield Line("Fails, and should not; the worst first:", style="head")
    for number, one in enumerate(told.fails[:_IN_FULL], start=1):
        yield Line(f"{number}. {one.property}", 1, 3, "bad")
        yield from _in_full(told.shelf, one)
    if rest := told.fails[_IN_FULL:]:
        yield Line(f"and {len(rest)} more, which --all tells in full:", 1)
        for one in rest:
            yield Line(_picture(told.shelf, one), 4)


def _in_full(shelf: Shelf, one: Finding) -> Iterator[Line]:
    yield Line(one.says, 4)
    if one.caution:
        yield Line(f"Caution: {one.caution}", 4, 2, "bad")
    if remarks := reason_text(one):
        yield Line(f"({remarks})", 4, 1)
    if one.property in shelf.case.beliefs:
        yield Line("(a belief; the rule packs name the files it is false for, and this is none of them)", 4, 1)
    yield Line(f"Look at {_picture(shelf, one)}", 4)


def _fallen(shelf: Shelf, one: Finding) -> Iterator[Line]:
    yield Line(_picture(shelf, one), 2, 2)
    yield Line(one.says, 4)
    if one.caution:
        yield Line(f"Caution: {one.caution}", 4, 2)


def _belief(shelf: Shelf, one: Finding) -> Iterator[Line]:
    """One line for each, and what to do about it where the rule pack says so."""
    yield Line(_picture(shelf, one), 2, 2)
    if one.caution:
        yield Line(one.caution, 4)


def _otherwise(shelf: Shelf, one: Finding) -> Iterator[Line]:
    yield Line(f"{one.property} (expected: {shelf.case.expects(one.property)})", 2, 2)


def _why(_: Shelf, one: Finding) -> Iterator[Line]:
    yield Line(f"{one.property}: {one.verdict}", 2, 2)
    if remarks := reason_text(one):
        yield Line(remarks, 4)


def _picture(shelf: Shelf, one: Finding) -> str:
    """The file that shows a finding: a picture, a text where there is no picture, or the proof that no run gets there."""
    for kind, more in ((GRAPH, ""), (TEXT, ""), (CERTIFICATE, ": the proof that no run gets there")):
        found = shelf.file(one, kind)
        if found is not None:
            return f"{found.name}{more}"
    return one.property
