"""Spoilt arrangement files: each fault is reported once, with its code, at the very stretch that is at fault."""

from __future__ import annotations

import pytest

from bandproof.model.kinds import catalogue, kind_like
from tests.unit.loader_texts import GOOD, faults_in, mark, spoilt

#: What stands in the good text, what stands there instead with « » around what is to be blamed, and the code.
SPOILT = [
    # the head
    ('unit = "bar"', 'unit = «"atm"»', "unknown-choice"),
    ('unit = "bar"', "unit = «3»", "wrong-type"),
    ('highest = "10 bar"', 'highest = «"10"»', "unit-missing"),
    ('highest = "10 bar"', 'highest = «"0 bar"»', "pressure-not-positive"),
    ('highest = "10 bar"', 'highest = «"9..10 bar"»', "range-not-wanted"),
    ('atmosphere = "1 bar"', 'atmosphere = «"0 bar"»', "pressure-not-positive"),
    ('atmosphere = "1 bar"', 'atmosphere = «"one bar"»', "bad-quantity"),
    ('start = "charged"', 'start = «"chraged"»', "unknown-start"),
    ('name = "tank, valve and line"', 'name = «" "»', "empty-text"),
    ("caution =", "«cation» =", "unknown-key"),
    ("[bands]", "[«band»]\n[bands]", "unknown-key"),
    ('[starts.cold]\nsays = "empty"', '[starts.cold]\nsays = «["empty"]»', "wrong-type"),
    # bands
    ('"below 4 bar"', '«"below"»', "band-syntax"),
    ('"below 4 bar"', '«"below four"»', "unknown-setting"),
    ('"below 4 bar"', '«"below 0 bar"»', "band-empty"),
    ('"below 4 bar"', '«"below 11 bar"»', "pressure-above-highest"),
    ('"below 4 bar"', '«"below 10 bar"»', "pressure-at-highest"),
    ('"at least 8 bar"', '«"at least 10 bar"»', "pressure-at-highest"),
    ('"4 bar to charged_at"', '«"4 bar to 10 bar"»', "pressure-at-highest"),
    ('"4 bar to charged_at"', '«"9 bar to charged_at"»', "band-empty"),
    ('"4 bar to charged_at"', '«"-4 bar to charged_at"»', "pressure-not-positive"),
    ('"4 bar to charged_at"', '«"4 bar to shuts"»', "setting-not-exact"),
    ('"at least 8 bar"', '«"at least 8"»', "unit-missing"),
    ("any = ", "«is» = ", "reserved-word"),
    # settings, sizes, volumes
    ('value = "3 ± 0.5 bar"', 'value = «"3 ± 3 bar"»', "setting-not-positive"),
    ('value = "3 ± 0.5 bar"', 'value = «"9.9 ± 0.5 bar"»', "setting-above-highest"),
    ('shuts = "2..3 bar"', 'shuts = «"10 bar"»', "setting-above-highest"),
    ('shuts = "2..3 bar"', 'shuts = «"0 bar"»', "setting-not-positive"),
    ('shuts = "2..3 bar"', "shuts = «2.5»", "wrong-type"),
    ('shuts = "2..3 bar"', 'shuts = { «is» = "2 bar", value = "2 bar" }', "unknown-key"),
    ('shuts = "2..3 bar"', '«"shuts at"» = "2..3 bar"', "bad-name"),
    ("b = 0.5", "b = «1.0»", "ratio-out-of-range"),
    ("b = 0.5", "b = «-0.1»", "ratio-out-of-range"),
    ("b = 0.5", "b = «true»", "wrong-type"),
    ("b = 0.5", "b = «1e400»", "bad-quantity"),
    ("b = 0.5", "b = «nan»", "bad-quantity"),
    ('C = "4..6 dm3/(s bar)"', 'C = «"0..6"»', "size-not-positive"),
    ('C = "4..6 dm3/(s bar)"', 'C = «"4 L"»', "unit-unknown"),
    ('volume = "20 L"', 'volume = «"-1 L"»', "volume-not-positive"),
    ('volume = "20 L"', 'volume = «"20 gal"»', "unit-unknown"),
    ('cavity = { is = "chamber" }', 'cavity = { is = «"cavity"» }', "unknown-choice"),
    ('cavity = { is = "chamber" }', "«cavity» = {}", "missing-key"),
    ("burst = {}", "burst = {}\n«line» = {}", "name-twice"),
    # controls
    ('"pulled"], says', '"pulled", «"free"»], says', "duplicate-position"),
    ('["free", "held in", "pulled"]', '["free", "held in", "pulled", «"a.b"»]', "bad-name"),
    ('["free", "held in", "pulled"], says', "«[]», says", "too-few-positions"),
    # entries of the wrong shape
    ('low = "below 4 bar"', 'low = "below 4 bar"\nodd = «4»', "wrong-type"),
    ('lever = "knob"', 'lever = "knob"\nodd = «4»', "wrong-type"),
    ('lever = "knob"', 'lever = "knob"\nodd = «{ a = 1 }»', "wrong-type"),
    ("burst = {}", "burst = {}\nodd = «4»", "wrong-type"),
    ("[starts.cold]", '[starts.«"a  b"»]\n[starts.cold]', "bad-name"),
    ("[kinds.rod]", '[kinds.«"?"»]\nports = []\nstates = ["x"]\n[kinds.rod]', "bad-name"),
    ("[kinds.rod]", "[kinds.odd]\nports = []\nstates = «[]»\n[kinds.rod]", "missing-key"),
    ("[kinds.rod]", '[kinds.odd]\nports = []\nstates = ["x"]\nspeed = 1\n[kinds.rod]', "unknown-key"),
    # kinds
    ('states = ["in", "out"]', 'states = ["in", "out", «"in"»]', "duplicate-state"),
    ('states = ["in", "out"]', 'states = ["in", "out", «"?"»]', "bad-name"),
    ('ports = ["chamber"]', 'ports = ["chamber", «"chamber"»]', "duplicate-slot"),
    ('controls = ["hand"]', 'controls = ["hand", «"lift"»]', "duplicate-slot"),
    ('controls = ["hand"]', 'controls = ["hand", «"source"»]', "reserved-word"),
    ('open_in = ["wide open"], size', 'open_in = [«"open"»], size', "unknown-state"),
    ('size = "bore" }', 'size = «"boer"» }', "unknown-slot"),
    ('{ from = "inlet", to = "outlet"', '{ from = «"intel"», to = "outlet"', "unknown-port"),
    ('{ between = ["inlet", "source"] }', '«{ between = ["inlet"] }»', "passage-ends"),
    ('{ between = ["inlet", "source"] }', '«{ between = ["inlet", "inlet"] }»', "passage-ends"),
    ('{ between = ["inlet", "source"] }', '«{ between = ["atmosphere", "source"] }»', "passage-ends"),
    ('{ between = ["inlet", "source"] }', '{ from = "inlet", to = «"source"» }', "passage-direction"),
    ('{ between = ["inlet", "source"] }', '«{ to = "inlet" }»', "passage-ends"),
    ('{ from = ["in"], to', "{ from = «[]», to", "missing-key"),
    ('{ from = ["in"], to', '{ from = [«"inn"»], to', "unknown-state"),
    ('{ from = ["in"], to', '{ from = ["in", «"out"»], to', "move-to-itself"),
    ('to = "out", when', 'to = «"outt"», when', "unknown-state"),
    ('to = "out", when = "chamber', 'to = "out", when = "«chambre»', "unknown-name"),
    ('is at least 1 bar"', 'is at least «1 barr»"', "unit-unknown"),
    (
        "\"hand is 'held in' and inlet is at least lift\"",
        "\"hand is 'held in' and inlet is at least «hand»\"",
        "unknown-setting",
    ),
    ("\"hand is 'held in' and inlet is at least lift\"", "\"hand is 'held in' and inlet is «low»\"", "unknown-band"),
    ('"tears has happened"', '"«hand» has happened"', "wrong-subject"),
    ('"tears has happened"', '"«inlet» has happened"', "wrong-subject"),
    ('"tears has happened"', '"«tears» is true"', "wrong-subject"),
    ('"tears has happened"', '"«every tears» has happened"', "every-not-a-role"),
    ("pressure of outlet", "pressure of «hand»", "wrong-subject"),
    ("pressure of outlet", "pressure of «outlte»", "unknown-name"),
    ('"chamber is at least 1 bar"', '"chamber is at least «0 bar»"', "pressure-not-positive"),
    # parts
    ('kind = "rod"', 'kind = «"rodd"»', "unknown-kind"),
    ('ports = { chamber = "line" }', "«ports» = {}", "missing-port"),
    ('ports = { chamber = "line" }', 'ports = { chamber = "line", «rod» = "line" }', "unknown-port"),
    ('ports = { chamber = "line" }', 'ports = { chamber = «"atmosphere"» }', "unknown-volume"),
    ('settings = { lift = "opens" }', 'settings = { lift = «"opnes"» }', "unknown-setting"),
    ('settings = { lift = "opens" }', 'settings = { lift = «"4"» }', "unit-missing"),
    ('settings = { lift = "opens" }', 'settings = { lift = «"11 bar"» }', "setting-above-highest"),
    ('settings = { lift = "opens" }', 'settings = { lift = "opens", «to» = "opens" }', "unknown-slot"),
    ('sizes = { bore = "wide" }', 'sizes = { bore = «"wdie"» }', "unknown-size"),
    ('sizes = { bore = "wide" }', "sizes = { bore = «3» }", "wrong-type"),
    ('sizes = { bore = "wide" }', 'sizes = { «boer» = "wide" }', "unknown-slot"),
    ('sizes = { bore = { C = 2, b = "0.2..0.3" } }', "sizes = { «bore» = { C = 2 } }", "missing-key"),
    ('sizes = { bore = { C = 2, b = "0.2..0.3" } }', 'sizes = { bore = { C = 2, b = «"2"» } }', "ratio-out-of-range"),
    ('links = { partner = "valve" }', 'links = { partner = «"vlave"» }', "unknown-part"),
    ('links = { partner = "valve" }', 'links = { partner = «"rod"» }', "link-lacks-state"),
    ('links = { partner = "valve" }\n', "", "missing-slot"),
    ('["breakaway", "burst"] }\nstarts_in', '["breakaway", «"bursts"»] }\nstarts_in', "unknown-mishap"),
    ('["breakaway", "burst"] }\nstarts_in', '«"knob"» }\nstarts_in', "unknown-mishap"),
    ('starts_in = "wide open"', 'starts_in = «"wide opne"»', "unknown-state"),
    ('reaction = "fast"', 'reaction = «"quick"»', "bad-reaction"),
    ('reaction = "fast"', 'reaction = «"50"»', "bad-reaction"),
    ('reaction = "fast"', 'reaction = «"0 ms"»', "bad-reaction"),
    ('reaction = "fast"', 'reaction = «"-5..5 ms"»', "bad-reaction"),
    ('reaction = "slow"\npassages', 'reaction = «"50..20 ms"»\npassages', "bad-reaction"),
    # roles
    ('lever = "knob"', 'lever = «"knbo"»', "role-unknown-name"),
    ('lever = "knob"', 'lever = ["knob", «"tank"»]', "role-mixed"),
    ('pipes = ["line", "cavity"]', 'pipes = ["line", "cavity", «"line"»]', "role-repeats"),
    ('pipes = ["line", "cavity"]', "pipes = «[]»", "role-empty"),
    ('opening = "opens"', '«"open ing"» = "opens"', "bad-name"),
    # starts
    ('from = "cold"', 'from = «"clod"»', "unknown-start"),
    ('from = "cold"', 'from = «"charged"»', "start-cycle"),
    ("assumed = true", '«assumed» = true\nfrom = "cold"', "start-from-and-assumed"),
    ('tank = "4..5 bar"', 'tank = «"4..50 bar"»', "pressure-above-highest"),
    ('tank = "4..5 bar"', 'tank = «"-4..5 bar"»', "pressure-not-positive"),
    ('tank = "4..5 bar"', 'tnak = «"4..5 bar"»', "unknown-volume"),
    ('second = "wide open"', 'second = «"open"»', "unknown-state"),
    ('second = "wide open"', 'scnd = «"wide open"»', "unknown-part"),
    ('["held in", "pulled"] }', '["held in", «"puled"»] }', "unknown-position"),
    ('["held in", "pulled"] }', "«[]» }", "start-empty"),
    ("lever is free", "lever is «fere»", "unknown-position"),
    ("every pipes is not low", "every pipes is not «lo»", "unknown-band"),
    ("every pipes is not low", "«pipes» is not low", "list-without-every"),
    ("every pipes is not low", "«some tank» is low", "every-not-a-role"),
    ("at least charged_at", "at least «shuts»", "setting-not-exact"),
    ("at least charged_at", "at least «pressure of line»", "pressure-of-outside-kind"),
    ("at least charged_at", "at least «12 bar»", "pressure-above-highest"),
    ("at least charged_at", "at least «10 bar»", "pressure-at-highest"),
    ("at least charged_at", "at least «tank»", "unknown-setting"),
    ("at least charged_at", "at least «charged»", "unknown-setting"),
    ("at least charged_at", "at least «60 psig»", "unit-unknown"),
    ("valve is 'wide open'", "«opening» is 'wide open'", "wrong-subject"),
    ("valve is 'wide open'", "tank is below «both»", "unknown-setting"),
    ("lever is free", "«lever» has happened", "wrong-subject"),
    ("lever is free", "lever is «low»", "unknown-position"),
]


