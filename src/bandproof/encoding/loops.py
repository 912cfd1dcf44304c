"""Runs that go on for ever, as a search for a state that comes again.

A run of finitely many states that goes on for ever repeats a state: it is a way to some state and a loop from it back to
itself. So whether there is one in whose loop certain things happen is asked as a question about reachability, with a
second copy of the state: at some moment, chosen freely, the present state is saved; the run is *bad* when it is back in
the saved state, what has to happen in the loop has happened since, and what must not has not.

A question about loops from anywhere needs no way to them: there the first state is the saved one.

After A. Biere, C. Artho, V. Schuppan, "Liveness checking as safety checking", FMICS 2002.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from bandproof.encoding.bits import Bit, BitSort
from bandproof.encoding.circuit import FALSE, TRUE, negate
from bandproof.encoding.system import Problem


@dataclass(frozen=True, slots=True)
class Loop:
    """What is asked of a loop. Literals over a state's bits and the choices of the step from it.

    `happens`: each holds in some state or step of the loop; `throughout`: holds in all of them. `because`: pairs of which
    the second holds in some state or step of the loop if the first does. `says` puts literals into words, for proofs.
    """

    happens: tuple[int, ...]
    throughout: int = TRUE
    because: tuple[tuple[int, int], ...] = ()
    says: tuple[tuple[int, str], ...] = ()


def looping(
    problem: Problem, loop: Loop, *, kept: Callable[[Bit], bool] = lambda _: False, from_anywhere: bool = False
) -> Problem:
    """The search for a run of `problem` that ends in such a loop; the bits that are `kept` do not change in any step.

    `from_anywhere`: for a loop that begins in any state of the problem's start, and nothing before it. The search's bits
    are those of the problem, a saved copy of those that change, and what has been seen since the saving.
    """
    search = _LoopSearch(problem, loop, kept, from_anywhere=from_anywhere)
    after = tuple(search.following[bit.literal] for bit in search.bits)
    start, bad = search.start(), search.closed()
    return replace(problem, bits=search.bits, after=after, accelerated=after, start=start, bad=bad, over=FALSE)


class _LoopSearch:
    """The bits of one search, and what each is after a step."""

    def __init__(self, problem: Problem, loop: Loop, kept: Callable[[Bit], bool], *, from_anywhere: bool) -> None:
        self._problem, self._loop = problem, loop
        self._c = problem.circuit
        self._words = dict(loop.says)
        self._from_anywhere = from_anywhere
        self._changing = {n: bit for n, bit in enumerate(problem.bits) if not kept(bit)}
        self._copies = {n: self._memory("copy", str(n)) for n in self._changing}
        events = dict.fromkeys([*loop.happens, *(literal for pair in loop.because for literal in pair)])
        self._seen = {x: self._memory("seen", self._words.get(x, f"event {n}")) for n, x in enumerate(events, start=1)}
        self._lost = self._memory("lost", "")
        self._saved = None if from_anywhere else self._memory("saved", "")
        extra = [*self._copies.values(), *self._seen.values(), self._lost]
        self._extra = extra if self._saved is None else [*extra, self._saved]
        self.bits = (*problem.bits, *self._extra)
        self.following = {bit.literal: bit.literal for bit in problem.bits}
        for n in self._changing:
            self.following[problem.bits[n].literal] = problem.after[n]
        self._remember()

    def _memory(self, subject: str, value: str) -> Bit:
        return Bit(self._c.variable(f"loop: {subject} {value}".rstrip()), BitSort.LOOP, subject, value)

    def _remember(self) -> None:
        c = self._c
        before, saving = TRUE, FALSE
        if self._saved is not None:
            before = self._saved.literal
            saving = c.both(c.variable("input save the state"), negate(before))
            self.following[before] = c.either(before, saving)
        inside = c.either(before, saving)
        for n, copy in self._copies.items():
            self.following[copy.literal] = c.choose(saving, self._problem.bits[n].literal, copy.literal)
        for event, bit in [*self._seen.items(), (negate(self._loop.throughout), self._lost)]:
            self.following[bit.literal] = c.both(inside, c.either(c.both(before, bit.literal), event))

    def start(self) -> int:
        """Nothing is remembered yet, or, from anywhere, just the state itself."""
        copies = {copy.literal for copy in self._copies.values()} if self._from_anywhere else set()
        nothing = [negate(bit.literal) for bit in self._extra if bit.literal not in copies]
        same = self._back() if self._from_anywhere else []
        return self._c.all_of([self._problem.start, *nothing, *same])

    def _back(self) -> list[int]:
        return [_same(self._problem, self._problem.bits[n].literal, copy.literal) for n, copy in self._copies.items()]

    def closed(self) -> int:
        """The run is back in the saved state, and all that is asked of the loop is so."""
        c = self._c
        met = [self._seen[event].literal for event in self._loop.happens]
        met += [c.implies(self._seen[one].literal, self._seen[other].literal) for one, other in self._loop.because]
        saved = TRUE if self._saved is None else self._saved.literal
        return c.all_of([saved, negate(self._lost.literal), *met, *self._back()])


def _same(problem: Problem, one: int, other: int) -> int:
    c = problem.circuit
    return c.both(c.implies(one, other), c.implies(other, one))


def changes(problem: Problem, bits: Sequence[Bit]) -> int:
    """The step changes one of these bits."""
    after: Mapping[int, int] = {bit.literal: value for bit, value in zip(problem.bits, problem.after, strict=True)}
    return problem.circuit.any_of(negate(_same(problem, bit.literal, after[bit.literal])) for bit in bits)
