"""Clauses say of each formula what it is, for every state, wherever and however often they are put."""

from __future__ import annotations

from itertools import product

from hypothesis import given
from hypothesis import strategies as st

from bandproof.encoding.circuit import FALSE, TRUE, Circuit, negate
from bandproof.encoding.clauses import ClauseTemplate, Numbered
from bandproof.solvers.sat import Sat

#: A circuit: each step joins literals out of what is there already, a pair of a place and whether to negate it.
recipes = st.lists(
    st.lists(st.tuples(st.integers(0, 40), st.booleans()), min_size=1, max_size=5), min_size=1, max_size=20
)

VARIABLES = 5


def build(recipe: list[list[tuple[int, bool]]]) -> tuple[Circuit, list[int], list[int]]:
    """The circuit, its variables, and the literal of every conjunction asked for."""
    circuit = Circuit()
    bits = [circuit.variable(str(number)) for number in range(VARIABLES)]
    there = [FALSE, *bits]
    for step in recipe:
        there.append(circuit.all_of(there[place % len(there)] ^ opposite for place, opposite in step))
    return circuit, bits, there[VARIABLES + 1 :]


def every_assignment(circuit: Circuit, bits: list[int], formulas: list[int]) -> list[tuple[list[bool], list[bool]]]:
    """All values of the variables, each with the truth of the formulas."""
    return [
        (list(values), circuit.evaluate(formulas, dict(zip((b >> 1 for b in bits), values, strict=True))))
        for values in product([False, True], repeat=len(bits))
    ]


def signed(literals: list[int], truths: list[bool]) -> list[int]:
    """The literals, those that are not true negated."""
    return [x if truth else -x for x, truth in zip(literals, truths, strict=True)]


@given(recipes, st.integers(1, 9), st.sets(st.integers(0, 19), min_size=1, max_size=4))
def test_the_clauses_tie_every_root_to_the_variables(
    recipe: list[list[tuple[int, bool]]], first: int, chosen: set[int]
) -> None:
    """For each assignment every root has its value and cannot have the other, also where few roots have names."""
    circuit, bits, formulas = build(recipe)
    roots = [formulas[place % len(formulas)] for place in sorted(chosen)]
    numbered = Numbered(circuit, [*bits, *roots], first=first)
    solver = Sat(numbered.clauses)
    names = [numbered.signed(root) for root in roots]
    for values, truths in every_assignment(circuit, bits, roots):
        given_bits = signed([numbered.signed(bit) for bit in bits], values)
        assert solver.holds([*given_bits, *signed(names, truths)])
        for name, truth in zip(names, truths, strict=True):
            assert not solver.holds([*given_bits, -name if truth else name])
    used = {abs(x) for clause in numbered.clauses for x in clause} | {abs(numbered.signed(bit)) for bit in bits}
    assert used <= set(range(first, first + numbered.size))
    solver.close()


@given(recipes, recipes)
def test_a_stencil_put_on_what_another_says_composes_them(
    recipe: list[list[tuple[int, bool]]], again: list[list[tuple[int, bool]]]
) -> None:
    """Two states, the second made of formulas of the first, opposites and constants among them."""
    circuit, bits, formulas = build(recipe)
    after = [(formulas * VARIABLES)[place] ^ (place & 1) for place in range(VARIABLES)]
    second, second_bits, second_formulas = build(again)
    solver = Sat()
    state = list(range(1, VARIABLES + 1))
    solver.add_all([x, -x] for x in state)
    literal, free = ClauseTemplate(circuit, bits, after).put(solver, state, VARIABLES + 1)
    then = [literal(formula) for formula in after]
    looked, end = ClauseTemplate(second, second_bits, second_formulas).put(solver, then, free)
    assert VARIABLES < free <= end
    for values, truths in every_assignment(circuit, bits, after):
        (reached,) = [found for v, found in every_assignment(second, second_bits, second_formulas) if v == truths]
        assert solver.holds(signed(state, values))
        given_bits = signed(state, values)
        for formula, truth in zip(second_formulas, reached, strict=True):
            name = looked(formula)
            assert not solver.holds([*given_bits, -name if truth else name])
    solver.close()


def test_a_conjunction_used_once_has_no_variable_of_its_own() -> None:
    """Of "a and not (b and c)" the inner conjunction has no name: four clauses over four variables."""
    circuit = Circuit()
    a, b, c = (circuit.variable(name) for name in "abc")
    root = circuit.both(a, negate(circuit.both(b, c)))
    numbered = Numbered(circuit, [a, b, c, root])
    assert numbered.size == 4
    assert sorted(map(sorted, numbered.clauses)) == sorted([[-4, 1], [-4, -3, -2], [-1, 2, 4], [-1, 3, 4]])


def test_a_conjunction_used_twice_has_one() -> None:
    """Its clauses would be said twice."""
    circuit = Circuit()
    a, b, c, d = (circuit.variable(name) for name in "abcd")
    shared = circuit.both(c, d)
    roots = [circuit.both(a, negate(shared)), circuit.both(b, negate(shared))]
    assert Numbered(circuit, [a, b, c, d, *roots]).size == 7


def test_no_conjunction_makes_more_clauses_than_it_is_worth() -> None:
    """Of eight pairs of which one must be both, two go without a name: one clause more becomes four, not 256."""
    circuit = Circuit()
    pairs = [circuit.both(circuit.variable(f"x{n}"), circuit.variable(f"y{n}")) for n in range(8)]
    root = circuit.any_of(pairs)
    numbered = Numbered(circuit, [root])
    assert numbered.size == 16 + 1 + 6
    assert len(numbered.clauses) == 6 * 3 + 8 + 4


def test_variables_and_constants_among_the_formulas_are_what_they_are() -> None:
    """A formula that is a bit, the opposite of one, true or false."""
    circuit = Circuit()
    bit = circuit.variable("bit")
    formulas = [bit, negate(bit), TRUE, FALSE]
    solver = Sat([[1, -1]])
    literal, _ = ClauseTemplate(circuit, [bit], formulas).put(solver, [1], 2)
    assert solver.holds([-1])
    model = solver.model()
    assert [(model[abs(x) - 1] > 0) == (x > 0) for x in map(literal, formulas)] == [False, True, True, False]
    solver.close()


def test_a_formula_that_no_clause_mentions_is_part_of_models() -> None:
    """An input that stands by itself: without a word of it, the solver would not know its variable."""
    circuit = Circuit()
    bit, choice = circuit.variable("bit"), circuit.variable("choice")
    template = ClauseTemplate(circuit, [bit], [choice])
    assert template.others == (choice,)
    solver = Sat([[1, -1]])
    literal, free = template.put(solver, [1], 2)
    assert solver.holds()
    assert abs(literal(choice)) == len(solver.model()) == free - 1
    solver.close()
