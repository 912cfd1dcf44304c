"""The bytes of a file, worked out by hand from the description of the format."""

from __future__ import annotations

from itertools import product

import pytest

from bandproof.exporting.aiger import FALSE, TRUE, Aiger, BadAs, Gates, Latch
from tests.exporting.reader import read


def test_a_toggle_is_one_latch_that_becomes_its_opposite() -> None:
    """Variable 1 is the latch: literal 2, its opposite 3."""
    toggle = Aiger((), (Latch("toggle", 3),), (), 2, "on")
    assert toggle.as_bytes() == b"aig 1 0 1 1 0\n3\n2\nl0 toggle\no0 on\nc\n"


def test_the_bad_state_has_a_section_of_its_own_when_asked_for() -> None:
    toggle = Aiger((), (Latch("toggle", 3),), (), 2, "on", ("by hand",))
    assert toggle.as_bytes(BadAs.PROPERTY) == b"aig 1 0 1 0 0 1\n3\n2\nl0 toggle\nb0 on\nc\nby hand\n"


def test_a_gate_is_written_as_two_differences() -> None:
    """Inputs are the literals 2 and 4, the gate is 6: 6 - 4 = 2 and 4 - 2 = 2."""
    gate = Aiger(("x", "y"), (), ((4, 2),), 6, "both")
    assert gate.as_bytes() == b"aig 3 2 0 1 1\n6\n" + bytes([2, 2]) + b"i0 x\ni1 y\no0 both\nc\n"


def test_a_negated_operand_is_an_odd_number() -> None:
    """Not x and not y: operands 5 and 3, differences 1 and 2; their either is literal 7."""
    either = Aiger(("x", "y"), (), ((5, 3),), 7, "either")
    assert either.as_bytes() == b"aig 3 2 0 1 1\n7\n" + bytes([1, 2]) + b"i0 x\ni1 y\no0 either\nc\n"


@pytest.mark.parametrize(
    ("inputs", "written"),
    [
        (65, [0x80, 0x01, 2]),  # the gate is 132: 132 - 4 = 128 = 1 * 128 + 0
        (150, [0xAA, 0x02, 2]),  # the gate is 302: 302 - 4 = 298 = 2 * 128 + 42
        (64, [126, 2]),  # the gate is 130: 130 - 4 = 126, the last even difference that fits a byte
        (8193, [0x80, 0x80, 0x01, 2]),  # the gate is 16388: 16388 - 4 = 16384 = 1 * 128 * 128
    ],
)
def test_a_large_difference_goes_on_in_further_bytes_lowest_first(inputs: int, written: list[int]) -> None:
    names = tuple(f"x{n}" for n in range(inputs))
    data = Aiger(names, (), ((4, 2),), 2 * (inputs + 1), "both").as_bytes()
    head = f"aig {inputs + 1} {inputs} 0 1 1\n{2 * (inputs + 1)}\n".encode()
    assert data.startswith(head + bytes(written) + b"i0 x0\n")


def test_symbols_come_inputs_first_then_latches_then_the_bad_state() -> None:
    circuit = Aiger(("a", "b"), (Latch("c", 2), Latch("d", 4)), (), 6, "e", ("f",))
    assert circuit.as_bytes().splitlines()[-7:] == [b"i0 a", b"i1 b", b"l0 c", b"l1 d", b"o0 e", b"c", b"f"]


def test_what_is_written_is_read() -> None:
    """A latch that counts to one, by a reader that knows the description only."""
    circuit = read(Aiger(("go",), (Latch("gone", 7),), ((5, 3),), 4, "gone", ("one", "two")).as_bytes())
    assert circuit.step([False], [False]) == ([False], False)
    assert circuit.step([False], [True]) == ([True], False)
    assert circuit.step([True], [False]) == ([True], True)
    assert circuit.comment == ("one", "two")


def test_gates_are_shared_and_those_that_say_nothing_are_left_out() -> None:
    gates = Gates(3)
    x, y = 2, 4
    assert gates.both(x, y) == gates.both(y, x) == 6
    assert gates.operands == [(4, 2)]
    assert (gates.both(x, x), gates.both(x, TRUE), gates.both(TRUE, x)) == (x, x, x)
    assert (gates.both(x, x ^ 1), gates.both(x, FALSE), gates.both(FALSE, TRUE)) == (FALSE, FALSE, FALSE)
    assert (gates.all_of([]), gates.all_of([y])) == (TRUE, y)
    assert len(gates.operands) == 1


@pytest.mark.parametrize("width", [2, 3, 4, 5, 7, 8])
def test_a_conjunction_of_many_is_true_when_all_are(width: int) -> None:
    gates = Gates(1 + width)
    literals = [2 * n ^ (n % 2) for n in range(1, 1 + width)]
    goal = gates.all_of(literals)
    assert len(gates.operands) == width - 1
    circuit = read(Aiger(tuple(f"x{n}" for n in range(width)), (), tuple(gates.operands), goal, "all").as_bytes())
    for inputs in product((False, True), repeat=width):
        expected = all(value != (n % 2 == 1) for n, value in enumerate(inputs, start=1))
        assert circuit.step([], inputs)[1] == expected


def test_a_choice_is_one_or_the_other() -> None:
    gates = Gates(4)
    goal = gates.choose(2, 4, 6)
    circuit = read(Aiger(("test", "then", "otherwise"), (), tuple(gates.operands), goal, "chosen").as_bytes())
    for test, then, otherwise in product((False, True), repeat=3):
        assert circuit.step([], [test, then, otherwise])[1] == (then if test else otherwise)
