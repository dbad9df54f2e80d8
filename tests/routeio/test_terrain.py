"""A terrain under a route: read where the route lies whatever system the grid is in; what is not known is said."""

import importlib.metadata
import importlib.util
import io
from itertools import pairwise

import numpy as np
import pyproj
import pytest
from scipy.interpolate import RegularGridInterpolator
from shapely import LineString, Point

from mechanics.centreline import place
from routeio import terrain as terrain_module
from routeio import terrain_grid
from routeio.findings import InputRefusedError
from routeio.options import Selection, Terrain

rasterio = pytest.importorskip("rasterio", reason="rasterio is not installed")


@pytest.fixture(autouse=True)
def _in_this_process(monkeypatch):
    """Ask the grid in this process; one test undoes it."""

    def asked(module, request, path, limits):
        stream = io.BytesIO()
        terrain_grid.answer({"path": str(path), **request}, stream)
        return stream.getvalue()

    monkeypatch.setattr(terrain_module, "answered", asked)


@pytest.fixture
def grid(tmp_path):
    """Write a GeoTIFF of elevations; rows from north to south."""

    def write(z, west, north, cell, crs="EPSG:32632", name="ground.tif", unit="metre", **profile):
        path = tmp_path / name
        bands = z if z.ndim == 3 else z[None]
        sizes = cell if isinstance(cell, tuple) else (cell, cell)
        options = {"driver": "GTiff", "height": z.shape[-2], "width": z.shape[-1], "count": len(bands),
                   "dtype": z.dtype, "crs": crs, "transform": rasterio.Affine(sizes[0], 0.0, west, 0.0, -sizes[1], north), **profile}  # fmt: skip
        with rasterio.open(path, "w", **options) as out:
            out.write(bands)
            if unit:
                out.set_band_unit(1, unit)
        return str(path)

    return write


@pytest.fixture
def route(layer, survey):
    """Ducts from vault to vault through points, in a plane of eastings from 500,000 and northings from 5,500,000 m."""

    def read(points, terrain, crs="EPSG:32632", inverts=None, profile=None):
        lines = [LineString(pair) for pair in pairwise(points)]
        layer(lines, name=[str(k) for k in range(len(lines))], crs=crs)
        path = layer([Point(p) for p in points], layer="vaults", append=True, kind="Point", crs=crs,
                     tag=[f"V{k}" for k in range(len(points))],
                     inv=["" if z is None else str(z) for z in inverts or [None] * len(points)])  # fmt: skip
        return survey(path, ducts="ducts", vaults=Selection("vaults", fields={"name": "tag", "invert": "inv"}),
                      terrain=terrain, profile=profile)  # fmt: skip

    return read


E, N = 500_000.0, 5_500_000.0


def plane(cell=5.0, size=120, east=0.02, north=-0.01, base=100.0):
    """A tilted plane, with the elevation of each cell's middle; its north-west corner is at E, N."""
    at = (np.arange(size) + 0.5) * cell
    return (base + east * at[None, :] - north * at[:, None]).astype(np.float64)


def test_a_plane_gives_its_own_grade(grid, route, codes, said):
    """Two percent up to the east and one down to the north: exact for a plane, whatever lies between the cells."""
    file = grid(plane(), E, N, 5.0)
    read = route(
        [(E + 50.0, N - 300.0), (E + 350.0, N - 300.0), (E + 350.0, N - 100.0)], Terrain(file, cover=0.9)
    )
    first, second = read.ducts
    assert np.tan(first.chain.grade_in[0]) == pytest.approx(0.02, abs=1e-6)
    assert np.tan(second.chain.grade_out[-1]) == pytest.approx(-0.01, abs=1e-6)
    assert first.start[2] == pytest.approx(100.0 + 0.02 * 50.0 + 0.01 * -300.0 * -1.0 - 0.9, abs=0.01)
    assert {d.elevation_from for d in read.ducts} == {"terrain"}
    assert codes(read)["grade-from-terrain"] == 2
    assert "0.90 m (2.95 ft)" in said(read, "grade-from-terrain")[0]
    assert "ground.tif, sha256" in said(read, "elevation-sources")[0]
    assert not {"elevation-none", "terrain-coarse", "radius-assumed"} & set(codes(read))


