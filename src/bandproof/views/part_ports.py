"""A part's ports and settings as drawings show them: which side a port belongs to, and which way its air goes."""

from __future__ import annotations

from dataclasses import dataclass, replace

from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Part, Passage
from bandproof.model.conditions import AtLeast, Below, Condition, Lower, NotLower
from bandproof.model.graph import reachable
from bandproof.model.walker import comparisons
from bandproof.views.phrases import plain, threshold

_AIR = "open air"


@dataclass(frozen=True, slots=True)
class Port:
    """A part's port as drawn: `side` is where it sits (n where air comes in, s where it goes out), `way` how it goes.

    That is the arrow of its line: in, out, both, or none where it only senses.
    """

    key: str
    name: str
    volume: str
    side: str
    way: str


def settings_of(part: Part, unit: str) -> list[str]:
    """The settings in a part's guards, each once, in the order of its moves: "hold in: at least 45..55 psi"."""
    found: dict[str, dict[str, None]] = {}
    for atom in comparisons(*(move.when for move in part.moves)):
        if isinstance(atom, Below | AtLeast):
            name = plain(atom.setting) if atom.setting else "moves"
            word = "below" if isinstance(atom, Below) else "at least"
            found.setdefault(f"{name}: {{}} {threshold(atom.low, atom.high, unit)}", {})[word] = None
    return [text.format("at" if len(words) > 1 else next(iter(words))) for text, words in found.items()]


def ports_of(part: Part) -> tuple[Port, ...]:
    """The ports of a part, with the way to the open air as one more; sensed volumes without a port get one."""
    working = {end: None for p in part.passages for end in (p.upstream, p.downstream)}
    felt = {name: None for move in part.moves for name in sensed(move.when)}
    named = {volume: port for port, volume in reversed(part.ports)}
    ends = [*(v for _, v in part.ports), *(v for v in {**working, **felt} if v not in named)]
    found = []
    for index, volume in enumerate(dict.fromkeys(ends)):
        if volume in working:
            side, way = _placing(part.passages, volume)
        elif volume in felt:
            side, way = "n", "none"
        else:
            continue
        name = {ATMOSPHERE: _AIR, SOURCE: "air source"}.get(volume) or plain(named.get(volume, volume))
        found.append(Port(f"p{index}", name, volume, side, way))
    return tuple(found)


def sensed(condition: Condition) -> tuple[str, ...]:
    """The volumes whose pressure a condition asks for."""
    names: list[str] = []
    for atom in comparisons(condition):
        match atom:
            case Below(volume) | AtLeast(volume):
                names.append(volume)
            case Lower(volume, other) | NotLower(volume, other):
                names += [volume, other]
    return tuple(names)


def _placing(passages: tuple[Passage, ...], volume: str) -> tuple[str, str]:
    """The side a working port sits on and the arrow of its line; ways to the open air count only when alone."""
    if volume == ATMOSPHERE:
        return "s", "out"
    if volume == SOURCE:
        return "n", "in"
    at_port = [p for p in passages if volume in (p.upstream, p.downstream)]
    counted = [p for p in at_port if ATMOSPHERE not in (p.upstream, p.downstream)]
    if not counted:
        return "n", "in"
    gives = sum(p.upstream == volume for p in counted)
    takes = sum(p.downstream == volume for p in counted)
    side = "n" if gives >= takes else "s"
    if (gives and takes) or not all(p.one_way for p in counted):
        return side, "both"
    return side, "in" if gives else "out"


def untangled(name: str, own: tuple[Port, ...], ports: dict[str, tuple[Port, ...]]) -> tuple[Port, ...]:
    """The ports of one part, with those that sense a volume further down moved to its lower side.

    A pilot line that runs back up would turn the drawing upside down, since DOT ranks a loop where it first meets it.
    """
    onward: dict[str, set[str]] = {}
    for part, some in ports.items():
        for port in (p for p in some if p.way != "none"):
            tail, head = (port.volume, f"{part}:") if port.side == "n" else (f"{part}:", port.volume)
            onward.setdefault(tail, set()).add(head)
    below = reachable([f"{name}:"], lambda here: onward.get(here, ()))
    return tuple(replace(p, side="s") if p.way == "none" and p.volume in below else p for p in own)
