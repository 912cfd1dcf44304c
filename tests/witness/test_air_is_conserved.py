"""Where bands alone tell of air that is not there, the final answer is right; where the air is there, it is shown."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import pytest
import z3

from bandproof.encoding.system import StepRule, pose
from bandproof.engines.run import search
from bandproof.findings.reasons import NoPressures, Unreal
from bandproof.lemmas.lemma import Lemma, contradiction
from bandproof.machine.rig import replay
from bandproof.machine.story import StepKind, Turned
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement, Move, Part, Passage, Start
from bandproof.model.conditions import AllOf, AtLeast, Below, InState
from bandproof.properties.claim import Property, Shape
from bandproof.solvers.z3_solver import answers, ask
from bandproof.witness.concretise import Concrete, Impossible, Unclear, concretise, find_pressures
from tests.strategies import layout_for
from tests.witness.balance import wrong_with
from tests.witness.samples import (
    CHAMBER,
    KPA,
    LINE,
    TANK,
    Answer,
    at_least,
    below,
    cylinder,
    exactly,
    learn,
    lock,
    never,
    pipe,
    piped,
    ring,
    shortest,
    shuttle,
    tap,
    volume,
)


def first_answer(arrangement: Arrangement, claim: Property) -> Answer:
    """What is said of the first story that the band machine tells."""
    problem = pose(StepRule(layout_for(arrangement, claim)), claim)
    story = shortest(problem)
    assert story is not None
    return find_pressures(problem.layout, story, claim)


def assert_real(arrangement: Arrangement, claim: Property) -> Concrete:
    problem, _, answer = learn(arrangement, claim, 8)
    assert isinstance(answer, Concrete)
    assert wrong_with(problem.layout, answer) == []
    assert replay(problem.layout, answer.story, claim) is None
    return answer


def assert_never(arrangement: Arrangement, claim: Property) -> None:
    """The claim is proven, be it of bands alone."""
    problem, _, answer = learn(arrangement, claim, 8)
    assert answer is None
    assert search(problem, problem.bad, lambda: None).invariant is not None


def assert_proven(arrangement: Arrangement, claim: Property) -> None:
    """The band machine alone refutes the claim; with the lemmas of its impossible stories it proves it."""
    assert isinstance(first_answer(arrangement, claim), Impossible)
    problem, lemmas, answer = learn(arrangement, claim, 8)
    assert answer is None
    assert lemmas
    assert search(problem, problem.bad, lambda: None).invariant is not None


# ------------------------------------------------------------------------------------------ a little air, a big tank


@pytest.mark.parametrize("pilot", ["0.05", "1", "49", ("0.5", "49")])
def test_a_little_air_does_not_fill_a_big_tank(pilot: str | tuple[str, str]) -> None:
    assert_proven(*cylinder(pilot))


@pytest.mark.parametrize("pilot", ["51", "200", ("40", "60"), ("1", "51")])
def test_enough_air_fills_it(pilot: str | tuple[str, str]) -> None:
    """600 kPa in the cylinder make 300 kPa in both only if the cylinder is the larger. For ranges one size will do."""
    assert_real(*cylinder(pilot))


def test_pressures_meet_in_the_middle() -> None:
    real = assert_real(*cylinder("150"))
    names = [name for name, _ in real.sizes]
    pilot, tank = (dict(zip(names, real.story.pressures[-1], strict=True))[name] for name in ("pilot", "tank"))
    assert pilot >= tank >= 300 * KPA
    assert 150 * pilot + 50 * tank == 150 * 600 * KPA


def unsized(arrangement: Arrangement, *names: str) -> Arrangement:
    """The arrangement without the litres of some volumes."""
    volumes = tuple(replace(v, litres=None) if v.name in names else v for v in arrangement.volumes)
    return replace(arrangement, volumes=volumes)


@pytest.mark.parametrize("names", [("pilot",), ("tank",), ("pilot", "tank")])
def test_litres_that_nobody_declares_may_be_any(names: tuple[str, ...]) -> None:
    """A cylinder twice as large as the tank will do, whichever of them is not declared; and it is said which are not."""
    arrangement, claim = cylinder("1")
    real = assert_real(unsized(arrangement, *names), replace(claim, when=at_least("tank", 400)))
    sizes = dict(real.sizes)
    assert sizes["pilot"] >= 2 * sizes["tank"]
    assert real.assumed == names


def test_no_litres_make_more_pressure() -> None:
    """Two volumes joined at 600 and 0 kPa are never both above 600, nor one at 650, however large they are."""
    for names in (("pilot",), ("tank",), ("pilot", "tank")):
        arrangement, claim = cylinder("1")
        start = replace(arrangement.starts[0], pressures=exactly(pilot=600, tank=100))
        bare = replace(unsized(arrangement, *names), starts=(start,))
        assert_never(bare, replace(claim, when=AllOf((at_least("tank", 600), at_least("pilot", 600)))))


def test_a_shut_in_volume_without_litres_keeps_its_pressure() -> None:
    """Through a chamber of any size as much comes out as went in, and of two equal tanks the second never has more than half."""
    start = Start("start", exactly(first=600, cell=0, second=0))
    volumes = (volume("first", TANK, "10"), volume("cell", CHAMBER, None), volume("second", TANK, "10"))
    parts = (pipe("first", "cell", name="in"), pipe("cell", "second", name="out"))
    assert_never(piped(volumes, parts, start), never(at_least("second", 301)))
    assert_real(piped(volumes, parts, start), never(at_least("second", 290)))


def test_where_only_litres_are_wanting_it_is_said_whose(monkeypatch: pytest.MonkeyPatch) -> None:
    """The search for other sizes is shut off: the usual ones alone forbid it, and of the three only the tank's matter."""
    arrangement, claim = cylinder("0.5")
    other = replace(
        unsized(arrangement, "tank"), volumes=(*unsized(arrangement, "tank").volumes, volume("by", LINE, None))
    )
    start = replace(arrangement.starts[0], pressures=exactly(pilot=600, tank=0, by=0))
    bare = replace(other, starts=(start,))
    monkeypatch.setattr("bandproof.witness.concretise._refuted", lambda *_: Unclear(NoPressures(Unreal.NO_SIZES)))
    rule = StepRule(layout_for(bare, claim))
    problem = pose(rule, claim)
    story = shortest(problem)
    assert story is not None
    answer = concretise(rule, problem, story)
    assert isinstance(answer, Unclear)
    assert answer.reason == NoPressures(Unreal.LITRES, ("tank",))
    assert answer.hint is not None


