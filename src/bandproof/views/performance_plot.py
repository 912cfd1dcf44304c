"""Pressures over the seconds of a script: curves of the nominal vehicle, and behind each what the vehicles drawn do.

Every volume that is expected to be at some pressure is drawn, and beside them those that change most.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from math import floor, log10
from string import ascii_uppercase
from textwrap import wrap

from bandproof.findings.performance import Performance
from bandproof.model.conditions import AtLeast, Below
from bandproof.model.walker import comparisons
from bandproof.text.units import PRESSURE_UNITS
from bandproof.views.graphviz import FONTS
from bandproof.views.named import named
from bandproof.views.performance_text import conclusion, step_words
from bandproof.views.phrases import plain
from bandproof.views.spoken import spoken_time
from bandproof.views.svg import spread, words_at

_WIDE, _LEFT, _RIGHT, _TOP, _TALL = 1120, 70, 190, 78, 380
_MOST, _FEW = 7, 4
_LINE = 16.0
_SIGNS = 150
#: Dark on white and told apart by people who see few colours (after Okabe and Ito, 2008); each with a dash pattern of its own.
_COLOURS = ("#0072b2", "#d55e00", "#007a5a", "#a0406f", "#000000", "#7a5c00", "#8a2be2")
_DASHES = ("", "9 4", "2 3", "12 4 2 4", "5 5", "16 5", "10 3 3 3")


#: From seconds or pascals to a place in the picture.
_Scale = Callable[[float], float]


def performance_svg(performance: Performance) -> str:
    """The picture of what came of a script."""
    arrangement, procedure = performance.arrangement, performance.procedure
    scale = float(PRESSURE_UNITS[arrangement.unit])
    chosen = _chosen(performance)
    end = procedure.script.ends
    highest = _ceiling(
        max((p for run in performance.runs for v in chosen for p in run.course.pressures[v]), default=1.0) / scale
    )

    def x(seconds: float) -> float:
        return _LEFT + (_WIDE - _LEFT - _RIGHT) * seconds / end

    def y(pascals: float) -> float:
        return _TOP + _TALL * (1 - max(pascals / scale, 0.0) / highest)

    title = f"{procedure.script.name}: {arrangement.name}"
    about = f"curves: the nominal vehicle; shaded: the {len(performance.drawn)} vehicles drawn; {arrangement.unit} over seconds"
    body = [words_at(20, 26, title, size=17), words_at(20, 48, about, size=13)]
    body += _axes(x, y, highest, end, scale)
    body += _marks(performance, x)
    body += _curves(performance, chosen, x, y)
    rows, tall = _list(performance)
    body += rows
    opening = (
        f'<svg width="{_WIDE}" height="{tall:.0f}" viewBox="0 0 {_WIDE} {tall:.0f}" xmlns="http://www.w3.org/2000/svg" '
        f'font-family="{FONTS}" font-size="13" fill="black">'
    )
    ground = '<rect width="100%" height="100%" fill="white"/>'
    return named(
        "\n".join([opening, ground, *body, "</svg>\n"]), title, f"Pressures over time. {conclusion(performance)}"
    )


def _chosen(performance: Performance) -> list[int]:
    """The volumes that are drawn, by number."""
    names = [volume.name for volume in performance.arrangement.volumes]
    asked = [
        names.index(atom.volume)
        for step in performance.procedure.steps
        if step.expect is not None
        for atom in comparisons(step.expect)
        if isinstance(atom, Below | AtLeast)
    ]
    swing = [max(row) - min(row) for row in performance.nominal.course.pressures]
    others = sorted(range(len(names)), key=lambda number: -swing[number])
    chosen = list(dict.fromkeys(asked))[:_MOST]
    return [*chosen, *(number for number in others if number not in chosen)][: max(len(chosen), _FEW)]


def _step(highest: float) -> float:
    """A round number of which three to seven make up `highest`."""
    power = 10.0 ** floor(log10(max(highest, 1e-9)))
    return next(share * power for share in (0.2, 0.25, 0.5, 1.0, 2.0) if highest / (share * power) <= 6)


def _ceiling(highest: float) -> float:
    step = _step(highest)
    return step * (floor(highest / step) + 1)


def _axes(x: _Scale, y: _Scale, highest: float, end: float, scale: float) -> Iterator[str]:
    ticks = round(highest / _step(highest))
    for tick in range(ticks + 1):
        pascals = _step(highest) * tick * scale
        yield f'<line x1="{x(0):.1f}" y1="{y(pascals):.1f}" x2="{x(end):.1f}" y2="{y(pascals):.1f}" stroke="#cccccc"/>'
        yield words_at(x(0) - 8, y(pascals) + 4, f"{_step(highest) * tick:g}", anchor="end", size=13)
    for part in range(5):
        yield words_at(x(end * part / 4), y(0) + 20, spoken_time(end * part / 4), anchor="middle", size=13)


def _marks(performance: Performance, x: _Scale) -> Iterator[str]:
    moments: dict[float, str] = {}
    for letter, number in _lettered(performance).items():
        came = performance.nominal.came[number]
        if came is not None:
            moments[came] = moments.get(came, "") + letter
    last = -100.0
    for came, letters in moments.items():
        at = x(came)
        yield f'<line x1="{at:.1f}" y1="{_TOP}" x2="{at:.1f}" y2="{_TOP + _TALL}" stroke="#777777" stroke-dasharray="3 3"/>'
        half = 4.5 * len(letters)
        last = max(at, last + half + 4)
        yield words_at(last, _TOP - 8, letters, anchor="middle", size=13)
        last += half


def _curves(performance: Performance, chosen: list[int], x: _Scale, y: _Scale) -> Iterator[str]:
    times = performance.nominal.course.times
    for place, volume in enumerate(chosen):
        rows = [run.course.pressures[volume] for run in performance.runs]
        low = [min(column) for column in zip(*rows, strict=True)]
        high = [max(column) for column in zip(*rows, strict=True)]
        edge = [(x(t), y(p)) for t, p in zip(times, high, strict=True)]
        edge += [(x(t), y(p)) for t, p in reversed([*zip(times, low, strict=True)])]
        points = " ".join(f"{a:.1f},{b:.1f}" for a, b in edge)
        yield f'<polygon points="{points}" fill="{_COLOURS[place]}" fill-opacity="0.13"/>'
    for place, volume in enumerate(chosen):
        points = " ".join(
            f"{x(t):.1f},{y(p):.1f}" for t, p in zip(times, performance.nominal.course.pressures[volume], strict=True)
        )
        dash = f' stroke-dasharray="{_DASHES[place]}"' if _DASHES[place] else ""
        yield f'<polyline points="{points}" fill="none" stroke="{_COLOURS[place]}" stroke-width="2.2"{dash}/>'
    ends = sorted(chosen, key=lambda volume: -y(performance.nominal.course.pressures[volume][-1]))
    wanted = [y(performance.nominal.course.pressures[volume][-1]) + 4 for volume in ends]
    for volume, at in zip(ends, spread(wanted, _LINE), strict=True):
        name = plain(performance.arrangement.volumes[volume].name)
        yield words_at(x(times[-1]) + 8, at, name, size=13, colour=_COLOURS[chosen.index(volume)])


def _lettered(performance: Performance) -> dict[str, int]:
    return dict(zip(ascii_uppercase, range(len(performance.procedure.steps)), strict=False))


def _list(performance: Performance) -> tuple[list[str], float]:
    """What the letters stand for, and the height of the picture."""
    top = _TOP + _TALL + 50.0
    rows = []
    for letter, number in _lettered(performance).items():
        step = performance.procedure.steps[number]
        came = performance.nominal.came[number]
        words = step_words(step, performance.arrangement)
        held = ""
        if step.expect is not None:
            good = all(run.seen[number].holds for run in performance.runs)
            held = (
                " - holds"
                if good
                else f" - FAILS in {sum(not run.seen[number].holds for run in performance.runs)} of {len(performance.runs)}"
            )
        when = "not reached" if came is None else spoken_time(came)
        for k, row in enumerate(wrap(f"{letter}, {when}: {words}{held}", _SIGNS)):
            rows.append(words_at(20 if k == 0 else 40, top, row, size=13))
            top += _LINE
    return rows, top + 6
