"""Edits of an arrangement: each gives what a file with that change gives, or says what is wrong with it."""

from __future__ import annotations

import pickle
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import pytest

from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement, Mishap, Move, Passage, Range, Size
from bandproof.model.conditions import ALWAYS_TRUE, AllOf, Happened, InState, Truth
from bandproof.model.edits import (
    add_mishap,
    add_passage,
    block_passage,
    bypass_part,
    change_setting,
    change_size,
    jam_part,
    remove_move,
    remove_part,
    widen_setting,
)
from bandproof.model.loader import load_arrangement_text
from bandproof.text.errors import InputError
from tests.unit.loader_texts import spoilt
from tests.unit.model.twins import bare

BAR = Fraction(100_000)

Edit = Callable[[Arrangement], Arrangement]

#: The good arrangement with a setting's ends in starts and bands, and a part that nobody watches.
TEXT = (
    spoilt('full = "at least 8 bar"', 'full = "at least charged_at"')[0]
    + """
[starts.between]
where = "tank is at least lowest of opens and line is below highest of shuts and (cavity is working or cavity is full)"
assumed = true

[parts.lamp]
kind = "lamp"
ports = { line = "line" }
settings = { lights = "6..7 bar" }
sizes = { hole = { C = 1, b = 0.2 } }

[kinds.lamp]
ports = ["line"]
states = ["dark", "lit"]
settings = ["lights"]
sizes = ["hole"]
passages = [{ from = "line", to = "atmosphere", open_in = ["lit"], size = "hole" }]
moves = [
  { from = "dark", to = "lit", when = "line is at least highest of lights" },
  { from = "lit", to = "dark", when = "line is below lights" },
]
"""
)


#: Parts that are nothing but a passage, with their kinds, as a file has them.
HOLE = """\
[parts.hole]
kind = "hole"
ports = { inlet = "cavity" }

[kinds.hole]
ports = ["inlet"]
states = ["open"]
passages = [{ from = "inlet", to = "atmosphere" }]

[kinds.lamp]"""
PIPE = """\
[parts.pipe]
kind = "pipe"
ports = { one_end = "tank", other_end = "line" }
sizes = { bore = "wide" }

[kinds.lamp]"""
ONE_WAY = """\
[parts.pipe]
kind = "one way"
ports = { inlet = "tank", outlet = "line" }
sizes = { bore = { C = 100000, b = 0.1 } }

[kinds."one way"]
ports = ["inlet", "outlet"]
states = ["open"]
sizes = ["bore"]
passages = [{ from = "inlet", to = "outlet", size = "bore" }]

[kinds.lamp]"""


@pytest.fixture(name="base", scope="module")
def _base() -> Arrangement:
    return load_arrangement_text(TEXT, "good.toml")


def read(*changes: tuple[str, str]) -> Arrangement:
    """The arrangement of the text with these stretches replaced."""
    text = TEXT
    for old, new in changes:
        text = spoilt(old, new, text)[0]
    return load_arrangement_text(text, "good.toml")


# --------------------------------------------------------------------------------- an edit and a file with that change


