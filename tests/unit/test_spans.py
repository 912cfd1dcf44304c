"""Positions: every key and value of a TOML file is found where it stands."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from bandproof.text.spans import Path, SourceFile

TEXT = '''\
top = 1
a.b."c d" = "x"
'quoted' = 'y'

[plain.deep]   # a comment
key = { is = "tank", list = [1, "é", { q = 2 }], "with space" = true }
"é ä" = "after" # wide names count as characters

[[list]]
n = 1

[[list]]
n = 2
long = """
two
lines"""
[list.under]
deep.er = [
  # why
  "one",
  "two",
]

[[list.again]]
m = 1.5
'''


def marked(path: Path, *, key: bool = False, text: str = TEXT) -> str:
    """What stands in the text at the place given for `path`."""
    document = SourceFile("t.toml", text)
    span = document.span(path, key=key)
    return document.line(span.line)[span.column - 1 : span.column - 1 + span.length]


@pytest.mark.parametrize(
    ("path", "key", "value"),
    [
        (("top",), "top", "1"),
        (("a", "b", "c d"), '"c d"', '"x"'),
        (("a", "b"), "b", "b"),
        (("a",), "a", "a"),
        (("quoted",), "'quoted'", "'y'"),
        (("plain", "deep"), "deep", "deep"),
        (("plain",), "plain", "plain"),
        (("plain", "deep", "key", "is"), "is", '"tank"'),
        (("plain", "deep", "key", "list", 1), '"é"', '"é"'),
        (("plain", "deep", "key", "list", 2, "q"), "q", "2"),
        (("plain", "deep", "key", "with space"), '"with space"', "true"),
        (("plain", "deep", "é ä"), '"é ä"', '"after"'),
        (("list", 1, "n"), "n", "2"),
        (("list", 1, "long"), "long", '"""'),
        (("list", 1, "under", "deep", "er", 1), '"two"', '"two"'),
        (("list", 1, "again", 0, "m"), "m", "1.5"),
    ],
)
def test_keys_and_values_are_found(path: Path, key: str, value: str) -> None:
    assert marked(path, key=True) == key
    assert marked(path) == value


def test_what_is_not_there_is_put_at_the_key_around_it() -> None:
    assert marked(("plain", "deep", "key", "missing", 3)) == "key"
    assert SourceFile("t", TEXT).span(("nothing", "like", "this")) == SourceFile("t", TEXT).span(())


def test_elements_of_a_list_of_tables_stand_in_their_own_lines() -> None:
    document = SourceFile("t", TEXT)
    assert [document.span(("list", index)).line for index in (0, 1)] == [9, 12]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ('x = "tank is low"', "is"),
        ("x = 'tank is low'", "is"),
        ('"é".x = "tank is low"', "is"),
        ('x = "tank \\u0069s low"', '"tank \\u0069s low"'),
        ('x = """tank is low"""', '"""tank is low"""'),
        ('x = ""', '""'),
    ],
)
def test_a_stretch_of_a_plain_string_is_found_and_else_the_whole_string(text: str, expected: str) -> None:
    document = SourceFile("t", text)
    path: Path = ("é", "x") if "é" in text else ("x",)
    span = document.span(path, inside=(5, 7))
    assert document.line(span.line)[span.column - 1 : span.column - 1 + span.length] == expected


def test_lines_end_with_or_without_carriage_return() -> None:
    document = SourceFile("t", "a = 1\r\n[b]\r\nc = 'x'\r\n")
    assert document.span(("b", "c")).line == 3
    assert document.line(2) == "[b]"
    assert marked(("b", "c"), text="a = 1\r\n[b]\r\nc = 'x'\r\n") == "'x'"


@pytest.mark.slow
@given(st.text("[]{}=.,#\"'\\\n ab1", max_size=30))
@example("[\n= 1\n]")
@example('"\\q"[}a].\\""""]')
@example("b1#\n[[\\q]]=1")
@example("[]\n[[]]\n")
def test_no_text_is_too_broken_to_be_given_a_position(text: str) -> None:
    document = SourceFile("t", text)
    for path in ((), ("a",), ("a", 0), ("\\q",)):
        span = document.span(path)
        assert 1 <= span.line <= len(document.lines)
        assert 1 <= span.column <= len(document.line(span.line)) + 1


KEYS = st.sampled_from(["a", "b-1", "c d", "é", 'q"', "x.y"])
LEAVES = st.one_of(st.integers(0, 99), st.booleans(), st.text("ab é\"'\\\t#", max_size=5))
VALUES = st.recursive(
    LEAVES, lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=3), max_leaves=6
)
TABLES = st.dictionaries(KEYS, st.dictionaries(KEYS, VALUES, min_size=1, max_size=3), max_size=4)


def quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"').replace("\t", "\\t") + '"'


def inline(value: Any) -> str:
    """A value as TOML on one line."""
    match value:
        case bool():
            return str(value).lower()
        case int():
            return str(value)
        case str():
            return quoted(value)
        case list():
            return f"[{', '.join(inline(item) for item in value)}]"
        case dict():
            return f"{{ {', '.join(f'{quoted(key)} = {inline(item)}' for key, item in value.items())} }}"
    raise TypeError(value)


def leaves(value: Any, path: Path = ()) -> list[tuple[Path, Any]]:
    """Every leaf of nested tables and lists with its path."""
    if isinstance(value, dict):
        return [leaf for key, item in value.items() for leaf in leaves(item, (*path, key))]
    if isinstance(value, list):
        return [leaf for index, item in enumerate(value) for leaf in leaves(item, (*path, index))]
    return [(path, value)]


@pytest.mark.slow
@given(TABLES)
def test_the_text_at_every_leaf_reads_as_its_value(tables: dict[str, Any]) -> None:
    lines = [
        f"[{quoted(name)}]\n" + "".join(f"{quoted(k)} = {inline(v)}\n" for k, v in table.items())
        for name, table in tables.items()
    ]
    text = "\n".join(lines)
    assert tomllib.loads(text) == tables
    for path, value in leaves(tables):
        assert tomllib.loads(f"v = {marked(path, text=text)}") == {"v": value}