def test_a_line_between_them_changes_nothing() -> None:
    """The line's own air is too little to help. What goes to and fro through it is not told apart from what goes one way,
    so too little air is not shown; but it is not shown to be enough.
    """
    for pilot, enough in (("40", False), ("60", True)):
        arrangement, claim = cylinder(pilot)
        line = volume("line", LINE, ("0.01", "0.2"))
        start = replace(arrangement.starts[0], pressures=exactly(pilot=600, line=0, tank=0))
        parts = (tap("pilot", "line"), pipe("line", "tank", one_way=False))
        longer = replace(arrangement, volumes=(*arrangement.volumes, line), parts=parts, starts=(start,))
        if enough:
            assert_real(longer, claim)
        else:
            assert not isinstance(learn(longer, claim, 8)[2], Concrete)


# ----------------------------------------------------------------------------------------------------------- a ring


def test_air_does_not_multiply_by_going_round() -> None:
    for full in (310, 600, 890):
        assert_proven(*ring(full))


def test_air_that_suffices_goes_round() -> None:
    real = assert_real(*ring(960))
    assert sum(real.story.pressures[-1]) == 960 * KPA


def test_lines_in_a_ring_are_not_shown_keeping_each_other_up() -> None:
    """Two lines and an empty chamber joined both ways, one line full. Neglecting lines' air must not fill the other."""
    volumes = (volume("chamber", CHAMBER, "2"), volume("one", LINE, "0.1"), volume("two", LINE, "0.1"))
    parts = tuple(
        pipe(u, v, one_way=False, name=f"pipe{i}")
        for i, (u, v) in enumerate((("chamber", "one"), ("one", "two"), ("two", "chamber")))
    )
    start = Start("start", exactly(chamber=0, one=600, two=0))
    claim = never(AllOf((at_least("one", 500), at_least("two", 500))))
    assert not isinstance(first_answer(piped(volumes, parts, start), claim), Concrete)


def test_air_does_not_run_uphill() -> None:
    """The full bottle has 400 kPa in two litres when shared, 200 in each. A chamber through which air rushes at a lower
    pressure cannot have topped it up, though it may later, at a higher one.
    """
    start = Start(
        "start",
        exactly(low=0, bottle=400, other=0),
        (("tap", frozenset({"shut"})),),
        (("knob", frozenset({"off"})),),
    )
    volumes = (volume("low", CHAMBER, "1"), volume("bottle", CHAMBER, "1"), volume("other", CHAMBER, "1"))
    parts = (
        pipe(SOURCE, "low", name="feed"),
        pipe("low", ATMOSPHERE, name="vent"),
        pipe("low", "bottle", name="check"),
        tap("bottle", "other"),
    )
    arrangement = piped(volumes, parts, start, "off", "on")
    assert isinstance(first_answer(arrangement, never(at_least("other", 240))), Impossible)
    assert_real(arrangement, never(at_least("other", 240)))
    assert_real(arrangement, never(at_least("other", 190)))


