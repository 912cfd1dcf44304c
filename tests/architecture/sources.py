"""The package's own source text, parsed: what the tests in this folder read instead of importing it."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "src"


@dataclass(frozen=True, slots=True)
class Import:
    """One import: the module it stands in, what it names, and whether it runs when that module is imported."""

    importer: str
    imported: str
    at_start: bool


@dataclass(frozen=True, slots=True)
class Module:
    """One source file: its dotted name, path and syntax tree."""

    name: str
    path: Path
    tree: ast.Module


@cache
def modules() -> tuple[Module, ...]:
    """Every module of the project, the pytest plugin included, by name."""
    found = []
    for path in sorted(SOURCE.rglob("*.py")):
        parts = path.relative_to(SOURCE).with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        found.append(Module(name, path, ast.parse(path.read_text(encoding="utf-8"))))
    return tuple(found)


@cache
def imports() -> tuple[Import, ...]:
    """Every import of every module. `from a import b` names `a.b` where that is a module, else `a`."""
    known = {module.name for module in modules()}
    found = []
    for module in modules():
        for node, at_start in _nodes(module.tree, at_start=True):
            found += [Import(module.name, name, at_start) for name in _named(node, known)]
    return tuple(found)


def _nodes(tree: ast.AST, *, at_start: bool) -> Iterator[tuple[ast.AST, bool]]:
    for node in ast.iter_child_nodes(tree):
        yield node, at_start
        later = isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda) or (
            isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
        )
        yield from _nodes(node, at_start=at_start and not later)


def _named(node: ast.AST, known: set[str]) -> list[str]:
    if isinstance(node, ast.Import):
        return [alias.name for alias in node.names]
    if isinstance(node, ast.ImportFrom):
        assert node.level == 0, "relative imports hide which layer is meant"
        base = node.module or ""
        return [inner if (inner := f"{base}.{alias.name}") in known else base for alias in node.names]
    return []
