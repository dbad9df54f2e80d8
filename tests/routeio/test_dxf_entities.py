"""What stands in a drawing: each kind of entity as the line it is, in the world's coordinates."""

import math

import ezdxf
import numpy as np
import pytest
from ezdxf.math import Matrix44, Vec3

from routeio import bulges
from routeio.findings import InputRefusedError

DUCT = {"layer": "DUCT"}


def shape(line):
    """Length in plan and signed turn of a raw line."""
    turn = 4 * np.arctan(line.bulge).sum()
    return bulges.leg_lengths(line.points, line.bulge).sum(), turn


@pytest.mark.parametrize(
    ("start", "end", "turn"),
    [(0, 90, 90), (270, 0, 90), (10, 350, 340), (350, 10, 20), (0, 180, 180), (30, 30, 360)],
)
def test_arc(drawing, saved, raw, start, end, turn):
    drawing.modelspace().add_arc((10, 20), 5, start, end, dxfattribs=DUCT)
    (line,) = raw(saved(drawing)).lines
    length, turned = shape(line)
    assert length == pytest.approx(5 * math.radians(turn), rel=1e-12)
    assert turned == pytest.approx(math.radians(turn), rel=1e-12)
    first = (10 + 5 * math.cos(math.radians(start)), 20 + 5 * math.sin(math.radians(start)))
    assert line.points[0, :2] == pytest.approx(first)
    assert line.drawn


def test_bulges_beyond_a_half_circle_and_closed(drawing, saved, raw):
    space = drawing.modelspace()
    space.add_lwpolyline([(0, 0, 2.0), (4, 0, 0)], format="xyb", dxfattribs=DUCT)
    space.add_lwpolyline([(0, 9, 0), (10, 9, 0), (10, 19, 1.0)], format="xyb", close=True, dxfattribs=DUCT)
    space.add_polyline2d([(0, 50, 0.5), (8, 50, 0)], format="xyb", dxfattribs=DUCT)
    beyond, closed, old = raw(saved(drawing)).lines
    # bulge 2: turn 4 atan 2 = 253.74 degrees; radius = chord / (2 sin(turn / 2))
    turn = 4 * math.atan(2)
    assert shape(beyond) == pytest.approx((turn * 4 / (2 * math.sin(turn / 2)), turn))
    # the closing leg is the half circle over the hypotenuse
    assert np.array_equal(closed.points[0], closed.points[-1])
    assert shape(closed)[0] == pytest.approx(20 + math.pi * math.hypot(10, 10) / 2)
    assert shape(old)[1] == pytest.approx(4 * math.atan(0.5))


def test_3d_polyline_and_elevation(drawing, saved, raw):
    space = drawing.modelspace()
    space.add_polyline3d([(0, 0, 1), (3, 4, 2), (6, 8, 5)], dxfattribs=DUCT)
    space.add_lwpolyline([(0, 9), (1, 9)], dxfattribs={**DUCT, "elevation": 7.5})
    deep, level = raw(saved(drawing)).lines
    assert deep.points[:, 2].tolist() == [1, 2, 5]
    assert level.points[:, 2].tolist() == [7.5, 7.5]


def test_extrusion_downward_mirrors_the_plan(drawing, saved, raw):
    """Lengths, |turn| and grades alike; the sense of the turn round; x mirrored (ezdxf's OCS as the reference)."""
    vertices = [(0, 0, 0.3), (10, 0, 0), (20, 5, -0.8), (30, 5, 0)]
    space = drawing.modelspace()
    space.add_lwpolyline(vertices, format="xyb", dxfattribs=DUCT)
    space.add_lwpolyline(vertices, format="xyb", dxfattribs={**DUCT, "extrusion": (0, 0, -1)})
    space.add_arc((7, 3), 4, 20, 110, dxfattribs={**DUCT, "extrusion": (0, 0, -1)})
    plain, mirrored, arc = raw(saved(drawing)).lines
    assert mirrored.points[:, 0] == pytest.approx(-plain.points[:, 0], abs=1e-12)
    assert mirrored.points[:, 1] == pytest.approx(plain.points[:, 1], abs=1e-12)
    assert np.array_equal(mirrored.bulge, -plain.bulge)
    reference = (
        space[2].ocs().to_wcs(Vec3(7 + 4 * math.cos(math.radians(20)), 3 + 4 * math.sin(math.radians(20))))
    )
    assert arc.points[0] == pytest.approx(reference.xyz)
    assert shape(arc)[1] == pytest.approx(-math.pi / 2)


