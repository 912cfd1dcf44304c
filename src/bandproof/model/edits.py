"""Edits of an arrangement: pure functions from an arrangement to another, for faults, margins and comparisons.

They work on the frozen values, kinds expanded, and give what a file with that change would give. Each keeps the file's
name and places, so that a message about the edited arrangement still shows where the thing edited stands, and changes
`sha256`, so that nothing found on one is taken for a finding on the other. Claims are applied to an arrangement after
its edits, so what they say of settings, roles and bands follows by itself.

Every function raises InputError, with the arrangement's file, for a name it does not have or a value no file could give.
Pressures are gauge, in exact pascals; sizes are as in ISO 6358: C in dm3/(s bar), b without unit.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction

from bandproof.model.arrangement import (
    ATMOSPHERE,
    SOURCE,
    Arrangement,
    Mishap,
    Move,
    NamedBand,
    Part,
    Passage,
    Range,
    Setting,
    Size,
    Start,
)
from bandproof.model.conditions import ALWAYS_TRUE, Happened
from bandproof.model.editing import Edit, following, forgetting, needs_exact, watches, without_own
from bandproof.terms.names import RESERVED, is_name, listed, suggest
from bandproof.text.units import show_number, show_pressure, show_pressures

#: The one state of a part that is nothing but an added passage.
_OPEN = frozenset({"open"})


# ---------------------------------------------------------------------------------------------- settings and sizes


def change_setting(arrangement: Arrangement, name: str, low: Fraction, high: Fraction | None = None) -> Arrangement:
    """The setting exactly `low`, or anywhere in `low..high`, wherever it is used: guards, named bands, starts."""
    high = low if high is None else high
    edit = Edit(arrangement, "change setting", name, low, high)
    return _set(edit, edit.setting(name), low, high)


def widen_setting(arrangement: Arrangement, name: str, by: Fraction) -> Arrangement:
    """The setting's lower end `by` pascals lower and its upper end as much higher; a negative `by` narrows it."""
    edit = Edit(arrangement, "widen setting", name, by)
    setting = edit.setting(name)
    return _set(edit, setting, setting.low - by, setting.high + by)


def _set(edit: Edit, old: Setting, low: Fraction, high: Fraction) -> Arrangement:
    base, setting = edit.base, replace(old, low=low, high=high)
    _check_pressures(edit, old, setting)
    bands = tuple(_band(edit, band, setting) for band in base.bands)
    for start in base.starts:
        if low != high and needs_exact(start.where, old.name):
            message = f'the setting "{old.name}" would have a tolerance, and start "{start.name}" compares with it'
            hint = f'write "lowest of {old.name}" or "highest of {old.name}" in the start'
            edit.fault("setting-not-exact", ("starts", start.name), message, hint=hint)
    return edit.result(
        settings=tuple(setting if one.name == old.name else one for one in base.settings),
        bands=bands,
        parts=tuple(_reset(part, setting) for part in base.parts),
        starts=edit.starts(lambda start: replace(start, where=following(start.where, setting))),
    )


def _reset(part: Part, setting: Setting) -> Part:
    return replace(part, moves=tuple(replace(move, when=following(move.when, setting)) for move in part.moves))


def _check_pressures(edit: Edit, old: Setting, new: Setting) -> None:
    unit, highest, at = edit.base.unit, edit.base.highest, ("settings", old.name)
    note = f"it is {show_pressures(old.low, old.high, unit)}"
    wanted = f'the setting "{old.name}" cannot be {show_pressure(new.low, unit)}'
    wanted += "" if new.low == new.high else f" to {show_pressure(new.high, unit)}"
    if new.low > new.high:
        edit.fault(
            "range-reversed", at, f"{wanted}: that runs from high to low", hint="give the lower end first", note=note
        )
    elif new.low <= 0:
        hint = "every value of a setting must be above zero (gauge)"
        edit.fault("setting-not-positive", at, f"{wanted}: that is not above zero", hint=hint, note=note)
    elif new.high > highest or new.low >= highest:
        message = f"{wanted}: the highest pressure is {show_pressure(highest, unit)}"
        edit.fault("setting-above-highest", at, message, hint="keep the setting below the highest pressure", note=note)


def _band(edit: Edit, band: NamedBand, setting: Setting) -> NamedBand:
    """The band with its ends at the setting, if it ends there."""
    at, ends = ("bands", band.name), (band.low_setting, band.high_setting)
    if setting.name not in ends:
        return band
    if setting.low != setting.high:
        message = f'the setting "{setting.name}" would have a tolerance, and band "{band.name}" ends there'
        edit.fault("setting-not-exact", at, message, hint="write the pressure itself in the band")
        return band
    low, high = (
        setting.low if of == setting.name else end for of, end in zip(ends, (band.low, band.high), strict=True)
    )
    if low is not None and high is not None and low >= high:
        unit = edit.base.unit
        message = (
            f'band "{band.name}" would hold no pressure: {show_pressure(low, unit)} to {show_pressure(high, unit)}'
        )
        edit.fault("band-empty", at, message, hint=f'keep "{setting.name}" inside the other end of the band')
    return replace(band, low=low, high=high)


