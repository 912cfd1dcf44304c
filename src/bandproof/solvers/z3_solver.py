"""z3 as a reader of SMT-LIB text: the text goes in as it is, the printed answers come out.

Also here: how a long question to z3 is watched, so that limits on time and memory are kept while it thinks.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import Any

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


#: Seconds between two looks at the limits while a question is open.
_LOOK_EVERY = 0.1


def ask(solver: Any, assumptions: list[Any], check: Callable[[], None] | None) -> Any:
    """`solver.check(assumptions)`, interrupted as soon as `check` raises; what it raised is raised then."""
    if check is None:
        return solver.check(assumptions)
    check()
    done = threading.Event()
    raised: list[Exception] = []

    def watch() -> None:
        while not done.wait(_LOOK_EVERY):
            try:
                if not raised:
                    check()
            except Exception as error:  # noqa: BLE001 - whatever it is, it is raised again where it was asked for
                raised.append(error)
            if raised:
                # Again and again: an interruption that comes before the search has begun is lost.
                solver.ctx.interrupt()

    watcher = threading.Thread(target=watch, daemon=True)
    watcher.start()
    try:
        answer = solver.check(assumptions)
    except z3.Z3Exception:
        if not raised:
            raise
        answer = z3.unknown
    finally:
        done.set()
        watcher.join()
    if raised:
        raise raised[0]
    return answer
