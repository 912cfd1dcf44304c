"""Bounded search: unroll the step rule, ask for a hit at each depth in turn. The first one found is a shortest one.

The same unrolling, freed of the start, gives induction: if no run of k quiet steps ends in a hit, and none of the first
k states of a run from the start is one, no state ever is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from operator import itemgetter

from bandproof.machine.semantics import check_step
from bandproof.machine.story import State, Step, Story
from bandproof.model.arrangement import VolumeKind
from bandproof.smt.circuit import Numbered
from bandproof.smt.encode import LAPS, LAST
from bandproof.smt.sat import Sat
from bandproof.smt.system import Problem


class Unrolling:
    """Copies of one problem's step, each in its own block of solver variables; copy t is the state after t steps.

    With `from_start` copy 0 is a start state, else any well-formed one. `goal` is the formula looked for; the
    problem's hit when not given. A step may also change nothing, so what cannot be reached in t steps cannot be reached
    in fewer.
    """

    def __init__(self, problem: Problem, *, from_start: bool, goal: int | None = None) -> None:
        self.problem = problem
        self.goal = problem.hit if goal is None else goal
        bits = [b.literal for b in problem.bits]
        self._sat = Sat()
        self._copies = 0
        self._first = 1
        if from_start:
            start = Numbered(problem.circuit, [problem.start, *bits])
            self._first += start.size
            self._sat.add_all(start.clauses)
            self._sat.add([start.signed(problem.start)])
        self._step = Numbered(
            problem.circuit, [*problem.after, self.goal, problem.well_formed, *bits], first=self._first
        )
        #: Each clause of the step as what picks its literals from a table of all of them.
        self._picks = [itemgetter(*clause) for clause in self._step.clauses if len(clause) > 1]
        self._units = [clause[0] for clause in self._step.clauses if len(clause) == 1]
        self._add_copy()
        if from_start:
            for bit in bits:
                self._equate(start.signed(bit), self.at(bit, 0))

    def at(self, literal: int, copy: int) -> int:
        """The signed solver variable of a literal in one copy."""
        signed = self._step.signed(literal)
        shift = copy * self._step.size
        return signed + shift if signed > 0 else signed - shift

    def _equate(self, one: int, other: int) -> None:
        self._sat.add_all([[-one, other], [one, -other]])

    def _add_copy(self) -> None:
        shift = self._copies * self._step.size
        high = self._first + self._step.size
        # Index i holds the copy's variable for variable i; index -i, counted from the end, the opposite.
        table = [*range(shift, shift + high), *range(1 - shift - high, -shift)]
        self._sat.add_all(pick(table) for pick in self._picks)
        self._sat.add_all([table[x]] for x in self._units)
        self._sat.add([self.at(self.problem.well_formed, self._copies)])
        if self._copies:
            for bit, after in zip(self.problem.bits, self.problem.after, strict=True):
                self._equate(self.at(bit.literal, self._copies), self.at(after, self._copies - 1))
        self._copies += 1

    def grow_to(self, copies: int) -> None:
        """Make sure that at least `copies` copies exist."""
        while self._copies < copies:
            self._add_copy()

    def reaches(self, depth: int) -> bool:
        """Some run, of the kind this unrolling has, is in the goal after exactly `depth` steps.

        After a `story` no deeper run may be asked for: its spare variables stand where the next copy would.
        """
        self.grow_to(depth + 1)
        self._spare = self._first + self._copies * self._step.size
        return self._sat.holds([self.at(self.goal, depth)])

    def shortest(self, low: int, high: int) -> Story | None:
        """A shortest run, when none has fewer than `low` steps and one has at most `high`; None when none has."""
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
        self.grow_to(depth + 1)
        self._sat.add([-self.at(self.goal, depth)])

    def story(self, depth: int) -> Story:
        """A calm run among those of the last `reaches(depth)`: what need not change, does not.

        Volumes and parts are asked one after another to stand still throughout, then from one state to the next;
        each does so as long as some run of this length is left. Tanks come first: it takes most air to move them.
        The least number of changes is not sought: that would be another search.
        """
        self._model = self._sat.model()
        held = [self.at(self.goal, depth)]
        counters = (LAPS, LAST)
        tanks = {f"volume {v.name}" for v in self.problem.layout.arrangement.volumes if v.kind is VolumeKind.TANK}
        groups = sorted(
            {b.group for b in self.problem.bits if not b.group.startswith(counters)},
            key=lambda g: (g not in tanks, not g.startswith("part"), g),
        )
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
        return tell(self.problem, [self._state(copy) for copy in range(depth + 1)])

    def _stands_still(self, group: str, copy: int) -> tuple[int, list[tuple[int, int]]]:
        """A new variable that, assumed, keeps the bits of a group from this copy to the next; and those bits."""
        self._spare += 1
        pairs = [
            (self.at(b.literal, copy), self.at(b.literal, copy + 1)) for b in self.problem.bits if b.group == group
        ]
        for one, other in pairs:
            self._sat.add_all([[-self._spare, -one, other], [-self._spare, one, -other]])
        return self._spare, pairs

    def _value(self, signed: int) -> bool:
        return (self._model[abs(signed) - 1] > 0) == (signed > 0)

    def _state(self, copy: int) -> State:
        return self.problem.state_of([self._value(self.at(b.literal, copy)) for b in self.problem.bits])

    @property
    def work(self) -> int:
        """How much the solver has done, in its own steps; the same on every machine."""
        return self._sat.work

    def close(self) -> None:
        """Free the solver."""
        self._sat.close()


class NotARunError(Exception):
    """An engine's run that the executable machine does not accept: the two meanings differ, which is a defect."""


