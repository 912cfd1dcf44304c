"""Makes a story real: finds pressures, sizes and settings for it, or shows that there are none and what to learn.

The demands are those of `bandproof.lemmas.accounts`. Three answers are possible:

- `Concrete`: one real gauge pressure for every volume in every state, for sizes and settings that are stated. All demands
  hold exactly, and air goes through each passage one way only between two looks at it. Among all solutions one is preferred that reads well: pressures well inside their bands, standing still
  while parts react and the driver acts, at rest at the end of a claim about settled states.
- `Impossible`: no sizes in the declared ranges, settings in their tolerances and pressures satisfy the demands. The
  answer carries a `Lemma` made from as few facts as possible, and is given only after a fresh solver has agreed that
  the accounts drawn up from the lemma alone contradict each other.
Of a run that goes round for ever, one round is made real: it ends with the pressures with which it began, time passes in
it, and air goes where pressures differ all the time. Where no such round is found, that is no proof that there is none.
- `Unclear`: neither was shown. This happens where sizes are ranges, because products of unknowns are then bounded and
  not computed; or when the solver gives up.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import islice

from bandproof.encoding.system import Problem, StepRule
from bandproof.findings.reasons import NoPressures, Unreal
from bandproof.lemmas.accounts import Air, Fact, Way
from bandproof.lemmas.cubes import Literal, Needs, whole_run
from bandproof.lemmas.downhill import (
    Numbers,
    Slope,
    levels,
    one_direction,
    overshoots,
    overtaken,
    slope_terms,
    slopes,
    turns,
)
from bandproof.lemmas.lemma import Lemma, contradiction, lemma_of
from bandproof.lemmas.unknowns import USUAL, Sizes, declared_sizes
from bandproof.machine.layout import Layout
from bandproof.machine.story import StepKind, Story, joined, with_pressures
from bandproof.machine.telling import tell
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Range, VolumeKind
from bandproof.properties.claim import Property
from bandproof.properties.monitors import Stillness, leaves, monitor_of
from bandproof.solvers.smt_terms import (
    ZERO,
    Bool,
    BoolSymbol,
    Implication,
    Negation,
    Number,
    Ordered,
    RealSymbol,
    Side,
    assertion,
    at_least,
    at_most,
    conjunction,
    declaration,
    disjunction,
    equal,
    over,
)
from bandproof.solvers.smt_terms import Real as RealTerm
from bandproof.solvers.z3_solver import Answer, Session
from bandproof.witness.pressures import Witness
from bandproof.witness.pumping import pumped

#: Looked at while z3 thinks; raises to give up.
Check = Callable[[], None]

#: Steps of z3's own clock for one question about a single story.
_LIMIT = 50_000_000

#: The same, while as much as can be had of what reads well is looked for: nothing that is true hangs on it.
_PREFERRING = 10_000_000

#: The same, for one try at leaving something out of a lemma: a longer lemma is only a weaker one.
_SHORTENING = 2_000_000

#: Of a lemma with more literals only the solver's own core is kept; what that can do without is seen once accounts are drawn up from it alone.
_MANY = 200

#: A story with what it repeats made more often is only looked at while its steps times all parts are no more than this.
_LONGEST = 2000

#: Up to so many gates, over all steps, another run is looked for first: it takes less than a second.
_SMALL = 20_000

#: How many runs of one length are looked at that come with likely pressures: every other one or so turns out real.
_TRIES = 4

#: A pressure is preferred to be at least this share of its band away from the band's ends.
_MARGIN = Fraction(1, 10)


@dataclass(frozen=True, slots=True)
class Concrete:
    """A story with its pressures, in pascals gauge.

    `sizes` are the volumes' sizes they hold for, in litres. `settings` are the numbers chosen for toleranced settings,
    each with the part that has it ("" for a shared one). `assumed` are the volumes whose size the arrangement does not
    give. `drifting` are the states at whose end the driver acts after pressures have moved inside their bands.
    """

    story: Story
    sizes: tuple[tuple[str, Fraction], ...]
    settings: tuple[tuple[str, str, Fraction], ...]
    assumed: tuple[str, ...]
    drifting: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Impossible:
    """No pressures fit, for `reason`; `lemma` keeps the search from finding the like again."""

    reason: NoPressures
    lemma: Lemma


@dataclass(frozen=True, slots=True)
class Unclear:
    """Neither real nor shown to be impossible, for `reason`.

    A `hint` keeps the search from finding the like again: runs that are not real for the usual sizes. Others may be,
    so what it forbids is not shown to be impossible, and a search that finds nothing more has proven nothing.
    """

    reason: NoPressures
    hint: Lemma | None = None


def find_pressures(
    layout: Layout, story: Story, claim: Property | None = None, *, check: Check | None = None
) -> Concrete | Impossible | Unclear:
    """Find real pressures for a story, or learn why there are none. `check` may raise to give up."""
    found = _solve(layout, story, claim, usual_sizes(layout), check)
    return found or _why_not(layout, story, claim, check)


def satisfied_by(layout: Layout, story: Story, *, check: Check | None = None) -> bool | None:
    """Whether the accounts balance with a story's own pressures; None where that is not known.

    True with the usual sizes; False when there are no sizes in the declared ranges, and no settings in theirs, for it.
    """
    own = [values for part in story.parts() for values in part.pressures]
    if _solve(layout, story, None, usual_sizes(layout), check, told=False, limit=_PREFERRING, own=own) is not None:
        return True
    air = Air(layout, whole_run(layout, story), joined(story).start, declared_sizes(layout), known=True)
    terms = [*air.axioms, *(fact.formula for fact in air.facts), *_own(air, own)]
    text = "\n".join([*map(declaration, air.declared), *map(assertion, terms)])
    answer = Session(text, check, {"rlimit": _LIMIT, **_SETTINGS}, logic="QF_LRA").ask()
    return False if answer is Answer.NO else None


def _own(air: Air, own: Sequence[Sequence[Fraction]]) -> Iterator[Bool]:
    """Each volume has the pressure given within each place."""
    for place, values in enumerate(own):
        for volume, value in zip(air.volumes, values, strict=True):
            yield equal(air.pressure[volume, 2 * place + 1], Number(value))


def concretise(
    rule: StepRule,
    problem: Problem,
    story: Story,
    *,
    told: bool = True,
    more: int = 0,
    limit: int = 100_000_000,
    check: Check | None = None,
) -> Concrete | Impossible | Unclear:
    """Make a story real, or another run to a bad that is no more than `more` steps longer.

    `story` should be a shortest one of the problem. `told`: the pressures are such as read well, which takes longer.
    `limit` bounds the search for another run, in steps of z3's clock, for each length. When no other is found, what is
    wrong with the first story is the answer. `check` may raise to give up.
    """
    layout, claim = problem.layout, problem.claim
    sizes = usual_sizes(layout)
    found = _solve(layout, story, claim, sizes, check, told=told) or _pumped(layout, story, claim, check)
    if found is not None:
        return found
    witness = Witness(rule, problem, sizes)

    shortest = len(joined(story).steps)

    def other() -> Concrete | None:
        for depth in range(shortest, shortest + more + 1):
            for seed in range(1, _TRIES + 1):
                run = witness.at(depth, limit, check, seed=seed)
                if run is None:
                    break
                like = tell(layout, claim, [problem.state_of(values) for values in run], problem.round_from(run))
                real = _solve(layout, like, claim, sizes, check, told=told)
                if real is not None:
                    return real
        return None

    # Of small problems another run is found sooner than why this one is not real; of large ones that teaches more.
    small = shortest * witness.gates <= _SMALL
    if small and (found := other()) is not None:
        return found
    refuted = _refuted(layout, story, check)
    if isinstance(refuted, Impossible):
        return refuted
    if not small and (found := other()) is not None:
        return found
    answer = _with_sizes(layout, story, claim, refuted, check, told=told)
    return _hinting(layout, story, answer, check) if isinstance(answer, Unclear) else answer


def _pumped(layout: Layout, story: Story, claim: Property, check: Check | None) -> Concrete | None:
    """A story made real by doing more often what it does more than once."""
    for longer in pumped(story, claim.fillings):
        if len(longer.steps) * len(layout.arrangement.parts) <= _LONGEST:
            found = _solve(layout, longer, None, usual_sizes(layout), check, told=False, limit=_PREFERRING)
            if found is not None:
                return found
    return None


def _hinting(layout: Layout, story: Story, unclear: Unclear, check: Check | None) -> Unclear:
    """With what makes a story unreal for the usual sizes, if that is found; and whose litres that takes."""
    exact = {name: Range(size, size) for name, size in usual_sizes(layout).items()}
    found = _refute(layout, whole_run(layout, story), joined(story).start, check, exact)
    if not isinstance(found, Lemma):
        return unclear
    wanted = _litres_wanted(layout, found, exact, check)
    reason = unclear.reason
    if wanted:
        reason = NoPressures(Unreal.LITRES, wanted)
    return Unclear(reason, found)


def _litres_wanted(layout: Layout, lemma: Lemma, exact: Mapping[str, Range], check: Check | None) -> tuple[str, ...]:
    """The volumes without declared litres for which a lemma's contradiction needs the usual ones."""
    sizes: dict[str, Range | None] = dict(exact)
    wanted: list[str] = []
    for volume in layout.arrangement.volumes:
        if volume.litres is None:
            tried = {**sizes, volume.name: None}
            if _contradicts(layout, lemma, tried, check) is Answer.NO:
                sizes = tried
            else:
                wanted.append(volume.name)
    return tuple(wanted)


