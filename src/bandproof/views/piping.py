"""The piping drawing: volumes, parts, what joins them, and where a part's settings are written.

The signs follow ISO 1219-1 where DOT can draw them: a solid line carries working air, a dashed line only senses
(pilot), a double line is a mechanical link, a reservoir has round ends, an open triangle on a port is the way to the
open air, a circle is the air source. It shows what is joined to what, not where things sit on a vehicle.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement, Control, Part, Passage, Volume, VolumeKind
from bandproof.model.conditions import (
    AtLeast,
    Below,
    Condition,
    Happened,
    InPosition,
    InState,
    Lower,
    NotHappened,
    NotInPosition,
    NotInState,
    NotLower,
)
from bandproof.model.graph import reachable
from bandproof.model.walker import comparisons, leaves
from bandproof.text.units import show_pressure
from bandproof.views import dot
from bandproof.views.phrases import litres, open_in, passage_words, plain, threshold

#: Signs in a line of a part's box, of a volume and of a port: wide enough for most names, narrow enough for a dozen
#: columns in a picture 1400 pixels wide.
_PART_WIDTH = 30
_VOLUME_WIDTH = 15
_PORT_WIDTH = 9

_AIR = "open air"

#: Two lines side by side, the sign of a mechanical link.
_DOUBLE = "black:invis:black"

_LEGEND = (
    "solid line: working air",
    "(arrow: one way only; none: both ways)",
    "dashed line: only senses pressure (pilot)",
    "double line: knob, rod or wire (arrow: what obeys); double frame: driver's control",
    "dotted line: what a mishap acts on",
    "open triangle: to the open air",
    "square corners: part; thick round ends: tank",
    "ellipse: chamber; thin round ends: line",
)


@dataclass(frozen=True, slots=True)
class _Port:
    """A part's port as drawn: `side` is where it sits (n or s), `way` the arrow of its line (in, out, both, none)."""

    key: str
    name: str
    volume: str
    side: str
    way: str


def piping_dot(arrangement: Arrangement, *, legend: bool = True) -> str:
    """The piping drawing of an arrangement as DOT text, air running from top to bottom."""
    heading = {"label": dot.label([arrangement.name]), "labelloc": "t", "labeljust": "l", "margin": "0.1"}
    drawing = dot.picture(arrangement.name, nodesep="0.2", ranksep="0.28", **heading)
    for volume in arrangement.volumes:
        _draw_volume(drawing, volume)
    if any(SOURCE in (p.upstream, p.downstream) for part in arrangement.parts for p in part.passages):
        rows = ["air", "source", f"up to {show_pressure(arrangement.highest, arrangement.unit)}"]
        drawing.node("source", dot.label(rows), shape="circle", margin="0", fontsize="9")
    for control in arrangement.controls:
        _draw_control(drawing, control)
    for mishap in arrangement.mishaps:
        rows = ["mishap:", *dot.lines(plain(mishap.name), _VOLUME_WIDTH)]
        drawing.node(_mishap(mishap.name), dot.label(rows), shape="hexagon", fontsize="10", margin="0")
    ports = {part.name: _ports(part) for part in arrangement.parts}
    ports = {name: _untangled(name, own, ports) for name, own in ports.items()}
    for part in arrangement.parts:
        _draw_part(drawing, part, ports[part.name], arrangement.unit)
        _draw_pipes(drawing, part.name, ports[part.name])
        _draw_commands(drawing, part)
    _draw_links(drawing, arrangement.parts)
    if legend:
        drawing.node("legend", dot.label(_LEGEND, "l"), shape="plaintext", fontsize="10")
    return dot.text(drawing)


def _draw_volume(drawing: dot.Picture, volume: Volume) -> None:
    rows = dot.lines(plain(volume.name), _VOLUME_WIDTH)
    if volume.kind is VolumeKind.LINE:
        shape = {"shape": "box", "style": "rounded", "penwidth": "0.6", "margin": "0.09,0.03", "height": "0.28"}
        drawing.node(_volume(volume.name), dot.label(rows), fontsize="11", **shape)
        return
    known = [] if volume.kind in plain(volume.name).split() else [str(volume.kind)]
    rows += [", ".join([*known, *filter(None, [litres(volume)])])] if known or volume.litres else []
    if volume.kind is VolumeKind.CHAMBER:
        shape = {"shape": "ellipse", "penwidth": "1.4", "margin": "0"}
    else:
        shape = {"shape": "box", "style": "rounded", "penwidth": "2.6", "margin": "0.14,0.08", "height": "0.6"}
    drawing.node(_volume(volume.name), dot.label(rows), fontsize="11", **shape)


def _draw_control(drawing: dot.Picture, control: Control) -> None:
    title = dot.lines(plain(control.name).upper(), _PART_WIDTH)
    rows = [*title, *dot.lines(" / ".join(plain(p) for p in control.positions), _PART_WIDTH)]
    drawing.node(_control(control.name), dot.label(rows), shape="box", peripheries="2", fontsize="10", height="0.3")


def _draw_part(drawing: dot.Picture, part: Part, ports: tuple[_Port, ...], unit: str) -> None:
    title = [*dot.lines(plain(part.name).upper(), _PART_WIDTH), *dot.lines(plain(part.kind), _PART_WIDTH)]
    settings = [row for text in _settings(part, unit) for row in dot.lines(text, _PART_WIDTH)]
    inside = [dot.field(rows, how) for rows, how in ((title, "n"), (_inside(part), "l"), (settings, "l")) if rows]
    fields = [field for field in (_row(ports, "n"), *inside, _row(ports, "s")) if field]
    drawing.node(
        _part(part.name), dot.record(fields), shape="record", fontsize="10", penwidth="1.2", margin="0.07,0.03"
    )


