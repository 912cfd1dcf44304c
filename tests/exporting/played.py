"""An exported problem and the executable machine side by side: what the names of latches say, and runs of both."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from bandproof.encoding.bit_words import show_thresholds
from bandproof.lemmas.lemma import Lemma, forbids
from bandproof.machine.fillings import Window, windows
from bandproof.machine.layout import Layout
from bandproof.machine.monitor import bad as is_bad
from bandproof.machine.monitor import first_bad, watch
from bandproof.machine.pace import Pending
from bandproof.machine.semantics import (
    Reading,
    acts,
    check_step,
    is_start,
    may_cross,
    may_moves,
    pending,
    remember,
)
from bandproof.machine.story import Count, State, Step, StepKind, Story
from bandproof.model.arrangement import VolumeKind
from bandproof.properties.claim import Property
from bandproof.properties.monitors import Monitor
from tests.exporting.reader import Circuit, Unrolled

INITIALISED, VALID = 0, 1


def _counted(due: Pending, mover: str) -> str:
    pending = f"{due} is due" if isinstance(due, str) else f"{due.part} is due to move"
    return f"since {pending}, {mover} has"


def _counts(layout: Layout, state: State) -> dict[str, bool]:
    found: dict[str, bool] = {}
    for counter, counts in zip(layout.timing_constraints, state.counts, strict=True):
        begins = _counted(counter.pending, counter.mover)
        for count in range(1, counter.allowance + 1):
            found[f"{begins} crossed at least {count} whole band{'s' if count > 1 else ''}"] = counts.count >= count
        found[f"{begins} not crossed a threshold"] = counts.last is None
        found |= {f"{begins} last gone {way}": counts.last is up for way, up in (("up", True), ("down", False))}
    return found


def _crossings(layout: Layout, window: Window) -> list[str]:
    marks = show_thresholds(layout, window.tank)
    return [f"{window.tank} has crossed {mark} since air goes from it into lines only" for mark in marks]


def told(values: tuple[str, ...]) -> tuple[str, ...]:
    """The values that a part or control has a latch for: none if there is one, the second of two, else all."""
    return values[1:] if len(values) <= 2 else values


@dataclass(frozen=True, slots=True)
class Pair:
    """A circuit and the machine that it should be."""

    layout: Layout
    claim: Property
    circuit: Circuit
    lemmas: tuple[Lemma, ...] = ()
    monitor: Monitor = field(init=False)
    windows: tuple[Window, ...] = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "monitor", self.layout.monitor(self.claim))
        object.__setattr__(self, "windows", windows(self.layout.arrangement, self.claim))

    def check(self, before: State, after: State) -> None:
        """The machine can make this step."""
        step = check_step(self.layout, before, after, self.claim.pace, self.claim.mishaps, windows=self.windows)
        assert not isinstance(step, str), step

    def left(self, seen: str, state: State, after: State) -> str:
        """Where a monitor is, before it sees `after`, that is in `seen` since it saw `state`."""
        tanks = [v.kind is VolumeKind.TANK for v in self.layout.arrangement.volumes]
        flows = any(tank and b != a for tank, b, a in zip(tanks, state.bands, after.bands, strict=True))
        touched = flows or state.controls != after.controls or state.mishaps != after.mishaps
        return self.monitor.states[0] if self.monitor.fades and touched else seen

    @property
    def names(self) -> list[str]:
        """The names of the latches of state bits."""
        return self.circuit.names("l")[2:]

    def facts(self, state: State, before: str) -> dict[str, bool]:
        """What is true of a state, under the names that latches have; `before` is where the monitor was before it saw it."""
        found: dict[str, bool] = {}
        layout, arrangement = self.layout, self.layout.arrangement
        for volume, band in zip(arrangement.volumes, state.bands, strict=True):
            for rank, mark in enumerate(show_thresholds(layout, volume.name)):
                found[f"{volume.name} is at least {mark}"] = band > rank
        for part, now in zip(arrangement.parts, state.parts, strict=True):
            found |= {f"{part.name} is {value}": now == value for value in told(part.states)}
        for control, now in zip(arrangement.controls, state.controls, strict=True):
            found |= {f"{control.name} stands at {value}": now == value for value in told(control.positions)}
        found |= {f"{m.name} has happened": m.name in state.mishaps for m in arrangement.mishaps}
        for window, crossed in zip(self.windows, state.crossed, strict=True):
            found |= {name: rank in crossed for rank, name in enumerate(_crossings(layout, window))}
        found |= {f"the claim is {at}": before == at for at in self.monitor.states[1:]}
        return found | _counts(layout, state)

    def known(self, state: State, before: str) -> dict[int, bool]:
        """The value of each latch that the state and the monitor's memory decide; those of lemmas are left out."""
        true = self.facts(state, before)
        return {i: true[name] for i, name in enumerate(self.names, start=2) if not name.startswith("lemma ")}

    def start_inputs(self, state: State) -> list[bool]:
        """The inputs of step 0 that load a state."""
        true = self.facts(state, self.monitor.states[0])
        names = self.circuit.names("i")
        return [
            true.get(name.removeprefix("start: "), False) if name.startswith("start: ") else False for name in names
        ]

    def state_of(self, latches: Sequence[bool]) -> State:
        """The state that latches say, by their names."""
        truth = dict(zip(self.names, latches[2:], strict=True))
        arrangement = self.layout.arrangement
        found = []
        for counter in self.layout.timing_constraints:
            begins = _counted(counter.pending, counter.mover)
            count = sum(value for name, value in truth.items() if name.startswith(f"{begins} crossed at least"))
            moved = not truth[f"{begins} not crossed a threshold"]
            found.append(Count(count, truth[f"{begins} last gone up"] if moved else None))
        return State(
            tuple(
                sum(truth[f"{v.name} is at least {m}"] for m in show_thresholds(self.layout, v.name))
                for v in arrangement.volumes
            ),
            tuple(_standing(truth, f"{p.name} is", p.states) for p in arrangement.parts),
            tuple(_standing(truth, f"{c.name} stands at", c.positions) for c in arrangement.controls),
            frozenset(m.name for m in arrangement.mishaps if truth[f"{m.name} has happened"]),
            tuple(found),
            tuple(
                frozenset(rank for rank, name in enumerate(_crossings(self.layout, window)) if truth[name])
                for window in self.windows
            ),
        )

    def true_of(self, latches: Sequence[bool]) -> set[str]:
        """The names of the latches of state bits that are true."""
        return {name for name, value in zip(self.names, latches[2:], strict=True) if value}

    def forbidden(self, states: Sequence[State]) -> bool:
        """Some lemma says that no real run goes so."""
        story = Story(self.claim.during, tuple(states), (Step(StepKind.FLOW, ()),) * (len(states) - 1))
        return any(forbids(self.layout, lemma, story) for lemma in self.lemmas)


