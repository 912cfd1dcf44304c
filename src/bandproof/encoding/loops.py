"""Runs that go on for ever, as a search for a state that comes again.

A run of finitely many states that goes on for ever repeats a state: it is a way to some state and a loop from it back to
itself. So whether there is one in whose loop certain things happen is asked as a question about reachability, with a
second copy of the state: at some moment, chosen freely, the present state is saved; the run is *bad* when it is back in
the saved state, what has to happen in the loop has happened since, and what must not has not.

After A. Biere, C. Artho, V. Schuppan, "Liveness checking as safety checking", FMICS 2002.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from bandproof.encoding.bits import Bit, BitSort
from bandproof.encoding.circuit import FALSE, negate
from bandproof.encoding.system import Problem


@dataclass(frozen=True, slots=True)
class Loop:
    """What is asked of a loop. Literals over a state's bits and the choices of the step from it.

    `happens`: each holds in some state or step of the loop; `throughout`: holds in all of them. `because`: pairs of which
    the second holds in some state or step of the loop if the first does.
    """

    happens: tuple[int, ...]
    throughout: int
    because: tuple[tuple[int, int], ...] = ()


def looping(problem: Problem, loop: Loop, *, kept: Callable[[Bit], bool] = lambda _: False) -> Problem:
    """The search for a run of `problem` that ends in such a loop; the bits that are `kept` do not change in any step.

    Its bits are those of the problem, a saved copy of those that change, and what has been seen since the saving.
    """
    c = problem.circuit
    after = {
        bit.literal: bit.literal if kept(bit) else value for bit, value in zip(problem.bits, problem.after, strict=True)
    }
    changing = [bit for bit in problem.bits if not kept(bit)]
    save = c.variable("input save the state")

    def memory(subject: str, value: str = "yes") -> Bit:
        return Bit(c.variable(f"loop: {subject} {value}"), BitSort.LOOP, subject, value)

    saved, lost = memory("saved"), memory("lost")
    copies = [memory("copy", str(number)) for number, _ in enumerate(changing)]
    events = list(dict.fromkeys([*loop.happens, *(literal for pair in loop.because for literal in pair)]))
    seen = {event: memory("seen", str(number)) for number, event in enumerate(events)}
    saving = c.both(save, negate(saved.literal))
    inside = c.either(saved.literal, save)
    following: dict[int, int] = dict(after)
    following[saved.literal] = inside
    following[lost.literal] = c.both(inside, c.either(c.both(saved.literal, lost.literal), negate(loop.throughout)))
    for bit, copy in zip(changing, copies, strict=True):
        following[copy.literal] = c.choose(saving, bit.literal, copy.literal)
    for happened, bit in seen.items():
        following[bit.literal] = c.both(inside, c.either(c.both(saved.literal, bit.literal), happened))
    bits = (*problem.bits, saved, lost, *copies, *seen.values())
    back = [_same(problem, bit.literal, copy.literal) for bit, copy in zip(changing, copies, strict=True)]
    met = [seen[event].literal for event in loop.happens]
    met += [c.implies(seen[one].literal, seen[other].literal) for one, other in loop.because]
    closed = c.all_of([saved.literal, negate(lost.literal), *met, *back])
    values = tuple(following[bit.literal] for bit in bits)
    return replace(
        problem,
        bits=bits,
        after=values,
        accelerated=values,
        start=c.all_of([problem.start, *(negate(bit.literal) for bit in (saved, lost, *copies, *seen.values()))]),
        bad=closed,
        over=FALSE,
    )


def _same(problem: Problem, one: int, other: int) -> int:
    c = problem.circuit
    return c.both(c.implies(one, other), c.implies(other, one))


def changes(problem: Problem, bits: Sequence[Bit]) -> int:
    """The step changes one of these bits."""
    after: Mapping[int, int] = {bit.literal: value for bit, value in zip(problem.bits, problem.after, strict=True)}
    return problem.circuit.any_of(negate(_same(problem, bit.literal, after[bit.literal])) for bit in bits)