def test_arc_in_an_upright_plane_is_a_vertical_bend(drawing, saved, raw, codes):
    """A quarter circle of radius 6 standing in the plane y = 0: 6 along, 6 up, followed by chords."""
    arc = drawing.modelspace().add_arc((0, 0), 6, 270, 360, dxfattribs=DUCT)
    arc.transform(Matrix44.x_rotate(math.pi / 2))
    read = raw(saved(drawing))
    (line,) = read.lines
    step = np.linalg.norm(np.diff(line.points, axis=0), axis=1)
    assert step.sum() == pytest.approx(6 * math.pi / 2, rel=3e-4)
    assert np.abs(line.points[:, 1]).max() < 1e-9
    assert line.points[-1] - line.points[0] == pytest.approx([6, 0, 6])
    assert codes(read)["curve-followed"] == 1


def test_spline_and_ellipse_are_followed_within_tolerance(drawing, saved, raw, said):
    space = drawing.modelspace()
    space.add_ellipse((0, 0), (20, 0), 0.5, 0, math.pi, dxfattribs=DUCT)
    spline = space.add_spline([(0, 50), (10, 60), (30, 55), (50, 70)], dxfattribs=DUCT)
    read = raw(saved(drawing), chord_tolerance=0.02)
    ellipse, curve = read.lines
    # Ramanujan's second approximation of the perimeter, exact to 1e-9 at this ratio
    h = ((20 - 10) / (20 + 10)) ** 2
    half = math.pi * 30 * (1 + 3 * h / (10 + math.sqrt(4 - 3 * h))) / 2
    assert shape(ellipse)[0] == pytest.approx(half, rel=1e-4)
    assert 4 * np.arctan(ellipse.bulge).sum() == pytest.approx(math.pi, rel=1e-6)
    assert len(ellipse.bulge) < 60
    dense = np.array([p.xyz for p in spline.construction_tool().approximate(5000)])
    assert shape(curve)[0] == pytest.approx(np.linalg.norm(np.diff(dense, axis=0), axis=1).sum(), rel=1e-4)
    assert "arcs and straights" in said(read, "curve-followed")[0]
    (followed,) = [f for f in read.findings if f.code == "curve-followed"]
    assert followed.where.id in {ellipse.where.id, curve.where.id}
    assert round(followed.where.y, 6) in {0.0, 50.0}  # where one of them begins


def test_curve_fit_polylines_take_the_curve_not_the_frame(drawing, saved, raw):
    polyline = drawing.modelspace().add_polyline2d([(0, 0), (5, 9), (10, 0)], dxfattribs=DUCT)
    for vertex in polyline.vertices:
        vertex.dxf.flags = 16  # frame control point
    polyline.append_vertices([(0, 0), (2.5, 3), (5, 4), (7.5, 3), (10, 0)], dxfattribs={"flags": 8})
    polyline.dxf.flags |= 4  # spline-fit
    (line,) = raw(saved(drawing)).lines
    assert line.points[:, 1].tolist() == [0, 3, 4, 3, 0]


def test_kinds_that_are_no_duct_are_counted_and_said(drawing, saved, raw):
    space = drawing.modelspace()
    space.add_line((0, 0), (1, 0), dxfattribs=DUCT)
    space.add_text("5 in PVC", dxfattribs=DUCT)
    space.add_3dface([(0, 0), (1, 0), (1, 1)], dxfattribs=DUCT)
    space.add_circle((0, 0), 1, dxfattribs=DUCT)
    space.add_polyface(dxfattribs=DUCT)
    space.add_polymesh((2, 2), dxfattribs=DUCT)
    space.add_line((0, 0), (5, 5), dxfattribs={"layer": "STREET"})
    drawing.layout("Layout1").add_line((0, 0), (1, 1), dxfattribs=DUCT)
    read = raw(saved(drawing), ducts="DUCT")
    assert len(read.lines) == 1
    total = sum(len(layout) for layout in drawing.layouts)
    assert sum(read.counts.values()) == total
    assert read.counts["read LINE"] == 1
    skipped = {f.message.split()[1]: f.severity for f in read.findings if f.code == "entity-skipped"}
    assert skipped["TEXT"] == "info"
    assert skipped["3DFACE"] == skipped["CIRCLE"] == skipped["POLYLINE"] == "warning"
    assert [f for f in read.findings if f.code == "paper-space"]


