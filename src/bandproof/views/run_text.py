"""The story of a witness as text for people, 80 columns of ASCII: what happens by when, step by step, what fails, the vehicle.

Everything in it is of one run in seconds, of one vehicle: times, pressures and moves. Names of mishaps, starts and controls are
said as the arrangement's file says them.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from textwrap import wrap

from bandproof.findings.finding import Finding, Verdict, Waiting
from bandproof.findings.job import program_version
from bandproof.findings.witness import Witness
from bandproof.machine.layout import Layout
from bandproof.machine.semantics import Reading, surely
from bandproof.machine.story import Crossed, Moved, Occurred, Story, Turned
from bandproof.model.conditions import (
    ALWAYS_TRUE,
    AllOf,
    AtLeast,
    Below,
    Condition,
    Happened,
    InPosition,
    NotInPosition,
)
from bandproof.model.walker import comparisons, leaves
from bandproof.properties.claim import Property
from bandproof.simulation.script import Turn
from bandproof.simulation.vehicle import Assumed
from bandproof.text.units import PRESSURE_UNITS
from bandproof.views.happenings import Passage, matters, moves, passages
from bandproof.views.phrases import (
    consequences,
    deed,
    deed_of,
    enumerated,
    passage_words,
    plain,
    setting_at,
    show_condition,
    verb,
)
from bandproof.views.reasons import because
from bandproof.views.spoken import spoken_time

WIDTH = 80
#: Columns of the time in front of a step.
_TIME = 11


def run_text(finding: Finding, claim: Property | None = None) -> str:
    """The text for a finding whose story tells the run of its witness. `claim` says which part of it failed."""
    layout, story, witness = finding.layout, finding.story, finding.witness
    assert layout is not None
    assert story is not None
    assert witness is not None
    rows = [finding.property, *_paragraph(_typed(finding.says)), ""]
    rows += ["IN SHORT", *(row for text in _in_short(layout, finding, story, witness) for row in _paragraph(text)), ""]
    rows += ["AT THE START", *_start(layout, story, claim), ""]
    rows += ["STEP BY STEP", *_steps(layout, story), ""]
    rows += [_last_head(finding), *_last(layout, finding, claim, story, witness), ""]
    rows += ["THE VEHICLE", *_vehicle(layout, witness), "", *_foot(layout, finding)]
    return "\n".join(rows) + "\n"


def vehicle_text(finding: Finding) -> str:
    """What there is to say of a witness whose run no story tells step by step, to stand below another story."""
    layout, witness = finding.layout, finding.witness
    assert layout is not None
    assert witness is not None
    said = {mishap.name: mishap.says for mishap in layout.arrangement.mishaps}
    rows = ["A VEHICLE THAT DOES IT", *_paragraph("The steps above are of the bands; this vehicle was run in seconds.")]
    for one in witness.deeds:
        text = f"the driver {deed_of(one.what)}" if isinstance(one.what, Turn) else said[one.what.mishap]
        rows += _paragraph(f"{_capital(text)}.", f"{spoken_time(one.time):>{_TIME - 3}}   ", " " * (_TIME + 2))
    rows += _paragraph(f"{_outcome(finding, witness)} {_how_common(witness)}")
    if witness.hunted:
        rows += _paragraph(f"To and fro at one pressure meanwhile: {', '.join(map(plain, witness.hunted))}.")
    rows += [*_last(layout, finding, None, None, witness), "", "THE VEHICLE", *_vehicle(layout, witness), ""]
    return "\n".join([*rows, *_foot(layout, finding)]) + "\n"


# ----------------------------------------------------------------------------------------------------------- pieces


def _in_short(layout: Layout, finding: Finding, story: Story, witness: Witness) -> Iterator[str]:
    done = _deeds(layout, story)
    what = "; ".join(done) if done else "Nobody does anything and nothing happens from outside"
    yield f"{_capital(what)}. {_outcome(finding, witness)}"
    yield _how_common(witness)
    if finding.quick is not None:
        acts = any(isinstance(event, Turned) for step in story.steps for event in step.events)
        whose = "This driver lets the air settle before each act." if acts else "The driver does nothing in it."
        yield f"{whose} A quick hand's story is {finding.property}.quick.txt."
    elif finding.waiting == Waiting(Verdict.REFUTED):
        yield f"This is a quick hand. The story of a driver who lets the air settle is {finding.property}.txt."


def _outcome(finding: Finding, witness: Witness) -> str:
    broken = "The claim is broken" if finding.verdict is Verdict.REFUTED else "It is shown"
    return f"{broken} {spoken_time(witness.when)} after the start."


def _how_common(witness: Witness) -> str:
    common = witness.common
    return (
        f"Of {common.drawn} vehicles drawn at random over the declared ranges, with the same acts at the same times, "
        f"{common.broken} do the same" + (f" ({common.cut} were given up before)." if common.cut else ".")
    )


def _deeds(layout: Layout, story: Story) -> list[str]:
    """What is done and what happens from outside, in the order in which it first comes, with how often."""
    found: dict[str, int] = {}
    for event in (event for step in story.steps for event in step.events):
        if isinstance(event, Turned | Occurred):
            text = f"the driver {deed(event)}" if isinstance(event, Turned) else _said(layout, event)
            found[text] = found.get(text, 0) + 1
    return [text if count == 1 else f"{text} ({count} times)" for text, count in found.items()]


def _start(layout: Layout, story: Story, claim: Property | None) -> list[str]:
    arrangement = layout.arrangement
    start = arrangement.start(story.start)
    rows = _paragraph(_typed(f"{plain(start.name)}: {start.says}." if start.says else f"{plain(start.name)}."))
    matter = matters(story, claim)
    state, pressures = (
        story.states[0],
        dict(zip((v.name for v in arrangement.volumes), story.pressures[0], strict=True)),
    )
    told = [
        f"{plain(c.name)} {at}" for c, at in zip(arrangement.controls, state.controls, strict=True) if c.name in matter
    ]
    told += [
        f"{plain(p.name)} {plain(at)}" for p, at in zip(arrangement.parts, state.parts, strict=True) if p.name in matter
    ]
    rows += _paragraph(", ".join(told), "  ", "    ") if told else []
    told = [f"{plain(name)} {_pressure(layout, pascals)}" for name, pascals in pressures.items() if name in matter]
    return rows + (_paragraph(", ".join(told), "  ", "    ") if told else [])


def _steps(layout: Layout, story: Story) -> Iterator[str]:
    last = ""
    for passage in passages(story):
        time = spoken_time(story.seconds[passage.last])
        shown, last = ("" if time == last else time), time
        for place, text in enumerate(_told(layout, story, passage)):
            head = f"{'' if place else shown:>{_TIME - 3}}   "
            yield from _paragraph(text, head, " " * (_TIME + 2))


def _told(layout: Layout, story: Story, passage: Passage) -> Iterator[str]:
    if passage.rhythm:
        yield f"{_capital(_stroke(story, passage))}, {passage.strokes} times in all since {spoken_time(story.seconds[passage.first])}."
        for part, count in _counted(story, passage).items():
            yield f"The {plain(part)} {verb(part, 'moves')} {count} times."
        yield from _flows(layout, story, passage)
        return
    events = [event for n in range(passage.first, passage.last + 1) for event in story.steps[n - 1].events]
    for event in events:
        if isinstance(event, Turned):
            yield f"The driver {deed(event)}."
        elif isinstance(event, Occurred):
            yield f"{_capital(_said(layout, event))}."
    for number, move in moves(story, passage):
        yield _move(layout, story, number, move)
    yield from _flows(layout, story, passage)


def _stroke(story: Story, passage: Passage) -> str:
    turns = [
        e for n in range(passage.first, passage.last + 1) for e in story.steps[n - 1].events if isinstance(e, Turned)
    ]
    there = [event for event in turns if event.control == passage.rhythm][:2]
    return (
        f"the driver {' and '.join(deed(event) for event in there)}"
        if len(there) > 1
        else f"the driver {deed(turns[0])}"
    )


def _counted(story: Story, passage: Passage) -> dict[str, int]:
    found: dict[str, int] = {}
    for _, move in moves(story, passage):
        found[move.part] = found.get(move.part, 0) + 1
    return found


def _move(layout: Layout, story: Story, number: int, move: Moved) -> str:
    """A part that moves: what a person notices, why, and what that does to the air."""
    arrangement = layout.arrangement
    part = arrangement.part(move.part)
    guard = _guard(layout, story, number, move)
    done = consequences(part, move.source, move.target)
    air = f": {enumerated(done)}" if done else ""
    if guard and all(isinstance(leaf, Happened | InPosition | NotInPosition) for leaf in guard):
        return f"So the {plain(part.name)} {verb(part.name, 'goes')} to {plain(move.target)}{air}."
    why = because(layout, story.states[number - 1], move)
    reason = f", since {why}" if why else ""
    knob = sorted(
        {
            leaf.control
            for one in part.moves
            for leaf in leaves(one.when)
            if isinstance(leaf, InPosition | NotInPosition)
        }
    )
    if knob and move.target == "out":
        return f"The {plain(knob[0])} pops out{reason}{air}."
    return f"The {plain(part.name)} {verb(part.name, 'goes')} from {plain(move.source)} to {plain(move.target)}{reason}{air}."


def _guard(layout: Layout, story: Story, number: int, move: Moved) -> list[Condition]:
    part = layout.arrangement.part(move.part)
    guards = [one.when for one in part.moves if (one.source, one.target) == (move.source, move.target)]
    reading = Reading(layout, story.states[number - 1])
    held = [guard for guard in guards if surely(reading, guard)] or guards
    return list(leaves(held[0]))


def _flows(layout: Layout, story: Story, passage: Passage) -> Iterator[str]:
    """How far each volume has come that crossed a threshold, and which named settings it passed."""
    numbers = range(passage.first, passage.last + 1)
    crossed: dict[str, list[Crossed]] = {}
    for event in (e for n in numbers for e in story.steps[n - 1].events if isinstance(e, Crossed)):
        crossed.setdefault(event.volume, []).append(event)
    names = [volume.name for volume in layout.arrangement.volumes]
    for name, events in crossed.items():
        now = story.pressures[passage.last][names.index(name)]
        before = story.pressures[passage.first - 1][names.index(name)]
        way = "rises" if now > before else "falls"
        marks = dict.fromkeys(filter(None, (setting_at(layout.arrangement, name, event.threshold) for event in events)))
        past = f", past {', '.join(marks)}" if marks and not passage.rhythm else ""
        yield f"{_capital(plain(name))} {verb(name, way)} to {_pressure(layout, now)}{past}."


def _last_head(finding: Finding) -> str:
    return "WHAT FAILS" if finding.verdict is Verdict.REFUTED else "WHAT IS SHOWN"


def _last(
    layout: Layout, finding: Finding, claim: Property | None, story: Story | None, witness: Witness
) -> Iterator[str]:
    yield from _paragraph(f"At {spoken_time(witness.end)}:", "  ", "  ")
    for word, text in () if story is None else _in_words(finding, claim):
        yield from _paragraph(f"{word}: {text}.", "  ", "    ")
    then = [f"{plain(name)} {_pressure(layout, Fraction(value))}" for name, value in witness.pressures.items()]
    yield from _paragraph(f"Pressures then: {', '.join(then)}.", "  ", "    ")
    if claim is None:
        for measured in witness.measured:
            text = f"{plain(measured.volume)} is at {_pressure(layout, Fraction(measured.pascals))}"
            yield from _paragraph(f"{text}; the limit is {_pressure(layout, Fraction(measured.limit))}.", "  ", "    ")


def what_fails(finding: Finding, claim: Property | None) -> tuple[str, ...]:
    """What of the claim the end of a witness's run does not keep, with its number, a line each below one with the time."""
    told = _in_words(finding, claim)
    if finding.witness is None or not told:
        return ()
    return (f"{told[0][0]} at {spoken_time(finding.witness.end)}:", *(f"{text}." for _, text in told))


