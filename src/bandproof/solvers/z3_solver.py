"""The one seam to z3. Everything goes in as SMT-LIB text.

`answers` gives a whole text and takes what is printed. A `Session` is asked again and again, and tells values and cores. A
long question is watched, so that limits on time and memory are kept while z3 thinks.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Mapping
from enum import StrEnum
from fractions import Fraction
from typing import Any

import z3

from bandproof.solvers.smt_terms import Bool, BoolSymbol, RealSymbol, Symbol, assertion

#: Steps of z3's own clock that a text may take; the largest shipped certificate takes a thousandth of this.
_LIMIT = 2_000_000_000

NAME = "z3"


class SolverRefusesError(Exception):
    """A solver does not read the text."""


def version() -> str:
    """The solver's version."""
    return str(z3.get_version_string())


def answers(script: str) -> tuple[str, ...]:
    """What z3 prints for the script, line by line; SolverRefusesError when it cannot read it."""
    context = z3.Context()
    context_config = f"(set-option :rlimit {_LIMIT})\n"
    try:
        printed = z3.Z3_eval_smtlib2_string(context.ref(), context_config + script)
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


class Answer(StrEnum):
    """What a session answers."""

    YES = "sat"
    NO = "unsat"
    GAVE_UP = "unknown"


class Session:
    """Assertions, asked for a solution under assumptions. `check` is looked at meanwhile, and may raise to give up.

    `settings` are z3's own, such as `rlimit`, the steps of its clock for one question. `logic` chooses its way of working.
    """

    def __init__(
        self,
        script: str,
        check: Callable[[], None] | None,
        settings: Mapping[str, int] | None = None,
        logic: str | None = None,
    ) -> None:
        self._check = check
        self._context = z3.Context()
        self._solver = z3.SolverFor(logic, ctx=self._context) if logic else z3.Solver(ctx=self._context)
        for name, value in (settings or {}).items():
            self._solver.set(name, value)
        self._terms: dict[Symbol, Any] = {}
        self._solver.from_string(script)

    def limit(self, steps: int) -> None:
        """From now on no question takes more steps of z3's clock."""
        self._solver.set("rlimit", steps)

    def add(self, term: Bool) -> None:
        """From now on the term holds; its symbols have been declared in the script."""
        self._solver.from_string(assertion(term))

    def extend(self, script: str) -> None:
        """From now on what the script asserts holds; it may declare symbols of its own."""
        self._solver.from_string(script)

    def ask(self, assumptions: Iterable[BoolSymbol] = ()) -> Answer:
        """Whether all can hold, with these assumed."""
        return Answer(str(ask(self._solver, [self._term(symbol) for symbol in assumptions], self._check)))

    def core(self) -> frozenset[BoolSymbol]:
        """After a no: assumptions that already make it so."""
        return frozenset(BoolSymbol(f"|{term.decl().name()}|") for term in self._solver.unsat_core())

    def truth(self, symbol: BoolSymbol) -> bool:
        """After a yes: the value of a symbol."""
        return bool(z3.is_true(self._solver.model().eval(self._term(symbol), model_completion=True)))

    def true_names(self) -> frozenset[str]:
        """After a yes: every symbol, as SMT-LIB writes it in bars, that had to be given a value and is true."""
        model = self._solver.model()
        return frozenset(f"|{item.name()}|" for item in model.decls() if z3.is_true(model[item]))

    def numbers(self, wanted: Iterable[RealSymbol]) -> list[Fraction]:
        """After a yes: the values of symbols."""
        model = self._solver.model()
        return [Fraction(model.eval(self._term(symbol), model_completion=True).as_string()) for symbol in wanted]

    def _term(self, symbol: Symbol) -> Any:
        if symbol not in self._terms:
            sort = z3.Real if isinstance(symbol, RealSymbol) else z3.Bool
            self._terms[symbol] = sort(symbol.name.strip("|"), self._context)
        return self._terms[symbol]
