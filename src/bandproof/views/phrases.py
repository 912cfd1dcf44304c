"""Plain words for pressures, conditions, events and places: the one vocabulary of every picture and text for people.

It is for reading only. What files are written in is `bandproof.terms.names`; what the bits of a proof are called, so that
a solver and a checker can read it back, is `bandproof.encoding.bit_words`.

Limits: numbers are rounded for reading; a real pressure is never rounded out of the band it lies in. Nothing here is
meant to be read back by a program.
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from bandproof.findings.finding import Finding, Verdict
from bandproof.machine.layout import Layout
from bandproof.machine.story import Crossed, Event, Moved, Occurred, Step, Story, Turned
from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement, Part, Passage, Size, Volume
from bandproof.model.conditions import (
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
    NotHappened,
    NotInPosition,
    NotInState,
    NotLower,
    Truth,
)
from bandproof.model.walker import Walker, comparisons, opposite
from bandproof.simulation.script import Turn
from bandproof.text.units import PRESSURE_UNITS, SHOWN_DECIMALS, show_number, show_pressure

#: A knob's position is a participle; the driver's deed is the verb. Positions not listed here get "sets".
_DEEDS = {
    "pushed": "pushes",
    "pulled": "pulls",
    "pressed": "presses",
    "held": "holds",
    "applied": "applies",
    "released": "releases",
    "free": "lets go of",
    "opened": "opens",
    "closed": "closes",
}


def plain(name: str) -> str:
    """A name as people read it: `trailer_supply_line` is "trailer supply line"."""
    return name.replace("_", " ").strip()


def enumerated(names: Iterable[str], joint: str = "and") -> str:
    """Names in one phrase: "a", "a and b", "a, b and c"."""
    items = [plain(name) for name in names]
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} {joint} {items[-1]}"


def verb(name: str, singular: str) -> str:
    """A verb that fits a name: "the valve moves", "the springs move"."""
    many = name.endswith("s") and not name.endswith("ss")
    return singular.removesuffix("es" if singular == "goes" else "s") if many else singular


def pressure_number(pascals: Fraction, unit: str) -> str:
    """A pressure as a bare number of `unit`."""
    return show_number(pascals / PRESSURE_UNITS[unit], SHOWN_DECIMALS[unit])


def threshold(low: Fraction, high: Fraction, unit: str) -> str:
    """A setting as a file writes it: "38 psi" when exact, "34..42 psi" when it has a tolerance."""
    if low == high:
        return show_pressure(low, unit)
    return f"{pressure_number(low, unit)}..{pressure_number(high, unit)} {unit}"


def band_range(layout: Layout, volume: str, band: int) -> str:
    """The ends of a band without the unit, e.g. "34-42" with an en dash."""
    unit = layout.arrangement.unit
    low, high = layout.low(volume, band), layout.high(volume, band)
    return f"{pressure_number(low, unit)}–{pressure_number(high, unit)}"


def band_words(layout: Layout, volume: str, band: int) -> str:
    """A band with its unit, e.g. "34-42 psi" with an en dash."""
    return f"{band_range(layout, volume, band)} {layout.arrangement.unit}"


#: How many more decimals than usual people are shown so that a pressure stays inside its band.
_MORE_DECIMALS = 1


def real_pressure(layout: Layout, volume: str, band: int, pascals: Fraction) -> str:
    """A real pressure with its unit, given as many digits as keep it inside its band: 41.98 psi is not "42 psi"."""
    unit = layout.arrangement.unit
    per = PRESSURE_UNITS[unit]
    low, high = layout.low(volume, band) / per, layout.high(volume, band) / per
    exact = pascals / per
    for decimals in range(SHOWN_DECIMALS[unit], SHOWN_DECIMALS[unit] + 6):
        text = show_number(exact, decimals)
        if low <= Fraction(text) < high:
            return f"{text} {unit}"
    return show_pressure(pascals, unit)


def spoken_pressure(layout: Layout, volume: str, band: int, pascals: Fraction) -> str:
    """A real pressure for people: "41.98 psi", but "just below 42 psi" where more digits would be needed."""
    unit = layout.arrangement.unit
    text = real_pressure(layout, volume, band, pascals)
    _, _, digits = text.removesuffix(f" {unit}").partition(".")
    many = len(digits) > SHOWN_DECIMALS[unit] + _MORE_DECIMALS
    return f"just below {show_pressure(layout.high(volume, band), unit)}" if many else text


def show_condition(condition: Condition, unit: str) -> str:
    """A condition in words, e.g. "cavity is below 34..42 psi (release)"."""
    return _Words(unit).walk(condition)


class _Words(Walker[str]):
    """Conditions in words, a compound one in brackets where it is `inside` another. Negations stay where they are."""

    __slots__ = ("inside", "unit")

    def __init__(self, unit: str, *, inside: bool = False) -> None:
        self.unit = unit
        self.inside = inside

    def truth(self, node: Truth) -> str:
        return "always" if node.value else "never"

    def below(self, node: Below) -> str:
        return self._compared("is below", node)

    def at_least(self, node: AtLeast) -> str:
        return self._compared("is at least", node)

    def _compared(self, word: str, node: Below | AtLeast) -> str:
        name = f" ({plain(node.setting)})" if node.setting else ""
        return f"{plain(node.volume)} {word} {threshold(node.low, node.high, self.unit)}{name}"

    def lower(self, node: Lower) -> str:
        return f"{plain(node.volume)} is lower than {plain(node.other)}"

    def not_lower(self, node: NotLower) -> str:
        return f"{plain(node.volume)} is at least as high as {plain(node.other)}"

    def in_state(self, node: InState) -> str:
        return f"{plain(node.part)} is {enumerated(sorted(node.states), 'or')}"

    def not_in_state(self, node: NotInState) -> str:
        return f"{plain(node.part)} is not {enumerated(sorted(node.states), 'or')}"

    def in_position(self, node: InPosition) -> str:
        return f"{plain(node.control)} is {enumerated(sorted(node.positions), 'or')}"

    def not_in_position(self, node: NotInPosition) -> str:
        return f"{plain(node.control)} is not {enumerated(sorted(node.positions), 'or')}"

    def happened(self, node: Happened) -> str:
        return f"{plain(node.mishap)} has happened"

    def not_happened(self, node: NotHappened) -> str:
        return f"{plain(node.mishap)} has not happened"

    def negated(self, node: Not) -> str:
        if isinstance(node.item, AllOf | AnyOf):
            return f"not ({show_condition(node.item, self.unit)})"
        return show_condition(opposite(node.item), self.unit)

    def all_of(self, node: AllOf) -> str:
        return self._joined(node.items, " and ") if node.items else "always"

    def any_of(self, node: AnyOf) -> str:
        return self._joined(node.items, " or ") if node.items else "never"

    def _joined(self, items: tuple[Condition, ...], joint: str) -> str:
        several = len(items) > 1
        text = joint.join(map(_Words(self.unit, inside=several).walk, items))
        return f"({text})" if self.inside and several else text


def end_words(part: Part, end: str) -> str:
    """A passage end at a part: the port it is joined to, else the volume, the open air or the air source."""
    if end == ATMOSPHERE:
        return "open air"
    if end == SOURCE:
        return "air source"
    return plain(next((port for port, volume in part.ports if volume == end), end))


def passage_words(part: Part, passage: Passage) -> str:
    """A passage seen from its part: "supply → delivery" one way, "supply ↔ delivery" both ways."""
    ends = (passage.upstream, passage.downstream)
    vents = ATMOSPHERE in ends
    if passage.upstream == ATMOSPHERE:
        ends = (passage.downstream, passage.upstream)
    arrow = "→" if passage.one_way or vents else "↔"
    return f"{end_words(part, ends[0])} {arrow} {end_words(part, ends[1])}"


def size_words(size: Size) -> str:
    """A size as ISO 6358 writes it: "C 0.3 dm³/(s bar), b 0.3"."""
    c, b = (
        show_number(r.low, 4) if r.low == r.high else f"{show_number(r.low, 4)}..{show_number(r.high, 4)}"
        for r in (size.c, size.b)
    )
    return f"C {c} dm³/(s bar), b {b}"


def litres(volume: Volume) -> str:
    """A volume's size, e.g. "40 L" or "18..22 L"; "" when not given."""
    if volume.litres is None:
        return ""
    low, high = show_number(volume.litres.low, 2), show_number(volume.litres.high, 2)
    return f"{low} L" if low == high else f"{low}..{high} L"


