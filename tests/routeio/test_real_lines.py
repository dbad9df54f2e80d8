"""Lines nobody here drew: streets and water pipes from the data of four open packages, before and after recovery.

Streets of Bubeneč (momepy), streets of a district in Arizona in survey feet (libpysal), and two water networks of
Kentucky with node elevations (wntr), in whose tables every pipe has its length on record. Only the data files of the
packages are read.
"""

from __future__ import annotations

import importlib.metadata
import math
import shutil
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pyogrio.raw
import pytest
import shapely

from mechanics.centreline import place
from routeio.options import Selection
from routeio.survey import Duct, Survey

SWEEP = 1.0
FOOT = 1200.0 / 3937.0


def file_of(package: str, name: str) -> Path:
    try:
        path = Path(str(importlib.metadata.distribution(package).locate_file(name)))
    except importlib.metadata.PackageNotFoundError:
        pytest.skip(f"{package} is not installed")
    if not path.is_file():
        pytest.skip(f"{package} has no {name}")
    return path


def sections(path: Path) -> dict[str, list[list[str]]]:
    """The rows of each section of a water network's file."""
    rows: dict[str, list[list[str]]] = {}
    for line in path.read_text("utf-8", "replace").splitlines():
        words = line.split(";")[0].split()
        if words and words[0].startswith("["):
            rows[words[0]] = []
        elif words and rows:
            rows[next(reversed(rows))].append(words)
    return rows


@pytest.fixture
def pipes(layer, survey) -> Callable[[str], Survey]:
    """A water network: its pipes as ducts, its nodes as vaults with their elevations; Kentucky's plane in survey feet."""

    def read(name: str) -> Survey:
        table = sections(file_of("wntr", f"wntr/library/networks/{name}.inp"))
        place_of = {n: (float(x), float(y)) for n, x, y in table["[COORDINATES]"]}
        level = {row[0]: row[1] for row in (*table["[JUNCTIONS]"], *table["[TANKS]"], *table["[RESERVOIRS]"])}
        between: dict[str, list[tuple[float, float]]] = {}
        for link, x, y in table["[VERTICES]"]:
            between.setdefault(link, []).append((float(x), float(y)))
        lines = [
            shapely.LineString([place_of[a], *between.get(link, []), place_of[b]])
            for link, a, b, *_ in table["[PIPES]"]
        ]
        layer(lines, f"{name}.gpkg", layer="pipes", crs="EPSG:3089", id=[row[0] for row in table["[PIPES]"]],
              feet=[float(row[3]) for row in table["[PIPES]"]])  # fmt: skip
        nodes = [n for n in place_of if n in level]
        path = layer([shapely.Point(place_of[n]) for n in nodes], f"{name}.gpkg", layer="nodes", crs="EPSG:3089", kind="Point",
                     append=True, tag=nodes, level=[level[n] for n in nodes])  # fmt: skip
        return survey(
            path,
            ducts=Selection("pipes", fields={"id": "id", "length": "feet"}),
            vaults=Selection("nodes", fields={"name": "tag", "invert": "level"}),
            sweep=SWEEP,
            snap=0.01,
        )

    return read


def streets_of_a_district(tmp_path, survey) -> Survey:
    """The shapefile with its parts, in a folder that may be written to."""
    for path in file_of("libpysal", "libpysal/examples/geodanet/streets.shp").parent.glob("streets.*"):
        shutil.copy(path, tmp_path)
    return survey(tmp_path / "streets.shp", ducts="streets", sweep=SWEEP)


def streets_of_bubenec(survey) -> Survey:
    path = file_of("momepy", "momepy/datasets/bubenec.gpkg")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return survey(path, ducts="streets", sweep=SWEEP)


def raw_turns(duct: Duct) -> np.ndarray:
    """Turn at every vertex between legs of some length. [rad]"""
    step = np.diff(duct.vertices[:, :2], axis=0)
    step = step[np.hypot(*step.T) > 1e-3]
    turn = np.diff(np.arctan2(step[:, 1], step[:, 0]))
    return np.abs((turn + math.pi) % (2.0 * math.pi) - math.pi)


def plan_length(duct: Duct) -> float:
    chain = duct.chain
    half = 0.5 * (chain.grade_out - chain.grade_in)
    return float((chain.length * np.cos(chain.grade_in + half) * np.sinc(half / math.pi)).sum())


