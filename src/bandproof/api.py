"""The facade: read arrangements and rule packs, and decide. The two shells call this and little below it.

Nothing here prints or exits. Solvers are imported only by what needs them, when it is called.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import TYPE_CHECKING, Any

from bandproof.deciding.cases import Case, Observer, RequestError, SilenceObserver
from bandproof.deciding.one import Decider
from bandproof.findings.finding import Finding
from bandproof.findings.limits import Limits
from bandproof.findings.outcome import Outcome, outcome, together
from bandproof.model.schema import arrangement_schema
from bandproof.properties.schema import pack_schema, script_schema
from bandproof.terms.names import closest, listed

if TYPE_CHECKING:
    from bandproof.engines.silence import Quiet


def _story_schema() -> dict[str, Any]:
    from bandproof.findings.story_file import story_schema  # noqa: PLC0415  (only when asked for: it brings the simulator)

    return story_schema()


#: The kinds of file that have a published JSON Schema; a further one needs a line here and no other.
SCHEMAS: dict[str, Callable[[], dict[str, Any]]] = {
    "arrangement": arrangement_schema,
    "pack": pack_schema,
    "script": script_schema,
    "story": _story_schema,
}


# --------------------------------------------------------------------------------------------------------- deciding


def prove(
    cases: Sequence[Case],
    *,
    only: Sequence[str] = (),
    limits: Limits | None = None,
    processes: int = 0,
    observer: Observer | None = None,
    silent: SilenceObserver | None = None,
) -> tuple[tuple[Finding, ...], ...]:
    """The findings of each case, in the order of its claims; of the properties `only` if any are named.

    With `processes` above 0 that many worker processes decide, and `limits` hold against anything; with 0 this process
    does. `silent` is told of each case what falls silent in it. RequestError when no case has a property named in `only`. CrossCheckError, and no further finding, when two parts
    of this program contradict each other.
    """
    wanted = [select(case, only) for case in cases]
    if only and not any(wanted):
        known = dict.fromkeys(claim.id for case in cases for claim in case.claims)
        near = [f'did you mean "{like}"?' for name in only if (like := closest(name, known))]
        message = f"no such property: {listed(only)}; {' '.join(near) or f'there are {listed(known)}'}"
        raise RequestError(message)
    found: list[dict[int, Finding]] = [{} for _ in cases]

    def keep(case: int, claim: int, finding: Finding) -> None:
        found[case][claim] = finding
        if observer is not None:
            observer(case, claim, finding)

    def quiet(case: int, falls_silent: Quiet) -> None:
        if silent is not None:
            silent(case, falls_silent)

    if processes > 0:
        from bandproof.deciding.many import decide_all  # noqa: PLC0415  (worker processes are not for every caller)

        decide_all(cases, wanted, limits or Limits(), processes, keep, silent=quiet)
    else:
        for number, case in enumerate(cases):
            decider = Decider(case) if wanted[number] else None
            if decider is not None:
                quiet(number, decider.quiet)
            for claim in wanted[number]:
                if decider is not None:
                    keep(number, claim, decider.decide(case.claims[claim], limits))
    return tuple(tuple(one[number] for number in sorted(one)) for one in found)


def select(case: Case, only: Sequence[str] = ()) -> tuple[int, ...]:
    """The numbers of a case's claims, or of those among them that are named in `only`."""
    return tuple(number for number, claim in enumerate(case.claims) if not only or claim.id in only)


def overall(answers: Iterable[tuple[Case, Iterable[Finding]]]) -> Outcome:
    """The findings of several cases in one word, against what their rule packs expect.

    FAILS if any is refuted that should not be; else STANDS if any is proven that should not be; else OPEN if any is
    undecided or empty that should not be, or if nothing applies to one of the cases; else AS_EXPECTED.
    """
    came = [[outcome(one.verdict, case.expects(one.property)) for one in findings] for case, findings in answers]
    return together(together(one) for one in came if one)
