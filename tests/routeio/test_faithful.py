"""A recovered shape stays with its line; distances are shapely's, between the shape laid out and the line as drawn."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import LineString

from routeio.course import wrap
from routeio.lay import plan_of
from routeio.options import ReadOptions
from routeio.rawlines import RawLine
from routeio.shape import Shape, recover_many

SWEEP = 1.0
#: A water pipe drawn with few vertices, two of its corners acute. [m]
PIPE = np.array([
    (0, 0), (1.8, -0.8), (15.7, -38.6), (5.5, -123.1), (-13.7, -163.1), (-43, -195), (-52.4, -218.2), (-60.2, -248.2),
    (-74.2, -304.6), (-88.9, -318.1), (-125.4, -305.4), (-59.3, 26.2),
])  # fmt: skip


def raw(points: np.ndarray) -> RawLine:
    legs = len(points) - 1
    return RawLine(np.column_stack((points, np.full(legs + 1, np.nan))), np.zeros(legs), ("a",) * legs, False)


def zigzag(rng: np.random.Generator, least: int, most: int) -> np.ndarray:
    """Legs of 8 to 120 m between corners mostly gentle and to the right, one in six acute, written to 10 cm."""
    corners = int(rng.integers(least, most)) - 2
    leg = rng.uniform(8.0, 120.0, corners + 1)
    turn = np.minimum(rng.gamma(2.0, 15.0, corners), 90.0)
    acute = rng.random(corners) < 1.0 / 6.0
    turn[acute] = rng.uniform(90.0, 160.0, int(acute.sum()))
    turn = np.radians(turn) * rng.choice([1, -1], corners, p=[0.25, 0.75])
    heading = rng.uniform(-3.0, 3.0) + np.concatenate(([0.0], np.cumsum(turn)))
    step = np.column_stack((leg * np.cos(heading), leg * np.sin(heading)))
    return np.round(np.vstack(([0.0, 0.0], np.cumsum(step, axis=0))), 1)


def assert_true_to(shape: Shape, points: np.ndarray, slack: float = 0.05) -> None:
    """Length within 1 %, and nowhere further from the line than the sweeps cut its corners."""
    course = plan_of(shape)
    step = np.diff(points, axis=0)
    drawn = float(np.hypot(*step.T).sum())
    kink = np.abs(wrap(np.diff(np.arctan2(step[:, 1], step[:, 0]))))
    cuts = SWEEP * float((2.0 * np.tan(kink / 2.0) - kink).sum())
    length = float(course.length.sum())
    assert 0.99 * drawn - cuts <= length <= 1.01 * drawn
    stations = course.stations
    # arcs finely, and straights so that a false one far from every vertex is seen
    along = np.unique(
        np.interp(np.arange(0.0, len(stations) - 1 + 1e-9, 0.03125), np.arange(len(stations)), stations)
    )
    line = LineString(points).segmentize(1.0)
    cut = SWEEP * float((1.0 / np.cos(kink / 2.0) - 1.0).max())
    assert LineString(course.at(along)).hausdorff_distance(line) <= cut + slack


def test_a_pipe_with_acute_corners_is_as_long_as_it_is_drawn():
    (shape,) = recover_many([raw(PIPE)], ReadOptions(sweep=SWEEP))
    assert_true_to(shape, PIPE)


@pytest.mark.parametrize(("least", "most", "seed"), [(4, 13, 1), (12, 24, 4)])
def test_zigzags_stay_with_their_legs(least, most, seed):
    rng = np.random.default_rng(seed)
    lines = [zigzag(rng, least, most) for _ in range(30)]
    shapes = recover_many([raw(points) for points in lines], ReadOptions(sweep=SWEEP))
    for shape, points in zip(shapes, lines, strict=True):
        assert isinstance(shape, Shape)
        assert_true_to(shape, points, 0.3)


def test_a_small_kink_beside_a_corner_that_fills_its_leg_keeps_an_arc():
    # as a network of Kentucky has it: 0.8 m and 1.2 m legs, one vertex that hardly turns
    points = np.array([(0.0, 0.0), (52.0934, -37.6337), (52.7304, -38.0970), (52.7304, -36.8809)])
    (shape,) = recover_many([raw(points)], ReadOptions(sweep=SWEEP))
    assert isinstance(shape, Shape)
    assert (shape.chain.length > 0.0).all()
    assert np.abs(shape.chain.turn).sum() == pytest.approx(np.radians(126.19), abs=np.radians(0.2))
