"""The docstring is a contract: every public function says what it takes and in what unit, and its examples run."""

import doctest
import importlib
import inspect
import re
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "shopcalc"
FACES = ("controls", "cli", "__main__")
MODULES = [
    ".".join(("shopcalc", *p.relative_to(PACKAGE).with_suffix("").parts)).removesuffix(".__init__")
    for p in sorted(PACKAGE.rglob("*.py"))
    if p.name != "__main__.py" and "demo" not in p.parts
]


def public(module):
    for name, thing in vars(module).items():
        if not name.startswith("_") and getattr(thing, "__module__", None) == module.__name__:
            yield name, thing


def documented(text):
    """Names before the colon in the Parameters section, in their order."""
    section = re.search(r"^Parameters\n-+\n(.*?)(?=^\w+\n-{3,}\n|\Z)", text, re.S | re.M)
    lines = section[1].splitlines() if section else []
    heads = [line for line in lines if line and not line.startswith(" ")]
    return [name.strip(" *") for head in heads for name in head.split(" :")[0].split(",")]


@pytest.mark.parametrize("name", MODULES)
def test_public_things_are_documented(name):
    """Every parameter of a public function in its order, except on faces, whose parameters are people's words."""
    module = importlib.import_module(name)
    assert module.__doc__
    for what, thing in public(module):
        if not (inspect.isfunction(thing) or inspect.isclass(thing)):
            continue
        text = inspect.getdoc(thing) or ""
        assert text, f"{name}.{what} has no docstring"
        if inspect.isfunction(thing) and name.split(".")[1:2] not in ([f] for f in FACES):
            given = [p for p in inspect.signature(thing).parameters if not p.startswith("_")]
            assert documented(text) == given, f"{name}.{what} takes {given} and documents {documented(text)}"


@pytest.mark.parametrize("name", MODULES)
def test_examples_give_what_they_show(name):
    failed, _ = doctest.testmod(importlib.import_module(name), optionflags=doctest.ELLIPSIS)
    assert failed == 0
