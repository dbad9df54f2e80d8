"""Imports go down the house only: mechanics < routeio < network < tautline."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FLOORS = ("mechanics", "routeio", "network", "tautline")
OUTSIDE = {  # what a floor may take from outside the standard library; None: anything that is a dependency
    "mechanics": {"numpy"},
    "routeio": None,
    "network": {"numpy", "networkx", "shapely"},
    "tautline": None,
}
EXTRA = {"mechanics/units.py": {"pint"}}


@dataclass(frozen=True)
class Imported:
    """One import: what, on which line, whether inside a function."""

    module: str
    line: int
    inside: bool


def imports(source: str, package: str) -> Iterator[Imported]:
    """Every import of a file, wherever it stands, relative ones and calls of the import machinery included."""

    def walk(node: ast.AST, inside: bool) -> Iterator[Imported]:
        for child in ast.iter_child_nodes(node):
            within = inside or isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
            if isinstance(child, ast.Import):
                for name in child.names:
                    yield Imported(name.name, child.lineno, inside)
            elif isinstance(child, ast.ImportFrom):
                base = child.module or ""
                if child.level:
                    parents = package.split(".")
                    base = ".".join(parents[: len(parents) - child.level + 1] + ([base] if base else []))
                yield Imported(base, child.lineno, inside)
            elif isinstance(child, ast.Call):
                called = ast.unparse(child.func)
                if called in ("__import__", "import_module", "importlib.import_module") and child.args:
                    name = child.args[0]
                    literal = name.value if isinstance(name, ast.Constant) else "?"
                    if ast.unparse(name).startswith("f'{__name__}."):
                        literal = f"{package}.?"  # one of its own
                    yield Imported(str(literal), child.lineno, inside)
                yield from walk(child, within)
            else:
                yield from walk(child, within)

    yield from walk(ast.parse(source), inside=False)


def faults(source: str, file: str) -> list[str]:
    """What is wrong with the imports of one file, ``file`` being its path in the house."""
    floor = file.split("/")[0]
    package = ".".join(file.split("/")[:-1])
    below = set(FLOORS[: FLOORS.index(floor) + 1])
    allowed = OUTSIDE[floor]
    found = []
    for imported in imports(source, package):
        top = imported.module.split(".")[0]
        place = f"{file}:{imported.line}: {imported.module}"
        if top in FLOORS:
            if top not in below:
                found.append(f"{place} is a floor above {floor}")
        elif top not in sys.stdlib_module_names:
            if allowed is not None and top not in allowed | EXTRA.get(file, set()):
                found.append(f"{place} is not for {floor}")
        elif imported.inside:
            found.append(f"{place} inside a function: the standard library is light, import it at the top")
        own = file.endswith("/__init__.py") and imported.module == f"{package}.?"
        if imported.inside and floor != "tautline" and not own:
            found.append(f"{place} inside a function")
    return found


SOURCES = sorted(
    str(path.relative_to(ROOT).as_posix()) for floor in FLOORS for path in (ROOT / floor).rglob("*.py")
)


@pytest.mark.parametrize("file", SOURCES)
def test_imports_go_down(file: str) -> None:
    assert faults((ROOT / file).read_text(encoding="utf-8"), file) == []


@pytest.mark.parametrize(
    ("source", "file"),
    [
        ("import tautline", "network/route.py"),
        ("from network.plan import Plan", "routeio/read.py"),
        ("def f():\n    from routeio import read_survey", "mechanics/chain.py"),
        ("def f():\n    import_module(f'{__name__}.a')", "mechanics/chain.py"),
        ("def f(name):\n    import_module(f'{name}.a')", "mechanics/__init__.py"),
        ("if True:\n    class A:\n        def f(self):\n            import network", "routeio/read.py"),
        ("from ..network import plan", "routeio/read.py"),
        ("import importlib\nimportlib.import_module('tautline.main')", "network/plan.py"),
        ("from typing import TYPE_CHECKING\nif TYPE_CHECKING:\n    import network", "mechanics/pull.py"),
        ("import shapely", "mechanics/chain.py"),
        ("import pint", "mechanics/chain.py"),
        ("import ezdxf", "network/graph.py"),
        ("def f():\n    import numpy", "network/graph.py"),
        ("def f():\n    import json", "tautline/main.py"),
    ],
)
def test_walk_sees(source: str, file: str) -> None:
    assert len(faults(source, file)) >= 1


@pytest.mark.parametrize(
    ("source", "file"),
    [
        ("import numpy as np\nfrom mechanics.errors import in_range", "mechanics/chain.py"),
        ("import pint", "mechanics/units.py"),
        ("from . import chain", "mechanics/track.py"),
        ("def f():\n    from tautline import run\n    import geopandas", "tautline/main.py"),
    ],
)
def test_walk_lets_pass(source: str, file: str) -> None:
    assert faults(source, file) == []
