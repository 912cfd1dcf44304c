"""cvc5 as a reader of SMT-LIB text, where it is installed: the second opinion on a certificate."""

from __future__ import annotations

from importlib import import_module
from importlib.util import find_spec
from typing import Any

from bandproof.solvers.z3_solver import SolverRefusesError

NAME = "cvc5"


def installed() -> bool:
    """The cvc5 package can be imported."""
    return find_spec("cvc5") is not None


def version() -> str:
    """The solver's version."""
    return str(import_module("cvc5").__version__)


def answers(text: str) -> tuple[str, ...]:
    """What cvc5 prints for the text, line by line; SolverRefusesError when it cannot read it."""
    cvc5: Any = import_module("cvc5")
    solver = cvc5.Solver(cvc5.TermManager())
    parser = cvc5.InputParser(solver)
    parser.setStringInput(cvc5.InputLanguage.SMT_LIB_2_6, text, "certificate")
    symbols = parser.getSymbolManager()
    printed: list[str] = []
    try:
        while not (command := parser.nextCommand()).isNull():
            printed += command.invoke(solver, symbols).split("\n")
    except RuntimeError as error:
        raise SolverRefusesError(str(error)) from error
    return tuple(line for line in printed if line)
