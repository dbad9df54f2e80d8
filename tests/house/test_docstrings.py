"""Docstrings say what the signatures say: checked by numpydoc, with the raised errors on top."""

from __future__ import annotations

import ast
import importlib
import inspect
import pkgutil
import re
import textwrap
from collections.abc import Iterator
from pathlib import Path
from types import FunctionType
from typing import Any

import pytest
from numpydoc.docscrape import FunctionDoc
from numpydoc.validate import validate

ROOT = Path(__file__).parents[2]
FLOORS = ("mechanics", "routeio", "network", "tautline")
# Missing docstring, summary; parameters not documented, unknown, out of order, without type or text; no Returns
# or Yields section; returned value without type or text.
ALL = {"GL08", "SS01", "PR01", "PR02", "PR03", "PR04", "PR05", "PR07", "PR10", "RT01", "RT03", "YD01"}
# A method may have one line only; what it does document must still match.
MATCH = {"GL08", "SS01", "PR02", "PR03", "PR10"}


def modules() -> list[str]:
    """Every public module of the four packages."""
    names = []
    for floor in FLOORS:
        package = importlib.import_module(floor)
        names.append(floor)
        names += [m.name for m in pkgutil.walk_packages(package.__path__, f"{floor}.")]
    return sorted(n for n in names if not any(p.startswith("_") for p in n.split(".")))


def public(module: str) -> Iterator[tuple[str, Any, set[str]]]:
    """Every public function, class and method defined in a module, with the codes that must not come up."""
    loaded = importlib.import_module(module)
    for name, thing in vars(loaded).items():
        if name.startswith("_") or getattr(thing, "__module__", None) != module:
            continue
        if inspect.isclass(thing):
            yield f"{module}.{name}", thing, ALL - {"RT01", "YD01"}
            for inner, method in vars(thing).items():
                if not inner.startswith("_") and isinstance(
                    method, property | staticmethod | classmethod | FunctionType
                ):
                    yield f"{module}.{name}.{inner}", method, MATCH
        elif inspect.isfunction(thing):
            yield f"{module}.{name}", thing, ALL


@pytest.mark.parametrize("module", modules())
def test_sections_match_signatures(module: str) -> None:
    wrong = []
    for name, thing, codes in public(module):
        if inspect.isclass(thing) and _no_parameters(thing):
            codes = codes - {"PR01"}
        wrong += [f"{name}: {code} {text}" for code, text in validate(name)["errors"] if code in codes]
    assert wrong == []


def _no_parameters(thing: type) -> bool:
    """Protocols, enumerations and exceptions that take what their base takes have no parameters of their own."""
    return "__init__" not in vars(thing) or getattr(thing, "_is_protocol", False)


@pytest.mark.parametrize("module", modules())
def test_raised_errors_are_documented(module: str) -> None:
    wrong = []
    for name, thing, _ in public(module):
        if not inspect.isfunction(thing) or "." in name[len(module) + 1 :]:
            continue
        stated = {entry.type or entry.name for entry in FunctionDoc(thing)["Raises"]}
        stated = {word for text in stated for word in re.split(r"[,\s]+", text)}
        wrong += [f"{name} raises {error}" for error in _raised(thing) if error not in stated]
    assert wrong == []


def _raised(function: Any) -> set[str]:
    """Names of the errors that a function's own body makes and raises."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(function)))
    return {
        ast.unparse(node.exc.func)
        for node in ast.walk(tree)
        if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call)
        if ast.unparse(node.exc.func)[0].isupper() and ast.unparse(node.exc.func) != "AssertionError"
    }


def test_raised_sees_an_error() -> None:
    def sample() -> None:
        raise ValueError("x")

    assert _raised(sample) == {"ValueError"}


KEY = re.compile(r"\[([a-z][a-z0-9.-]*[0-9a-z])\](?!\()")


def _keys_used() -> dict[str, str]:
    """Source keys referred to under References in docstrings and in the tables of constants."""
    used = {}
    for floor in FLOORS:
        for path in (ROOT / floor).rglob("*.py"):
            text = path.read_text(encoding="utf-8")
            for block in re.findall(r"References\n\s*-+\n(.*?)(?:\n\s*\n|\"\"\")", text, re.S):
                used.update(dict.fromkeys(KEY.findall(block), str(path.relative_to(ROOT))))
        for path in (ROOT / floor).rglob("*.csv"):
            used.update(
                dict.fromkeys(KEY.findall(path.read_text(encoding="utf-8")), str(path.relative_to(ROOT)))
            )
    return used


def test_sources_cited_are_listed() -> None:
    sources = ROOT / "docs" / "sources.md"
    listed = set(KEY.findall(sources.read_text(encoding="utf-8")))
    used = _keys_used()
    assert used
    assert {key: file for key, file in used.items() if key not in listed} == {}
