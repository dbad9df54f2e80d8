"""Shapes laid on elevations, and shapes that are longer than their lines."""

import numpy as np
import pytest

from mechanics.centreline import place
from routeio.findings import Where
from routeio.lay import laid, longer_than_drawn, plan_of
from routeio.options import ReadOptions
from routeio.shape import recover

CORNER = np.array([[0.0, 0.0, np.nan], [100.0, 0.0, np.nan], [100.0, 80.0, np.nan]])
SWEPT = ReadOptions(sweep=5.0)


@pytest.fixture(scope="module")
def flat():
    """A right angle of 5 m radius: 95 m, a quarter of a circle, 75 m."""
    return recover(CORNER, np.zeros(2), ("a", "b"), False, SWEPT)


def test_a_bend_keeps_its_plan_on_any_grade(flat):
    length = 95.0 + 2.5 * np.pi + 75.0
    assert plan_of(flat).length.sum() == pytest.approx(length, abs=1e-9)
    station = np.array([0.0, 60.0, 120.0, length])
    shape = laid(flat, station, np.array([10.0, 12.0, 9.0, 9.5]), SWEPT, Where())
    assert plan_of(shape).length.sum() == pytest.approx(length, abs=1e-6)
    assert shape.chain.turn.sum() == pytest.approx(np.pi / 2)
    end = place(shape.chain, shape.start, shape.heading).points[-1]
    assert end.tolist() == pytest.approx([100.0, 80.0, 9.5], abs=0.02)
    # 2 in 60, -3 in 60, 0.5 in what is left, with a vertical curve between
    grades = np.tan(shape.chain.grade_in)
    assert grades[0] == pytest.approx(2.0 / 60.0, abs=1e-6)
    assert np.tan(shape.chain.grade_out[-1]) == pytest.approx(0.5 / (length - 120.0), abs=1e-6)


def test_one_even_grade_is_one_grade(flat):
    length = plan_of(flat).length.sum()
    station = np.linspace(0.0, length, 12)
    shape = laid(flat, station, 5.0 + 0.04 * station, SWEPT, Where())
    assert np.tan(shape.chain.grade_in) == pytest.approx(np.full(len(shape.chain), 0.04))
    assert len(shape.chain) == len(flat.chain)


@pytest.mark.parametrize(("drawn", "said"), [(178.0, 0), (176.0, 0), (173.0, 1)])
def test_a_shape_longer_than_its_line_is_said(flat, drawn, said):
    """The shape is 177.85 m long; two percent and half a metre are let pass."""
    assert len(longer_than_drawn(flat, drawn, Where(id="x"))) == said