@pytest.mark.parametrize("value", ["1e999", "-1e20", "nan"])
@pytest.mark.parametrize("kind", ["LINE", "LWPOLYLINE", "ARC", "INSERT", "SPLINE", "ELLIPSE"])
def test_numbers_that_are_no_place_are_refused_by_handle(drawing, tmp_path, saved, raw, kind, value):
    space = drawing.modelspace()
    block = drawing.blocks.new("B")
    block.add_line((0, 0), (1, 0), dxfattribs=DUCT)
    entity = {
        "LINE": lambda: space.add_line((12345.5, 0), (1, 0), dxfattribs=DUCT),
        "LWPOLYLINE": lambda: space.add_lwpolyline([(12345.5, 0), (1, 0)], dxfattribs=DUCT),
        "ARC": lambda: space.add_arc((12345.5, 0), 3, 0, 90, dxfattribs=DUCT),
        "INSERT": lambda: space.add_blockref("B", (12345.5, 0), dxfattribs=DUCT),
        "SPLINE": lambda: space.add_open_spline([(12345.5, 0), (1, 2), (2, 2), (3, 0)], dxfattribs=DUCT),
        "ELLIPSE": lambda: space.add_ellipse((12345.5, 0), (3, 0), 0.5, dxfattribs=DUCT),
    }[kind]()
    path = saved(drawing)
    path.write_text(path.read_text(encoding="utf-8").replace("12345.5", value), encoding="utf-8")
    with pytest.raises(InputRefusedError) as refused:
        raw(path, ducts="DUCT")
    assert refused.value.code == "bad-number"
    assert refused.value.where.id == entity.dxf.handle
    assert refused.value.where.layer == "DUCT"


def test_an_infinite_bulge_is_refused_and_a_tiny_one_is_straight(drawing, saved, raw, survey):
    drawing.modelspace().add_lwpolyline([(0, 0, 1e-12), (100, 0, 0)], format="xyb", dxfattribs=DUCT)
    path = saved(drawing)
    (duct,) = survey(path).ducts
    assert duct.chain.turn.tolist() == [0.0]
    assert duct.chain.total_length == pytest.approx(100)
    path.write_text(path.read_text(encoding="utf-8").replace("1e-12", "1e999"), encoding="utf-8")
    with pytest.raises(InputRefusedError, match="inf"):
        raw(path)


def test_header_extents_of_nowhere_do_not_matter(drawing, saved, raw):
    drawing.modelspace().add_line((0, 0), (10, 0), dxfattribs=DUCT)
    drawing.header["$EXTMIN"] = (1e20, 1e20, 1e20)
    drawing.header["$EXTMAX"] = (-1e20, -1e20, -1e20)
    assert len(raw(saved(drawing)).lines) == 1


def test_layers_by_pattern_and_refusal_lists_them(drawing, saved, raw):
    space = drawing.modelspace()
    for layer in ("E-DUCT-1", "e-duct-2", "WATER", "E-DUCT[x]"):
        space.add_line((0, 0), (1, 0), dxfattribs={"layer": layer})
    path = saved(drawing)
    assert len(raw(path, ducts="E-DUCT-?").lines) == 2
    assert len(raw(path, ducts=["E-DUCT[x]", "WAT*"]).lines) == 2
    with pytest.raises(InputRefusedError) as refused:
        raw(path, ducts="E-DUKT-1")
    assert refused.value.code == "missing-layer"
    assert "perhaps 'E-DUCT-1'" in refused.value.remedy
    assert "'WATER'" in refused.value.remedy


def test_guessed_layers_are_findings_and_none_is_a_refusal(drawing, saved, raw, codes):
    space = drawing.modelspace()
    space.add_line((0, 0), (1, 0), dxfattribs={"layer": "U-CONDUIT"})
    space.add_line((0, 0), (1, 0), dxfattribs={"layer": "U-CONDUIT-TEXT"})
    space.add_point((0, 0), dxfattribs={"layer": "MANHOLES"})
    read = raw(saved(drawing))
    assert (len(read.lines), len(read.vaults)) == (1, 1)
    assert codes(read)["layer-guessed"] == 2
    other = ezdxf.new()
    for layer in ("A", "B"):
        other.modelspace().add_line((0, 0), (1, 0), dxfattribs={"layer": layer})
    with pytest.raises(InputRefusedError, match="'A', 'B'") as refused:
        raw(saved(other))
    assert refused.value.code == "no-layer-chosen"