def _contradicts(layout: Layout, lemma: Lemma, sizes: Sizes, check: Check | None) -> Answer:
    """No: the accounts drawn up from a lemma alone contradict each other, as a fresh solver sees it."""
    text = contradiction(layout, lemma, sizes).replace("(check-sat)\n", "")
    return Session(text, check, {"rlimit": _LIMIT}).ask()


def _why_not(
    layout: Layout, story: Story, claim: Property | None, check: Check | None
) -> Concrete | Impossible | Unclear:
    """What is said of a story that is not real for the usual sizes."""
    refuted = _refuted(layout, story, check)
    return refuted if isinstance(refuted, Impossible) else _with_sizes(layout, story, claim, refuted, check)


def _refuted(layout: Layout, story: Story, check: Check | None) -> Impossible | Unclear | dict[str, Fraction]:
    """Why no sizes in the declared ranges make a story real; or sizes that are not seen to make it unreal."""
    answer = _refute(layout, whole_run(layout, story), joined(story).start, check, declared_sizes(layout))
    return Impossible(_reason(answer), answer) if isinstance(answer, Lemma) else answer


def _with_sizes(
    layout: Layout,
    story: Story,
    claim: Property | None,
    sizes: Unclear | dict[str, Fraction],
    check: Check | None,
    *,
    told: bool = True,
) -> Concrete | Unclear:
    """What is said of a story that is not refuted."""
    if isinstance(sizes, Unclear):
        return sizes
    found = _solve(layout, story, claim, sizes, check, told=told)
    if found is None and story.loop is not None:
        return Unclear(NoPressures(Unreal.NO_ROUND))
    return found or Unclear(NoPressures(Unreal.NO_SIZES))