def test_what_was_filled_first_may_end_higher() -> None:
    """800 kPa in 20 L are 667 with the first 4 L, which a check valve keeps while a second 20 L bring the tank to 333. But
    what was filled last does not end higher: with both of 4 L not both are above 660 over a tank below 600.
    """
    names = ("tank", "first", "second")
    start = Start("start", exactly(tank=800, first=0, second=0))
    parts = tuple(pipe("tank", name, name=f"to_{name}") for name in names[1:])

    def filled(second: str) -> Arrangement:
        litres = ("20", "4", second)
        volumes = tuple(volume(name, LINE, amount) for name, amount in zip(names, litres, strict=True))
        return piped(volumes, parts, start)

    claim = never(AllOf((at_least("first", 600), below("tank", 500))))
    assert_real(filled("20"), claim)
    # The same in one stay: the first has its 667, or a little less, before the second brings the tank below 400.
    stay = contradiction(layout_for(filled("20"), claim), Lemma((frozenset(),), "start"))
    wanted = "(assert (> |pressure of first within place 0| {}))(assert (< |pressure of tank within place 0| 400000))"
    for pressure, answer in ((660_000, "sat"), (670_000, "unsat")):
        assert answers(stay.replace("(check-sat)", wanted.format(pressure) + "(check-sat)")) == (answer,)
    assert_never(filled("4"), never(AllOf((at_least("first", 660), at_least("second", 660), below("tank", 600)))))


# ---------------------------------------------------------------------------------------------------- an air lock


@pytest.mark.slow
def test_a_lock_has_to_be_filled_as_often_as_it_takes() -> None:
    """One litre at 1000 kPa makes 250 kPa in four litres: one filling is too little for 300 kPa, two are enough."""
    assert isinstance(first_answer(*lock()), Impossible)
    real = assert_real(*lock())
    filled = [e for s in real.story.steps for e in s.events if isinstance(e, Turned) and e.target == "fill"]
    assert len(filled) == 2


# ------------------------------------------------------------------------------------------------ settings and parts


def seen(name: str, when: AllOf) -> Part:
    """A part that remembers what once was true."""
    return Part(name, "memory", ("no", "yes"), (), (Move("no", "yes", when),))


def one_setting(first: int, then: int) -> tuple[Arrangement, Property]:
    """A flag goes up at a setting between 200 and 400 kPa while the tank fills. It is seen up below `first`; after the
    tank has been emptied and filled again, it is seen down above `then`.
    """
    flag = Part(
        "flag",
        "flag",
        ("down", "up"),
        (),
        (
            Move("down", "up", AtLeast("tank", 200 * KPA, 400 * KPA, "rises")),
            Move("up", "down", below("tank", 100)),
        ),
    )
    early = seen("early", AllOf((InState("flag", frozenset({"up"})), below("tank", first))))
    emptied = seen("emptied", AllOf((InState("early", frozenset({"yes"})), below("tank", 100))))
    start = Start(
        "start",
        exactly(tank=0),
        tuple(
            (p, frozenset({s}))
            for p, s in (("flag", "down"), ("early", "no"), ("emptied", "no"), ("tap", "shut"), ("drain", "shut"))
        ),
        (("knob", frozenset({"off"})),),
    )
    parts = (flag, early, emptied, tap(SOURCE, "tank", "fill"), tap("tank", ATMOSPHERE, "drain", "drain"))
    arrangement = piped((volume("tank", TANK, "10"),), parts, start, "off", "fill", "drain")
    late = AllOf((InState("emptied", frozenset({"yes"})), InState("flag", frozenset({"down"})), at_least("tank", then)))
    return arrangement, never(late)


@pytest.mark.slow
def test_a_setting_is_one_number() -> None:
    """Up below 250 kPa the first time, so not still down at 350 kPa the second time; but down at 220 kPa it can be."""
    assert isinstance(first_answer(*one_setting(250, 350)), Impossible)
    real = assert_real(*one_setting(250, 220))
    ((part, setting, value),) = real.settings
    assert (part, setting) == ("flag", "rises")
    assert 220 * KPA <= value <= 250 * KPA


