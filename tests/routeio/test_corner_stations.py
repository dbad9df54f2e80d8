"""Vertices close to a swept corner keep places of their own along the line, and with them their elevations."""

from __future__ import annotations

import numpy as np
import pytest

from routeio.options import ReadOptions
from routeio.shape import recover

SWEEP = 3.81
TANGENT = SWEEP * np.tan(np.radians(15.0))


@pytest.mark.parametrize("beyond", [0.2 * TANGENT, TANGENT, 1.5 * TANGENT])
@pytest.mark.parametrize("side", [-1, 1])
def test_vertex_beside_a_corner_makes_no_step(beyond: float, side: int) -> None:
    """An even slope of 1 % with a corner of 30 degrees: no grade is far from it, wherever a vertex lies."""
    out = np.array([np.cos(np.radians(30.0)), np.sin(np.radians(30.0))])
    plan = [(0.0, 0.0), (100.0, 0.0), tuple(np.array([100.0, 0.0]) + 50.0 * out)]
    extra = (100.0 - beyond, 0.0) if side < 0 else tuple(np.array([100.0, 0.0]) + beyond * out)
    plan.insert(1 if side < 0 else 2, extra)
    xy = np.array(plan)
    z = 0.01 * np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))))
    shape = recover(np.c_[xy, z], np.zeros(3), ("a",) * 3, False, ReadOptions(sweep=SWEEP))
    assert shape.findings == ()
    grades = np.concatenate((shape.chain.grade_in, shape.chain.grade_out))
    assert np.abs(grades - 0.01).max() < 0.001
    assert np.degrees(shape.chain.turn.sum()) == pytest.approx(30.0, abs=1e-6)