@pytest.mark.parametrize(
    ("edit", "changes"),
    [
        (lambda a: change_setting(a, "opens", BAR), [('"3 ± 0.5 bar"', '"1 bar"')]),
        (lambda a: change_setting(a, "opens", BAR, 2 * BAR), [('"3 ± 0.5 bar"', '"1..2 bar"')]),
        (lambda a: change_setting(a, "shuts", 3 * BAR), [('shuts = "2..3 bar"', 'shuts = "3 bar"')]),
        (lambda a: change_setting(a, "charged_at", 7 * BAR), [('charged_at = "8 bar"', 'charged_at = "7 bar"')]),
        (lambda a: change_setting(a, "second.lift", 3 * BAR), [('lift = "1..2 bar"', 'lift = "3 bar"')]),
        (lambda a: change_setting(a, "lamp.lights", 3 * BAR), [('"6..7 bar"', '"3 bar"')]),
        (lambda a: change_setting(a, "lamp.lights", 3 * BAR, 5 * BAR), [('"6..7 bar"', '"3..5 bar"')]),
        (lambda a: widen_setting(a, "opens", BAR), [('"3 ± 0.5 bar"', '"3 ± 1.5 bar"')]),
        (lambda a: widen_setting(a, "shuts", -BAR / 2), [('shuts = "2..3 bar"', 'shuts = "2.5 bar"')]),
        (lambda a: change_size(a, "wide", c=Range(Fraction(1), Fraction(9))), [('"4..6 dm3/(s bar)"', '"1..9"')]),
        (lambda a: change_size(a, "wide", b=Range(Fraction("0.1"), Fraction("0.4"))), [("b = 0.5", 'b = "0.1..0.4"')]),
        (lambda a: change_size(a, "second.bore", c=Range(Fraction(3), Fraction(3))), [("C = 2,", "C = 3,")]),
        (
            lambda a: add_passage(a, "hole", "cavity", "atmosphere"),
            [("[kinds.lamp]", HOLE)],
        ),
        (
            lambda a: add_passage(a, "pipe", "tank", "line", size=a.size("wide")),
            [("[kinds.lamp]", PIPE)],
        ),
        (
            lambda a: add_passage(
                a, "pipe", "tank", "line", one_way=True, size=Size(Range(BAR, BAR), Range(BAR / 10**6, BAR / 10**6))
            ),
            [("[kinds.lamp]", ONE_WAY)],
        ),
        (lambda a: add_mishap(a, "frost"), [("burst = {}", "burst = {}\nfrost = {}")]),
        (
            lambda a: add_mishap(a, "frost", moves=[("lamp", "lit", "dark")]),
            [
                ("burst = {}", "burst = {}\nfrost = {}"),
                ("sizes = { hole = { C", 'mishaps = { fails = "frost" }\nsizes = { hole = { C'),
                ('settings = ["lights"]', 'settings = ["lights"]\nmishaps = ["fails"]'),
                (
                    'when = "line is below lights" },',
                    'when = "line is below lights" },\n  { from = "lit", to = "dark", when = "fails has happened" },',
                ),
            ],
        ),
        (
            lambda a: remove_move(a, "lamp", "lit", "dark"),
            [('  { from = "lit", to = "dark", when = "line is below lights" },\n', "")],
        ),
        (
            lambda a: block_passage(a, "lamp", "line", ATMOSPHERE),
            [('to = "atmosphere", open_in = ["lit"]', 'to = "atmosphere", open_in = []')],
        ),
    ],
)
def test_an_edit_gives_what_a_file_with_that_change_gives(
    base: Arrangement, edit: Edit, changes: list[tuple[str, str]]
) -> None:
    edited = edit(base)
    assert bare(edited) == bare(read(*changes))
    assert bare(edited) != bare(base)


def test_removing_a_part_gives_what_a_file_without_it_gives(base: Arrangement) -> None:
    head, tail = TEXT.split("[parts.lamp]")
    without = load_arrangement_text(head + "[kinds.lamp]" + tail.split("[kinds.lamp]")[1])
    assert bare(remove_part(base, "lamp")) == bare(without)


def test_two_settings_of_equal_numbers_stay_two() -> None:
    alike = read(('lift = "opens"', 'lift = "2.5..3.5 bar"'))
    assert (alike.setting("valve.lift").low, alike.setting("valve.lift").high) == (5 * BAR / 2, 7 * BAR / 2)
    changed = change_setting(alike, "opens", BAR)
    assert changed.part("valve") == alike.part("valve")
    assert changed.start("between") != alike.start("between")


# ----------------------------------------------------------------------------------------------------- what each leaves


def test_a_removed_part_leaves_roles_and_starts_too(base: Arrangement) -> None:
    lone = replace(base, roles={**base.roles, "light": ("lamp",), "both": ("rod", "lamp")})
    edited = remove_part(lone, "lamp")
    assert "light" not in edited.roles
    assert edited.roles["both"] == ("rod",)
    assert all("lamp" not in dict(start.parts) for start in edited.starts)