def _in_words(finding: Finding, claim: Property | None) -> tuple[tuple[str, str], ...]:
    """`_failing` in words, with its numbers."""
    layout, story, witness = finding.layout, finding.story, finding.witness
    if layout is None or story is None or witness is None:
        return ()
    limits = {(m.volume, m.limit): m.pascals for m in witness.measured}
    refuted = finding.verdict is Verdict.REFUTED
    told: list[tuple[str, str]] = []
    for leaf in _failing(layout, claim, story, refuted=refuted):
        volume, low = getattr(leaf, "volume", ""), getattr(leaf, "low", None)
        number = limits.get((volume, float(low))) if low is not None else None
        found = f"; it is at {_pressure(layout, Fraction(number))}" if number is not None else ""
        told.append(("Not kept" if refuted else "Reached", f"{show_condition(leaf, layout.arrangement.unit)}{found}"))
    return tuple(told)


def _failing(layout: Layout, claim: Property | None, story: Story, *, refuted: bool) -> list[Condition]:
    """The parts of the claim, of those joined by `and`, that the last state does not keep; of a shown one, all that it keeps."""
    if claim is None:
        return []
    asked = claim.then if claim.then != ALWAYS_TRUE and refuted else claim.when
    items: list[Condition] = list(asked.items) if isinstance(asked, AllOf) else [asked]
    reading = Reading(layout, story.states[-1])
    failing = [item for item in items if not surely(reading, item)]
    return failing if refuted and claim.then != ALWAYS_TRUE and failing else items


