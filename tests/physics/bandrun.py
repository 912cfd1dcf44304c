"""Follows a trajectory of the continuous model with the band machine, step by step.

Every happening must be a step the band machine has. Happenings at one instant, to rounding, may be taken in any order
or at once. One tolerance exists, the stated one: the air in lines. The rule that a tank or chamber needs a path for its
air neglects it; so a crossing refused by that rule alone is forgiven when the tank or chamber had, at the last change
of anything or at the last moment the path was there, been within the line-air loss of the threshold: the volume of all
lines over its own, times the highest pressure.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import product

from bandproof.machine.layout import Layout
from bandproof.machine.semantics import (
    Reading,
    at_rest,
    check_step,
    due,
    in_pace,
    may_fall,
    may_rise,
    net_inflow,
    remember,
    settled,
)
from bandproof.machine.story import Crossed, Event, Moved, Occurred, State, Step, Story, Turned
from bandproof.model.arrangement import Range, VolumeKind
from bandproof.properties.claim import Pace

from .simulator import HYSTERESIS
from .trajectory import PASCALS_PER_BAR, Happening, Numbers, Trajectory

#: Bar: a pressure this near to its threshold crosses it, to rounding, at the same instant as whatever happens now. Ten
#: times the play of the simulator's comparisons; thresholds are ten thousand times as far apart.
SAME_PRESSURE = 5e-6
#: Seconds.
SAME_TIME = 1e-9


#: Happenings taken together, and the step they make; None for one that is forgiven.
Taken = tuple[Step | None, list[Happening]]


@dataclass(frozen=True, slots=True)
class Account:
    """What following a trajectory came to.

    `counts`: steps by kind, and more; `escape`: a sentence, if the machine refused a step. `story`: the run of the
    band machine, up to the first step that had to be forgiven.
    """

    counts: Counter[str]
    story: Story
    escape: str | None = None


def follow(layout: Layout, numbers: Numbers, run: Trajectory) -> Account:
    """Follow `run` from its first state to its end, or to the first step the band machine does not have."""
    return _Follower(layout, numbers, run).follow()


def apply(layout: Layout, state: State, events: tuple[Event, ...]) -> State:
    """The state after these events, with what its pace counters then remember."""
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
    return remember(layout, state, State(tuple(bands), tuple(parts), tuple(controls), frozenset(mishaps)))


def _subjects(happening: Happening) -> set[str]:
    return {getattr(e, "volume", None) or getattr(e, "part", None) or "the driver" for e in happening.events}


class _Follower:
    def __init__(self, layout: Layout, numbers: Numbers, run: Trajectory) -> None:
        self.layout = layout
        self.run = run
        self.names = [v.name for v in layout.arrangement.volumes]
        self.mishaps = frozenset(m.name for m in layout.arrangement.mishaps)
        self.counts: Counter[str] = Counter()
        self.steps: list[Step] = []
        self.states = [run.first]
        self.counts["timing_constraints"] += bool(layout.timing_constraints)
        stores = [v.name for v in layout.arrangement.volumes if v.kind is not VolumeKind.LINE]
        in_lines = sum(numbers.litres[name] for name in self.names if name not in stores)
        highest = float(layout.arrangement.highest / PASCALS_PER_BAR)
        self.loss = {name: in_lines / numbers.litres[name] * highest for name in stores}
        #: Per tank or chamber and direction: its pressure when the path rule last allowed it to cross that way, or
        #: when anything else last changed.
        self.reference = {
            (name, upward): run.first_pressures[self.names.index(name)] for name in stores for upward in (True, False)
        }

    def follow(self) -> Account:
        escape = self._follow()
        return Account(self.counts, Story("begin", tuple(self.states), tuple(self.steps)), escape)

    def _follow(self) -> str | None:
        state = self.run.first
        for group in self._groups():
            escape = self._check_stillness(state, group[0])
            path = self._order(state, group, forgiving=False) or self._order(state, group, forgiving=True)
            if escape is not None or path is None:
                return escape or self._explain(state, group)
            if [h for _, hs in path for h in hs] != group or len(path) != len(group):
                self.counts["taken in another order"] += 1
            legal = self._legal(state)
            for step, happenings in path:
                self._count_races(state, happenings)
                state = apply(self.layout, state, tuple(e for h in happenings for e in h.events))
                legal |= self._legal(state)
                self._keep(step, state)
            self._refer(legal, group)
        return self._check_stillness(state, self.run)

    def _count_races(self, state: State, happenings: list[Happening]) -> None:
        """Count crossings that some watch looks at, and those that use up all that it allows."""
        crossed = {e.volume: e.upward for h in happenings for e in h.events if isinstance(e, Crossed)}
        for watch, counts in zip(self.layout.timing_constraints, state.counts, strict=True):
            if watch.mover in crossed and due(self.layout, state, watch.pending) is not None:
                self.counts["crossed while another was due"] += 1
                last = counts.last is crossed[watch.mover]
                self.counts["whole bands while another was due"] += last
                self.counts["all that was allowed"] += last and counts.count + 1 == watch.allowance

    def _keep(self, step: Step | None, after: State) -> None:
        self.counts["forgiven" if step is None else step.kind.value] += 1
        if step is not None and not self.counts["forgiven"]:
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

    def _order(self, state: State, group: list[Happening], *, forgiving: bool) -> list[Taken] | None:
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
                if step is None and not (forgiving and self._forgivable(state, chosen, self._taken(group, left))):
                    continue
                after = apply(self.layout, state, tuple(e for h in chosen for e in h.events))
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
        events = tuple(e for h in happenings for e in h.events)
        step = check_step(self.layout, state, apply(self.layout, state, events), Pace.ANY_TIME, self.mishaps)
        return step if isinstance(step, Step) else None

    # ------------------------------------------------------------------------------------------------ line air

    @staticmethod
    def _taken(group: list[Happening], left: tuple[int, ...]) -> list[Happening]:
        return [happening for i, happening in enumerate(group) if i not in left]

    def _forgivable(self, state: State, happenings: list[Happening], taken: list[Happening]) -> bool:
        """Whether this is a single crossing that only the path rule refuses, and the air of the lines accounts for.

        `taken` are the happenings of its group that went before: the last change may be among them.

        It is not when the pace refuses it, to which the air in lines is nothing.
        """
        crossed, *others = (e for h in happenings for e in h.events)
        if others or not isinstance(crossed, Crossed) or crossed.volume not in self.loss:
            return False
        if not in_pace(self.layout, state, crossed.volume, upward=crossed.upward):
            return False
        mark = Range(crossed.threshold, crossed.threshold)
        least, greatest = net_inflow(Reading(self.layout, state), crossed.volume, mark)
        flows = (greatest is None or greatest > 0) if crossed.upward else (least is None or least < 0)
        reference = self.reference[crossed.volume, crossed.upward]
        for happening in taken:
            if any(not isinstance(e, Crossed) or e.volume == crossed.volume for e in happening.events):
                reference = self._pressure(happening, crossed.volume)
        way = abs(self._height(crossed) - reference)
        return flows and way <= self.loss[crossed.volume] + SAME_PRESSURE

    def _legal(self, state: State) -> set[tuple[str, bool]]:
        return {
            (name, upward)
            for name, upward in self.reference
            if (may_rise if upward else may_fall)(self.layout, state, name)
        }

    def _refer(self, legal: set[tuple[str, bool]], group: list[Happening]) -> None:
        crossed = {e.volume for h in group for e in h.events if isinstance(e, Crossed)}
        changed = any(not isinstance(e, Crossed) for h in group for e in h.events)
        for name, upward in self.reference:
            if changed or name in crossed or (name, upward) in legal:
                self.reference[name, upward] = self._pressure(group[-1], name)

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

    def _explain(self, state: State, group: list[Happening]) -> str:
        after = apply(self.layout, state, group[0].events)
        why = check_step(self.layout, state, after, Pace.ANY_TIME, self.mishaps)
        told = "\n  ".join(str(h) for h in group)
        return f"{why}\n from {state}\n  {told}\n references {self.reference}\n losses {self.loss}"
