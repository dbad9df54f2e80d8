"""Which vertices are taken for strays: those that stray, and not those that draw a bend."""

import numpy as np
import pytest

from routeio.rawlines import RawLine
from routeio.shape import Shape, recover_many

SCATTER, STEP = 0.03, 3.0


def bent(radius, turn, rng):
    """40 m, a bend drawn by its two tangent points and its middle, 40 m; scattered."""
    before = [(s, 0.0) for s in np.arange(0.0, 40.0, STEP)]
    bend = [(40 + radius * np.sin(t), radius * (1 - np.cos(t))) for t in (0.0, 0.5 * turn, turn)]
    after = [
        np.add(bend[-1], (s * np.cos(turn), s * np.sin(turn))) for s in np.arange(STEP, 40.0 + STEP, STEP)
    ]
    points = np.array([*before, *bend, *after])
    points += rng.normal(0.0, SCATTER, points.shape)
    return points, len(before) + 1


def raw(points):
    legs = len(points) - 1
    return RawLine(
        np.column_stack((points, np.full(len(points), np.nan))), np.zeros(legs), ("1",) * legs, False
    )


def strays_said(lines):
    shapes = recover_many([raw(points) for points in lines])
    assert all(isinstance(shape, Shape) for shape in shapes)
    return shapes, [any(f.code == "stray-vertex" for f in shape.findings) for shape in shapes]


@pytest.mark.parametrize(("radius", "turn"), [(12.0, 40.0), (20.0, 30.0)])
def test_the_only_vertex_inside_a_bend_is_no_stray_and_tells_its_radius(radius, turn):
    rng = np.random.default_rng(4)
    shapes, said = strays_said([bent(radius, np.radians(turn), rng)[0] for _ in range(40)])
    assert sum(said) <= 1
    # the sagitta of the bend, 0.7 m at either, is known to a few scatters: the radius to a tenth or so
    found = [float(1.0 / np.abs(s.chain.curvature).max()) for s in shapes]
    assert np.median(found) == pytest.approx(radius, rel=0.05)
    assert np.mean(np.abs(np.array(found) / radius - 1.0) < 0.25) >= 0.9


@pytest.mark.parametrize("off", [1.0, -1.0])
def test_a_vertex_a_metre_off_inside_or_outside_a_bend_is_a_stray(off):
    rng = np.random.default_rng(5)
    lines = []
    for _ in range(20):
        points, at = bent(12.0, np.radians(40.0), rng)
        points[at] += off * np.array([np.sin(np.radians(20.0)), -np.cos(np.radians(20.0))])
        lines.append(points)
    _, said = strays_said(lines)
    assert sum(said) >= 18
