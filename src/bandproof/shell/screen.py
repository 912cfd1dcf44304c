"""What the command line shows on a terminal or in a pipe: tables, findings, kinds.

The width is that of the terminal, or what COLUMNS says; below 100 columns tables become lines. Colours are left out in
a pipe and where NO_COLOR is set; no meaning hangs on them.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable, Sequence
from contextlib import suppress
from textwrap import fill
from typing import Any

from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

from bandproof.deciding.cases import Case
from bandproof.deciding.saving import TEXT, Shelf
from bandproof.findings.finding import Finding, Verdict
from bandproof.model.kinds import KindDescription
from bandproof.shell.answer import Line, Told, answer, summary
from bandproof.text.units import show_times
from bandproof.views.reasons_text import reason_text
from bandproof.views.standing_text import standing_lines

#: Width of tables where no terminal says how wide it is.
_WIDTH = 132

#: No screen is taken to be narrower than this.
_LEAST = 20

#: Below this width a table leaves its remarks no room.
_NARROW = 100

#: Sentences are no wider than this, so that they are easy to read.
_WIDEST = 80

#: How text is broken: between words only.
_UNCUT: dict[str, Any] = {"break_on_hyphens": False, "break_long_words": False}

#: What stands before a remark below a line.
_INSET = " " * 4

#: What a kind lists by name, in the order shown.
_SLOTS = ("ports", "states", "settings", "sizes", "controls", "links", "mishaps")

_STYLES = {
    Verdict.PROVEN: "green",
    Verdict.REFUTED: "bold red",
    Verdict.UNDECIDED: "bold yellow",
    Verdict.EMPTY: "bold yellow",
    Verdict.NOT_APPLICABLE: "dim",
}


#: How the lines of an answer look.
_LINES = {"good": "green", "bad": "bold red", "open": "bold yellow", "head": "bold"}


class _Screen(Console):
    """A console whose reader may go away: what is left unsaid then changes no exit code."""

    def on_broken_pipe(self) -> None:
        self.quiet = True


def console(*, error: bool = False) -> Console:
    """Where text goes: standard output or standard error."""
    stream = sys.stderr if error else sys.stdout
    told = os.environ.get("COLUMNS", "")
    width = max(_LEAST, int(told)) if told.isdecimal() else None if stream.isatty() else _WIDTH
    return _Screen(file=stream, width=width, highlight=False, soft_wrap=False)


def progress() -> Progress:
    """Bars on standard error, gone when all is done; nothing where it is no terminal."""
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        console=console(error=True),
        transient=True,
        disable=not sys.stderr.isatty(),
    )


def title(case: Case) -> str:
    """An arrangement as it is called on screen."""
    return escape(f"{case.arrangement.name} ({case.arrangement.file})")


def show(shelves: Sequence[Shelf], *, whole: bool = False) -> None:
    """Put the answer about every shelf on standard output, with `whole` its table too; a reader that has gone is no fault."""
    screen = console()
    with suppress(BrokenPipeError):
        for shelf in shelves:
            for line in answer(shelf):
                _say(screen, line)
            screen.print()
            for said in standing_lines(shelf.standing):
                _say(screen, Line(f"{said[0].upper()}{said[1:]}", hang=2))
            if whole:
                _everything(screen, shelf)
            screen.print()
        if len(shelves) > 1:
            for line in summary(shelves):
                _say(screen, line)


def _say(screen: Console, line: Line) -> None:
    """One paragraph to the width of the screen. Names are never cut."""
    first, further = " " * line.inset, " " * (line.inset + line.hang)
    width = min(screen.width, _WIDEST)
    told = fill(line.text, width, initial_indent=first, subsequent_indent=further, **_UNCUT)
    style = _LINES.get(line.style)
    screen.print(f"[{style}]{escape(told)}[/]" if style and told else escape(told), soft_wrap=True)


def _everything(screen: Console, shelf: Shelf) -> None:
    """The table of all findings that were reached, and each refuted one in a sentence."""
    finished = Told(shelf).finished
    if screen.width < _NARROW:
        screen.print()
        _rows(screen, finished)
    else:
        screen.print(_table(finished))
    for finding in finished:
        _tell(screen, shelf, finding)


def _rows(screen: Console, findings: Iterable[Finding]) -> None:
    """The findings where there is no room for a table: a line for each, and its remark below."""
    for finding in findings:
        steps = "" if finding.steps is None else f"{finding.steps} steps, "
        head = f"[{_STYLES[finding.verdict]}]{finding.verdict}[/] {escape(finding.property)}"
        screen.print(f"{head} ({steps}{finding.seconds:.1f} s)")
        if remarks := reason_text(finding):
            _below(screen, remarks)
    screen.print()


def _below(screen: Console, *paragraphs: str) -> None:
    """Paragraphs set in from the left, to the width of the screen."""
    for paragraph in paragraphs:
        told = fill(paragraph, screen.width, initial_indent=_INSET, subsequent_indent=_INSET, **_UNCUT)
        screen.print(escape(told), soft_wrap=True)


def _table(findings: Iterable[Finding]) -> Table:
    table = Table(box=SIMPLE_HEAD)
    table.add_column("property", no_wrap=True)
    table.add_column("verdict", no_wrap=True)
    table.add_column("steps", justify="right")
    table.add_column("seconds", justify="right")
    table.add_column("remarks")
    for finding in findings:
        table.add_row(
            escape(finding.property),
            f"[{_STYLES[finding.verdict]}]{finding.verdict}[/]",
            "" if finding.steps is None else str(finding.steps),
            f"{finding.seconds:.1f}",
            escape(reason_text(finding)),
        )
    return table


def _tell(screen: Console, shelf: Shelf, finding: Finding) -> None:
    """Below the table: what is refuted in a sentence, its caution, and where its story is."""
    if finding.verdict is not Verdict.REFUTED:
        return
    screen.print(f"[bold red]refuted[/] {escape(finding.property)}: {escape(finding.says)}")
    if finding.caution:
        screen.print(f"  caution: {escape(finding.caution)}")
    story = shelf.file(finding, TEXT)
    if story is not None:
        screen.print(f"  story: {escape(story.as_posix())}", soft_wrap=True)


def list_kinds(kinds: Iterable[KindDescription]) -> None:
    """Put kinds on standard output, a line or a paragraph for each; a reader that has gone is no fault."""
    screen = console()
    with suppress(BrokenPipeError):
        if screen.width < _NARROW:
            for kind in kinds:
                screen.print(f"[bold]{escape(kind.name)}[/]")
                states, ports = ", ".join(kind.states), ", ".join(kind.ports)
                _below(screen, kind.says, f"states: {states}", f"ports: {ports}")
        else:
            screen.print(_kind_table(kinds))


def _kind_table(kinds: Iterable[KindDescription]) -> Table:
    table = Table(box=SIMPLE_HEAD)
    for heading in ("kind", "states", "ports", "what it is"):
        table.add_column(heading)
    for kind in kinds:
        table.add_row(*(escape(t) for t in (kind.name, ", ".join(kind.states), ", ".join(kind.ports), kind.says)))
    return table


def _reaction(kind: KindDescription) -> str:
    seconds = kind.reaction.seconds
    if seconds is not None:
        return show_times(seconds.low, seconds.high)
    return "slow" if kind.reaction.slow else "fast"


def kind_document(kind: KindDescription) -> dict[str, Any]:
    """A kind as JSON."""
    return {
        "name": kind.name,
        "says": kind.says,
        **{slot: list(getattr(kind, slot)) for slot in _SLOTS},
        "reaction": _reaction(kind),
        "passages": [
            {
                **({"from": p.upstream, "to": p.downstream} if p.one_way else {"between": [p.upstream, p.downstream]}),
                "open_in": sorted(p.open_in),
                "size": p.size,
            }
            for p in kind.passages
        ],
        "moves": [{"from": list(m.sources), "to": m.target, "when": m.when} for m in kind.moves],
    }


def kind_text(kind: KindDescription) -> str:
    """A kind in full, as text."""
    lines = [f"{kind.name}: {kind.says}", ""]
    lines += [f"{slot + ':':10} {', '.join(names)}" for slot in _SLOTS if (names := getattr(kind, slot))]
    lines.append("passages:" if kind.passages else "passages:  none")
    for p in kind.passages:
        size = f", size {p.size}" if p.size else ""
        where = "in every state" if p.open_in == frozenset(kind.states) else f"in {', '.join(sorted(p.open_in))}"
        lines.append(f"  {p.upstream} {'->' if p.one_way else '<->'} {p.downstream}, open {where}{size}")
    lines.append("moves:" if kind.moves else "moves:     none")
    lines += [f"  {', '.join(m.sources)} -> {m.target} when {m.when}" for m in kind.moves]
    return "\n".join(lines) + "\n"
