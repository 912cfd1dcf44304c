"""Bounded search: unroll the step rule, ask for a bad at each depth in turn. The first one found is a shortest one.

Freed of the start, the unrolling gives induction, a second opinion that the tests use: if no run of k quiet steps ends
in a bad, and none of the first k states of a run from the start is one, no state ever is.
"""

from __future__ import annotations

from bandproof.encoding.bits import Bit, BitSort, Group
from bandproof.encoding.session import SolverSession
from bandproof.encoding.system import Problem
from bandproof.machine.story import State, Story
from bandproof.machine.telling import NotARunError, tell
from bandproof.model.arrangement import VolumeKind


class Unrolling:
    """Copies of one problem's step, each over solver variables of its own; copy t is the state after t steps.

    With `from_start` copy 0 is a start state, else any well-formed one. `goal` is the formula looked for; the
    problem's bad when not given. A step may also change nothing, so what cannot be reached in t steps cannot be reached
    in fewer.
    """

    def __init__(self, problem: Problem, *, from_start: bool, goal: int | None = None) -> None:
        self.problem = problem
        self._goal = problem.bad if goal is None else goal
        self._session = SolverSession(problem)
        self._sat = self._session.sat
        first = self._session.new_state()
        #: For each copy the solver's literals of the state's bits.
        self._copies = [first]
        literal = self._session.write_formed(first, *([problem.start] if from_start else []))
        if from_start:
            self._sat.add([literal(problem.start)])
        #: For each depth that was asked for: the solver's literal of the goal there.
        self._hits: dict[int, int] = {}

    def grow_to(self, copies: int) -> None:
        """Make sure that at least `copies` copies exist."""
        while len(self._copies) < copies:
            # What is well formed stays so; said of every copy, it spares the solver finding that out.
            literal = self._session.write_formed(self._copies[-1], *self.problem.after)
            self._copies.append([literal(after) for after in self.problem.after])

    def _hit(self, depth: int) -> int:
        """The solver's literal of: the state after `depth` steps is in the goal."""
        if depth not in self._hits:
            self.grow_to(depth + 1)
            self._hits[depth] = self._session.write_formed(self._copies[depth], self._goal)(self._goal)
        return self._hits[depth]

    def reaches(self, depth: int) -> bool:
        """Some run, of the kind this unrolling has, is in the goal after exactly `depth` steps."""
        return self._sat.holds([self._hit(depth)])

    def shortest(self, low: int, high: int) -> Story | None:
        """A shortest run, when none has fewer than `low` steps and one has at most `high`; None when none has.

        NotARunError when the solver takes back what it said.
        """
        if not self.reaches(high):
            self.exclude(high)
            return None
        while low < high:
            middle = (low + high) // 2
            if self.reaches(middle):
                high = middle
            else:
                low = middle + 1
        if not self.reaches(high):
            message = f"a run of {high} steps was there and is gone"
            raise NotARunError(message)
        return self.story(high)

    def some(self, high: int) -> Story | None:
        """A run of at most `high` steps, as it comes; None when there is none."""
        if not self.reaches(high):
            self.exclude(high)
            return None
        self._model = self._sat.model()
        return self._told(high)

    def exclude(self, depth: int) -> None:
        """From now on the state after `depth` steps is not in the goal."""
        self._sat.add([-self._hit(depth)])

    def story(self, depth: int) -> Story:
        """A calm run among those of the last `reaches(depth)`: what need not change, does not.

        Volumes and parts are asked one after another to stand still throughout, then from one state to the next;
        each does so as long as some run of this length is left. Tanks come first: it takes most air to move them.
        The least number of changes is not sought: that would be another search.
        """
        self._model = self._sat.model()
        held = [self._hit(depth)]
        groups = self._groups()
        still = {(g, t): self._stands_still(g, t) for g in groups for t in range(depth)}
        for wanted in (*([(g, t) for t in range(depth)] for g in groups), *([key] for key in still)):
            literals = [still[key][0] for key in wanted]
            quiet = all(self._value(one) == self._value(other) for key in wanted for one, other in still[key][1])
            if not quiet and self._sat.holds([*held, *literals]):
                self._model = self._sat.model()
                quiet = True
            if quiet:
                held += literals
        return self._told(depth)

    def _told(self, depth: int) -> Story:
        problem = self.problem
        run = [self._state(copy) for copy in range(depth + 1)]
        return tell(
            problem.layout, problem.claim, [problem.state_of(values) for values in run], problem.round_from(run)
        )

    def _groups(self) -> list[Group]:
        """What is asked to stand still, in that order: tanks, parts, all else that says where the arrangement is."""
        tanks = {v.name for v in self.problem.layout.arrangement.volumes if v.kind is VolumeKind.TANK}

        def order(bit: Bit) -> tuple[bool, bool, Group]:
            tank = bit.sort is BitSort.VOLUME and bit.subject in tanks
            return (not tank, bit.sort is not BitSort.PART, bit.group)

        bits = [bit for bit in self.problem.bits if bit.sort not in (BitSort.COUNT, BitSort.LAST, BitSort.LOOP)]
        return list(dict.fromkeys(bit.group for bit in sorted(bits, key=order)))

    def _stands_still(self, group: Group, copy: int) -> tuple[int, list[tuple[int, int]]]:
        """A new variable that, assumed, keeps the bits of a group from this copy to the next; and those bits."""
        still = self._session.new_variable()
        pairs = [
            (before, after)
            for bit, before, after in zip(self.problem.bits, self._copies[copy], self._copies[copy + 1], strict=True)
            if bit.group == group
        ]
        for one, other in pairs:
            self._sat.add_all([[-still, -one, other], [-still, one, -other]])
        return still, pairs

    def _value(self, signed: int) -> bool:
        return (self._model[abs(signed) - 1] > 0) == (signed > 0)

    def _state(self, copy: int) -> list[bool]:
        return [self._value(x) for x in self._copies[copy]]

    @property
    def work(self) -> int:
        """How much the solver has done, in its own steps; the same on every machine."""
        return self._sat.work

    def close(self) -> None:
        """Free the solver."""
        self._sat.close()


def a_start(problem: Problem) -> State | None:
    """Some state of the problem's start, if it has one."""
    session = SolverSession(problem)
    state = session.new_state()
    session.sat.add([session.write_formed(state, problem.start)(problem.start)])
    try:
        if not session.sat.holds():
            return None
        model = session.sat.model()
        return problem.state_of([model[x - 1] > 0 for x in state])
    finally:
        session.sat.close()


def no_state_in(problem: Problem, goal: int) -> bool:
    """No well-formed state at all, reachable or not, is in the goal."""
    session = SolverSession(problem)
    session.sat.add([session.write_formed(session.new_state(), goal)(goal)])
    try:
        return not session.sat.holds()
    finally:
        session.sat.close()
