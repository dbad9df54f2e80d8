"""What the checkout holds: the top level, sizes, versions, tables with sources, no traces of a machine."""

from __future__ import annotations

import csv
import importlib.metadata
import json
import re
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator
from packaging.requirements import Requirement

ROOT = Path(__file__).parents[2]
FLOORS = ("mechanics", "routeio", "network", "tautline")
TOP = {
    *(".ci", ".gitignore", "CHANGELOG.md", "DEVELOPERS.md", "LICENSE", "Makefile", "README.md"),
    *("constraints.txt", "pyproject.toml", "benchmarks", "docs", "sample_routes", "tests"),
    *FLOORS,
}
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


def _tracked() -> list[Path]:
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout")
    return [ROOT / name for name in listed.stdout.decode().split("\0") if name and (ROOT / name).is_file()]


def _texts() -> list[tuple[str, str]]:
    found = []
    for path in _tracked():
        data = path.read_bytes()
        if b"\0" not in data[:4096]:
            found.append((path.relative_to(ROOT).as_posix(), data.decode("utf-8", "replace")))
    return found


def test_top_level() -> None:
    assert {path.relative_to(ROOT).parts[0] for path in _tracked()} <= TOP
    assert {name for name in TOP if not (ROOT / name).exists()} == set()


def test_sample_routes_hold_two_jobs_their_inputs_and_the_script() -> None:
    here = {path.name for path in _tracked() if path.parent == ROOT / "sample_routes"}
    assert here == {"harbour.dxf", "harbour.gpkg", "harbour_dxf.toml", "harbour_gis.toml", "make_sample.py"}


def test_files_stay_short() -> None:
    long = {
        name: lines for name, text in _texts() if name.endswith(".py") and (lines := text.count("\n")) > 600
    }
    assert long == {}


def test_tests_are_no_package() -> None:
    assert list((ROOT / "tests").rglob("__init__.py")) == []


def test_license() -> None:
    text = (ROOT / "LICENSE").read_text(encoding="utf-8")
    assert text.startswith("MIT License")
    assert PROJECT["license"] == "MIT"


def test_versions_agree() -> None:
    newest = re.search(r"^## (\S+)", (ROOT / "CHANGELOG.md").read_text(encoding="utf-8"), re.M)
    assert newest is not None
    assert newest[1] == PROJECT["version"] == importlib.metadata.version("tautline")


def test_result_schema_is_a_schema() -> None:
    Draft202012Validator.check_schema(
        json.loads((ROOT / "tautline" / "result.schema.json").read_text(encoding="utf-8"))
    )


@pytest.mark.parametrize("path", sorted((ROOT / "mechanics" / "data").glob("*.csv")), ids=lambda p: p.name)
def test_every_row_of_a_table_names_its_source(path: Path) -> None:
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert rows
    assert [row for row in rows if not (row.get("source") or "").strip() or None in row] == []


def test_every_default_names_its_source() -> None:
    tables = tomllib.loads((ROOT / "tautline" / "data" / "defaults.toml").read_text(encoding="utf-8"))
    assert [
        f"{t}.{k}" for t, keys in tables.items() for k, entry in keys.items() if not entry["source"].strip()
    ] == []


def test_links_lead_somewhere() -> None:
    broken = []
    for name, text in _texts():
        if name.endswith(".md"):
            for target in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", text):
                if not (ROOT / name).parent.joinpath(target).exists():
                    broken.append(f"{name}: {target}")
    assert broken == []


# Put together from parts, so that this file does not hold what it looks for.
MACHINE = re.compile("|".join([r"/" + r"(?:work|root|home|Users|opt)/\w", r"[A-Z]:\\" + r"\\?Users"]))


def test_no_traces_of_a_machine() -> None:
    found = []
    for name, text in _texts():
        for number, line in enumerate(text.splitlines(), 1):
            if MACHINE.search(line):
                found.append(f"{name}:{number}: {line.strip()[:80]}")
    assert found == []


def _requirements() -> list[Requirement]:
    listed = [
        *PROJECT["dependencies"],
        *(r for extra in PROJECT["optional-dependencies"].values() for r in extra),
    ]
    return [Requirement(text) for text in listed]


def test_only_lower_bounds() -> None:
    assert [str(r) for r in _requirements() if any(s.operator != ">=" for s in r.specifier)] == []


def test_pins_cover_the_requirements() -> None:
    pins = {}
    for line in (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines():
        if line.strip() and not line.startswith("#"):
            name, version = line.split("==")
            pins[re.sub(r"[-_.]+", "-", name).lower()] = version.strip()
    missing = [
        str(r)
        for r in _requirements()
        if not r.specifier.contains(pins.get(re.sub(r"[-_.]+", "-", r.name).lower(), "0"))
    ]
    assert missing == []


def test_wheel_holds_everything(tmp_path: Path) -> None:
    pytest.importorskip("hatchling", reason="the wheel's builder is not installed")
    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)],
        cwd=ROOT,
        check=True,
        capture_output=True,
    )
    (wheel,) = tmp_path.glob("*.whl")
    with zipfile.ZipFile(wheel) as archive:
        inside = set(archive.namelist())
    tracked = {p.relative_to(ROOT).as_posix() for p in _tracked()}
    wanted = {name for name in tracked if name.split("/")[0] in FLOORS}
    wanted |= {f"tautline/{name}" for name in tracked if name.startswith("sample_routes/")}
    assert wanted - inside == set()
    assert {name for name in inside if name.startswith(("tests/", "benchmarks/", "docs/"))} == set()