def test_a_duct_layer_without_a_line_is_refused(drawing, saved, raw):
    drawing.modelspace().add_text("to be drawn", dxfattribs=DUCT)
    drawing.modelspace().add_circle((0, 0), 1, dxfattribs=DUCT)
    with pytest.raises(InputRefusedError, match="1 TEXT, 1 CIRCLE") as refused:
        raw(saved(drawing), ducts="DUCT")
    assert refused.value.code == "nothing-to-read"
    assert [f.code for f in refused.value.findings].count("entity-skipped") == 2


def test_hidden_layers_are_read_and_said(drawing, saved, raw, codes):
    drawing.layers.add("DUCT").freeze()
    drawing.modelspace().add_line((0, 0), (1, 0), dxfattribs=DUCT)
    assert codes(raw(saved(drawing), ducts="DUCT"))["layer-hidden"] == 1


@pytest.mark.parametrize("form", ["asc", "bin"])
def test_hidden_entities_are_read_and_said(drawing, saved, raw, form):
    space = drawing.modelspace()
    for y in range(4):
        space.add_lwpolyline([(0, y), (9, y)], dxfattribs={**DUCT, "invisible": int(y == 2)})
    space.add_line((0, 5), (9, 5), dxfattribs={**DUCT, "invisible": 1})
    space.add_line((0, 6), (9, 6), dxfattribs={"layer": "PLAN", "invisible": 1})
    read = raw(saved(drawing, fmt=form), ducts="DUCT")
    assert [line.points[0, 1] for line in read.lines] == [0, 1, 2, 3, 5]
    found = [f for f in read.findings if f.code == "entity-hidden"]
    assert [f.message.split(" hidden")[0] for f in found] == ["1 LWPOLYLINE", "1 LINE"]
    assert found[0].where.id == space[2].dxf.handle
    assert (read.counts["read LWPOLYLINE"], read.counts["skipped LINE"]) == (4, 1)


def test_the_hidden_state_of_a_block_is_not_read(drawing, saved, raw):
    off = {"invisible": 1}
    inner = drawing.blocks.new("INNER")
    inner.add_line((0, 0), (0, 7), dxfattribs=DUCT)
    block = drawing.blocks.new("STATES")
    block.add_line((0, 0), (9, 0), dxfattribs=DUCT)
    block.add_line((0, 0), (0, 9), dxfattribs={**DUCT, **off})
    block.add_blockref("INNER", (3, 0), dxfattribs=off)
    drawing.modelspace().add_blockref("STATES", (100, 0))
    read = raw(saved(drawing), ducts="DUCT")
    assert [shape(line)[0] for line in read.lines] == [9]
    kinds = [f.message.split(" not read: hidden")[0] for f in read.findings if f.code == "entity-skipped"]
    assert kinds == ["1 LINE", "1 INSERT"]
    assert read.counts["skipped LINE inside blocks"] == 1


def test_versions_and_binary_read_alike(saved, raw):
    shapes = []
    for version in ("R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"):
        for form in ("asc", "bin"):
            drawing = ezdxf.new(version, units=6)
            drawing.modelspace().add_line((1, 2), (3, 4), dxfattribs=DUCT)
            drawing.modelspace().add_polyline2d([(0, 0, 0.5), (8, 0, 0)], format="xyb", dxfattribs=DUCT)
            read = raw(saved(drawing, f"{version}{form}.dxf", fmt=form), units="m")
            shapes.append([shape(line) for line in read.lines])
    assert all(s == shapes[0] for s in shapes)
    assert len(shapes[0]) == 2


def test_no_vertex_of_an_exact_curve_is_a_stray(drawing, saved, survey, codes):
    points = [(0, 0, 0), (40, 10, 1), (80, -10, 3), (120, 30, 4), (200, 0, 5)]
    drawing.modelspace().add_open_spline(points, dxfattribs=DUCT)
    assert not {"stray-elevation", "stray-vertex"} & set(codes(survey(saved(drawing), ducts="DUCT")))


def test_a_stray_vertex_is_said_with_its_place(drawing, saved, survey):
    rng = np.random.default_rng(1)
    points = np.column_stack(
        (np.arange(0.0, 120.0, 2.0), rng.normal(0.0, 0.02, 60), rng.normal(5.0, 0.02, 60))
    )
    points[30, 1] += 1.0
    points[40, 2] += 1.0
    drawing.modelspace().add_polyline3d(points.tolist(), dxfattribs=DUCT)
    found = [f for f in survey(saved(drawing), ducts="DUCT").findings if f.code.startswith("stray-")]
    assert {(f.code, round(f.where.x, 3)) for f in found} == {
        ("stray-vertex", 60.0),
        ("stray-elevation", 80.0),
    }
