"""Which problem is exported: the claim's plain one, or the one that its certificate is about.

A claim may hold only because lemmas exclude runs of the bands that no air could run, and on a grid that a proof has
chosen. An engine that is given less would refute what is proven. So where a certificate of the claim is at hand and
stands, its grid and its lemmas are taken over; where it does not stand, nothing of it is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from bandproof.certificates.basis import Silent
from bandproof.certificates.checks import BadCertificateError, recheck_against
from bandproof.certificates.lemma_text import is_imbalance, read_imbalances, read_lemma
from bandproof.certificates.reader import read
from bandproof.encoding.system import StepRule, pose
from bandproof.exporting.aiger import Aiger
from bandproof.exporting.question import question
from bandproof.lemmas.lemma import Lemma, refine
from bandproof.machine.layout import Layout
from bandproof.properties.claim import Property

_BANDS = (
    "a run that an engine finds in it is one of bands: it may need air that is not there, and lemmas may exclude it"
)


@dataclass(frozen=True, slots=True)
class Asked:
    """A claim's search problem as a circuit, how many lemmas are in it, and what a reader must know of it."""

    circuit: Aiger
    lemmas: int
    notes: tuple[str, ...]


def ask(layout: Layout, claim: Property, certificate: str | None, file: str, silent: tuple[Silent, ...] = ()) -> Asked:
    """The problem of a claim. `certificate` is the text in `file`, None when there is no such file.

    `silent` are the parts that the certificate names and that have been shown silent.
    """
    taken = _taken_over(layout, claim, certificate, file, silent)
    rule = StepRule(taken.layout)
    problem = pose(rule, claim)
    for lemma in taken.lemmas:
        problem = refine(rule, problem, lemma)
    about_start = tuple(_about_start(layout, claim))
    circuit = question(problem, rule.choices, taken.lemmas, about_start)
    return Asked(circuit, len(taken.lemmas), (taken.note, *about_start, _BANDS))


@dataclass(frozen=True, slots=True)
class _Taken:
    """The grid and the lemmas to use, and in a sentence where they are from."""

    layout: Layout
    lemmas: tuple[Lemma, ...]
    note: str


def _taken_over(layout: Layout, claim: Property, text: str | None, file: str, silent: tuple[Silent, ...]) -> _Taken:
    if text is None:
        return _Taken(layout, (), f"there is no certificate {file}, so no lemmas were at hand")
    try:
        checked = recheck_against(text, layout.arrangement, claim, file, silent=silent)
        certificate = read(text, file)
    except BadCertificateError as error:
        return _Taken(layout, (), f"{file} is no certificate, so no lemmas were taken from it: {error.message}")
    if not checked.ok:
        why = "; ".join(checked.faults) or "no solver answered"
        return _Taken(layout, (), f"the certificate {file} does not stand, so no lemmas were taken from it: {why}")
    grid = Layout(layout.arrangement, certificate.thresholds, frozenset(one.part for one in silent))
    grid = replace(grid, imbalances=read_imbalances(grid, certificate.lemmas) or ())
    about_runs = [written for written in certificate.lemmas if not is_imbalance(written)]
    lemmas = tuple(lemma for written in about_runs if (lemma := read_lemma(grid, claim, written)) is not None)
    count = f"{len(lemmas)} lemma{'' if len(lemmas) == 1 else 's'}" if lemmas else "thresholds, and no lemmas,"
    return _Taken(grid, lemmas, f"{count} taken from the certificate {file}, which stands")


def _about_start(layout: Layout, claim: Property) -> Iterator[str]:
    start = layout.arrangement.way_to(claim.during)[0]
    if not start.plain:
        yield (
            f'the start "{start.name}" takes in every state that meets its condition, also any that cannot come about; '
            "a run from such a state refutes nothing"
        )
