"""Good arrangement files become the arrangements they describe."""

from __future__ import annotations

import hashlib
from fractions import Fraction
from pathlib import Path

import pytest

from bandproof.model.arrangement import (
    ATMOSPHERE,
    SOURCE,
    Arrangement,
    Control,
    Mishap,
    Move,
    NamedBand,
    Passage,
    Range,
    Setting,
    Size,
    Volume,
    VolumeKind,
)
from bandproof.model.conditions import (
    ALWAYS_TRUE,
    AllOf,
    AnyOf,
    AtLeast,
    Below,
    Condition,
    Happened,
    InPosition,
    InState,
    Lower,
    Not,
    Tie,
    Truth,
)
from bandproof.model.kinds import catalogue, read_catalogue
from bandproof.model.loader import load_arrangement, load_arrangement_text
from bandproof.model.numbers import SettingNumber, number_of
from bandproof.terms.nodes import End
from bandproof.text.errors import InputError
from tests.unit.loader_texts import GOOD, spoilt

BAR = Fraction(100_000)
ROOT = Path(__file__).parents[2]


def span(low: int | str, high: int | str | None = None) -> Range:
    return Range(Fraction(low), Fraction(low if high is None else high))


@pytest.fixture(name="good", scope="module")
def _good() -> Arrangement:
    return load_arrangement_text(GOOD, "good.toml")


def test_the_head_of_the_file(good: Arrangement) -> None:
    assert (good.name, good.unit, good.highest, good.atmosphere) == ("tank, valve and line", "bar", 10 * BAR, BAR)
    assert (good.says, good.caution) == ("a tank that fills a line through a valve", "a model is not the vehicle")
    assert (good.file, good.sha256) == ("good.toml", hashlib.sha256(GOOD.encode()).hexdigest())


def test_volumes(good: Arrangement) -> None:
    assert good.volumes == (
        Volume("tank", VolumeKind.TANK, span(20), "the store"),
        Volume("line", VolumeKind.LINE, span("0.4", "0.6")),
        Volume("cavity", VolumeKind.CHAMBER),
    )


def test_settings_and_sizes_with_those_written_at_parts_last(good: Arrangement) -> None:
    assert good.settings == (
        Setting("opens", 5 * BAR / 2, 7 * BAR / 2, "when the valve opens", "common practice, no source"),
        Setting("shuts", 2 * BAR, 3 * BAR),
        Setting("charged_at", 8 * BAR, 8 * BAR),
        Setting("second.lift", BAR, 2 * BAR),
    )
    assert good.sizes == (
        Size(span(4, 6), span("0.5"), "wide"),
        Size(span(2), span("0.2", "0.3"), "second.bore"),
    )


def test_bands_controls_and_mishaps(good: Arrangement) -> None:
    assert good.bands == (
        NamedBand("low", None, 4 * BAR),
        NamedBand("working", 4 * BAR, 8 * BAR, None, "charged_at"),
        NamedBand("full", 8 * BAR, None),
        NamedBand("any", None, 19 * BAR / 2),
    )
    assert good.controls == (Control("knob", ("free", "held in", "pulled"), "in reach"),)
    assert good.mishaps == (Mishap("breakaway", "the hose parts"), Mishap("burst"))


def test_a_part_is_its_kind_with_ports_and_slots_filled(good: Arrangement) -> None:
    valve = good.part("valve")
    assert (valve.kind, valve.states, valve.slow, valve.says) == (
        "held valve",
        ("wide open", "shut"),
        False,
        "the first one",
    )
    assert valve.ports == (("inlet", "tank"), ("outlet", "line"))
    both = frozenset({"shut", "wide open"})
    assert valve.passages == (
        Passage("tank", "line", one_way=True, open_in=frozenset({"wide open"}), size=good.sizes[0]),
        Passage("line", ATMOSPHERE, one_way=True, open_in=frozenset({"shut"})),
        Passage(SOURCE, "tank", one_way=True, open_in=both),
        Passage("line", "tank", one_way=False, open_in=both),
    )


def test_guards_speak_of_the_arrangement(good: Arrangement) -> None:
    assert good.part("valve").moves == (
        Move(
            "shut",
            "wide open",
            AllOf(
                (
                    InPosition("knob", frozenset({"held in"})),
                    AtLeast("tank", 5 * BAR / 2, 7 * BAR / 2, "opens"),
                )
            ),
        ),
        Move("wide open", "shut", AnyOf((Lower("tank", "line"), Not(InState("second", frozenset({"shut"})))))),
        Move("wide open", "shut", AnyOf((Happened("breakaway"), Happened("burst")))),
    )
    assert good.part("rod").moves == (Move("in", "out", AtLeast("line", BAR, BAR)),)