@pytest.mark.parametrize(
    ("late", "leaks", "possible"), [(350, False, False), (350, True, False), (220, False, False), (220, True, True)]
)
def test_both_moves_at_a_setting_have_the_same_number(late: int, leaks: bool, possible: bool) -> None:
    """A slow flag goes up at the setting and down below it. Seen up below 250 kPa, it cannot be seen up and then down at
    350; at 220 it can, if the tank that fills leaks as well, so that it can fall below where it was.
    """
    flag = Part(
        "flag",
        "flag",
        ("down", "up"),
        (),
        (
            Move("down", "up", AtLeast("tank", 200 * KPA, 400 * KPA, "rises")),
            Move("up", "down", Below("tank", 200 * KPA, 400 * KPA, "rises")),
        ),
        slow=True,
    )
    up, down = (InState("flag", frozenset({state})) for state in ("up", "down"))
    early = seen("early", AllOf((up, below("tank", 250))))
    still_up = seen("still_up", AllOf((InState("early", frozenset({"yes"})), up, at_least("tank", late))))
    stand = (("flag", "down"), ("early", "no"), ("still_up", "no"))
    start = Start("start", exactly(tank=0), tuple((part, frozenset({state})) for part, state in stand))
    pipes = (pipe(SOURCE, "tank"), *([pipe("tank", ATMOSPHERE, name="leak")] if leaks else []))
    arrangement = piped((volume("tank", TANK, "10"),), (flag, early, still_up, *pipes), start)
    claim = never(AllOf((InState("still_up", frozenset({"yes"})), down, at_least("tank", late))))
    if possible:
        rule = StepRule(layout_for(arrangement, claim))
        problem = pose(rule, claim)
        story = shortest(problem)
        assert story is not None
        # The shortest run goes up and down at one pressure; a longer one has time in between.
        answer = concretise(rule, problem, story, more=2)
        assert isinstance(answer, Concrete)
        assert wrong_with(problem.layout, answer) == []
    else:
        assert isinstance(first_answer(arrangement, claim), Impossible)


def test_a_part_does_not_wait_while_its_guard_holds() -> None:
    """The flag goes up at 300 kPa sharp or anywhere up to 400: only then can it be down at 350."""
    for low, waits in ((300, False), (400, True)):
        flag = Part(
            "flag", "flag", ("down", "up"), (), (Move("down", "up", AtLeast("tank", low * KPA, 400 * KPA, "rises")),)
        )
        high = seen("high", AllOf((InState("flag", frozenset({"up"})), below("tank", 320))))
        start = Start("start", exactly(tank=0), (("flag", frozenset({"down"})), ("high", frozenset({"no"}))))
        arrangement = piped((volume("tank", TANK, "10"),), (flag, high, pipe(SOURCE, "tank")), start)
        claim = never(InState("high", frozenset({"yes"})))
        problem, _, answer = learn(arrangement, claim, 4)
        if waits:
            assert answer is None
        else:
            assert isinstance(answer, Concrete)
            assert wrong_with(problem.layout, answer) == []


def test_two_parts_with_one_setting_may_differ() -> None:
    """Two flags of one setting: one is up below 300 kPa, and the other still down at 350 kPa."""
    guard = AtLeast("tank", 200 * KPA, 400 * KPA, "rises")
    flags = tuple(Part(name, "flag", ("down", "up"), (), (Move("down", "up", guard),)) for name in ("one", "two"))
    early = AllOf((InState("one", frozenset({"up"})), below("tank", 300)))
    witness = Part("witness", "witness", ("waits", "saw"), (), (Move("waits", "saw", early),))
    standing = tuple(
        (name, frozenset({state})) for name, state in (("one", "down"), ("two", "down"), ("witness", "waits"))
    )
    start = Start("start", exactly(tank=0), standing)
    arrangement = piped((volume("tank", TANK, "10"),), (*flags, witness, pipe(SOURCE, "tank")), start)
    saw, down = InState("witness", frozenset({"saw"})), InState("two", frozenset({"down"}))
    real = assert_real(arrangement, never(AllOf((saw, down, at_least("tank", 350)))))
    values = {part: value for part, _, value in real.settings}
    assert values["one"] <= 300 * KPA < 350 * KPA <= values["two"]


# -------------------------------------------------------------------------------------- real ones are never suppressed


def test_tanks_that_fall_by_turns_are_real() -> None:
    """The shuttle flicks to and fro faster than the story tells; both tanks do fall."""
    assert_real(*shuttle())


