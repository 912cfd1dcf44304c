"""Finds the parts that could move for ever, so far as is seen without a search, and fall silent all the same.

Parts are asked about in the order of the arrangement, those only that open and shut something: when one is found silent,
what is left is computed anew, and mostly less is left. The proof of each is checked before it is used.

Limits: a search ends undecided after a number of solver steps, and so do all together; such a part counts as not silent.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace

from bandproof.certificates.basis import Basis, Silent, hash_of
from bandproof.certificates.checks import recheck, write_certificate
from bandproof.encoding.silence import silence_claim, silence_problem
from bandproof.encoding.system import Problem
from bandproof.engines.bounded import no_state_in
from bandproof.engines.reachability import Reachability, Reached
from bandproof.machine.cutout import cut_out
from bandproof.machine.layout import Layout
from bandproof.text.errors import CrossCheckError

#: All searches of an arrangement together may take this many solver steps; those of the base take a third of it.
LIMIT = 150_000_000


@dataclass(frozen=True, slots=True)
class Silence:
    """A part shown silent. `before`: the parts that the proof takes to be silent. `certificate`: its proof, SMT-LIB text."""

    part: str
    before: frozenset[str]
    certificate: str

    @property
    def known(self) -> Silent:
        """The part, with the hash by which certificates name its proof."""
        return Silent(self.part, hash_of(self.certificate))


@dataclass(frozen=True, slots=True)
class Quiet:
    """What the searches came to: the layout with its silent parts, their proofs, and the parts not decided."""

    layout: Layout
    silences: tuple[Silence, ...] = ()
    undecided: tuple[str, ...] = ()

    @property
    def known(self) -> tuple[Silent, ...]:
        """The parts shown silent, with their proofs, in the order in which they were shown."""
        return tuple(one.known for one in self.silences)


#: The last layouts that were searched, with the limit that held and the answer. (A layout has no hash.)
_KEPT: deque[tuple[Layout, int, Quiet]] = deque(maxlen=8)


def quietened(layout: Layout) -> Quiet:
    """The layout with every part left out of what could move for ever that a search shows silent.

    What was found of the last few layouts is remembered: the standing questions, the claims and what rechecks them all ask.
    """
    for asked, limit, quiet in _KEPT:
        if limit == LIMIT and asked == layout:
            return quiet
    found = _searched_through(layout, LIMIT)
    _KEPT.append((layout, LIMIT, found))
    return found


def _searched_through(layout: Layout, limit: int) -> Quiet:
    silences: list[Silence] = []
    undecided: dict[str, None] = {}
    work = 0
    asked: set[tuple[str, frozenset[str]]] = set()
    while True:
        waiting = [
            one.part
            for one in layout.motion.tanks_held
            if one.stirs and (one.part, layout.silent) not in asked and one.part not in undecided
        ]
        if not waiting:
            left = tuple(part for part in undecided if part in {one.part for one in layout.motion.tanks_held})
            return Quiet(layout, tuple(silences), left)
        part = waiting[0]
        asked.add((part, layout.silent))
        problem = silence_problem(cut_out(layout, part))
        found, steps = searched(problem, limit - work, lambda: None)
        work += steps
        if found is None:
            undecided[part] = None
        elif found.invariant is not None:
            basis = Basis(tuple(one.known for one in silences))
            proof = certified(problem, silence_claim(part).id, found.invariant, basis)
            silences.append(Silence(part, layout.silent, proof))
            layout = replace(layout, silent=layout.silent | {part})


def searched(problem: Problem, limit: int, check: Callable[[], None]) -> tuple[Reached | None, int]:
    """A run to the problem's bad or what excludes it, None when the limit came first; and the solver steps it took."""
    if no_state_in(problem, problem.bad):
        return Reached(None, ()), 0
    reach = Reachability(problem)
    running = reach.run()
    try:
        while reach.work < limit:
            check()
            next(running)
    except StopIteration as end:
        found: Reached = end.value
        return found, reach.work
    else:
        return None, reach.work
    finally:
        reach.close()


def certified(problem: Problem, name: str, invariant: tuple[tuple[int, ...], ...], basis: Basis) -> str:
    """The proof that there is no such loop as text, read again and checked; CrossCheckError when it does not stand."""
    text = write_certificate(problem, invariant, basis=basis).text
    checked = recheck(text, f"{name}.smt2")
    if not checked.ok:
        message = f"{name}.smt2: the proof does not stand: {'; '.join(checked.faults)}"
        raise CrossCheckError(message)
    return text
