"""The argument that time passes: its queries agree with the search without a solver, on drawn guards and on the tables."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from bandproof.certificates import time_passes
from bandproof.certificates.time_passes import check_time_passes, write_time_passes, z3_says_it_can_be_run
from bandproof.machine.circles import Circle, Surroundings, can_be_run, circles
from bandproof.machine.hunting import hunting, stages
from bandproof.model.arrangement import Arrangement, Control, Mishap, Move, Part, Volume, VolumeKind
from bandproof.model.conditions import (
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Condition,
    Happened,
    InPosition,
    InState,
    Lower,
    Not,
    Truth,
)
from bandproof.text.errors import CrossCheckError
from tests.conformance.case import Case
from tests.conformance.table_hunting import HUNTING, IN_ORDER

STATES = ("a", "b", "c")
PRESSURES = st.sampled_from([Fraction(n) for n in (0, 1, 2, 3, 9)])


IN_A, IN_B = (InState("mover", frozenset({state})) for state in "ab")


def compared(kind: type[Below | AtLeast]) -> st.SearchStrategy[Condition]:
    ends = st.tuples(PRESSURES, PRESSURES).map(sorted)
    # One name has one range: a setting is declared once.
    named = st.sampled_from([("s", Fraction(1), Fraction(3)), ("t", Fraction(2), Fraction(2))])
    unnamed = ends.map(lambda pair: (None, *pair))
    return st.builds(
        lambda volume, setting: kind(volume, setting[1], setting[2], setting[0]),
        st.sampled_from(["v", "w"]),
        st.one_of(named, unnamed),
    )


def subset(values: tuple[str, ...]) -> st.SearchStrategy[frozenset[str]]:
    return st.frozensets(st.sampled_from(values), min_size=1)


LEAVES: st.SearchStrategy[Condition] = st.one_of(
    compared(Below),
    compared(AtLeast),
    st.sampled_from([Lower("v", "w"), Lower("w", "v"), Happened("bang"), Truth(value=True), Truth(value=False)]),
    subset(STATES).map(lambda found: InState("other", found)),
    subset(STATES).map(lambda found: InState("mover", found)),
    subset(STATES).map(lambda found: InState("part", found)),
    subset(("up", "down")).map(lambda found: InPosition("knob", found)),
)
GUARDS: st.SearchStrategy[Condition] = st.recursive(
    LEAVES,
    lambda inner: st.one_of(
        inner.map(Not),
        st.lists(inner, min_size=1, max_size=3).map(lambda items: AllOf(tuple(items))),
        st.lists(inner, min_size=1, max_size=3).map(lambda items: AnyOf(tuple(items))),
    ),
    max_leaves=5,
)


def arranged(guards: list[Condition]) -> Arrangement:
    """A part that goes round as many states as there are guards, beside one that stands still and one that moves."""
    states = STATES[: len(guards)]
    moves = tuple(
        Move(s, states[(n + 1) % len(states)], g) for n, (s, g) in enumerate(zip(states, guards, strict=True))
    )
    return Arrangement(
        "drawn",
        "bar",
        Fraction(1),
        Fraction(9),
        tuple(Volume(name, VolumeKind.LINE) for name in ("v", "w")),
        (Part("part", "k", STATES, moves=moves), Part("other", "k", STATES), Part("mover", "k", STATES)),
        (Control("knob", ("up", "down")),),
        (Mishap("bang"),),
    )


@given(
    st.lists(GUARDS, min_size=2, max_size=3),
    st.frozensets(st.sampled_from(["v", "w"])),
    st.lists(GUARDS, max_size=1).map(tuple),
)
@example([IN_A, IN_B], frozenset(), ())
@example([Below("v", Fraction(2), Fraction(2), "t"), AtLeast("v", Fraction(2), Fraction(2), "t")], frozenset(), ())
@example([Below("v", Fraction(1), Fraction(3), "s"), AtLeast("v", Fraction(1), Fraction(3), "s")], frozenset("v"), ())
def test_a_circle_can_be_run_just_if_z3_finds_numbers_for_it(
    guards: list[Condition], steady: frozenset[str], needs: tuple[Condition, ...]
) -> None:
    """What is read off a chain of differences is what a solver of linear arithmetic says."""
    arrangement = arranged(guards)
    circle = Circle("part", arrangement.part("part").moves, needs)
    around = Surroundings(arrangement, steady, frozenset({"part", "mover"}))
    assert can_be_run(circle, around) is z3_says_it_can_be_run(circle, around)


@pytest.mark.parametrize("case", [*HUNTING, *IN_ORDER], ids=lambda case: case.name)
def test_every_circle_thrown_out_has_its_query_and_solvers_agree(case: Case) -> None:
    arrangement = case.layout().arrangement
    written = write_time_passes(arrangement)
    check_time_passes(written)
    every = [circle for part in arrangement.parts if not part.slow for circle in circles(part)]
    assert written.left == len(hunting(arrangement).circles)
    assert written.text.count("(check-sat)") == len(every) - written.left
    assert f"; circles left: {written.left}" in written.text


def test_a_circle_that_can_be_run_is_not_let_pass_for_one_that_cannot(monkeypatch: pytest.MonkeyPatch) -> None:
    swapped = HUNTING[0].layout().arrangement

    def forged(arrangement: Arrangement) -> list[object]:
        *before, last = stages(arrangement)
        return [*before, replace(last, dropped=last.left, left=())]

    monkeypatch.setattr(time_passes, "stages", forged)
    written = write_time_passes(swapped)
    assert written.left == 0
    with pytest.raises(CrossCheckError, match="does not agree"):
        check_time_passes(written)


def test_an_argument_without_a_circle_asks_nothing() -> None:
    bare = replace(arranged([Truth(value=True), Truth(value=False)]), parts=())
    written = write_time_passes(bare)
    check_time_passes(written)
    assert "; queries: 0" in written.text
    assert "so time always passes" in written.text
