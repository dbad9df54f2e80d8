"""Curves as arcs and straights, against dense sampling and scipy's integrals and splines."""

import math

import ezdxf
import numpy as np
import pytest
from scipy import integrate, interpolate
from scipy.spatial import KDTree

from routeio import bulges

DUCT = {"layer": "DUCT"}


def off(line, dense):
    """How far the line lies from the curve, and the curve from the line, both sampled."""
    points, _ = bulges.flattened(line.points, line.bulge, 1e-6)
    there = KDTree(dense).query(points)[0].max()
    back = max(
        bulges.nearest_spot(line.points, line.bulge, x, y).distance for x, y, _ in dense[:: len(dense) // 400]
    )
    return max(there, back)


def kinks(line):
    """Angle between each leg's end and the next one's start. [rad]"""
    first, last = bulges.headings(line.points, line.bulge)
    return np.abs((first[1:] - last[:-1] + np.pi) % (2 * np.pi) - np.pi)


@pytest.mark.parametrize("ratio", [0.9, 0.5, 0.1])
@pytest.mark.parametrize(("start", "end"), [(0.0, 2 * math.pi), (0.4, 2.9), (5.0, 1.2)])
def test_ellipse(drawing, saved, raw, ratio, start, end):
    drawing.modelspace().add_ellipse((1e6, 2e6), (30, 40), ratio, start, end, dxfattribs=DUCT)
    (line,) = raw(saved(drawing), chord_tolerance=0.02).lines
    stop = end if end > start else end + 2 * math.pi
    t = np.linspace(start, stop, 400_001)
    major, minor = np.array([30, 40, 0.0]), np.array([-40, 30, 0.0]) * ratio
    dense = (1e6, 2e6, 0) + np.cos(t)[:, None] * major + np.sin(t)[:, None] * minor
    assert off(line, dense) < 0.002
    length, _ = integrate.quad(
        lambda a: 50 * math.hypot(math.sin(a), ratio * math.cos(a)), start, stop, epsabs=1e-9, limit=200
    )
    assert bulges.leg_lengths(line.points, line.bulge).sum() == pytest.approx(length, rel=1e-4)
    assert kinks(line).max() < 1e-5
    # the sharpest place of a whole ellipse has radius minor^2 / major
    if stop - start > 6:
        chord = np.hypot(*np.diff(line.points[:, :2], axis=0).T)
        radius = chord / np.abs(2 * np.sin(2 * np.arctan(line.bulge)))
        assert radius.min() == pytest.approx(50 * ratio**2, rel=0.1)


CONTROL = [(0, 0, 5), (20, 0, 5), (30, 15, 6), (10, 40, 8), (40, 60, 8), (70, 50, 9), (75, 20, 9)]


@pytest.mark.parametrize(
    ("degree", "knots", "weights"),
    [
        (3, [0, 0, 0, 0, 1, 2, 3, 4, 4, 4, 4], None),
        (3, [0, 0, 0, 0, 1, 1.2, 3, 4, 4, 4, 4], [1, 1, 3, 1, 0.5, 1, 1]),
        (2, [0, 0, 0, 1, 2, 3, 4, 5, 5, 5], None),
        (
            3,
            [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10],
            None,
        ),  # not clamped: the ends of the frame are not on the curve
        (3, [0, 0, 0, 0, 1, 1, 1, 2, 2, 2, 2], None),  # a corner
        (1, [0, 0, 1, 2, 3, 4, 5, 6, 6], None),
    ],
)
def test_spline(drawing, saved, raw, degree, knots, weights):
    spline = drawing.modelspace().add_spline(degree=degree, dxfattribs=DUCT)
    spline.control_points, spline.knots = CONTROL, knots
    if weights:
        spline.weights = weights
    (line,) = raw(saved(drawing), chord_tolerance=0.02).lines
    # a rational spline is a spline in one dimension more, divided by the last
    w = np.array(weights or np.ones(len(CONTROL)))[:, None]
    curve = interpolate.BSpline(np.array(knots, float), np.hstack((np.array(CONTROL) * w, w)), degree)
    t = np.linspace(knots[degree], knots[-degree - 1], 200_001)
    dense = curve(t)
    dense = dense[:, :3] / dense[:, 3:]
    plan = np.column_stack((dense[:, :2], np.zeros(len(t))))
    flat = type(line)(line.points * (1, 1, 0), line.bulge, line.ids, True)
    assert off(flat, plan) < 0.002
    step = np.diff(dense, axis=0)
    in_plan = np.hypot(step[:, 0], step[:, 1]).sum()
    legs = bulges.leg_lengths(line.points, line.bulge)
    assert legs.sum() == pytest.approx(in_plan, rel=1e-4)
    assert np.hypot(legs, np.diff(line.points[:, 2])).sum() == pytest.approx(
        np.linalg.norm(step, axis=1).sum(), rel=1e-4
    )
    assert line.points[[0, -1]] == pytest.approx(dense[[0, -1]], abs=1e-9)
    if degree > 1 and knots[5] != knots[4]:
        assert kinks(line).max() < 1e-5


def test_spline_by_fit_points_and_one_that_stands_still(drawing, saved, raw):
    space = drawing.modelspace()
    space.add_spline([(0, 0), (10, 10), (30, 5), (50, 20)], dxfattribs=DUCT)
    still = space.add_spline(dxfattribs=DUCT)
    still.control_points = [(0, 0)] * 3 + [(10, 0), (10, 10)]
    still.knots = [0, 0, 0, 0, 1, 2, 2, 2, 2]
    path = saved(drawing)
    lines = raw(path, chord_tolerance=0.02).lines
    for line, entity in zip(lines, ezdxf.readfile(path).modelspace(), strict=True):
        dense = np.array([p.xyz for p in entity.construction_tool().approximate(20_000)])
        length = np.linalg.norm(np.diff(dense, axis=0), axis=1).sum()
        assert bulges.leg_lengths(line.points, line.bulge).sum() == pytest.approx(length, rel=1e-4)
        assert off(line, dense) < 0.003


def test_a_straight_spline_is_one_straight_and_an_arc_by_spline_an_arc(drawing, saved, raw):
    space = drawing.modelspace()
    straight = space.add_spline(dxfattribs=DUCT)
    straight.control_points, straight.knots = [(0, 0), (1, 2), (2, 4), (4, 8)], [0, 0, 0, 0, 1, 1, 1, 1]
    # a quarter circle as a rational spline of degree 2: weight cos(45 deg) in the middle
    arc = space.add_spline(degree=2, dxfattribs=DUCT)
    arc.control_points, arc.knots = [(6, 0), (6, 6), (0, 6)], [0, 0, 0, 1, 1, 1]
    arc.weights = [1, math.sqrt(0.5), 1]
    one, two = raw(saved(drawing)).lines
    assert (len(one.bulge), one.bulge[0]) == (1, 0)
    assert np.hypot(*two.points[:, :2].T) == pytest.approx(np.full(len(two.points), 6))
    assert bulges.leg_lengths(two.points, two.bulge).sum() == pytest.approx(3 * math.pi, rel=1e-6)
