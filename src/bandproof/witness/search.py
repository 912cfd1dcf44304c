"""The search for a witness: vehicles drawn at random, then the best of them improved.

The same seed and budget give the same answer. What is found breaks the claim by more than the simulator may err, also with
every number moved by its error (`bandproof.witness.run.surviving`), and with no act that it could do without.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import differential_evolution

from bandproof.findings.witness import Common, Deed, Measured, NoWitness, PartMove, Witness
from bandproof.machine.story import Story
from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import AtLeast, Below
from bandproof.model.walker import leaves
from bandproof.properties.claim import Property
from bandproof.simulation.accuracy import HUNTING_PASCALS
from bandproof.simulation.airflow import Floats
from bandproof.simulation.history import History
from bandproof.simulation.script import Act, Occur, Script, Turn
from bandproof.simulation.space import Space, numbers_of
from bandproof.simulation.vehicle import Vehicle
from bandproof.witness.judging import allowance, target
from bandproof.witness.points import Points
from bandproof.witness.rerun import SHORTEST, rerun
from bandproof.witness.run import FEWER_SHAKES, MOST_STEPS, Verdicts, judged, situated, surviving
from bandproof.witness.script_of import Plan, plan_of

#: Vehicles of each batch and the seconds they are run, one batch after the other until the budget is used.
BATCHES = ((48, 60.0), (128, 600.0), (256, 60.0), (128, 3600.0), (256, 600.0))
#: See `_Search._spared`.
AS_LONG = 3.0
#: Steps after which a single vehicle is given up.
MOST_STEPS_ALONE = 100_000
#: Steps after which a vehicle drawn to tell how common a break is, is given up.
MOST_STEPS_COMMON = 4000
#: How many of a batch's best are looked at again.
LOOKED_AT = 6
#: Of more acts than FEW they are not left out one by one, but the last of them, this many lengths being tried at once.
FEW = 12
AT_ONCE = 8


@dataclass(frozen=True, slots=True)
class Budget:
    """How far a search goes.

    At least `vehicles` are drawn, in `batches` of so many run for so many seconds, then the best `population` of them are
    improved for `generations`, before it gives up. `common` vehicles are drawn to tell how common a break is. A vehicle is run
    for at most `most_steps` steps. `widened`: numbers that are not declared may lie far beyond their everyday ranges.
    """

    vehicles: int = 1000
    population: int = 48
    generations: int = 30
    common: int = 100
    batches: tuple[tuple[int, float], ...] = BATCHES
    most_steps: int = MOST_STEPS
    widened: bool = False


#: A first look: most stories are of what most vehicles do.
QUICKLY = Budget(vehicles=32, generations=0, batches=((12, 10.0), (20, 60.0)))
#: A second look, once air accounts have shown that some pressures fit the story.
AGAIN = Budget(vehicles=40, generations=0, batches=((16, 10.0), (24, 60.0)))
#: The same for what takes longer, as filling does.
LONGER = Budget(vehicles=24, generations=0, batches=((24, 600.0),), most_steps=3000)
#: What is looked at before a claim is left undecided.
THOROUGHLY = Budget()
#: The same with litres and sizes far beyond everyday ones, where they are not declared.
ANYTHING = Budget(vehicles=200, population=32, generations=20, batches=((100, 60.0), (100, 600.0)), widened=True)
#: Few vehicles, each for as long as it takes: a part that goes to and fro moves little air each time.
PATIENTLY = Budget(vehicles=6, generations=0, batches=((6, 600.0),), most_steps=30_000, common=12)
#: The same story with a control turned to and fro many times after it.
PUMPING = Budget(vehicles=24, generations=0, batches=((12, 60.0), (12, 600.0)), most_steps=30_000, common=24)
#: So often.
STROKES = (20, 100)


def find_witness(
    arrangement: Arrangement,
    claim: Property,
    story: Story,
    *,
    seed: int = 0,
    budget: Budget | None = None,
    check: Callable[[], None] = lambda: None,
) -> Witness | NoWitness:
    """A vehicle that breaks `claim` (or, of a `reachable` one, shows it), doing what the story does or less.

    `check` is called now and then, and may raise to end the search. ValueError when no vehicle begins as the claim's start says.
    """
    plan = plan_of(arrangement, claim, story)
    return find_planned(arrangement, claim, plan, seed=seed, budget=budget, check=check)


def find_planned(
    arrangement: Arrangement,
    claim: Property,
    plan: Plan,
    *,
    seed: int = 0,
    budget: Budget | None = None,
    check: Callable[[], None] = lambda: None,
) -> Witness | NoWitness:
    """The same for a plan."""
    how = budget or THOROUGHLY
    space = Space(arrangement, arrangement.start(claim.during), widened=how.widened)
    return _Search(space, claim, plan, seed=seed, budget=how, check=check).run()


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A point, how long it is run, and its margin."""

    points: Points
    row: Floats
    until: float
    margin: float


