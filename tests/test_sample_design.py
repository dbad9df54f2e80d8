"""The sample's design is what it says it is, and its two files hold that design and nothing else."""

from __future__ import annotations

import importlib.util
import itertools
import sys
from pathlib import Path
from types import ModuleType

import ezdxf
import geopandas as gpd
import numpy as np
import pytest

SAMPLE = Path(__file__).parents[1] / "sample_routes"


@pytest.fixture(scope="module")
def make_sample() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_sample", SAMPLE / "make_sample.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_sample"] = module
    spec.loader.exec_module(module)
    return module


def test_design_holds_what_a_sample_should(make_sample: ModuleType) -> None:
    chains = make_sample.truth()
    assert len(chains) + 1 >= 15  # vaults
    assert 2500 < sum(chain.total_length for chain in chains.values()) < 2700  # [m]
    assert sum(int((chain.turn != 0).sum()) for chain in chains.values()) >= 30  # bends in plan
    dip = chains["MH-5", "MH-6"]
    assert dip.grade_in.min() < -0.1
    assert dip.grade_out.max() > 0.1
    hill = chains["MH-8", "MH-9"]
    assert np.any((hill.grade_in > 0) & (hill.grade_out < 0))  # a crest
    assert np.any((hill.turn != 0) & (np.abs(hill.grade_in) > 0.05))  # a bend on a grade
    assert len({(laid.span.size, laid.span.type) for laid in make_sample.lay_out()}) == 2


def test_grades_at_vaults_change_by_less_than_a_guide(make_sample: ModuleType) -> None:
    chains = list(make_sample.truth().values())
    steps = [abs(after.grade_in[0] - before.grade_out[-1]) for before, after in itertools.pairwise(chains)]
    assert max(steps) < np.radians(1.0)


def _duct_points(path: Path) -> list[tuple[str, np.ndarray]]:
    """Kind and defining numbers of everything on the duct layers, in the order of the drawing."""
    found = []
    for entity in ezdxf.readfile(path).modelspace().query("*[layer ? 'DUCT.*']"):
        kind = entity.dxftype()
        if kind == "LINE":
            numbers = [*entity.dxf.start, *entity.dxf.end]
        elif kind == "ARC":
            numbers = [*entity.dxf.center, entity.dxf.radius, entity.dxf.start_angle, entity.dxf.end_angle]
        elif kind == "LWPOLYLINE":
            numbers = np.ravel(entity.get_points("xyb"))
        else:
            numbers = np.ravel([v.dxf.location for v in entity.vertices])
        found.append((kind, np.array(numbers, dtype=float)))
    return found


def test_files_are_what_the_script_makes(make_sample: ModuleType, tmp_path: Path) -> None:
    make_sample.main(tmp_path)
    kept, made = _duct_points(SAMPLE / "harbour.dxf"), _duct_points(tmp_path / "harbour.dxf")
    assert len(kept) == 30
    assert [kind for kind, _ in kept] == [kind for kind, _ in made]
    for (_, a), (_, b) in zip(kept, made, strict=True):
        np.testing.assert_allclose(a, b, rtol=0, atol=1e-6)
    for layer in ("ducts", "vaults", "street_centrelines"):
        a = gpd.read_file(SAMPLE / "harbour.gpkg", layer=layer)
        b = gpd.read_file(tmp_path / "harbour.gpkg", layer=layer)
        assert a.crs == b.crs
        assert a.geometry.geom_equals_exact(b.geometry, 1e-6).all()
        assert a.drop(columns="geometry").equals(b.drop(columns="geometry"))


def test_drawing_is_drawn_as_designers_draw() -> None:
    doc = ezdxf.readfile(SAMPLE / "harbour.dxf")
    assert doc.units == 21  # US survey feet
    kinds = {kind for kind, _ in _duct_points(SAMPLE / "harbour.dxf")}
    assert kinds == {"LINE", "ARC", "LWPOLYLINE", "POLYLINE"}
    others = {entity.dxf.layer for entity in doc.modelspace()} - {"DUCT-BANK", "DUCT-BORE", "VAULT"}
    assert others >= {"STREET-CL", "TEXT", "DIM", "TITLE"}
    vaults = doc.modelspace().query("INSERT[layer=='VAULT']")
    assert all({a.dxf.tag for a in vault.attribs} >= {"TAG", "TYPE", "RIM", "INVERT"} for vault in vaults)


def test_exact_shape_passes_through_the_gis_vertices(make_sample: ModuleType) -> None:
    """The chords' ends lie on the exact curves: walked along the truth, every vertex is met."""
    for laid in make_sample.lay_out():
        if any(leg.sharp for leg in laid.legs):
            continue
        points = np.array(laid.vertices())
        x, y, z = laid.legs[0].x, laid.legs[0].y, laid.legs[0].z
        heading = laid.legs[0].heading
        walked = []
        for leg in (
            laid.legs
        ):  # heading and grade as functions of length, integrated finely: no formula of the script
            steps = 4000
            s = (np.arange(steps) + 0.5) / steps
            ds = leg.length / steps
            grade = leg.grade_in + s * (leg.grade_out - leg.grade_in)
            bearing = heading + s * leg.turn
            path = np.cumsum(
                np.c_[np.cos(grade) * np.cos(bearing), np.cos(grade) * np.sin(bearing), np.sin(grade)] * ds,
                axis=0,
            )
            walked.append(path + np.array([x, y, z]))
            x, y, z = walked[-1][-1]
            heading += leg.turn
        line = np.vstack(walked)
        gaps = [np.min(np.linalg.norm(line - p, axis=1)) for p in points[1:]]
        assert max(gaps) < max(leg.length for leg in laid.legs) / 4000
        np.testing.assert_allclose(line[-1], points[-1], atol=1e-5)
