"""Scripts: what is done to an arrangement and when, and what should be seen; TOML text to values, roles to names.

All faults of a script are reported at once. Steps are done in the order in which they are written.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from bandproof.model.arrangement import Arrangement
from bandproof.model.conditions import Condition, InPosition
from bandproof.model.files import read_file, read_text
from bandproof.model.schema import keys_of, read_shape, toml_text
from bandproof.properties.claim import Lack
from bandproof.properties.language import Subject, lacking, meant, players_of, subject_of
from bandproof.properties.packs import files_named, term_at
from bandproof.properties.schema import ScriptFileShape, ScriptShape, StepShape
from bandproof.terms.names import suggest
from bandproof.terms.nodes import Term
from bandproof.terms.parse import parse
from bandproof.text.errors import ConditionError, MeasureError
from bandproof.text.input_faults import Faults, Place
from bandproof.text.spans import SourceFile
from bandproof.text.units import parse_seconds

_KINDS = ("turn", "happens", "expect")
_TIMES = ("at", "after", "once")


@dataclass(frozen=True, slots=True)
class When:
    """When a step comes: `at` seconds from the start, once `settled`, or `after` seconds after the step before."""

    at: float | None = None
    settled: bool = False
    after: float = 0.0


@dataclass(frozen=True, slots=True)
class WrittenStep:
    """A step as it is written: `turns` and `expect` speak of roles, `happens` names them.

    `turns` has for each control the positions it takes one after another, `times` times, a turn every so many seconds.
    """

    says: str
    when: When
    turns: tuple[tuple[str, tuple[Term, ...]], ...]
    times: int
    every: float
    happens: tuple[str, ...]
    expect: Term | None
    within: float | None
    holds_for: float | None
    place: Place = field(compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Script:
    """One script. `ends` is the length of the run in seconds; `models` are relative to `folder`, that of the file."""

    name: str
    says: str
    basis: str
    caution: str
    file: str
    folder: Path
    models: tuple[str, ...]
    start: str | None
    ends: float
    steps: tuple[WrittenStep, ...]
    place: Place = field(compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Step:
    """A step as it is done to one arrangement: controls turned, mishaps that happen, or what is expected.

    `turns` are made at the same moment; `strokes` one after another, every `every` seconds, and they are all the step does.
    `expect` should hold at that moment; with `within` at some moment of the so many seconds after it, with `holds_for`
    throughout them.
    """

    says: str
    when: When
    turns: tuple[tuple[str, str], ...] = ()
    strokes: tuple[tuple[str, str], ...] = ()
    times: int = 1
    every: float = 0.0
    mishaps: tuple[str, ...] = ()
    expect: Condition | None = None
    within: float | None = None
    holds_for: float | None = None


@dataclass(frozen=True, slots=True)
class Procedure:
    """A script applied to an arrangement."""

    script: Script
    start: str
    steps: tuple[Step, ...]


def load_script(path: Path) -> Script:
    """The script in the file at `path`; InputError with every fault found if there is none."""
    faults = Faults()
    read = read_file(path, faults)
    if read is None:
        faults.stop()
    return _load(read[0], path.parent, faults)


def load_script_text(text: str, file: str = "<text>", *, base: Path | None = None) -> Script:
    """The script in `text`. `file` is its name in messages, `base` the folder in which its models are looked up."""
    faults = Faults()
    document = read_text(text, file, faults)
    if document is None:
        faults.stop()
    return _load(document, base or Path(), faults)


def script_models(script: Script) -> tuple[Path, ...]:
    """The arrangement files a script names, each once; InputError when one is not there."""
    return files_named(script.models, script.folder, script.place / "script" / "models")


def resolve_script(script: Script, arrangement: Arrangement) -> Procedure | tuple[Lack, ...]:
    """The script as it is done to this arrangement, or what it names that the arrangement does not have.

    InputError with every misuse of a role.
    """
    subject = subject_of(arrangement)
    terms = [
        term for step in script.steps for term in (*(t for _, some in step.turns for t in some), step.expect) if term
    ]
    lacks = lacking(terms, [role for step in script.steps for role in step.happens], script.start, subject)
    if lacks:
        return lacks
    faults = Faults()
    steps = tuple(_step(step, subject, faults) for step in script.steps)
    faults.stop_if_any()
    return Procedure(script, script.start or subject.starts[0], steps)


# ------------------------------------------------------------------------------------------------------------- reading


def _load(document: SourceFile, folder: Path, faults: Faults) -> Script:
    place, values = Place(document), document.values
    other = next((key for key in ("arrangement", "pack") if key in values and "script" not in values), None)
    if other is not None:
        what = "an arrangement" if other == "arrangement" else "a rule pack"
        hint = 'name the arrangement first, and the script second, as in "bandproof run MODEL SCRIPT"'
        faults.add("not-a-script", place / other, f"this is {what}, not a script", hint=hint, key=True)
        faults.stop()
    known = keys_of(ScriptFileShape)
    for key in values:
        if key not in known:
            hint = suggest(key, known, among="its keys are")
            faults.add("unknown-key", place / key, f'the file has no key "{key}"', hint=hint, key=True)
    header: ScriptShape | None = None
    if "script" in values:
        header = read_shape(ScriptShape, values["script"], place / "script", faults)
    else:
        faults.add("missing-key", place, 'the file has no "script"', hint='add [script] with name = "…"')
    ends = None if header is None else _seconds(header.ends, place / "script" / "ends", faults)
    steps = list(_steps(values, place, faults))
    _check_order(steps, ends, place, faults)
    if faults or header is None or ends is None:
        faults.stop()
    return Script(
        name=header.name,
        says=header.says,
        basis=header.basis,
        caution=header.caution,
        file=document.file,
        folder=folder,
        models=tuple(header.models),
        start=header.start,
        ends=ends,
        steps=tuple(steps),
        place=place,
    )


def _steps(values: dict[str, Any], place: Place, faults: Faults) -> Iterator[WrittenStep]:
    given = values.get("step", [])
    if not isinstance(given, list):
        message = f'"step" should be a list of tables, not {toml_text(given)}'
        faults.add("wrong-type", place / "step", message, hint="begin each step with [[step]]")
        return
    if not given and "script" in values:
        faults.add("script-empty", place / "script", "the script has no step", hint="add [[step]]", key=True)
    for index, value in enumerate(given):
        inner = place / "step" / index
        shape = read_shape(StepShape, value, inner, faults)
        step = None if shape is None else _written(shape, inner, faults)
        if step is not None:
            yield step


def _written(shape: StepShape, place: Place, faults: Faults) -> WrittenStep | None:
    before = len(faults)
    _check_kind(shape, place, faults)
    when = _when(shape, place, faults)
    turns = _turns(shape, place, faults)
    expect = None if shape.expect is None else term_at(shape.expect, place / "expect", faults)
    spans = {
        key: _seconds(text, place / key, faults)
        for key in ("within", "holds_for", "every")
        if (text := getattr(shape, key)) is not None
    }
    if len(faults) > before:
        return None
    happens = () if shape.happens is None else (shape.happens,) if isinstance(shape.happens, str) else shape.happens
    return WrittenStep(
        says=shape.says,
        when=when,
        turns=turns,
        times=shape.times,
        every=spans.get("every") or 0.0,
        happens=tuple(dict.fromkeys(happens)),
        expect=expect,
        within=spans.get("within"),
        holds_for=spans.get("holds_for"),
        place=place,
    )


def _turns(shape: StepShape, place: Place, faults: Faults) -> tuple[tuple[str, tuple[Term, ...]], ...]:
    """The controls and their positions: what is written means "ROLE is POSITION"."""
    found = []
    for role, given in (shape.turn or {}).items():
        positions = [given] if isinstance(given, str) else given
        terms = []
        for position in positions:
            try:
                terms.append(parse(f"{role} is {position}"))
            except ConditionError:
                message = f"{toml_text(f'{role} = {position}')} turns nothing"
                hint = 'write as in turn = { pedal = "applied" }'
                faults.add("step-unclear", place / "turn" / role, message, hint=hint)
        found.append((role, tuple(terms)))
    several = any(len(terms) > 1 for _, terms in found) or shape.times != 1
    if several and (len(found) != 1 or shape.every is None or shape.times < 1):
        message = "a step that turns again and again needs one control, and the time from turn to turn"
        hint = 'write as in turn = { pedal = ["applied", "released"] }, times = 20, every = "1 s"'
        faults.add("step-unclear", place / "turn" if found else place, message, hint=hint)
    elif shape.every is not None and not several:
        message = '"every" belongs to a step that turns again and again'
        faults.add("step-unclear", place / "every", message, hint="remove it", key=True)
    return tuple(found)


def _check_kind(shape: StepShape, place: Place, faults: Faults) -> None:
    """Exactly one thing is done, and only what is expected has a time to come true in."""
    given = [key for key in _KINDS if getattr(shape, key) is not None]
    if not given:
        message = 'the step has neither "turn" nor "happens" nor "expect"'
        faults.add("step-unclear", place, message, hint="write one of them")
    elif len(given) > 1:
        message = f'the step has both "{given[0]}" and "{given[1]}"'
        faults.add("step-unclear", place / given[1], message, hint="make two steps of it", key=True)
    elif shape.turn == {}:
        faults.add("step-unclear", place / "turn", "the step turns nothing", hint="name a control and a position")
    spans = [key for key in ("within", "holds_for") if getattr(shape, key) is not None]
    if spans and "expect" not in given:
        message = f'"{spans[0]}" belongs to "expect"'
        faults.add("step-unclear", place / spans[0], message, hint="remove it", key=True)
    elif len(spans) > 1:
        message = 'the step has both "within" and "holds_for"'
        faults.add("step-unclear", place / spans[1], message, hint="make two steps of it", key=True)


def _when(shape: StepShape, place: Place, faults: Faults) -> When:
    given = [key for key in _TIMES if getattr(shape, key) is not None]
    if len(given) > 1:
        message = f'the step has both "{given[0]}" and "{given[1]}"'
        faults.add("step-time-twice", place / given[1], message, hint="keep one of them", key=True)
        return When()
    if shape.at is not None:
        return When(at=_seconds(shape.at, place / "at", faults) or 0.0)
    if shape.after is not None:
        return When(after=_seconds(shape.after, place / "after", faults) or 0.0)
    return When(settled=shape.once is not None)


def _seconds(text: str, place: Place, faults: Faults) -> float | None:
    try:
        found = parse_seconds(text)
    except MeasureError as error:
        faults.measure(place, error)
        return None
    if found < 0:
        faults.add("step-too-early", place, f'"{text}" is before the start', hint="write a time of 0 s or more")
        return None
    return float(found)


def _check_order(steps: list[WrittenStep], ends: float | None, place: Place, faults: Faults) -> None:
    """Times that are written go on, and the run is long enough for them."""
    last = 0.0
    for step in steps:
        if step.when.at is None:
            continue
        at = step.when.at
        if at < last:
            message = f"the step is at {at:g} s, and the one before it at {last:g} s"
            hint = "write the steps in the order of their times"
            faults.add("step-too-early", step.place / "at", message, hint=hint)
        last = max(last, at)
    if ends is not None and steps and ends <= last:
        message = f"the run ends at {ends:g} s, and a step comes at {last:g} s"
        faults.add("step-too-early", place / "script" / "ends", message, hint="let the run last longer")


# ----------------------------------------------------------------------------------------------------------- resolving


def _step(step: WrittenStep, subject: Subject, faults: Faults) -> Step:
    turns = tuple(
        turn for role, terms in step.turns for term in terms for turn in _turn(step, role, term, subject, faults)
    )
    mishaps = sorted(players_of(step.happens, step.place / "happens", subject, faults)) if step.happens else []
    again = len(turns) > len(step.turns) or step.times > 1
    return Step(
        says=step.says,
        when=step.when,
        turns=() if again else turns,
        strokes=turns if again else (),
        times=step.times,
        every=step.every,
        mishaps=tuple(mishaps),
        expect=None if step.expect is None else meant(step.expect, step.place / "expect", subject, faults),
        within=step.within,
        holds_for=step.holds_for,
    )


def _turn(step: WrittenStep, role: str, term: Term, subject: Subject, faults: Faults) -> Iterator[tuple[str, str]]:
    """The control that plays a role and the position it is to have: what is written means "ROLE is POSITION"."""
    meaning = subject.roles[role]
    place = step.place / "turn" / role
    if meaning is not None and meaning.sort != "control":
        message = f'"{role}" is a {meaning.sort}, not a control'
        note = f'in arrangement "{subject.name}"'
        faults.add("not-a-control", place, message, hint="name roles of controls here", note=note, key=True)
        return
    found = meant(term, place, subject, faults)
    if isinstance(found, InPosition) and len(found.positions) == 1:
        yield found.control, next(iter(found.positions))
