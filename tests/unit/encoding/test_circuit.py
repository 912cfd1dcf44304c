"""A circuit simplifies by what it is granted, and by nothing else."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise, product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bandproof.encoding.circuit import FALSE, TRUE, Circuit, negate

#: A formula: a variable by its number, or a negation, conjunction or disjunction of formulas.
Formula = int | tuple[str, list["Formula"]]

#: A thermometer of three, one of three, and two that nothing is known of.
ORDERED, SINGLE, FREE = (0, 1, 2), (3, 4, 5), (6, 7)

formulas = st.recursive(
    st.integers(0, 7),
    lambda inner: st.tuples(st.sampled_from(["not", "and", "or"]), st.lists(inner, min_size=1, max_size=3)),
    max_leaves=25,
)


class Granted:
    """A circuit with eight variables, six of which it is told about."""

    def __init__(self) -> None:
        self.circuit = c = Circuit()
        self.variables = [c.variable(str(number)) for number in range(8)]
        ordered, single = ([self.variables[n] for n in group] for group in (ORDERED, SINGLE))
        descending = [c.implies(high, low) for low, high in pairwise(ordered)]
        self.granted = c.all_of([*descending, c.exactly_one(single)])
        c.grant(self.granted, [ordered], [single])

    def build(self, formula: Formula) -> int:
        """The formula as a literal."""
        if isinstance(formula, int):
            return self.variables[formula]
        operator, items = formula
        literals = [self.build(item) for item in items]
        match operator:
            case "not":
                return negate(literals[0])
            case "and":
                return self.circuit.all_of(literals)
            case _:
                return self.circuit.any_of(literals)

    def truths(self, literal: int) -> Iterator[tuple[tuple[bool, ...], bool, bool]]:
        """Every assignment, whether what is granted holds there, and the literal's truth."""
        for values in product([False, True], repeat=8):
            nodes = dict(zip((v >> 1 for v in self.variables), values, strict=True))
            granted, truth = self.circuit.evaluate([self.granted, literal], nodes)
            yield values, granted, truth


def truth_of(formula: Formula, values: tuple[bool, ...]) -> bool:
    """What the formula means."""
    if isinstance(formula, int):
        return values[formula]
    operator, items = formula
    truths = [truth_of(item, values) for item in items]
    return {"not": not truths[0], "and": all(truths), "or": any(truths)}[operator]


@given(formulas)
def test_a_formula_keeps_its_meaning_where_what_is_granted_holds(formula: Formula) -> None:
    granted = Granted()
    for values, holds, truth in granted.truths(granted.build(formula)):
        assert not holds or truth == truth_of(formula, values)


@given(formulas)
def test_a_conjunction_with_what_is_granted_says_all_of_it(formula: Formula) -> None:
    granted = Granted()
    both = granted.circuit.both(granted.granted, granted.build(formula))
    for values, holds, truth in granted.truths(both):
        assert truth == (holds and truth_of(formula, values))


@pytest.mark.parametrize(
    ("why", "formula", "simple"),
    [
        ("the higher threshold says it all", ("and", [0, 2]), 2),
        ("the lower threshold says it all", ("or", [0, 2]), 0),
        ("not below the lower, not at the higher: a contradiction", ("and", [2, ("not", [1])]), None),
        ("two of one group at once", ("and", [3, 4]), None),
        ("the one that is left", ("and", [("not", [3]), ("not", [4])]), 5),
        ("a conjunction said twice", ("and", [6, ("and", [6, 7])]), ("and", [6, 7])),
        ("a part of a conjunction, and the whole", ("and", [("and", [6, 0]), ("and", [7, ("and", [6, 1])])]), ("and", [7, ("and", [6, 1])])),
        ("what is false here anyway", ("and", [6, ("not", [("and", [6, 7])])]), ("and", [6, ("not", [7])])),
        ("what is true here anyway", ("and", [("not", [6]), ("not", [("and", [6, 7])])]), ("not", [6])),
        ("one case inside the other", ("or", [("and", [6, 2]), ("and", [6, 0])]), ("and", [6, 0])),
    ],
)  # fmt: skip
def test_what_is_known_makes_it_smaller(why: str, formula: Formula, simple: Formula | None) -> None:
    granted = Granted()
    assert granted.build(formula) == (FALSE if simple is None else granted.build(simple)), why


def test_a_single_rule_is_kept_too() -> None:
    """One rule is no conjunction of several, and what it says of a lower bit follows from a higher one only with it."""
    circuit = Circuit()
    low, high = circuit.variable("low"), circuit.variable("high")
    rule = circuit.implies(high, low)
    circuit.grant(rule, [[low, high]], [])
    both = circuit.both(rule, negate(low))
    assert circuit.evaluate([both], {low >> 1: False, high >> 1: True}) == [False]
    assert circuit.evaluate([both], {low >> 1: False, high >> 1: False}) == [True]


def test_nothing_is_assumed_of_a_circuit_that_was_told_nothing() -> None:
    circuit = Circuit()
    one, other = circuit.variable("one"), circuit.variable("other")
    assert circuit.both(one, other) not in {one, other, FALSE, TRUE}
    assert circuit.either(one, other) not in {one, other, FALSE, TRUE}


def test_a_later_grant_adds_to_an_earlier_one() -> None:
    """Both are used, and a conjunction with either, or with both, still says all of it."""
    circuit = Circuit()
    pairs = [(circuit.variable(f"{side} low"), circuit.variable(f"{side} high")) for side in "ab"]
    rules = [circuit.implies(high, low) for low, high in pairs]
    early = circuit.both(pairs[1][1], negate(pairs[1][0]))
    for rule, (low, high) in zip(rules, pairs, strict=True):
        circuit.grant(rule, [[low, high]], [])
    assert early != FALSE
    for low, high in pairs:
        assert circuit.both(high, negate(low)) == FALSE
    nodes = [x >> 1 for pair in pairs for x in pair]
    asked = [
        circuit.all_of(rules),
        *(circuit.both(rule, negate(low)) for rule, (low, _) in zip(rules, pairs, strict=True)),
    ]
    for values in product([False, True], repeat=4):
        truth = dict(zip(nodes, values, strict=True))
        kept = [values[0] or not values[1], values[2] or not values[3]]
        expected = [all(kept), kept[0] and not values[0], kept[1] and not values[2]]
        assert circuit.evaluate(asked, truth) == expected


def test_of_one_variable_only_one_thing_is_granted() -> None:
    circuit = Circuit()
    low, high, other = (circuit.variable(name) for name in ("low", "high", "other"))
    circuit.grant(circuit.implies(high, low), [[low, high]], [])
    with pytest.raises(ValueError, match="granted of one of these variables before"):
        circuit.grant(circuit.exactly_one([high, other]), [], [[high, other]])
