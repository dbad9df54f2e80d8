"""Whatever way a route is drawn, it is the same route: units, place, mirroring, nesting, pieces, direction; to 1e-9."""

import math

import ezdxf
import numpy as np
import pytest

B = math.tan(math.pi / 8)
# Straights and tangent quarter and eighth circles; the same as a polyline with bulges and as loose pieces.
VERTICES = [(0, 0, 0), (40, 0, B), (46, 6, 0), (46, 30, -B), (50, 34, 0), (90, 34, 0)]
VAULTS = {"A": (0, 0), "B": (90, 34)}
DUCT, VAULT = {"layer": "DUCT"}, {"layer": "VAULT"}


def polyline(layout, size=1.0, place=(0.0, 0.0), backwards=False, mirrored=False):
    points = [(place[0] + size * x * (-1 if mirrored else 1), place[1] + size * y, b) for x, y, b in VERTICES]
    if mirrored:
        points = [(x, y, -b) for x, y, b in points]
    if backwards:
        bulges = [-b for _, _, b in points[-2::-1]] + [0]
        points = [(x, y, b) for (x, y, _), b in zip(points[::-1], bulges, strict=True)]
    layout.add_lwpolyline(points, format="xyb", dxfattribs=DUCT)


def pieces(layout, size=1.0, place=(0.0, 0.0), **_):
    """LINE and ARC; every second piece drawn backwards; arcs are always anticlockwise."""

    def at(x, y):
        return (place[0] + size * x, place[1] + size * y)

    layout.add_line(at(0, 0), at(40, 0), dxfattribs=DUCT)
    layout.add_arc(at(40, 6), 6 * size, 270, 360, dxfattribs=DUCT)
    layout.add_line(at(46, 30), at(46, 6), dxfattribs=DUCT)
    layout.add_arc(at(50, 30), 4 * size, 90, 180, dxfattribs=DUCT)
    layout.add_line(at(90, 34), at(50, 34), dxfattribs=DUCT)


def vaults(layout, size=1.0, place=(0.0, 0.0), mirrored=False, **_):
    for tag, (x, y) in VAULTS.items():
        x, y = place[0] + size * x * (-1 if mirrored else 1), place[1] + size * y
        layout.add_point((x, y), dxfattribs=VAULT)
        layout.add_text(tag, height=0.1, dxfattribs={**VAULT, "insert": (x, y)})


def make(units=6, draw=polyline, inside=None, **how):
    drawing = ezdxf.new("R2013", units=units)
    layout = drawing.blocks.new("PLAN", base_point=(7, 8)) if inside else drawing.modelspace()
    draw(layout, **how)
    vaults(layout, **how)
    if inside:
        drawing.modelspace().add_blockref("PLAN", (123, 456), dxfattribs=inside)
    return drawing


FOOT = 0.3048
WAYS = {
    "feet": {"units": 2, "size": 1 / FOOT},
    "survey feet": {"units": 21, "size": 3937 / 1200},
    "millimetres": {"units": 4, "size": 1000.0},
    "state plane": {"place": (600_000.0, 200_000.0)},
    "backwards": {"backwards": True},
    "mirrored": {"mirrored": True},
    "pieces": {"draw": pieces},
    "pieces far off in feet": {
        "draw": pieces,
        "units": 2,
        "size": 1 / FOOT,
        "place": (2_000_000.0, 700_000.0),
    },
    "in a block": {"inside": {"rotation": 33.0}},
    "in a mirrored block": {"inside": {"xscale": -1.0, "rotation": 200.0}},
    "in a block seen from below": {"inside": {"extrusion": (0, 0, -1)}},
    "in a scaled block": {"inside": {"xscale": 4.0, "yscale": 4.0, "zscale": 4.0}, "size": 0.25},
    "pieces in a mirrored block": {"draw": pieces, "inside": {"yscale": -1.0, "rotation": 77.0}},
}


@pytest.mark.parametrize("way", WAYS)
def test_the_same_chain(saved, survey, way):
    (plain,) = survey(saved(make())).ducts
    how = WAYS[way]
    (duct,) = survey(saved(make(**how))).ducts
    chain = duct.chain if duct.start_vault == "A" else duct.chain.reversed()
    assert {duct.start_vault, duct.end_vault} == {"A", "B"}
    # at two million feet a coordinate is good to 2e-10 m, and an angle over 5 m to ten times that
    loose = 1e-9 * (100 if "place" in how else 1)
    assert chain.length == pytest.approx(plain.chain.length, rel=loose, abs=loose)
    assert np.abs(chain.turn) == pytest.approx(np.abs(plain.chain.turn), abs=loose)
    assert chain.total_length == pytest.approx(40 + 6 * math.pi / 2 + 24 + 4 * math.pi / 2 + 40, rel=loose)
    flipped = way in {
        "mirrored",
        "in a mirrored block",
        "in a block seen from below",
        "pieces in a mirrored block",
    }
    assert np.sign(chain.turn).tolist() == [0, -1 if flipped else 1, 0, 1 if flipped else -1, 0]


def test_the_last_direction_is_the_way_it_is_drawn(saved, survey):
    (forward,) = survey(saved(make())).ducts
    (backward,) = survey(saved(make(backwards=True))).ducts
    assert forward.heading == pytest.approx(0)
    assert abs(backward.heading) == pytest.approx(math.pi)
    assert (forward.start_vault, backward.start_vault) == ("A", "B")
