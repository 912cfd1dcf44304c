"""Diagnostic codes: every one used is catalogued. That each one catalogued is used, its sample shows (tests/diagnostics)."""

from __future__ import annotations

import ast

from bandproof.text.codes import CODES
from tests.architecture.sources import modules


def test_every_code_added_by_name_is_in_the_catalogue() -> None:
    added = {
        node.args[0].value
        for module in modules()
        for node in ast.walk(module.tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and ast.unparse(node.func) in ("faults.add", "self._faults.add")
        and node.args
        and isinstance(node.args[0], ast.Constant)
    }
    assert len(added) > len(CODES) / 2, "most codes are added by name, so this looks in the wrong place"
    assert added - set(CODES) == set()
