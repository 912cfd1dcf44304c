"""The command line: arguments in, one call of the facade, tables and files out, one exit code.

Exit codes: 0 all proven, 1 something refuted, 2 bad input, 3 nothing refuted but something neither proven nor refuted,
70 a defect of this program, 130 interrupted. With `--json` standard output carries one JSON document and nothing else;
progress, notes and errors go to standard error.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import wraps
from pathlib import Path
from typing import Annotated, Any, ParamSpec

import typer
from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.markup import escape
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

from bandproof.api import SCHEMAS, overall, prove, select
from bandproof.deciding.cases import Case, RequestError, load_cases
from bandproof.deciding.many import processors
from bandproof.deciding.one import unanswered
from bandproof.deciding.rechecking import recheck_file
from bandproof.deciding.saving import TEXT, Shelf, as_json, drawings, folders, joined, save
from bandproof.findings.finding import Finding, Verdict
from bandproof.findings.limits import Limits
from bandproof.findings.reasons import Interrupted
from bandproof.model.kinds import KindDescription, catalogue
from bandproof.model.loader import load_arrangement
from bandproof.physics.line_air import neglected
from bandproof.terms.names import closest
from bandproof.text.codes import CODES
from bandproof.text.errors import BandproofError, CrossCheckError, InputError
from bandproof.views.reasons_text import reason_text

#: Exit codes beside that of typer for a wrong command line, which is 2 as well.
ALL_PROVEN, REFUTED, BAD_INPUT, OPEN, DEFECT, INTERRUPTED = 0, 1, 2, 3, 70, 130

_EXIT = {Verdict.PROVEN: ALL_PROVEN, Verdict.REFUTED: REFUTED, Verdict.UNDECIDED: OPEN}

#: Width of tables where no terminal says how wide it is.
_WIDTH = 132

#: What a kind lists by name, in the order shown.
_SLOTS = ("ports", "states", "settings", "sizes", "controls", "links", "mishaps")

_STYLES = {
    Verdict.PROVEN: "green",
    Verdict.REFUTED: "bold red",
    Verdict.UNDECIDED: "bold yellow",
    Verdict.EMPTY: "bold yellow",
    Verdict.NOT_APPLICABLE: "dim",
}

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    help="Proves, or refutes with a drawn counterexample, what a compressed-air control arrangement does.",
    epilog="A model is not the vehicle: an answer holds for the arrangement as written.",
)

_P = ParamSpec("_P")

Model = Annotated[Path, typer.Argument(metavar="MODEL", help="An arrangement file (TOML).", show_default=False)]
Packs = Annotated[
    list[Path] | None,
    typer.Option(
        "--properties",
        metavar="PACK",
        help="A rule pack; may be given again. Default: all packs in the nearest folder properties/, beside the model or above.",
        show_default=False,
    ),
]
Json = Annotated[
    bool, typer.Option("--json", help="Print one JSON document on standard output and nothing else there.")
]
Out = Annotated[
    Path, typer.Option("--out", metavar="DIR", help="Where files are written, one folder for each arrangement.")
]


def _console(*, error: bool = False) -> Console:
    stream = sys.stderr if error else sys.stdout
    return Console(file=stream, width=None if stream.isatty() else _WIDTH, highlight=False, soft_wrap=False)


def _note(text: str) -> None:
    """Say something beside the result."""
    with suppress(BrokenPipeError):
        print(text, file=sys.stderr)


def _print(text: str) -> None:
    """Put text on standard output as it is; a reader that has gone is no fault."""
    with suppress(BrokenPipeError):
        sys.stdout.write(text)
        sys.stdout.flush()


def _guarded(verb: Callable[_P, int]) -> Callable[_P, None]:
    """The verb as typer calls it: its result, and every error raised on purpose, becomes an exit code."""

    @wraps(verb)
    def run(*args: _P.args, **kwargs: _P.kwargs) -> None:
        try:
            code = verb(*args, **kwargs)
        except InputError as error:
            _note(str(error))
            code = BAD_INPUT
        except CrossCheckError as error:
            _note(f"defect: this program contradicts itself, so no verdict is given; please report it\n{error}")
            code = DEFECT
        except BandproofError as error:
            _note(text if (text := str(error)).startswith("error") else f"error: {text}")
            code = BAD_INPUT
        except OSError as error:
            _note(f"error: {error.filename or ''}: {error.strerror or error}")
            code = BAD_INPUT
        except KeyboardInterrupt:
            _note("interrupted")
            code = INTERRUPTED
        raise typer.Exit(code)

    return run


# ------------------------------------------------------------------------------------------------------------ prove


@app.command(name="prove")
@_guarded
def prove_(
    models: Annotated[
        list[Path], typer.Argument(metavar="MODEL", help="Arrangement files (TOML).", show_default=False)
    ],
    packs: Packs = None,
    only: Annotated[
        list[str] | None,
        typer.Option(
            "--property", metavar="ID", help="Decide this property only; may be given again.", show_default=False
        ),
    ] = None,
    out: Out = Path("out"),
    seconds: Annotated[
        float, typer.Option("--time", metavar="SECONDS", min=0, help="Time limit for each property; 0 for none.")
    ] = 300,
    megabytes: Annotated[
        int | None,
        typer.Option("--memory", metavar="MB", min=1, help="Memory limit for each worker process.", show_default=False),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(
            metavar="N",
            min=0,
            help="Worker processes. Default: as many as there are processors. With 0 this process decides.",
            show_default=False,
        ),
    ] = None,
    json: Json = False,
) -> int:
    """Decide every property of the rule packs that applies to the arrangements.

    Tables go to the screen; certificates, counterexamples, drawings and results.json to a folder for each arrangement.
    """
    cases = load_cases(models, packs)
    shelves = [Shelf(folder, case) for folder, case in zip(folders(out, [str(m) for m in models]), cases, strict=True)]
    interrupted = _decide(shelves, only or [], Limits(seconds or None, megabytes), workers)
    if json:
        _print(as_json(joined(shelf.document(beside=False) for shelf in shelves)))
    else:
        _show(shelves)
    for problem in dict.fromkeys(problem for shelf in shelves for problem in shelf.undrawn):
        _note(f"note: {problem}")
    if interrupted:
        _note("interrupted: what was finished is kept")
        return INTERRUPTED
    return _EXIT[overall(finding for shelf in shelves for finding in shelf.ordered())]


def _decide(shelves: Sequence[Shelf], only: Sequence[str], limits: Limits, workers: int | None) -> bool:
    """Fill the shelves; whether it was interrupted. What was not reached by then is put down as undecided."""
    cases = [shelf.case for shelf in shelves]
    begun = False
    interrupted = False
    with _progress() as progress:
        bars = [progress.add_task(_title(case), total=len(select(case, only))) for case in cases]

        def keep(case: int, claim: int, finding: Finding) -> None:
            nonlocal begun
            if not begun:
                for shelf in shelves:
                    shelf.clear()
                begun = True
            shelves[case].add(claim, finding)
            progress.advance(bars[case])

        try:
            prove(
                cases, only=only, limits=limits, processes=processors() if workers is None else workers, observer=keep
            )
        except KeyboardInterrupt:
            interrupted = True
    if interrupted:
        for shelf in shelves:
            for claim in select(shelf.case, only):
                if claim not in shelf.findings:
                    shelf.add(claim, unanswered(shelf.case.claims[claim], Interrupted()))
    return interrupted


def _progress() -> Progress:
    """Bars on standard error, gone when all is done; nothing where it is no terminal."""
    return Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TimeElapsedColumn(),
        console=_console(error=True),
        transient=True,
        disable=not sys.stderr.isatty(),
    )


def _title(case: Case) -> str:
    return escape(f"{case.arrangement.name} ({case.arrangement.file})")


def _show(shelves: Sequence[Shelf]) -> None:
    console = _console()
    with suppress(BrokenPipeError):
        for shelf in shelves:
            console.print(f"\n[bold]{_title(shelf.case)}[/]", soft_wrap=True)
            console.print(_table(shelf))
            if said := neglected(shelf.case.arrangement).sentence():
                console.print(escape(said))
            for finding in shelf.ordered():
                _tell(console, shelf, finding)
        console.print(_summary(shelves))


def _table(shelf: Shelf) -> Table:
    table = Table(box=SIMPLE_HEAD)
    table.add_column("property", no_wrap=True)
    table.add_column("verdict", no_wrap=True)
    table.add_column("steps", justify="right")
    table.add_column("seconds", justify="right")
    table.add_column("remarks")
    for finding in shelf.ordered():
        table.add_row(
            escape(finding.property),
            f"[{_STYLES[finding.verdict]}]{finding.verdict}[/]",
            "" if finding.steps is None else str(finding.steps),
            f"{finding.seconds:.1f}",
            escape(reason_text(finding)),
        )
    return table


def _tell(console: Console, shelf: Shelf, finding: Finding) -> None:
    """Below the table: what is refuted in a sentence, its caution, and where its story is."""
    if finding.verdict is not Verdict.REFUTED:
        return
    console.print(f"[bold red]refuted[/] {escape(finding.property)}: {escape(finding.says)}")
    if finding.caution:
        console.print(f"  caution: {escape(finding.caution)}")
    story = shelf.file(finding, TEXT)
    if story is not None:
        console.print(f"  story: {escape(story.as_posix())}", soft_wrap=True)


def _summary(shelves: Sequence[Shelf]) -> str:
    verdicts = [finding.verdict for shelf in shelves for finding in shelf.ordered()]
    counts = ", ".join(f"{verdicts.count(v)} {v}" for v in Verdict if v in verdicts) or "nothing decided"
    return f"\n{counts}; files in {', '.join(escape(shelf.folder.as_posix()) for shelf in shelves)}"


# ------------------------------------------------------------------------------------------------------------- draw


@app.command()
@_guarded
def draw(model: Model, out: Out = Path("out"), json: Json = False) -> int:
    """Draw an arrangement: its piping, and each part's state machine, as SVG."""
    arrangement = load_arrangement(model)
    written = save(folders(out, [str(model)])[0], drawings(arrangement))
    names = [path.as_posix() for path in written]
    if json:
        identity = {"name": arrangement.name, "file": arrangement.file, "sha256": arrangement.sha256}
        _print(as_json({"format": "bandproof/1", "arrangement": identity, "drawings": names}))
    else:
        _print("".join(f"{name}\n" for name in names))
    return 0


