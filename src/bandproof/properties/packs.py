"""Rule packs: TOML text to claims with parsed conditions. What the roles in them stand for is found in `language.py`.

All faults of a pack are reported at once. A pack is read without any arrangement, so names are not looked up here.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

from bandproof.model.files import read_file, read_text, tidy
from bandproof.model.schema import keys_of, read_shape, toml_text
from bandproof.properties.claim import Pace, Shape
from bandproof.properties.schema import HoldsShape, PackFileShape, PackShape, PropertyShape, WhenThenShape
from bandproof.terms.names import listed, suggest, words_in
from bandproof.terms.nodes import Compare, PressureOf, Term, atoms
from bandproof.terms.parse import parse
from bandproof.terms.show import show
from bandproof.text.errors import ConditionError
from bandproof.text.input_faults import Faults, Place
from bandproof.text.spans import SourceFile

#: What files of the tool's own are called, beside those of properties.
_OWN = re.compile(r"time-passes|silent-.*|endless-from-.*")

_ID = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")

#: The shapes of a property, in the order in which messages list them, and those not decided by this version.
_SHAPES = ("never", "always", "settled", "at_rest", "holds", "reachable", "ends_in", "within", "recoverable")
_NOT_YET = frozenset({"within", "recoverable"})

#: The keys that hold a condition.
_CONDITIONS = frozenset({"never", "always", "reachable", "recoverable", "when", "then", "once", "stays", "until"})

#: The keys of an expectation, and the verdict each stands for.
_EXPECTED = {"refuted": "refuted", "empty": "empty", "not_applicable": "not applicable", "undecided": "undecided"}


@dataclass(frozen=True, slots=True)
class Claim:
    """One property as it is written: conditions speak of roles. `when`, `then` and `until` are used as by `Property`.

    `mishaps` are roles, or None for every mishap of the arrangement. `belief`: people take it for true, and it is known
    to fail. `places` says where the conditions stand.
    """

    id: str
    says: str
    basis: str
    caution: str
    shape: Shape
    during: str | None
    pace: Pace
    mishaps: tuple[str, ...] | None
    when: Term | None
    then: Term | None
    until: Term | None
    fillings: int | None
    belief: bool
    place: Place = field(compare=False, repr=False)
    places: dict[str, Place] = field(default_factory=dict, compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Pack:
    """A rule pack.

    `models` are paths or globs relative to `folder`; `expected` gives, for each of some models, the verdict of every
    property that does not come out as proven there.
    """

    name: str
    says: str
    file: str
    folder: Path
    models: tuple[str, ...]
    expected: dict[str, dict[str, str]]
    claims: tuple[Claim, ...]
    place: Place = field(compare=False, repr=False)


def load_pack(path: Path) -> Pack:
    """The rule pack in the file at `path`; InputError with every fault found if there is none."""
    faults = Faults()
    read = read_file(path, faults)
    if read is None:
        faults.stop()
    return _load(read[0], path.parent, faults)


def load_pack_text(text: str, file: str = "<text>", *, base: Path | None = None) -> Pack:
    """The rule pack in `text`. `file` is its name in messages, `base` the folder in which its models are looked up."""
    faults = Faults()
    document = read_text(text, file, faults)
    if document is None:
        faults.stop()
    return _load(document, base or Path(), faults)


def model_files(pack: Pack) -> tuple[Path, ...]:
    """The arrangement files a pack names, each once, globs in sorted order; InputError when one is not there."""
    return files_named(pack.models, pack.folder, pack.place / "pack" / "models")


def files_named(patterns: tuple[str, ...], folder: Path, place: Place) -> tuple[Path, ...]:
    """The files that paths and globs stand for, from `folder` on; they are written at `place`."""
    faults = Faults()
    found: dict[Path, None] = {}
    for index, pattern in enumerate(patterns):
        matches = sorted(folder.glob(pattern)) if _is_glob(pattern) else [folder / pattern]
        matches = [tidy(match) for match in matches if match.is_file()]
        if not matches:
            message = f'no arrangement file "{pattern}" is there'
            hint = "the path is relative to the folder of this file"
            faults.add("file-missing", place / index, message, hint=hint)
        found |= dict.fromkeys(matches)
    faults.stop_if_any()
    return tuple(found)


def words_of(pack: Pack) -> frozenset[str]:
    """Whatever could be a name in the pack's conditions."""
    terms = [term for claim in pack.claims for term in (claim.when, claim.then, claim.until) if term is not None]
    return frozenset(word for term in terms for word in words_in(show(term)))


def expected_verdicts(pack: Pack, model: Path) -> dict[str, str]:
    """For one arrangement file: the verdict of every property that is not expected to be proven."""
    for name, verdicts in pack.expected.items():
        if (pack.folder / name).resolve() == model.resolve():
            return dict(verdicts)
    return {}


def _names(pattern: str, model: str) -> bool:
    """Whether a path, written as in the pack, is one that a path or glob of `models` names."""
    # In a glob `**/` may also stand for no folder at all.
    forms = (pattern, pattern.replace("**/", ""))
    return model == pattern or (_is_glob(pattern) and any(fnmatchcase(model, form) for form in forms))


