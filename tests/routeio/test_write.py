"""Surveys written: drawings that audit clean, GeoPackages of version 1.3, both read back to the same chains."""

import sqlite3

import ezdxf
import numpy as np
import pyogrio
import pytest
import shapely

from mechanics.centreline import place
from mechanics.errors import DomainError
from routeio import bulges, dxf_peek, gis_peek
from routeio.write import read_chains, write_survey
from routeio.write_gpkg import has_height

FIELDS = ("length", "grade_in", "grade_out", "turn")


def alike(a, b, tolerance=1e-6):
    return len(a) == len(b) and all(np.abs(getattr(a, f) - getattr(b, f)).max() < tolerance for f in FIELDS)


@pytest.fixture
def flat(survey, saved):
    """Far from the origin, in US survey feet: straights, tangent arcs, a piece that goes on in another, vaults."""
    drawing = ezdxf.new("R2010", units=21)
    drawing.header["$MEASUREMENT"] = 0
    space, at = drawing.modelspace(), np.array([2_000_000.0, 500_000.0])
    manhole = drawing.blocks.new("MH")
    manhole.add_lwpolyline([(-3, -3), (3, -3), (3, 3), (-3, 3)], close=True)
    for tag in ("TAG", "TYPE", "SPLICE"):
        manhole.add_attdef(tag, (0, 0))
    for x, y, tag, splice in ((0, 0, "MH-1", "yes"), (400, 120, "MH-2", "no"), (700, 88, "MH-3", "yes")):
        mark = space.add_blockref("MH", (at[0] + x, at[1] + y), dxfattribs={"layer": "VAULT"})
        mark.add_auto_attribs({"TAG": tag, "TYPE": "precast", "SPLICE": splice})
    corners = [(0, 0, 0), (300, 0, np.tan(np.pi / 8)), (400, 100, 0), (400, 120, 0)]
    space.add_lwpolyline([(*(at + c[:2]), c[2]) for c in corners], format="xyb", dxfattribs={"layer": "DUCT"})
    corners = [(400, 120, 0), (500, 120, -0.1), (580, 104, 0.1), (660, 88, 0), (700, 88, 0)]
    space.add_lwpolyline([(*(at + c[:2]), c[2]) for c in corners], format="xyb", dxfattribs={"layer": "DUCT"})
    return survey(saved(drawing), ducts="DUCT", vaults="VAULT", sweep=3.0)


@pytest.fixture
def hilly(survey, layer):
    """Digitised lines with elevations, in a projected system, with fields."""
    t = np.linspace(0, 1, 40)
    xy = np.column_stack((500_000 + 200 * t, 5_400_000 + 20 * np.sin(3 * t)))
    line = shapely.LineString(np.column_stack((xy, 100 + 6 * np.sin(2 * t))))
    path = layer([line, shapely.LineString([(*xy[-1], 105), (500_260, 5_400_001, 103)])], size=["5", "4"])
    return survey(path, ducts="ducts", crs="EPSG:32632", sweep=10.0)


def test_drawing_of_a_flat_survey_reads_back_to_the_same(flat, tmp_path, survey):
    path = tmp_path / "out.dxf"
    write_survey(flat, path)
    drawing = ezdxf.readfile(path)
    assert not drawing.audit().has_errors
    assert not drawing.audit().has_fixes
    assert drawing.header["$INSUNITS"] == 21
    again = survey(path, ducts="DUCT", vaults="VAULT", sweep=3.0)
    assert len(again.ducts) == len(flat.ducts) == 2
    for before, after in zip(flat.ducts, again.ducts, strict=True):
        assert alike(before.chain, after.chain)
        assert after.start == pytest.approx(before.start, abs=1e-6)
        assert (after.start_vault, after.end_vault) == (before.start_vault, before.end_vault)
    assert [(v.tag, v.kind, v.splice) for v in again.vaults] == [
        ("MH-1", "precast", True),
        ("MH-2", "precast", False),
        ("MH-3", "precast", True),
    ]
    for before, after in zip(flat.vaults, again.vaults, strict=True):
        assert after.footprint.symmetric_difference(before.footprint).area < 1e-6
    assert {
        k: alike(c, d.chain, 1e-12) for (k, c), d in zip(read_chains(path).items(), flat.ducts, strict=True)
    } == dict.fromkeys([d.id for d in flat.ducts], True)


def test_arcs_are_arcs(flat, tmp_path):
    """The duct of the first span has one arc, 100 ft in radius, of 90 degrees."""
    write_survey(flat, tmp_path / "out.dxf")
    line = ezdxf.readfile(tmp_path / "out.dxf").modelspace().query("LWPOLYLINE[layer=='DUCT']").first
    points = np.array(line.get_points("xyb"))
    (arc,) = np.flatnonzero(points[:, 2])
    turn = 4 * np.arctan(points[arc, 2])
    radius = np.hypot(*(points[arc + 1] - points[arc])[:2]) / (2 * np.sin(turn / 2))
    assert (turn, radius) == pytest.approx((np.pi / 2, 100), rel=1e-9)