class _FoundError(Exception):
    """Ends an optimiser as soon as a candidate has been found."""

    def __init__(self, candidate: _Candidate) -> None:
        super().__init__()
        self.candidate = candidate


class _Search:
    def __init__(
        self, space: Space, claim: Property, plan: Plan, *, seed: int, budget: Budget, check: Callable[[], None]
    ) -> None:
        self._space, self._claim, self._seed, self._budget, self._check = space, claim, seed, budget, check
        self._points = Points(space, plan)
        self._generator = np.random.default_rng(seed)
        self._tried = 0
        self._best: list[_Candidate] = []

    def run(self) -> Witness | NoWitness:
        try:
            self._draw()
            if self._budget.generations:
                self._improve()
        except _FoundError as found:
            spared = self._spared(found.candidate)
            sure = self._survives(spared, spared.until)
            told = self._told(spared if sure else found.candidate)
            if told is not None:
                return told
        return NoWitness(self._tried, self._best[0].margin if self._best else -np.inf)

    # ----------------------------------------------------------------------------------------------- the search

    def _draw(self) -> None:
        for batch in range(10**6):
            count, until = self._budget.batches[batch % len(self._budget.batches)]
            guided = self._points.draw(self._generator, count // 2, guided=True)
            if not self._points.even:
                guided = situated(self._points, guided, until)
            self._judge(np.concatenate([guided, self._points.draw(self._generator, count - count // 2)]), until)
            if self._tried >= self._budget.vehicles:
                return

    def _judge(self, rows: Floats, until: float) -> Floats:
        """The margins of some points; _FoundError once one breaks the claim for sure."""
        self._check()
        vehicles = self._points.vehicles(rows)
        scripts = self._points.scripts(self._points.gaps(rows))
        found = self._judged(vehicles, scripts, until, wanted=LOOKED_AT)
        margins = np.where(self._points.allowed(vehicles), found.margins, -1e9)
        self._tried += len(rows)
        order = sorted(range(len(rows)), key=lambda i: (margins[i] <= 0, not vehicles[i].usual, -margins[i], i))
        candidates = [_Candidate(self._points, rows[i], until, float(margins[i])) for i in order]
        for candidate in candidates[:LOOKED_AT]:
            if candidate.margin > 0 and self._survives(candidate, until):
                raise _FoundError(candidate)
        self._best = sorted([*self._best, *candidates], key=lambda one: -one.margin)[: self._budget.population]
        return margins

    def _improve(self) -> None:
        """Differential evolution from the best points drawn, run as long as the best of them was."""
        until = self._best[0].until

        def lack(columns: Floats) -> Floats:
            return -self._judge(np.atleast_2d(columns.T), until)

        differential_evolution(
            lack,
            [(0.0, 1.0)] * self._points.size,
            init=np.array([one.row for one in self._best]),
            maxiter=self._budget.generations,
            rng=np.random.default_rng(self._seed),
            vectorized=True,
            updating="deferred",
            polish=False,
            tol=0.0,
        )

    def _spared(self, candidate: _Candidate) -> _Candidate:
        """The candidate without the acts that it can do without; without them it may take AS_LONG times as long.

        Of more than FEW acts, as many as can are left out at the end; then only mishaps are left out one by one.
        """
        until = min(candidate.until, AS_LONG * self._end(candidate) + 1.0)
        free, row = candidate.points.freely(candidate.row)
        candidate = replace(candidate, points=free, row=row)
        if len(free.plan.acts) > FEW:
            candidate = self._shortened(candidate, until)
        acts = candidate.points.plan.acts
        few = len(acts) <= FEW
        return self._rid(candidate, [n for n, act in enumerate(acts) if few or isinstance(act.what, Occur)], until)

    def _rid(self, candidate: _Candidate, numbers: Sequence[int], until: float) -> _Candidate:
        """The candidate without those acts of `numbers` that it can do without.

        Each is left out alone, all these runs together; then all that could be spared at once, or else the last of them
        and the rest is tried again.
        """
        while numbers:
            less = [self._without(candidate, number, 1) for number in numbers]
            spare = [n for n, good in zip(numbers, self._surviving(less, until), strict=True) if good]
            every = self._without_all(candidate, spare)
            if len(spare) < 2 or self._surviving([every], until)[0]:
                return every
            candidate, numbers = self._without(candidate, spare[-1], 1), spare[:-1]
        return candidate

    def _without_all(self, candidate: _Candidate, numbers: Sequence[int]) -> _Candidate:
        for number in sorted(numbers, reverse=True):
            candidate = self._without(candidate, number, 1)
        return candidate

    def _shortened(self, candidate: _Candidate, until: float) -> _Candidate:
        """The candidate with the fewest of its first acts: fewer may do where more do not, rarely.

        A few numbers of acts are tried at once, evenly over those that are left.
        """
        low, high = 0, len(candidate.points.plan.acts)
        while low < high:
            lengths = sorted({low + (high - low) * part // AT_ONCE for part in range(AT_ONCE)})
            acts = len(candidate.points.plan.acts)
            less = [self._without(candidate, length, acts - length) for length in lengths]
            good = self._surviving(less, until)
            first = good.index(True) if True in good else len(good)
            low = lengths[first - 1] + 1 if first else low
            if first < len(good):
                candidate, high = less[first], lengths[first]
        return candidate

    def _survives(self, candidate: _Candidate, until: float) -> bool:
        points, row, most = candidate.points, candidate.row, self._budget.most_steps
        return surviving([(points, row)], self._claim, until, self._seed, most_steps=most)[0]

    def _surviving(self, candidates: Sequence[_Candidate], until: float) -> list[bool]:
        """Whether each breaks the claim for sure, or nearly: they are run together, each moved less often."""
        pairs = [(candidate.points, candidate.row) for candidate in candidates]
        most = self._budget.most_steps
        return surviving(pairs, self._claim, until, self._seed, most_steps=most, shakes=FEWER_SHAKES)

    def _judged(
        self, vehicles: list[Vehicle], scripts: list[Script], until: float, *, wanted: int | None = None
    ) -> Verdicts:
        arrangement, most = self._space.arrangement, self._budget.most_steps
        return judged(arrangement, self._claim, vehicles, scripts, until, wanted=wanted, most_steps=most)

    def _again(self, candidate: _Candidate) -> Verdicts:
        """The candidate run once more, as exactly as witnesses are."""
        points, row = candidate.points, candidate.row[None]
        return judged(
            self._space.arrangement,
            self._claim,
            points.vehicles(row),
            points.scripts(points.gaps(row)),
            candidate.until,
            most_steps=MOST_STEPS_ALONE,
            hunting_play=HUNTING_PASCALS,
        )

    def _end(self, candidate: _Candidate) -> float:
        points, row = candidate.points, candidate.row[None]
        scripts = points.scripts(points.gaps(row))
        return float(self._judged(points.vehicles(row), scripts, candidate.until).times[0])

    def _without(self, candidate: _Candidate, first: int, count: int) -> _Candidate:
        """The candidate, of a plan not done evenly, without some acts in a row; those that follow come when they came."""
        points = candidate.points
        fewer = Points(self._space, points.plan.without(first, count), even=False)
        gaps = points.gaps(candidate.row[None])[0]
        kept = np.concatenate([gaps[:first], gaps[first + count :]])
        if first + count < len(gaps):
            kept[first] += gaps[first : first + count].sum()
        row = fewer.with_gaps(candidate.row[: points.numbers], kept)
        return _Candidate(fewer, row, candidate.until, candidate.margin)

    # ---------------------------------------------------------------------------------------------- the witness

    def _told(self, candidate: _Candidate) -> Witness | None:
        """The witness that a candidate is; None where it breaks nothing when it is run more exactly."""
        points, arrangement = candidate.points, self._space.arrangement
        (vehicle,) = points.vehicles(candidate.row[None])
        found = self._again(candidate)
        hunted = bool(found.histories[0].hunted)
        if found.margins[0] <= allowance(float(arrangement.atmosphere), self._claim, hunted=hunted):
            return None
        end = float(found.times[0])
        deeds = _deeds(found.histories[0], end)
        script = tuple(Act(deed.what, deed.time) for deed in deeds)
        history = rerun(arrangement, vehicle, script, end)
        last = history.pressures[np.searchsorted(history.times, max(end, SHORTEST))]
        pressures = dict(zip(vehicle.pressures, last.tolist(), strict=True))
        return Witness(
            start=self._space.start.name,
            vehicle=numbers_of(self._space, vehicle),
            deeds=deeds,
            when=float(found.first[0]),
            end=end,
            margin=float(found.margins[0]),
            measured=_measured(self._claim, pressures),
            pressures=pressures,
            moves=_moves(history),
            hunted=history.hunted,
            assumed=vehicle.assumed,
            common=self._common(candidate, end),
            tried=self._tried,
        )

    def _common(self, candidate: _Candidate, end: float) -> Common:
        """Of vehicles drawn at random over the declared ranges, with the same acts, how many break the claim.

        They are run for AS_LONG times as long as the witness took.
        """
        count = self._budget.common
        generator = np.random.default_rng([self._seed, 1])
        gaps = np.repeat(candidate.points.gaps(candidate.row[None]), count, axis=0)
        drawn = candidate.points.vehicles(candidate.points.draw(generator, count))
        scripts = candidate.points.scripts(gaps)
        until = min(candidate.until, AS_LONG * end + 1.0)
        most = max(MOST_STEPS_COMMON, self._budget.most_steps)
        found = judged(self._space.arrangement, self._claim, drawn, scripts, until, most_steps=most)
        broken = found.margins > 0
        cut = np.array([history.ended < until for history in found.histories]) & ~broken
        return Common(int(broken.sum()), count, int(cut.sum()))


def _deeds(history: History, end: float) -> tuple[Deed, ...]:
    return tuple(Deed(h.what, h.time) for h in history.happenings if isinstance(h.what, Turn | Occur) and h.time <= end)


def _moves(history: History) -> tuple[PartMove, ...]:
    """Every move, but those of parts that went to and fro."""
    return tuple(
        PartMove(time, what.part, what.target) for time, what in history.moves() if what.part not in history.hunted
    )


def _measured(claim: Property, pressures: Mapping[str, float]) -> tuple[Measured, ...]:
    found = [
        Measured(leaf.volume, pressures[leaf.volume], float(leaf.low))
        for leaf in leaves(target(claim))
        if isinstance(leaf, Below | AtLeast)
    ]
    return tuple(dict.fromkeys(found))
