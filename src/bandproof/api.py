"""The facade: read arrangements and rule packs, and decide. The two shells call this and little below it.

Nothing here prints or exits. Solvers are imported only by what needs them, when it is called.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from bandproof.bench import Bench, Case
from bandproof.errors import BandproofError, InputError
from bandproof.faults import Faults
from bandproof.findings import Finding, Verdict
from bandproof.limits import Limits
from bandproof.model.loader import load_arrangement
from bandproof.model.schema import arrangement_schema
from bandproof.properties.language import resolve_pack
from bandproof.properties.packs import Pack, load_pack
from bandproof.properties.schema import pack_schema
from bandproof.terms.words import closest, listed

#: The folder in which the rule packs of the arrangements beside it, or below, are looked for.
PACK_FOLDER = "properties"

#: The JSON Schemas of the two kinds of file, for editors.
SCHEMAS: dict[str, Callable[[], dict[str, Any]]] = {
    "arrangement-schema": arrangement_schema,
    "pack-schema": pack_schema,
}

#: Hears of every finding as it comes: the number of the case, of the claim in it, and the finding.
Watch = Callable[[int, int, Finding], None]

_T = TypeVar("_T")


class RequestError(BandproofError):
    """Something was asked for that is not there. The text says what there is."""


# ---------------------------------------------------------------------------------------------------------- reading


def find_packs(model: Path) -> tuple[Path, ...]:
    """The rule packs of an arrangement file: all in the nearest folder `properties`, beside the file or above it."""
    here = Path.cwd()
    for folder in model.resolve().parents:
        packs = sorted((folder / PACK_FOLDER).glob("*.toml"))
        if packs:
            return tuple(pack.relative_to(here) if pack.is_relative_to(here) else pack for pack in packs)
    return ()


def load_cases(models: Sequence[Path], packs: Sequence[Path] | None = None) -> tuple[Case, ...]:
    """Each arrangement with the claims of its rule packs, those of `find_packs` when none are given.

    InputError with every fault found in all the files; RequestError when an arrangement has no pack.
    """
    faults = Faults()
    read: dict[Path, Pack | None] = {}
    cases = []
    for model in models:
        arrangement = _noting(faults, partial(load_arrangement, model))
        chosen = find_packs(model) if packs is None else tuple(packs)
        for path in chosen:
            if path not in read:
                read[path] = _noting(faults, partial(load_pack, path))
        good = [pack for path in chosen if (pack := read[path]) is not None]
        _check_ids(good, faults)
        if arrangement is None:
            continue
        if not chosen:
            faults.stop_if_any()
            message = f'{model.as_posix()} has no rule pack: no folder "{PACK_FOLDER}" beside it or above holds one'
            raise RequestError(message)
        claims = [_noting(faults, partial(resolve_pack, pack, arrangement)) or () for pack in good]
        cases.append(Case(arrangement, tuple(claim for some in claims for claim in some)))
    faults.stop_if_any()
    return tuple(cases)


def _noting(faults: Faults, read: Callable[[], _T]) -> _T | None:
    """What `read` gives, or None after noting its faults."""
    try:
        return read()
    except InputError as error:
        for diagnostic in error.diagnostics:
            faults.note(diagnostic)
        return None


def _check_ids(packs: Iterable[Pack], faults: Faults) -> None:
    """Packs used together have no id in common: findings are known by it."""
    seen: dict[str, str] = {}
    for pack in packs:
        for claim in pack.claims:
            if seen.setdefault(claim.id, pack.file) != pack.file:
                message = f'the id "{claim.id}" is used in {seen[claim.id]} too'
                faults.add(
                    "duplicate-property-id", claim.place / "id", message, hint="give every property its own id"
                )


# --------------------------------------------------------------------------------------------------------- deciding


def prove(
    cases: Sequence[Case],
    *,
    only: Sequence[str] = (),
    limits: Limits | None = None,
    processes: int = 0,
    watch: Watch | None = None,
) -> tuple[tuple[Finding, ...], ...]:
    """The findings of each case, in the order of its claims; of the properties `only` if any are named.

    With `processes` above 0 that many worker processes decide, and `limits` hold against anything; with 0 this process
    does. CrossCheckError, and no further finding, when two parts of this program contradict each other.
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
        if watch is not None:
            watch(case, claim, finding)

    if processes > 0:
        from bandproof.workers import decide_all  # noqa: PLC0415  (worker processes are not for every caller)

        decide_all(cases, wanted, limits or Limits(), processes, keep)
    else:
        for number, case in enumerate(cases):
            bench = Bench(case) if wanted[number] else None
            for claim in wanted[number]:
                if bench is not None:
                    keep(number, claim, bench.decide(case.claims[claim], limits))
    return tuple(tuple(one[number] for number in sorted(one)) for one in found)


def select(case: Case, only: Sequence[str] = ()) -> tuple[int, ...]:
    """The numbers of a case's claims, or of those among them that are named in `only`."""
    return tuple(number for number, claim in enumerate(case.claims) if not only or claim.id in only)


def overall(findings: Iterable[Finding]) -> Verdict:
    """Many findings in one word.

    REFUTED if any is; else UNDECIDED if any is undecided or empty, or if nothing is proven; else PROVEN. What is not
    applicable counts for nothing.
    """
    verdicts = {finding.verdict for finding in findings}
    if Verdict.REFUTED in verdicts:
        return Verdict.REFUTED
    if verdicts & {Verdict.UNDECIDED, Verdict.EMPTY} or Verdict.PROVEN not in verdicts:
        return Verdict.UNDECIDED
    return Verdict.PROVEN
