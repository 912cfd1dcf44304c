"""A search problem as a circuit in which an engine that reads AIGER can look for the bad state.

Step 0 takes in the start. The latches of the state bits load free inputs, one for each bit; a further latch, `valid`,
remembers whether what was loaded is a state of the start, and another, `initialised`, that loading is over. From then on
a step of the circuit is a step of the machine, chosen by the inputs that say choices, or changes nothing. Bad is a bad state that a valid run has
come to, so k steps of the machine are k + 1 steps of the circuit. Every latch is false at first and nothing is assumed of
the inputs, so an engine needs to know of neither reset values nor constraints.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from bandproof.encoding.bit_words import Wording, choice_words, claim_words
from bandproof.encoding.bits import Choice
from bandproof.encoding.circuit import Circuit
from bandproof.encoding.system import Problem
from bandproof.exporting.aiger import FALSE, TRUE, Aiger, Gates, Latch
from bandproof.lemmas.lemma import Lemma
from bandproof.properties.claim import Property
from bandproof.properties.monitors import monitor_of
from bandproof.text.units import show_pressure

#: What the names of the inputs begin with that say where a run starts.
START = "start: "

#: What the names of the inputs begin with that choose a step.
CHOICE = "choice: "

#: The variables of the two latches that are no state bit, counted from the first latch.
_INITIALISED, _VALID, _BITS = 0, 1, 2


def question(
    problem: Problem, choices: Mapping[int, Choice], lemmas: Sequence[Lemma] = (), notes: Sequence[str] = ()
) -> Aiger:
    """The problem as a circuit.

    `choices` says what its variables stand for beside the bits. `lemmas` are those it has been refined with; `notes` end
    up in the comment.
    """
    roots = (*problem.after, problem.bad)
    bits = [bit.literal for bit in problem.bits]
    chosen = _others(problem.circuit, (*roots, problem.start, problem.well_formed), bits)
    first = 1 + len(bits) + len(chosen)
    gates = Gates(first + _BITS + len(bits))
    initialised, valid = 2 * (first + _INITIALISED), 2 * (first + _VALID)
    asked = {x: 2 * (1 + len(bits) + place) for place, x in enumerate(chosen)}
    loaded = asked | {x: 2 * (1 + place) for place, x in enumerate(bits)}
    standing = asked | {x: 2 * (first + _BITS + place) for place, x in enumerate(bits)}
    starts = gates.both(*_translate(problem.circuit, (problem.start, problem.well_formed), loaded, gates))
    *after, broken = _translate(problem.circuit, roots, standing, gates)
    bad = gates.both(valid, broken)
    valid_after = gates.choose(initialised, valid, starts)
    steps = [gates.choose(initialised, value, loaded[bit]) for bit, value in zip(bits, after, strict=True)]
    names = _names(problem, [choices[x] for x in chosen])
    return Aiger(
        (*(START + name for name in names.bits), *names.choices),
        (
            Latch("initialised: the start has been taken in", TRUE),
            Latch("valid: what was taken in is a state of the start", valid_after),
            *(Latch(name, value) for name, value in zip(names.bits, steps, strict=True)),
        ),
        tuple(gates.operands),
        bad,
        _plain(problem.claim.id),
        tuple(_plain(line) for line in (*_about(problem, lemmas), *notes, _NO_APPROVAL)),
    )


def _others(circuit: Circuit, roots: Sequence[int], bits: Sequence[int]) -> list[int]:
    """The variables that formulas depend on beside the bits, in the order they were made in."""
    known = {FALSE, *bits}
    return [2 * n for n in circuit.cone(roots) if circuit.operands[n] is None and 2 * n not in known]


def _translate(circuit: Circuit, roots: Sequence[int], variables: Mapping[int, int], gates: Gates) -> list[int]:
    """Formulas as literals of two-input gates; `variables` has the literal of each variable they depend on."""
    known = {0: FALSE}
    for node in circuit.cone(roots):
        operands = circuit.operands[node]
        if operands is not None:
            known[node] = gates.all_of([known[x >> 1] ^ (x & 1) for x in operands])
        elif node:
            known[node] = variables[2 * node]
    return [known[x >> 1] ^ (x & 1) for x in roots]


# ------------------------------------------------------------------------------------------------------------ words


@dataclass(frozen=True, slots=True)
class _Names:
    bits: tuple[str, ...]
    choices: tuple[str, ...]


def _names(problem: Problem, choices: Sequence[Choice]) -> _Names:
    """What state bits and choices are called; no name twice."""
    wording = Wording(problem.layout, problem.bits)
    taken: dict[str, int] = {}

    def fresh(text: str) -> str:
        name = _plain(text)
        taken[name] = taken.get(name, 0) + 1
        return name if taken[name] == 1 else fresh(f"{text} ({taken[name]})")

    return _Names(
        tuple(fresh(wording.says(bit.literal)) for bit in problem.bits),
        tuple(fresh(CHOICE + choice_words(choice)) for choice in choices),
    )


def _plain(text: str) -> str:
    """The text on one line of printable ASCII."""
    return "".join(char if char.isascii() and char.isprintable() else "?" for char in " ".join(text.split()))


def _about(problem: Problem, lemmas: Sequence[Lemma]) -> list[str]:
    """The comment: whose question this is, what is asked, how step 0 and a run are read."""
    claim, arrangement = problem.claim, problem.layout.arrangement
    return [
        f"arrangement: {arrangement.name}",
        f"file: {arrangement.file or 'none'}",
        f"sha256: {arrangement.sha256 or 'none'}",
        f"property: {claim.id}",
        f"says: {claim.says}",
        f"claim: {claim_words(claim, arrangement.unit)}",
        f"start: {claim.during}",
        f"driver: {claim.pace.value}",
        f"mishaps: {', '.join(sorted(claim.mishaps)) or 'none'}",
        "",
        *_HOW_TO_READ,
        f"Asked: {_asked(claim)}",
        *_about_windows(problem),
        *_about_lemmas(problem, lemmas),
    ]


_HOW_TO_READ = """\
Step 0 takes in the start: each latch of a state bit loads the input "start: ..." of its name, and "valid" whether the
state so loaded is one of the start. In every later step the inputs "start: ..." count for nothing, and the inputs
"choice: ..." choose a step of the machine; a choice that cannot be granted counts for nothing, and a step without any
changes nothing. A run of k steps is seen at step k + 1 of the circuit: its latches then say what the state is.""".splitlines()


_NO_APPROVAL = "A model is not the vehicle, and the answer of an engine is no approval."


def _asked(claim: Property) -> str:
    if monitor_of(claim).wanted:
        return "does a run get to what the claim says can be reached? If the bad state is never reached, the claim is false."
    return "does a run break the claim? If the bad state is never reached, the claim is true."


def _about_windows(problem: Problem) -> list[str]:
    unit = problem.layout.arrangement.unit
    return [
        f"While {window.tank} is joined to lines alone, its pressure stays within {show_pressure(window.width, unit)}."
        for window in problem.windows
    ]


def _about_lemmas(problem: Problem, lemmas: Sequence[Lemma]) -> list[str]:
    shown = f"{len(lemmas)}, shown in the certificate {problem.claim.id}.smt2" if lemmas else "none"
    lines = [
        'Runs are runs of bands. One that is found may need air that is not there; "bandproof prove" shows only runs',
        "that it could make real, and takes others out by lemmas, each shown in the claim's certificate.",
        f"Lemmas taken in here: {shown}.",
    ]
    for number, lemma in enumerate(lemmas, start=1):
        begins = "" if lemma.start is None else f" from the start {lemma.start} on"
        places = "; then ".join(f"({words})" for words in lemma.words(problem.layout))
        lines.append(f"Lemma {number}, no real run goes{begins} through: {places}")
    return lines
