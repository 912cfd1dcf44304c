"""z3 as a reader of SMT-LIB text: the text goes in as it is, the printed answers come out."""

from __future__ import annotations

import z3

#: Steps of z3's own clock that a text may take; the largest shipped certificate takes a thousandth of this.
_LIMIT = 2_000_000_000

NAME = "z3"


class SolverRefusesError(Exception):
    """A solver does not read the text."""


def version() -> str:
    """The solver's version."""
    return str(z3.get_version_string())


def answers(text: str) -> tuple[str, ...]:
    """What z3 prints for the text, line by line."""
    context = z3.Context()
    context_config = f"(set-option :rlimit {_LIMIT})\n"
    try:
        printed = z3.Z3_eval_smtlib2_string(context.ref(), context_config + text)
    except z3.Z3Exception as error:
        message = str(error.value if hasattr(error, "value") else error)
        raise SolverRefusesError(message) from error
    return tuple(str(printed).split())