def _row(ports: tuple[_Port, ...], side: str) -> str:
    fields = [dot.field(dot.lines(p.name, _PORT_WIDTH), "n", p.key) for p in ports if p.side == side]
    return f"{{{'|'.join(fields)}}}" if fields else ""


def _inside(part: Part) -> list[str]:
    """Which passages are open in each state, one short paragraph per state."""
    steady = all(passage.open_in >= set(part.states) for passage in part.passages)
    if steady and part.passages:
        return [row for p in part.passages for row in dot.lines(f"always {passage_words(part, p)}", _PART_WIDTH)]
    rows = []
    for state in part.states:
        ways = [passage_words(part, passage) for passage in open_in(part, state)] or ["all closed"]
        line = f"{plain(state)}: {ways[0]}"
        if len(ways) == 1 and len(line) <= _PART_WIDTH:
            rows.append(line)
        else:
            rows.append(f"{plain(state)}:")
            rows += [dot.INDENT + row for way in ways for row in dot.lines(way, _PART_WIDTH - 2, dot.INDENT)]
    return rows


def _settings(part: Part, unit: str) -> list[str]:
    """The settings in a part's guards, each once, in the order of its moves: "hold in: at least 45..55 psi"."""
    found: dict[str, dict[str, None]] = {}
    for atom in comparisons(*(move.when for move in part.moves)):
        if isinstance(atom, Below | AtLeast):
            name = plain(atom.setting) if atom.setting else "moves"
            word = "below" if isinstance(atom, Below) else "at least"
            found.setdefault(f"{name}: {{}} {threshold(atom.low, atom.high, unit)}", {})[word] = None
    return [text.format("at" if len(words) > 1 else next(iter(words))) for text, words in found.items()]


def _ports(part: Part) -> tuple[_Port, ...]:
    """The ports of a part, with the way to the open air as one more; sensed volumes without a port get one."""
    working = {end: None for p in part.passages for end in (p.upstream, p.downstream)}
    sensed = {name: None for move in part.moves for name in _sensed(move.when)}
    named = {volume: port for port, volume in reversed(part.ports)}
    ends = [*(v for _, v in part.ports), *(v for v in {**working, **sensed} if v not in named)]
    found = []
    for index, volume in enumerate(dict.fromkeys(ends)):
        if volume in working:
            side, way = _placing(part.passages, volume)
        elif volume in sensed:
            side, way = "n", "none"
        else:
            continue
        name = {ATMOSPHERE: _AIR, SOURCE: "air source"}.get(volume) or plain(named.get(volume, volume))
        found.append(_Port(f"p{index}", name, volume, side, way))
    return tuple(found)


def _sensed(condition: Condition) -> tuple[str, ...]:
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


def _untangled(name: str, own: tuple[_Port, ...], ports: dict[str, tuple[_Port, ...]]) -> tuple[_Port, ...]:
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


def _draw_pipes(drawing: dot.Picture, part: str, ports: tuple[_Port, ...]) -> None:
    """The lines from a part's ports to volumes, the source and the open air."""
    for port in ports:
        here = f"{_part(part)}:{port.key}:{port.side}"
        if port.volume == ATMOSPHERE:
            vent = dot.identifier("vent", part)
            drawing.node(vent, "", shape="invtriangle", width="0.24", height="0.2", fixedsize="true")
            drawing.edge(here, vent, dir="none")
            continue
        there = "source" if port.volume == SOURCE else _volume(port.volume)
        ends = (there, here) if port.side == "n" else (here, there)
        style = {"style": "dashed"} if port.way == "none" else {"penwidth": "1.4"}
        along = "in" if port.side == "n" else "out"
        way = "none" if port.way in ("none", "both") else "forward" if port.way == along else "back"
        drawing.edge(*ends, dir=way, **style)


def _draw_commands(drawing: dot.Picture, part: Part) -> None:
    """What else decides a part's moves: controls by a mechanical link, mishaps by a dotted line."""
    found: dict[str, dict[str, str]] = {}
    for leaf in leaves(*(move.when for move in part.moves)):
        if isinstance(leaf, InPosition | NotInPosition):
            found[_control(leaf.control)] = {"color": _DOUBLE, "dir": "none"}
        elif isinstance(leaf, Happened | NotHappened):
            found[_mishap(leaf.mishap)] = {"style": "dotted", "penwidth": "1.4"}
    for tail, style in found.items():
        drawing.edge(tail, _part(part.name), **style)


def _draw_links(drawing: dot.Picture, parts: tuple[Part, ...]) -> None:
    """Rods and wires between parts, each through a small node above both; the arrow points to the part that obeys.

    A direct line would be lost wherever the two come to stand side by side: DOT draws no edge between neighbouring
    record nodes of one rank.
    """
    read = {
        (p.name, leaf.part)
        for p in parts
        for leaf in leaves(*(m.when for m in p.moves))
        if isinstance(leaf, InState | NotInState)
    }
    for one, other in sorted({(min(pair), max(pair)) for pair in read if pair[0] != pair[1]}):
        link = dot.identifier("link", f"{one} {other}")
        drawing.node(link, "link", shape="box", fontsize="10", margin="0.03", height="0.2", width="0.3")
        for end, partner in ((one, other), (other, one)):
            way = "forward" if (end, partner) in read else "none"
            drawing.edge(link, _part(end), color=_DOUBLE, dir=way)


def _volume(name: str) -> str:
    return dot.identifier("volume", name)


def _part(name: str) -> str:
    return dot.identifier("part", name)


def _control(name: str) -> str:
    return dot.identifier("control", name)


def _mishap(name: str) -> str:
    return dot.identifier("mishap", name)
