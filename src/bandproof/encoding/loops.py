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
from bandproof.encoding.problem import Problem


@dataclass(frozen=True, slots=True)
class Loop:
    """What is asked of a loop. Literals over a state's bits and the choices of the step from it.

    `happens`: each holds in some state or step of the loop; `throughout`: holds in all of them. `because`: pairs of which
    the second holds in some state or step of the loop if the first does. `says` puts literals into words, for proofs.

    Where there is something `wanted`, it happens too in the loop of a bad, but not in every loop that `applies` then speaks
    of. `closing` makes one more demand, on what has been seen of `noted` literals since the saving.
    """

    happens: tuple[int, ...]
    throughout: int = TRUE
    because: tuple[tuple[int, int], ...] = ()
    says: tuple[tuple[int, str], ...] = ()
    wanted: tuple[int, ...] = ()
    noted: tuple[int, ...] = ()
    closing: Callable[[Mapping[int, int]], int] = lambda _: TRUE


def looping(
    problem: Problem,
    loop: Loop,
    *,
    kept: Callable[[Bit], bool] = lambda _: False,
    held: Callable[[Bit], bool] = lambda _: False,
    from_anywhere: bool = False,
) -> Problem:
    """The search for a run of `problem` that ends in such a loop; the bits that are `kept` do not change in any step.

    `from_anywhere`: for a loop that begins in any state of the problem's start, and nothing before it. The search's bits
    are those of the problem, a saved copy of those that change, and what has been seen since the saving. Those that are
    `held` do not change where what is to hold throughout the loop does, and need no copy.
    """
    search = _LoopSearch(problem, loop, kept, held, from_anywhere=from_anywhere)
    after = tuple(search.following[bit.literal] for bit in search.bits)
    start, closed = search.start(), search.closed()
    looked = replace(problem, bits=search.bits, after=after, accelerated=after, start=start, bad=closed, over=FALSE)
    if not loop.wanted:
        return looked
    bad = problem.circuit.both(closed, search.wanted())
    return replace(looked, bad=bad, applies=closed, over=search.lost, saved=search.saved)


class _LoopSearch:
    """The bits of one search, and what each is after a step."""

    def __init__(
        self,
        problem: Problem,
        loop: Loop,
        kept: Callable[[Bit], bool],
        held: Callable[[Bit], bool],
        *,
        from_anywhere: bool,
    ) -> None:
        self._problem, self._loop = problem, loop
        self._c = problem.circuit
        self._words = dict(loop.says)
        self._from_anywhere = from_anywhere
        self._changing = {n: bit for n, bit in enumerate(problem.bits) if not kept(bit)}
        self._copies = {n: self._memory("copy", str(n)) for n, bit in self._changing.items() if not held(bit)}
        paired = [literal for pair in loop.because for literal in pair]
        events = dict.fromkeys([*loop.happens, *paired, *loop.wanted, *(x for x in loop.noted if x > TRUE)])
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
        for event, bit in self._seen.items():
            self.following[bit.literal] = c.both(inside, c.either(c.both(before, bit.literal), event))
        lost = self._lost.literal
        self.following[lost] = c.either(lost, c.both(inside, negate(self._loop.throughout)))

    @property
    def lost(self) -> int:
        """What must hold throughout has not; it never will have."""
        return self._lost.literal

    @property
    def saved(self) -> int:
        """A state has been saved."""
        return TRUE if self._saved is None else self._saved.literal

    def wanted(self) -> int:
        """What is wanted of the loop of a bad has happened."""
        return self._c.all_of(self._seen[event].literal for event in self._loop.wanted)

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
        seen = {TRUE: TRUE, FALSE: FALSE, **{event: bit.literal for event, bit in self._seen.items()}}
        return c.all_of([self.saved, negate(self.lost), *met, self._loop.closing(seen), *self._back()])


def _same(problem: Problem, one: int, other: int) -> int:
    c = problem.circuit
    return c.both(c.implies(one, other), c.implies(other, one))


def changes(problem: Problem, bits: Sequence[Bit]) -> int:
    """The step changes one of these bits."""
    after: Mapping[int, int] = {bit.literal: value for bit, value in zip(problem.bits, problem.after, strict=True)}
    return problem.circuit.any_of(negate(_same(problem, bit.literal, after[bit.literal])) for bit in bits)
