"""The drawing of connections: volumes, parts, what joins them, and where a part's settings are written.

The signs follow ISO 1219-1 where DOT can draw them: a solid line carries working air, a dashed line only senses
(pilot), a double line is a mechanical link, a reservoir has round ends, an open triangle on a port is the way to the
open air, a circle is the air source. It shows what is joined to what, not where things sit on a vehicle.
"""

from __future__ import annotations

from bandproof.model.arrangement import ATMOSPHERE, SOURCE, Arrangement, Control, Part, Volume, VolumeKind
from bandproof.model.conditions import (
    Happened,
    InPosition,
    InState,
    NotHappened,
    NotInPosition,
    NotInState,
)
from bandproof.model.walker import leaves
from bandproof.text.units import show_pressure
from bandproof.views import dot
from bandproof.views.part_ports import Port, ports_of, settings_of, untangled
from bandproof.views.phrases import litres, open_in, passage_words, plain

#: Signs in a line of a part's box, of a volume and of a port: wide enough for most names, narrow enough for a dozen
#: columns in a picture 1400 pixels wide.
_PART_WIDTH = 30
_VOLUME_WIDTH = 15
_PORT_WIDTH = 9

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


def connections_dot(arrangement: Arrangement, *, legend: bool = True) -> str:
    """What is joined to what in an arrangement, as DOT text, air running from top to bottom."""
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
    ports = {part.name: ports_of(part) for part in arrangement.parts}
    ports = {name: untangled(name, own, ports) for name, own in ports.items()}
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


def _draw_part(drawing: dot.Picture, part: Part, ports: tuple[Port, ...], unit: str) -> None:
    title = [*dot.lines(plain(part.name).upper(), _PART_WIDTH), *dot.lines(plain(part.kind), _PART_WIDTH)]
    settings = [row for text in settings_of(part, unit) for row in dot.lines(text, _PART_WIDTH)]
    inside = [dot.field(rows, how) for rows, how in ((title, "n"), (_inside(part), "l"), (settings, "l")) if rows]
    fields = [field for field in (_row(ports, "n"), *inside, _row(ports, "s")) if field]
    drawing.node(
        _part(part.name), dot.record(fields), shape="record", fontsize="10", penwidth="1.2", margin="0.07,0.03"
    )


def _row(ports: tuple[Port, ...], side: str) -> str:
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


def _draw_pipes(drawing: dot.Picture, part: str, ports: tuple[Port, ...]) -> None:
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
