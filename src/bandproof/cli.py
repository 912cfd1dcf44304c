"""The command line: arguments in, one call of the facade, answers and files out, one exit code.

Exit codes: 0 all is as the rule packs expect, 1 something else is refuted, or proven that should fall, 2 bad input,
3 something without an answer, or nothing applied, 70 a defect of this program, 130 interrupted. With `--json` standard
output carries one JSON document and nothing else; progress, notes and errors go to standard error.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import wraps
from importlib import metadata
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, ParamSpec, TextIO

import typer

from bandproof.api import SCHEMAS, overall, prove, select
from bandproof.deciding.cases import RequestError, load_alone, load_cases, missing_roles
from bandproof.deciding.exporting import document, export
from bandproof.deciding.many import processors
from bandproof.deciding.one import unanswered
from bandproof.deciding.procedures import DRAWN, SEED, load_procedure, perform
from bandproof.deciding.rechecking import recheck_file
from bandproof.deciding.saving import Shelf, as_json, drawings, folders, joined, performed, save
from bandproof.deciding.standing import standing
from bandproof.findings.finding import Finding
from bandproof.findings.limits import Limits
from bandproof.findings.outcome import Outcome
from bandproof.findings.reasons import Interrupted
from bandproof.model.kinds import catalogue
from bandproof.shell.screen import kind_document, kind_text, list_kinds, progress, show, title
from bandproof.shell.usage import PlainCommand, PlainGroup, check_least
from bandproof.terms.names import closest, listed
from bandproof.text.codes import CODES
from bandproof.text.errors import BandproofError, CrossCheckError, FileError
from bandproof.text.input_faults import Faults
from bandproof.views.performance_json import performance_json
from bandproof.views.performance_text import performance_text

if TYPE_CHECKING:
    from bandproof.engines.silence import Quiet

#: Exit codes beside that of typer for a wrong command line, which is 2 as well.
AS_EXPECTED, OTHERWISE, BAD_INPUT, OPEN, DEFECT, INTERRUPTED = 0, 1, 2, 3, 70, 130

_EXIT = {
    Outcome.AS_EXPECTED: AS_EXPECTED,
    Outcome.FAILS: OTHERWISE,
    Outcome.STANDS: OTHERWISE,
    Outcome.OPEN: OPEN,
}

app = typer.Typer(
    cls=PlainGroup,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
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
Strict = Annotated[bool, typer.Option("--strict", help="Take warnings about files for errors.")]
Out = Annotated[
    Path,
    typer.Option(
        "--out", metavar="DIR", help="Where files are written, one folder for each arrangement. Default: out."
    ),
]


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
        except FileError as error:
            _note(str(error))
            code = BAD_INPUT
        except CrossCheckError as error:
            _note(f"defect: this program contradicts itself, so no verdict is given; please report it\n{error}")
            code = DEFECT
        except BandproofError as error:
            _note(f"error: {error}")
            code = BAD_INPUT
        except OSError as error:
            _note(f"{error.filename}: {error.strerror}." if error.filename else f"error: {error}")
            code = BAD_INPUT
        except KeyboardInterrupt:
            _note("interrupted")
            code = INTERRUPTED
        raise typer.Exit(code)

    return run


@app.callback(invoke_without_command=True)
def about(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Say which version this is.")] = False,
) -> None:
    """What is there without a verb: the version, or else the list of verbs."""
    if version:
        _print(f"bandproof {metadata.version('bandproof')}\n")
        raise typer.Exit
    if context.invoked_subcommand is None:
        _print(context.get_help() + "\n")
        raise typer.Exit(BAD_INPUT)


def _tell_warnings(faults: Faults) -> None:
    """Print what looks odd in files that were read; anything worse has stopped the verb before."""
    for warning in faults.found():
        _note(f"{warning.render()}\n")


# ------------------------------------------------------------------------------------------------------------ prove


@app.command(name="prove", cls=PlainCommand)
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
        float, typer.Option("--time", metavar="SECONDS", help="Time limit for each property, 0 for none. Default: 300.")
    ] = 300,
    megabytes: Annotated[
        int | None,
        typer.Option("--memory", metavar="MB", help="Memory limit for each worker process.", show_default=False),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(
            metavar="N",
            help="Worker processes. Default: as many as there are processors. With 0 this process decides.",
            show_default=False,
        ),
    ] = None,
    whole: Annotated[bool, typer.Option("--all", help="Show every claim, and not only what needs a look.")] = False,
    strict: Strict = False,
    json: Json = False,
) -> int:
    """Decide every property of the rule packs that applies to the arrangements.

    The answer goes to the screen; certificates, stories, drawings and results.json to a folder for each arrangement.
    """
    check_least(("--time", seconds, 0), ("--memory", megabytes, 1), ("--workers", workers, 0))
    faults = Faults(strict=strict)
    cases = load_cases(models, packs, faults)
    _tell_warnings(faults)
    shelves = [Shelf(folder, case) for folder, case in zip(folders(out, [str(m) for m in models]), cases, strict=True)]
    for path in filter(None, (shelf.blocked() for shelf in shelves)):
        message = f"{path} is in the way of what would be written there; move it, or name another folder with --out"
        raise RequestError(message)
    interrupted = _decide(shelves, only or [], Limits(seconds or None, megabytes), workers)
    if json:
        _print(as_json(joined(shelf.document(beside=False) for shelf in shelves)))
    else:
        show(shelves, whole=whole)
    for missing in () if only else (one for case in cases for one in missing_roles(case)):
        _note(f"{missing}.")
    for problem in dict.fromkeys(problem for shelf in shelves for problem in shelf.undrawn):
        _note(f"note: {problem}")
    if interrupted:
        _note("interrupted: what was finished is kept")
        return INTERRUPTED
    return _EXIT[overall((shelf.case, shelf.ordered()) for shelf in shelves)]


def _decide(shelves: Sequence[Shelf], only: Sequence[str], limits: Limits, workers: int | None) -> bool:
    """Fill the shelves; whether it was interrupted. What was not reached by then is put down as undecided."""
    cases = [shelf.case for shelf in shelves]
    quiet: dict[int, Quiet] = {}
    begun = False
    interrupted = False
    with progress() as bars_on_screen:
        bars = [bars_on_screen.add_task(title(case), total=len(select(case, only))) for case in cases]

        def keep(case: int, claim: int, finding: Finding) -> None:
            nonlocal begun
            if not begun:
                for shelf in shelves:
                    shelf.clear()
                begun = True
            shelves[case].add(claim, finding)
            bars_on_screen.advance(bars[case])

        try:
            processes = processors() if workers is None else workers
            prove(cases, only=only, limits=limits, processes=processes, observer=keep, silent=quiet.__setitem__)
            for number, shelf in enumerate(shelves):
                shelf.stand(standing(shelf.case, quiet.get(number)))
        except KeyboardInterrupt:
            interrupted = True
    if interrupted:
        for shelf in shelves:
            for claim in select(shelf.case, only):
                if claim not in shelf.findings:
                    shelf.add(claim, unanswered(shelf.case.claims[claim], Interrupted()))
    return interrupted


# ------------------------------------------------------------------------------------------------------------- draw


@app.command(cls=PlainCommand)
@_guarded
def draw(model: Model, out: Out = Path("out"), strict: Strict = False, json: Json = False) -> int:
    """Draw an arrangement: its piping, what is joined to what, and each part's state machine, as SVG."""
    faults = Faults(strict=strict)
    arrangement = load_alone(model, faults)
    _tell_warnings(faults)
    written = save(folders(out, [str(model)])[0], drawings(arrangement))
    names = [path.as_posix() for path in written]
    if json:
        identity = {"name": arrangement.name, "file": arrangement.file, "sha256": arrangement.sha256}
        _print(as_json({"format": "bandproof/1", "arrangement": identity, "drawings": names}))
    else:
        _print("".join(f"{name}\n" for name in names))
    return 0


