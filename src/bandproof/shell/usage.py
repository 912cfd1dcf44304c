"""Help and wrong command lines in plain words, instead of what the library for command lines prints.

Help names every argument by a word and has no frames; its width is that of the terminal, or what COLUMNS says. A wrong
command line is one sentence on standard error and where to look; the exit code is 2, as for any other bad input.
"""

from __future__ import annotations

import inspect
import re
import shutil
import sys
from collections.abc import Iterable, Iterator
from textwrap import fill
from typing import Any

import typer
from typer.core import TyperCommand, TyperGroup

from bandproof.deciding.cases import RequestError
from bandproof.terms.names import closest
from bandproof.text.messages import sentence

#: What is raised for every wrong command line. The library gives its children public names, but not it itself.
_WRONG: type[Exception] = typer.BadParameter.__mro__[1]

#: What the library says of an argument too many.
_EXTRA = re.compile(r"Got unexpected extra argument\S* \((.*)\)")

#: Help is no wider than this, so that its lines are easy to read.
_WIDEST = 80


class PlainCommand(TyperCommand):
    """A verb with plain help."""

    def get_help(self, ctx: Any) -> str:
        """How the verb is called, what it does, and what it takes."""
        arguments = [p for p in self.params if p.param_type_name == "argument"]
        options = [p for p in self.get_params(ctx) if p.param_type_name == "option"]
        words = "".join(f" {_called(p)}" for p in arguments)
        rows = [(p.metavar or p.name or "", p) for p in arguments]
        rows += [(f"{p.opts[-1]} {'' if p.is_flag else p.metavar or 'VALUE'}".strip(), p) for p in options]  # type: ignore[attr-defined]  # an option has it
        told = [(name, getattr(p, "help", None) or "") for name, p in rows]
        head = f"{ctx.command_path}{words} [options]"
        return "\n".join([head, "", *_paragraphs(self.help or ""), "", *_table(told)])


class PlainGroup(TyperGroup):
    """The verbs, with plain help, and plain words where a command line is wrong."""

    def get_help(self, ctx: Any) -> str:
        """What the program is for, and its verbs."""
        verbs = [(name, inspect.cleandoc(verb.help or "").split("\n\n")[0]) for name, verb in self.commands.items()]
        options = [(p.opts[-1], getattr(p, "help", None) or "") for p in self.get_params(ctx)]
        head = f"{ctx.command_path} VERB [options]"
        about, last = _paragraphs(self.help or ""), _paragraphs(self.epilog or "")
        return "\n".join([head, "", *about, "", *_table(verbs), "", *_table(options), "", *last])

    def main(self, *args: Any, **given: Any) -> Any:
        """Run a command line and end the process with its exit code."""
        try:
            code = super().main(*args, **{**given, "prog_name": "bandproof", "standalone_mode": False})
        except _WRONG as error:
            print(usage_fault(error), file=sys.stderr)
            sys.exit(2)
        except typer.Abort:
            sys.exit(130)
        sys.exit(code if isinstance(code, int) else 0)


def _called(argument: Any) -> str:
    """An argument as it stands in a call: in brackets if it may be left out, with dots if it may come again."""
    name = f"{argument.metavar or argument.name}{'...' if argument.nargs != 1 else ''}"
    return name if argument.required else f"[{name}]"


def _width() -> int:
    return min(_WIDEST, max(20, shutil.get_terminal_size().columns - 1))


def _paragraphs(text: str) -> list[str]:
    told = [fill(" ".join(part.split()), _width()) for part in inspect.cleandoc(text).split("\n\n")]
    return "\n\n".join(told).split("\n")


def _table(rows: Iterable[tuple[str, str]]) -> Iterator[str]:
    """Names and what is said of them, the names in a column."""
    listed = list(rows)
    left = max(len(name) for name, _ in listed) + 4
    for name, text in listed:
        said = " ".join(text.split())
        yield fill(said, _width(), initial_indent=f"  {name:{left - 2}}", subsequent_indent=" " * left)


def usage_fault(error: Exception) -> str:
    """What is wrong with a command line, and where it says what can stand there."""
    context = getattr(error, "ctx", None)
    verb = context.command_path if context is not None else "bandproof"
    return f'{_what(error)} "{verb} --help" says what can stand here.'


def _what(error: Exception) -> str:
    option, parameter = getattr(error, "option_name", None), getattr(error, "param", None)
    if hasattr(error, "possibilities"):
        near = closest(str(option), error.possibilities or ())
        return f"There is no option {option}." + (f" Did you mean {near}?" if near else "")
    if option is not None:
        return f"Option {option} cannot stand like this: it needs a value, or takes none."
    if parameter is not None:
        name = parameter.opts[-1] if parameter.param_type_name == "option" else parameter.metavar
        missing = "Missing" in type(error).__name__
        return (
            f"{name} is missing."
            if missing
            else f"{name} takes {parameter.metavar}, and what stands there is not that."
        )
    said = getattr(error, "format_message", lambda: str(error))()
    said = _EXTRA.sub(r'there is no place for "\1"', " ".join(said.split()))
    return sentence(said.replace("'", '"').replace("No such command", "there is no verb"))


def check_least(*numbers: tuple[str, float | None, int]) -> None:
    """Refuse numbers that no limit can be, which the library for command lines could not say plainly.

    Each is an option, what was given for it, and the least it can be. RequestError for the first that is below.
    """
    for option, given, least in numbers:
        if given is not None and not given >= least:
            message = f"{option} cannot be {given:g}; the least is {least}"
            raise RequestError(message)
