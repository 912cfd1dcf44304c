"""Arrangement files to arrangements: all faults of a file and of the files it extends at once, or the arrangement.

Loading reads files and nothing else; it never writes, and it never raises anything but `InputError` for what stands in
a file.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from bandproof.model.arrangement import Arrangement, Control, Mishap, Part, Setting, Size, Start
from bandproof.model.expand import expand
from bandproof.model.files import Merged, read_chain, read_file, read_text, tidy
from bandproof.model.kinds import KindDescription, catalogue, check_labels, kind_like, read_kind
from bandproof.model.measures import read_bands, read_pressure, read_setting, read_size, read_volume
from bandproof.model.names import Names, check_names
from bandproof.model.resolve import Meaning, Reach
from bandproof.model.schema import ControlShape
from bandproof.model.slips import warn_of_slips
from bandproof.model.starts import read_roles, read_starts
from bandproof.model.unused import warn_of_unused
from bandproof.text.errors import InputError
from bandproof.text.input_faults import Faults, Place
from bandproof.text.spans import SourceFile

#: The standard atmosphere in pascals absolute (ISO 2533:1975, and the exact value of the unit atm).
STANDARD_ATMOSPHERE = Fraction(101325)


@dataclass(frozen=True, slots=True)
class Outline:
    """What a file names, be it good or not: enough to check what claims say of it. None stands for what is faulty."""

    name: str
    names: Names
    roles: dict[str, Meaning | None]
    starts: tuple[str, ...]


def load_arrangement(
    path: Path,
    warnings: Faults | None = None,
    *,
    mentioned: Collection[str] = (),
    outlined: Callable[[Outline], None] | None = None,
) -> Arrangement:
    """The arrangement in the file at `path`; InputError with every fault found if there is none.

    What looks odd in it goes to `warnings`, if given. `mentioned` are words that rule packs use, so that none of them is
    taken for a name without use. `outlined` is called with what a faulty file names, as far as that can be told.
    """
    faults = Faults()
    read = read_file(path, faults)
    if read is None:
        faults.stop()
    return _load(*read, path, None, faults, warnings=warnings, mentioned=mentioned, outlined=outlined)


def content_hash(path: Path) -> str | None:
    """The `sha256` of the arrangement in the file at `path`, with all that it extends; None where there is none."""
    faults = Faults()
    try:
        read = read_file(path, faults)
        return None if read is None else read_chain(*read, path, None, faults).sha256
    except (InputError, OSError, RecursionError):
        return None


def load_arrangement_text(text: str, file: str = "<text>", *, base: Path | None = None) -> Arrangement:
    """The arrangement in `text`. `file` is its name in messages, `base` the folder in which `extends` is looked up."""
    faults = Faults()
    document = read_text(text, file, faults)
    if document is None:
        faults.stop()
    return _load(document, text.encode("utf-8", "surrogatepass"), None, base, faults)


def _load(
    document: SourceFile,
    data: bytes,
    path: Path | None,
    base: Path | None,
    faults: Faults,
    *,
    warnings: Faults | None = None,
    mentioned: Collection[str] = (),
    outlined: Callable[[Outline], None] | None = None,
) -> Arrangement:
    _refuse_pack(document, faults)
    merged = read_chain(document, data, path, base, faults)
    names = _names(merged, faults)
    kinds = _kinds(merged, names, faults)
    parts, settings, sizes = _parts(merged, names, kinds, faults)
    roles = read_roles(merged, names, faults)
    starts = read_starts(merged, names, roles, faults)
    if faults and outlined is not None:
        header = merged.arrangement.get("name")
        outlined(Outline((header and header.value) or document.file, names, roles, tuple(merged.starts)))
    faults.stop_if_any()
    if warnings is not None:
        warn_of_unused(merged, mentioned, warnings)
        warn_of_slips(merged, warnings)
    return _arrangement(merged, names, parts=parts, settings=settings, sizes=sizes, roles=roles, starts=starts)


def _refuse_pack(document: SourceFile, faults: Faults) -> None:
    """Stop at a rule pack or script that was given for an arrangement, before each of its keys is called unknown."""
    values = document.values
    if "script" in values and "arrangement" not in values:
        hint = f'name the arrangement first, as in "bandproof run MODEL {document.file}"'
        message = "this is a script, not an arrangement"
        faults.add("pack-for-arrangement", Place(document) / "script", message, hint=hint, key=True)
        faults.stop()
    if "pack" not in values or "arrangement" in values:
        return
    given = values["pack"].get("models") if isinstance(values["pack"], dict) else None
    named = given[0] if isinstance(given, list) and given and isinstance(given[0], str) else None
    model = "MODEL" if named is None else tidy(Path(document.file).parent / named).as_posix()
    hint = f'name the arrangement first, as in "bandproof prove {model} --properties {document.file}"'
    message = "this is a rule pack, not an arrangement"
    faults.add("pack-for-arrangement", Place(document) / "pack", message, hint=hint, key=True)
    faults.stop()


def _names(merged: Merged, faults: Faults) -> Names:
    """The registry of names, with everything in it that stands by itself."""
    names = Names(_header(merged, faults), check_names(merged, faults))
    reach = names.reach
    for name, setting in merged.settings.items():
        names.settings[name] = (
            None if setting.value is None else read_setting(name, setting.value, setting.place, reach, faults)
        )
    for name, size in merged.sizes.items():
        names.sizes[name] = None if size.value is None else read_size(name, size.value, size.place, faults)
    for name, volume in merged.volumes.items():
        names.volumes[name] = None if volume.value is None else read_volume(name, volume.value, volume.place, faults)
    names.bands.update(read_bands(merged.bands, names.settings, reach, faults))
    for name, control in merged.controls.items():
        names.controls[name] = None if control.value is None else _control(name, control.value, control.place, faults)
    for name, mishap in merged.mishaps.items():
        names.mishaps[name] = None if mishap.value is None else Mishap(name, mishap.value.says)
    return names


def _header(merged: Merged, faults: Faults) -> Reach:
    """The highest pressure, and the unit in which messages are written; what must be in [arrangement] is."""
    given, place = merged.arrangement, Place(merged.top)
    examples = {"name": '"two-knob tractor"', "unit": '"psi"', "highest": '"150 psi"'}
    for key, example in examples.items():
        if key not in given and isinstance(merged.top.values.get("arrangement", {}), dict):
            inside = place / "arrangement" if "arrangement" in merged.top.values else place
            faults.add("missing-key", inside, f'arrangement has no "{key}"', hint=f"add {key} = {example}", key=True)
    name = given.get("name")
    if name is not None and name.value is not None and not name.value.strip():
        faults.add("empty-text", name.place, "the arrangement's name is empty", hint="write a name")
    unit_entry = given.get("unit")
    unit = unit_entry.value if unit_entry and unit_entry.value in {"psi", "kPa", "bar", "MPa"} else "kPa"
    highest = None
    entry = given.get("highest")
    if entry is not None and entry.value is not None:
        highest = read_pressure(entry.value, entry.place, faults)
        if highest is not None and highest <= 0:
            message = f'the highest pressure "{entry.value}" is not above zero'
            faults.add("pressure-not-positive", entry.place, message, hint="write a gauge pressure above zero")
            highest = None
    _atmosphere(merged, faults)
    return Reach(highest, unit or "kPa")


def _atmosphere(merged: Merged, faults: Faults) -> Fraction:
    entry = merged.arrangement.get("atmosphere")
    if entry is None or entry.value is None:
        return STANDARD_ATMOSPHERE
    pressure = read_pressure(entry.value, entry.place, faults)
    if pressure is not None and pressure <= 0:
        message = f'the atmosphere "{entry.value}" is not above zero'
        faults.add("pressure-not-positive", entry.place, message, hint="write its absolute pressure")
    return pressure or STANDARD_ATMOSPHERE


def _control(name: str, shape: ControlShape, place: Place, faults: Faults) -> Control | None:
    before = len(faults)
    if len(shape.positions) < 2:
        message = f'control "{name}" has {"only one position" if shape.positions else "no position"}'
        faults.add("too-few-positions", place / "positions", message, hint="a control has two positions or more")
    check_labels(shape.positions, "position", place / "positions", faults)
    return Control(name, tuple(shape.positions), shape.says) if len(faults) == before else None


def _kinds(merged: Merged, names: Names, faults: Faults) -> dict[str, KindDescription | None]:
    """Kinds by name: the catalogue's and the arrangement's own."""
    kinds: dict[str, KindDescription | None] = {kind.name: kind for kind in catalogue()}
    shared = set(kinds)
    for name, entry in merged.kinds.items():
        if name in shared:
            message = f'the kind "{name}" is in the catalogue already'
            hint = "choose another name, so that nobody takes it for the catalogue's"
            faults.add("kind-shadows-catalogue", entry.place, message, hint=hint, key=True)
        kinds[name] = read_kind(name, entry, faults, own=True)
    for name, part in merged.parts.items():
        kind = None if part.value is None else kinds.get(part.value.kind)
        if part.value is not None and part.value.kind not in kinds:
            hint = kind_like(part.value.kind, (kind for kind in kinds.values() if kind is not None))
            message = f'there is no kind "{part.value.kind}"'
            faults.add("unknown-kind", part.place / "kind", message, hint=hint)
        names.states[name] = None if kind is None else _first(kind.states, part.value.starts_in if part.value else None)
    return kinds


def _first(states: tuple[str, ...], first: str | None) -> tuple[str, ...]:
    """The states with `first` in front, if it is one of them."""
    return (first, *(state for state in states if state != first)) if first in states else states


def _parts(
    merged: Merged, names: Names, kinds: dict[str, KindDescription | None], faults: Faults
) -> tuple[tuple[Part, ...], tuple[Setting, ...], tuple[Size, ...]]:
    """All parts, and the settings and sizes written at them."""
    parts: list[Part] = []
    settings: list[Setting] = []
    sizes: list[Size] = []
    for name, entry in merged.parts.items():
        shape = entry.value
        kind = None if shape is None else kinds.get(shape.kind)
        if shape is None or kind is None:
            continue
        expanded = expand(name, shape, entry.place, kind, names=names, faults=faults)
        parts += [] if expanded.part is None else [expanded.part]
        settings += expanded.settings
        sizes += expanded.sizes
    return tuple(parts), tuple(settings), tuple(sizes)


def _arrangement(
    merged: Merged,
    names: Names,
    *,
    parts: tuple[Part, ...],
    settings: tuple[Setting, ...],
    sizes: tuple[Size, ...],
    roles: dict[str, Meaning | None],
    starts: tuple[Start, ...],
) -> Arrangement:
    header = {key: entry.value or "" for key, entry in merged.arrangement.items()}
    return Arrangement(
        name=header["name"],
        unit=names.reach.unit,
        atmosphere=_atmosphere(merged, Faults()),
        highest=names.reach.highest or Fraction(0),
        volumes=tuple(one for one in names.volumes.values() if one is not None),
        parts=parts,
        controls=tuple(one for one in names.controls.values() if one is not None),
        mishaps=tuple(one for one in names.mishaps.values() if one is not None),
        settings=(*(one for one in names.settings.values() if one is not None), *settings),
        sizes=(*(one for one in names.sizes.values() if one is not None), *sizes),
        bands=tuple(one for one in names.bands.values() if one is not None),
        starts=starts,
        roles={role: meaning.names for role, meaning in roles.items() if meaning is not None},
        says=header.get("says", ""),
        caution=header.get("caution", ""),
        leaves_out=header.get("leaves_out", ""),
        file=merged.top.file,
        sha256=merged.sha256,
        places=_places(merged),
    )


def _places(merged: Merged) -> dict[tuple[str, str], Place]:
    """Where every entry stands, by table and name, and the top of the file."""
    tables = ("bands", "settings", "sizes", "volumes", "controls", "mishaps", "parts", "roles", "starts")
    found = {(table, name): entry.place for table in tables for name, entry in getattr(merged, table).items()}
    return {("", ""): Place(merged.top), **found}