def usual_sizes(layout: Layout) -> dict[str, Fraction]:
    """The middle of every volume's declared size, or of the usual ones where none is declared."""
    sizes = {volume.name: volume.litres or USUAL[volume.kind] for volume in layout.arrangement.volumes}
    return {name: (size.low + size.high) / 2 for name, size in sizes.items()}


def _reason(lemma: Lemma) -> NoPressures:
    volumes = sorted({atom.subject for place in lemma.places for atom in place if atom.sort == "level"})
    parts = sorted({atom.subject for place in lemma.places for atom in place if atom.sort == "part"})
    return NoPressures(Unreal.AIR, tuple(volumes), tuple(parts))


# --------------------------------------------------------------------------------------------------------- a solver


#: How z3 is to work on air accounts.
_SETTINGS = {
    "random_seed": 1,
    # Bounds are not passed on from row to row: there are few choices to make here, and passing on costs most.
    "arith.propagation_mode": 0,
    # What is relevant is nearly all there is, so finding it out is not worth its while; restarts are paced evenly.
    "relevancy": 0,
    "restart_strategy": 0,
}


class _Solver:
    """A solver session about one set of accounts."""

    def __init__(self, air: Air, demands: Iterable[Bool], switches: Iterable[BoolSymbol], check: Check | None) -> None:
        self._air = air
        lines = [*map(declaration, air.declared), *map(declaration, switches)]
        lines += [assertion(term) for term in (*air.axioms, *demands)]
        self._taken = [way.flow for ways in air.ways for way in ways if isinstance(way.flow, RealSymbol)]
        self._ordered: set[int] = set()
        self.session = Session("\n".join(lines), check, {"rlimit": _LIMIT, **_SETTINGS}, logic="QF_LRA")

    def broken(self, followed: Iterable[Slope]) -> list[Slope]:
        """Those of the slopes that the pressures of the last yes do not follow."""
        pressure = self._pressures()
        return [slope for slope in followed if slope.broken_by(pressure)]

    def overtaken(self) -> bool:
        """The last yes has air going by turns that cannot be put in order; from now on it has to, at those points."""
        flow: dict[RealTerm, Fraction] = dict(zip(self._taken, self.session.numbers(self._taken), strict=True))
        points = [t for t in overtaken(self._air, Numbers(self._pressures(), flow)) if t not in self._ordered]
        for t in points:
            declared = len(self._air.declared)
            demands = list(turns(self._air, t))
            new = islice(self._air.declared, declared, None)
            self.session.extend("\n".join([*map(declaration, new), *map(assertion, demands)]))
        self._ordered |= set(points)
        return bool(points)

    def _pressures(self) -> dict[tuple[str, int], Fraction]:
        return dict(zip(self._air.pressure, self.session.numbers(self._air.pressure.values()), strict=True))

    def follow(self, slope: Slope, switches: Iterable[BoolSymbol] = ()) -> None:
        """From now on the slope is followed, or, with `switches`, it is where all of them are on."""
        off = map(Negation, _by_name(switches))
        self.session.add(disjunction([*off, *slope_terms(self._air, slope)]))