def figures(survey: Survey) -> dict[str, float]:
    """Before and after."""
    drawn = [float(np.hypot(*np.diff(d.vertices[:, :2], axis=0).T).sum()) for d in survey.ducts]
    change = np.array([plan_length(d) - raw for d, raw in zip(survey.ducts, drawn, strict=True)])
    return {
        "ducts": len(survey.ducts),
        "vertices": sum(len(d.vertices) for d in survey.ducts),
        "segments": sum(len(d.chain) for d in survey.ducts),
        "turn before": math.degrees(sum(float(raw_turns(d).sum()) for d in survey.ducts)),
        "turn after": math.degrees(sum(float(np.abs(d.chain.turn).sum()) for d in survey.ducts)),
        "length": sum(drawn),
        "change": float(change.sum()),
        "worst": float(np.abs(change).max()),
        "worst share": float((np.abs(change) / np.array(drawn)).max()),
    }


def ends_of(survey: Survey) -> Iterator[float]:
    """How far each chain ends from where its line does. [m]"""
    for duct in survey.ducts:
        last = place(duct.chain, duct.start, duct.heading).points[-1]
        yield math.dist(last[:2], duct.end[:2])


def junctions(path: Path, layer: str | None = None) -> int:
    """Places where three line ends or more meet, counted from the file alone."""
    _, _, wkb, _ = pyogrio.raw.read(path, layer=layer, columns=[])
    lines = shapely.from_wkb(wkb)
    ends = [shapely.get_coordinates(part)[[0, -1]] for line in lines for part in shapely.get_parts(line)]
    _, count = np.unique(np.vstack(ends).round(3), axis=0, return_counts=True)
    return int((count > 2).sum())


def holds(survey: Survey, found: dict[str, float], *, most: float) -> None:
    """The whole length and turn stay; so does each line's length, within a share; chains end where lines do."""
    assert abs(found["change"]) <= 1e-3 * found["length"]
    assert found["turn after"] == pytest.approx(found["turn before"], rel=0.01)
    assert found["worst share"] <= most
    assert max(ends_of(survey)) <= 0.15


def test_streets_of_bubenec(survey, codes):
    """35 lines in Web Mercator, 1.6 times too long there; their junctions have no vault."""
    read = streets_of_bubenec(survey)
    found = figures(read)
    holds(read, found, most=0.005)
    assert codes(read)["ambiguous-junction"] == junctions(
        file_of("momepy", "momepy/datasets/bubenec.gpkg"), "streets"
    )
    assert codes(read)["reprojected"] == codes(read)["elevation-none"] == 1
    assert found["ducts"] == 35 - 4  # four joints of two ends
    assert "vault at them: 4" in next(f.message for f in read.findings if f.code == "pieces-joined")


def test_streets_in_survey_feet(tmp_path, survey, codes):
    """293 lines in a plane of Arizona in US survey feet; a shapefile that does not say its encoding."""
    read = streets_of_a_district(tmp_path, survey)
    found = figures(read)
    assert read.ground.unit == "us_survey_foot"
    assert read.ground.metres_per_unit == FOOT
    holds(read, found, most=0.005)
    assert found["segments"] < 0.6 * found["vertices"]
    assert codes(read)["ambiguous-junction"] == junctions(tmp_path / "streets.shp")
    assert codes(read)["sidecar-missing"] == 1
    assert found["ducts"] == 293 - 113


@pytest.mark.slow
@pytest.mark.parametrize(("name", "count"), [("ky4", 1156), ("ky10", 1043)])
def test_pipes_with_the_elevations_of_their_nodes(pipes, codes, name, count):
    """Every pipe comes back between the nodes of its table row, as long as on record, at the grade between them."""
    read = pipes(name)
    table = sections(file_of("wntr", f"wntr/library/networks/{name}.inp"))
    rows = {row[0]: row for row in table["[PIPES]"]}
    level = {
        row[0]: float(row[1]) for row in (*table["[JUNCTIONS]"], *table["[TANKS]"], *table["[RESERVOIRS]"])
    }
    assert len(rows) == count
    assert codes(read)["length-differs"] <= 0.005 * count  # its drawn lines and its records agree to 5 %
    joined = 0
    for duct in read.ducts:
        ends = {duct.start_vault, duct.end_vault}
        assert ends <= {*rows[duct.id][1:3], None}
        if None in ends or not duct.elevated:  # pumps and valves on one spot, and a node at elevation 0
            continue
        joined += 1
        tags = str(duct.start_vault), str(duct.end_vault)
        rise = float(np.sum(duct.chain.length * np.sin(duct.chain.grade_in)))
        # the file's elevations are in survey feet, as its plane is
        assert rise == pytest.approx(
            (level[tags[1]] - level[tags[0]]) * FOOT, abs=1e-6 + 1e-9 * duct.chain.total_length
        )
        assert duct.elevation_from == "inverts"
    assert joined >= 0.96 * count
    assert codes(read)["elevation-none"] == 1
    found = figures(read)
    assert abs(found["change"]) <= 2e-3 * found["length"]
    assert found["turn after"] == pytest.approx(found["turn before"], rel=0.02)
