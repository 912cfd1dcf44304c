"""What an impossible story teaches: a pattern of states that no real run goes through, and how a search is told.

A lemma is a list of places (see `bandproof.lemmas.cubes`). No real run stays in states of the first place, then of the
second, and so on to the last: the air accounts of such a run contradict each other. Staying longer at a place is one
longer stay, for which the same accounts hold, so repeats do not matter. A lemma with a start speaks only of runs that
are at its first place from that start on.

The search is told by watching. Bit k of the watch says of the states so far that they end with a walk through the
first k places; once the last place is reached the run is dead, and no later state of it is a bad.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from bandproof.encoding.bits import Bit, BitSort
from bandproof.encoding.circuit import FALSE, TRUE, negate
from bandproof.encoding.encode import Encoding
from bandproof.encoding.system import Problem, StepRule
from bandproof.lemmas.accounts import Air
from bandproof.lemmas.cubes import Literal, Needs, literal_words, true_of
from bandproof.lemmas.downhill import all_facts
from bandproof.lemmas.unknowns import Sizes, declared_sizes
from bandproof.machine.layout import Layout
from bandproof.machine.story import Story, joined
from bandproof.solvers.smt_terms import assertion, declaration


@dataclass(frozen=True, slots=True)
class Lemma:
    """Places that no real run walks through in this order; `start`: runs that begin at the first place, there."""

    places: tuple[frozenset[Literal], ...]
    start: str | None

    def words(self, layout: Layout) -> tuple[str, ...]:
        """The places in words."""
        return tuple(
            "; ".join(literal_words(layout, atom) for atom in sorted(place, key=lambda a: a.order)) or "any state"
            for place in self.places
        )


def lemma_of(needs: Needs, start: str | None) -> Lemma:
    """The lemma of facts that contradict each other. Neighbours that are alike become one place."""
    about: dict[int, set[Literal]] = {}
    for order, atom in needs:
        about.setdefault(order, set()).add(atom)
    last = max(about, default=0)
    first = 0 if start is not None else min(about, default=0)
    places: list[frozenset[Literal]] = []
    for number in range(first, last + 1):
        place = frozenset(about.get(number, ()))
        if not places or places[-1] != place:
            places.append(place)
    return Lemma(tuple(places), start)


def contradiction(layout: Layout, lemma: Lemma, sizes: Sizes | None = None) -> str:
    """The air accounts of a run that walks through the lemma's places, as SMT-LIB text: to be unsatisfiable.

    For all sizes in the declared ranges, and any where none is declared, when no `sizes` are given.
    """
    air = Air(layout, list(lemma.places), lemma.start, sizes or declared_sizes(layout))
    facts = list(all_facts(air))  # they declare symbols of their own
    lines = ["(set-logic QF_LRA)", *map(declaration, air.declared)]
    lines += map(assertion, air.axioms)
    lines += [assertion(fact.formula) for fact in facts]
    return "\n".join([*lines, "(check-sat)"]) + "\n"


def forbids(layout: Layout, lemma: Lemma, story: Story) -> bool:
    """The story walks through the lemma's places."""
    walks: set[int] = set()
    run = joined(story)
    for number, state in enumerate(run.states):
        matching = [all(true_of(layout, state, atom) for atom in place) for place in lemma.places]
        before, walks = walks, set()
        for place, matches in enumerate(matching):
            begins = place == 0 and (lemma.start is None or (number == 0 and lemma.start == run.start))
            if matches and (begins or place in before or place - 1 in before or place - 1 in walks):
                walks.add(place)
        if len(lemma.places) - 1 in walks:
            return True
    return False


def refine(rule: StepRule, problem: Problem, lemma: Lemma) -> Problem:
    """The same problem, its hits now only those of runs that the lemma does not forbid."""
    circuit = rule.circuit
    number = 1 + len({bit.subject for bit in problem.bits if bit.sort is BitSort.LEMMA})

    def bit(says: str) -> Bit:
        literal = circuit.variable(f"{problem.side}lemma {number}: {says}")
        return Bit(literal, BitSort.LEMMA, number, says, side=problem.side)

    passed = {str(bit.subject): bit.literal for bit in problem.bits if bit.sort is BitSort.PASSED}
    dead = bit("forbidden")
    begun = [bit("begun")] if lemma.start is not None else []
    walked = [bit(f"place {place}") for place in range(1, len(lemma.places))]
    now: list[int] = []
    arrived = negate(begun[0].literal) if begun else TRUE
    for place, atoms in enumerate(lemma.places):
        match = circuit.all_of([_literal(rule.encoding, passed, atom) for atom in sorted(atoms, key=lambda a: a.order)])
        stayed = walked[place].literal if place < len(walked) else FALSE
        now.append(circuit.both(match, circuit.either(stayed, arrived)))
        arrived = circuit.either(stayed, now[-1])
    dying = circuit.either(dead.literal, now[-1])
    memory = [dead, *begun, *walked]
    after = (*problem.after, dying, *(TRUE for _ in begun), *now[: len(walked)])
    return replace(
        problem,
        bits=(*problem.bits, *memory),
        after=after,
        # An acceleration passes over states that the watch would have to see, so there are none here.
        accelerated=after,
        start=circuit.all_of([problem.start, *(negate(bit.literal) for bit in memory)]),
        bad=circuit.both(problem.bad, negate(dying)),
        applies=circuit.both(problem.applies, negate(dying)),
        begun=circuit.both(problem.begun, negate(dying)),
    )


def _literal(encoding: Encoding, passed: dict[str, int], atom: Literal) -> int:
    match atom.sort:
        case "level":
            literal = encoding.levels[atom.subject][atom.rank]
        case "mishap":
            literal = encoding.present(atom.subject)
        case "passed":
            literal = passed[atom.subject]
        case sort:
            of = encoding.part_in if sort == "part" else encoding.control_at
            literal = encoding.circuit.any_of(of(atom.subject, value) for value in sorted(atom.values))
    return literal if atom.holds else negate(literal)