def open_in(part: Part, state: str) -> tuple[Passage, ...]:
    """The passages that stand open while `part` is in `state`."""
    return tuple(passage for passage in part.passages if state in passage.open_in)


def consequences(part: Part, source: str, target: str) -> tuple[str, ...]:
    """What a move does to the passages: "opens supply → delivery", "closes delivery → open air", "widens inlet ↔ outlet"."""
    before, after = open_in(part, source), open_in(part, target)
    opened = {passage_words(part, p): p for p in after if p not in before}
    closed = {passage_words(part, p): p for p in before if p not in after}
    same = [f"{_resized(closed[words].size, opened[words].size)} {words}" for words in opened if words in closed]
    opens = [f"opens {words}" for words in opened if words not in closed]
    return (*same, *opens, *(f"closes {words}" for words in closed if words not in opened))


def _resized(before: Size | None, after: Size | None) -> str:
    """What happens to a way that stays open through another opening."""
    if before is not None and after is not None:
        if after.c.low > before.c.high:
            return "widens"
        if after.c.high < before.c.low:
            return "narrows"
    return "opens differently"


def setting_at(arrangement: Arrangement, volume: str, threshold: Fraction) -> str:
    """Names of the settings that `threshold` is an end of, among those some part compares with `volume`, or ""."""
    names: dict[str, None] = {}
    for atom in comparisons(*(move.when for part in arrangement.parts for move in part.moves)):
        if isinstance(atom, Below | AtLeast) and atom.volume == volume and atom.setting:
            if atom.low == atom.high == threshold:
                names[plain(atom.setting)] = None
            elif threshold in (atom.low, atom.high):
                end = "lowest" if threshold == atom.low else "highest"
                names[f"{end} of {plain(atom.setting)}"] = None
    return ", ".join(names)


