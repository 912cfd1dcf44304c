"""Kinds: reusable part descriptions, from the catalogue that comes with the package or from an arrangement file.

A kind is checked once, by itself, with its ports and slots as names. What its guards ask of a control or of a linked
part can only be checked where a part is made of it (`expand.py`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from fractions import Fraction
from functools import cache
from importlib import resources

from bandproof.model.arrangement import ATMOSPHERE, SOURCE
from bandproof.model.files import Entry, read_text
from bandproof.model.measures import Reaction, read_reaction
from bandproof.model.resolve import Meaning, Scope, Sort, Threshold, resolve
from bandproof.model.schema import CatalogueShape, KindShape, MoveShape, PassageShape, read_shape, toml_text
from bandproof.terms.names import RESERVED, is_label, is_name, listed, suggest, words_in
from bandproof.terms.nodes import Term
from bandproof.terms.parse import parse
from bandproof.text.errors import ConditionError
from bandproof.text.input_faults import Faults, Place


@dataclass(frozen=True, slots=True)
class KindPassage:
    """A passage of a kind; its ends are ports, ATMOSPHERE or SOURCE, its size the name of a slot."""

    upstream: str
    downstream: str
    one_way: bool
    open_in: frozenset[str]
    size: str | None


@dataclass(frozen=True, slots=True)
class KindMove:
    """A move of a kind, with its guard as text and as a term over ports and slots."""

    sources: tuple[str, ...]
    target: str
    when: str
    guard: Term


@dataclass(frozen=True, slots=True)
class KindDescription:
    """A kind, read and found good. `own` says that an arrangement defines it, not the catalogue."""

    name: str
    says: str
    ports: tuple[str, ...]
    states: tuple[str, ...]
    settings: tuple[str, ...]
    sizes: tuple[str, ...]
    controls: tuple[str, ...]
    links: tuple[str, ...]
    mishaps: tuple[str, ...]
    passages: tuple[KindPassage, ...]
    moves: tuple[KindMove, ...]
    reaction: Reaction
    own: bool = False


#: The lists of a kind that name slots: what a part of the kind must or may give.
SLOTS = ("settings", "sizes", "controls", "links", "mishaps")


@cache
def catalogue() -> tuple[KindDescription, ...]:
    """Every kind of the catalogue, by name. Raises InputError if the catalogue itself is at fault."""
    folder = resources.files("bandproof") / "catalogue"
    files = {file.name: file.read_text(encoding="utf-8") for file in folder.iterdir() if file.name.endswith(".toml")}
    return read_catalogue(files)


def read_catalogue(files: Mapping[str, str]) -> tuple[KindDescription, ...]:
    """Every kind in these files, given by name and text, sorted by name; InputError if any is at fault."""
    faults = Faults()
    kinds: dict[str, KindDescription | None] = {}
    for file in sorted(files):
        document = read_text(files[file], f"catalogue/{file}", faults)
        shape = None if document is None else read_shape(CatalogueShape, document.values, Place(document), faults)
        if document is None or shape is None:
            continue
        for name, kind in shape.kinds.items():
            place = Place(document) / "kinds" / name
            if name in kinds:
                message = f'the kind "{name}" is in the catalogue twice'
                faults.add("kind-shadows-catalogue", place, message, hint="rename one of the two", key=True)
            kinds[name] = read_kind(name, Entry(place, kind), faults)
    faults.stop_if_any()
    return tuple(kind for _, kind in sorted(kinds.items()) if kind is not None)


def read_kind(name: str, entry: Entry[KindShape], faults: Faults, *, own: bool = False) -> KindDescription | None:
    """The kind an entry describes, or None after noting what is wrong with it."""
    shape, place = entry.value, entry.place
    if shape is None:
        return None
    before = len(faults)
    if not is_label(name):
        message = f'"{name}" cannot be the name of a kind'
        faults.add("bad-name", place, message, hint="use words of letters and digits", key=True)
    _check_states(shape, place, faults)
    # With a faulty name among ports and slots, every guard that mentions it would be a second fault.
    scope = guard_scope(shape) if _check_slots(shape, place, faults) else None
    passages = tuple(
        passage
        for index, one in enumerate(shape.passages)
        if (passage := _passage(one, shape, place / "passages" / index, faults)) is not None
    )
    moves = tuple(
        move
        for index, one in enumerate(shape.moves)
        if (move := _move(one, shape, scope, place / "moves" / index, faults)) is not None
    )
    reaction = read_reaction(shape.reaction, place / "reaction", faults)
    if len(faults) > before or reaction is None:
        return None
    slots = {slot: tuple(getattr(shape, slot)) for slot in SLOTS}
    return KindDescription(
        name,
        shape.says,
        tuple(shape.ports),
        tuple(shape.states),
        **slots,
        passages=passages,
        moves=moves,
        reaction=reaction,
        own=own,
    )


#: Words that say nothing about what a kind does.
_COMMON = frozenset(
    [
        "with",
        "from",
        "into",
        "that",
        "this",
        "them",
        "they",
        "back",
        "for",
        "and",
        "the",
        "its",
        "own",
        "never",
        "ways",
        "both",
        "one",
        "air",
        "valve",
    ]
)


def kind_like(asked: str, kinds: Iterable[KindDescription]) -> str:
    """A hint for a kind that is not there: the one with the most like name, or that says most of what was asked for."""
    known = sorted(kinds, key=lambda kind: kind.name)
    near = get_close_matches(asked[:80], [kind.name for kind in known], n=1, cutoff=0.8)
    if near:
        return f'did you mean "{near[0]}"?'
    wanted = _telling(asked)
    rated = [(2 * len(wanted & _telling(kind.name)) + len(wanted & _telling(kind.says)), kind) for kind in known]
    most = max((rate for rate, _ in rated), default=0)
    if most:
        likely = listed(f'"{kind.name}"' for rate, kind in rated if rate == most)
        return f"by what it says it may be {likely}; the command `kinds` lists them all"
    return suggest(asked, [kind.name for kind in known], among="the kinds are")


def _telling(text: str) -> frozenset[str]:
    """The beginnings of the telling words in a text, so that "feeds" and "feeding" are one."""
    return frozenset(word.lower()[:5] for word in words_in(text) if len(word) > 2 and word.lower() not in _COMMON)


def _check_states(shape: KindShape, place: Place, faults: Faults) -> None:
    if not shape.states:
        faults.add("missing-key", place / "states", "a kind needs at least one state", hint='write states = ["open"]')
    check_labels(shape.states, "state", place / "states", faults)


def check_labels(labels: list[str], noun: str, place: Place, faults: Faults) -> None:
    """Check the spelling of states or positions, and that none is listed twice."""
    for index, label in enumerate(labels):
        if not is_label(label):
            message = f"{toml_text(label)} cannot be the name of a {noun}"
            faults.add(
                "bad-name", place / index, message, hint="use words of letters and digits, joined by blanks or -"
            )
        elif label in labels[:index]:
            message = f'the {noun} "{label}" is listed twice'
            faults.add(f"duplicate-{noun}", place / index, message, hint="remove one of the two")


def _check_slots(shape: KindShape, place: Place, faults: Faults) -> bool:
    """Whether every port and slot has a good name; notes those that have not."""
    before = len(faults)
    taken: dict[str, str] = {}
    for table in ("ports", *SLOTS):
        for index, name in enumerate(getattr(shape, table)):
            inner = place / table / index
            if check_name(name, "slot" if table != "ports" else "port", inner, faults, key=False):
                if taken.get(name) == table:
                    message = f'the {table.removesuffix("s")} "{name}" is listed twice'
                    faults.add("duplicate-slot", inner, message, hint="remove one of the two, or rename it")
                elif name in taken:
                    message = f'"{name}" is in "{taken[name]}" already'
                    faults.add("duplicate-slot", inner, message, hint="give every port and slot its own name")
                taken.setdefault(name, table)
    return len(faults) == before


def check_name(name: str, noun: str, place: Place, faults: Faults, *, key: bool = True) -> bool:
    """Whether `name` can be used in conditions; notes a fault at `place` if not."""
    if not is_name(name):
        message = f"{toml_text(name)} cannot be the name of a {noun}"
        hint = "use letters, digits and underscores, beginning with a letter"
        faults.add("bad-name", place, message, hint=hint, key=key)
    elif name in RESERVED or name in {ATMOSPHERE, SOURCE}:
        message = f'"{name}" has a meaning of its own and cannot be the name of a {noun}'
        faults.add("reserved-word", place, message, hint="choose another name", key=key)
    else:
        return True
    return False


def _passage(one: PassageShape, shape: KindShape, place: Place, faults: Faults) -> KindPassage | None:
    before = len(faults)
    ends = _ends(one, place, faults)
    for end, where in ends:
        if end not in {*shape.ports, ATMOSPHERE, SOURCE}:
            hint = suggest(end, [*shape.ports, ATMOSPHERE, SOURCE], among="an end is one of")
            faults.add("unknown-port", where, f'this kind has no port "{end}"', hint=hint)
    open_in = shape.states if one.open_in is None else one.open_in
    for index, state in enumerate(open_in):
        check_state(state, shape.states, place / "open_in" / index, faults)
    if one.size is not None and one.size not in shape.sizes:
        hint = suggest(one.size, shape.sizes, otherwise="add it to the sizes of the kind")
        faults.add("unknown-slot", place / "size", f'this kind has no size slot "{one.size}"', hint=hint)
    if len(faults) > before or len(ends) != 2:
        return None
    return _oriented(one, ends, frozenset(open_in), place, faults)


def _ends(one: PassageShape, place: Place, faults: Faults) -> list[tuple[str, Place]]:
    """The two ends of a passage with their places, or nothing after noting that there are not two."""
    if one.between is not None and one.from_ is None and one.to is None and len(one.between) == 2:
        return [(end, place / "between" / index) for index, end in enumerate(one.between)]
    if one.between is None and one.from_ is not None and one.to is not None:
        return [(one.from_, place / "from"), (one.to, place / "to")]
    message = "a passage has two ends, and these keys do not name two"
    hint = 'write between = ["a", "b"] for two-way, or from = "a" and to = "b" for one-way'
    faults.add("passage-ends", place, message, hint=hint)
    return []


def _oriented(
    one: PassageShape, ends: list[tuple[str, Place]], open_in: frozenset[str], place: Place, faults: Faults
) -> KindPassage | None:
    """The passage with atmosphere always downstream and source upstream: air can go no other way there."""
    (first, first_place), (second, second_place) = ends
    if first == second:
        faults.add("passage-ends", place, f'both ends of this passage are "{first}"', hint="name two different ends")
        return None
    if {first, second} == {ATMOSPHERE, SOURCE}:
        message = "this passage joins the source to the atmosphere and no port to either"
        faults.add("passage-ends", place, message, hint="name a port as one end")
        return None
    if one.between is None and (first == ATMOSPHERE or second == SOURCE):
        where = first_place if first == ATMOSPHERE else second_place
        message = f"no air ever flows {'from the atmosphere' if first == ATMOSPHERE else 'into a source'}"
        faults.add("passage-direction", where, message, hint='exchange "from" and "to"')
        return None
    if first == ATMOSPHERE or second == SOURCE:
        first, second = second, first
    one_way = one.between is None or second == ATMOSPHERE or first == SOURCE
    return KindPassage(first, second, one_way, open_in, one.size)


def check_state(state: str, known: Iterable[str], place: Place, faults: Faults, *, of: str = "this kind") -> bool:
    """Whether `state` is one of `known`; notes a fault at `place` if not."""
    known = list(known)
    if state in known:
        return True
    hint = suggest(state, known, among="its states are", otherwise="add it to the states of the kind")
    faults.add("unknown-state", place, f'{of} has no state "{state}"', hint=hint)
    return False


def _move(one: MoveShape, shape: KindShape, scope: Scope | None, place: Place, faults: Faults) -> KindMove | None:
    before = len(faults)
    sources = [one.from_] if isinstance(one.from_, str) else one.from_
    for index, state in enumerate(sources):
        where = place / "from" if isinstance(one.from_, str) else place / "from" / index
        if check_state(state, shape.states, where, faults) and state == one.to:
            message = f'this move leads from "{state}" to "{state}" itself'
            faults.add(
                "move-to-itself", where, message, hint="a part stays where it is without a move; name another state"
            )
    if one.to not in sources:
        check_state(one.to, shape.states, place / "to", faults)
    if not sources:
        faults.add("missing-key", place / "from", "this move starts from no state", hint="name at least one state")
    term = None if scope is None else read_condition(one.when, scope, place / "when", faults)
    if term is None or len(faults) > before:
        return None
    return KindMove(tuple(dict.fromkeys(sources)), one.to, one.when, term)


def read_condition(text: str, scope: Scope, place: Place, faults: Faults) -> Term | None:
    """The term of a condition that makes sense in `scope`, or None after noting why it does not."""
    try:
        term = parse(text)
    except ConditionError as error:
        faults.condition(place, error)
        return None
    before = len(faults)
    resolve(
        term,
        scope,
        lambda code, at, message, hint, note: faults.add(code, place, message, hint=hint, note=note, inside=at),
    )
    return term if len(faults) == before else None


def guard_scope(shape: KindShape) -> Scope:
    """What a kind's guards may speak of, as far as the kind alone tells."""
    wide = (Fraction(1), Fraction(2))
    names = {port: Meaning(Sort.VOLUME, (port,)) for port in shape.ports}
    names |= {slot: Meaning(Sort.SETTING, (slot,)) for slot in shape.settings}
    names |= {slot: Meaning(Sort.CONTROL, (slot,)) for slot in shape.controls}
    names |= {slot: Meaning(Sort.PART, (slot,)) for slot in shape.links}
    names |= {slot: Meaning(Sort.MISHAP, (slot,)) for slot in shape.mishaps}
    return Scope(
        noun="port or slot of this kind",
        names=names,
        states=dict.fromkeys(shape.links),
        positions=dict.fromkeys(shape.controls),
        settings={slot: Threshold(*wide, slot) for slot in shape.settings},
        guard=True,
    )
