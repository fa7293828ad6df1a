"""Imports flow one way: a module imports only from layers above its own line in DEVELOPERS.md."""

import ast
import graphlib
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "shopcalc"
TEXT = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
LAYERS = [line.split() for line in re.search(r"```layers\n(.*?)```", TEXT, re.S)[1].strip().splitlines()]
FREE = {"__init__", "__main__"}


def layer_of(module: str) -> int | None:
    """Line of a dotted module within the package, or of the package it stands in."""
    for number, names in enumerate(LAYERS):
        if any(module == n or module.startswith(n + ".") for n in names):
            return number
    return None


def imports(path: Path) -> set[str]:
    """Dotted names within the package that a module imports anywhere, also inside functions."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "shopcalc":
            rest = node.module.removeprefix("shopcalc").lstrip(".")
            for name in node.names:
                inner = f"{rest}.{name.name}".lstrip(".")
                is_module = (PACKAGE / (inner.replace(".", "/") + ".py")).exists() or (PACKAGE / inner).is_dir()
                found.add(inner if is_module else rest)
        elif isinstance(node, ast.Import):
            found |= {a.name.removeprefix("shopcalc.") for a in node.names if a.name.startswith("shopcalc")}
    return found


MODULES = {
    ".".join(p.relative_to(PACKAGE).with_suffix("").parts): p
    for p in sorted(PACKAGE.rglob("*.py"))
    if p.name != "__main__.py" and p != PACKAGE / "__init__.py"
}


@pytest.mark.parametrize("module", MODULES)
def test_imports_only_from_layers_above(module):
    name = module.removesuffix(".__init__")
    if name == "cutting":
        assert not imports(MODULES[module])
        return
    own = layer_of(name)
    assert own is not None, f"{name} stands in no layer of DEVELOPERS.md"
    for other in imports(MODULES[module]):
        assert other, f"{name} imports from the package root"
        theirs = layer_of(other)
        assert theirs is not None, f"{name} imports {other}, which stands in no layer"
        same_package = name.split(".")[0] == other.split(".")[0] and "." in other
        assert theirs < own or same_package, f"{name} (line {own + 1}) imports {other} (line {theirs + 1})"


def test_every_layer_names_only_what_exists():
    """`sheets` and the like enter the list when they have content."""
    for name in (n for line in LAYERS for n in line):
        path = PACKAGE / name.replace(".", "/")
        assert path.with_suffix(".py").exists() or path.is_dir(), name


def test_no_module_is_a_grab_bag():
    assert not {"utils", "base", "helpers", "constants", "common", "misc"} & {p.stem for p in PACKAGE.rglob("*.py")}


def test_imports_have_no_circle():
    """Also between the modules of one package, whose order the layers leave open."""
    graph = {}
    for module, path in MODULES.items():
        name = module.removesuffix(".__init__")
        graph[name] = {other for other in imports(path) if other != name}
    order = tuple(graphlib.TopologicalSorter(graph).static_order())  # raises CycleError with the circle
    assert len(order) >= len(MODULES)
