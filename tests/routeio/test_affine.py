"""Lines carried by affine maps: arcs stay arcs where the map keeps circles, else lie within the tolerance."""

import math

import numpy as np
import pytest

from routeio import bulges
from routeio.affine import moved


def _line(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    points = np.column_stack((np.cumsum(rng.uniform(-20, 30, (6, 2)), axis=0), rng.uniform(0, 5, 6)))
    bulge = rng.choice([0.0, 0.3, -0.3, 1.4, -0.9, 0.02], 5)
    return points, bulge


def _affine(kind: str) -> np.ndarray:
    m = np.eye(4)
    c, s = math.cos(0.7), math.sin(0.7)
    m[:2, :2] = np.array([[c, s], [-s, c]]) * 3.0
    m[2, 2] = 3.0
    m[3, :3] = (5, -7, 2)
    if kind == "mirrored":
        m[0, :2] *= -1
    if kind == "stretched":
        m[0, :2] *= 2
    return m


@pytest.mark.parametrize("kind", ["turned", "mirrored", "stretched"])
def test_moved_lines_lie_where_their_points_are_moved_to(kind):
    points, bulge = _line(np.random.default_rng(10))
    matrix = _affine(kind)
    there, moved_bulge, off = moved(points, bulge, matrix, 0.001)
    exact = off is None
    assert exact is (kind != "stretched")
    for leg in range(5):
        for part in (0.25, 0.5, 0.9):
            p = bulges.point_at(points, bulge, bulges.Spot(leg, part, 0, 0))
            want = p @ matrix[:3, :3] + matrix[3, :3]
            assert bulges.nearest_spot(there, moved_bulge, want[0], want[1]).distance < (
                1e-9 if exact else 1e-3
            )
    if exact:
        sign = -1 if kind == "mirrored" else 1
        assert np.array_equal(moved_bulge, sign * bulge)
        assert bulges.leg_lengths(there, moved_bulge) == pytest.approx(3 * bulges.leg_lengths(points, bulge))
