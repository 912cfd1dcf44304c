"""Laws of conditions: the negation normal form means the same, and a walker refuses what it does not know."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bandproof.encoding.encode import Encoding
from bandproof.machine.semantics import Reading, maybe, surely
from bandproof.model.conditions import (
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Comparison,
    Condition,
    Happened,
    InPosition,
    InState,
    Leaf,
    Lower,
    Not,
    NotHappened,
    NotInPosition,
    NotInState,
    NotLower,
    Truth,
)
from bandproof.model.walker import (
    UnexpectedConditionError,
    Walker,
    alternatives,
    comparisons,
    leaves,
    normal_form,
    opposite,
)
from tests.strategies import arrangements, conditions, layout_for, states

QUICK = settings(max_examples=100, deadline=None)

#: Less than any two thresholds of the random arrangements differ by.
SPECK = Fraction(1, 1_000)

ONE_OF_EACH: tuple[Leaf, ...] = (
    Truth(value=True),
    Below("v", Fraction(1), Fraction(2), "opens"),
    AtLeast("v", Fraction(1), Fraction(2), "opens"),
    Lower("v", "w"),
    NotLower("v", "w"),
    InState("p", frozenset({"x"})),
    NotInState("p", frozenset({"x"})),
    InPosition("c", frozenset({"on"})),
    NotInPosition("c", frozenset({"on"})),
    Happened("m"),
    NotHappened("m"),
)


def written() -> st.SearchStrategy[Condition]:
    """Conditions of every kind, nested as deep as it comes."""
    return st.recursive(
        st.sampled_from(ONE_OF_EACH),
        lambda inner: st.one_of(
            inner.map(Not),
            st.lists(inner, max_size=3).map(lambda items: AllOf(tuple(items))),
            st.lists(inner, max_size=3).map(lambda items: AnyOf(tuple(items))),
        ),
        max_leaves=8,
    )


# ------------------------------------------------------------------------------------ the same truth at every point


@dataclass(frozen=True, slots=True)
class World:
    """Numbers for everything a condition can speak of."""

    v: int
    w: int
    opens: int
    state: str
    position: str
    happened: bool


def worlds() -> Iterator[World]:
    """Every world on a small grid; the setting lies in the tolerance that `ONE_OF_EACH` gives it."""
    for values in product((0, 1, 2), (0, 1, 2), (1, 2), ("x", "y"), ("on", "off"), (True, False)):
        yield World(*values)


def true_in(world: World, condition: Condition) -> bool:
    """The plain meaning of a condition."""
    match condition:
        case Truth(value):
            return value
        case Below():
            return world.v < world.opens
        case AtLeast():
            return world.v >= world.opens
        case Lower():
            return world.v < world.w
        case NotLower():
            return world.v >= world.w
        case InState(_, at):
            return world.state in at
        case NotInState(_, at):
            return world.state not in at
        case InPosition(_, at):
            return world.position in at
        case NotInPosition(_, at):
            return world.position not in at
        case Happened():
            return world.happened
        case NotHappened():
            return not world.happened
        case Not(item):
            return not true_in(world, item)
        case AllOf(items):
            return all(true_in(world, item) for item in items)
        case AnyOf(items):
            return any(true_in(world, item) for item in items)


def no_not(condition: Condition) -> bool:
    """Nothing in the condition is a `Not`."""
    return not isinstance(condition, Not) and all(map(no_not, getattr(condition, "items", ())))


@given(written())
@QUICK
def test_the_normal_form_has_no_not_and_is_true_where_the_condition_is(condition: Condition) -> None:
    form = normal_form(condition)
    assert no_not(form)
    assert all(true_in(world, form) == true_in(world, condition) for world in worlds())


@given(written())
@QUICK
def test_the_opposite_is_true_where_the_condition_is_not(condition: Condition) -> None:
    turned = opposite(condition)
    assert no_not(turned)
    assert all(true_in(world, turned) != true_in(world, condition) for world in worlds())


@given(written())
@QUICK
def test_a_normal_form_is_its_own_and_turning_twice_gives_it(condition: Condition) -> None:
    form = normal_form(condition)
    assert normal_form(form) == form == opposite(opposite(condition)) == normal_form(Not(Not(condition)))


@given(written(), written())
@QUICK
def test_the_laws_of_de_morgan(one: Condition, other: Condition) -> None:
    assert normal_form(Not(AllOf((one, other)))) == normal_form(AnyOf((Not(one), Not(other))))
    assert normal_form(Not(AnyOf((one, other)))) == normal_form(AllOf((Not(one), Not(other))))


def test_not_below_a_setting_is_at_least_the_same_setting() -> None:
    below = Below("v", Fraction(1), Fraction(2), "opens")
    assert normal_form(Not(below)) == AtLeast("v", Fraction(1), Fraction(2), "opens")


# ------------------------------------------------------------------------------------------ must and may, by trying


def tried(reading: Reading, condition: Condition, *, sure: bool) -> bool:
    """Must (`sure`) or may, by trying pressures of the bands and numbers of the settings at every leaf."""

    def inside(volume: str) -> tuple[Fraction, ...]:
        low, high = reading.low(volume), reading.high(volume)
        return low, (low + high) / 2, high - SPECK

    some_or_all = all if sure else any
    match condition:
        case Below(volume, low, high):
            return some_or_all(p < s for p in inside(volume) for s in (low, (low + high) / 2, high))
        case AtLeast(volume, low, high):
            return some_or_all(p >= s for p in inside(volume) for s in (low, (low + high) / 2, high))
        case Lower(volume, other):
            return some_or_all(p < q for p in inside(volume) for q in inside(other))
        case InState(part, at):
            return reading.part[part] in at
        case InPosition(control, at):
            return reading.position[control] in at
        case Happened(mishap):
            return mishap in reading.state.mishaps
        case Not(item):
            return not tried(reading, item, sure=not sure)
        case AllOf(items):
            return all(tried(reading, item, sure=sure) for item in items)
        case AnyOf(items):
            return any(tried(reading, item, sure=sure) for item in items)
        case _:
            raise AssertionError(condition)


@given(st.data())
@QUICK
def test_must_and_may_are_what_trying_finds_for_a_condition_and_its_normal_form(data: st.DataObject) -> None:
    layout = layout_for(data.draw(arrangements()))
    reading = Reading(layout, data.draw(states(layout)))
    condition = data.draw(conditions(layout.arrangement, guard=True, depth=3))
    for meaning, sure in ((surely, True), (maybe, False)):
        expected = tried(reading, condition, sure=sure)
        assert meaning(reading, condition) == meaning(reading, normal_form(condition)) == expected
        assert meaning(reading, opposite(condition)) != tried(reading, condition, sure=not sure)


# --------------------------------------------------------------------------------------------------------- walking


class Nothing(Walker[str]):
    """Has no answer to anything."""


class OnlyLower(Walker[str]):
    """Knows one kind."""

    def lower(self, node: Lower) -> str:
        return f"{node.volume} under {node.other}"


def test_one_of_each_is_one_of_each() -> None:
    assert {type(leaf) for leaf in ONE_OF_EACH} == set(get_args(Leaf))


@pytest.mark.parametrize("condition", [*ONE_OF_EACH, AllOf(()), AnyOf(())], ids=lambda c: type(c).__name__)
def test_a_kind_that_a_walker_does_not_know_is_refused_by_name(condition: Condition) -> None:
    with pytest.raises(UnexpectedConditionError) as refused:
        Nothing().walk(condition)
    assert "Nothing" in str(refused.value)
    assert type(condition).__name__ in str(refused.value)
    assert repr(condition) in str(refused.value)


@dataclass(frozen=True, slots=True)
class Warmer:
    """No kind of condition."""

    volume: str


@pytest.mark.parametrize("walk", [normal_form, opposite, lambda c: list(leaves(c)), OnlyLower().walk])
def test_what_is_no_condition_is_refused_even_by_walkers_that_take_all_kinds(
    walk: Callable[[Condition], object],
) -> None:
    stranger: Condition = Warmer("v")  # type: ignore[assignment]
    for condition in (stranger, Not(stranger)):
        with pytest.raises(UnexpectedConditionError, match=r"Warmer\(volume='v'\)"):
            walk(condition)


@given(st.data())
@settings(max_examples=5, deadline=None)
def test_both_meanings_refuse_what_is_no_condition(data: st.DataObject) -> None:
    layout = layout_for(data.draw(arrangements()))
    reading = Reading(layout, data.draw(states(layout)))
    stranger: Condition = Warmer("v")  # type: ignore[assignment]
    for meaning in (surely, maybe):
        with pytest.raises(UnexpectedConditionError):
            meaning(reading, stranger)
    with pytest.raises(UnexpectedConditionError):
        Encoding(layout).condition(stranger, sure=True)


def test_a_negation_is_walked_as_the_opposite() -> None:
    assert OnlyLower().walk(Not(NotLower("v", "w"))) == "v under w"


def test_leaves_are_told_as_written_left_to_right() -> None:
    below, lower, truth = ONE_OF_EACH[1], ONE_OF_EACH[3], ONE_OF_EACH[0]
    condition = AllOf((Not(below), AnyOf((truth, Not(Not(lower)))), below))
    assert list(leaves(condition, truth)) == [below, truth, lower, below, truth]
    assert list(comparisons(condition)) == [below, lower, below]
    assert {type(leaf) for leaf in comparisons(*ONE_OF_EACH)} == set(get_args(Comparison))


def test_alternatives_are_those_of_which_one_suffices() -> None:
    one, two, three = ONE_OF_EACH[1:4]
    assert alternatives(AnyOf((one, AnyOf((two, AllOf((one, three))))))) == (one, two, AllOf((one, three)))
    assert alternatives(one) == (one,)
