"""Ducts by color and line type, vaults by block name; BYLAYER and BYBLOCK as they are shown."""

import ezdxf
import pytest

from routeio.findings import InputRefusedError
from routeio.options import Selection


@pytest.fixture
def plan(saved):
    """Layer E is green and dashed; what says otherwise stands on it, in blocks, and on other layers."""
    drawing = ezdxf.new("R2010", units=6, setup=True)
    drawing.layers.add("E", color=3, linetype="DASHED")
    drawing.layers.add("W", color=5)
    space = drawing.modelspace()
    space.add_line((0, 0), (10, 0), dxfattribs={"layer": "E"})
    space.add_line((0, 1), (10, 1), dxfattribs={"layer": "E", "color": 1})
    space.add_line((0, 2), (10, 2), dxfattribs={"layer": "E", "linetype": "CONTINUOUS"})
    space.add_line((0, 3), (10, 3), dxfattribs={"layer": "W", "color": 3, "linetype": "DASHED2"})
    space.add_line((0, 4), (10, 4), dxfattribs={"layer": "W", "true_color": 0x12AB34})
    run = drawing.blocks.new("RUN")
    run.add_line((0, 5), (10, 5), dxfattribs={"layer": "0", "color": 0, "linetype": "BYBLOCK"})
    run.add_line((0, 6), (10, 6), dxfattribs={"layer": "0"})
    run.add_blockref("MH-4x6", (10, 6))
    pit = drawing.blocks.new("MH-4x6")
    pit.add_lwpolyline([(-1, -1), (1, -1), (1, 1), (-1, 1)], close=True)
    drawing.blocks.new("TREE").add_circle((0, 0), 1)
    space.add_blockref("RUN", (0, 0), dxfattribs={"layer": "E", "color": 1})
    space.add_blockref("MH-4x6", (0, 0), dxfattribs={"layer": "W"})
    space.add_blockref("TREE", (5, 5), dxfattribs={"layer": "W"})
    return saved(drawing)


@pytest.mark.parametrize(
    ("selection", "heights"),
    [
        (Selection("E"), [0, 1, 2, 5, 6]),
        (Selection("E", color=("3",)), [0, 2, 6]),
        (Selection("E", color=("1",)), [1, 5]),  # the second BYBLOCK
        (Selection(color=("3",)), [0, 2, 3, 6]),
        (Selection(linetype="dashed*"), [0, 1, 3, 5, 6]),
        (Selection(color=("3", "1"), linetype=("DASHED",)), [0, 1, 5, 6]),
        (Selection("W", color="#12ab34"), [4]),
    ],
)
def test_ducts(plan, raw, selection, heights):
    read = raw(plan, ducts=selection, vaults=Selection(block="MH*"))
    assert sorted(line.points[0, 1] for line in read.lines) == heights
    assert [(v.x, v.y) for v in read.vaults] == [(10, 6), (0, 0)]
    assert all(v.footprint.area == pytest.approx(4) for v in read.vaults)


def test_what_is_left_out_is_counted_and_said(plan, raw):
    read = raw(plan, ducts=Selection("E", color=("1",)))
    assert read.counts["skipped LINE"] == 4
    (left,) = [f for f in read.findings if f.code == "entity-skipped" and f.where.id.count("/") == 0]
    assert (left.severity, left.message[:6]) == ("info", "3 LINE")


@pytest.mark.parametrize(
    ("selections", "words"),
    [
        ({"ducts": Selection("E", color=("4",))}, ["color '4'", "3 (4 entities), 1 (2 entities)"]),
        ({"ducts": Selection("E", linetype="HID*")}, ["'HID*'", "DASHED (5 entities), CONTINUOUS"]),
        (
            {"ducts": Selection("E"), "vaults": Selection(block="PIT")},
            ["'PIT'", "MH-4x6 (2 ent", "TREE (1 ent"],
        ),
        ({"ducts": Selection("E", block="RUN")}, ["ducts are lines"]),
    ],
)
def test_a_look_that_nothing_has(plan, raw, selections, words):
    with pytest.raises(InputRefusedError) as refused:
        raw(plan, **selections)
    for word in words:
        assert word in str(refused.value)


def test_a_layer_has_no_look(layer, raw):
    import shapely

    path = layer([shapely.LineString([(0, 0), (9, 9)])])
    with pytest.raises(InputRefusedError, match="only entities of a drawing do"):
        raw(path, ducts=Selection(color="3"))