def test_drawing_of_ducts_with_elevations(hilly, tmp_path):
    assert all(d.elevated for d in hilly.ducts)
    path = tmp_path / "out.dxf"
    write_survey(hilly, path, chord=0.002)
    drawing = ezdxf.readfile(path)
    assert not drawing.audit().has_errors
    back = read_chains(path)
    plans = drawing.modelspace().query("LWPOLYLINE[layer=='ducts']")
    courses = drawing.modelspace().query("POLYLINE[layer=='TAUTLINE-3D']")
    for duct, plan, course in zip(hilly.ducts, plans, courses, strict=True):
        assert alike(back[duct.id], duct.chain, 1e-12)
        dense = place(duct.chain, duct.start, duct.heading, 1e-5).points
        line = shapely.LineString([v.dxf.location.xyz for v in course.vertices])
        assert line.hausdorff_distance(shapely.LineString(dense)) < 0.002
        xyb = np.array(plan.get_points("xyb"))
        off = [
            bulges.nearest_spot(xyb[:, :2], xyb[:-1, 2], *p[:2]).distance for p in dense[:: len(dense) // 50]
        ]
        assert max(off) < 0.001


@pytest.mark.parametrize("which", ["flat", "hilly"])
def test_geopackage(which, request, tmp_path):
    before = request.getfixturevalue(which)
    path = tmp_path / "out.gpkg"
    write_survey(before, path, chord=0.002)
    with sqlite3.connect(path) as base:
        # GeoPackage 1.3: user_version 10300 (clause 1.1.1.1.1)
        assert base.execute("PRAGMA user_version").fetchone()[0] == 10300
    base.close()
    back = read_chains(path)
    ducts = pyogrio.read_dataframe(path, layer="ducts").set_index("duct")
    segments = pyogrio.read_dataframe(path, layer="segments")
    scale = before.ground.metres_per_unit
    for duct in before.ducts:
        assert alike(back[duct.id], duct.chain, 1e-12)
        row = ducts.loc[duct.id]
        assert (row.start_x_m, row.start_y_m, row.heading_rad) == (*duct.start[:2], duct.heading)
        assert row["size"] == duct.fields.size
        dense = place(duct.chain, duct.start, duct.heading, 1e-5).points / scale
        assert row.geometry.hausdorff_distance(shapely.LineString(dense[:, :2])) * scale < 0.002
        assert has_height(row.geometry) is duct.elevated
    assert len(segments) == sum(len(d.chain) for d in before.ducts)
    assert ducts.crs.to_epsg() == {"flat": None, "hilly": 32632}[which]
    if which == "flat":  # a drawing without a CRS: an undefined Cartesian system
        assert "Undefined Cartesian" in ducts.crs.name


def test_geopackage_read_as_a_layer_keeps_lengths_and_turns(flat, tmp_path, survey):
    """By its geometry a chain comes back through the recovery of shapes, so within tolerances, not to the last bit."""
    write_survey(flat, tmp_path / "out.gpkg")
    again = survey(tmp_path / "out.gpkg", ducts="ducts", vaults="vaults", crs="EPSG:2229", sweep=3.0)
    for before, after in zip(flat.ducts, again.ducts, strict=True):
        assert after.chain.total_length == pytest.approx(before.chain.total_length, abs=0.05)
        assert np.abs(after.chain.turn).sum() == pytest.approx(np.abs(before.chain.turn).sum(), abs=0.02)


def test_only_new_files_are_written(flat, tmp_path):
    path = tmp_path / "there.dxf"
    path.write_text("mine")
    with pytest.raises(FileExistsError):
        write_survey(flat, path)
    assert path.read_text() == "mine"
    with pytest.raises(ValueError, match=r"\.dxf, \.gpkg"):
        write_survey(flat, tmp_path / "out.shp")
    with pytest.raises(DomainError):
        write_survey(flat, tmp_path / "out.dxf", chord=float("nan"))
    with pytest.raises(OSError, match="nowhere"):
        write_survey(flat, tmp_path / "nowhere" / "out.dxf")
    assert [p.name for p in tmp_path.iterdir() if p.name.strip(".").startswith("out")] == []


def test_a_file_without_our_numbers(tmp_path, saved, drawing):
    drawing.modelspace().add_lwpolyline([(0, 0), (1, 0)])
    with pytest.raises(ValueError, match="no segments"):
        read_chains(saved(drawing))


@pytest.fixture
def graded(survey, tmp_path):
    """As a schedule states it: bends in plan, a rise and a drop with the vertical curves of their bends, vaults at levels."""
    head = "kind,tag,length [ft],angle [deg],radius [ft],direction,offset [ft],elevation [ft]"
    rows = ("vault,A,,,,,,100", "straight,,120", "bend,,,45,12.5,left", "straight,,60", "rise,,,10,25,,4", "straight,,80",
            "vault,B", "straight,,50", "drop,,,15,25,,6", "straight,,40", "bend,,,90,25,right", "straight,,70", "vault,C", "end")  # fmt: skip
    path = tmp_path / "span.csv"
    path.write_text("\n".join((head, *rows)), encoding="utf-8")
    return survey(path)


@pytest.mark.parametrize(("file", "layer"), [("out.dxf", "TAUTLINE-3D"), ("out.gpkg", "ducts")])
def test_graded_ducts_read_back_from_their_lines_alone(graded, tmp_path, survey, file, layer):
    write_survey(graded, tmp_path / file)
    peek = {"out.dxf": dxf_peek, "out.gpkg": gis_peek}[file].peek
    assert [name for what, name, _ in peek(tmp_path / file)["guesses"] if what == "ducts"] == [layer]
    again = survey(tmp_path / file, ducts=layer, vaults="*vault*", units="ft")
    assert [len(d.chain) for d in graded.ducts] == [len(d.chain) for d in again.ducts]
    for before, after in zip(graded.ducts, again.ducts, strict=True):
        chain = after.chain if before.start_vault == after.start_vault else after.chain.reversed()
        assert alike(before.chain, chain)