def _by_name(switches: Iterable[BoolSymbol]) -> list[BoolSymbol]:
    return sorted(switches, key=lambda symbol: symbol.name)


# ------------------------------------------------------------------------------------------------- finding pressures


@dataclass(frozen=True, slots=True)
class _Preference:
    """A preference: given up, lowest `rank` first, when not all can be had."""

    rank: int
    formula: Bool


def _solve(
    layout: Layout,
    story: Story,
    claim: Property | None,
    sizes: Mapping[str, Fraction],
    check: Check | None,
    *,
    told: bool = True,
    limit: int = _LIMIT,
    own: Sequence[Sequence[Fraction]] = (),
) -> Concrete | None:
    """The story with pressures, for these sizes, found within `limit`; `told`: such as read well; `own`: with these."""
    exact = {name: Range(size, size) for name, size in sizes.items()}
    run = joined(story)
    places = whole_run(layout, story)
    places += places[-1:] if story.loop == len(story.steps) else []
    air = Air(layout, places, run.start, exact, known=True)
    preferred = _preferences(air, run, claim) if told else ()
    inputs = {BoolSymbol(f"|input {i}|"): choice for i, choice in enumerate(preferred)}
    reacting = [Negation(air.lasting[place]) for place, step in enumerate(run.steps) if step.kind is StepKind.REACT]
    granted = [Implication(switch, choice.formula) for switch, choice in inputs.items()]
    demands: list[Bool] = [
        *(fact.formula for fact in (*air.facts, *levels(air))),
        *overshoots(air),
        *one_direction(air),
    ]
    demands += () if run.loop is None else _going_round(air, run.loop)
    demands += _own(air, own)
    solver = _Solver(air, [*demands, *reacting, *granted], inputs, check)
    followed = list(slopes(air))
    kept = dict(inputs)
    solver.session.limit(_PREFERRING)
    while kept and not _downhill(solver, followed, kept):
        core = (solver.session.core() & kept.keys()) or kept.keys()  # no core: the solver has given up
        lowest = min(kept[switch].rank for switch in core)
        kept = {switch: choice for switch, choice in kept.items() if not (switch in core and choice.rank == lowest)}
    solver.session.limit(limit)
    if not kept and not _downhill(solver, followed, ()):
        return None
    return _read(air, solver.session, story, sizes)