def change_size(arrangement: Arrangement, name: str, *, c: Range | None = None, b: Range | None = None) -> Arrangement:
    """The size with another C, another b or both, at every passage that has it. An exact one is a range of one number."""
    edit = Edit(arrangement, "change size", name, c, b)
    old = edit.size(name)
    size = Size(c or old.c, b or old.b, name)
    _check_size(edit, size)
    return edit.result(
        sizes=tuple(size if one.name == name else one for one in arrangement.sizes),
        parts=tuple(_resize(part, size) for part in arrangement.parts),
    )


def _resize(part: Part, size: Size) -> Part:
    same = [replace(one, size=size) if one.size and one.size.name == size.name else one for one in part.passages]
    return replace(part, passages=tuple(same))


def _check_size(edit: Edit, size: Size) -> None:
    at = ("sizes", size.name)
    for letter, one in (("C", size.c), ("b", size.b)):
        if one.low > one.high:
            message = f'{letter} = {_shown(one)} of size "{size.name}" runs from high to low'
            edit.fault("range-reversed", at, message, hint="give the lower end first")
    if size.c.low <= 0:
        message = f'C = {_shown(size.c)} of size "{size.name}" is not above zero'
        edit.fault("size-not-positive", at, message, hint="leave the size out if it is not known, or block the passage")
    if size.b.low < 0 or size.b.high >= 1:
        message = f'b = {_shown(size.b)} of size "{size.name}" is not between 0 and 1'
        edit.fault("ratio-out-of-range", at, message, hint="b is at least 0 and below 1 (ISO 6358)")


def _shown(one: Range) -> str:
    ends = [show_number(end, 4) for end in (one.low, one.high)]
    return ends[0] if one.low == one.high else "..".join(ends)


def _new_size(edit: Edit, size: Size, otherwise: str) -> Size:
    """The size of a passage to be, named `otherwise` if it has no name; one of a known name must be that one."""
    size = size if size.name else replace(size, name=otherwise)
    _check_size(edit, size)
    known = [one for one in edit.base.sizes if one.name == size.name]
    if known and known[0] != size:
        message = f'there is another size "{size.name}": C = {_shown(known[0].c)}, b = {_shown(known[0].b)}'
        edit.fault("name-twice", ("sizes", size.name), message, hint="give the new size another name")
    return size


def _sizes_with(sizes: tuple[Size, ...], size: Size | None) -> tuple[Size, ...]:
    return sizes if size is None or size in sizes else (*sizes, size)


# ------------------------------------------------------------------------------------------------------------ parts


def remove_part(arrangement: Arrangement, name: str) -> Arrangement:
    """The arrangement without the part, with what is written at it, and without it in roles and starts.

    A role that nobody else plays goes too, and with it every claim that speaks of it. InputError where another part's
    moves watch it.
    """
    edit = Edit(arrangement, "remove part", name)
    part = edit.part(name)
    for other in arrangement.parts:
        if other.name != name and any(watches(move.when, name) for move in other.moves):
            message = f'part "{name}" cannot go: the moves of "{other.name}" watch it'
            hint = f'remove "{other.name}" first, or jam "{name}" in a state'
            edit.fault("unknown-part", ("parts", other.name), message, hint=hint)
    roles = {role: tuple(one for one in players if one != name) for role, players in arrangement.roles.items()}
    return edit.result(
        parts=tuple(one for one in arrangement.parts if one.name != name),
        settings=without_own(arrangement.settings, name),
        sizes=without_own(arrangement.sizes, name),
        roles={role: players for role, players in roles.items() if players},
        starts=edit.starts(lambda start: _freed(start, part)),
    )


def _freed(start: Start, part: Part) -> Start:
    """The start without what it says of the part."""
    others = tuple((name, states) for name, states in start.parts if name != part.name)
    return replace(start, parts=others, where=forgetting(start.where, part))