def test_what_a_start_says_by_condition_of_a_removed_part_is_forgotten(base: Arrangement) -> None:
    for wants in ("rod is out", "rod is not in", "(rod is in or rod is not in)"):
        told = read(
            ('where = "tank is at least lowest of opens', f'where = "{wants} and tank is at least lowest of opens')
        )
        assert remove_part(told, "rod").start("between").where == base.start("between").where


def test_what_no_state_of_a_removed_part_would_make_hold_stays_impossible() -> None:
    told = read(('where = "tank is at least lowest of opens', 'where = "rod is in and rod is out and tank is full'))
    assert remove_part(told, "rod").start("between").where == Truth(value=False)


def test_a_bypassed_part_is_its_two_ports_joined(base: Arrangement) -> None:
    part = bypass_part(base, "valve", "outlet", "inlet").part("valve")
    assert part.passages == (Passage("line", "tank", one_way=False, open_in=frozenset(part.states)),)
    assert (part.moves, part.ports, part.states) == (
        (),
        (("outlet", "line"), ("inlet", "tank")),
        base.part("valve").states,
    )
    assert (base.part("second").slow, bypass_part(base, "second", "inlet", "outlet").part("second").slow) == (
        True,
        False,
    )


def test_a_bypass_keeps_the_size_it_is_given_and_drops_the_rest(base: Arrangement) -> None:
    own = base.size("second.bore")
    kept, dropped = (
        bypass_part(base, "second", "inlet", "outlet", size=own),
        bypass_part(base, "second", "inlet", "outlet"),
    )
    assert [size.name for size in kept.sizes] == ["wide", "second.bore", "lamp.hole"]
    assert [size.name for size in dropped.sizes] == ["wide", "lamp.hole"]
    assert "second.lift" not in {setting.name for setting in kept.settings}


def test_two_ports_on_one_volume_are_joined_already(base: Arrangement) -> None:
    assert bypass_part(base, "second", "inlet", "outlet").part("second").passages == ()


def test_a_new_size_without_a_name_is_named_after_its_part(base: Arrangement) -> None:
    size = Size(Range(BAR, BAR), Range(Fraction(0), Fraction(0)))
    edited = bypass_part(base, "valve", "inlet", "outlet", size=size)
    assert edited.part("valve").passages[0].size == edited.size("valve.bypass") == replace(size, name="valve.bypass")


def test_a_jammed_part_stands_in_its_state_and_has_no_moves(base: Arrangement) -> None:
    edited = jam_part(base, "rod", "out")
    part = edited.part("rod")
    assert (part.moves, part.states, part.passages) == ((), ("out", "in"), base.part("rod").passages)
    assert {dict(start.parts)["rod"] for start in edited.starts} == {frozenset({"out"})}


def test_a_start_that_wants_another_state_of_a_jammed_part_is_not_lost(base: Arrangement) -> None:
    told = base.start("charged").where
    assert isinstance(told, AllOf)
    assert InState("valve", frozenset({"wide open"})) in told.items
    start = jam_part(base, "valve", "shut").start("charged")
    assert dict(start.parts) == {"valve": frozenset({"shut"})}
    assert start.where == AllOf(tuple(one for one in told.items if not isinstance(one, InState)))


def test_of_several_moves_between_two_states_one_is_removed(base: Arrangement) -> None:
    first, second, third = base.part("valve").moves
    assert remove_move(base, "valve", "wide open", "shut").part("valve").moves == (first, third)
    assert remove_move(base, "valve", "wide open", "shut", 2).part("valve").moves == (first, second)


def test_a_passage_both_ways_is_blocked_from_either_end_and_one_way_only_along(base: Arrangement) -> None:
    shut = block_passage(base, "valve", "inlet", "outlet").part("valve")
    assert [bool(one.open_in) for one in shut.passages] == [False, True, True, False]
    against = block_passage(base, "valve", "outlet", "inlet").part("valve")
    assert [bool(one.open_in) for one in against.passages] == [True, True, True, False]
    fed = block_passage(base, "valve", SOURCE, "inlet").part("valve")
    assert [bool(one.open_in) for one in fed.passages] == [True, True, False, True]


