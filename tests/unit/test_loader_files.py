"""Files that are found, read and extended: which text an arrangement is made of, and where its faults are put."""

from __future__ import annotations

import hashlib
from fractions import Fraction
from pathlib import Path

import pytest

from bandproof.model.arrangement import Range, Setting
from bandproof.model.loader import load_arrangement, load_arrangement_text
from bandproof.text.errors import InputError
from bandproof.text.input_faults import Faults
from tests.unit.loader_texts import GOOD

BAR = Fraction(100_000)


TOP = """\
format = "bandproof/1"
extends = "sub/base.toml"
without = ["parts.rod", "starts.charged", "kinds.rod"]

[arrangement]
name = "the same with a longer line"
start = "cold"

[volumes]
line = { is = "line", volume = "2 L" }
extra = { is = "line" }

[settings]
opens = "5 bar"
"""


def extended(folder: Path, top: str = TOP, base: str = GOOD) -> Path:
    (folder / "sub").mkdir()
    (folder / "sub" / "base.toml").write_text(base, encoding="utf-8")
    (folder / "top.toml").write_text(top, encoding="utf-8")
    return folder / "top.toml"


def test_entries_of_a_file_replace_those_of_the_file_it_extends(tmp_path: Path) -> None:
    base = GOOD.replace(', rod = ["in", "out"]', "")
    top = load_arrangement(extended(tmp_path, base=base))
    good = load_arrangement_text(base)
    assert (top.name, top.unit, top.says) == ("the same with a longer line", "bar", good.says)
    assert [volume.name for volume in top.volumes] == ["tank", "line", "cavity", "extra"]
    assert top.volume("line").litres == Range(Fraction(2), Fraction(2))
    assert top.volume("tank") == good.volume("tank")
    assert top.setting("opens") == Setting("opens", 5 * BAR, 5 * BAR)
    assert [part.name for part in top.parts] == ["valve", "second"]
    assert [start.name for start in top.starts] == ["cold", "held"]
    assert top.file == (tmp_path / "top.toml").as_posix()


def test_the_fingerprint_covers_every_file_in_order(tmp_path: Path) -> None:
    base = GOOD.replace(', rod = ["in", "out"]', "")
    path = extended(tmp_path, base=base)
    assert load_arrangement(path).sha256 == hashlib.sha256(TOP.encode() + base.encode()).hexdigest()
    before = load_arrangement(path).sha256
    (tmp_path / "sub" / "base.toml").write_text(base + "\n# a remark\n", encoding="utf-8")
    assert load_arrangement(path).sha256 != before


def test_faults_are_reported_in_the_file_they_stand_in(tmp_path: Path) -> None:
    base = GOOD.replace('charged_at = "8 bar"', 'charged_at = "80 bar"')
    path = extended(tmp_path, top=TOP.replace('"5 bar"', '"5"'), base=base)
    with pytest.raises(InputError) as caught:
        load_arrangement(path)
    found = [(Path(fault.file).name, fault.line, fault.code) for fault in caught.value.diagnostics]
    assert found == [
        ("top.toml", 14, "unit-missing"),
        ("base.toml", 21, "setting-above-highest"),
        ("base.toml", 108, "unknown-part"),
    ]


def test_text_finds_what_it_extends_in_its_base_folder(tmp_path: Path) -> None:
    (tmp_path / "base.toml").write_text(GOOD, encoding="utf-8")
    text = 'format = "bandproof/1"\nextends = "base.toml"\n'
    assert load_arrangement_text(text, base=tmp_path).name == "tank, valve and line"