def _standing(truth: dict[str, bool], begins: str, values: tuple[str, ...]) -> str:
    there = [value for value in told(values) if truth[f"{begins} {value}"]]
    if len(values) <= 2:
        return there[0] if there else values[0]
    (value,) = there
    return value


@dataclass(frozen=True, slots=True)
class Played:
    """A run that was played: how often something moved, and the names of the latches that were ever true."""

    moves: int
    true: frozenset[str]


# ------------------------------------------------------------------------------------------- the circuit leads the way


def follow_circuit(pair: Pair, start: State, rng: random.Random, steps: int) -> Played:
    """Play random inputs on the circuit: each step must be one of the machine, or change nothing."""
    circuit, layout, monitor = pair.circuit, pair.layout, pair.monitor
    latches, bad = circuit.step([False] * len(circuit.after), pair.start_inputs(start))
    assert not bad
    assert latches[:2] == [True, True]
    states, before, moves = [pair.state_of(latches)], monitor.states[0], 0
    true: set[str] = set()
    assert states == [start]
    for _ in range(steps):
        state = states[-1]
        assert {i: latches[i] for i in pair.known(state, before)} == pair.known(state, before)
        true |= pair.true_of(latches)
        seen = watch(layout, monitor, before, state)
        latches, bad = circuit.step(latches, random_choices(circuit, rng))
        assert bad == (is_bad(layout, monitor, seen, state) and not pair.forbidden(states))
        states.append(pair.state_of(latches))
        before = pair.left(seen, *states[-2:])
        if states[-1] != state:
            moves += 1
            pair.check(state, states[-1])
    return Played(moves, frozenset(true))


