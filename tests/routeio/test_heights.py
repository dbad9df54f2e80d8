"""Elevations: which z is one, and which only stands where none was known."""

import numpy as np
import pytest

from routeio import heights
from routeio.findings import Where
from routeio.rawlines import RawLine

NAN = np.nan


def line(*z, name="L"):
    points = np.column_stack((np.arange(len(z)) * 10.0, np.zeros(len(z)), z))
    return RawLine(points, np.zeros(len(z) - 1), (name,) * (len(z) - 1), False, where=Where(id=name))


def settled(*lines):
    out, findings = heights.settled(lines)
    return [p.points[:, 2].tolist() for p in out], {f.code: f for f in findings}


@pytest.mark.parametrize("absurd", [-9999.0, 1e20, -3.4e38, -32768.0, 99999.0])
def test_sentinels(absurd):
    z, codes = settled(line(100, absurd, 102), line(99, 98))
    assert z[0] == [100, 101, 102]
    assert "elevation-interpolated" in codes
    assert "1 vertices" in codes["elevation-absurd"].message
    assert codes["elevation-absurd"].where.id == "L"


def test_zeros_all_over_are_none():
    z, codes = settled(line(0, 0), line(0, 0))
    assert np.isnan(z).all()
    assert set(codes) == {"elevation-all-zero"}


def test_no_elevations_need_no_finding():
    _, codes = settled(line(NAN, NAN))
    assert codes == {}


def test_a_stray_among_zeros():
    z, codes = settled(*[line(0, 0, 0, 0) for _ in range(10)], line(0, 0, 57.3, 0, name="S"))
    assert np.isnan(np.concatenate(z)).all()
    assert codes["elevation-stray"].where.id == "S"


def test_zeros_on_a_line_or_a_layer_with_elevations():
    z, codes = settled(line(101, 0, 103), line(0, 0, name="Z"), line(99, 98))
    assert z[0] == [101, 102, 103]
    assert np.isnan(z[1]).all()
    assert "grade above 50 %" in codes["elevation-zero"].message
    assert "elevation-mixed" in codes


def test_zero_near_the_sea_is_an_elevation():
    z, codes = settled(line(0.4, 0.0, -0.3), line(1.2, 0.0))
    assert z == [[0.4, 0.0, -0.3], [1.2, 0.0]]
    assert codes == {}


@pytest.mark.parametrize("z", [(0, -4.5), (0, 4), (4, 0, -4), (0, 3, 3, 0)])
def test_zero_is_an_elevation_where_a_duct_can_reach_it(z):
    (out,), codes = settled(line(*z))
    assert out == list(z)
    assert ("elevation-zero-kept" in codes) == (max(map(abs, z)) > 3)


def test_zero_is_an_elevation_among_lines_of_zeros():
    z, codes = settled(*[line(0, 0, 0) for _ in range(30)], line(0, -4.5, name="D"))
    assert z[-1] == [0, -4.5]
    assert codes["elevation-zero-kept"].where.id == "D"


def test_an_end_that_is_unknown_stays_unknown():
    (z,), codes = settled(line(100, 101, -9999))
    assert z[:2] == [100, 101]
    assert np.isnan(z[2])
    assert "elevation-interpolated" not in codes


def test_nine_thousand_feet_and_all_nines():
    z, codes = settled(line(2740, 9999 * 0.3048, 2742))
    assert z == [[2740, 2741, 2742]]
    assert "9999.00 ft" in codes["elevation-absurd"].message


def test_lines_with_and_without():
    z, codes = settled(line(100, 101), line(NAN, NAN, name="N"))
    assert z[0] == [100, 101]
    assert codes["elevation-mixed"].where.id == "N"


def test_what_is_right_is_the_same_object():
    good = line(100, 101)
    assert heights.settled([good])[0][0] is good
