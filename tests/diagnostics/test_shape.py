"""How a diagnostic looks: headline, the line it stands on with carets, note and hint."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bandproof.text.diagnostics import Diagnostic
from bandproof.text.errors import InputError
from bandproof.text.input_faults import Faults, Place
from bandproof.text.messages import Severity
from bandproof.text.spans import SourceFile

BAND = Diagnostic(
    code="band-empty",
    file="models/two_pipe.toml",
    line=41,
    column=30,
    length=9,
    message='band "low" ends at 3.6 bar, inside band "service"',
    note='"service" starts at 3.5 bar (line 42)',
    hint='end "low" at "3.5 bar", or start "service" at "3.6 bar"',
    excerpt='low = { from = "0 bar", to = "3.6 bar" }',
)


def test_the_whole_diagnostic() -> None:
    assert BAND.render() == (
        'models/two_pipe.toml, line 41, column 30: band "low" ends at 3.6 bar, inside band "service".\n'
        '    low = { from = "0 bar", to = "3.6 bar" }\n'
        '                                 ^^^^^^^^^ "service" starts at 3.5 bar (line 42)\n'
        'End "low" at "3.5 bar", or start "service" at "3.6 bar". [band-empty]'
    )


def test_without_a_line_to_show_the_note_stands_by_itself() -> None:
    bare = replace(BAND, excerpt="", hint="")
    assert bare.render().splitlines()[1:] == ['"service" starts at 3.5 bar (line 42).', "[band-empty]"]
    assert replace(bare, note="").render() == f"{bare.headline}\n[band-empty]"


@pytest.mark.parametrize("before", [0, 40, 5000], ids=lambda length: f"{length} signs before")
def test_of_a_very_long_line_only_what_stands_around_the_place_is_shown(before: int) -> None:
    line = "x" * before + "HERE" + "y" * 9000
    _, shown, carets, _ = replace(BAND, excerpt=line, column=before + 1, length=4).render().splitlines()
    assert len(shown) < 220
    at = carets.index("^")
    assert shown[at : at + 4] == "HERE"
    assert carets.count("^") == 4
    assert shown.endswith("y...")


def test_a_warning_says_that_it_is_one() -> None:
    warning = replace(BAND, level=Severity.WARNING)
    assert warning.headline.startswith("models/two_pipe.toml, line 41, column 30 (warning): band ")
    assert warning.render().splitlines()[1:] == BAND.render().splitlines()[1:]


@pytest.mark.parametrize(
    ("hint", "said"),
    [
        ("", "[band-empty]"),
        ('did you mean "low"?', 'Did you mean "low"? [band-empty]'),
        ('"low" must end first', '"low" must end first. [band-empty]'),
    ],
)
def test_the_hint_is_a_sentence_and_the_code_comes_last(hint: str, said: str) -> None:
    assert replace(BAND, hint=hint).render().splitlines()[-1] == said


@pytest.mark.parametrize(
    ("excerpt", "shown", "carets"),
    [
        ("\ta = 1", " a = 1", "     ^"),
        ("名 = 12", "名 = 12", "     ^"),
        ("e\u0301 = 1", "e\u0301 = 1", "    ^"),
        ("a\x1b[= 1", "a [= 1", "     ^"),
    ],
)
def test_carets_stand_under_what_they_mean_on_a_terminal(excerpt: str, shown: str, carets: str) -> None:
    column = excerpt.index("1") + 1
    lines = replace(BAND, line=1, column=column, length=1, excerpt=excerpt, note="").render().splitlines()
    assert lines[1] == f"    {shown}"
    assert lines[2] == f"    {carets}"


@pytest.mark.slow
@given(st.text(max_size=30), st.text(max_size=30), st.integers(1, 40), st.integers(1, 40))
def test_no_text_in_a_file_can_add_lines_or_command_a_terminal(text: str, other: str, column: int, length: int) -> None:
    fault = replace(BAND, message=text, note=other, hint="h" + other, excerpt="x" + text, column=column, length=length)
    lines = fault.render().split("\n")
    assert len(lines) == 4
    assert not set("\x00\x07\x1b\r\x9b\u202e\u2028") & set("".join(lines))


def test_faults_are_listed_once_file_by_file_from_top_to_bottom() -> None:
    first, second = SourceFile("first", "a = 1\nb = 2", {"a": 1}), SourceFile("second", "c = 3")
    faults = Faults()
    faults.meet("first")
    for document, key in ((second, "c"), (first, "b"), (first, "a"), (first, "b")):
        faults.add("empty-text", Place(document) / key, "m", hint="h")
    assert [(fault.file, fault.line) for fault in faults.found()] == [("first", 1), ("first", 2), ("second", 1)]
    with pytest.raises(InputError) as caught:
        faults.stop_if_any()
    assert caught.value.diagnostics == faults.found()
    assert str(caught.value).count("[empty-text]") == 3


def test_no_fault_stops_nothing() -> None:
    faults = Faults()
    faults.stop_if_any()
    assert (bool(faults), len(faults)) == (False, 0)


def test_a_warning_stops_nothing_unless_strict() -> None:
    document = SourceFile("f", "a = 1", {"a": 1})
    for strict, level in ((False, Severity.WARNING), (True, Severity.ERROR)):
        faults = Faults(strict=strict)
        faults.add("unused-name", Place(document) / "a", "m", hint="h", level=Severity.WARNING)
        assert [fault.level for fault in faults.found()] == [level]
        assert (bool(faults), len(faults)) == (strict, int(strict))
