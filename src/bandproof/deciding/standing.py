"""Answers the standing questions of an arrangement (`bandproof.findings.standing`).

*Does time always pass?* is answered by the static argument of `bandproof.machine.hunting`, and its queries are the proof.
*Does the air always come to rest?* is answered yes where no part is left that could move for ever; else from each start that
the claims use a run is looked for, with no mishap and then with those that the claims allow, that goes round for ever.

Limits: such a run is one of the band machine in which every move of the loop is due; no vehicle is looked for that does it. Searches end undecided
after a number of solver steps.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from bandproof.deciding.cases import Case
from bandproof.deciding.hunts import told
from bandproof.findings.standing import Answer, Question, Standing
from bandproof.machine.layout import Layout, lay_out
from bandproof.model.arrangement import Arrangement
from bandproof.terms.names import listed

if TYPE_CHECKING:
    from bandproof.engines.endless import EndlessRuns
    from bandproof.engines.silence import Quiet

#: The file of the argument that time passes, and how a silent part's proof and an endless run's story are called.
TIME_PASSES, SILENT, ENDLESS = "time-passes", "silent-", "endless-from-"


def standing(case: Case, quiet: Quiet | None = None) -> tuple[Standing, ...]:
    """The answers for one arrangement; `quiet`: what is known of its silent parts, if that has been found out already.

    CrossCheckError when two parts of this program contradict each other.
    """
    from bandproof.engines.silence import quietened  # noqa: PLC0415  (solvers, only when they are needed)

    quiet = quiet or quietened(case.layout())
    return (time_passes(case.arrangement), *_rest(case, quiet))


# ---------------------------------------------------------------------------------------------------- does time pass


def time_passes(arrangement: Arrangement) -> Standing:
    """Whether time always passes; where it does not, the parts, moves and settings, and the edit that would mend it."""
    from bandproof.certificates.time_passes import check_time_passes, write_time_passes  # noqa: PLC0415  (as above)

    written = write_time_passes(arrangement)
    check_time_passes(written)
    proofs = ((f"{TIME_PASSES}.smt2", written.text),)
    says, hint = told(arrangement)
    answer = Answer.NO if written.left else Answer.YES
    return Standing(Question.TIME_PASSES, answer, says=says, hint=hint, proofs=proofs)


# ------------------------------------------------------------------------------------------- does it come to rest


def _rest(case: Case, quiet: Quiet) -> Iterator[Standing]:
    proofs = tuple((f"{SILENT}{one.part}.smt2", one.certificate) for one in quiet.silences)
    restless = [one.part for one in quiet.layout.motion.tanks_held]
    if not restless:
        yield Standing(Question.COMES_TO_REST, Answer.YES, proofs=proofs)
        return
    from bandproof.engines.endless import EndlessRuns  # noqa: PLC0415  (as above)

    if quiet.undecided:
        says = f"the search whether {listed(quiet.undecided)} falls silent was not finished; claims take it not to"
        yield Standing(Question.COMES_TO_REST, Answer.UNDECIDED, says=says)
    arrangement = case.arrangement
    layout = Layout(arrangement, lay_out(arrangement).thresholds, quiet.layout.silent)
    runs = EndlessRuns(layout, quiet.known)
    starts = dict.fromkeys(claim.during for claim in case.properties) or [start.name for start in arrangement.starts]
    for start in starts:
        allowed = frozenset[str]().union(*(claim.mishaps for claim in case.properties if claim.during == start))
        yield _from_start(runs, start, allowed, proofs)


def _from_start(
    runs: EndlessRuns, start: str, allowed: frozenset[str], proofs: tuple[tuple[str, str], ...]
) -> Standing:
    question, maybe = Question.COMES_TO_REST, None
    for mishaps in dict.fromkeys((frozenset[str](), allowed)):
        found = runs.from_start(start, mishaps)
        if found is None:
            says = "the search for a run that goes round for ever was not finished"
            return maybe or Standing(question, Answer.UNDECIDED, start, says, proofs=proofs)
        proofs = (*proofs, *found.proofs)
        if found.story is None:
            continue
        answer = Answer.NO if found.due else Answer.UNDECIDED
        says = _goes_on(found.parts, due=found.due)
        told = Standing(question, answer, start, says, "", proofs, runs.layout, found.story, found.loop)
        if found.due:
            return told
        maybe = maybe or told
    return maybe or Standing(question, Answer.YES, start, proofs=proofs)


def _goes_on(parts: tuple[str, ...], *, due: bool) -> str:
    names = " and ".join(filter(None, (", ".join(parts[:-1]), parts[-1])))
    if due:
        return f"{names} {'go' if len(parts) > 1 else 'goes'} on for ever"
    return f"{names} could go on for ever so far as the bands tell, but not every move of the round is sure to be due"