def tell(problem: Problem, states: list[State]) -> Story:
    """States from a solver as a story, its steps named by the executable semantics.

    Repeats are left out, and a leap is told landmark by landmark.
    """
    claim = problem.claim
    kept = [states[0]]
    steps: list[Step] = []
    for state in (between for pair in pairwise(states) for between in _landmark_by_landmark(*pair)):
        if state == kept[-1]:
            continue
        step = check_step(problem.layout, kept[-1], state, claim.pace, claim.mishaps)
        if isinstance(step, str):
            message = f"step {len(steps) + 1}: {step}"
            raise NotARunError(message)
        kept.append(state)
        steps.append(step)
    return Story(claim.during, tuple(kept), tuple(steps))


def _landmark_by_landmark(before: State, after: State) -> Iterator[State]:
    """The states after `before` up to `after`, a volume that crosses several landmarks crossing one at a time."""
    gap = max((abs(a - b) for b, a in zip(before.bands, after.bands, strict=True)), default=0)
    for k in range(1, gap):
        bands = tuple(b + max(-k, min(k, a - b)) for b, a in zip(before.bands, after.bands, strict=True))
        yield replace(before, bands=bands)
    yield after


def a_start(problem: Problem) -> State | None:
    """Some state of the problem's start, if it has one."""
    bits = [bit.literal for bit in problem.bits]
    numbered = Numbered(problem.circuit, [problem.start, problem.well_formed, *bits])
    sat = Sat([*numbered.clauses, [numbered.signed(problem.start)], [numbered.signed(problem.well_formed)]])
    try:
        if not sat.holds():
            return None
        true = set(sat.model())  # a bit that no clause mentions has no value: any will do
        return problem.state_of([(abs(x) in true) == (x > 0) for x in map(numbered.signed, bits)])
    finally:
        sat.close()


def no_state_in(problem: Problem, goal: int) -> bool:
    """No well-formed state at all, reachable or not, is in the goal."""
    numbered = Numbered(problem.circuit, [goal, problem.well_formed])
    sat = Sat([*numbered.clauses, [numbered.signed(goal)], [numbered.signed(problem.well_formed)]])
    try:
        return not sat.holds()
    finally:
        sat.close()