def test_every_file_of_a_circle_is_named(tmp_path: Path) -> None:
    for name, other in (("a", "b"), ("b", "c"), ("c", "a")):
        (tmp_path / f"{name}.toml").write_text(f'format = "bandproof/1"\nextends = "../{tmp_path.name}/{other}.toml"\n')
    with pytest.raises(InputError) as caught:
        load_arrangement(tmp_path / "a.toml")
    (fault,) = caught.value.diagnostics
    assert (fault.code, Path(fault.file).name) == ("extends-cycle", "c.toml")


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("nowhere.toml", "file-missing"),
        (".", "file-unreadable"),
        ("a\0b", "file-missing"),
        ("x" * 400, "file-unreadable"),
    ],
)
def test_a_path_that_is_no_file_is_a_fault(tmp_path: Path, name: str, code: str) -> None:
    with pytest.raises(InputError) as caught:
        load_arrangement(tmp_path / name)
    assert [fault.code for fault in caught.value.diagnostics] == [code]
    assert caught.value.diagnostics[0].render().count("\n") == 1
    assert ", line 1, column 1: " in caught.value.diagnostics[0].headline


def test_a_device_is_not_read() -> None:
    with pytest.raises(InputError) as caught:
        load_arrangement(Path("/dev/zero"))
    assert [fault.code for fault in caught.value.diagnostics] == ["file-unreadable"]


def test_the_first_byte_that_is_not_utf8_is_shown(tmp_path: Path) -> None:
    file = tmp_path / "m.toml"
    file.write_bytes(b'format = "bandproof/1"\n# gel\xc3\xb6st, L\xf6sung\n')
    with pytest.raises(InputError) as caught:
        load_arrangement(file)
    (fault,) = caught.value.diagnostics
    assert (fault.code, fault.line, fault.column) == ("file-not-utf8", 2, 12)


def test_a_file_that_is_extended_and_is_not_utf8_is_blamed_where_it_is_named(tmp_path: Path) -> None:
    path = extended(tmp_path)
    (tmp_path / "sub" / "base.toml").write_bytes(b"\xff")
    with pytest.raises(InputError) as caught:
        load_arrangement(path)
    (fault,) = caught.value.diagnostics
    assert (fault.code, fault.file, fault.excerpt) == ("file-not-utf8", path.as_posix(), 'extends = "sub/base.toml"')


def warned(folder: Path, further: str) -> list[str]:
    """The warnings of a file that extends one with two numbered valves."""
    (folder / "base.toml").write_text(GOOD + '\n[sizes.valve_1]\nC = "2"\nb = "0.3"\n', encoding="utf-8")
    (folder / "top.toml").write_text(f'format = "bandproof/1"\nextends = "base.toml"\n{further}', encoding="utf-8")
    warnings = Faults()
    load_arrangement(folder / "top.toml", warnings)
    return [warning.message for warning in warnings.found() if warning.code == "nearly-inherited"]


@pytest.mark.parametrize(
    ("further", "messages"),
    [
        ("[starts.helds]", ['"helds" is a new entry of starts, beside the inherited "held"']),
        ("[starts.held]", []),
        ("[starts.held]\n[starts.helds]", []),
        ("[starts.towed]", []),
        ("[starts.held_2]", []),
        ('[sizes]\nvalve_2 = { C = "1", b = "0.2" }', []),
        (
            '[sizes]\nvalv_1 = { C = "1", b = "0.2" }',
            ['"valv_1" is a new entry of sizes, beside the inherited "valve_1"'],
        ),
        ('without = ["sizes.valve_1"]\n[sizes]\nvalv_1 = { C = "1", b = "0.2" }', []),
    ],
)
def test_a_name_that_is_nearly_an_inherited_one_is_warned_of(tmp_path: Path, further: str, messages: list[str]) -> None:
    assert warned(tmp_path, further) == messages


def test_each_port_that_meets_an_earlier_one_is_warned_of(tmp_path: Path) -> None:
    (tmp_path / "one.toml").write_text(GOOD, encoding="utf-8")
    warnings = Faults()
    load_arrangement(tmp_path / "one.toml", warnings)
    found = [warning for warning in warnings.found() if warning.code == "ports-meet"]
    assert [warning.message for warning in found] == [
        'part "second" has its ports "inlet" and "outlet" on one volume, "cavity"'
    ]