@pytest.mark.parametrize(("old", "new", "code"), SPOILT, ids=[f"{code}-{n}" for n, (_, _, code) in enumerate(SPOILT)])
def test_one_fault_one_diagnostic_at_its_place(old: str, new: str, code: str) -> None:
    text, marked = spoilt(old, new)
    found = faults_in(text)
    assert [fault.code for fault in found] == [code], "\n".join(fault.render() for fault in found)
    if "«" in new:
        assert mark(text, found) == marked
    assert found[0].hint


@pytest.mark.parametrize(
    ("old", "new", "hint"),
    [
        ("caution =", "cation =", 'did you mean "caution"?'),
        (
            "[starts.held]",
            "[starts.held]\nzzz = 1",
            "its keys are says, pressures, parts, controls, where, from, assumed, settled",
        ),
        ('b = "0.2..0.3" } }', 'b = "0.2..0.3", basi = "x" } }', 'did you mean "basis"?'),
        (
            '{ between = ["inlet", "source"] }',
            '{ between = ["inlet", "source"], open_on = [] }',
            'did you mean "open_in"?',
        ),
        ('when = "tears has happened"', 'when = "tears has happened", zzz = 1', "its keys are from, to, when"),
        ('shuts = "2..3 bar"', "shuts = 2.5", 'write "2.5" in quotes, with its unit if it has one'),
        ('shuts = "2..3 bar"', 'shuts = ["2 bar"]', "write text in quotes"),
        ('volume = "20 L"', "volume = true", "write text in quotes"),
        ("inlet is below pressure of outlet", "inlet is below outlet", 'write "pressure of outlet"'),
        ("at least charged_at", "at least line", "write a pressure with its unit"),
        ('lever = "knob"', 'lever = "zzz"', "name a volume, part, control, mishap or setting"),
        ("lever is free", "lever is zzz", "its positions are free, held in, pulled"),
        ("every pipes is not low", "every pipes is not zzz", "the named bands are low, working, full, any"),
        ('to = "out", when = "chamber', 'to = "out", when = "zzz', "known here are chamber"),
        ('chamber = "line"', 'chamber = "zzz"', "the volumes are tank, line, cavity"),
    ],
)
def test_the_hint_names_what_would_mend_it(old: str, new: str, hint: str) -> None:
    assert [fault.hint for fault in faults_in(spoilt(old, new)[0])] == [hint]


