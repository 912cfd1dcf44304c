"""The condition language: what it means, text that reads back as itself, places, and faults that name the word."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bandproof.terms.names import RESERVED, closest, is_label, is_name, is_plain, listed
from bandproof.terms.nodes import (
    And,
    Compare,
    Constant,
    End,
    Has,
    Is,
    Level,
    Negated,
    Or,
    PressureOf,
    Quantifier,
    Quantity,
    SettingLevel,
    Subject,
    Term,
    Word,
    children,
    depth,
)
from bandproof.terms.parse import parse
from bandproof.terms.show import show
from bandproof.text.errors import ConditionError

NAMES = st.sampled_from(["tank", "_", "wet_tank_2", "order", "island", "Psi", "lowly"]).map(Word)
LABELS = st.sampled_from(["out", "held in", "below", "not", "half-way", "2"]).map(Word)
SUBJECTS = st.builds(Subject, NAMES, st.sampled_from([None, *Quantifier]))
NUMBERS = st.sampled_from(["60", "0.5", "-3", "120.25"])
LEVELS: st.SearchStrategy[Level] = st.one_of(
    st.builds(Quantity, NUMBERS, st.sampled_from(["psi", "kPa", "furlong"])),
    st.builds(SettingLevel, NAMES, st.sampled_from([None, *End])),
    st.builds(PressureOf, NAMES),
)
ATOMS: st.SearchStrategy[Term] = st.one_of(
    st.builds(Constant, st.booleans()),
    st.builds(Compare, SUBJECTS, st.booleans(), LEVELS),
    st.builds(Is, SUBJECTS, NAMES | LABELS, st.booleans()),
    st.builds(Has, SUBJECTS, st.booleans()),
)


def _joined(inner: st.SearchStrategy[Term]) -> st.SearchStrategy[Term]:
    several = st.lists(inner, min_size=2, max_size=3).map(tuple)
    return st.one_of(st.builds(Negated, inner), st.builds(And, several), st.builds(Or, several))


TERMS: st.SearchStrategy[Term] = st.recursive(ATOMS, _joined, max_leaves=8)

LOW = Is(Subject(Word("a")), Word("low"))
OUT = Is(Subject(Word("b")), Word("out"))
HURT = Has(Subject(Word("c")))


@pytest.mark.slow
@given(TERMS)
def test_what_is_shown_reads_back_as_the_same_condition(term: Term) -> None:
    assert parse(show(term)) == term


@pytest.mark.slow
@given(TERMS, st.sampled_from([" ", "\n", "\t ", "  \n  "]))
def test_layout_does_not_matter(term: Term, blank: str) -> None:
    text = show(term)
    spread = re.sub(r"(\"[^\"]*\")|([()])| ", lambda m: m[1] or (blank + m[2] + blank if m[2] else blank), text)
    assert parse(spread) == term


@pytest.mark.slow
@given(TERMS)
def test_every_word_stands_where_it_says(term: Term) -> None:
    text = show(term)
    for node in _all(parse(text)):
        match node:
            case Is(subject, value):
                words = [subject.name, value]
            case Compare(subject, _, SettingLevel(word)) | Compare(subject, _, PressureOf(word)):
                words = [subject.name, word]
            case Compare(subject) | Has(subject):
                words = [subject.name]
            case _:
                words = []
        for word in words:
            assert text[slice(*word.at)].strip('"') == word.text
        assert parse(text[slice(*node.at)]) == node


def _all(term: Term) -> list[Term]:
    return [term, *(inner for child in children(term) for inner in _all(child))]


@pytest.mark.parametrize(
    ("text", "term"),
    [
        ("a is low or b is out and c has happened", Or((LOW, And((OUT, HURT))))),
        ("(a is low or b is out) and c has happened", And((Or((LOW, OUT)), HURT))),
        ("not a is low and b is out", And((Negated(LOW), OUT))),
        ("not (a is low and b is out)", Negated(And((LOW, OUT)))),
        ("a is low and (b is out and c has happened)", And((LOW, And((OUT, HURT))))),
        ("a is low and b is out and c has happened", And((LOW, OUT, HURT))),
        ("not not always", Negated(Negated(Constant(value=True)))),
        ("never", Constant(value=False)),
        ("a is not low", Is(Subject(Word("a")), Word("low"), negated=True)),
        ("c has not happened", Has(Subject(Word("c")), negated=True)),
        ("a is 'held in'", Is(Subject(Word("a")), Word("held in"))),
        ("a is below 60psi", Compare(Subject(Word("a")), below=True, level=Quantity("60", "psi"))),
        (
            "every a is at least lowest of cut_in",
            Compare(Subject(Word("a"), Quantifier.EVERY), below=False, level=SettingLevel(Word("cut_in"), End.LOWEST)),
        ),
    ],
)
def test_words_bind_as_people_read_them(text: str, term: Term) -> None:
    assert parse(text) == term


# Each text marks with « » the stretch that is to be blamed.
@pytest.mark.parametrize(
    ("marked", "code", "said"),
    [
        ("«»", "condition-empty", "empty"),
        ("a «is»", "condition-unfinished", 'after "is"'),
        ("a is «at»", "condition-unfinished", 'after "at"'),
        ("a is low «or»", "condition-unfinished", 'after "or"'),
        ("«(»a is low", "condition-parenthesis", "never closed"),
        ("(a is low) and «(»b is out", "condition-parenthesis", "never closed"),
        ("a is low«)»", "condition-parenthesis", "closes nothing"),
        ("«and» a is low", "condition-word", '"and" cannot stand here'),
        ("a «low»", "condition-word", '"low" cannot stand here'),
        ("a is «every» b", "condition-word", '"every" cannot stand here'),
        ("a is low «b» is out", "condition-word", '"b" cannot stand here'),
        ("(«)»", "condition-word", '")" cannot stand here'),
        ("a is below «'x'»", "condition-word", "'x' cannot stand here"),
        ("a is below «60»", "unit-missing", "no unit"),
        ("a is below «60» and b is out", "unit-missing", "no unit"),
        ("a is at least 95«.».105 psi", "range-not-wanted", "exact"),
        ("a is at least 100 «±» 5 psi", "range-not-wanted", "exact"),
        ("a is at least 100 «+»- 5 psi", "range-not-wanted", "exact"),
        ("a «>=» 60 psi", "condition-operator", ">="),
        ("a is low «&&» b is out", "condition-operator", "&&"),
        ("a is low«;»", "condition-character", ";"),
        ("a is «é»", "condition-character", "é"),
        ("a is low«\x07»", "condition-character", "U+0007"),
        ("a is «'»held in", "condition-quote", "never closed"),
    ],
)
def test_faults_name_the_word_and_its_place(marked: str, code: str, said: str) -> None:
    text = marked.replace("«", "").replace("»", "")
    with pytest.raises(ConditionError) as caught:
        parse(text)
    assert caught.value.code == code
    assert said in caught.value.message
    assert caught.value.hint
    start, end = caught.value.at
    if "«»" not in marked:
        assert f"{text[:start]}«{text[start:end]}»{text[end:]}" == marked


@pytest.mark.parametrize(
    ("text", "note"),
    [
        ("pressure is low", '"pressure" is a word of the condition language'),
        ("a is least", '"least" is a word of the condition language'),
        ("or is low", ""),
        ("a is low never", ""),
        ("a b", ""),
    ],
)
def test_a_word_of_the_language_where_a_name_could_stand_is_pointed_out(text: str, note: str) -> None:
    with pytest.raises(ConditionError) as caught:
        parse(text)
    assert (caught.value.code, caught.value.note) == ("condition-word", note)


def test_the_hint_lists_what_could_come_next() -> None:
    with pytest.raises(ConditionError) as caught:
        parse("a is below")
    assert caught.value.hint == 'go on with a name, a pressure, "highest", "lowest" or "pressure"'


def test_a_condition_has_at_most_forty_levels() -> None:
    assert depth(parse("not " * 39 + "always")) == 40
    for text in ("not " * 40 + "always", "not (" * 500 + "always" + ")" * 500):
        with pytest.raises(ConditionError) as caught:
            parse(text)
        assert caught.value.code == "condition-too-deep"


def test_every_word_of_the_language_is_reserved() -> None:
    for word in sorted(RESERVED):
        with pytest.raises(ConditionError):
            parse(f"{word} is {word}")
        assert is_name(word)
        assert not is_plain(word)


@pytest.mark.parametrize(
    ("text", "name", "label"),
    [
        ("a_1", True, True),
        ("1a", False, True),
        ("held in", False, True),
        ("", False, False),
        ("a  b", False, False),
        (" a", False, False),
        ("a.b", False, False),
        ("é", False, False),
        ("half-way", False, True),
        ('a"', False, False),
    ],
)
def test_names_and_labels(text: str, name: bool, label: bool) -> None:
    assert (is_name(text), is_label(text)) == (name, label)


def test_lists_and_suggestions() -> None:
    assert closest("tnak", ["line", "tank"]) == "tank"
    assert closest("xyz", ["line", "tank"]) is None
    assert listed("abc") == "a, b, c"
    assert listed("abcd", most=2) == "a, b, 2 more"