def test_a_leak_goes_one_way_whichever_end_is_named_first(base: Arrangement) -> None:
    leak, turned = (add_passage(base, "hole", *ends) for ends in (("tank", ATMOSPHERE), (ATMOSPHERE, "tank")))
    assert leak.parts == turned.parts
    assert leak.part("hole").passages == (Passage("tank", ATMOSPHERE, one_way=True, open_in=frozenset({"open"})),)


def test_a_new_mishap_is_due_where_it_is_said_to_be(base: Arrangement) -> None:
    moves = [("rod", "out", "in"), ("lamp", "lit", "dark"), ("rod", "in", "out")]
    edited = add_mishap(base, "frost", moves=moves, says="it is cold")
    assert edited.mishaps[-1] == Mishap("frost", "it is cold")
    happened = Happened("frost")
    assert edited.part("rod").moves[1:] == (Move("out", "in", happened), Move("in", "out", happened))
    assert edited.part("lamp").moves[-1] == Move("lit", "dark", happened)


# ----------------------------------------------------------------------------------------------------------------- laws


@pytest.mark.parametrize(
    "edit",
    [
        lambda a: block_passage(a, "valve", "inlet", "outlet"),
        lambda a: jam_part(a, "lamp", "lit"),
        lambda a: bypass_part(a, "valve", "inlet", "outlet"),
        lambda a: change_setting(a, "opens", BAR, 2 * BAR),
        lambda a: change_size(a, "wide", c=Range(BAR, BAR)),
    ],
)
def test_twice_is_once(base: Arrangement, edit: Edit) -> None:
    once = edit(base)
    assert bare(edit(once)) == bare(once) != bare(base)


@pytest.mark.parametrize(
    ("there", "back"),
    [
        (lambda a: widen_setting(a, "opens", BAR), lambda a: widen_setting(a, "opens", -BAR)),
        (lambda a: change_setting(a, "opens", BAR), lambda a: change_setting(a, "opens", 5 * BAR / 2, 7 * BAR / 2)),
        (lambda a: change_setting(a, "charged_at", 5 * BAR), lambda a: change_setting(a, "charged_at", 8 * BAR)),
        (lambda a: change_size(a, "wide", c=Range(BAR, BAR)), lambda a: change_size(a, "wide", c=base_c())),
        (lambda a: add_passage(a, "hole", "tank", "line", size=size_one()), lambda a: remove_part(a, "hole")),
    ],
)
def test_there_and_back(base: Arrangement, there: Edit, back: Edit) -> None:
    assert bare(there(base)) != bare(base)
    assert bare(back(there(base))) == bare(base)


def base_c() -> Range:
    """C of the size `wide`."""
    return Range(Fraction(4), Fraction(6))


def size_one() -> Size:
    """A size of no name."""
    return Size(Range(Fraction(1), Fraction(1)), Range(Fraction(0), Fraction(0)))


def test_edits_of_different_things_can_change_places(base: Arrangement) -> None:
    def jam(a: Arrangement) -> Arrangement:
        return jam_part(a, "lamp", "lit")

    def widen(a: Arrangement) -> Arrangement:
        return widen_setting(a, "opens", BAR)

    assert bare(jam(widen(base))) == bare(widen(jam(base)))


def test_an_edited_arrangement_is_told_apart_and_keeps_file_and_places(base: Arrangement) -> None:
    one, same, other = (change_setting(base, "opens", low) for low in (BAR, BAR, 2 * BAR))
    marks = [base.sha256, one.sha256, other.sha256, change_setting(one, "opens", 2 * BAR).sha256]
    assert len(set(marks)) == 4
    assert one.sha256 == same.sha256
    assert all(len(mark) == 64 for mark in marks)
    assert (one.file, one.name, one.places) == (base.file, base.name, base.places)


def test_an_edited_arrangement_can_be_sent_to_another_process(base: Arrangement) -> None:
    edited = jam_part(base, "lamp", "lit")
    copy = pickle.loads(pickle.dumps(edited))  # noqa: S301  (its own bytes)
    assert copy == edited
    with pytest.raises(InputError, match=r"good\.toml, line \d+, column \d+: part \"lamp\" has no state"):
        jam_part(copy, "lamp", "green")


