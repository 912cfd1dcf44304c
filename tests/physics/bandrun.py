"""Follows a trajectory of the continuous model with the band machine, step by step.

Every happening must be a step the band machine has. Happenings at one instant, to rounding, may be taken in any order
or at once. Nothing is forgiven. The windows of tanks among lines are those of a claim that says what is true of the run:
hands off, where nobody acted; else one filling of the lines for each act and each move of a part, and one more.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import product

from bandproof.machine.fillings import Window, windows
from bandproof.machine.layout import Layout
from bandproof.machine.semantics import at_rest, awaited, check_step, remember, settled, to_and_fro, with_memory
from bandproof.machine.story import Crossed, Event, Moved, Occurred, State, Step, Story, Turned
from bandproof.model.arrangement import VolumeKind
from bandproof.properties.claim import Pace, Property, Shape

from .simulator import HYSTERESIS
from .trajectory import PASCALS_PER_BAR, Happening, Trajectory

#: Bar: a pressure this near to its threshold crosses it, to rounding, at the same instant as whatever happens now. Ten
#: times the play of the simulator's comparisons; thresholds are ten thousand times as far apart.
SAME_PRESSURE = 5e-6
#: Seconds.
SAME_TIME = 1e-9


#: A to and fro has gone round this often, for so many seconds, and its pressures (bar) have changed by no more since then.
ROUNDS = 3
LONG = 1.0
SAME_AGAIN = 1e-4

#: Happenings taken together, and the step they make.
Taken = tuple[Step, list[Happening]]


@dataclass(frozen=True, slots=True)
class Account:
    """What following a trajectory came to.

    `counts`: steps by kind, and more; `escape`: a sentence, if the machine refused a step. `story`: the band machine's run.
    """

    counts: Counter[str]
    story: Story
    escape: str | None = None


def follow(layout: Layout, run: Trajectory) -> Account:
    """Follow `run` from its first state to its end, or to the first step the band machine does not have."""
    return _Follower(layout, run).follow()


def windows_of(layout: Layout, run: Trajectory) -> tuple[Window, ...]:
    """The windows of a claim that says no more of a run than is so."""
    events = [event for happening in run.happenings for event in happening.events]
    acted = any(isinstance(event, Turned) for event in events)
    claim = Property(
        "run",
        "",
        "",
        Shape.NEVER,
        "begin",
        pace=Pace.ANY_TIME if acted else Pace.HANDS_OFF,
        mishaps=frozenset(event.mishap for event in events if isinstance(event, Occurred)),
        fillings=1 + sum(not isinstance(event, Crossed) for event in events) if acted else None,
    )
    return windows(layout.arrangement, claim)


def apply(layout: Layout, state: State, events: tuple[Event, ...], bounds: tuple[Window, ...] = ()) -> State:
    """The state after these events, with what its pace counters and windows then remember."""
    arrangement = layout.arrangement
    bands, parts, controls = list(state.bands), list(state.parts), list(state.controls)
    mishaps = set(state.mishaps)
    names = [v.name for v in arrangement.volumes]
    for event in events:
        match event:
            case Crossed(volume, _, upward):
                bands[names.index(volume)] += 1 if upward else -1
            case Moved(part, _, target):
                parts[[p.name for p in arrangement.parts].index(part)] = target
            case Turned(control, _, target):
                controls[[c.name for c in arrangement.controls].index(control)] = target
            case Occurred(mishap):
                mishaps.add(mishap)
    return remember(layout, state, State(tuple(bands), tuple(parts), tuple(controls), frozenset(mishaps)), bounds)


def _subjects(happening: Happening) -> set[str]:
    return {getattr(e, "volume", None) or getattr(e, "part", None) or "the driver" for e in happening.events}


class _Follower:
    def __init__(self, layout: Layout, run: Trajectory) -> None:
        self.layout = layout
        self.run = run
        self.names = [v.name for v in layout.arrangement.volumes]
        self.kinds = {v.name: v.kind for v in layout.arrangement.volumes}
        self.mishaps = frozenset(m.name for m in layout.arrangement.mishaps)
        self.counts: Counter[str] = Counter()
        self.steps: list[Step] = []
        self.windows = windows_of(layout, run)
        self.states = with_memory(layout, [run.first], self.windows)
        self.counts["timing_constraints"] += bool(layout.timing_constraints)
        self.counts["windows"] += len(self.windows)
        self.counts["while moves stay due"] += run.hunted
        #: For each happening taken that time passes after: the state then, and its number.
        self.passing: list[tuple[State, int]] = []

    def follow(self) -> Account:
        escape = self._follow()
        return Account(self.counts, Story("begin", tuple(self.states), tuple(self.steps)), escape)

    def _follow(self) -> str | None:
        state = self.states[0]
        taken = 0
        for group in self._groups():
            escape = self._check_stillness(state, group[0])
            path = self._order(state, group)
            if escape is not None or path is None:
                return escape or self._explain(state, group)
            if [h for _, hs in path for h in hs] != group or len(path) != len(group):
                self.counts["taken in another order"] += 1
            for step, happenings in path:
                self._count_races(state, happenings)
                self._count_lines(state, happenings)
                state = self._apply(state, happenings)
                self._keep(step, state)
            taken += len(group)
            self.passing.append((state, taken - 1))
        return self._check_stillness(state, self.run) or self._check_to_and_fro()

    def _apply(self, state: State, happenings: list[Happening]) -> State:
        return apply(self.layout, state, tuple(e for h in happenings for e in h.events), self.windows)

    def _count_races(self, state: State, happenings: list[Happening]) -> None:
        """Count crossings that some watch looks at, and those that use up all that it allows."""
        crossed = {e.volume: e.upward for h in happenings for e in h.events if isinstance(e, Crossed)}
        for watch, counts in zip(self.layout.timing_constraints, state.counts, strict=True):
            if watch.mover in crossed and awaited(self.layout, state, watch.pending) is not None:
                self.counts["crossed while another was due"] += 1
                last = counts.last is crossed[watch.mover]
                self.counts["whole bands while another was due"] += last
                self.counts["all that was allowed"] += last and counts.count + 1 == watch.allowance

    def _count_lines(self, state: State, happenings: list[Happening]) -> None:
        """Count tanks and chambers that cross a threshold while nothing but lines is joined to them."""
        for event in (e for h in happenings for e in h.events):
            if isinstance(event, Crossed) and self.kinds[event.volume] is not VolumeKind.LINE:
                alone = self._among_lines(state, event.volume)
                self.counts["by lines alone"] += alone
                self.counts["by lines alone, in a window"] += alone and event.volume in {w.tank for w in self.windows}

    def _among_lines(self, state: State, store: str) -> bool:
        ways = [
            {passage.upstream, passage.downstream}
            for part, at in zip(self.layout.arrangement.parts, state.parts, strict=True)
            for passage in part.passages
            if at in passage.open_in
        ]
        met, grown = {store}, {store}
        while grown:
            grown = {end for way in ways if way & grown for end in way} - met
            met |= grown
            grown = {end for end in grown if self.kinds.get(end) is VolumeKind.LINE}
        return all(self.kinds.get(end) is VolumeKind.LINE for end in met - {store})

    def _keep(self, step: Step, after: State) -> None:
        self.counts[step.kind.value] += 1
        self.steps.append(step)
        self.states.append(after)

    # -------------------------------------------------------------------------------------------- simultaneity

    def _groups(self) -> Iterator[list[Happening]]:
        group: list[Happening] = []
        for happening in self.run.happenings:
            if group and not self._tied(group[-1], happening):
                yield group
                group = []
            group.append(happening)
        if group:
            yield group

    def _tied(self, one: Happening, other: Happening) -> bool:
        """Whether `other`, which comes after `one`, is at the same instant to rounding."""
        if other.time - one.time <= SAME_TIME:
            return True
        return all(
            isinstance(e, Crossed) and abs(self._pressure(one, e.volume) - self._height(e)) <= SAME_PRESSURE
            for e in other.events
        )

    def _pressure(self, happening: Happening, volume: str) -> float:
        return happening.pressures[self.names.index(volume)]

    def _height(self, crossed: Crossed) -> float:
        return self._bar(crossed.threshold)

    def _bar(self, threshold: Fraction) -> float:
        return float((threshold + self.layout.arrangement.atmosphere) / PASCALS_PER_BAR)

    def _order(self, state: State, group: list[Happening]) -> list[Taken] | None:
        """A way to take the happenings of a group as steps; None when there is none."""
        # Pace counters remember in which order things came, so a state is not known by what is left.
        hopeless: set[tuple[State, tuple[int, ...]]] = set()

        def search(state: State, left: tuple[int, ...]) -> list[Taken] | None:
            if not left:
                return []
            if (state, left) in hopeless:
                return None
            for indices in self._choices(group, left):
                chosen = [group[i] for i in indices]
                step = self._step(state, chosen)
                if step is None:
                    continue
                after = self._apply(state, chosen)
                rest = search(after, tuple(i for i in left if i not in indices))
                if rest is not None:
                    return [(step, chosen), *rest]
            hopeless.add((state, left))
            return None

        return search(state, tuple(range(len(group))))

    @staticmethod
    def _choices(group: list[Happening], left: tuple[int, ...]) -> Iterator[tuple[int, ...]]:
        """Single happenings, then all that can be taken together; what concerns one subject stays in order."""
        taken: set[str] = set()
        free: list[int] = []
        for i in left:
            subjects = _subjects(group[i])
            if not subjects & taken:
                free.append(i)
            taken |= subjects
        yield from ((i,) for i in free)
        for size in range(2, len(free) + 1):
            yield tuple(free[:size])

    def _step(self, state: State, happenings: list[Happening]) -> Step | None:
        """The step that these happenings make together, or None when the machine has none."""
        step = self._asked(state, happenings)
        return step if isinstance(step, Step) else None

    def _asked(self, state: State, happenings: list[Happening]) -> Step | str:
        after = self._apply(state, happenings)
        return check_step(self.layout, state, after, Pace.ANY_TIME, self.mishaps, windows=self.windows)

    # ------------------------------------------------------------------------------------------------- reports

    def _check_stillness(self, state: State, at: Happening | Trajectory) -> str | None:
        """What is wrong when pressures stand still in a state that does not count as settled, or at rest.

        Of two volumes at one pressure, below a threshold by less than the play, one that fell there still counts as above
        it and one that rose does not; so such a volume may be in either band.
        """
        pressures = at.last_pressures if isinstance(at, Trajectory) else at.pressures
        bands = [
            [band]
            + [band - 1] * (band > 0 and 0 < self._bar(self.layout.low(name, band)) - p <= HYSTERESIS)
            + [band + 1]
            * (band < len(self.layout.thresholds[name]) and p >= self._bar(self.layout.high(name, band)) - HYSTERESIS)
            for name, band, p in zip(self.names, state.bands, pressures, strict=True)
        ]
        for still, judged, words in (
            (at.still_lines, settled, "lines and chambers are still, but the state is not settled"),
            (at.still_all, at_rest, "every volume is still, but the state is not at rest"),
        ):
            self.counts["still"] += still
            if still and not any(judged(self.layout, replace(state, bands=found)) for found in product(*bands)):
                return f"{words}: {state}"
        return None

    def _check_to_and_fro(self) -> str | None:
        """What is wrong when a run goes round for ever, to rounding, and a state of its round is not a final one."""
        since = self._since()
        if since is None:
            return None
        self.counts["to and fro"] += 1
        tanks = [i for i, name in enumerate(self.names) if self.kinds[name] is VolumeKind.TANK]
        seen = [happening.pressures for happening in self.run.happenings[self.passing[since][1] :]]
        held = all(max(p[i] for p in seen) - min(p[i] for p in seen) < SAME_AGAIN for i in tanks)
        for state, _ in self.passing[since:]:
            for asked, judged, tanks_held in ((held, settled, True), (not tanks, at_rest, False)):
                if asked and not judged(self.layout, state):
                    return f"the run goes round for ever in {state}, which is not {judged.__name__}"
                if asked and not to_and_fro(self.layout, state, tanks_held=tanks_held):
                    return f"the run goes round for ever in {state}, which is in no to and fro"
        return None

    def _since(self) -> int | None:
        """The place in `passing` since which the run goes round: nobody acts, and it has come back to where it was."""
        acts = [n for n, h in enumerate(self.run.happenings) if any(isinstance(e, Turned | Occurred) for e in h.events)]
        if not self.passing or self.run.ended == "chatter":
            return None
        state, end = self.passing[-1]
        last = self.run.happenings[end]
        visits = [
            place
            for place, (visited, number) in enumerate(self.passing)
            if number > max(acts, default=-1) and replace(visited, crossed=()) == replace(state, crossed=())
        ]
        long = [place for place in visits if last.time - self.run.happenings[self.passing[place][1]].time >= LONG]
        if not long or len(visits) - visits.index(long[-1]) <= ROUNDS:
            return None
        first = self.run.happenings[self.passing[long[-1]][1]]
        between = self.run.happenings[self.passing[long[-1]][1] + 1 :]
        moves = any(isinstance(e, Moved) for h in between for e in h.events)
        same = all(abs(p - q) <= SAME_AGAIN for p, q in zip(first.pressures, last.pressures, strict=True))
        return long[-1] if moves and same else None

    def _explain(self, state: State, group: list[Happening]) -> str:
        told = "\n  ".join(str(h) for h in group)
        return f"{self._asked(state, group[:1])}\n from {state}\n  {told}\n windows {self.windows}"
