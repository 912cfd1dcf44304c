"""What forgers have to work with: small arrangements of which a claim is false, and texts made with the format known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import NamedTuple

import pytest

from bandproof.certificates import comparing, lemma_text
from bandproof.certificates.checks import write_certificate
from bandproof.encoding.problem import Problem
from bandproof.encoding.system import StepRule, pose
from bandproof.engines.run import search
from bandproof.lemmas.lemma import Lemma, refine
from bandproof.machine.layout import Layout
from bandproof.model.arrangement import (
    ATMOSPHERE,
    SOURCE,
    Arrangement,
    Control,
    Mishap,
    Move,
    Part,
    Passage,
    Range,
    Start,
    Volume,
    VolumeKind,
)
from bandproof.model.conditions import AllOf, InPosition, Not
from bandproof.properties.claim import Pace, Property, Shape
from tests.certificates.samples import EMPTY, KPA, at_least
from tests.strategies import layout_for

#: Takes one check out of the checker.
Blinded = Callable[[pytest.MonkeyPatch], None]


class Forgery(NamedTuple):
    """A certificate that should not stand, and the one check that says so."""

    name: str
    make: Callable[[], str]
    check: str
    bench: Bench | None = None


@dataclass(frozen=True, slots=True)
class Bench:
    """An arrangement and a claim about it, which need not be true."""

    arrangement: Arrangement
    claim: Property

    def rule(self, layout: Layout | None = None) -> StepRule:
        return StepRule(layout or layout_for(self.arrangement, self.claim))


def proven(problem: Problem, lemmas: tuple[Lemma, ...] = ()) -> str:
    """The certificate of a problem, honest or forged, that has no run to a bad."""
    found = search(problem, problem.bad, lambda: None)
    assert found.invariant is not None, "the forgery proves nothing"
    return write_certificate(problem, found.invariant, lemmas=lemmas).text


AT_REST = frozenset({"shut"})


def tapped() -> Bench:
    """A source fills a tank through a tap that a knob opens: the tank does reach 300 kPa. Another line stays empty."""
    turned = InPosition("knob", frozenset({"on"}))
    tap = Part(
        "tap",
        "tap",
        ("shut", "open"),
        (Passage(SOURCE, "tank", True, frozenset({"open"})),),
        (Move("shut", "open", turned), Move("open", "shut", Not(turned))),
    )
    drain = Part("drain", "drain", ("open",), (Passage("spare", ATMOSPHERE, False, frozenset({"open"})),))
    blind = Part("blind", "blind", ("here", "there"), (), (Move("here", "there", at_least("spare", 100)),), slow=True)
    starts = (
        Start("rest", (("tank", EMPTY), ("spare", EMPTY)), (("tap", AT_REST), ("blind", frozenset({"here"})))),
        Start("held", (("tank", EMPTY), ("spare", EMPTY)), (("tap", AT_REST),), (("knob", frozenset({"on"})),)),
        Start("full", (("tank", Range(900 * KPA, 900 * KPA)), ("spare", EMPTY)), (("tap", frozenset({"open"})),)),
    )
    arrangement = Arrangement(
        "tapped",
        "kPa",
        Fraction(101_325),
        1000 * KPA,
        (Volume("tank", VolumeKind.TANK, Range(Fraction(10), Fraction(10))), Volume("spare", VolumeKind.LINE)),
        (tap, drain, blind),
        (Control("knob", ("off", "on")),),
        (Mishap("bang"),),
        starts=starts,
        file="models/tapped.toml",
        sha256="5a" * 32,
    )
    full = AllOf((at_least("tank", 100), at_least("tank", 300)))
    return Bench(arrangement, Property("stays-low", "the tank stays low", "none", Shape.NEVER, "rest", full))


FALSE_CLAIM = tapped()

#: The same with the knob held at on from the start: the tank fills at once.
HELD = replace(FALSE_CLAIM, claim=replace(FALSE_CLAIM.claim, during="held", pace=Pace.HANDS_OFF))


def literal(problem: Problem, subject: str, value: object = None) -> int:
    """The literal of a bit, by what it is about and, where there are several, by its value."""
    return next(b.literal for b in problem.bits if b.subject == subject and value in (None, b.value))


def with_start(change: Callable[[StepRule, Problem], int]) -> Callable[[], str]:
    """A proof of the false claim from another start."""

    def make() -> str:
        rule = FALSE_CLAIM.rule()
        problem = pose(rule, FALSE_CLAIM.claim)
        return proven(replace(problem, start=change(rule, problem)))

    return make


def with_step(subject: str, after: Callable[[Problem, int, int], int]) -> Callable[[], str]:
    """A proof of the false claim with what becomes of some bits changed; `after` has the bit and what it would become."""

    def make() -> str:
        problem = pose(FALSE_CLAIM.rule(), FALSE_CLAIM.claim)
        following = tuple(
            after(problem, bit.literal, then) if subject in ("", bit.subject) else then
            for bit, then in zip(problem.bits, problem.after, strict=True)
        )
        return proven(replace(problem, after=following, accelerated=following))

    return make


def with_bad(change: Callable[[StepRule, Problem], int]) -> Callable[[], str]:
    """A proof that something else than the claim's bad is never reached."""

    def make() -> str:
        rule = FALSE_CLAIM.rule()
        problem = pose(rule, FALSE_CLAIM.claim)
        return proven(replace(problem, bad=change(rule, problem)))

    return make


def with_lemma(lemma: Lemma, accounts: str | None = None, bench: Bench = FALSE_CLAIM) -> Callable[[], str]:
    """A proof of the false claim with a lemma; with `accounts` given, these stand where its own should."""

    def make() -> str:
        rule = bench.rule()
        problem = refine(rule, pose(rule, bench.claim), lemma)
        with pytest.MonkeyPatch.context() as patch:
            if accounts is not None:
                patch.setattr(lemma_text, "contradiction", lambda *_: accounts)
            return proven(problem, (lemma,))

    return make


def without(name: str) -> Blinded:
    """The checker with one comparison of sections left out."""
    assert name in comparing.COMPARED

    def blind(patch: pytest.MonkeyPatch) -> None:
        patch.setattr(comparing, "COMPARED", tuple(kind for kind in comparing.COMPARED if kind != name))

    return blind


def skipping(module: object, name: str, answer: object = None) -> Blinded:
    """The checker with one function always giving the same answer."""

    def blind(patch: pytest.MonkeyPatch) -> None:
        patch.setattr(module, name, lambda *_, **__: answer)

    return blind


def edited(text: str, *changes: tuple[str, str]) -> str:
    """The text with each of the changes made once."""
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text