def test_the_base_is_left_as_it_is(base: Arrangement) -> None:
    remove_part(base, "lamp")
    add_mishap(base, "frost", moves=[("lamp", "lit", "dark")])
    assert base == load_arrangement_text(TEXT, "good.toml")


# --------------------------------------------------------------------------------------------------------------- faults


def line_of(stretch: str) -> int:
    """The line of the text that begins with this."""
    return next(number for number, line in enumerate(TEXT.split("\n"), start=1) if line.startswith(stretch))


@pytest.mark.parametrize(
    ("edit", "code", "line", "said"),
    [
        (
            lambda a: change_setting(a, "open", BAR),
            "unknown-setting",
            "format",
            ('there is no setting "open"', 'did you mean "opens"?'),
        ),
        (
            lambda a: widen_setting(a, "xyz", BAR),
            "unknown-setting",
            "format",
            ('there is no setting "xyz"', "the settings are opens, shuts, charged_at, second.lift, lamp.lights"),
        ),
        (
            lambda a: change_setting(a, "shuts", 3 * BAR, 2 * BAR),
            "range-reversed",
            "shuts",
            ('the setting "shuts" cannot be 3 bar to 2 bar: that runs from high to low', "give the lower end first"),
        ),
        (
            lambda a: widen_setting(a, "shuts", 2 * BAR),
            "setting-not-positive",
            "shuts",
            (
                'the setting "shuts" cannot be 0 bar to 5 bar: that is not above zero',
                "every value of a setting must be above zero (gauge)",
            ),
        ),
        (
            lambda a: change_setting(a, "shuts", 10 * BAR),
            "setting-above-highest",
            "shuts",
            (
                'the setting "shuts" cannot be 10 bar: the highest pressure is 10 bar',
                "keep the setting below the highest pressure",
            ),
        ),
        (
            lambda a: change_setting(a, "lamp.lights", 9 * BAR, 11 * BAR),
            "setting-above-highest",
            "[parts.lamp]",
            (
                'the setting "lamp.lights" cannot be 9 bar to 11 bar: the highest pressure is 10 bar',
                "keep the setting below the highest pressure",
            ),
        ),
        (
            lambda a: change_setting(a, "charged_at", 4 * BAR),
            "band-empty",
            "working",
            (
                'band "working" would hold no pressure: 4 bar to 4 bar',
                'keep "charged_at" inside the other end of the band',
            ),
        ),
        (
            lambda a: change_size(a, "wid", c=Range(BAR, BAR)),
            "unknown-size",
            "format",
            ('there is no size "wid"', 'did you mean "wide"?'),
        ),
        (
            lambda a: change_size(a, "wide", c=Range(Fraction(0), BAR)),
            "size-not-positive",
            "wide",
            (
                'C = 0..100000 of size "wide" is not above zero',
                "leave the size out if it is not known, or block the passage",
            ),
        ),
        (
            lambda a: change_size(a, "wide", b=Range(Fraction(1, 2), Fraction(1))),
            "ratio-out-of-range",
            "wide",
            ('b = 0.5..1 of size "wide" is not between 0 and 1', "b is at least 0 and below 1 (ISO 6358)"),
        ),
        (
            lambda a: change_size(a, "wide", c=Range(Fraction(2), Fraction(1))),
            "range-reversed",
            "wide",
            ('C = 2..1 of size "wide" runs from high to low', "give the lower end first"),
        ),
        (
            lambda a: remove_part(a, "valves"),
            "unknown-part",
            "format",
            ('there is no part "valves"', 'did you mean "valve"?'),
        ),
        (
            lambda a: remove_part(a, "valve"),
            "unknown-part",
            "[parts.second]",
            (
                'part "valve" cannot go: the moves of "second" watch it',
                'remove "second" first, or jam "valve" in a state',
            ),
        ),
        (
            lambda a: bypass_part(a, "valve", "inlet", "xyz"),
            "unknown-port",
            "[parts.valve]",
            ('part "valve" has no port "xyz"', "its ports are inlet, outlet"),
        ),
        (
            lambda a: bypass_part(a, "valve", "inlet", "inlet"),
            "passage-ends",
            "[parts.valve]",
            ('a bypass of part "valve" has two ends, and both are "inlet"', "name two different ports"),
        ),
        (
            lambda a: bypass_part(a, "valve", "inlet", "outlet", size=replace(size_one(), name="wide")),
            "name-twice",
            "wide",
            ('there is another size "wide": C = 4..6, b = 0.5', "give the new size another name"),
        ),
        (
            lambda a: jam_part(a, "lamp", "green"),
            "unknown-state",
            "[parts.lamp]",
            ('part "lamp" has no state "green"', "its states are dark, lit"),
        ),
        (
            lambda a: remove_move(a, "rod", "out", "in"),
            "unknown-state",
            "[parts.rod]",
            ('part "rod" has no move from "out" to "in"', 'from "out" it never moves'),
        ),
        (
            lambda a: remove_move(a, "valve", "wide open", "shut", 3),
            "unknown-state",
            "[parts.valve]",
            (
                'part "valve" has 2 moves from "wide open" to "shut", so there is no number 3',
                'from "wide open" it moves to shut',
            ),
        ),
        (
            lambda a: add_passage(a, "hole", "tnk", "line"),
            "unknown-volume",
            "format",
            ('there is no volume "tnk"', 'did you mean "tank"?'),
        ),
        (
            lambda a: add_passage(a, "hole", "tank", "tank"),
            "passage-ends",
            "format",
            ('a passage from "tank" to "tank" joins nothing', "name two ends, at least one of them a volume"),
        ),
        (
            lambda a: add_passage(a, "hole", ATMOSPHERE, "tank", one_way=True),
            "passage-direction",
            "format",
            ("no air ever flows from the atmosphere", "exchange the two ends"),
        ),
        (
            lambda a: add_passage(a, "lamp", "tank", "line"),
            "name-twice",
            "[parts.lamp]",
            ('"lamp" names a part already', "give the new part another name"),
        ),
        (
            lambda a: add_passage(a, "a hole", "tank", "line"),
            "bad-name",
            "format",
            ('"a hole" cannot be the name of a part', "use letters, digits and underscores, beginning with a letter"),
        ),
        (
            lambda a: block_passage(a, "lamp", "line", SOURCE),
            "unknown-port",
            "[parts.lamp]",
            ('part "lamp" has no passage from "line" to "source"', "its passages are line to atmosphere"),
        ),
        (
            lambda a: add_mishap(a, "below"),
            "reserved-word",
            "format",
            ('"below" has a meaning of its own and cannot be the name of a mishap', "choose another name"),
        ),
        (
            lambda a: add_mishap(a, "frost", moves=[("lamp", "lit", "lit")]),
            "move-to-itself",
            "[parts.lamp]",
            ('a move of part "lamp" would lead from "lit" to "lit" itself', "name another state"),
        ),
    ],
)
def test_what_is_wrong_with_an_edit(base: Arrangement, edit: Edit, code: str, line: str, said: tuple[str, str]) -> None:
    with pytest.raises(InputError) as caught:
        edit(base)
    (fault,) = caught.value.diagnostics
    assert (fault.code, fault.file, fault.line) == (code, "good.toml", line_of(line))
    assert (fault.message, fault.hint) == said
    assert fault.note in {
        'asked by an edit of "tank, valve and line"',
        *(f"it is {one}" for one in ("2.5 ± 0.5 bar", "6.5 ± 0.5 bar")),
    }


def test_a_tolerance_where_a_band_and_a_start_want_one_pressure_is_told_at_each(base: Arrangement) -> None:
    with pytest.raises(InputError) as caught:
        widen_setting(base, "charged_at", BAR / 2)
    told = [(fault.code, fault.line) for fault in caught.value.diagnostics]
    assert told == [("setting-not-exact", line_of(at)) for at in ("working", "full", "[starts.charged]")]


def test_a_fault_of_an_arrangement_that_was_never_a_file_still_says_what_is_wrong(base: Arrangement) -> None:
    with pytest.raises(InputError, match='there is no part "x"'):
        remove_part(replace(base, places={}, file=""), "x")


def test_where_a_start_says_nothing_more_nothing_is_forgotten(base: Arrangement) -> None:
    assert jam_part(base, "rod", "in").start("cold").where == ALWAYS_TRUE