def read_witness(pair: Pair, witness: Sequence[Sequence[bool]]) -> list[State]:
    """The run that a witness shows, by the rules that users are told; of the machine, and bad at its end only."""
    circuit, layout, claim = pair.circuit, pair.layout, pair.claim
    latches = [False] * len(circuit.after)
    states: list[State] = []
    for number, inputs in enumerate(witness):
        if number:
            states.append(pair.state_of(latches))
        latches, bad = circuit.step(latches, inputs)
        assert bad == (number == len(witness) - 1)
    assert is_start(layout, states[0], layout.arrangement.start(claim.during))
    for before, after in pairwise(states):
        pair.check(before, after)
    assert first_bad(layout, claim, states) == len(states) - 1
    return states


def random_choices(circuit: Circuit, rng: random.Random) -> list[bool]:
    """Choices, few or many; in most steps none to act, since those come before all others. Start inputs are noise."""
    often, acting = rng.choice([0.05, 0.3, 0.8]), rng.random() < 0.3
    act = [name.endswith(" happens") or " is put at " in name for name in circuit.names("i")]
    return [rng.random() < often and (acting or not an_act) for an_act in act]


# ------------------------------------------------------------------------------------------- the machine leads the way


def follow_machine(pair: Pair, step_of: Unrolled, start: State, rng: random.Random, steps: int) -> Played:
    """Play a random run of the machine: some inputs must take the circuit along it."""
    circuit, layout, monitor = pair.circuit, pair.layout, pair.monitor
    latches, _ = circuit.step([False] * len(circuit.after), pair.start_inputs(start))
    states, before = [start], monitor.states[0]
    true: set[str] = set()
    for _ in range(steps):
        after = random_step(pair, states[-1], rng)
        if after is None:
            break
        seen = watch(layout, monitor, before, states[-1])
        before = pair.left(seen, states[-1], after)
        inputs = step_of.inputs(_asking(pair, step_of, latches, after, before))
        assert inputs is not None, f"no choices lead from {states[-1]} to {after}"
        latches, bad = circuit.step(latches, inputs)
        assert bad == (is_bad(layout, monitor, seen, states[-1]) and not pair.forbidden(states))
        states.append(after)
        assert pair.state_of(latches) == after
        true |= pair.true_of(latches)
    return Played(len(states) - 1, frozenset(true))


def _asking(pair: Pair, step_of: Unrolled, latches: Sequence[bool], after: State, before: str) -> list[int]:
    """The solver's assumptions: the latches are these, and after the step the state is that."""
    here = {step_of.latch(place): value for place, value in enumerate(latches)}
    there = [(pair.circuit.after[place], value) for place, value in pair.known(after, before).items()]
    return [step_of.literal(0, literal) * (1 if value else -1) for literal, value in (*here.items(), *there)]


def random_step(pair: Pair, state: State, rng: random.Random) -> State | None:
    """A random step of the machine, drawn without listing them all; None when there seems to be none."""
    for _ in range(20):
        after = _drawn(pair, state, rng)
        if after is not None and after != state:
            pair.check(state, after)
            return after
    return None


