"""Cases: an arrangement and the claims made of it, read from files."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from bandproof.deciding.hunts import warn_of_hunting
from bandproof.findings.finding import Finding
from bandproof.findings.verdict import Verdict
from bandproof.machine.layout import Layout, lay_out
from bandproof.model.arrangement import Arrangement
from bandproof.model.loader import Outline, load_arrangement
from bandproof.properties.claim import NotApplicable, Property
from bandproof.properties.language import check_pack, resolve_pack
from bandproof.properties.packs import Pack, expected_verdicts, load_pack, words_of
from bandproof.terms.names import listed
from bandproof.text.errors import BandproofError, InputError
from bandproof.text.input_faults import Faults

if TYPE_CHECKING:
    from bandproof.engines.silence import Quiet

#: The folder in which the rule packs of the arrangements beside it, or below, are looked for.
PACK_FOLDER = "properties"

#: Hears of every finding as it comes: the number of the case, of the claim in it, and the finding.
Observer = Callable[[int, int, Finding], None]

#: Hears what falls silent in a case, as soon as that is known.
SilenceObserver = Callable[[int, "Quiet"], None]

_T = TypeVar("_T")


class RequestError(BandproofError):
    """Something was asked for that is not there. The text says what there is."""


@dataclass(frozen=True, slots=True)
class Case:
    """An arrangement and the claims made of it, in the order in which they are reported.

    `expected` is the verdict of every claim that the rule packs do not expect to be proven of this arrangement, by the
    claim's id. `beliefs` are the ids of claims that people take for true although they are known to fail.
    """

    arrangement: Arrangement
    claims: tuple[Property | NotApplicable, ...]
    expected: Mapping[str, Verdict] = field(default_factory=dict, hash=False)
    beliefs: frozenset[str] = frozenset()

    @property
    def properties(self) -> tuple[Property, ...]:
        """The claims that apply."""
        return tuple(claim for claim in self.claims if isinstance(claim, Property))

    def expects(self, claim: str) -> Verdict:
        """The verdict that is expected of the claim with that id."""
        return self.expected.get(claim, Verdict.PROVEN)

    def layout(self) -> Layout:
        """The grid on which all claims are decided; the same whichever of them are asked for."""
        conditions = [c for p in self.properties for c in (p.when, p.then, p.until) if c is not None]
        return lay_out(self.arrangement, conditions)


@dataclass(frozen=True, slots=True)
class Missing:
    """Roles that `claims` claims of one rule pack need and the arrangement does not have."""

    file: str
    pack: str
    roles: tuple[str, ...]
    claims: int

    def __str__(self) -> str:
        """One sentence for the end of a run."""
        one = self.claims == 1
        what = f"{self.claims} {'claim' if one else 'claims'} of {self.pack} {'does' if one else 'do'} not apply"
        return f"{self.file} has no role {listed(self.roles)}: {what}"


def missing_roles(case: Case) -> tuple[Missing, ...]:
    """What the arrangement lacks for claims to apply, pack by pack, roles in the order in which claims mention them."""
    lacking: dict[str, list[NotApplicable]] = {}
    for claim in case.claims:
        if isinstance(claim, NotApplicable) and claim.roles:
            lacking.setdefault(claim.pack, []).append(claim)
    return tuple(
        Missing(case.arrangement.file, pack, tuple(dict.fromkeys(r for c in claims for r in c.roles)), len(claims))
        for pack, claims in lacking.items()
    )


def find_packs(model: Path) -> tuple[Path, ...]:
    """The rule packs of an arrangement file: all in the nearest folder `properties`, beside the file or above it."""
    here = Path.cwd()
    for folder in model.resolve().parents:
        packs = sorted((folder / PACK_FOLDER).glob("*.toml"))
        if packs:
            return tuple(pack.relative_to(here) if pack.is_relative_to(here) else pack for pack in packs)
    return ()


def load_cases(
    models: Sequence[Path], packs: Sequence[Path] | None = None, faults: Faults | None = None
) -> tuple[Case, ...]:
    """Each arrangement with the claims of its rule packs, those of `find_packs` when none are given.

    InputError with every fault found in all the files; RequestError when an arrangement has no pack. Warnings are left
    in `faults`, if given.
    """
    faults = Faults() if faults is None else faults
    read: dict[Path, Pack | None] = {}
    cases = []
    bare = []
    for model in models:
        faults.meet(model.as_posix())
        chosen = find_packs(model) if packs is None else tuple(packs)
        for path in chosen:
            if path not in read:
                read[path] = _noting(faults, partial(load_pack, path))
        good = [pack for path in chosen if (pack := read[path]) is not None]
        _check_ids(good, faults)
        words = frozenset[str]().union(*(words_of(pack) for pack in good))
        outlines: list[Outline] = []
        load = partial(load_arrangement, model, faults, mentioned=words, outlined=outlines.append)
        arrangement = _noting(faults, load)
        for outline in outlines:
            for pack in good:
                check_pack(pack, outline, faults)
        if arrangement is None:
            continue
        warn_of_hunting(arrangement, faults)
        bare += [] if chosen else [model.as_posix()]
        claims = [_noting(faults, partial(resolve_pack, pack, arrangement)) or () for pack in good]
        cases.append(Case(arrangement, tuple(chain(*claims)), _expected(good, model), _beliefs(good)))
    faults.stop_if_any()
    if bare:
        have = f"{listed(bare)} {'has' if len(bare) == 1 else 'have'} no rule pack"
        message = f'{have}: no folder "{PACK_FOLDER}" beside {"it" if len(bare) == 1 else "them"} or above holds one'
        raise RequestError(message)
    return tuple(cases)


def _expected(packs: Iterable[Pack], model: Path) -> dict[str, Verdict]:
    return {claim: Verdict(word) for pack in packs for claim, word in expected_verdicts(pack, model).items()}


def _beliefs(packs: Iterable[Pack]) -> frozenset[str]:
    return frozenset(claim.id for pack in packs for claim in pack.claims if claim.belief)


def load_alone(model: Path, faults: Faults) -> Arrangement:
    """An arrangement without claims; InputError with every fault found. Warnings are left in `faults`.

    Its rule packs only say which names are in use; what is wrong with them does not matter here.
    """
    good = [pack for path in find_packs(model) if (pack := _noting(Faults(), partial(load_pack, path))) is not None]
    arrangement = load_arrangement(model, faults, mentioned=frozenset[str]().union(*(words_of(pack) for pack in good)))
    warn_of_hunting(arrangement, faults)
    faults.stop_if_any()
    return arrangement


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
                faults.add("duplicate-property-id", claim.place / "id", message, hint="give every property its own id")