def _is_glob(pattern: str) -> bool:
    return any(char in pattern for char in "*?[")


def _load(document: SourceFile, folder: Path, faults: Faults) -> Pack:
    place, values = Place(document), document.values
    _refuse_arrangement(values, place, faults)
    known = keys_of(PackFileShape)
    for key in values:
        if key not in known:
            hint = suggest(key, known, among="its keys are")
            faults.add("unknown-key", place / key, f'the file has no key "{key}"', hint=hint, key=True)
    header = _header(values, place, faults)
    seen: set[str] = set()
    claims = [
        claim for inner, shape in _properties(values, place, faults) if (claim := _claim(shape, inner, seen, faults))
    ]
    expected = {} if header is None else _expected(header, _ids(values), place / "pack", faults)
    if faults or header is None:
        faults.stop()
    models = tuple(header.models)
    return Pack(header.name, header.says, document.file, folder, models, expected, tuple(claims), place)


def _refuse_arrangement(values: dict[str, Any], place: Place, faults: Faults) -> None:
    """Stop at an arrangement or script that was given for a rule pack, before each of its keys is called unknown."""
    if "pack" not in values and "script" in values:
        hint = 'do it with "bandproof run"'
        faults.add("arrangement-for-pack", place / "script", "this is a script, not a rule pack", hint=hint, key=True)
        faults.stop()
    if "pack" not in values and "arrangement" in values:
        message, hint = (
            "this is an arrangement, not a rule pack",
            'name it without "--properties", which takes rule packs',
        )
        faults.add("arrangement-for-pack", place / "arrangement", message, hint=hint, key=True)
        faults.stop()


def _header(values: dict[str, Any], place: Place, faults: Faults) -> PackShape | None:
    if "pack" not in values:
        faults.add("missing-key", place, 'the file has no "pack"', hint='add [pack] with name = "…"')
        return None
    header = read_shape(PackShape, values["pack"], place / "pack", faults)
    if header is not None and not header.name.strip():
        faults.add("empty-text", place / "pack" / "name", "the pack's name is empty", hint="write a name")
    return header


def _properties(values: dict[str, Any], place: Place, faults: Faults) -> Iterator[tuple[Place, PropertyShape]]:
    given = values.get("property", [])
    if not isinstance(given, list):
        message = f'"property" should be a list of tables, not {toml_text(given)}'
        faults.add("wrong-type", place / "property", message, hint="begin each property with [[property]]")
        return
    if not given:
        faults.add("pack-empty", place / "pack", "the pack has no property", hint="add [[property]]", key=True)
    for index, value in enumerate(given):
        inner = place / "property" / index
        shape = read_shape(PropertyShape, value, inner, faults)
        if shape is None:
            _check_conditions(value, inner, faults)
        else:
            yield inner, shape


def _check_conditions(value: Any, place: Place, faults: Faults) -> None:
    """Note what is wrong with the conditions of a property whose keys are at fault, so that nothing is told late."""
    for key in _SHAPES:
        given = value.get(key) if isinstance(value, dict) else None
        texts = {key: given} if isinstance(given, str) else {}
        for inner, text in (given if isinstance(given, dict) else texts).items():
            if isinstance(text, str) and inner in _CONDITIONS:
                term_at(text, place / key if inner == key else place / key / inner, faults)


def _ids(values: dict[str, Any]) -> list[str]:
    """Every id in the file, those of faulty properties too, so that nothing said about them is a second fault."""
    given = values.get("property", [])
    tables = [value for value in given if isinstance(value, dict)] if isinstance(given, list) else []
    return [table["id"] for table in tables if isinstance(table.get("id"), str)]


def _claim(shape: PropertyShape, place: Place, ids: set[str], faults: Faults) -> Claim | None:
    before = len(faults)
    _check_texts(shape, place, ids, faults)
    if shape.faults != 0:
        _check_faults(shape.faults, place / "faults", faults)
    _check_fillings(shape.fillings, place / "fillings", faults)
    chosen = _chosen_shape(shape, place, faults)
    if chosen is None:
        return None
    places = dict(_condition_places(chosen, shape, place))
    terms = {key: term_at(text, where, faults) for key, (text, where) in places.items()}
    if len(faults) > before:
        return None
    return Claim(
        id=shape.id,
        says=shape.says,
        basis=shape.basis,
        caution=shape.caution,
        shape=Shape(chosen),
        during=shape.during,
        pace=Pace(shape.driver),
        mishaps=_mishaps(shape.mishaps),
        when=terms.get("when"),
        then=terms.get("then"),
        until=terms.get("until"),
        fillings=shape.fillings,
        belief=shape.belief,
        place=place,
        places={key: where for key, (_, where) in places.items()},
    )


