"""Looks for a run with real pressures: the step rule, unrolled, and the air accounts in one question to z3.

Reachability and bounded search see bands only, and the shortest run they find may need air that is not there, while
another one of the same length does not. Here both are asked at once, for chosen sizes of the volumes. What comes out is
a run of the band machine that is likely to be real; `bandproof.witness.concretise` has the last word. What is asked is
therefore kept simple where that costs little: one pressure per volume and state, air between two states moving downhill as
they end, guards compared with the pressures of the states beside a move. Nothing is proven by an answer of no.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from fractions import Fraction
from functools import partial

from bandproof.encoding.bits import BitSort
from bandproof.encoding.smt_gates import Gates, Symbols
from bandproof.encoding.system import Problem, StepRule
from bandproof.lemmas.accounts import directions
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Part, Passage
from bandproof.model.conditions import AllOf, AnyOf, AtLeast, Below, Comparison, Condition, Lower, NotLower
from bandproof.model.numbers import number_of
from bandproof.model.walker import Walker, leaves, opposite
from bandproof.solvers.smt_terms import (
    FALSE,
    ZERO,
    Bool,
    BoolSymbol,
    Conjunction,
    Difference,
    Minus,
    Negation,
    Number,
    Real,
    RealSymbol,
    Same,
    Scaled,
    Sum,
    assertion,
    at_least,
    at_most,
    conjunction,
    declaration,
    definition,
    disjunction,
    equal,
    later,
    over,
    text,
)
from bandproof.solvers.z3_solver import Answer, Session

#: A symbol of the present state, and of the next one, in the formulas of a step.
_HERE, _NEXT = 0, 1

#: No pressure changes in the step.
_STILL = BoolSymbol("still", _HERE)

#: In a round that is gone for ever, nothing changes in the step, though time may pass.
_RESTING = BoolSymbol("resting", _HERE)

#: Writes one command of the text for step `t`.
Command = Callable[[int], str]


class Witness:
    """The question for one problem; `at(depth)` asks it for runs of at most `depth` steps."""

    def __init__(self, rule: StepRule, problem: Problem, sizes: Mapping[str, Fraction]) -> None:
        self._rule = rule
        self._problem = problem
        self._layout = problem.layout
        self._arrangement = problem.layout.arrangement
        self._sizes = dict(sizes)
        self._settings: dict[RealSymbol, tuple[Fraction, Fraction]] = {}
        self._passages = [
            (part, passage)
            for part in self._arrangement.parts
            for passage in part.passages
            if passage.upstream != passage.downstream
        ]
        self._prepare()

    def at(
        self, depth: int, limit: int, check: Callable[[], None] | None = None, *, seed: int = 1
    ) -> list[list[bool]] | None:
        """A run to a bad in at most `depth` steps, repeats included, as values of the bits; None when none was found.

        Another `seed` mostly finds another run. `limit` is in steps of z3's own clock. `check` is looked at
        meanwhile, and may raise to give up.
        """
        session = Session(self._text(depth), check, {"rlimit": limit, "random_seed": seed})
        if session.ask() is not Answer.YES:
            return None
        true = session.true_names()
        bits = [self._symbols.bits[bit.literal >> 1] for bit in self._problem.bits]
        return [[text(bit, t) in true for bit in bits] for t in range(depth + 1)]

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
        #: How many gates the formulas of one step have.
        self.gates = len(nodes)
        known = circuit.names
        bits = {bit.literal >> 1: BoolSymbol(f"b{i}", _HERE) for i, bit in enumerate(problem.bits)}
        inputs = {node: BoolSymbol(f"w{node}", _HERE) for node in nodes if node in known and node not in bits}
        self._symbols = Symbols(bits, inputs)
        self._definitions, terms, _ = Gates(circuit, self._symbols, nodes, ahead=_HERE).define(roots)
        waiting = iter(terms)
        self._after = [next(waiting) for _ in problem.after]
        self._start, self._hit, self._well_formed, self._pending = (next(waiting) for _ in range(4))
        self._open = [next(waiting) for _ in passages]
        self._standing = {key: next(waiting) for key in standing}
        self._discrete = {key: next(waiting) for key in discrete}
        self._each_state = list(self._about_a_state())
        self._each_step = list(self._about_a_step())
        self._states: list[str] = []
        self._steps: list[str] = []

    def _standings(self) -> list[Condition]:
        """The leaves of guards that are not about pressures."""
        guards = [move.when for part in self._arrangement.parts for move in part.moves]
        return list(dict.fromkeys(leaf for leaf in leaves(*guards) if not isinstance(leaf, Comparison)))

    def _text(self, depth: int) -> str:
        """The question whether a run of at most `depth` steps ends in a bad, as SMT-LIB text."""
        self._grow_to(depth)
        lines = [declaration(symbol) for symbol in self._settings]
        lines += [
            assertion(at_most(Number(low), symbol, Number(high))) for symbol, (low, high) in self._settings.items()
        ]
        lines += [*self._states[: depth + 1], *self._steps[:depth], assertion(self._start)]
        for volume, given in self._arrangement.way_to(self._problem.claim.during)[0].pressures:
            lines.append(assertion(at_most(Number(given.low), _level(volume, _HERE), Number(given.high))))
        lines += [assertion(self._hit, depth), *self._coming_back(depth)]
        return "\n".join(lines)

    def _coming_back(self, depth: int) -> Iterator[str]:
        """A run that goes round comes back to the pressures with which the round began."""
        saved = self._symbols.bits.get(self._problem.saved >> 1)
        if saved is None:
            return
        again = {v.name: RealSymbol(f"|{v.name} again|") for v in self._arrangement.volumes}
        yield from map(declaration, again.values())
        same = conjunction(equal(_level(name, _HERE), symbol) for name, symbol in again.items())
        begins = disjunction([saved, Negation(later(saved)), same])
        yield from (assertion(begins, t) for t in range(depth))
        yield assertion(same, depth)

    def _grow_to(self, depth: int) -> None:
        """Write down states and steps as far as they are not yet: they are the same in every question."""
        self._states += [_script(self._each_state, t) for t in range(len(self._states), depth + 1)]
        self._steps += [_script(self._each_step, t) for t in range(len(self._steps), depth)]

    def _about_a_state(self) -> Iterator[Command]:
        for symbol in (*self._symbols.bits.values(), *self._symbols.inputs.values()):
            yield partial(declaration, symbol)
        for gate in self._definitions:
            yield partial(definition, *gate)
        yield partial(assertion, self._well_formed)
        highest = Number(self._arrangement.highest)
        for volume in self._arrangement.volumes:
            level = _level(volume.name, _HERE)
            yield partial(declaration, level)
            yield partial(assertion, at_most(ZERO, level, highest))
            marks = self._layout.thresholds[volume.name]
            for mark, bit in zip(marks, self._rule.encoding.levels[volume.name], strict=True):
                yield partial(assertion, Same(self._symbols.bits[bit >> 1], at_least(level, Number(mark))))

    def _about_a_step(self) -> Iterator[Command]:
        for bit, after in zip(self._problem.bits, self._after, strict=True):
            yield partial(assertion, Same(later(self._symbols.bits[bit.literal >> 1]), after))
        names = [volume.name for volume in self._arrangement.volumes]
        still = conjunction(equal(_level(name, _HERE), _level(name, _NEXT)) for name in names)
        yield partial(definition, _STILL, still)
        yield partial(definition, _RESTING, self._resting())
        flows: dict[str, list[Real]] = {name: [] for name in names}
        for order, ((_, passage), is_open) in enumerate(zip(self._passages, self._open, strict=True)):
            yield from self._transfer(f"x{order}", passage, is_open, flows)
        for volume, terms in flows.items():
            gained = Difference(_level(volume, _NEXT), _level(volume, _HERE))
            balance = equal(Scaled(self._sizes[volume], gained), Sum((ZERO, ZERO, *terms)))
            yield partial(assertion, balance)
        for part in self._arrangement.parts:
            yield from (partial(assertion, term) for term in self._mechanics(part))

    def _resting(self) -> Bool:
        """The step belongs to a round that has begun, and leads to where the arrangement is."""
        saved = self._symbols.bits.get(self._problem.saved >> 1)
        if saved is None:
            return FALSE
        here = [self._symbols.bits[b.literal >> 1] for b in self._problem.bits if b.sort is not BitSort.LOOP]
        return conjunction([later(saved), *(Same(symbol, later(symbol)) for symbol in here)])

    def _transfer(self, name: str, passage: Passage, is_open: Bool, flows: dict[str, list[Real]]) -> Iterator[Command]:
        for u, v in directions(passage):
            flow = RealSymbol(f"{name} {u} {v}", _HERE)
            above = Number(self._arrangement.highest) if u == SOURCE else _level(u, _NEXT)
            below = ZERO if v == ATMOSPHERE else _level(v, _NEXT)
            free = conjunction([is_open, Negation(self._pending), at_least(above, below)])
            yield partial(declaration, flow)
            yield partial(assertion, at_least(flow, ZERO))
            yield partial(assertion, disjunction([at_most(flow, ZERO), free]))
            level: list[Bool] = [Negation(_RESTING), Negation(is_open), at_most(above, below), over(flow, ZERO)]
            yield partial(assertion, disjunction(level))
            if u in flows:
                flows[u].append(Minus(flow))
            if v in flows:
                flows[v].append(flow)

    # ---- guards

    def _mechanics(self, part: Part) -> Iterator[Bool]:
        """A part moves only if a guard of the move holds beside it, and does not sit by while one holds and air flows."""
        for source, target in dict.fromkeys((m.source, m.target) for m in part.moves if m.source != m.target):
            guards = [
                self._guard(move.when, (part.name, str(i)), place)
                for i, move in enumerate(part.moves)
                if (move.source, move.target) == (source, target)
                for place in (_HERE, _NEXT)
            ]
            moves = Conjunction((self._standing[part.name, source], self._stands_next(part, target)))
            yield disjunction([Negation(moves), disjunction(guards)])
        if part.delayed:
            return
        for i, move in enumerate(part.moves):
            if move.source != move.target:
                fails = self._guard(opposite(move.when), (part.name, str(i)), _HERE)
                leaves = Negation(self._stands_next(part, move.source))
                stays = Negation(self._standing[part.name, move.source])
                yield disjunction([stays, fails, leaves, _STILL])

    def _stands_next(self, part: Part, state: str) -> Bool:
        return later(self._standing[part.name, state])

    def _guard(self, condition: Condition, key: tuple[str, ...], place: int) -> Bool:
        return _Guard(self, key, place).walk(condition)

    def standing(self, leaf: Condition) -> Bool:
        """A leaf that is not about pressures, or the opposite of one."""
        term = self._discrete.get(leaf)
        return Negation(self._discrete[opposite(leaf)]) if term is None else term

    def threshold(self, leaf: Below | AtLeast, key: tuple[str, ...]) -> Real:
        """The pressure a leaf compares with: a number, or the symbol of a setting that has a tolerance."""
        known = number_of(self._arrangement, key[0], leaf)
        if known is None:
            return Number(leaf.low)
        symbol = RealSymbol(f"|setting {known.part} {known.setting or ' '.join(key)}|")
        self._settings[symbol] = (leaf.low, leaf.high)
        return symbol


class _Guard(Walker[Bool]):
    """A guard at one place, boundary included; `key` names its settings that have no name of their own."""

    __slots__ = ("_key", "_place", "_witness")

    def __init__(self, witness: Witness, key: tuple[str, ...], place: int) -> None:
        self._witness = witness
        self._key = key
        self._place = place

    def below(self, node: Below) -> Bool:
        return at_most(_level(node.volume, self._place), self._witness.threshold(node, self._key))

    def at_least(self, node: AtLeast) -> Bool:
        return at_least(_level(node.volume, self._place), self._witness.threshold(node, self._key))

    def lower(self, node: Lower) -> Bool:
        return at_most(_level(node.volume, self._place), _level(node.other, self._place))

    def not_lower(self, node: NotLower) -> Bool:
        return at_least(_level(node.volume, self._place), _level(node.other, self._place))

    def other(self, node: Condition) -> Bool:
        return self._witness.standing(node)

    def all_of(self, node: AllOf) -> Bool:
        return conjunction(self._each(node.items))

    def any_of(self, node: AnyOf) -> Bool:
        return disjunction(self._each(node.items))

    def _each(self, items: tuple[Condition, ...]) -> list[Bool]:
        return [_Guard(self._witness, (*self._key, str(i)), self._place).walk(x) for i, x in enumerate(items)]


def _level(volume: str, place: int) -> RealSymbol:
    return RealSymbol(f"p {volume}", place)


def _script(commands: Iterable[Command], t: int) -> str:
    return "\n".join([command(t) for command in commands])
