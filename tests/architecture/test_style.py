"""House rules that a reader would otherwise have to check by eye."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

import pytest

from tests.architecture.sources import ROOT, Module, modules


def joined(words: str) -> list[str]:
    """The words, which are written with hyphens so that this file has none of what its rules forbid."""
    return [word.replace("-", "") for word in words.split()]


#: What is said of things left for later, and of tests that are let off.
LATER_WORDS = joined("TO-DO FIX-ME X-X-X HA-CK NotImplemented-Error")
LET_OFF_WORDS = joined("sk-ip sk-ipif xf-ail import-orskip")
LATER = re.compile(rf"\b({'|'.join(LATER_WORDS)})\b")
LET_OFF = re.compile(rf"pytest\.(mark\.)?({'|'.join(LET_OFF_WORDS)})\b|@unittest\.{LET_OFF_WORDS[0]}")

EVERY_MODULE = pytest.mark.parametrize("module", modules(), ids=lambda module: module.name)


def public_definitions(tree: ast.Module) -> Iterator[ast.FunctionDef | ast.ClassDef]:
    """Public functions and classes of a module, and the public methods of those classes."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield node
            if isinstance(node, ast.ClassDef):
                yield from (n for n in node.body if isinstance(n, ast.FunctionDef) and not n.name.startswith("_"))


def raised(node: ast.AST) -> Iterator[str]:
    """The exceptions raised by name in a function itself, not in what it defines or calls."""
    for inner in ast.iter_child_nodes(node):
        if isinstance(inner, ast.FunctionDef | ast.Lambda | ast.ClassDef):
            continue
        if isinstance(inner, ast.Raise) and inner.exc is not None:
            name = ast.unparse(inner.exc.func if isinstance(inner.exc, ast.Call) else inner.exc).split(".")[-1]
            if name.endswith("Error"):
                yield name
        yield from raised(inner)


def calls(tree: ast.Module) -> Iterator[str]:
    """The plain names that are called anywhere in a module."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            yield node.func.id


@EVERY_MODULE
def test_every_module_says_what_it_is_for(module: Module) -> None:
    assert ast.get_docstring(module.tree)


@EVERY_MODULE
def test_every_public_name_has_a_sentence(module: Module) -> None:
    silent = [node.name for node in public_definitions(module.tree) if not ast.get_docstring(node)]
    assert silent == []


@pytest.mark.parametrize("module", [m for m in modules() if m.name != "bandproof.cli"], ids=lambda module: module.name)
def test_every_public_function_says_what_it_raises(module: Module) -> None:
    """The verbs of the command line are left out: their docstrings are help texts, and they end with an exit code."""
    unsaid = [
        (node.name, name)
        for node in public_definitions(module.tree)
        if isinstance(node, ast.FunctionDef)
        for name in raised(node)
        if name not in (ast.get_docstring(node) or "")
    ]
    assert unsaid == []


@EVERY_MODULE
def test_every_dataclass_is_frozen_and_slotted(module: Module) -> None:
    loose = []
    for node in ast.walk(module.tree):
        if isinstance(node, ast.ClassDef):
            for decorator in node.decorator_list:
                text = ast.unparse(decorator)
                if text.split("(")[0].split(".")[-1] == "dataclass":
                    says = {"frozen=True", "slots=True"} <= set(re.split(r"[(), ]+", text))
                    loose += [] if says else [node.name]
    assert loose == []


@EVERY_MODULE
def test_no_text_is_ever_run_as_code(module: Module) -> None:
    assert not {"eval", "exec", "compile", "__import__"} & set(calls(module.tree))


@EVERY_MODULE
def test_nothing_is_left_for_later(module: Module) -> None:
    assert not LATER.search(module.path.read_text(encoding="utf-8"))


def test_no_test_is_skipped_or_expected_to_fail() -> None:
    assert [p for p in (ROOT / "tests").rglob("*.py") if LET_OFF.search(p.read_text("utf-8"))] == []


def test_both_rules_find_what_they_forbid() -> None:
    assert all(LATER.search(f"# {word}: later") for word in LATER_WORDS)
    assert all(LET_OFF.search(f"@pytest.mark.{word}") for word in LET_OFF_WORDS)