def _check_texts(shape: PropertyShape, place: Place, ids: set[str], faults: Faults) -> None:
    if not _ID.fullmatch(shape.id):
        message = f"{toml_text(shape.id)} cannot be the id of a property"
        faults.add(
            "bad-property-id",
            place / "id",
            message,
            hint='use small letters, digits and "-", as in "low-air-vents-trailer"',
        )
    elif _OWN.fullmatch(shape.id):
        message = f"{toml_text(shape.id)} cannot be the id of a property: a file of the tool's own is called so"
        faults.add("bad-property-id", place / "id", message, hint="call the property something else")
    elif shape.id in ids:
        message = f'the id "{shape.id}" is used twice'
        faults.add("duplicate-property-id", place / "id", message, hint="give every property its own id")
    ids.add(shape.id)
    for key, hint in (
        ("says", "say in one sentence what is claimed"),
        ("basis", 'name the clause it comes from, or write "common practice, no source"'),
    ):
        if not getattr(shape, key).strip():
            faults.add("empty-text", place / key, f'"{key}" of property "{shape.id}" is empty', hint=hint)


def _check_faults(count: int, place: Place, faults: Faults) -> None:
    if count < 0:
        faults.add("unknown-choice", place, f'"faults" cannot be {count}', hint="write 0")
        return
    message = "this version decides properties without faults only"
    faults.add("faults-not-yet", place, message, hint="write faults = 0, or leave it out")


def _check_fillings(count: int | None, place: Place, faults: Faults) -> None:
    if count is not None and count < 1:
        message = f"lines cannot be filled {count} times"
        hint = "write a whole number of at least 1, or leave it out if nothing bounds it"
        faults.add("fillings-not-positive", place, message, hint=hint)


def _chosen_shape(shape: PropertyShape, place: Place, faults: Faults) -> str | None:
    given = [key for key in _SHAPES if getattr(shape, key) is not None]
    decided = [key for key in _SHAPES if key not in _NOT_YET]
    if not given:
        message = f'property "{shape.id}" claims nothing'
        faults.add("shape-missing", place, message, hint=f"add one of {listed(decided)}", key=True)
        return None
    if len(given) > 1:
        message = f'property "{shape.id}" makes two claims, "{given[0]}" and "{given[1]}"'
        faults.add("shape-twice", place / given[1], message, hint="make it two properties", key=True)
        return None
    if given[0] in _NOT_YET:
        message = f'this version does not decide "{given[0]}"'
        faults.add("shape-not-yet", place / given[0], message, hint=f"use one of {listed(decided)}", key=True)
        return None
    return given[0]


def _condition_places(chosen: str, shape: PropertyShape, place: Place) -> Iterator[tuple[str, tuple[str, Place]]]:
    """For each of when, then and until that the shape uses: the text and where it stands."""
    given: str | WhenThenShape | HoldsShape = getattr(shape, chosen)
    inner = place / chosen
    match given:
        case str():
            yield ("then" if chosen == "always" else "when"), (given, inner)
        case WhenThenShape():
            yield "when", (given.when, inner / "when")
            yield "then", (given.then, inner / "then")
        case HoldsShape():
            yield "when", (given.once, inner / "once")
            yield "then", (given.stays, inner / "stays")
            if given.until is not None:
                yield "until", (given.until, inner / "until")


def term_at(text: str, place: Place, faults: Faults) -> Term | None:
    """The condition written at `place`, or None after noting what is wrong with it."""
    try:
        term = parse(text)
    except ConditionError as error:
        faults.condition(place, error)
        return None
    for atom in atoms(term):
        if isinstance(atom, Compare) and isinstance(atom.level, PressureOf):
            message = "only the moves of a kind can compare two pressures with one another"
            hint = "compare each volume with a pressure or a setting"
            faults.add("pressure-of-outside-kind", place, message, hint=hint, inside=atom.level.at)
    return term


def _mishaps(given: str | list[str]) -> tuple[str, ...] | None:
    if isinstance(given, list):
        return tuple(dict.fromkeys(given))
    return None if given == "any" else () if given == "none" else (given,)


def _expected(header: PackShape, ids: list[str], place: Place, faults: Faults) -> dict[str, dict[str, str]]:
    found: dict[str, dict[str, str]] = {}
    for model, shape in header.expected.items():
        inner = place / "expected" / model
        if not any(_names(pattern, model) for pattern in header.models):
            hint = suggest(model, header.models, otherwise="write the path as in pack.models")
            message = f'"{model}" is not among the models of this pack'
            faults.add("expected-unknown-model", inner, message, hint=hint, key=True)
        verdicts = found[model] = {}
        for key, verdict in _EXPECTED.items():
            for index, name in enumerate(getattr(shape, key)):
                where = inner / key / index
                if name not in ids:
                    hint = suggest(name, ids, among="its properties are", otherwise="remove it")
                    faults.add("expected-unknown-property", where, f'the pack has no property "{name}"', hint=hint)
                elif name in verdicts:
                    message = f'property "{name}" is expected to be {verdicts[name]} already'
                    faults.add("expected-twice", where, message, hint="expect one verdict")
                else:
                    verdicts[name] = verdict
    return found
