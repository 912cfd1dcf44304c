"""A script done to one arrangement: to vehicles in seconds, and to all vehicles at once in bands.

In bands a part that lets no air through and moves nothing counts the steps of the script that are done, and notes when
anything else is done. What is expected "once settled" after a step is then a claim about every settled state in which so
many steps are done. The claim says no less than the script: every run of a vehicle under the script is one of its runs,
because acts at different moments have time between them, in which the counter moves, and those of one moment are one step.
Without the part the claim would be about acts in any order; without the note about other acts it would be about nothing
more, but about runs that the script does not have.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from bandproof.deciding.cases import Case, RequestError, find_packs
from bandproof.deciding.hunts import warn_of_hunting
from bandproof.deciding.one import Decider
from bandproof.findings.finding import Finding
from bandproof.findings.limits import Limits
from bandproof.findings.performance import Performance
from bandproof.model.arrangement import Arrangement, Move, Part, Start
from bandproof.model.conditions import AllOf, Condition, Happened, InPosition, InState, Not
from bandproof.model.loader import load_arrangement
from bandproof.properties.claim import Pace, Property, Shape
from bandproof.properties.packs import load_pack, words_of
from bandproof.properties.scripts import Procedure, Script, Step, load_script, resolve_script
from bandproof.text.errors import InputError
from bandproof.text.input_faults import Faults

#: Vehicles that are drawn, and the seed, when nothing else is said.
DRAWN = 60
SEED = 1

_LEFT = "something_else_done"


def load_procedure(model: Path, path: Path, faults: Faults) -> tuple[Arrangement, Procedure]:
    """An arrangement and a script for it. InputError with every fault found, RequestError where it lacks a role."""
    arrangement = script = None
    try:
        words = frozenset[str]().union(*(words_of(load_pack(pack)) for pack in find_packs(model)))
    except InputError:
        words = frozenset()
    for read in (partial(load_arrangement, model, faults, mentioned=words), partial(load_script, path)):
        try:
            found = read()
        except InputError as error:
            for diagnostic in error.diagnostics:
                faults.note(diagnostic)
            continue
        if isinstance(found, Arrangement):
            arrangement = found
        elif isinstance(found, Script):
            script = found
    faults.stop_if_any()
    assert arrangement is not None
    assert script is not None
    warn_of_hunting(arrangement, faults)
    procedure = resolve_script(script, arrangement)
    if isinstance(procedure, tuple):
        lacks = ", ".join(f'{lack.sort} "{lack.name}"' for lack in procedure)
        message = f"{path.as_posix()} cannot be done to {model.as_posix()}, which has no {lacks}"
        raise RequestError(message)
    faults.stop_if_any()
    return arrangement, procedure


def perform(
    arrangement: Arrangement,
    procedure: Procedure,
    *,
    count: int = DRAWN,
    seed: int = SEED,
    limits: Limits | None = None,
    bands: bool = True,
) -> Performance:
    """Do a script to the nominal vehicle, to `count` drawn ones, and, with `bands`, to all vehicles.

    RequestError where no vehicle drawn keeps the condition of the start.
    """
    from bandproof.witness.performing import perform as run  # noqa: PLC0415  (the simulator, only where it runs)

    try:
        nominal, *drawn = run(arrangement, procedure, count=count, seed=seed)
    except ValueError as error:
        raise RequestError(str(error)) from None
    found = decided(arrangement, procedure, limits) if bands else {}
    return Performance(arrangement, procedure, nominal, tuple(drawn), seed, found)


def decided(arrangement: Arrangement, procedure: Procedure, limits: Limits | None = None) -> dict[int, Finding]:
    """What is true of all vehicles, of every expectation that bands can say something of, by step."""
    counted = with_counter(arrangement, procedure)
    claims = dict(_claims(counted, procedure))
    if not claims:
        return {}
    decider = Decider(Case(counted.arrangement, tuple(claims.values())))
    return {number: decider.decide(claim, limits) for number, claim in claims.items()}


@dataclass(frozen=True, slots=True)
class Counted:
    """An arrangement with a part that counts: `states` has its state after each step of the script."""

    arrangement: Arrangement
    part: str
    states: tuple[str, ...]


def with_counter(arrangement: Arrangement, procedure: Procedure) -> Counted:
    """The arrangement with one more part, in states of which the acts of the script are counted."""
    start = arrangement.start(procedure.start)
    begins = {control.name: frozenset(control.positions) for control in arrangement.controls} | dict(start.controls)
    stands = [_Stand(begins, frozenset())]
    numbers = []
    for step in procedure.steps:
        if step.turns or step.mishaps:
            after = stands[-1].after(step)
            if after != stands[-1]:
                stands.append(after)
        numbers.append(len(stands) - 1)
        if step.strokes:
            break
    names = [f"done_{number}" for number in range(len(stands))]
    moves = []
    for number, (name, now) in enumerate(zip(names, stands, strict=True)):
        ahead = stands[number + 1] if number + 1 < len(stands) else now
        if ahead is not now:
            moves.append(Move(name, names[number + 1], ahead.reached()))
        moves.append(Move(name, _LEFT, Not(now.allowed(ahead, arrangement))))
    taken = {part.name for part in arrangement.parts}
    own = next(name for n in range(len(taken) + 1) if (name := "script" + "_" * n) not in taken)
    counter = Part(own, "script", (*names, _LEFT), (), tuple(moves))
    begun = frozenset(names[: _done_at_start(stands)])
    starts = tuple(_counting_from(one, own, begun) for one in arrangement.starts)
    counted = replace(arrangement, parts=(*arrangement.parts, counter), starts=starts)
    return Counted(counted, own, tuple(names[number] for number in numbers))


def _done_at_start(stands: list[_Stand]) -> int:
    """How many of the counter's states a run can begin in: more than one where acts change nothing, as all stands so already.

    The counter would move on at once there, so such a state would be no settled start if it had to begin at nothing.
    """
    left = stands[0].controls
    for number, stand in enumerate(stands[1:], start=1):
        left = {control: positions & stand.controls[control] for control, positions in left.items()}
        if stand.mishaps or not all(left.values()):
            return number
    return len(stands)


def _counting_from(start: Start, counter: str, begun: frozenset[str]) -> Start:
    """The start with nothing counted yet, or no more than what changes nothing. How a run came to it is not asked: what was done for that is none of the script's.

    So it is taken for granted that the start can be reached, as `prove` finds out, and all its settled states count.
    """
    parts = (*start.parts, (counter, begun))
    if start.plain:
        return replace(start, parts=parts)
    return replace(start, parts=parts, reached_from=None, assumed=True)


@dataclass(frozen=True, slots=True)
class _Stand:
    """Where every control may stand, and which mishaps have happened, after some steps of a script."""

    controls: dict[str, frozenset[str]]
    mishaps: frozenset[str]

    def after(self, step: Step) -> _Stand:
        turned = {control: frozenset([position]) for control, position in step.turns}
        return _Stand(self.controls | turned, self.mishaps | set(step.mishaps))

    def reached(self) -> Condition:
        """All is done that leads here."""
        controls = [InPosition(control, positions) for control, positions in self.controls.items()]
        return AllOf((*controls, *map(Happened, sorted(self.mishaps))))

    def allowed(self, ahead: _Stand, arrangement: Arrangement) -> Condition:
        """Nothing is done but what leads from here to `ahead`."""
        controls = [InPosition(name, stands | ahead.controls[name]) for name, stands in self.controls.items()]
        absent = [Not(Happened(m.name)) for m in arrangement.mishaps if m.name not in ahead.mishaps]
        return AllOf((*controls, *absent))


def _claims(counted: Counted, procedure: Procedure) -> Iterator[tuple[int, Property]]:
    """A claim for every expectation that is looked at once settled."""
    patient, settled = True, False
    mishaps = frozenset[str]()
    for number, step in enumerate(procedure.steps):
        if step.strokes:
            return  # What is turned again and again cannot be told from what is turned once.
        when = step.when
        settled = when.settled or (settled and when.at is None and when.after == 0)
        if step.turns:
            # In bands a hand that waits lets the air settle between two turns, which turns of one step do not.
            patient = patient and settled and len(step.turns) == 1
        mishaps |= set(step.mishaps)
        if step.turns or step.mishaps:
            settled = False
        if step.expect is None or not settled or step.within is not None or step.holds_for is not None:
            continue
        yield (
            number,
            Property(
                id=f"step-{number + 1}",
                says=step.says,
                basis=procedure.script.basis,
                shape=Shape.SETTLED,
                during=procedure.start,
                when=InState(counted.part, frozenset([counted.states[number]])),
                then=step.expect,
                pace=Pace.AFTER_SETTLING if patient else Pace.ANY_TIME,
                mishaps=mishaps,
                caution=procedure.script.caution,
            ),
        )
