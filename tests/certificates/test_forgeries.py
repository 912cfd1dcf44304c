"""Forged certificates: each clean by itself, accepted by a checker with one check taken out, and refused."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pytest

from bandproof.certificates import comparing
from bandproof.certificates.checks import Recheck, recheck, recheck_against, write_certificate
from bandproof.encoding.circuit import FALSE
from bandproof.encoding.system import StepRule, pose
from bandproof.lemmas.cubes import Literal
from bandproof.lemmas.lemma import Lemma, contradiction
from bandproof.machine.layout import Layout
from bandproof.model.conditions import AllOf
from bandproof.properties.claim import Property, Shape
from tests.certificates.forging import (
    FALSE_CLAIM,
    HELD,
    Bench,
    Blinded,
    Forgery,
    edited,
    literal,
    proven,
    skipping,
    with_bad,
    with_lemma,
    with_start,
    with_step,
    without,
)
from tests.certificates.samples import KPA, at_least, claim, proof, two_lines
from tests.strategies import layout_for
from tests.witness.samples import cylinder

#: The checks, by name, and how each is taken out.
CHECKS: dict[str, Blinded] = {
    **{name: without(name) for name in comparing.COMPARED},
    "grid": skipping(comparing, "grid_fault"),
    "beginning": skipping(comparing, "begins_elsewhere", answer=False),
    "form": skipping(Literal, "__post_init__"),
}


ARRANGEMENT = FALSE_CLAIM.arrangement


def against(text: str, bench: Bench) -> Recheck:
    return recheck_against(text, bench.arrangement, bench.claim)


def test_the_claims_that_are_forged_are_false() -> None:
    for bench in (FALSE_CLAIM, HELD):
        with pytest.raises(AssertionError, match="proves nothing"):
            proven(pose(bench.rule(), bench.claim))


# ------------------------------------------------------------------------------------------ start, step and property


def narrowed(*subjects: str) -> Callable[[], str]:
    """From states of the start only in which these bits hold, which none does."""
    return with_start(lambda rule, p: rule.circuit.all_of([p.start, *(literal(p, name) for name in subjects)]))


STARTS = [
    Forgery("no state at all", with_start(lambda *_: FALSE), "start"),
    Forgery("the tap is open", narrowed("tap"), "start"),
    Forgery("the tank is full", narrowed("tank"), "start"),
    Forgery("the spare line is full", narrowed("spare"), "start"),
    Forgery("the mishap has happened", narrowed("bang"), "start"),
    Forgery("the blind part is there", narrowed("knob", "blind"), "start"),
]

STEPS = [
    Forgery("nothing changes", with_step("", lambda _, bit, __: bit), "step"),
    Forgery("the tank never rises", with_step("tank", lambda p, bit, then: p.circuit.both(bit, then)), "step"),
    Forgery("the tap never opens", with_step("tap", lambda p, bit, then: p.circuit.both(bit, then)), "step"),
    Forgery("the tap shuts at once", with_step("tap", lambda *_: FALSE), "step"),
    Forgery("the tank empties at once", with_step("tank", lambda *_: FALSE), "step"),
    Forgery("the knob never gets to on", with_step("knob", lambda *_: FALSE), "step"),
]


def only_with(subject: str) -> Callable[[], str]:
    """The claim is broken only where this bit holds, which it never does."""
    return with_bad(lambda rule, p: rule.circuit.both(p.bad, literal(p, subject)))


SPARE = Property("other", "the spare line stays empty", "none", Shape.NEVER, "rest", at_least("spare", 100))

BADS = [
    Forgery("nothing is bad", with_bad(lambda *_: FALSE), "property"),
    Forgery("another claim's bad", with_bad(lambda rule, _: pose(rule, SPARE).bad), "property"),
    Forgery("bad at the start only", with_bad(lambda rule, p: rule.circuit.both(p.bad, p.start)), "property"),
    Forgery("bad with the spare line full", only_with("spare"), "property"),
    Forgery("bad after the mishap", only_with("bang"), "property"),
    Forgery("bad with the blind part there", only_with("blind"), "property"),
]

# ----------------------------------------------------------------------------------------------------------- lemmas

LOW, NOT_FULL, FULL = (
    Literal("level", "tank", rank, holds=holds) for rank, holds in ((0, False), (1, False), (1, True))
)
NONSENSE = "(set-logic QF_LRA)\n(declare-const |a number| Real)\n(assert (< |a number| |a number|))\n(check-sat)\n"

#: A run from low to full: there are such runs.
FILLING = Lemma((frozenset({LOW}), frozenset(), frozenset({FULL})), None)


def through(*facts: Literal) -> Lemma:
    """The same, with these facts all the time."""
    return Lemma(tuple(frozenset({*facts, here}) for here in (LOW, NOT_FULL, FULL)), None)


def stands(sort: str, subject: str, value: str, *, holds: bool = True) -> Literal:
    return Literal(sort, subject, values=frozenset({value}), holds=holds)


def accounts(lemma: Lemma, bench: Bench = FALSE_CLAIM) -> str:
    return contradiction(layout_for(bench.arrangement, bench.claim), lemma)


#: No air comes to the tank: its tap has no passage.
NO_TAP = replace(
    FALSE_CLAIM,
    arrangement=replace(
        ARRANGEMENT, parts=tuple(replace(p, passages=()) if p.name == "tap" else p for p in ARRANGEMENT.parts)
    ),
)


def two_faced(*facts: tuple[str, str, str, bool]) -> Callable[[], str]:
    """A run through facts of which one says one thing to the accounts and another to the search."""

    def make() -> str:
        with pytest.MonkeyPatch.context() as patch:
            CHECKS["form"](patch)
            lemma = through(*(stands(sort, subject, value, holds=holds) for sort, subject, value, holds in facts))
            return with_lemma(lemma, bench=HELD)()

    return make


LEMMAS = [
    Forgery("begins at another start", with_lemma(Lemma((frozenset({LOW}), frozenset({LOW})), "full")), "beginning"),
    Forgery(
        "knob not at off", two_faced(("part", "tap", "open", True), ("control", "knob", "off", False)), "form", HELD
    ),
    Forgery("tap not shut", two_faced(("part", "tap", "shut", False), ("control", "knob", "on", True)), "form", HELD),
    Forgery("accounts of nothing", with_lemma(FILLING, NONSENSE), "lemma"),
    Forgery(
        "accounts of a shut tap",
        with_lemma(FILLING, accounts(through(stands("part", "tap", "shut"), stands("control", "knob", "off")))),
        "lemma",
    ),
    Forgery(
        "accounts from the start",
        with_lemma(Lemma((frozenset({FULL}),), None), accounts(Lemma((frozenset({FULL}),), "rest"))),
        "lemma",
    ),
    Forgery("accounts of another arrangement", with_lemma(FILLING, accounts(FILLING, NO_TAP)), "lemma"),
    Forgery(
        "one more demand",
        with_lemma(FILLING, accounts(FILLING).replace("(check-sat)", "(assert false)\n(check-sat)")),
        "lemma",
    ),
]

# ------------------------------------------------------------------------------------------------------- thresholds

#: A full cylinder beside an empty tank, and what it never reaches.
JOINED = Bench(cylinder("1")[0], replace(cylinder("1")[1], when=AllOf((at_least("tank", 300), at_least("tank", 900)))))


def on_grid(**kpa: tuple[int, ...]) -> Callable[[], str]:
    """The proof on thresholds other than those shared ones that the claim needs."""

    def make() -> str:
        marks = {name: tuple(value * KPA for value in values) for name, values in kpa.items()}
        return proven(pose(StepRule(Layout(JOINED.arrangement, marks)), JOINED.claim))

    return make


GRIDS = [
    Forgery("one more for the tank alone", on_grid(pilot=(300, 900), tank=(300, 700, 900)), "grid", JOINED),
    Forgery("one more for the cylinder alone", on_grid(pilot=(300, 700, 900), tank=(300, 900)), "grid", JOINED),
    Forgery("one more for each", on_grid(pilot=(300, 700, 900), tank=(300, 600, 900)), "grid", JOINED),
    Forgery("needed by the claim and left out", on_grid(pilot=(900,), tank=(900,)), "grid", JOINED),
    Forgery("at the highest pressure", on_grid(pilot=(300, 900, 1000), tank=(300, 900, 1000)), "grid", JOINED),
    Forgery("above the highest pressure", on_grid(pilot=(300, 900, 2000), tank=(300, 900, 2000)), "grid", JOINED),
]

# ------------------------------------------------------------------------------------- time passes, and what is said

TRUE_CLAIM = Bench(two_lines(), claim())


@cache
def honest() -> str:
    decision = proof()
    assert decision.invariant is not None
    return write_certificate(decision.problem, decision.invariant).text


def changed(old: str, new: str) -> Callable[[], str]:
    """An honest certificate with its text changed in one place; behind a mark of the argument that time passes, if there."""
    return lambda: edited(honest(), (old, new))


def circle(number: int) -> str:
    """The query of a circle, from its first declaration on."""
    return honest().split("(set-logic QF_LRA)")[number].partition("(check-sat)")[0]


TIMES = [
    Forgery("a query about nothing", lambda: honest().replace(circle(1), "\n(assert false)\n", 1), "time passes"),
    Forgery("one query twice", lambda: honest().replace(circle(2), circle(1), 1), "time passes"),
    Forgery("one more demand", lambda: honest().replace(circle(1), circle(1) + "(assert false)\n", 1), "time passes"),
    Forgery("another part's circle", changed("; circle of valve_a", "; circle of valve_b"), "time passes"),
    Forgery(
        "other parts that may move",
        changed("parts that may move: valve_a, valve_b", "parts that may move: valve_a"),
        "time passes",
    ),
    Forgery("no word of what is left", changed("none, so time always passes", "1"), "time passes"),
]

HEADS = [
    Forgery("says something else", changed("; says: the two", "; says: no two"), "head"),
    Forgery("rests on something else", changed("; basis: none", "; basis: a law"), "head"),
    Forgery("claims something else", changed("; claim: never: (line_a", "; claim: never: (line_b"), "head"),
    Forgery("at another pace", changed("; driver: any time", "; driver: hands off"), "head"),
    Forgery("with mishaps", changed("; mishaps: none", "; mishaps: bang"), "head"),
    Forgery("with another number of fillings", changed("; fillings: any number", "; fillings: at most 3"), "head"),
    Forgery("with a window", changed("; windows: none", "; windows: line_a moves 1 kPa [1000] at most"), "head"),
    Forgery(
        "with a silent part", changed("; silent: none", "; silent: valve_a (silent-valve_a.smt2 not shown)"), "head"
    ),
    Forgery("with a part that hunts", changed("; hunting: none", "; hunting: valve_a"), "head"),
    Forgery("from another start", changed("; start: empty", "; start: full"), "head"),
    Forgery("a clause in other words", changed("; c1  ", "; c1  not "), "head"),
    Forgery("a threshold in other words", changed("50 kPa [50000]", "70 kPa [50000]"), "head"),
]

PROOFS = [*STARTS, *STEPS, *BADS, *LEMMAS, *GRIDS]
WORDS = [replaced._replace(bench=TRUE_CLAIM) for replaced in (*TIMES, *HEADS)]


@pytest.mark.parametrize("forgery", [*PROOFS, *WORDS], ids=lambda forgery: f"{forgery.check}: {forgery.name}")
def test_a_forgery_is_refused_by_one_check(forgery: Forgery) -> None:
    bench = forgery.bench or FALSE_CLAIM
    text = forgery.make()
    assert recheck(text).ok
    with pytest.MonkeyPatch.context() as patch:
        CHECKS[forgery.check](patch)
        assert against(text, bench).faults == ()
    assert not against(text, bench).ok


def test_there_are_five_of_each_sort() -> None:
    for table in (STARTS, STEPS, BADS, LEMMAS, GRIDS, TIMES, HEADS):
        assert len({forgery.name for forgery in table}) >= 5


def test_what_is_not_forged_stands() -> None:
    assert against(honest(), TRUE_CLAIM).ok
    assert against(on_grid(pilot=(300, 900), tank=(300, 900))(), JOINED).ok
    assert against(on_grid(pilot=(300, 700, 900), tank=(300, 700, 900))(), JOINED).ok