def _going_round(air: Air, loop: int) -> Iterator[Bool]:
    """From within place `loop` to within the last place the run goes once round, and could go round again."""
    first, last = 2 * loop + 1, air.points[-1]
    yield air.same(first, last)
    yield disjunction(air.lasting[loop:])
    for ways in zip(*air.ways[first:last], strict=True):
        if not any(way.blocked or way.chattering for way in ways):
            level = [at_most(*_ends(air, ways[0], t)) for t in range(first, last + 1)]
            yield disjunction([*level, *(over(way.flow, ZERO) for way in ways)])


def _ends(air: Air, way: Way, t: int) -> tuple[RealTerm, RealTerm]:
    """The pressures before and behind a way."""
    known = {ATMOSPHERE: ZERO, SOURCE: Number(air.arrangement.highest)}
    above, below = (known.get(node) or air.pressure[node, t] for node in (way.source, way.target))
    return above, below


def _downhill(solver: _Solver, followed: list[Slope], switches: Iterable[BoolSymbol]) -> bool:
    """Satisfiable, with every slope that a solution breaks added for good until none is broken."""
    while solver.session.ask(switches) is Answer.YES:
        broken = solver.broken(followed)
        if not broken and not solver.overtaken():
            return True
        for slope in broken:
            solver.follow(slope)
    return False


def _preferences(air: Air, story: Story, claim: Property | None) -> Iterator[_Preference]:
    """What makes a solution read well."""
    for volume, bands in zip(air.volumes, zip(*(state.bands for state in story.states), strict=True), strict=True):
        for place, band in enumerate(bands):
            low, high = air.layout.low(volume, band), air.layout.high(volume, band)
            level = air.pressure[volume, 2 * place + 1]
            margin = (high - low) * _MARGIN
            ends: list[Bool] = [at_least(level, Number(low + margin))] * bool(band)
            if band < len(air.layout.thresholds[volume]):
                yield _Preference(4, Ordered(Side.UNDER, (level, Number(high))))
                ends.append(at_most(level, Number(high - margin)))
            if ends:
                yield _Preference(1, conjunction(ends))
    yield _Preference(3, air.same(0, 1))
    for place, step in enumerate(story.steps):
        if step.kind is not StepKind.FLOW:
            here = 2 * place + 1
            yield _Preference(3, conjunction([air.same(here, here + 1), air.same(here, here + 2)]))
    for ways in air.ways:
        yield from (_Preference(3, equal(way.flow, ZERO)) for way in ways if way.chattering and not way.blocked)
    yield from (_Preference(2, formula) for formula in _at_rest(air, claim))


def _at_rest(air: Air, claim: Property | None) -> Iterator[Bool]:
    """At the end of a claim about settled states, lines and chambers (at rest: tanks too) have come to rest."""
    asked = set() if claim is None else set(leaves(monitor_of(claim).bad))
    if asked.isdisjoint(Stillness):
        return
    moving = set() if Stillness.AT_REST in asked else {VolumeKind.TANK}
    still = {v.name for v in air.arrangement.volumes if v.kind not in moving}
    end = air.points[-1]
    for way in air.ways[-1]:
        if not way.blocked and (way.source in still or way.target in still):
            yield at_most(*_ends(air, way, end))


def _read(air: Air, session: Session, story: Story, sizes: Mapping[str, Fraction]) -> Concrete:
    pressures = tuple(
        tuple(session.numbers(air.pressure[volume, 2 * place + 1] for volume in air.volumes))
        for place in range(len(air.places))
    )
    real = with_pressures(story, pressures)
    drifting = tuple(
        place
        for place, step in enumerate(story.steps)
        if step.kind is not StepKind.FLOW and real.pressures[place] != real.pressures[place + 1]
    )
    named = list(air.named_settings())
    chosen = session.numbers(symbol for _, symbol in named)
    settings = tuple((known.part, known.setting, value) for (known, _), value in zip(named, chosen, strict=True))
    assumed = tuple(v.name for v in air.arrangement.volumes if v.litres is None)
    return Concrete(real, tuple(sizes.items()), settings, assumed, drifting)


# -------------------------------------------------------------------------------------------------------- refuting


