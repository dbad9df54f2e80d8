"""What real drawings and layers do, as far as no other test of the readers has it: one small file a hazard."""

import math
import warnings

import numpy as np
import pyogrio
import pytest
import shapely
from shapely.geometry import LineString

from routeio.findings import InputRefusedError
from routeio.options import Selection

DUCT = {"layer": "DUCT"}


def test_an_arc_without_a_chord_is_dropped_with_a_finding(drawing, saved, survey, codes):
    """Bulges on legs of no length: CAD programs leave them where two clicks fell on one place."""
    corners = [(0, 0, 0.5), (0, 0, 0), (10, 0, math.tan(math.pi / 8)), (15, 5, 0.7), (15, 5, 0), (15, 20, 0)]
    drawing.modelspace().add_lwpolyline(corners, format="xyb", dxfattribs=DUCT)
    read = survey(saved(drawing), ducts="DUCT")
    (duct,) = read.ducts
    assert duct.chain.length == pytest.approx([10, 5 * math.pi / 2, 15])
    assert duct.chain.turn == pytest.approx([0, math.pi / 2, 0])
    assert codes(read).keys() & {"repeated-vertex", "zero-length-leg"}


def test_a_closed_polyline_keeps_its_closing_segment(drawing, saved, survey):
    """A square of 40 m round from a vault in the middle of its last side: the closing one."""
    space = drawing.modelspace()
    space.add_lwpolyline([(0, 0), (10, 0), (10, 10), (0, 10)], close=True, dxfattribs=DUCT)
    space.add_circle((0, 5), 0.5, dxfattribs={"layer": "VAULT"})
    (duct,) = survey(saved(drawing), ducts="DUCT", vaults="VAULT", sweep=1.0).ducts
    assert duct.start_vault == duct.end_vault
    # four corners of radius 1 are each 2 - pi/2 shorter than drawn
    assert duct.chain.total_length == pytest.approx(40 - 4 * (2 - math.pi / 2), abs=1.1)
    assert duct.chain.turn.sum() == pytest.approx(2 * math.pi)


@pytest.mark.parametrize("z", [0.0, 3.0])
def test_a_closed_polyline_of_two_vertices_is_no_duct(drawing, saved, survey, z):
    """It goes out and comes back on itself, and must not become a duct of no length."""
    space = drawing.modelspace()
    space.add_polyline3d([(0, 0, z), (3, 4, z)], close=True, dxfattribs=DUCT)
    space.add_line((0, 20, z), (9, 20, z), dxfattribs=DUCT)
    read = survey(saved(drawing), ducts="DUCT", sweep=1.0)
    assert [d.chain.total_length for d in read.ducts] == [9]
    assert [(f.code, f.severity) for f in read.findings if f.code == "line-turns-back"] == [
        ("line-turns-back", "error")
    ]


def test_coordinates_in_the_millions_lose_nothing(drawing, saved, survey):
    """Steps of 2^-20 m are exact in binary far from the origin: what is read there is what was drawn."""
    step = 2.0**-20
    corners = np.array([(0, 0), (100 + step, 0), (105, 5 + step), (105, 300)])
    for shift in ((0, 0), (2**21, 2**22)):
        points = [(*(p + shift), b) for p, b in zip(corners, (0, math.tan(math.pi / 8), 0, 0), strict=True)]
        drawing.modelspace().add_lwpolyline(points, format="xyb", dxfattribs=DUCT)
    near, far = survey(saved(drawing), ducts="DUCT").ducts
    for name in ("length", "turn"):
        assert getattr(far.chain, name) == pytest.approx(getattr(near.chain, name), abs=1e-12)
    assert near.chain.length[0] == 100 + step


def test_lengths_are_lengths_in_space(layer, survey):
    """shapely's length is that of the plan."""
    line = LineString([(500000, 5400000, 100), (500030, 5400040, 105)])
    (duct,) = survey(layer([line]), ducts="ducts").ducts
    assert line.length == 50
    assert duct.chain.total_length == pytest.approx(math.hypot(50, 5))


def test_lines_with_and_without_elevations_in_one_layer(layer, survey, codes):
    raised = LineString([(500000, 5400000, 100), (500100, 5400000, 101)])
    unknown = LineString([(500000, 5400050, math.nan), (500100, 5400050, math.nan)])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        path = layer([raised, LineString([(500000, 5400100), (500100, 5400100)]), unknown])
    read = survey(path, ducts="ducts")
    assert [d.elevated for d in read.ducts] == [True, False, False]
    assert codes(read)["elevation-mixed"] == 1
    assert read.ducts[1].chain.total_length == 100


def test_ids_that_stand_twice_are_told_apart(layer, survey):
    lines = [LineString([(500000, 5400000 + k), (500100, 5400000 + k)]) for k in (0, 50, 90)]
    path = layer(lines, nm=["A", "A", "B"])
    read = survey(path, ducts=Selection("ducts", fields={"id": "nm"}))
    assert sorted(d.where.id for d in read.ducts) == ["A", "A", "B"]
    assert len({d.id for d in read.ducts}) == 3


@pytest.mark.parametrize("bad", [math.inf, -math.inf, 1e20])
def test_a_coordinate_that_is_no_place_is_refused_by_feature(layer, raw, bad):
    lines = [
        LineString([(500000, 5400000), (500100, 5400000)]),
        LineString([(500000, bad), (500100, 5400000)]),
    ]
    path = layer(lines)
    with pytest.raises(InputRefusedError) as refused:
        raw(path, ducts="ducts")
    assert (refused.value.code, refused.value.where.id) == ("bad-number", "2")


def test_a_system_that_states_northing_first_is_read_easting_first(layer, raw):
    """Gauss-Krueger zone 3 (EPSG:31467) names northing before easting; layer files hold easting first all the same."""
    path = layer([LineString([(3500000, 5400000), (3500100, 5400000)])], crs="EPSG:31467")
    read = raw(path, ducts="ducts")
    assert read.lines[0].points[:, 0] == pytest.approx([3500000, 3500100])
    assert "outside-area-of-use" not in {f.code for f in read.findings}


def test_one_line_in_several_layers_of_one_file(layer, raw):
    """A neighbour of the same name in another layer of the file is not touched, and the file is not written to."""
    line = LineString([(500000, 5400000), (500100, 5400000)])
    path = layer([line], layer="ducts")
    layer([line, line], layer="old", append=True)
    before = path.read_bytes()
    assert len(raw(path, ducts="ducts").lines) == 1
    assert len(raw(path, ducts=("ducts", "old")).lines) == 3
    assert path.read_bytes() == before
    assert set(pyogrio.list_layers(path)[:, 0]) == {"ducts", "old"}


def test_a_spline_through_one_place_and_an_ellipse_of_no_size(drawing, saved, raw):
    space = drawing.modelspace()
    space.add_line((0, 0), (1, 0), dxfattribs=DUCT)
    point = space.add_spline(dxfattribs=DUCT)
    point.control_points, point.knots = [(5, 5)] * 4, [0, 0, 0, 0, 1, 1, 1, 1]
    space.add_spline(dxfattribs=DUCT)
    space.add_ellipse((0, 0), (1e-11, 0), 1e-6, dxfattribs=DUCT)
    read = raw(saved(drawing), ducts="DUCT")
    assert all(np.isfinite(line.points).all() for line in read.lines)
    assert sum(n for kind, n in read.counts.items() if not kind.endswith("blocks")) == len(space)
    assert shapely.LineString(read.lines[0].points).length == 1
