"""Blocks: carried exactly, counted before they are expanded, refused by name where they cannot be."""

import itertools
import math
import time

import numpy as np
import pytest
from scipy import integrate
from scipy.spatial import KDTree

from routeio import bulges
from routeio.findings import InputRefusedError

DUCT = {"layer": "DUCT"}
ARRAY = {"row_count": 2, "column_count": 3, "row_spacing": 50, "column_spacing": 70}
VERTICES = [(1, 2, 0.3), (11, 2, 0), (21, 7, -0.8), (31, 7, 0)]


def measures(lines):
    return [
        (float(bulges.leg_lengths(p.points, p.bulge).sum()), float(np.abs(4 * np.arctan(p.bulge)).sum()))
        for p in lines
    ]


@pytest.fixture
def with_block(drawing):
    block = drawing.blocks.new("RUN", base_point=(1, 2))
    block.add_lwpolyline(VERTICES, format="xyb", dxfattribs=DUCT)
    block.add_arc((5, 5), 3, 10, 100, dxfattribs=DUCT)
    block.add_line((0, 0, 1), (3, 4, 2), dxfattribs=DUCT)
    return drawing


def reference(drawing):
    """Lengths and turns of the block's content itself."""
    turn = sum(4 * abs(math.atan(b)) for _, _, b in VERTICES)
    run = sum(
        math.dist(a[:2], b[:2]) * (2 * math.atan(a[2]) / math.sin(2 * math.atan(a[2])) if a[2] else 1)
        for a, b in itertools.pairwise(VERTICES)
    )
    return [(run, turn), (3 * math.pi / 2, math.pi / 2), (5.0, 0.0)]


@pytest.mark.parametrize(
    "placing",
    [
        {},
        {"rotation": 33.0},
        {"xscale": -1.0},
        {"yscale": -1.0, "rotation": 200.0},
        {"xscale": -1.0, "yscale": -1.0},
        {"extrusion": (0, 0, -1), "rotation": 45.0},
    ],
)
def test_turning_and_mirroring_keep_lengths_and_turns(with_block, saved, raw, placing):
    with_block.modelspace().add_blockref("RUN", (2_000_000, 700_000), dxfattribs=placing)
    read = measures(raw(saved(with_block), ducts="DUCT").lines)
    for got, want in zip(read, reference(with_block), strict=True):
        assert got == pytest.approx(want, rel=1e-9)


def test_places_are_those_of_the_reference_library(with_block, saved, raw):
    """ezdxf's own explosion of the same INSERTs, nested, scaled, mirrored, rotated, in a tilted plane and arrays."""
    outer = with_block.blocks.new("OUTER", base_point=(3, -1))
    outer.add_blockref("RUN", (4, 5), dxfattribs={"xscale": -2, "yscale": 2, "rotation": 30})
    outer.add_blockref("RUN", (0, 0, 3), dxfattribs=ARRAY)
    space = with_block.modelspace()
    space.add_blockref("OUTER", (100, 200, 7), dxfattribs={"rotation": -70})
    space.add_blockref("OUTER", (0, 0), dxfattribs={"extrusion": (0, 0, -1)})
    lines = raw(saved(with_block), ducts="DUCT").lines

    def exploded(insert):
        copies = insert.multi_insert() if insert.mcount > 1 else [insert]
        for copy in copies:
            for entity in copy.virtual_entities():
                if entity.dxftype() == "INSERT":
                    yield from exploded(entity)
                else:
                    yield entity

    starts = []
    for insert in space:
        for entity in exploded(insert):
            if entity.dxftype() == "LINE":
                starts.append((*entity.dxf.start.xyz, *entity.dxf.end.xyz))
    ours = [
        tuple(np.concatenate((p.points[0], p.points[1])))
        for p in lines
        if p.bulge.size == 1 and p.bulge[0] == 0
    ]
    assert len(ours) == len(starts) == 14
    assert np.array(sorted(ours)) == pytest.approx(np.array(sorted(starts)), abs=1e-9)


def test_an_array_inside_a_scaled_block_is_scaled_with_it(with_block, saved, raw):
    """The map of the outer block carries every copy; the reference library forgets the spacing, so by hand."""
    outer = with_block.blocks.new("OUTER")
    outer.add_blockref("RUN", (0, 0), dxfattribs=ARRAY)
    with_block.modelspace().add_blockref(
        "OUTER", (0, 0), dxfattribs={"xscale": 0.5, "yscale": 0.5, "rotation": 90}
    )
    lines = raw(saved(with_block), ducts="DUCT").lines
    starts = {
        tuple(np.round(p.points[0, :2], 9).tolist()) for p in lines if p.bulge.size == 1 and p.bulge[0] == 0
    }
    # the line starts at (-1, -2) from the base point; turned by 90 degrees and halved that is (1, -0.5)
    assert starts == {(1 - 25 * row, -0.5 + 35 * column) for row in (0, 1) for column in (0, 1, 2)}


def test_unequal_scales_make_ellipses_within_tolerance(with_block, saved, raw, codes):
    with_block.modelspace().add_blockref("RUN", (0, 0), dxfattribs={"xscale": 3, "yscale": 1})
    read = raw(saved(with_block), ducts="DUCT", chord_tolerance=0.02)
    assert codes(read)["curve-followed"] == 1
    # the quarter circle becomes part of an ellipse, 9 by 3 about (12, 3), all of it within 2 mm
    line = read.lines[1]
    points, _ = bulges.flattened(line.points, line.bulge, 1e-5)
    angle = np.linspace(0, 2 * np.pi, 100_001)
    tree = KDTree(np.column_stack((12 + 9 * np.cos(angle), 3 + 3 * np.sin(angle))))
    assert tree.query(points[:, :2])[0].max() < 0.002
    quarter, _ = integrate.quad(
        lambda a: math.hypot(9 * math.sin(a), 3 * math.cos(a)), math.radians(10), math.radians(100)
    )
    assert bulges.leg_lengths(line.points, line.bulge).sum() == pytest.approx(quarter, rel=1e-4)