def bypass_part(
    arrangement: Arrangement, name: str, inlet: str, outlet: str, *, size: Size | None = None
) -> Arrangement:
    """The part's ports `inlet` and `outlet` joined both ways for good, and nothing else left of it.

    Its states keep their names, so that starts and claims may still speak of them, but it never leaves the one it
    starts in and air passes in all of them.
    """
    edit = Edit(arrangement, "bypass part", name, inlet, outlet, size)
    part = edit.part(name)
    ends = (edit.port(part, inlet), edit.port(part, outlet))
    if inlet == outlet:
        message = f'a bypass of part "{name}" has two ends, and both are "{inlet}"'
        edit.fault("passage-ends", ("parts", name), message, hint="name two different ports")
    size = None if size is None else _new_size(edit, size, f"{name}.bypass")
    joined = (Passage(*ends, one_way=False, open_in=frozenset(part.states), size=size),)
    # Two ports on one volume are joined already.
    passages = joined if ends[0] != ends[1] else ()
    ports = tuple(zip((inlet, outlet), ends, strict=True))
    own = without_own(arrangement.sizes, name, kept="" if size is None else size.name)
    return edit.result(
        parts=edit.with_part(replace(part, passages=passages, moves=(), ports=ports, slow=False, reaction=None)),
        settings=without_own(arrangement.settings, name),
        sizes=_sizes_with(own, size),
    )


def jam_part(arrangement: Arrangement, name: str, state: str) -> Arrangement:
    """The part in `state` from every start on, with no move to leave it by."""
    edit = Edit(arrangement, "jam part", name, state)
    part = edit.part(name)
    edit.state(part, state)
    states = (state, *(one for one in part.states if one != state))
    return edit.result(
        parts=edit.with_part(replace(part, states=states, moves=())),
        starts=edit.starts(lambda start: _standing(start, part, state)),
    )


def _standing(start: Start, part: Part, state: str) -> Start:
    """The start with the part in `state`, whatever it said of it."""
    here = frozenset({state})
    parts = tuple((name, here if name == part.name else states) for name, states in start.parts)
    if all(name != part.name for name, _ in parts):
        parts = (*parts, (part.name, here))
    return replace(start, parts=parts, where=forgetting(start.where, part))


def remove_move(arrangement: Arrangement, name: str, source: str, target: str, which: int = 1) -> Arrangement:
    """The part without a move from `source` to `target`: the `which`-th of them, counted from 1; else InputError."""
    edit = Edit(arrangement, "remove move", name, source, target, which)
    part = edit.part(name)
    edit.state(part, source)
    edit.state(part, target)
    found = [place for place, move in enumerate(part.moves) if (move.source, move.target) == (source, target)]
    if not 1 <= which <= len(found):
        reached = dict.fromkeys(move.target for move in part.moves if move.source == source)
        count = {0: "no move", 1: "one move"}.get(len(found), f"{len(found)} moves")
        message = f'part "{name}" has {count} from "{source}" to "{target}"'
        message += f", so there is no number {which}" if found else ""
        hint = f'from "{source}" it moves to {listed(reached)}' if reached else f'from "{source}" it never moves'
        edit.fault("unknown-state", ("parts", name), message, hint=hint)
        raise edit.error()
    gone = found[which - 1]
    moves = tuple(move for place, move in enumerate(part.moves) if place != gone)
    return edit.result(parts=edit.with_part(replace(part, moves=moves)))


# --------------------------------------------------------------------------------------------------------- passages


def add_passage(
    arrangement: Arrangement,
    name: str,
    upstream: str,
    downstream: str,
    *,
    one_way: bool = False,
    size: Size | None = None,
) -> Arrangement:
    """A new part `name` that is nothing but a passage, always open: a leak, or a pipe between two volumes.

    The ends are volumes, and one of them may be ATMOSPHERE or SOURCE, where air goes one way only. Without `size` the
    passage may have any.
    """
    edit = Edit(arrangement, "add passage", name, upstream, downstream, one_way, size)
    _check_new_name(edit, name, "part")
    _check_ends(edit, upstream, downstream, one_way=one_way)
    one_way = one_way or bool({upstream, downstream} & {ATMOSPHERE, SOURCE})
    if upstream == ATMOSPHERE or downstream == SOURCE:
        upstream, downstream = downstream, upstream
    size = None if size is None else _new_size(edit, size, f"{name}.bore")
    slots = ("inlet", "outlet") if one_way else ("one_end", "other_end")
    pairs = zip(slots, (upstream, downstream), strict=True)
    ports = tuple((port, end) for port, end in pairs if end not in {ATMOSPHERE, SOURCE})
    part = Part(name, "passage", tuple(_OPEN), (Passage(upstream, downstream, one_way, _OPEN, size),), ports=ports)
    return edit.result(
        parts=(*arrangement.parts, part),
        sizes=_sizes_with(arrangement.sizes, size),
        starts=edit.starts(lambda start: _with_new(start, name)),
    )


def _with_new(start: Start, name: str) -> Start:
    """The start with the new part in it, if it is one that lists every part."""
    return replace(start, parts=(*start.parts, (name, _OPEN))) if start.where == ALWAYS_TRUE else start


