"""Rule packs are read without an arrangement and mean something once applied to one."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import (
    ALWAYS_TRUE,
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Happened,
    InPosition,
    InState,
    Not,
    Tie,
)
from bandproof.model.loader import load_arrangement, load_arrangement_text
from bandproof.properties.claim import Lack, Named, NotApplicable, Pace, Property, Shape
from bandproof.properties.language import (
    Pack,
    expected_verdicts,
    load_pack,
    load_pack_text,
    model_files,
    resolve_pack,
)
from bandproof.terms.nodes import End
from bandproof.text.errors import InputError
from tests.unit.loader_texts import GOOD as ARRANGEMENT
from tests.unit.loader_texts import mark, spoilt
from tests.unit.pack_texts import GOOD, faults_in

ROOT = Path(__file__).parents[2]
BAR = Fraction(100_000)


@pytest.fixture(name="pack", scope="module")
def _pack() -> Pack:
    return load_pack_text(GOOD, "p.toml")


@pytest.fixture(name="arrangement", scope="module")
def _arrangement() -> Arrangement:
    return load_arrangement_text(ARRANGEMENT)


@pytest.fixture(name="applied", scope="module")
def _applied(pack: Pack, arrangement: Arrangement) -> dict[str, Property]:
    found = resolve_pack(pack, arrangement)
    return {one.id: one for one in found if isinstance(one, Property)}


def test_the_head_of_a_pack(pack: Pack) -> None:
    assert (pack.name, pack.says, pack.file) == ("small rules", "what a valve does", "p.toml")
    assert pack.models == ("models/one.toml", "models/more/*.toml")
    assert pack.expected == {
        "models/one.toml": {"never-full": "refuted", "at-rest": "empty"},
        "models/more/two.toml": {"holds-on": "not applicable", "goes-out": "undecided"},
    }


def test_a_claim_is_a_belief_where_the_pack_says_so(pack: Pack) -> None:
    assert [claim.id for claim in pack.claims if claim.belief] == ["never-full"]


def test_properties_keep_the_order_of_the_pack(pack: Pack, arrangement: Arrangement) -> None:
    ids = ["never-full", "always-any", "settles", "at-rest", "holds-on", "goes-out"]
    assert [claim.id for claim in pack.claims] == ids
    assert [one.id for one in resolve_pack(pack, arrangement)] == ids


def test_what_is_not_said_is_the_strongest_claim_from_the_default_start(applied: dict[str, Property]) -> None:
    assert applied["never-full"] == Property(
        id="never-full",
        says="The tank is never above 9 bar.",
        basis="common practice, no source",
        shape=Shape.NEVER,
        during="charged",
        when=AtLeast("tank", 9 * BAR, 9 * BAR),
        pace=Pace.ANY_TIME,
        mishaps=frozenset({"breakaway", "burst"}),
        caution="a model is not the vehicle",
    )


def test_always_uses_then_and_lists_are_spelt_out(applied: dict[str, Property]) -> None:
    always = applied["always-any"]
    assert (always.shape, always.during, always.pace, always.mishaps) == (
        Shape.ALWAYS,
        "cold",
        Pace.HANDS_OFF,
        frozenset(),
    )
    assert always.when == ALWAYS_TRUE
    pipes = AllOf((Below("line", 19 * BAR / 2, 19 * BAR / 2), Below("cavity", 19 * BAR / 2, 19 * BAR / 2)))
    assert always.then == AnyOf((pipes, AtLeast("tank", 8 * BAR, 8 * BAR)))


def test_settled_and_at_rest_have_a_condition_and_a_consequence(applied: dict[str, Property]) -> None:
    settles = applied["settles"]
    assert (settles.shape, settles.pace, settles.mishaps) == (
        Shape.SETTLED,
        Pace.AFTER_SETTLING,
        frozenset({"breakaway", "burst"}),
    )
    assert settles.when == AllOf(
        (
            Below("tank", 5 * BAR / 2, 5 * BAR / 2, None, Tie("opens", End.LOWEST)),
            Not(InPosition("knob", frozenset({"held in"}))),
        )
    )
    assert settles.then == AllOf((InState("valve", frozenset({"shut"})), InState("second", frozenset({"shut"}))))
    rest = applied["at-rest"]
    assert (rest.shape, rest.when) == (Shape.AT_REST, ALWAYS_TRUE)
    assert rest.then == AnyOf((Not(Happened("breakaway")), Not(Happened("burst"))))


def test_holds_has_three_conditions_of_which_the_last_may_lack(pack: Pack, applied: dict[str, Property]) -> None:
    holds = applied["holds-on"]
    assert (holds.shape, holds.when, holds.then, holds.until) == (
        Shape.HOLDS,
        AtLeast("tank", 7 * BAR / 2, 7 * BAR / 2, None, Tie("opens", End.HIGHEST)),
        Not(Below("tank", 4 * BAR, 4 * BAR)),
        AnyOf((Happened("breakaway"), Happened("burst"))),
    )
    text, _ = spoilt('holds.until = "some tearing has happened"\n', "", GOOD)
    assert load_pack_text(text).claims[4].until is None
    assert pack.claims[4].until is not None


def test_reachable_uses_when(applied: dict[str, Property]) -> None:
    assert (applied["goes-out"].shape, applied["goes-out"].when) == (
        Shape.REACHABLE,
        InPosition("knob", frozenset({"held in"})),
    )


@pytest.mark.parametrize(
    ("old", "new", "lacks"),
    [
        ("store is at least 9 bar", "stoer is at least 9 bar", [Lack(Named.ROLE, "stoer", "store")]),
        ("store is at least 9 bar", "store is at least tank", [Lack(Named.ROLE, "tank")]),
        (
            "store is at least 9 bar",
            "xx is below 1 bar and not yy has happened",
            [Lack(Named.ROLE, "xx"), Lack(Named.ROLE, "yy")],
        ),
        ('mishaps = ["tearing"]', 'mishaps = ["flood"]', [Lack(Named.ROLE, "flood")]),
        ('mishaps = ["tearing"]', 'mishaps = "breakaway"', [Lack(Named.ROLE, "breakaway")]),
        ('during = "cold"', 'during = "towed"', [Lack(Named.START, "towed")]),
    ],
)
def test_what_an_arrangement_lacks_makes_a_claim_not_applicable(old: str, new: str, lacks: list[Lack]) -> None:
    text, _ = spoilt(old, new, GOOD)
    found = resolve_pack(load_pack_text(text), load_arrangement_text(ARRANGEMENT))
    (lacking,) = [one for one in found if isinstance(one, NotApplicable)]
    assert list(lacking.lacks) == lacks
    assert lacking.basis == "common practice, no source"
    assert len(found) == 6


def test_a_claim_that_does_not_apply_says_which_roles_it_lacks_and_whose_it_is() -> None:
    text, _ = spoilt("store is at least 9 bar", "every xx is below 1 bar and not yy has happened", GOOD)
    found = resolve_pack(load_pack_text(text, "p.toml"), load_arrangement_text(ARRANGEMENT))
    (lacking,) = [one for one in found if isinstance(one, NotApplicable)]
    assert (lacking.roles, lacking.pack) == (("xx", "yy"), "p.toml")


def test_a_setting_needs_no_role(arrangement: Arrangement) -> None:
    text, _ = spoilt("store is at least 9 bar", "store is at least highest of shuts", GOOD)
    found = resolve_pack(load_pack_text(text), arrangement)
    assert isinstance(found[0], Property)
    assert found[0].when == AtLeast("tank", 3 * BAR, 3 * BAR, None, Tie("shuts", End.HIGHEST))


def test_a_role_goes_before_a_setting_of_its_name() -> None:
    roles, _ = spoilt('opening = "opens"', 'opening = "opens"\nshuts = "charged_at"', ARRANGEMENT)
    text, _ = spoilt("store is at least 9 bar", "store is at least shuts", GOOD)
    found = resolve_pack(load_pack_text(text), load_arrangement_text(roles))
    assert isinstance(found[0], Property)
    assert found[0].when == AtLeast("tank", 8 * BAR, 8 * BAR, "charged_at")


@pytest.mark.parametrize("said", ["shuts is 'wide open'", "shuts is below 1 bar", "store is at least tank"])
def test_nothing_but_a_setting_to_compare_with_goes_without_a_role(said: str, arrangement: Arrangement) -> None:
    text, _ = spoilt("store is at least 9 bar", said, GOOD)
    found = resolve_pack(load_pack_text(text), arrangement)
    assert isinstance(found[0], NotApplicable)


def test_fillings_are_carried_and_not_said_is_none(applied: dict[str, Property]) -> None:
    text, _ = spoilt("faults = 0", "fillings = 10", GOOD)
    found = resolve_pack(load_pack_text(text), load_arrangement_text(ARRANGEMENT))
    assert [one.fillings for one in found if isinstance(one, Property)] == [None, None, None, 10, None, None]
    assert all(one.fillings is None for one in applied.values())


def test_ends_in_has_a_condition_and_what_it_ends_in(arrangement: Arrangement) -> None:
    new = "ends_in.when = 'store is full'\nends_in.then = 'every valves is shut'"
    text, _ = spoilt("reachable = \"lever is 'held in'\"", new, GOOD)
    found = resolve_pack(load_pack_text(text), arrangement)[-1]
    assert isinstance(found, Property)
    assert found.shape is Shape.ENDS_IN
    assert found.when == AtLeast("tank", 8 * BAR, 8 * BAR)
    assert found.then == AllOf((InState("valve", frozenset({"shut"})), InState("second", frozenset({"shut"}))))


#: What stands in the good pack, what stands there instead with « » around what is to be blamed, and the code.
SPOILT = [
    ('name = "small rules"', 'name = «""»', "empty-text"),
    ('name = "small rules"', 'nmae = "small rules"', "missing-key unknown-key"),
    ('says = "what a valve does"', "says = «3»", "wrong-type"),
    ("[pack]", "[«pakc»]\n[pack]", "unknown-key"),
    ('[pack.expected."models/one.toml"]', '[pack.expected.«"models/oen.toml"»]', "expected-unknown-model"),
    ('[pack.expected."models/more/two.toml"]', '[pack.expected.«"models/more/x/two.tml"»]', "expected-unknown-model"),
    ('refuted = ["never-full"]', 'refuted = [«"ever-full"»]', "expected-unknown-property"),
    ('refuted = ["never-full"]', 'refuted = ["never-full", «"never-full"»]', "expected-twice"),
    ('empty = ["at-rest"]', 'empty = ["at-rest", «"never-full"»]', "expected-twice"),
    ('empty = ["at-rest"]', '«proven» = ["at-rest"]', "unknown-key"),
    ('id = "settles"', 'id = «"Settles!"»', "bad-property-id"),
    ('id = "settles"', 'id = «"always-any"»', "duplicate-property-id"),
    ('id = "settles"', "id = «7»", "wrong-type"),
    ('says = "Once it settles, the valves are shut."', 'says = «"  "»', "empty-text"),
    ('says = "The lever can be held."\n', "", "missing-key"),
    ('driver = "hands off"', 'driver = «"asleep"»', "unknown-choice"),
    ('mishaps = "none"', "mishaps = «0»", "wrong-type"),
    ('mishaps = ["tearing"]', 'mishaps = «["lever"]»', "not-a-mishap"),
    ("faults = 0", "faults = «2»", "faults-not-yet"),
    ("faults = 0", "faults = «-1»", "unknown-choice"),
    ("faults = 0", 'faults = «"none"»', "wrong-type"),
    ("reachable = \"lever is 'held in'\"\n", "", "shape-missing"),
    ("reachable = \"lever is 'held in'\"", "«recoverable» = \"lever is 'held in'\"", "shape-not-yet"),
    ("reachable = \"lever is 'held in'\"", '«ends_in».when = "always"', "missing-key"),
    ("faults = 0", "fillings = «0»", "fillings-not-positive"),
    ("faults = 0", "fillings = «-3»", "fillings-not-positive"),
    ("faults = 0", "fillings = «2.5»", "wrong-type"),
    ("faults = 0", "fillings = «true»", "wrong-type"),
    ("below lowest of opening", "below «10 bar»", "pressure-at-highest"),
    ("below lowest of opening", "below «11 bar»", "pressure-above-highest"),
    (
        "reachable = \"lever is 'held in'\"",
        '«within» = { when = "always", then = "never", time = "2 s" }',
        "shape-not-yet",
    ),
    ('never = "store', '«always» = "never"\nnever = "store', "shape-twice"),
    ('settled.then = "every valves is shut"\n', "", "missing-key"),
    (
        'settled.then = "every valves is shut"',
        'settled.then = "every valves is shut"\nsettled.«than» = "x"',
        "unknown-key",
    ),
    ('settled.then = "every valves is shut"', 'settled.then = "every valves is «hsut»"', "unknown-state unknown-state"),
    ('settled.then = "every valves is shut"', 'settled.then = "«valves» is shut"', "list-without-every"),
    ('settled.then = "every valves is shut"', 'settled.then = "«every valves» is below 2 bar"', "wrong-subject"),
    ('settled.then = "every valves is shut"', 'settled.then = "store «>» 3 bar"', "condition-operator"),
    ("below lowest of opening", "below «opening»", "setting-not-exact"),
    ("below lowest of opening", "below «pressure of line»", "pressure-of-outside-kind"),
    ("below lowest of opening", "below lowest of «lever»", "unknown-setting"),
    ("below lowest of opening", "below «0 bar»", "pressure-not-positive"),
    ("store is not low", "store is not «lwo»", "unknown-band"),
    ("store is not low", "«tearing» is not low", "wrong-subject"),
    ("store is not low", "«every tearing» is not low", "wrong-subject"),
    (
        "store is not low",
        "«every opening» is not low",
        "wrong-subject",
    ),
    ('holds.until = "some tearing has happened"', 'holds.until = "«some store» has happened"', "wrong-subject"),
    ('holds.stays = "store is not low"\n', "", "missing-key"),
    ('holds.until = "some tearing has happened"', "holds.until = «1»", "wrong-type"),
    ('always = "every pipes', 'always = "evry «pipes»', "condition-word"),
]


@pytest.mark.parametrize(("old", "new", "code"), SPOILT, ids=[f"{code}-{n}" for n, (_, _, code) in enumerate(SPOILT)])
def test_a_spoilt_pack_is_refused_at_the_very_place(old: str, new: str, code: str) -> None:
    text, marked = spoilt(old, new, GOOD)
    found = faults_in(text)
    assert " ".join(fault.code for fault in found) == code, "\n".join(fault.render() for fault in found)
    if "«" in new:
        assert mark(text, found[:1]) == marked


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("reachable = \"lever is 'held in'\"", 'colour = "red"\nreachable = "lever = free"'),
        ('settled.then = "every valves is shut"', 'settled.than = "x = y"\nsettled.then = "every valves = shut"'),
        ('holds.stays = "store is not low"', 'holds.says = "x = y"\nholds.stays = "store = low"'),
    ],
)
def test_conditions_of_a_property_with_faulty_keys_are_read_all_the_same(old: str, new: str) -> None:
    found = faults_in(spoilt(old, new, GOOD)[0])
    assert [fault.code for fault in found] == ["unknown-key", "condition-operator"]


def test_the_good_pack_has_no_fault() -> None:
    assert faults_in(GOOD) == ()


def test_all_faults_of_a_pack_are_reported_at_once() -> None:
    spots = [
        ('name = "small rules"', 'name = «""»'),
        ('refuted = ["never-full"]', 'refuted = [«"ever-full"»]'),
        ("faults = 0", "faults = «2»"),
        ("below lowest of opening", "below «pressure of line»"),
    ]
    marked = GOOD
    for old, new in spots:
        _, marked = spoilt(old, new, marked)
    text = marked.replace("«", "").replace("»", "")
    assert mark(text, faults_in(text)) == marked


def test_all_misuses_of_roles_are_reported_at_once_and_name_the_arrangement() -> None:
    text, _ = spoilt("store is not low", "lever is low", GOOD)
    text, _ = spoilt('never = "store', 'never = "lever', text)
    found = faults_in(text)
    assert [fault.code for fault in found] == ["wrong-subject", "unknown-position"]
    assert all(fault.note == 'in arrangement "tank, valve and line"' for fault in found)


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ('format = "bandproof/1"\n', ["missing-key", "pack-empty"]),
        ('format = "bandproof/1"\npack = 3\nproperty = 3\n', ["wrong-type", "wrong-type"]),
        ('format = "bandproof/1"\n[pack]\nname = "x"\n[[property]]\n', ["missing-key"] * 3),
        ('format = "bandproof/1"\nproperty = [1]\n[pack]\nname = "x"\n', ["wrong-type"]),
        ("", ["file-empty"]),
        ("[", ["toml-syntax"]),
    ],
)
def test_packs_with_little_in_them(text: str, codes: list[str]) -> None:
    assert [fault.code for fault in faults_in(text)] == codes


def test_models_are_found_from_the_folder_of_the_pack_each_once(tmp_path: Path) -> None:
    for name in ("a.toml", "b.toml", "more/c.toml"):
        (tmp_path / "models" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "models" / name).write_text(ARRANGEMENT, encoding="utf-8")
    (tmp_path / "rules").mkdir()
    file = tmp_path / "rules" / "p.toml"
    text, _ = spoilt('["models/one.toml", "models/more/*.toml"]', '["../models/b.toml", "../models/**/*.toml"]', GOOD)
    text = text.replace("models/one.toml", "../models/b.toml").replace("models/more/two.toml", "../models/a.toml")
    file.write_text(text, encoding="utf-8")
    pack = load_pack(file)
    found = [path.relative_to(tmp_path).as_posix() for path in model_files(pack)]
    assert found == ["models/b.toml", "models/a.toml", "models/more/c.toml"]
    assert expected_verdicts(pack, tmp_path / "models" / "b.toml") == {"never-full": "refuted", "at-rest": "empty"}
    assert expected_verdicts(pack, tmp_path / "models" / "more" / "c.toml") == {}


def test_a_model_that_is_not_there_is_a_fault(tmp_path: Path) -> None:
    file = tmp_path / "p.toml"
    file.write_text(GOOD, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        model_files(load_pack(file))
    found = [(fault.code, fault.excerpt[fault.column - 1 :][: fault.length]) for fault in caught.value.diagnostics]
    assert found == [("file-missing", '"models/one.toml"'), ("file-missing", '"models/more/*.toml"')]


def test_a_pack_that_is_not_there_is_a_fault(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        load_pack(tmp_path / "none.toml")
    assert [fault.code for fault in caught.value.diagnostics] == ["file-missing"]


PACKS = sorted(path.relative_to(ROOT).as_posix() for path in (ROOT / "properties").glob("*.toml"))


@pytest.mark.parametrize("file", PACKS)
def test_every_pack_of_the_project_applies_to_every_model_it_names(file: str) -> None:
    pack = load_pack(ROOT / file)
    for path in model_files(pack):
        assert len(resolve_pack(pack, load_arrangement(path))) == len(pack.claims)