# ---------------------------------------------------------------------------------------------------------- recheck


@app.command()
@_guarded
def recheck(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A certificate (.smt2) or a story (.story.json).", show_default=False)
    ],
    model: Annotated[
        Path | None,
        typer.Option("--model", metavar="MODEL", help="The arrangement the file must be about.", show_default=False),
    ] = None,
    packs: Packs = None,
    json: Json = False,
) -> int:
    """Check a certificate with outside solvers, or play a counterexample again on the machine.

    Exit code 0 if it stands, 1 if it does not, 3 if a solver could not tell.
    """
    checked = recheck_file(file, model, packs)
    if json:
        document: dict[str, Any] = {
            "format": "bandproof/1",
            "file": file.as_posix(),
            "kind": checked.kind,
            "arrangement": checked.arrangement,
            "property": checked.claim,
            "stands": checked.ok,
            "done": list(checked.done),
            "faults": list(checked.faults),
        }
        _print(as_json(document))
    else:
        word = "stands" if checked.ok else "cannot be told" if checked.unknown else "DOES NOT STAND"
        lines = [f"{checked.kind} {file.as_posix()} {word}", f"  property {checked.claim} of {checked.arrangement}"]
        lines += [f"  {line}" for line in (*checked.done, *(f"fault: {fault}" for fault in checked.faults))]
        _print("\n".join(lines) + "\n")
    return ALL_PROVEN if checked.ok else OPEN if checked.unknown else REFUTED


