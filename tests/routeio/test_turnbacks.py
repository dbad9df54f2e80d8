"""Lines that run back over themselves; the lengths are those of the courses drawn, by hand."""

import numpy as np
import pytest

from routeio.attach import Tied
from routeio.findings import Where
from routeio.rawlines import RawLine
from routeio.turnbacks import without_turning_back

SNAP = 0.3


def tied(*points):
    xy = np.array([(600_000.0 + x, 200_000.0 + y, np.nan) for x, y in points])
    legs = len(points) - 1
    return Tied(RawLine(xy, np.zeros(legs), tuple(f"h{k}" for k in range(legs)), True, where=Where(id="L")))


def looked_at(*points):
    lines, findings = without_turning_back([tied(*points)], SNAP)
    return lines, [(f.code, f.severity, round(f.where.x - 600_000.0, 6)) for f in findings]


@pytest.mark.parametrize(("back", "severity"), [(2.0, "warning"), (0.01, "info")])
def test_a_stretch_drawn_back_and_on_again_is_counted_once_and_said(back, severity):
    lines, said = looked_at((0, 0), (20, 0), (20 - back, 0), (40, 0))
    assert said == [("backtrack-dropped", severity, 20.0)]
    points = lines[0].line.points[:, :2] - (600_000.0, 200_000.0)
    assert np.hypot(*np.diff(points, axis=0).T).sum() == pytest.approx(40.0)
    assert len(lines[0].line.ids) == len(lines[0].line.bulge) == len(points) - 1


@pytest.mark.parametrize(
    ("points", "length"),
    [
        (((0, 0), (20, 0), (20, 0.2), (20, 0), (40, 0)), 40.0),
        (((0, 0), (20.1, 0), (20, 0), (20, 10)), 30.0),
        (((0, 0), (20, 0), (19.8, 0)), 19.8),
    ],
)
def test_a_vertex_that_overshoots_within_the_tolerance_is_dropped(points, length):
    lines, said = looked_at(*points)
    assert [code for code, *_ in said] == ["backtrack-dropped"]
    step = np.diff(lines[0].line.points[:, :2], axis=0)
    assert np.hypot(*step.T).sum() == pytest.approx(length)
    assert (np.hypot(*step.T) > 0.0).all()


def test_a_way_out_and_back_is_no_duct_and_is_left_out_with_its_place():
    # 10 m to a house and back: a fit of straights alone would take 40 m of the 60 drawn, and say nothing
    lines, said = looked_at((0, 0), (20, 0), (20, 10), (20, 0), (40, 0))
    assert lines == []
    assert said == [("line-turns-back", "error", 20.0)]


@pytest.mark.parametrize(
    "points",
    [
        ((0, 0), (20, 0), (20, 10), (40, 10)),
        ((0, 0), (2, 0), (3, 30), (4, 0), (6, 0)),  # a stray vertex, 30 m off: not over itself
        ((0, 0), (20, 0), (0, 2)),  # there and back beside itself
    ],
)
def test_other_corners_are_left_as_they_are(points):
    lines, said = looked_at(*points)
    assert said == []
    assert len(lines[0].line.points) == len(points)


def test_scatter_between_vertices_that_lie_close_is_left_to_the_fit():
    rng = np.random.default_rng(5)
    x = np.linspace(0.0, 20.0, 400) + rng.normal(0.0, 0.2, 400)
    lines, said = looked_at(*zip(x.tolist(), np.zeros(400).tolist(), strict=True))
    assert said == []
    assert len(lines[0].line.points) == 400