# -------------------------------------------------------------------------------------------------------------- run


@app.command(cls=PlainCommand)
@_guarded
def run(
    model: Model,
    script: Annotated[Path, typer.Argument(metavar="SCRIPT", help="A script (TOML).", show_default=False)],
    out: Out = Path("out"),
    count: Annotated[
        int, typer.Option("--vehicles", metavar="N", help="Vehicles drawn at random. Default: 60.")
    ] = DRAWN,
    seed: Annotated[int, typer.Option("--seed", metavar="N", help="The seed they are drawn from. Default: 1.")] = SEED,
    seconds: Annotated[
        float,
        typer.Option(
            "--time", metavar="SECONDS", help="Time limit for each expectation in bands, 0 for none. Default: 60."
        ),
    ] = 60,
    bands: Annotated[bool, typer.Option("--bands/--no-bands", help="Ask what is true of all vehicles.")] = True,
    strict: Strict = False,
    json: Json = False,
) -> int:
    """Do a script to an arrangement: to vehicles in seconds, and to all vehicles in bands.

    The answer goes to the screen; it and a drawing of the pressures to a folder for the arrangement.
    """
    check_least(("--vehicles", count, 0), ("--seed", seed, 0), ("--time", seconds, 0))
    faults = Faults(strict=strict)
    arrangement, procedure = load_procedure(model, script, faults)
    _tell_warnings(faults)
    done = perform(arrangement, procedure, count=count, seed=seed, limits=Limits(seconds or None), bands=bands)
    folder = folders(out, [str(model)])[0] / script.stem
    written = save(folder, performed(done))
    if json:
        _print(as_json(performance_json(done)))
    else:
        _print(performance_text(done) + "\n" + "".join(f"{path.as_posix()}\n" for path in written))
    return AS_EXPECTED if done.stands else OTHERWISE


# ---------------------------------------------------------------------------------------------------------- recheck