# -------------------------------------------------------------------------------------------------- kinds and codes


@app.command()
@_guarded
def kinds(
    name: Annotated[str | None, typer.Argument(metavar="KIND", help="One kind, in full.", show_default=False)] = None,
    json: Json = False,
) -> int:
    """List the catalogue of kinds of parts, or show one of them in full."""
    known = {kind.name: kind for kind in catalogue()}
    if name is not None and name not in known:
        near = closest(name, known)
        message = f'there is no kind "{name}" in the catalogue' + (f'; did you mean "{near}"?' if near else "")
        raise RequestError(message)
    chosen = list(known.values()) if name is None else [known[name]]
    if json:
        _print(as_json({"format": "bandproof/1", "kinds": [_kind_document(kind) for kind in chosen]}))
    elif name is not None:
        _print(_kind_text(known[name]))
    else:
        table = Table(box=SIMPLE_HEAD)
        for heading in ("kind", "states", "ports", "what it is"):
            table.add_column(heading)
        for kind in chosen:
            table.add_row(*(escape(t) for t in (kind.name, ", ".join(kind.states), ", ".join(kind.ports), kind.says)))
        with suppress(BrokenPipeError):
            _console().print(table)
    return 0


def _kind_document(kind: KindDescription) -> dict[str, Any]:
    return {
        "name": kind.name,
        "says": kind.says,
        **{slot: list(getattr(kind, slot)) for slot in _SLOTS},
        "reaction": "slow" if kind.slow else "fast",
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


def _kind_text(kind: KindDescription) -> str:
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


@app.command()
@_guarded
def explain(
    topic: Annotated[
        str | None,
        typer.Argument(metavar="CODE", help="A diagnostic code, or one of the two schemas.", show_default=False),
    ] = None,
    json: Json = False,
) -> int:
    """Give the manual entry of a diagnostic code; without one, list them all.

    `arrangement-schema` and `pack-schema` print the JSON Schemas of the two kinds of file, for editors.
    """
    if topic in SCHEMAS:
        _print(as_json(SCHEMAS[topic]()))
        return 0
    if topic is not None and topic not in CODES:
        near = closest(topic, [*CODES, *SCHEMAS])
        message = f'there is no code "{topic}"' + (f'; did you mean "{near}"?' if near else "; `explain` lists them")
        raise RequestError(message)
    chosen = sorted(CODES) if topic is None else [topic]
    if json:
        entries = [
            {
                "code": code,
                "summary": CODES[code].summary,
                "explanation": CODES[code].explanation,
                "sample": CODES[code].sample,
            }
            for code in chosen
        ]
        _print(as_json({"format": "bandproof/1", "codes": entries}))
    elif topic is not None:
        _print(CODES[topic].explain() + "\n")
    else:
        lines = [f"{code:28} {CODES[code].summary}" for code in chosen]
        lines += ["", *(f"{name:28} JSON Schema of a file, for editors" for name in SCHEMAS)]
        _print("\n".join(lines) + "\n")
    return 0


def main() -> None:
    """Run the command line."""
    app()