def _refute(
    layout: Layout, places: list[frozenset[Literal]], start: str, check: Check | None, sizes: Sizes
) -> Lemma | Unclear | dict[str, Fraction]:
    """A lemma that holds for all `sizes`; or sizes for which the demands hold as far as they can be written down.

    Most contradictions do not need that air runs downhill inside bands, and without it they are found much faster.
    """
    lemma = Lemma(tuple(places), start)
    smaller: Lemma | Unclear | dict[str, Fraction] = {}
    for downhill in (False, True):
        smaller = _smaller(layout, lemma, check, sizes, downhill=downhill)
        while isinstance(smaller, Lemma) and smaller != lemma:
            lemma, smaller = smaller, _smaller(layout, smaller, check, sizes, downhill=downhill)
    if not isinstance(smaller, Lemma):
        return smaller
    confirmed = _contradicts(layout, lemma, sizes, check) is Answer.NO
    return lemma if confirmed else Unclear(NoPressures(Unreal.NOT_CONFIRMED))


def _smaller(
    layout: Layout, lemma: Lemma, check: Check | None, sizes: Sizes, *, downhill: bool
) -> Lemma | Unclear | dict[str, Fraction]:
    """The lemma with what it can do without left out; sizes when there is no contradiction at all."""
    air = Air(layout, list(lemma.places), lemma.start, sizes)
    known = [(k, atom) for k, place in enumerate(lemma.places) for atom in sorted(place, key=lambda a: a.order)]
    switch = {item: BoolSymbol(f"|known {i}|") for i, item in enumerate(known)}
    beginning = BoolSymbol("|begins|")

    def guarded(fact: Fact) -> Bool:
        reasons = [*_by_name(switch[item] for item in fact.needs), *([beginning] if fact.start else [])]
        return disjunction([*map(Negation, reasons), fact.formula])

    facts = [*map(guarded, (*air.facts, *levels(air))), *(overshoots(air) if downhill else ())]
    switches = [*switch.values(), *([beginning] if lemma.start is not None else [])]
    solver = _Solver(air, facts, switches, check)
    followed = {slope: [switch[item] for item in slope.needs] for slope in slopes(air)} if downhill else {}

    def asked(switches: Iterable[BoolSymbol]) -> Answer:
        # A slope is added when a solution first breaks it, and turns where one has none: most never are.
        while (answer := solver.session.ask(switches)) is Answer.YES and downhill:
            broken = solver.broken(followed)
            for slope in broken:
                solver.follow(slope, followed.pop(slope))
            if not broken and not solver.overtaken():
                break
        return answer

    outcome = asked(switches)
    if outcome is Answer.YES:
        unknown = air.unknown_sizes()
        chosen = dict(zip(unknown, solver.session.numbers(unknown.values()), strict=True))
        return {v: chosen.get(v, usual) for v, usual in usual_sizes(layout).items()}
    if outcome is not Answer.NO:
        return Unclear(NoPressures(Unreal.GAVE_UP))
    solver.session.limit(_SHORTENING)
    core = solver.session.core()
    if len(switch) <= _MANY or len(core) == len(switches):
        core = _without_needless(asked, solver.session, [[beginning], *_by_place(switch)])
    needs: Needs = frozenset(item for item, symbol in switch.items() if symbol in core)
    return lemma_of(needs, lemma.start if beginning in core else None)


def _by_place(switch: Mapping[tuple[int, Literal], BoolSymbol]) -> Iterator[list[BoolSymbol]]:
    """Switches to try to leave out together: all of a place, then each alone."""
    places: dict[int, list[BoolSymbol]] = {}
    for (place, _), symbol in switch.items():
        places.setdefault(place, []).append(symbol)
    yield from places.values()
    yield from ([symbol] for symbol in switch.values())


def _without_needless(
    asked: Callable[[Iterable[BoolSymbol]], Answer], session: Session, groups: list[list[BoolSymbol]]
) -> frozenset[BoolSymbol]:
    """The switches behind the last no, without groups that it does without."""
    core = session.core()
    for group in groups:
        if core & set(group) and asked(_by_name(core - set(group))) is Answer.NO:
            core = session.core()
    return core