def test_elevations_in_feet_and_survey_feet_of_the_plane(grid, route):
    """The file says feet; a user who says survey feet where it says nothing."""
    points = [(E + 50.0, N - 300.0), (E + 350.0, N - 300.0)]
    feet = route(points, Terrain(grid(plane() / 0.3048, E, N, 5.0, unit="ft"), cover=0.0))
    survey_feet = grid(plane() * 3937.0 / 1200.0, E, N, 5.0, unit="")
    stated = route(points, Terrain(survey_feet, cover=0.0, units="US survey foot"))
    assert feet.ducts[0].start[2] == pytest.approx(104.0, abs=0.01)
    assert stated.ducts[0].start[2] == pytest.approx(104.0, abs=0.01)


def test_a_grid_in_degrees_under_a_route_in_survey_feet(grid, route, codes):
    """Real ground, the Jacksboro fault (a sample of matplotlib, 3 arc seconds), against scipy's own interpolation."""
    name = "matplotlib/mpl-data/sample_data/jacksboro_fault_dem.npz"
    try:
        path = importlib.metadata.distribution("matplotlib").locate_file(name)
        data = np.load(path)
    except (importlib.metadata.PackageNotFoundError, FileNotFoundError):
        pytest.skip("matplotlib's sample data are not installed")
    z, step = data["elevation"].astype(np.float32), float(data["dx"])
    west, north = float(data["xmin"]), float(data["ymin"])
    file = grid(z, west, north, step, crs="EPSG:4269")
    there = pyproj.Transformer.from_crs("EPSG:4269", "EPSG:2274", always_xy=True)
    points = [there.transform(*p) for p in ((-84.20, 36.55), (-84.192, 36.553), (-84.188, 36.549))]
    read = route(points, Terrain(file, cover=1.0, scatter=0.3), crs="EPSG:2274")
    assert codes(read)["terrain-coarse"] == 1
    rows, columns = (np.arange(n) + 0.5 for n in z.shape)
    reference = RegularGridInterpolator((north - rows[::-1] * step, west + columns * step), z[::-1])
    back = pyproj.Transformer.from_crs("EPSG:2274", "EPSG:4269", always_xy=True)
    foot = 1200.0 / 3937.0
    off = []
    for duct in read.ducts:
        assert duct.elevation_from == "terrain"
        where = place(duct.chain, duct.start, duct.heading, 0.01).points
        lon, lat = back.transform(where[:, 0] / foot, where[:, 1] / foot)
        off.append(where[:, 2] - (reference(np.stack((lat, lon), axis=-1)) - 1.0))
    off = np.concatenate(off)
    assert np.sqrt((off**2).mean()) < 0.5
    assert np.abs(off).max() < 1.5
    assert np.ptp([d.start[2] for d in read.ducts]) > 5.0  # there is a hill to follow


def test_the_grid_is_read_in_a_process_of_its_own(grid, route, monkeypatch):
    monkeypatch.undo()
    read = route(
        [(E + 50.0, N - 300.0), (E + 350.0, N - 300.0)], Terrain(grid(plane(), E, N, 5.0), cover=0.9)
    )
    assert read.ducts[0].start[2] == pytest.approx(103.1, abs=0.01)


def test_ducts_do_not_follow_every_bump(grid, route):
    """A slope of 3 % with 10 cm of noise in every cell of 2 m: a few grades, not a hundred hills."""
    rng = np.random.default_rng(20)
    z = plane(cell=2.0, size=300, east=0.03, north=0.0) + rng.normal(0.0, 0.1, (300, 300))
    read = route([(E + 50.0, N - 301.0), (E + 450.0, N - 301.0)], Terrain(grid(z, E, N, 2.0), cover=0.9))
    chain = read.ducts[0].chain
    assert len(chain) <= 5
    assert np.abs(np.tan(chain.grade_in) - 0.03).max() < 0.01


def test_other_sources_come_first(grid, route, codes):
    file = grid(plane(), E, N, 5.0)
    points = [(E + 50.0, N - 300.0), (E + 350.0, N - 300.0), (E + 350.0, N - 100.0)]
    read = route(points, Terrain(file, cover=0.9), inverts=[102.0, 107.0, None])
    assert [d.elevation_from for d in read.ducts] == ["inverts", "terrain"]
    assert "invert-missing" not in codes(read)


