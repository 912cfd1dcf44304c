"""Property-directed reachability: proves by growing an inductive invariant, refutes by a run.

After A. R. Bradley, "SAT-based model checking without unrolling", VMCAI 2011, and N. Een, A. Mishchenko, R. Brayton,
"Efficient implementation of property directed reachability", FMCAD 2011; states in the way of a wider cube are blocked
as in Z. Hassan, A. R. Bradley, F. Somenzi, FMCAD 2013, on better generalisation.
Written for this project and kept by hand: libraries that have it know no bands, and could not take lemmas while they search.

Frame i is a set of clauses that every state within i steps of the start satisfies. A *cube* is a conjunction of state
literals, kept as a tuple of signed solver variables. Obligations are never moved to later frames, so the first
counterexample found while frame N is the outermost has N accelerations, and none has fewer.

Bands make cubes special: of one volume's thermometer a cube needs at most the highest true and the lowest false bit,
and a literal that cannot be dropped can often be widened to a farther threshold.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable
from dataclasses import dataclass
from heapq import heappop, heappush

from bandproof.encoding.bits import BitSort, Group
from bandproof.encoding.circuit import FALSE
from bandproof.encoding.session import SolverSession
from bandproof.encoding.system import Problem

SolverCube = tuple[int, ...]

#: The solver is built anew after this many retired helper clauses; they slow every later query a little.
_RETIRED_LIMIT = 4_000

#: The sorts of bits that change because somebody does something.
_DONE = (BitSort.CONTROL, BitSort.MISHAP)

#: How many states in the way of a wider cube are blocked for its sake.
_IN_THE_WAY = 3


@dataclass(frozen=True, slots=True)
class Reached:
    """The outcome: `states` is a run to the goal, as bit values; or `invariant` the clauses that exclude it.

    A clause is a tuple of state literals of the problem's circuit; the invariant is their conjunction with the
    problem's `well_formed`.
    """

    states: tuple[tuple[bool, ...], ...] | None
    invariant: tuple[tuple[int, ...], ...] | None


@dataclass(frozen=True, slots=True)
class _Obligation:
    """States of `cube` lead to the goal: by `inputs` into `toward`, or, with no `toward`, they are in the goal."""

    cube: SolverCube
    inputs: SolverCube
    toward: _Obligation | None


class Reachability:
    """One search. `run()` yields between units of work and returns the outcome."""

    def __init__(self, problem: Problem, goal: int | None = None) -> None:
        self.problem = problem
        self._goal_literal = problem.bad if goal is None else goal
        self._has_over = problem.over != FALSE and self._goal_literal == problem.bad
        self._frames: list[set[SolverCube]] = [set()]
        self._gates: list[int] = [0]
        self._fixed: list[int] = []
        self._past_work = 0
        self._build()
        self._literal = {x: bit.literal for x, bit in zip(self._bits, problem.bits, strict=True)}
        self._groups = _Groups(problem, self._bits)
        #: How much a literal seems to matter: least are tried first when a cube is made wider. Where the hands are
        #: matters least: they can be anywhere soon.
        self._score = {
            signed: 0.0 if bit.sort in _DONE else 0.5
            for variable, bit in zip(self._bits, problem.bits, strict=True)
            for signed in (variable, -variable)
        }
        self._backbone = self._start_backbone()
        self._fix()

    def _start_backbone(self) -> set[int]:
        """The state literals that hold in every start state; all of them, and their opposites, if there is none."""
        if not self._sat.holds([self._start]):
            return {*self._bits, *(-x for x in self._bits)}
        self._model = self._sat.model()
        open_still = [x if self._true(x) else -x for x in self._bits]
        found: set[int] = set()
        while open_still:
            x = open_still.pop()
            if self._sat.holds([self._start, -x]):
                self._model = self._sat.model()
                open_still = [y for y in open_still if self._true(y)]
            else:
                found.add(x)
        return found

    def _fix(self) -> None:
        """Find state literals that hold at the start and that no step changes while all of them hold.

        Where the problem has states in which all is over, none of them matters: the search never goes on from one, and
        what is said here and in the frames is said of the others. Controls that nobody may turn, mishaps that may not
        occur and parts that never get a reason to move are found so in a few queries; frame by frame each would cost
        many.
        """
        held = sorted(self._backbone, key=abs)
        while held:
            gate = self._temporary(-self._next[x] for x in held)
            changed = self._sat.holds([gate, *held, *([] if self._over is None else [-self._next[self._over]])])
            if changed:
                self._model = self._sat.model()
            self._retire(gate)
            if not changed:
                break
            held = [x for x in held if self._true(self._next[x])]
        self._fixed = held
        self._sat.add_all([x] for x in held)

    def _true(self, signed: int) -> bool:
        return (self._model[abs(signed) - 1] > 0) == (signed > 0)

    # ---- solver

    def _build(self) -> None:
        problem, session = self.problem, SolverSession(self.problem)
        self._session, self._sat = session, session.sat
        self._bits = session.new_state()  # the same variables every time
        step = session.write_formed(self._bits, *problem.accelerated)
        self._next = dict(zip(self._bits, map(step, problem.accelerated), strict=True))
        self._next.update({-bit: -after for bit, after in self._next.items()})
        self._preferences = [*map(step, session.others(*problem.accelerated))]
        self._start = session.write(self._bits, problem.start)(problem.start)
        self._goal = session.write(self._bits, self._goal_literal)(self._goal_literal)
        self._over = step(problem.over) if self._has_over else None
        self._sat.add_all([x] for x in self._fixed)
        if self._over is not None:
            self._sat.add([-self._over])
        self._retired = 0
        self._gates = [0, *(self._session.new_variable() for _ in self._frames[1:])]
        for level, cubes in enumerate(self._frames):
            for cube in sorted(cubes):
                self._sat.add([-self._gates[level], *(-x for x in cube)])

    def _refresh(self) -> None:
        if self._retired > _RETIRED_LIMIT:
            self._past_work += self._sat.work
            self._sat.close()
            self._build()

    @property
    def work(self) -> int:
        """How much the solver has done, in its own steps; the same on every machine."""
        return self._past_work + self._sat.work

    @property
    def depth(self) -> int:
        """No run of fewer than this many steps reaches the goal."""
        return len(self._frames) - 1

    def close(self) -> None:
        """Free the solver."""
        self._sat.close()

    def _in_frame(self, level: int) -> list[int]:
        return [self._start] if level == 0 else self._gates[level:]

    def _temporary(self, clause: Iterable[int]) -> int:
        gate = self._session.new_variable()
        self._sat.add([-gate, *clause])
        return gate

    def _retire(self, gate: int) -> None:
        self._sat.add([-gate])
        self._retired += 1

    def _meets_start(self, cube: Iterable[int]) -> bool:
        cube = tuple(cube)
        if any(-x in self._backbone for x in cube):
            return False
        return self._sat.holds([self._start, *cube])

    def _blocked_from(self, cube: SolverCube, level: int, *, look: bool = False) -> SolverCube | None:
        """None if a state of frame `level` outside `cube` steps into it; else a part of the cube just as unreachable.

        After None with `look` the model holds such a state and the inputs.
        """
        gate = self._temporary(-x for x in cube)
        yes = self._sat.holds([*self._in_frame(level), gate, *(self._next[x] for x in cube)])
        if yes:
            self._model = self._sat.model() if look else []
            self._retire(gate)
            return None
        core = set(self._sat.core())
        self._retire(gate)
        kept = [x for x in cube if self._next[x] in core]
        if self._meets_start(kept):
            kept = self._clear_of_start(kept, cube)
        return self._groups.slim(kept)

    def _clear_of_start(self, kept: list[int], cube: SolverCube) -> list[int]:
        """`kept` with as few more literals of `cube` as it takes to hold no start state."""
        for x in cube:
            if -x in self._backbone:
                return [*kept, x]
        for x in cube:
            if x not in kept:
                kept = [*kept, x]
                if not self._meets_start(kept):
                    break
        return kept

    # ---- cubes

    def _lift(self, target: Iterable[int], *, goal: bool) -> tuple[SolverCube, SolverCube]:
        """From the model: a cube all of whose states go, by the model's inputs, into `target`; and those inputs.

        With `goal` the cube's states are themselves in the goal and no inputs are needed.
        """
        value = self._model
        inputs: SolverCube = () if goal else tuple(value[v - 1] for v in self._preferences)
        state = self._groups.slim([value[v - 1] for v in self._bits])
        gate = self._temporary([-self._goal] if goal else [-self._next[x] for x in target])
        for _ in range(3):
            if self._sat.holds([gate, *inputs, *state]):
                break
            core = set(self._sat.core())
            smaller = tuple(x for x in state if x in core)
            if len(smaller) == len(state):
                break
            state = smaller
        self._retire(gate)
        if self._over is not None and -self._over not in state:
            # The solver takes this for granted, so no core names it; a state that does go into `target` needs it.
            state = self._groups.slim([*state, -self._over])
        return state, inputs

    def _generalise(self, cube: SolverCube, level: int, *, aside: bool = False) -> SolverCube:
        """A cube around `cube` that frame `level` does not step into either; literals dropped, then widened.

        `aside`: it is itself blocked only so that another one can be made wider.
        """
        for x in sorted(cube, key=self._score.__getitem__):
            if x not in cube or len(cube) == 1:
                continue
            trial = tuple(y for y in cube if y != x)
            if (smaller := self._wide_blocked(trial, level, aside=aside)) is not None:
                cube = smaller
        for literal in cube:
            cube = self._widen(cube, literal, level)
        return cube

    def _wide_blocked(self, trial: SolverCube, level: int, *, aside: bool) -> SolverCube | None:
        """As `_blocked_from`, for a cube clear of the start; states in its way are blocked first, if few and easy."""
        if self._meets_start(trial):
            return None
        for _ in range(0 if aside or level == 0 else _IN_THE_WAY):
            smaller = self._blocked_from(trial, level, look=True)
            if smaller is not None:
                return smaller
            state, _ = self._lift(trial, goal=False)
            if self._meets_start(state) or (blocked := self._blocked_from(state, level - 1)) is None:
                return None
            self._add_pushed(self._generalise(blocked, level - 1, aside=True), level)
        return self._blocked_from(trial, level)

    def _add_pushed(self, cube: SolverCube, level: int) -> int:
        """Block the cube at frame `level`, or at as late a frame as it can be; returns which."""
        top = len(self._frames) - 1
        while level < top and (pushed := self._blocked_from(cube, level)) is not None:
            cube, level = pushed, level + 1
        self._add(cube, level)
        return level

    def _widen(self, cube: SolverCube, literal: int, level: int) -> SolverCube:
        """The cube with one of its literals moved as many thresholds out as it can be."""
        while literal in cube and (wider := self._groups.wider(literal)) is not None:
            trial = tuple(wider if y == literal else y for y in cube)
            if self._meets_start(trial) or (smaller := self._blocked_from(trial, level)) is None:
                break
            cube, literal = smaller, wider
        return cube

    def _add(self, cube: SolverCube, level: int) -> None:
        wide = [self._groups.at_least(x) for x in cube]
        for frame in self._frames[1 : level + 1]:
            for other in [o for o in frame if not any(x.isdisjoint(o) for x in wide)]:
                frame.discard(other)
        self._frames[level].add(cube)
        self._sat.add([-self._gates[level], *(-x for x in cube)])
        for x in cube:
            self._score[x] += 1.0

    # ---- the search

    def run(self) -> Generator[None, None, Reached]:
        """Search; yields after each unit of work, returns the outcome."""
        if self._sat.holds([self._start, self._goal]):
            self._model = self._sat.model()
            return Reached((self._values(),), None)
        while True:
            self._frames.append(set())
            self._gates.append(self._session.new_variable())
            top = len(self._frames) - 1
            while self._sat.holds([*self._in_frame(top), self._goal]):
                self._model = self._sat.model()
                cube, _ = self._lift((), goal=True)
                found = yield from self._block(_Obligation(cube, (), None), top)
                if found is not None:
                    return Reached(self._replay(found), None)
                yield
            invariant = yield from self._propagate()
            if invariant is not None:
                return Reached(None, invariant)

    def _block(self, first: _Obligation, top: int) -> Generator[None, None, _Obligation | None]:
        """Block `first` at frame `top`; returns the obligation met at the start when it cannot be blocked."""
        count = 0
        queue: list[tuple[int, int, _Obligation]] = [(top, count, first)]
        while queue:
            level, _, obligation = queue[0]
            if level == 0 or self._meets_start(obligation.cube):
                return obligation
            if self._already_blocked(obligation.cube, level):
                heappop(queue)
                continue
            smaller = self._blocked_from(obligation.cube, level - 1, look=True)
            if smaller is None:
                cube, inputs = self._lift(obligation.cube, goal=False)
                count -= 1
                heappush(queue, (level - 1, count, _Obligation(cube, inputs, obligation)))
            else:
                heappop(queue)
                level = self._add_pushed(self._generalise(smaller, level - 1), level)
                if level < top:
                    count -= 1
                    heappush(queue, (level + 1, count, obligation))
            self._refresh()
            yield
        return None

    def _already_blocked(self, cube: SolverCube, level: int) -> bool:
        return not self._sat.holds([*self._in_frame(level), *cube])

    def _propagate(self) -> Generator[None, None, tuple[tuple[int, ...], ...] | None]:
        for level in range(1, len(self._frames) - 1):
            for cube in sorted(self._frames[level]):
                if cube in self._frames[level] and (smaller := self._blocked_from(cube, level)) is not None:
                    self._frames[level].discard(cube)
                    self._add(smaller, level + 1)
                    self._refresh()
                    yield
            if not self._frames[level]:
                cubes = sorted({c for frame in self._frames[level + 1 :] for c in frame} | {(-x,) for x in self._fixed})
                return tuple(self._clause(cube) for cube in cubes)
        return None

    def _clause(self, cube: SolverCube) -> tuple[int, ...]:
        """The clause that excludes a cube, except where all is over."""
        spared = () if self._over is None or -self._over in cube else (self._over,)
        return tuple(self._state_literal(x) for x in (*spared, *(-x for x in cube)))

    def _state_literal(self, signed: int) -> int:
        return self._literal[signed] if signed > 0 else self._literal[-signed] ^ 1

    # ---- from obligations to a run

    def _values(self) -> tuple[bool, ...]:
        return tuple(self._model[v - 1] > 0 for v in self._bits)

    def _replay(self, obligation: _Obligation) -> tuple[tuple[bool, ...], ...]:
        self._model = self._model_of([self._start, *obligation.cube])
        states = [self._values()]
        here: _Obligation | None = obligation
        while here is not None and here.toward is not None:
            now = [v if value else -v for v, value in zip(self._bits, states[-1], strict=True)]
            model = self._model_of([*now, *here.inputs])
            states.append(tuple((model[abs(n) - 1] > 0) == (n > 0) for n in (self._next[v] for v in self._bits)))
            here = here.toward
        return tuple(states)

    def _model_of(self, assumptions: list[int]) -> list[int]:
        if not self._sat.holds(assumptions):
            message = "a state of a run that was found is gone"
            raise RuntimeError(message)
        return self._sat.model()


class _Groups:
    """What bands and one-of-many groups say about cubes."""

    def __init__(self, problem: Problem, bits: list[int]) -> None:
        self._rank: dict[int, tuple[int, int]] = {}
        self._at: dict[tuple[int, int], int] = {}
        self._group: dict[int, int] = {}
        self._implying: dict[int, frozenset[int]] = {}
        numbers: dict[Group, int] = {}
        for variable, bit in zip(bits, problem.bits, strict=True):
            group = self._group[variable] = numbers.setdefault(bit.group, len(numbers))
            if bit.rank >= 0:
                self._rank[variable] = (group, bit.rank)
                self._at[group, bit.rank] = variable

    def slim(self, cube: Iterable[int]) -> SolverCube:
        """The cube without the literals that its other literals imply."""
        highest: dict[int, int] = {}
        lowest: dict[int, int] = {}
        others: list[int] = []
        for x in cube:
            if abs(x) not in self._rank:
                others.append(x)
                continue
            group, rank = self._rank[abs(x)]
            if x > 0:
                highest[group] = max(rank, highest.get(group, rank))
            else:
                lowest[group] = min(rank, lowest.get(group, rank))
        chosen = {self._group[x] for x in others if x > 0}
        kept = [x for x in others if x > 0 or self._group[-x] not in chosen]
        kept += [self._at[item] for item in highest.items()]
        kept += [-self._at[item] for item in lowest.items()]
        return tuple(sorted(kept, key=abs))

    def wider(self, x: int) -> int | None:
        """The literal one threshold farther out, or None."""
        if abs(x) not in self._rank:
            return None
        group, rank = self._rank[abs(x)]
        other = self._at.get((group, rank - 1 if x > 0 else rank + 1))
        return None if other is None else (other if x > 0 else -other)

    def at_least(self, x: int) -> frozenset[int]:
        """The literals that imply `x`. A cube lies in another one if it holds such a literal for each of the other's.

        That misses none that share literals or thresholds.
        """
        if x not in self._implying:
            found = {x}
            if abs(x) in self._rank:
                own, rank = self._rank[abs(x)]
                ranks = {r: at for (group, r), at in self._at.items() if group == own}
                found |= (
                    {at for r, at in ranks.items() if r >= rank}
                    if x > 0
                    else {-at for r, at in ranks.items() if r <= rank}
                )
            self._implying[x] = frozenset(found)
        return self._implying[x]