def test_two_ports_on_one_volume_leave_no_passage_and_no_comparison(good: Arrangement) -> None:
    second = good.part("second")
    assert [(p.upstream, p.downstream) for p in second.passages] == [("cavity", ATMOSPHERE), (SOURCE, "cavity")]
    assert second.moves[1] == Move("wide open", "shut", Not(InState("valve", frozenset({"shut"}))))


def test_a_move_that_waits_for_a_mishap_nobody_gives_is_no_move(good: Arrangement) -> None:
    assert len(good.part("second").moves) == 2


def test_what_a_part_does_not_say_comes_from_its_kind(good: Arrangement) -> None:
    second = good.part("second")
    assert (second.slow, second.states, second.says) == (True, ("shut", "wide open"), "opens by hand, shuts by itself")
    assert second.moves[0].when == AllOf(
        (InPosition("knob", frozenset({"held in"})), AtLeast("cavity", BAR, 2 * BAR, "second.lift"))
    )


def test_roles(good: Arrangement) -> None:
    assert good.roles == {
        "store": ("tank",),
        "pipes": ("line", "cavity"),
        "lever": ("knob",),
        "valves": ("valve", "second"),
        "tearing": ("breakaway", "burst"),
        "opening": ("opens",),
    }


def test_the_default_start_comes_first(good: Arrangement) -> None:
    assert [start.name for start in good.starts] == ["charged", "cold", "held"]
    first = load_arrangement_text(spoilt('start = "charged"\n', "")[0])
    assert [start.name for start in first.starts] == ["cold", "charged", "held"]


def test_a_plain_start_says_everything(good: Arrangement) -> None:
    cold = good.start("cold")
    assert cold.pressures == (("tank", span(0)), ("line", span(0)), ("cavity", span(0)))
    assert dict(cold.parts) == {name: frozenset({good.part(name).states[0]}) for name in ("valve", "second", "rod")}
    assert cold.controls == (("knob", frozenset({"free"})),)
    assert (cold.where, cold.settled, cold.plain, cold.assumed, cold.reached_from) == (
        ALWAYS_TRUE,
        False,
        True,
        False,
        None,
    )
    assert cold.says == "empty"


def test_a_start_by_condition_says_no_more_than_its_condition(good: Arrangement) -> None:
    charged = good.start("charged")
    assert (charged.pressures, charged.parts, charged.controls) == ((), (), ())
    assert (charged.settled, charged.plain, charged.assumed, charged.reached_from) == (True, False, False, "cold")
    assert charged.where == AllOf(
        (
            AllOf((Not(Below("line", 4 * BAR, 4 * BAR)), Not(Below("cavity", 4 * BAR, 4 * BAR)))),
            AtLeast("tank", 8 * BAR, 8 * BAR, "charged_at"),
            InState("valve", frozenset({"wide open"})),
            InPosition("knob", frozenset({"free"})),
        )
    )


def test_an_assumed_list_is_a_list_all_the_same(good: Arrangement) -> None:
    held = good.start("held")
    assert held.pressures == (("tank", Range(4 * BAR, 5 * BAR)), ("line", Range(BAR, BAR)), ("cavity", Range(BAR, BAR)))
    assert dict(held.parts)["rod"] == {"in", "out"}
    assert dict(held.controls) == {"knob": {"held in", "pulled"}}
    assert (held.settled, held.plain, held.assumed) == (True, False, True)


def test_the_standard_atmosphere_is_understood() -> None:
    # ISO 2533:1975, standard atmosphere: 101325 Pa at sea level.
    assert load_arrangement_text(spoilt('atmosphere = "1 bar"\n', "")[0]).atmosphere == 101325


def test_a_byte_order_mark_and_windows_line_ends_are_no_fault(tmp_path: Path) -> None:
    file = tmp_path / "m.toml"
    file.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert load_arrangement(file).part("valve") == load_arrangement_text(GOOD).part("valve")


def test_the_words_of_a_condition_may_run_over_lines() -> None:
    text, _ = spoilt('"chamber is at least 1 bar"', '"""\n  chamber is at least\n  1 bar"""')
    # An inline table may hold a string of several lines.
    assert load_arrangement_text(text).part("rod").moves[0].when == AtLeast("line", BAR, BAR)


LINE, TANK = "line", "tank"