def deed(event: Turned) -> str:
    """What the driver does, e.g. "pushes the trailer knob"."""
    act = _DEEDS.get(event.target)
    return f"{act} the {plain(event.control)}" if act else f"sets the {plain(event.control)} to {plain(event.target)}"


def deed_of(turn: Turn) -> str:
    """The same of a turn in a script."""
    return deed(Turned(turn.control, "", turn.position))


def event_words(layout: Layout, event: Event) -> str:
    """One event as a phrase a technician would use."""
    match event:
        case Turned(control=_, source=source, target=target):
            return f"driver {deed(event)} ({plain(source)} -> {plain(target)})"
        case Occurred(mishap):
            return f"{plain(mishap)} {verb(mishap, 'happens')}"
        case Moved(part, source, target):
            return f"{plain(part)} {verb(part, 'moves')} {plain(source)} -> {plain(target)}"
        case Crossed(volume, threshold, upward):
            name = setting_at(layout.arrangement, volume, threshold)
            way = f"{verb(volume, 'rises')} past" if upward else f"{verb(volume, 'falls')} below"
            mark = f" ({name})" if name else ""
            return f"{plain(volume)} {way} {show_pressure(threshold, layout.arrangement.unit)}{mark}"


def short_event(event: Turned | Occurred | Moved) -> str:
    """One event in the fewest words, for the list under a plot; crossings are what the plot shows."""
    match event:
        case Turned():
            return f"driver {deed(event)}"
        case Occurred(mishap):
            return plain(mishap)
        case Moved(part, _, target):
            return f"{plain(part)}: {plain(target)}"


def step_lead(step: Step) -> str:
    """The words a step opens with when its events alone do not say who or what makes it: "air flows: " or ""."""
    return "air flows: " if any(isinstance(event, Crossed) for event in step.events) else ""


def for_ever(story: Story) -> str:
    """How a run goes on that goes on for ever; nothing for another."""
    if story.loop is None:
        return ""
    if story.loop == len(story.steps):
        return "So it stays for ever."
    again = (
        f"step {story.loop + 1}"
        if story.loop + 1 == len(story.steps)
        else f"steps {story.loop + 1} to {len(story.steps)}"
    )
    return f"And so on for ever: {again} again and again."


def ending(finding: Finding) -> str:
    """What the last state of a finding's story shows, in one sentence."""
    return last_words(finding.says, broken=finding.verdict is Verdict.REFUTED)


def last_words(says: str, *, broken: bool) -> str:
    """What the last state of a story shows of a claim that says this: that it is broken, or that it can be."""
    return f"Claim broken: {says}" if broken else f"Shown: {says}"


def from_then_on(loop: int | None) -> str:
    """How a run goes on that goes round for ever from the state of this number on."""
    return f"From here on as from {'its start' if loop == 0 else f'after step {loop}'}, for ever."