@app.command(cls=PlainCommand)
@_guarded
def recheck(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A certificate (.smt2) or a story (.story.json).", show_default=False)
    ],
    model: Annotated[
        Path | None,
        typer.Option(
            "--model",
            metavar="MODEL",
            help="The arrangement the file must be about. Default: one found by its hash.",
            show_default=False,
        ),
    ] = None,
    packs: Packs = None,
    json: Json = False,
) -> int:
    """Check a certificate with outside solvers and against its arrangement, or play a counterexample again on the machine.

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
            "alone": checked.alone,
            "done": list(checked.done),
            "faults": list(checked.faults),
        }
        _print(as_json(document))
    else:
        word = "stands" if checked.ok else "cannot be told" if checked.unknown else "DOES NOT STAND"
        alone = "; nothing but the file was checked" if checked.alone else ""
        lines = [
            f"{checked.kind} {file.as_posix()} {word}{alone}",
            f"  property {checked.claim} of {checked.arrangement}",
        ]
        lines += [f"  {line}" for line in (*checked.done, *(f"fault: {fault}" for fault in checked.faults))]
        _print("\n".join(lines) + "\n")
    return AS_EXPECTED if checked.ok else OPEN if checked.unknown else OTHERWISE


# ----------------------------------------------------------------------------------------------------------- export


@app.command(name="export", cls=PlainCommand)
@_guarded
def export_(
    model: Model,
    name: Annotated[str, typer.Option("--property", metavar="ID", help="The property to export.", show_default=False)],
    packs: Packs = None,
    out: Out = Path("out"),
    bad_state: Annotated[
        bool, typer.Option("--bad-state", help="Write the bad state as such, as AIGER 1.9 can, and not as an output.")
    ] = False,
    strict: Strict = False,
    json: Json = False,
) -> int:
    """Write the search problem of one property for other engines, as binary AIGER 1.9.

    Lemmas are taken in from the property's certificate, where one lies in the folder of the arrangement and stands.
    """
    faults = Faults(strict=strict)
    (case,) = load_cases([model], packs, faults)
    _tell_warnings(faults)
    done = export(case, name, folders(out, [str(model)])[0], bad_state=bad_state)
    if json:
        _print(as_json(document(case, name, done)))
        return 0
    _print(f"{done.file.as_posix()}\n  {done.inputs} inputs, {done.latches} latches, {done.gates} gates\n")
    for note in done.notes:
        _note(f"note: {note}")
    return 0


# -------------------------------------------------------------------------------------------------- kinds and codes


@app.command(cls=PlainCommand)
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
        _print(as_json({"format": "bandproof/1", "kinds": [kind_document(kind) for kind in chosen]}))
    elif name is not None:
        _print(kind_text(known[name]))
    else:
        list_kinds(chosen)
    return 0


@app.command(cls=PlainCommand)
@_guarded
def codes(
    code: Annotated[str | None, typer.Argument(metavar="CODE", help="One code, in full.", show_default=False)] = None,
    json: Json = False,
) -> int:
    """List the codes that stand in brackets behind messages about files, or give the manual entry of one."""
    if code is not None and code not in CODES:
        near = closest(code, CODES)
        message = f'there is no code "{code}"' + (f'; did you mean "{near}"?' if near else "; `codes` lists them")
        raise RequestError(message)
    chosen = sorted(CODES) if code is None else [code]
    if json:
        fields = ("code", "summary", "explanation", "sample")
        entries = [
            {**{field: getattr(CODES[one], field) for field in fields}, "level": CODES[one].level} for one in chosen
        ]
        _print(as_json({"format": "bandproof/1", "codes": entries}))
    elif code is not None:
        _print(CODES[code].explain() + "\n")
    else:
        _print("".join(f"{one:28} {CODES[one].summary}\n" for one in chosen))
    return 0


@app.command(cls=PlainCommand)
@_guarded
def schema(
    name: Annotated[
        str | None, typer.Argument(metavar="NAME", help=f"One of: {', '.join(SCHEMAS)}.", show_default=False)
    ] = None,
) -> int:
    """Print the JSON Schema of a kind of file, for editors; without a name, list those there are."""
    if name is None:
        _print("".join(f"{one}\n" for one in SCHEMAS))
        return 0
    if name not in SCHEMAS:
        message = f'there is no schema "{name}"; there are {listed(SCHEMAS)}'
        raise RequestError(message)
    _print(as_json(SCHEMAS[name]()))
    return 0


def main() -> None:
    """Run the command line. A reader of its output that has gone away changes no exit code."""
    # A stream that the caller has closed is None: what is written to it is lost, and that is what was asked for.
    sys.stdout = sys.stdout or Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115  (open until the end)
    sys.stderr = sys.stderr or Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115  (as above)
    try:
        app()
    finally:
        _let_go(sys.stdout)
        _let_go(sys.stderr)


def _let_go(stream: TextIO | None) -> None:
    """Write out what waits for a stream; where nobody reads it, put it where nothing is read."""
    try:
        if stream is not None:
            stream.flush()
    except (BrokenPipeError, ValueError):
        with suppress(OSError, ValueError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno() if stream is not None else 1)