@pytest.mark.parametrize(
    ("text", "condition"),
    [
        ("always", ALWAYS_TRUE),
        ("not always", Truth(value=False)),
        ("never or not never", ALWAYS_TRUE),
        ("tank is low or always", ALWAYS_TRUE),
        ("tank is low and always", Below(TANK, 4 * BAR, 4 * BAR)),
        ("tank is low and never", Truth(value=False)),
        ("never or tank is not low", Not(Below(TANK, 4 * BAR, 4 * BAR))),
        ("not tank is not low", Below(TANK, 4 * BAR, 4 * BAR)),
        (
            "tank is working",
            AllOf((AtLeast(TANK, 4 * BAR, 4 * BAR), Below(TANK, 8 * BAR, 8 * BAR, None, Tie("charged_at")))),
        ),
        ("tank is below charged_at", Below(TANK, 8 * BAR, 8 * BAR, "charged_at")),
        (
            "tank is below lowest of charged_at",
            Below(TANK, 8 * BAR, 8 * BAR, "charged_at", Tie("charged_at", End.LOWEST)),
        ),
        ("tank is below lowest of shuts", Below(TANK, 2 * BAR, 2 * BAR, None, Tie("shuts", End.LOWEST))),
        (
            "store is at least highest of opening",
            AtLeast(TANK, 7 * BAR / 2, 7 * BAR / 2, None, Tie("opens", End.HIGHEST)),
        ),
        ("every store is low", Below(TANK, 4 * BAR, 4 * BAR)),
        ("some pipes is low", AnyOf((Below(LINE, 4 * BAR, 4 * BAR), Below("cavity", 4 * BAR, 4 * BAR)))),
        ("knob is not 'held in'", Not(InPosition("knob", frozenset({"held in"})))),
        ("breakaway has not happened", Not(Happened("breakaway"))),
        ("every tearing has not happened", AllOf((Not(Happened("breakaway")), Not(Happened("burst"))))),
    ],
)
def test_what_a_condition_comes_to(text: str, condition: Condition) -> None:
    where = f'[starts.more]\nwhere = "{text}"\nassumed = true\n'
    assert load_arrangement_text(GOOD + where).start("more").where == condition


def test_names_are_looked_up(good: Arrangement) -> None:
    assert (good.volume("line").name, good.control("knob").name) == ("line", "knob")
    with pytest.raises(KeyError):
        good.part("knob")


KIND = 'format = "bandproof/1"\n[kinds.{}]\nports = ["inlet"]\nstates = ["open"]\n'


def test_a_catalogue_is_read_file_by_file() -> None:
    kinds = read_catalogue({"b.toml": KIND.format("one"), "a.toml": KIND.format("two")})
    assert [kind.name for kind in kinds] == ["one", "two"]


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (KIND.format("one"), "kind-shadows-catalogue"),
        (KIND.format('"?"'), "bad-name"),
        (KIND.format("two") + "speed = 1\n", "unknown-key"),
        ('format = "bandproof/1"\n[volumes]\n', "unknown-key"),
        ('format = "bandproof/1"\nkinds = 1\n', "wrong-type"),
        ("", "file-empty"),
    ],
)
def test_a_faulty_catalogue_is_refused(text: str, code: str) -> None:
    with pytest.raises(InputError) as caught:
        read_catalogue({"a.toml": KIND.format("one"), "b.toml": text})
    assert [(fault.file, fault.code) for fault in caught.value.diagnostics] == [("catalogue/b.toml", code)]


def test_the_catalogue_is_sorted_and_none_of_it_is_own() -> None:
    names = [kind.name for kind in catalogue()]
    assert names == sorted(names)
    assert not any(kind.own for kind in catalogue())
    assert all(kind.says and kind.states for kind in catalogue())


@pytest.mark.parametrize("file", sorted(p.relative_to(ROOT).as_posix() for p in (ROOT / "models").rglob("*.toml")))
def test_every_model_of_the_project_loads(file: str) -> None:
    arrangement = load_arrangement(ROOT / file)
    assert arrangement.starts
    assert arrangement.parts


def test_a_setting_is_shared_only_where_the_file_says_so(good: Arrangement) -> None:
    text, _ = spoilt('says = "when the valve opens"', 'shared = true, says = "when the valve opens"')
    shared = load_arrangement_text(text)
    assert [setting.name for setting in shared.settings if setting.shared] == ["opens"]
    assert not any(setting.shared for setting in good.settings)


def test_a_guard_compares_with_a_number_of_its_own_or_of_all() -> None:
    text, _ = spoilt('says = "when the valve opens"', 'shared = true, says = "when the valve opens"')
    arrangement = load_arrangement_text(text)
    own, all_of = AtLeast("tank", 2 * BAR, 3 * BAR, "shuts"), Below("tank", 5 * BAR / 2, 7 * BAR / 2, "opens")
    assert number_of(arrangement, "valve", own) == SettingNumber("valve", "shuts")
    assert number_of(arrangement, "second", own) == SettingNumber("second", "shuts")
    assert (
        number_of(arrangement, "valve", all_of)
        == number_of(arrangement, "second", all_of)
        == SettingNumber("", "opens")
    )
    assert number_of(arrangement, "valve", AtLeast("tank", BAR, BAR, "charged_at")) is None
