"""Looks for a run with real pressures: the step rule, unrolled, and the air accounts in one question to z3.

Reachability and bounded search see bands only, and the shortest run they find may need air that is not there, while
another one of the same length does not. Here both are asked at once, for chosen sizes of the volumes. What comes out is
a run of the band machine that is likely to be real; `bandproof.witness.concretise` has the last word. What is asked is
therefore kept simple where that costs little: one pressure per volume and state, air between two states moving downhill as
they end, guards compared with the pressures of the states beside a move. Nothing is proven by an answer of no.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from fractions import Fraction

import z3

from bandproof.encoding.smt_text import Gates, Symbols, join
from bandproof.encoding.system import Problem, StepRule
from bandproof.lemmas.accounts import directions, number
from bandproof.machine.story import State
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Part, Passage
from bandproof.model.conditions import AllOf, AnyOf, AtLeast, Below, Comparison, Condition, Lower, NotLower
from bandproof.model.walker import Walker, leaves, opposite
from bandproof.solvers.z3_solver import ask

#: Stands in the text of one state for that state's number, and for the next one's.
_HERE, _NEXT = "\x01", "\x02"


class Witness:
    """The question for one problem; `at(depth)` asks it for runs of at most `depth` steps."""

    def __init__(self, rule: StepRule, problem: Problem, sizes: Mapping[str, Fraction]) -> None:
        self._rule = rule
        self._problem = problem
        self._layout = problem.layout
        self._arrangement = problem.layout.arrangement
        self._sizes = dict(sizes)
        self._settings: dict[str, tuple[Fraction, Fraction]] = {}
        self._passages = [
            (part, passage)
            for part in self._arrangement.parts
            for passage in part.passages
            if passage.upstream != passage.downstream
        ]
        self._prepare()

    def at(
        self, depth: int, limit: int, check: Callable[[], None] | None = None, *, seed: int = 1
    ) -> list[State] | None:
        """The states of a run to a bad in at most `depth` steps, repeats included; None when none was found.

        Another `seed` mostly finds another run. `limit` is in steps of z3's own clock. `check` is looked at
        meanwhile, and may raise to give up.
        """
        solver = z3.Solver(ctx=z3.Context())
        solver.set("rlimit", limit)
        solver.set("random_seed", seed)
        solver.from_string(self._text(depth))
        if ask(solver, [], check) != z3.sat:
            return None
        model = solver.model()
        truth = {str(item.name()): z3.is_true(model[item]) for item in model.decls()}
        names = [self._symbols.bits[bit.literal >> 1].strip("|") for bit in self._problem.bits]
        return [
            self._problem.state_of([truth.get(name.replace(_HERE, str(t)), False) for name in names])
            for t in range(depth + 1)
        ]

    # ---- text

    def _prepare(self) -> None:
        problem, rule = self._problem, self._rule
        circuit, encoding = problem.circuit, rule.encoding
        passages = [encoding.is_open(part, passage) for part, passage in self._passages]
        standing = {
            (part.name, state): encoding.part_in(part.name, state)
            for part in self._arrangement.parts
            for state in part.states
        }
        discrete = {c: encoding.condition(c, sure=True) for c in self._standings()}
        roots = [
            *problem.after,
            problem.start,
            problem.bad,
            problem.well_formed,
            rule.pending,
            *passages,
            *standing.values(),
            *discrete.values(),
        ]
        nodes = circuit.cone([*roots, *(bit.literal for bit in problem.bits)])
        known = circuit.names
        bits = {bit.literal >> 1: f"|b{i} {_HERE}|" for i, bit in enumerate(problem.bits)}
        inputs = {node: f"|w{node} {_HERE}|" for node in nodes if node in known and node not in bits}
        self._symbols = Symbols(bits, inputs)
        self._definitions, terms, _ = Gates(circuit, self._symbols, nodes, mark=f"!{_HERE}").define(roots)
        waiting = iter(terms)
        self._after = [next(waiting) for _ in problem.after]
        self._start, self._hit, self._well_formed, self._pending = (next(waiting) for _ in range(4))
        self._open = [next(waiting) for _ in passages]
        self._standing = {key: next(waiting) for key in standing}
        self._discrete = {key: next(waiting) for key in discrete}

    def _standings(self) -> list[Condition]:
        """The leaves of guards that are not about pressures."""
        guards = [move.when for part in self._arrangement.parts for move in part.moves]
        return list(dict.fromkeys(leaf for leaf in leaves(*guards) if not isinstance(leaf, Comparison)))

    def _text(self, depth: int) -> str:
        each = "\n".join(self._each_state())
        step = "\n".join(self._each_step())
        lines = [f"(declare-const |{name}| Real)" for name in self._settings]
        lines += [
            f"(assert (<= {number(low)} |{name}| {number(high)}))" for name, (low, high) in self._settings.items()
        ]
        lines += [each.replace(_HERE, str(t)) for t in range(depth + 1)]
        lines += [step.replace(_HERE, str(t)).replace(_NEXT, str(t + 1)) for t in range(depth)]
        lines.append(f"(assert {self._start})".replace(_HERE, "0"))
        for volume, given in self._arrangement.start(self._problem.claim.during).pressures:
            level = _level(volume, "0")
            lines.append(f"(assert (<= {number(given.low)} {level} {number(given.high)}))")
        lines.append(f"(assert {self._hit})".replace(_HERE, str(depth)))
        return "\n".join(lines)

    def _each_state(self) -> Iterator[str]:
        for name in (*self._symbols.bits.values(), *self._symbols.inputs.values()):
            yield f"(declare-const {name} Bool)"
        yield from self._definitions
        yield f"(assert {self._well_formed})"
        highest = number(self._arrangement.highest)
        for volume in self._arrangement.volumes:
            level = _level(volume.name, _HERE)
            yield f"(declare-const {level} Real)"
            yield f"(assert (<= 0.0 {level} {highest}))"
            marks = self._layout.thresholds[volume.name]
            for mark, bit in zip(marks, self._rule.encoding.levels[volume.name], strict=True):
                yield f"(assert (= {self._symbols.bits[bit >> 1]} (>= {level} {number(mark)})))"

    def _each_step(self) -> Iterator[str]:
        for bit, after in zip(self._problem.bits, self._after, strict=True):
            yield f"(assert (= {self._symbols.bits[bit.literal >> 1].replace(_HERE, _NEXT)} {after}))"
        flows: dict[str, list[str]] = {v.name: [] for v in self._arrangement.volumes}
        still = [f"(= {_level(name, _HERE)} {_level(name, _NEXT)})" for name in flows]
        yield f"(define-fun |still {_HERE}| () Bool {join('and', still)})"
        for order, ((_, passage), is_open) in enumerate(zip(self._passages, self._open, strict=True)):
            yield from self._transfer(f"x{order}", passage, is_open, flows)
        for volume, terms in flows.items():
            gained = f"(- {_level(volume, _NEXT)} {_level(volume, _HERE)})"
            yield f"(assert (= (* {number(self._sizes[volume])} {gained}) (+ 0.0 0.0 {' '.join(terms)})))"
        for part in self._arrangement.parts:
            yield from self._mechanics(part)

    def _transfer(self, name: str, passage: Passage, is_open: str, flows: dict[str, list[str]]) -> Iterator[str]:
        for u, v in directions(passage):
            flow = f"|{name} {u} {v} {_HERE}|"
            above = number(self._arrangement.highest) if u == SOURCE else _level(u, _NEXT)
            below = "0.0" if v == ATMOSPHERE else _level(v, _NEXT)
            yield f"(declare-const {flow} Real)"
            yield f"(assert (>= {flow} 0.0))"
            yield f"(assert (or (<= {flow} 0.0) (and {is_open} (not {self._pending}) (>= {above} {below}))))"
            if u in flows:
                flows[u].append(f"(- {flow})")
            if v in flows:
                flows[v].append(flow)

    # ---- guards

    def _mechanics(self, part: Part) -> Iterator[str]:
        """A part moves only if a guard of the move holds beside it, and does not sit by while one holds and air flows."""
        for source, target in dict.fromkeys((m.source, m.target) for m in part.moves if m.source != m.target):
            guards = [
                self._guard(move.when, (part.name, str(i)), place=place)
                for i, move in enumerate(part.moves)
                if (move.source, move.target) == (source, target)
                for place in (_HERE, _NEXT)
            ]
            moves = f"(and {self._standing[part.name, source]} {self._stands_next(part, target)})"
            yield f"(assert (or (not {moves}) {join('or', guards)}))"
        if part.slow:
            return
        for i, move in enumerate(part.moves):
            if move.source != move.target:
                fails = self._guard(opposite(move.when), (part.name, str(i)), place=_HERE)
                leaves = f"(not {self._stands_next(part, move.source)})"
                stays = f"(not {self._standing[part.name, move.source]})"
                yield f"(assert (or {stays} {fails} {leaves} |still {_HERE}|))"

    def _stands_next(self, part: Part, state: str) -> str:
        return self._standing[part.name, state].replace(_HERE, _NEXT)

    def _guard(self, condition: Condition, key: tuple[str, ...], *, place: str) -> str:
        return _Guard(self, key, place).walk(condition)

    def standing(self, leaf: Condition) -> str:
        """A leaf that is not about pressures, or the opposite of one."""
        term = self._discrete.get(leaf)
        return f"(not {self._discrete[opposite(leaf)]})" if term is None else term

    def threshold(self, atom: Below | AtLeast, key: tuple[str, ...]) -> str:
        """The pressure a leaf compares with: a number, or the symbol of a setting that has a tolerance."""
        if atom.low == atom.high:
            return number(atom.low)
        name = f"setting {key[0]} {atom.setting or ' '.join(key)}"
        self._settings[name] = (atom.low, atom.high)
        return f"|{name}|"


class _Guard(Walker[str]):
    """A guard at one place, boundary included; `key` names its settings that have no name of their own."""

    __slots__ = ("_key", "_place", "_witness")

    def __init__(self, witness: Witness, key: tuple[str, ...], place: str) -> None:
        self._witness = witness
        self._key = key
        self._place = place

    def below(self, node: Below) -> str:
        return f"(<= {_level(node.volume, self._place)} {self._witness.threshold(node, self._key)})"

    def at_least(self, node: AtLeast) -> str:
        return f"(>= {_level(node.volume, self._place)} {self._witness.threshold(node, self._key)})"

    def lower(self, node: Lower) -> str:
        return f"(<= {_level(node.volume, self._place)} {_level(node.other, self._place)})"

    def not_lower(self, node: NotLower) -> str:
        return f"(>= {_level(node.volume, self._place)} {_level(node.other, self._place)})"

    def other(self, node: Condition) -> str:
        return self._witness.standing(node)

    def all_of(self, node: AllOf) -> str:
        return join("and", self._each(node.items))

    def any_of(self, node: AnyOf) -> str:
        return join("or", self._each(node.items))

    def _each(self, items: tuple[Condition, ...]) -> list[str]:
        return [_Guard(self._witness, (*self._key, str(i)), self._place).walk(x) for i, x in enumerate(items)]


def _level(volume: str, place: str) -> str:
    return f"|p {volume} {place}|"
