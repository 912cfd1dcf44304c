"""Out of an invariant's clauses those are left that are needed, whichever the solver meets first."""

from __future__ import annotations

from dataclasses import replace
from itertools import islice, permutations

import pytest

from bandproof.certificates.invariant import minimised
from bandproof.encoding.bits import Bit, BitSort
from bandproof.encoding.circuit import TRUE, Circuit, negate
from bandproof.encoding.system import Problem, pose
from tests.conformance.case import step_rule
from tests.conformance.table import TABLE


def seven_bits(order: tuple[str, ...]) -> tuple[Problem, dict[str, int]]:
    """Seven bits, all true at the start; g, h and k must stay so.

    g stays while u or w is true, h while w is, k while v is, u while c is, w while c or v is, c and v always. So neither u
    nor c is needed. But c seems to be, both by u and by w, for as long as u is there.
    """
    circuit = Circuit()
    bit = {name: circuit.variable(name) for name in order}
    after = dict(bit)
    after["g"] = circuit.both(bit["g"], circuit.either(bit["u"], bit["w"]))
    after["h"] = circuit.both(bit["h"], bit["w"])
    after["k"] = circuit.both(bit["k"], bit["v"])
    after["u"] = circuit.both(bit["u"], bit["c"])
    after["w"] = circuit.both(bit["w"], circuit.either(bit["c"], bit["v"]))
    some = TABLE[0]  # its layout and its words are not looked at
    problem = replace(
        pose(step_rule(some), some.property()),
        circuit=circuit,
        bits=tuple(Bit(bit[name], BitSort.MISHAP, name, "present") for name in order),
        after=tuple(after[name] for name in order),
        start=circuit.all_of(bit.values()),
        bad=negate(circuit.all_of([bit["g"], bit["h"], bit["k"]])),
        well_formed=TRUE,
        templates={},
    )
    return problem, bit


@pytest.mark.parametrize("order", [tuple("vucwghk"), *islice(permutations("cghkuvw"), 0, None, 97)], ids="".join)
def test_a_clause_is_tried_again_when_what_needed_it_is_gone(order: tuple[str, ...]) -> None:
    problem, bit = seven_bits(order)
    left = minimised(problem, [(bit[name],) for name in order], problem.bad)
    assert sorted(left) == sorted((bit[name],) for name in "ghkvw")