def _drawn(pair: Pair, state: State, rng: random.Random) -> State | None:
    layout, claim = pair.layout, pair.claim
    busy, often = pending(layout, state), rng.choice([0.1, 0.5, 0.9])
    if not busy and rng.random() < 0.3:
        acting = [after for _, after in acts(layout, state, claim.pace, claim.mishaps, pair.windows)]
        return rng.choice(acting) if acting else None
    reading = Reading(layout, state)
    bands, parts = list(state.bands), list(state.parts)
    for place, volume in enumerate(layout.arrangement.volumes):
        up, down = (may_cross(layout, state, pair.windows, volume.name, upward=way) for way in (True, False))
        ways = [1] * up + [-1] * down
        if ways and not busy and rng.random() < often:
            bands[place] += rng.choice(ways)
    for place, part in enumerate(layout.arrangement.parts):
        moves = may_moves(reading, part)
        if moves and rng.random() < often:
            parts[place] = rng.choice(moves).target
    return remember(layout, state, replace(state, bands=tuple(bands), parts=tuple(parts)), pair.windows)


# ------------------------------------------------------------------------------------------------------------ starts


def a_start(pair: Pair, step_of: Unrolled, rng: random.Random) -> State | None:
    """A start state that the circuit takes for one, a few literals of it chosen at random; None if there is none."""
    circuit = pair.circuit
    zero = [-step_of.literal(0, step_of.latch(place)) for place in range(len(circuit.after))]
    asked = [*zero, step_of.literal(0, circuit.after[VALID])]
    starts = [2 * (1 + i) for i, name in enumerate(circuit.names("i")) if name.startswith("start: ")]
    found = step_of.inputs(asked)
    for literal in rng.sample(starts, min(8, len(starts))):
        wanted = step_of.literal(0, literal) * rng.choice((1, -1))
        if (other := step_of.inputs([*asked, wanted])) is not None:
            asked, found = [*asked, wanted], other
    if found is None:
        return None
    return pair.state_of(circuit.step([False] * len(circuit.after), found)[0])


def takes_for_start(pair: Pair, state: State) -> bool:
    """The circuit takes the state for one of the start; it must be so just where the machine says so."""
    latches, bad = pair.circuit.step([False] * len(pair.circuit.after), pair.start_inputs(state))
    assert not bad
    assert latches[INITIALISED]
    assert pair.state_of(latches) == state
    valid = latches[VALID]
    assert valid == is_start(pair.layout, state, pair.layout.arrangement.start(pair.claim.during))
    return valid


def stays_out(pair: Pair, state: State, rng: random.Random, steps: int) -> None:
    """A run that begins in no state of the start never gets to the bad state."""
    latches, bad = pair.circuit.step([False] * len(pair.circuit.after), pair.start_inputs(state))
    for _ in range(steps):
        assert not bad
        latches, bad = pair.circuit.step(latches, random_choices(pair.circuit, rng))
        assert not latches[VALID]


def near(layout: Layout, state: State, rng: random.Random) -> State:
    """The state with one thing about it changed at random."""
    arrangement = layout.arrangement
    sort = rng.randrange(5 if state.crossed else 4)
    if sort == 0:
        place = rng.randrange(len(state.bands))
        marks = len(layout.thresholds[arrangement.volumes[place].name])
        return replace(state, bands=(*state.bands[:place], rng.randint(0, marks), *state.bands[place + 1 :]))
    if sort == 1 and arrangement.parts:
        place = rng.randrange(len(state.parts))
        value = rng.choice(arrangement.parts[place].states)
        return replace(state, parts=(*state.parts[:place], value, *state.parts[place + 1 :]))
    if sort == 2 and arrangement.controls:
        place = rng.randrange(len(state.controls))
        value = rng.choice(arrangement.controls[place].positions)
        return replace(state, controls=(*state.controls[:place], value, *state.controls[place + 1 :]))
    if sort == 4:
        place = rng.randrange(len(state.crossed))
        return replace(state, crossed=(*state.crossed[:place], frozenset({0}), *state.crossed[place + 1 :]))
    return replace(state, mishaps=frozenset(m.name for m in arrangement.mishaps if rng.random() < 0.5))