@pytest.mark.parametrize(
    ("value", "shown"),
    [("true", "true"), ("false", "false"), ("{ a = 1 }", "a table"), ("[1]", "a list"), ("1979-05-27", "1979-05-27")],
)
def test_a_value_of_the_wrong_type_is_shown(value: str, shown: str) -> None:
    (fault,) = faults_in(spoilt('says = "in reach"', f"says = {value}")[0])
    assert fault.message == f'"says" should be text in quotes, not {shown}'


def test_a_pressure_in_a_kind_that_an_arrangement_never_reaches_is_reported_at_the_part() -> None:
    text, _ = spoilt('"chamber is at least 1 bar"', '"chamber is at least 11 bar"')
    (fault,) = faults_in(text)
    assert (fault.code, fault.excerpt) == ("pressure-above-highest", 'kind = "rod"')
    assert fault.note == 'asked in "chamber is at least 11 bar"'


def test_a_role_of_several_settings_is_no_pressure() -> None:
    text, _ = spoilt('opening = "opens"', 'opening = ["opens", "shuts"]')
    text, marked = spoilt("at least charged_at", "at least «opening»", text)
    found = faults_in(text)
    assert [fault.code for fault in found] == ["list-without-every"]
    assert mark(text, found) == marked


def test_conditions_that_mention_a_faulty_role_are_not_reported_too() -> None:
    text, _ = spoilt('opening = "opens"', "opening = []")
    text, _ = spoilt("at least charged_at", "at least opening", text)
    assert [fault.code for fault in faults_in(text)] == ["role-empty"]