def _check_ends(edit: Edit, upstream: str, downstream: str, *, one_way: bool) -> None:
    volumes = [volume.name for volume in edit.base.volumes]
    for end in (upstream, downstream):
        if end not in {*volumes, ATMOSPHERE, SOURCE}:
            hint = suggest(end, [*volumes, ATMOSPHERE, SOURCE], among="an end is one of")
            edit.fault("unknown-volume", ("", ""), f'there is no volume "{end}"', hint=hint)
    if upstream == downstream or {upstream, downstream} == {ATMOSPHERE, SOURCE}:
        message = f'a passage from "{upstream}" to "{downstream}" joins nothing'
        edit.fault("passage-ends", ("", ""), message, hint="name two ends, at least one of them a volume")
    elif one_way and (upstream == ATMOSPHERE or downstream == SOURCE):
        message = f"no air ever flows {'from the atmosphere' if upstream == ATMOSPHERE else 'into a source'}"
        edit.fault("passage-direction", ("", ""), message, hint="exchange the two ends")


def block_passage(arrangement: Arrangement, name: str, upstream: str, downstream: str) -> Arrangement:
    """The part's passages from `upstream` to `downstream` shut in every state; those both ways in either order.

    The ends are ports of the part, ATMOSPHERE or SOURCE. A passage that is shut for good stays in the part, so that
    blocking it again changes nothing.
    """
    edit = Edit(arrangement, "block passage", name, upstream, downstream)
    part = edit.part(name)
    ends = tuple(edit.port(part, end, besides=(ATMOSPHERE, SOURCE)) for end in (upstream, downstream))
    passages = tuple(replace(one, open_in=frozenset()) if _joins(one, ends) else one for one in part.passages)
    if not any(_joins(one, ends) for one in part.passages):
        ports = {volume: port for port, volume in part.ports}
        known = [" to ".join(ports.get(end, end) for end in (one.upstream, one.downstream)) for one in part.passages]
        message = f'part "{name}" has no passage from "{upstream}" to "{downstream}"'
        hint = f"its passages are {listed(dict.fromkeys(known), most=12)}" if known else "it has no passage at all"
        edit.fault("unknown-port", ("parts", name), message, hint=hint)
    return edit.result(parts=edit.with_part(replace(part, passages=passages)))


def _joins(passage: Passage, ends: tuple[str, ...]) -> bool:
    way = (passage.upstream, passage.downstream)
    return way == ends or (not passage.one_way and way == ends[::-1])


# ---------------------------------------------------------------------------------------------------------- mishaps


def add_mishap(
    arrangement: Arrangement, name: str, *, moves: Iterable[tuple[str, str, str]] = (), says: str = ""
) -> Arrangement:
    """A new mishap, and moves that are due once it has happened: each a part, the state it leaves and the one it takes.

    It plays no role, so a claim that lists its mishaps does not meet it; a claim that lists none does.
    """
    moves = tuple(moves)
    edit = Edit(arrangement, "add mishap", name, *moves)
    _check_new_name(edit, name, "mishap")
    added: dict[str, tuple[Move, ...]] = {}
    for owner, source, target in moves:
        part = edit.part(owner)
        edit.state(part, source)
        edit.state(part, target)
        if source == target:
            message = f'a move of part "{owner}" would lead from "{source}" to "{source}" itself'
            edit.fault("move-to-itself", ("parts", owner), message, hint="name another state")
        added[owner] = (*added.get(owner, ()), Move(source, target, Happened(name)))
    parts = (replace(part, moves=(*part.moves, *added.get(part.name, ()))) for part in arrangement.parts)
    return edit.result(mishaps=(*arrangement.mishaps, Mishap(name, says)), parts=tuple(parts))


def _check_new_name(edit: Edit, name: str, noun: str) -> None:
    base = edit.base
    taken: dict[str, str] = {one.name: "volume" for one in base.volumes}
    taken |= {one.name: "part" for one in base.parts} | {one.name: "control" for one in base.controls}
    taken |= {one.name: "mishap" for one in base.mishaps} | {one.name: "setting" for one in base.settings}
    if not is_name(name):
        hint = "use letters, digits and underscores, beginning with a letter"
        edit.fault("bad-name", ("", ""), f'"{name}" cannot be the name of a {noun}', hint=hint)
    elif name in RESERVED or name in {ATMOSPHERE, SOURCE}:
        message = f'"{name}" has a meaning of its own and cannot be the name of a {noun}'
        edit.fault("reserved-word", ("", ""), message, hint="choose another name")
    elif name in taken:
        hint = f"give the new {noun} another name"
        edit.fault("name-twice", (f"{taken[name]}s", name), f'"{name}" names a {taken[name]} already', hint=hint)