def test_a_terrain_that_serves_no_duct_is_said(grid, route, said):
    points = [(E + 50.0, N - 300.0), (E + 350.0, N - 300.0)]
    read = route(points, Terrain(grid(plane(), E, N, 5.0), cover=0.9), inverts=[102.0, 107.0])
    assert "the terrain served none" in said(read, "elevation-sources")[0]


def test_inverts_above_the_ground_or_deep_under_it_are_said(grid, route, said):
    """104 m of ground at V0 and 110 at V1."""
    points = [(E + 50.0, N - 300.0), (E + 350.0, N - 300.0)]
    read = route(points, Terrain(grid(plane(), E, N, 5.0), cover=0.9), inverts=[102.0, 130.0])
    (text,) = said(read, "invert-against-terrain")
    assert "V1" in text
    assert "20.00 m (65.62 ft) above" in text


@pytest.mark.parametrize("nodata", [-9999.0, None])
def test_blank_cells_are_bridged_or_said(grid, route, codes, said, nodata):
    """-9999, with the file's own word for it or without."""
    z = plane()
    z[55:66, 30:40] = -9999.0  # 150 to 200 m east, across the line
    file = grid(z, E, N, 5.0, nodata=nodata)
    read = route([(E + 50.0, N - 300.0), (E + 350.0, N - 300.0)], Terrain(file, cover=0.9))
    assert codes(read)["terrain-gap"] == 1
    assert np.tan(read.ducts[0].chain.grade_in).tolist() == pytest.approx(
        [0.02] * len(read.ducts[0].chain), abs=1e-4
    )
    read = route([(E + 170.0, N - 300.0), (E + 350.0, N - 300.0)], Terrain(file, cover=0.9))
    assert codes(read)["terrain-missing"] == codes(read)["elevation-none"] == 1
    assert read.ducts[0].elevation_from == ""
    assert not read.ducts[0].elevated


def test_a_route_off_the_grid_is_flat_and_said(grid, route, codes):
    read = route(
        [(E - 500.0, N - 300.0), (E - 300.0, N - 300.0)], Terrain(grid(plane(), E, N, 5.0), cover=0.9)
    )
    assert codes(read)["terrain-missing"] == 1
    assert not read.ducts[0].elevated


def test_what_cannot_be_used_is_refused(grid, route, tmp_path, monkeypatch):
    points = [(E + 50.0, N - 300.0), (E + 350.0, N - 300.0)]

    def refused(file, **said):
        with pytest.raises(InputRefusedError) as error:
            route(points, Terrain(str(file), cover=0.9, **said))
        return error.value.code

    assert refused(grid(plane(), E, N, 5.0, unit="")) == "terrain-no-units"
    assert refused(grid(plane(), E, N, 5.0, crs=None)) == "terrain-no-crs"
    assert refused(grid(np.zeros((3, 9, 9), np.uint8), E, N, 5.0)) == "terrain-bands"
    assert refused(tmp_path / "none.tif") == "no-file"
    (tmp_path / "page.tif").write_bytes(b"%PDF-1.7 and more")
    assert refused(tmp_path / "page.tif") == "wrong-format"
    (tmp_path / "cut.tif").write_bytes(b"II*\x00" + b"\x10\x00\x00\x00" + b"\xff" * 40)
    assert refused(tmp_path / "cut.tif") == "terrain-unreadable"
    assert refused(grid(plane(), E, N, 5.0), units="cubits") == "unknown-unit"
    monkeypatch.setattr(terrain_grid, "rasterio", None)
    assert refused(grid(plane(), E, N, 5.0)) == "reader-missing"


def test_a_route_whose_place_is_not_known_is_refused(grid, layer, survey):
    path = layer([LineString([(0, 0), (300, 0)])], crs=None)
    with pytest.raises(InputRefusedError) as error:
        survey(path, ducts="ducts", units="m", terrain=Terrain(grid(plane(), E, N, 5.0), cover=0.9))
    assert error.value.code == "terrain-no-place"