def test_the_good_text_has_no_fault() -> None:
    assert faults_in(GOOD) == ()


def test_all_faults_of_a_file_are_reported_at_once_in_reading_order() -> None:
    spots = [
        ('unit = "bar"', "unit = «3»"),
        ('shuts = "2..3 bar"', 'shuts = «"3..2 bar"»'),
        ('volume = "20 L"', 'volume = «"20"»'),
        ('"pulled"], says', '«"free"»], says'),
        ('size = "bore" }', 'size = «"boer"» }'),
        ('kind = "rod"', 'kind = «"rodd"»'),
        ('lever = "knob"', 'lever = «"knbo"»'),
        ('second = "wide open"', 'second = "wide open"'),
        ('tank = "4..5 bar"', 'tank = «"4..5 br"»'),
    ]
    text = marked = GOOD
    for old, new in spots:
        _, marked = spoilt(old, new, marked)
    text = marked.replace("«", "").replace("»", "")
    found = faults_in(text)
    assert mark(text, found) == marked
    assert len(found) == 8


def test_what_refers_to_a_faulty_entry_is_not_a_second_fault() -> None:
    for old, new in (
        ('charged_at = "8 bar"', 'charged_at = "8"'),
        ('line = { is = "line"', 'line = { is = "hose"'),
        ('says = "in reach"', "say = 1"),
        ('low = "below 4 bar"', 'low = "beneath 4 bar"'),
        ('pipes = ["line", "cavity"]', 'pipes = ["line", "cavityy"]'),
        ("wide = { C =", "wide = { c ="),
        ('states = ["shut", "wide open"]', 'states = ["shut", "wide open", ""]'),
        ('breakaway = { says = "the hose parts" }', "breakaway = { says = 1 }"),
    ):
        text, _ = spoilt(old, new)
        found = faults_in(text)
        assert {fault.line for fault in found} == {text[: text.index(new)].count("\n") + 1}, found


