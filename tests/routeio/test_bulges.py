"""Geometry of arcs by bulge, against ezdxf's own conversion and against dense sampling."""

import math

import numpy as np
import pytest
from ezdxf.math import Vec2, bulge_to_arc

from routeio import bulges

RNG = np.random.default_rng(20260)
CASES = [
    (RNG.uniform(-50, 50, 2), RNG.uniform(-50, 50, 2), b)
    for b in (0.05, -0.05, 0.41421356, -0.41421356, 1.0, -1.0, 2.5, -2.5)
]


@pytest.mark.parametrize(("start", "end", "bulge"), CASES)
def test_points_lie_on_the_arc_of_the_reference_library(start, end, bulge):
    """ezdxf.math.bulge_to_arc gives centre and radius (always anticlockwise)."""
    centre, _, _, radius = bulge_to_arc(Vec2(start), Vec2(end), bulge)
    part = np.linspace(0, 1, 9)
    points = bulges.arc_points(np.tile(start, (9, 1)), np.tile(end, (9, 1)), np.full(9, bulge), part)
    assert np.hypot(*(points - (centre.x, centre.y)).T) == pytest.approx(radius, rel=1e-12)
    assert points[0] == pytest.approx(start)
    assert points[-1] == pytest.approx(end)
    # travel turns left for a positive bulge: sum of cross products of successive chords
    step = np.diff(points, axis=0)
    cross = step[:-1, 0] * step[1:, 1] - step[:-1, 1] * step[1:, 0]
    assert (np.sign(cross) == np.sign(bulge)).all()
    length = bulges.leg_lengths(np.array([start, end]), np.array([bulge]))[0]
    assert length == pytest.approx(radius * 4 * abs(math.atan(bulge)), rel=1e-12)


@pytest.mark.parametrize("bulge", [0.0, 1e-14, 1e-9, 1e-6])
def test_nearly_straight_legs_are_as_long_as_their_chords(bulge):
    points = np.array([[0.0, 0.0], [300.0, 400.0]])
    assert bulges.leg_lengths(points, np.array([bulge]))[0] == pytest.approx(500.0, rel=1e-11)
    middle = bulges.arc_points(points[:1], points[1:], np.array([bulge]), np.array([0.5]))[0]
    assert middle == pytest.approx([150.0, 200.0], abs=300 * bulge + 1e-9)


def _line(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    points = np.column_stack((np.cumsum(rng.uniform(-20, 30, (6, 2)), axis=0), rng.uniform(0, 5, 6)))
    bulge = rng.choice([0.0, 0.3, -0.3, 1.4, -0.9, 0.02], 5)
    return points, bulge


def test_lengths_of_many_lines_are_those_of_each():
    rng = np.random.default_rng(3)
    lines = [_line(rng) for _ in range(5)] + [(np.zeros((1, 3)), np.zeros(0))]
    together = bulges.line_lengths([p for p, _ in lines], [b for _, b in lines])
    assert together == pytest.approx([bulges.leg_lengths(p, b).sum() for p, b in lines])
    assert bulges.line_lengths([], []).size == 0


def test_nearest_spot_is_the_nearest_of_many():
    rng = np.random.default_rng(7)
    for _ in range(50):
        points, bulge = _line(rng)
        x, y = rng.uniform(-40, 90, 2)
        spot = bulges.nearest_spot(points, bulge, x, y)
        dense = np.vstack(
            [
                bulges.arc_points(
                    np.tile(points[i, :2], (2001, 1)),
                    np.tile(points[i + 1, :2], (2001, 1)),
                    np.full(2001, bulge[i]),
                    np.linspace(0, 1, 2001),
                )
                for i in range(5)
            ]
        )
        brute = np.hypot(*(dense - (x, y)).T).min()
        assert spot.distance <= brute + 1e-9
        assert spot.distance == pytest.approx(brute, abs=0.05)
        there = bulges.point_at(points, bulge, spot)
        assert math.hypot(there[0] - x, there[1] - y) == pytest.approx(spot.distance, abs=1e-9)


def test_cutting_keeps_length_and_turn():
    rng = np.random.default_rng(8)
    for _ in range(50):
        points, bulge = _line(rng)
        total = bulges.leg_lengths(points, bulge).sum()
        at = sorted(rng.uniform(0, total, 2))
        spots = [bulges.spot_at(points, bulge, s) for s in at]
        parts = [
            bulges.cut(points, bulge, a, b)
            for a, b in ((None, spots[0]), (spots[0], spots[1]), (spots[1], None))
        ]
        lengths = [bulges.leg_lengths(p, b).sum() for p, b, _ in parts]
        assert lengths == pytest.approx([at[0], at[1] - at[0], total - at[1]], abs=1e-6)
        turn = sum(np.arctan(b).sum() for _, b, _ in parts)
        assert turn == pytest.approx(np.arctan(bulge).sum(), abs=1e-7)
        assert np.array_equal(parts[0][0][-1], parts[1][0][0])


def test_cutting_at_a_vertex_leaves_no_leg_without_length():
    points = np.array([[0, 0, 0], [10, 0, 1], [10, 10, 2]], dtype=float)
    bulge = np.zeros(2)
    for station in (10.0, 10.0 - 1e-9, 10.0 + 1e-9):
        spot = bulges.spot_at(points, bulge, station)
        first, _, _ = bulges.cut(points, bulge, None, spot)
        second, _, _ = bulges.cut(points, bulge, spot, None)
        assert len(first) == len(second) == 2


def test_flattening_stays_within_tolerance():
    rng = np.random.default_rng(9)
    for tolerance in (0.1, 0.001):
        points, bulge = _line(rng)
        flat, spots = bulges.flattened(points, bulge, tolerance)
        assert np.isin(np.arange(6), spots).all()
        middle = 0.5 * (flat[:-1, :2] + flat[1:, :2])
        off = [bulges.nearest_spot(points, bulge, *p).distance for p in middle]
        assert max(off) <= tolerance * 1.0001