def test_a_valve_that_holds_a_pressure_is_real() -> None:
    """It opens at 300 kPa and shuts below: with a feed it lets through just what comes, so the other tank fills."""
    valve = Part(
        "valve",
        "valve",
        ("shut", "open"),
        (Passage("first", "second", True, frozenset({"open"})),),
        (Move("shut", "open", at_least("first", 300)), Move("open", "shut", below("first", 300))),
    )
    volumes = (volume("first", CHAMBER, "1"), volume("second", TANK, "10"))
    start = Start("start", exactly(first=0, second=0), (("valve", frozenset({"shut"})),))
    arrangement = piped(volumes, (valve, pipe(SOURCE, "first")), start)
    real = assert_real(arrangement, never(AllOf((at_least("second", 200), below("first", 400)))))
    assert real.story.steps


def test_a_tank_loses_what_fills_a_line() -> None:
    """Exactly full at the start, so not full after the line has filled, however little that takes."""
    volumes = (volume("tank", TANK, "10"), volume("line", LINE, "0.2"))
    start = Start("start", exactly(tank=600, line=0), (("tap", frozenset({"shut"})),), (("knob", frozenset({"off"})),))
    arrangement = piped(volumes, (tap("tank", "line"),), start, "off", "on")
    full = AllOf((at_least("tank", 600), at_least("line", 500)))
    assert isinstance(first_answer(arrangement, never(full)), Impossible)
    real = assert_real(arrangement, never(AllOf((at_least("tank", 585), at_least("line", 500)))))
    tank, line = real.story.pressures[-1]
    assert 10 * tank + line / 5 == 6000 * KPA


# ------------------------------------------------------------------------------------------------------- appearance


def test_pressures_stand_still_while_the_driver_acts_and_parts_react() -> None:
    real = assert_real(*cylinder("150"))
    assert real.drifting == ()
    kinds = [step.kind for step in real.story.steps]
    assert {StepKind.ACT, StepKind.REACT, StepKind.FLOW} == set(kinds)
    for k, kind in enumerate(kinds):
        assert (real.story.pressures[k] == real.story.pressures[k + 1]) == (kind is not StepKind.FLOW)


def test_pressures_keep_away_from_the_ends_of_bands_where_they_can() -> None:
    arrangement, claim = cylinder("150")
    real = assert_real(arrangement, replace(claim, shape=Shape.NEVER, when=at_least("tank", 200)))
    tank = real.story.pressures[-1][1]
    assert 200 * KPA < tank <= 450 * KPA


def test_an_end_at_rest_is_at_rest() -> None:
    """450 kPa in both, though 440 in the tank would do."""
    arrangement, _ = cylinder("150")
    opened = InState("tap", frozenset({"open"}))
    claim = Property("claim", "a claim", "none", Shape.AT_REST, "start", opened, below("tank", 440))
    real = assert_real(arrangement, claim)
    pilot, tank = real.story.pressures[-1]
    assert pilot == tank == 450 * KPA


@pytest.mark.thorough
def test_a_drift_before_an_act_is_marked() -> None:
    """The tap is shut again before the tank crosses any threshold, yet what it took in the meantime is needed later."""
    arrangement, claim = lock()
    real = assert_real(arrangement, claim)
    assert real.drifting


def test_an_answer_that_cannot_be_had_is_unclear(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("bandproof.witness.concretise._LIMIT", 1)
    arrangement, claim = cylinder("1")
    answer = first_answer(arrangement, claim)
    assert isinstance(answer, Unclear)
    assert answer.reason.why in (Unreal.GAVE_UP, Unreal.NOT_CONFIRMED, Unreal.NO_SIZES)


class OutOfTimeError(Exception):
    pass


def test_a_limit_is_kept_while_pressures_are_looked_for() -> None:
    arrangement, claim = cylinder("1")
    rule = StepRule(layout_for(arrangement, claim))
    problem = pose(rule, claim)
    story = shortest(problem)
    assert story is not None
    asked = 0

    def check() -> None:
        nonlocal asked
        asked += 1
        if asked > 3:
            raise OutOfTimeError

    with pytest.raises(OutOfTimeError):
        concretise(rule, problem, story, check=check)


def test_a_long_question_is_broken_off() -> None:
    """Thirteen things in twelve places: z3 takes far longer over it than the steps it is given here."""
    solver = z3.Solver(ctx=z3.Context())
    solver.set("rlimit", 40_000_000)
    sits = [[z3.Bool(f"{i} in {j}", solver.ctx) for j in range(12)] for i in range(13)]
    solver.add([z3.Or(row) for row in sits])
    solver.add([z3.Not(z3.And(a[j], b[j])) for j in range(12) for a, b in combinations(sits, 2)])
    looks = 0

    def check() -> None:
        nonlocal looks
        looks += 1
        if looks > 2:
            raise OutOfTimeError

    with pytest.raises(OutOfTimeError):
        ask(solver, [], check)