def test_scale_zero_stands_for_one(with_block, saved, raw):
    """As the CAD programs take it, and the library on loading."""
    with_block.modelspace().add_blockref("RUN", (0, 0), dxfattribs={"xscale": 0, "yscale": 0, "zscale": 0})
    read = measures(raw(saved(with_block), ducts="DUCT").lines)
    for got, want in zip(read, reference(with_block), strict=True):
        assert got == pytest.approx(want, rel=1e-9)


def test_layer_0_takes_the_layer_of_its_insert(drawing, saved, raw):
    block = drawing.blocks.new("B")
    block.add_line((0, 0), (1, 0))
    block.add_line((0, 0), (2, 0), dxfattribs={"layer": "OTHER"})
    drawing.modelspace().add_blockref("B", (0, 0), dxfattribs=DUCT)
    drawing.modelspace().add_blockref("B", (0, 0), dxfattribs={"layer": "OTHER"})
    lines = raw(saved(drawing), ducts="DUCT").lines
    assert [measures([line])[0][0] for line in lines] == [1.0]
    assert "/" in lines[0].where.id


def test_a_block_that_contains_itself_is_refused_by_name(drawing, saved, raw):
    for name, inner in (("ONE", "TWO"), ("TWO", "THREE"), ("THREE", "ONE")):
        block = drawing.blocks.new(name)
        block.add_line((0, 0), (1, 0), dxfattribs=DUCT)
        block.add_blockref(inner, (1, 1))
    drawing.modelspace().add_blockref("TWO", (0, 0))
    with pytest.raises(InputRefusedError, match="two > three > one > two") as refused:
        raw(saved(drawing), ducts="DUCT")
    assert refused.value.code == "block-contains-itself"


def test_a_small_file_that_expands_without_bound_is_refused_at_once(drawing, saved, raw):
    """Eight levels of ten copies each: 10^8 lines and 111,111,110 INSERTs from a few kilobytes."""
    block = drawing.blocks.new("L0")
    block.add_line((0, 0), (1, 0), dxfattribs=DUCT)
    for level in range(1, 9):
        block = drawing.blocks.new(f"L{level}")
        for k in range(10):
            block.add_blockref(f"L{level - 1}", (k, 0))
    drawing.modelspace().add_blockref("L8", (0, 0))
    path = saved(drawing)
    start = time.process_time()
    with pytest.raises(InputRefusedError, match="211111110") as refused:
        raw(path, ducts="DUCT")
    assert refused.value.code == "blocks-too-large"
    assert time.process_time() - start < 5


def test_arrays_of_nothing_are_refused_too(drawing, saved, raw):
    inner = drawing.blocks.new("EMPTY")
    del inner
    block = drawing.blocks.new("B")
    block.add_line((0, 0), (1, 0), dxfattribs=DUCT)
    block.add_blockref("EMPTY", (0, 0), dxfattribs={**DUCT, "row_count": 30000, "column_count": 30000})
    drawing.modelspace().add_blockref("B", (0, 0))
    with pytest.raises(InputRefusedError) as refused:
        raw(saved(drawing), ducts="DUCT")
    assert refused.value.code == "blocks-too-large"


def test_depth_is_capped(drawing, saved, raw):
    drawing.blocks.new("D0").add_line((0, 0), (1, 0), dxfattribs=DUCT)
    for level in range(1, 40):
        drawing.blocks.new(f"D{level}").add_blockref(f"D{level - 1}", (1, 0))
    drawing.modelspace().add_blockref("D30", (0, 0))
    assert raw(saved(drawing), ducts="DUCT").lines[0].points[0, 0] == 30
    drawing.modelspace().add_blockref("D39", (0, 0))
    with pytest.raises(InputRefusedError) as refused:
        raw(saved(drawing), ducts="DUCT")
    assert refused.value.code == "blocks-too-deep"


def test_external_drawings_are_named(drawing, saved, raw, said):
    drawing.add_xref_def("streets/base.dwg", "BASE")
    drawing.modelspace().add_blockref("BASE", (0, 0))
    drawing.modelspace().add_line((0, 0), (1, 0), dxfattribs=DUCT)
    assert "streets/base.dwg" in said(raw(saved(drawing), ducts="DUCT"), "xref-missing")[0]


PROXY = """  0
ACAD_PROXY_ENTITY
  5
{handle}
330
1F
100
AcDbEntity
  8
{layer}
100
AcDbProxyEntity
 90
498
 91
500
"""


def test_proxies_are_counted_and_a_layer_of_nothing_else_is_refused(drawing, saved, raw):
    drawing.modelspace().add_line((0, 0), (1, 0), dxfattribs=DUCT)
    path = saved(drawing)
    text = path.read_text(encoding="utf-8")
    proxies = "".join(PROXY.format(handle=h, layer=layer) for h, layer in (("FA0", "DUCT"), ("FA1", "PIPES")))
    path.write_text(text.replace("  0\nLINE\n", proxies + "  0\nLINE\n", 1), encoding="utf-8")
    read = raw(path, ducts="DUCT")
    (finding,) = [f for f in read.findings if f.code == "entity-skipped"]
    assert finding.severity == "error"
    assert "ACAD_PROXY_ENTITY" in finding.message
    with pytest.raises(InputRefusedError, match="polylines") as refused:
        raw(path, ducts="PIPES")
    assert refused.value.code == "proxies-only"