def _vehicle(layout: Layout, witness: Witness) -> Iterator[str]:
    unit = layout.arrangement.unit
    tables = {
        f"Pressures at the start ({unit})": [
            f"{plain(name)} {_in(unit, value)}" for name, value in witness.vehicle.get("pressures", {}).items()
        ],
        f"Settings ({unit})": [
            f"{_setting(layout, name)} {_in(unit, value)}"
            for name, value in witness.vehicle.get("settings", {}).items()
        ],
        "Litres": [f"{plain(name)} {value:.3g}" for name, value in _numbers(witness, "litres")],
        "Sizes, C in dm3/(s bar)": [f"{_way(layout, name)} {value:.3g}" for name, value in _numbers(witness, "c")],
        "Seconds for a move": [
            f"{plain(name)} {value:.3g}"
            for name, value in _numbers(witness, "moving")
            if layout.arrangement.part(name).reaction is not None
        ],
        "Not declared, and taken from everyday ranges": list(map(_assumed, witness.assumed)),
    }
    for title, told in tables.items():
        if told:
            yield from _paragraph(f"{title}: {'; '.join(told)}.", "  ", "    ")


def _numbers(witness: Witness, table: str) -> list[tuple[str, float]]:
    return [(name, float(value)) for name, value in witness.vehicle.get(table, {}).items()]


