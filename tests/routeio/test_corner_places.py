"""What is said about a corner names its place on the map, far from the origin as maps are."""

from __future__ import annotations

import numpy as np
import pytest

from routeio.findings import InputRefusedError
from routeio.options import ReadOptions
from routeio.shape import recover

FAR = np.array([577_000.0, 220_000.0, 0.0])


def _recover(points: list[tuple[float, float, float]], sweep: float | None):
    line = np.array(points) + FAR
    return recover(line, np.zeros(len(line) - 1), ("a",) * (len(line) - 1), False, ReadOptions(sweep=sweep))


def test_refused_corner() -> None:
    with pytest.raises(InputRefusedError) as caught:
        _recover([(0, 0, 0), (100, 0, 0), (100, 50, 0)], None)
    assert (caught.value.where.x, caught.value.where.y) == pytest.approx((577_100.0, 220_000.0))


def test_tight_corner() -> None:
    found = _recover([(0, 0, 0), (100, 0, 0), (100, 1, 0)], 3.0).findings
    (finding,) = (f for f in found if f.code == "no-room-for-sweep")
    assert finding.code == "no-room-for-sweep"
    assert (finding.where.x, finding.where.y) == pytest.approx((577_100.0, 220_000.0))


def test_tight_grade_break() -> None:
    """A fall of 0.9 m over 1 m, 60 m beyond a bend to the left."""
    line = [(0, 0, 10), (100, 0, 10), (100, 60, 10), (100, 61, 9.1), (100, 120, 9.1)]
    found = [f for f in _recover(line, 6.0).findings if "grade break" in f.message]
    assert len(found) == 2
    assert [f.where.x for f in found] == pytest.approx([577_100.0] * 2, abs=1e-6)
    assert [f.where.y for f in found] == pytest.approx([220_060.0, 220_061.0], abs=0.01)
