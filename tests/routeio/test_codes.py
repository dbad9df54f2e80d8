"""Every code that a reader, the network or a job may say has its paragraph in the documentation, and none is left over."""

import ast
from pathlib import Path

import network
import routeio
import tautline
from routeio.codes import as_markdown, meanings

ROOT = Path(routeio.__file__).parent
PACKAGES = [Path(package.__file__).parent for package in (routeio, network, tautline)]
#: By a call, or by an error of its own class that hands its code on.
SAYS = {"Finding", "InputRefusedError", "_find", "_each", "__init__"}
#: Said through a table of (rows, code, words).
TABLED = {"geometry-broken", "geometry-null", "geometry-empty"}


def codes_said():
    for path in (path for package in PACKAGES for path in package.glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func).split(".")[-1] in SAYS and node.args:
                code = node.args[0]
                if isinstance(code, ast.Constant) and isinstance(code.value, str):
                    yield code.value, path.name


def test_every_code_has_a_meaning_and_every_meaning_a_code():
    said = {code for code, _ in codes_said()} | TABLED
    assert said - set(meanings()) == set()
    assert set(meanings()) - said == set()


def test_codes_are_words_with_hyphens():
    assert all(set(code) <= set("abcdefghijklmnopqrstuvwxyz-") for code in meanings())


def test_the_page_is_made_from_the_table():
    page = ROOT.parent / "docs" / "findings.md"
    assert page.read_text(encoding="utf-8") == as_markdown()