@pytest.mark.parametrize(
    ("head", "codes"),
    [
        ("extends = 3", ["wrong-type"]),
        ('extends = "a\\u0000b"', ["file-missing"]),
        ("without = 3", ["wrong-type"]),
        ('without = ["parts.x", 3]', ["wrong-type"]),
        ("without = []", []),
    ],
)
def test_keys_before_the_tables(head: str, codes: list[str]) -> None:
    text = GOOD.replace("\n\n[arrangement]", f"\n{head}\n\n[arrangement]")
    assert [fault.code for fault in faults_in(text)] == codes


@pytest.mark.parametrize(
    ("text", "code", "place"),
    [
        ("", "file-empty", (1, 1)),
        ("  \n\t\n", "file-empty", (1, 1)),
        ("a", "toml-syntax", (1, 2)),
        ("a = 1\nb = [1,\n", "toml-syntax", (3, 1)),
        ("a = 1\na = 2\n", "given-twice", (2, 1)),
        ("a = { b = 1, b = 2 }\n", "given-twice", (1, 14)),
        ("[a]\n[a.b]\n[ a.b ]\n", "given-twice", (3, 3)),
        ("a = 1\n[a]\n", "toml-syntax", (2, 3)),
        ('x = "\x01"', "toml-syntax", (1, 6)),
        ("x = " + "9" * 5000, "toml-syntax", (1, 1)),
        ("x = " + "[" * 20000, "toml-syntax", (1, 1)),
        ("format = 1", "format-unknown", (1, 10)),
        ('format = "bandproof/2"\nnonsense = 1', "format-unknown", (1, 10)),
    ],
)
def test_texts_of_which_nothing_can_be_read(text: str, code: str, place: tuple[int, int]) -> None:
    (fault,) = faults_in(text)
    assert (fault.code, (fault.line, fault.column)) == (code, place)


