"""Whatever stands in a file, it loads or is refused with diagnostics that can be shown; nothing else escapes."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bandproof.model.loader import load_arrangement, load_arrangement_text
from bandproof.properties.language import load_pack_text, resolve_pack
from bandproof.terms.parse import parse
from bandproof.terms.show import show
from bandproof.text.diagnostics import Diagnostic
from bandproof.text.errors import ConditionError, InputError, MeasureError
from bandproof.text.units import parse_conductances, parse_pressure, parse_pressures, parse_ratios, parse_volumes
from tests.fuzz.spoiling import AWKWARD, spoilt
from tests.unit.loader_texts import GOOD as ARRANGEMENT
from tests.unit.pack_texts import GOOD as PACK

ROOT = Path(__file__).parents[2]
MODEL = (ROOT / "models" / "two_knob_tractor.toml").read_text(encoding="utf-8")
RULES = (ROOT / "properties" / "two_knob_interlocks.toml").read_text(encoding="utf-8")

#: The default run looks at a few hundred texts; the long one at many thousands.
FEW = settings(max_examples=150, deadline=None)
MANY = settings(max_examples=5000, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def read_arrangement(text: str) -> None:
    load_arrangement_text(text, "f.toml")


def read_pack(text: str) -> None:
    resolve_pack(load_pack_text(text, "f.toml"), load_arrangement_text(ARRANGEMENT))


def read_rules(text: str) -> None:
    resolve_pack(load_pack_text(text, "f.toml"), load_arrangement_text(MODEL))


def loads_or_is_refused(read: Callable[[str], None], text: str) -> tuple[Diagnostic, ...]:
    """What is said about the text; every diagnostic stands at a place that is in it."""
    try:
        read(text)
    except InputError as error:
        found = error.diagnostics
    else:
        return ()
    lines = text.split("\n")
    assert found
    assert len(set(found)) == len(found)
    for fault in found:
        assert 1 <= fault.line <= len(lines), fault
        assert 1 <= fault.column <= len(lines[fault.line - 1]) + 1, fault
        assert fault.length >= 1
        assert fault.hint
        assert fault.render().startswith(f"f.toml, line {fault.line}, column {fault.column}: ")
        assert fault.render().endswith(f" [{fault.code}]")
    assert str(InputError(found)).count("f.toml, line ") >= len(found)
    return found


@pytest.mark.slow
@FEW
@given(spoilt(ARRANGEMENT))
def test_a_spoilt_arrangement_loads_or_is_refused(text: str) -> None:
    loads_or_is_refused(read_arrangement, text)


@pytest.mark.slow
@FEW
@given(spoilt(PACK))
def test_a_spoilt_pack_loads_or_is_refused(text: str) -> None:
    loads_or_is_refused(read_pack, text)


@pytest.mark.slow
@FEW
@given(st.text() | st.lists(st.sampled_from(AWKWARD)).map("".join))
def test_any_text_is_refused(text: str) -> None:
    assert loads_or_is_refused(read_arrangement, text)
    assert loads_or_is_refused(read_pack, text)


@pytest.mark.slow
@FEW
@given(st.binary() | spoilt(ARRANGEMENT).map(lambda text: text.encode("utf-16")))
def test_any_bytes_are_refused(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    file = tmp_path_factory.getbasetemp() / "bytes.toml"
    file.write_bytes(data)
    with pytest.raises(InputError):
        load_arrangement(file)


@pytest.mark.slow
@FEW
@given(st.text() | st.lists(st.sampled_from([*AWKWARD, " ", "tank", "low", "60 psi"]), max_size=12).map("".join))
def test_any_text_is_a_condition_or_is_refused_at_a_place_in_it(text: str) -> None:
    try:
        term = parse(text)
    except ConditionError as error:
        fault = error
    else:
        assert parse(show(term)) == term
        return
    assert 0 <= fault.at[0] <= fault.at[1] <= max(1, len(text))
    assert fault.hint


@pytest.mark.slow
@FEW
@given(st.text("0123456789.eE+-± psikParbMLdm3nt()/", max_size=16) | st.text(max_size=20))
def test_any_text_is_a_quantity_or_is_refused(text: str) -> None:
    hints = []
    for read in (parse_pressures, parse_volumes, parse_conductances, parse_ratios, parse_pressure):
        try:
            read(text)
        except MeasureError as error:
            hints.append(error.hint)
    assert all(hints)


@pytest.mark.long
@MANY
@given(spoilt(MODEL))
def test_a_spoilt_model_of_full_size_loads_or_is_refused(text: str) -> None:
    loads_or_is_refused(read_arrangement, text)


@pytest.mark.long
@MANY
@given(spoilt(RULES))
def test_spoilt_rules_of_full_size_load_or_are_refused(text: str) -> None:
    loads_or_is_refused(read_rules, text)


@pytest.mark.long
@MANY
@given(spoilt(ARRANGEMENT))
def test_a_spoilt_arrangement_loads_or_is_refused_however_it_is_spoilt(text: str) -> None:
    loads_or_is_refused(read_arrangement, text)