def _in(unit: str, pascals: float | str) -> str:
    return f"{float(pascals) / float(PRESSURE_UNITS[unit]):.1f}"


def _setting(layout: Layout, name: str) -> str:
    """A setting's part and name; in a vehicle it is known by its part and its range."""
    part, ends, _ = name.rsplit(" ", 2)
    atoms = (leaf for move in layout.arrangement.part(part).moves for leaf in comparisons(move.when))
    named = [one.setting for one in atoms if isinstance(one, Below | AtLeast) and f"{one.low}..{one.high}" == ends]
    return plain(f"{part} {next(filter(None, named), '')}")


def _way(layout: Layout, name: str) -> str:
    """A passage's part and ends; in a vehicle it is known by its part and number."""
    part, number = name.rsplit(" ", 1)
    owner = layout.arrangement.part(part)
    return f"{plain(part)} {passage_words(owner, owner.passages[int(number)])}"


def _assumed(one: Assumed) -> str:
    odd = "OUTSIDE THE MIDDLE 90 % of" if one.unusual else "of"
    return f"{plain(one.what)} {one.value:.3g}, {odd} {one.low:.3g}..{one.high:.3g}"


def _foot(layout: Layout, finding: Finding) -> Iterator[str]:
    arrangement = layout.arrangement
    yield from _paragraph(f"Basis: {finding.basis}")
    if finding.caution:
        yield from _paragraph(f"Caution: {finding.caution}")
    yield from _paragraph(f"Arrangement: {arrangement.name}, {arrangement.file}, sha256 {arrangement.sha256[:12]}")
    yield from _paragraph(f"Told by bandproof {program_version()}".rstrip() + ".")
    yield from _paragraph("Pressures are gauge. A model is not the vehicle: this holds for the arrangement as written.")


# ------------------------------------------------------------------------------------------------------------ words


def _said(layout: Layout, event: Occurred) -> str:
    mishap = next(one for one in layout.arrangement.mishaps if one.name == event.mishap)
    return mishap.says or f"{plain(event.mishap)} happens"


def _pressure(layout: Layout, pascals: Fraction) -> str:
    """A pressure in the arrangement's unit, with kPa beside it."""
    unit = layout.arrangement.unit
    number = float(pascals / PRESSURE_UNITS[unit])
    shown = f"{_rounded(number, 1)} {unit}" if unit in ("psi", "bar") else f"{_rounded(number, 0)} {unit}"
    return shown if unit == "kPa" else f"{shown} ({_rounded(float(pascals) / 1000, 0)} kPa)"


def _rounded(number: float, decimals: int) -> str:
    """A number with so many decimals, and no minus before a zero."""
    return f"{round(number, decimals) + 0.0:.{decimals}f}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _typed(text: str) -> str:
    plainly = {"↔": "<->", "→": "->", "–": "-", "±": "+/-"}
    return "".join(plainly.get(sign, sign) for sign in text)


def _paragraph(text: str, first: str = "  ", later: str = "  ") -> list[str]:
    return wrap(
        _typed(text),
        WIDTH,
        initial_indent=first,
        subsequent_indent=later,
        break_long_words=False,
        break_on_hyphens=False,
    )
