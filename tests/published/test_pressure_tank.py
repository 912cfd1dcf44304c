"""NUREG-0492 (Fault Tree Handbook, 1981), chapter VIII: the pressure tank's cut sets, found by deciding, and its numbers.

Every set of primary failures is allowed in turn, smallest first, and the claim "the tank stays whole" decided. A set is
minimal when it breaks the claim and no smaller set inside it does.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from itertools import combinations
from math import prod

import pytest

from bandproof.findings.finding import Verdict
from tests.published.deciding import done, last, posed

pytestmark = pytest.mark.slow

EVENTS = ("T", "K2", "S", "S1", "K1", "R")

#: NUREG-0492 p. VIII-12, reduced tree of Figure VIII-14.
HANDBOOK = {frozenset(s) for s in (("K2",), ("T",), ("S", "S1"), ("S", "K1"), ("S", "R"))}

#: NUREG-0492 Table VIII-1 (facts, section 7.1). K1 DIFFERS: see `NASA_K1`.
TABLE = {
    "T": Fraction("5e-6"),
    "K2": Fraction("3e-5"),
    "S": Fraction("1e-4"),
    "S1": Fraction("3e-5"),
    "K1": Fraction("3e-5"),
    "R": Fraction("1e-4"),
}

#: The NASA 2002 edition's K1, as a published benchmark collection cites it.
NASA_K1 = Fraction("5e-6")

Sets = frozenset[frozenset[str]]


@cache
def minimal_sets(arrangement: str) -> Sets:
    """The smallest sets of failures, of any order, that break the claim. More mishaps allowed never means fewer runs."""
    found: set[frozenset[str]] = set()
    for order in range(len(EVENTS) + 1):
        for failures in map(frozenset, combinations(EVENTS, order)):
            if not any(known <= failures for known in found):
                decision = posed(arrangement, "pressure_tank").decide("tank-never-ruptures", mishaps=failures)
                if decision.verdict is Verdict.REFUTED:
                    found.add(failures)
                else:
                    assert decision.verdict is Verdict.PROVEN
    return frozenset(found)


def sum_of_products(sets: Sets, chance: dict[str, Fraction]) -> Fraction:
    """The rare-event sum over the sets."""
    return sum((prod((chance[e] for e in s), start=Fraction(1)) for s in sets), start=Fraction(0))


def exact(sets: Sets, chance: dict[str, Fraction]) -> Fraction:
    """The probability that all events of some set occur, the events being independent: summed over all outcomes."""
    total = Fraction(0)
    for order in range(len(EVENTS) + 1):
        for failed in map(frozenset, combinations(EVENTS, order)):
            if any(s <= failed for s in sets):
                total += prod((chance[e] if e in failed else 1 - chance[e] for e in EVENTS), start=Fraction(1))
    return total


def test_minimal_sets_are_the_handbooks() -> None:
    assert minimal_sets("pressure_tank") == HANDBOOK


def test_wrong_variant_a_timer_in_the_pump_circuit_has_other_sets() -> None:
    """Fact nureg-warning: K2 alone ruptures the tank because the timer does not open the pump circuit directly."""
    found = minimal_sets("pressure_tank_timer_on_pump")
    assert found != HANDBOOK
    assert found == {frozenset(s) for s in (("T",), ("K2", "R"), ("S", "R"))}


@pytest.mark.parametrize("failures", sorted(map(sorted, HANDBOOK)), ids="+".join)
def test_a_story_needs_every_failure_of_its_set(failures: list[str]) -> None:
    decision = posed("pressure_tank", "pressure_tank").decide("tank-never-ruptures", mishaps=failures)
    assert decision.story is not None
    assert last(decision).mishaps == frozenset(failures)
    assert "button pressed" in done(decision.story)


def test_top_event_from_the_table() -> None:
    """Facts nureg-mcs-p, nureg-top-exact (derived; the sum also in a machine-checked copy), nureg-importance."""
    sets = minimal_sets("pressure_tank")
    assert sum_of_products(sets, TABLE) == Fraction("3.5016e-5")
    assert f"{float(exact(sets, TABLE)):.8e}" == "3.50158488e-05"
    singles = {next(iter(s)): TABLE[next(iter(s))] / Fraction("3.5016e-5") for s in sets if len(s) == 1}
    assert {event: round(float(share), 2) for event, share in singles.items()} == {"K2": 0.86, "T": 0.14}


def test_top_event_is_near_the_handbooks_rounded_value() -> None:
    """The handbook prints 3.4e-5, 3 % below the sum of its own products."""
    assert abs(sum_of_products(minimal_sets("pressure_tank"), TABLE) / Fraction("3.4e-5") - 1) < Fraction(3, 100)


def test_top_event_of_the_nasa_variant() -> None:
    """Fact nasa-variant, DIFFERS: the closed form (derived) leaves the published value in the eighth digit."""
    value = exact(minimal_sets("pressure_tank"), TABLE | {"K1": NASA_K1})
    assert f"{float(value):.8e}" == "3.50133492e-05"
    published = Fraction("3.50133481e-5")
    assert 0 < abs(value - published) < Fraction("2e-12")


def test_wrong_variant_has_another_top_event() -> None:
    assert sum_of_products(minimal_sets("pressure_tank_timer_on_pump"), TABLE) < Fraction("5.1e-6")