def test_a_table_that_is_no_table_is_a_fault_of_its_own() -> None:
    head = GOOD[: GOOD.index("[bands]")].replace('start = "charged"\n', "")
    for table in ("bands", "settings", "sizes", "volumes", "controls", "mishaps", "parts", "roles", "kinds"):
        text = head.replace("\n[arrangement]", f"{table} = 3\n[arrangement]") + "[starts.cold]\n"
        assert [fault.code for fault in faults_in(text)] == ["wrong-type"]
    assert "wrong-type" in {
        fault.code for fault in faults_in('format = "bandproof/1"\narrangement = 3\n[starts.cold]\n')
    }


def test_the_same_guard_unfit_for_two_parts_is_reported_at_each() -> None:
    text, _ = spoilt('"held in", "pulled"], says', '"held", "pulled"], says')
    found = [fault for fault in faults_in(text) if fault.code == "control-lacks-position"]
    assert len(found) == 2
    assert all("asked in" in fault.note for fault in found)


@pytest.mark.parametrize(
    ("asked", "hint"),
    [
        ("chekc valve", 'did you mean "check valve"?'),
        ("governor", 'by what it says it may be "compressor with governor"; the command `kinds` lists them all'),
        ("shuttle valve", 'by what it says it may be "double check"; the command `kinds` lists them all'),
    ],
)
def test_a_kind_is_found_by_its_name_or_by_what_it_says(asked: str, hint: str) -> None:
    assert kind_like(asked, catalogue()) == hint


def test_a_kind_that_is_like_none_is_answered_with_those_there_are() -> None:
    assert kind_like("relay", catalogue()).startswith("the kinds are check valve, ")


@pytest.mark.parametrize(
    ("old", "new", "message", "at"),
    [
        (
            'ports = { chamber = "line" }',
            'ports = { chamber = "line", chamber = "line" }',
            'the port "chamber" is joined twice',
            "chamber",
        ),
        ("burst = {}", "burst = {}\nburst = {}", '"burst" is given twice', "burst"),
        ("[parts.rod]", "[parts.rod]\n[parts.rod]", "the table [parts.rod] stands twice", "parts.rod"),
        ("[parts.rod]", '[parts.x.ports]\na = "line"\na = "line"\n[parts.rod]', 'the port "a" is joined twice', "a"),
    ],
)
def test_what_stands_twice_is_named_where_it_stands_again(old: str, new: str, message: str, at: str) -> None:
    (fault,) = faults_in(spoilt(old, new)[0])
    assert (fault.code, fault.message) == ("given-twice", message)
    assert fault.excerpt[fault.column - 1 : fault.column - 1 + fault.length] == at


def test_a_port_that_a_kind_lists_twice_is_called_a_port() -> None:
    (fault,) = faults_in(spoilt('ports = ["chamber"]', 'ports = ["chamber", "chamber"]')[0])
    assert fault.message == 'the port "chamber" is listed twice'
