"""Cleaning of lines: doubles, nothings, stitching, junctions; lines made in code, in metres."""

import math

import numpy as np
import pytest
import shapely

from routeio.clean import clean
from routeio.findings import Where
from routeio.options import ReadOptions
from routeio.rawlines import RawLine, RawSurvey, RawVault
from routeio.survey import DuctFields, Ground

X0, Y0 = 600_000.0, 200_000.0  # as state-plane coordinates are


def line(*points, bulge=None, name=None, fields=DuctFields(), drawn=True):  # noqa: B008  (frozen)
    array = np.array([(*p, np.nan)[:3] if len(p) == 2 else p for p in points], dtype=float)
    array[:, 0] += X0
    array[:, 1] += Y0
    legs = len(points) - 1
    name = name or f"L{abs(hash(points)) % 10**8}"
    return RawLine(
        array,
        np.array(bulge or [0.0] * legs, dtype=float),
        (name,) * legs,
        drawn,
        fields,
        Where(layer="D", id=name),
    )


def vault(tag, x, y, size=None, **fields):
    footprint = shapely.box(X0 + x - size, Y0 + y - size, X0 + x + size, Y0 + y + size) if size else None
    return RawVault(tag, X0 + x, Y0 + y, math.nan, footprint, fields, Where(layer="V", id=f"v{tag}"))


def cleaned(lines, vaults=(), snap=0.3):
    raw = RawSurvey(tuple(lines), tuple(vaults), Ground(1.0, "m"))
    return clean(raw, ReadOptions(snap=snap))


def codes(result):
    return sorted(f.code for f in result.findings if f.severity != "info")


def ends(result):
    tags = [v.tag for v in result.vaults]
    return [tuple(None if v is None else tags[v] for v in (j.tied.start, j.tied.end)) for j in result.lines]


def courses(result):
    return [np.round(j.tied.line.points[:, :2] - (X0, Y0), 6).tolist() for j in result.lines]


def test_zero_length_and_repeated_vertices():
    result = cleaned([line((0, 0), (0, 0)), line((0, 0), (5, 0), (5, 0), (9, 0), bulge=[0, 7, 0.1])])
    assert courses(result) == [[[0, 0], [5, 0], [9, 0]]]
    assert result.lines[0].tied.line.bulge.tolist() == [0, 0.1]
    assert [f.code for f in result.findings][:2] == ["zero-length", "repeated-vertex"]


@pytest.mark.parametrize("shift", [0.0, 1e-4])
@pytest.mark.parametrize("turned", [False, True])
def test_doubles(shift, turned):
    first = line((0, 0), (5, 0), (9, 3), bulge=[0.2, 0], name="A")
    points = [(0 + shift, 0), (5 + shift, 0), (9, 3 - shift)]
    second = line(*(points[::-1] if turned else points), bulge=[0, -0.2] if turned else [0.2, 0], name="B")
    result = cleaned([first, second, line((0, 0), (5, 1), (9, 3), bulge=[0.2, 0], name="C")])
    assert [j.tied.line.where.id for j in result.lines] == ["A", "C"]
    assert [f.where.id for f in result.findings if f.code == "duplicate-line"] == ["B"]


@pytest.mark.parametrize("turned", [False, True])
def test_doubles_by_other_vertices(turned):
    """A line, and the same drawn again as a polyline with a vertex on it."""
    points = [(0, 0), (4, 0), (9, 0)]
    second = line(*(points[::-1] if turned else points), name="B")
    result = cleaned([line((0, 0), (9, 0), name="A"), second, line((0, 0), (4.5, 0.01), (9, 0), name="C")])
    assert [j.tied.line.where.id for j in result.lines] == ["A", "C"]
    assert [f.where.id for f in result.findings if f.code == "duplicate-line"] == ["B"]


def test_doubles_with_other_fields_are_two_ducts():
    result = cleaned(
        [line((0, 0), (5, 0), name="A"), line((0, 0), (5, 0), name="B", fields=DuctFields(size="4"))],
        [vault("P", 0, 0), vault("Q", 5, 0)],
    )
    assert ends(result) == [("P", "Q"), ("P", "Q")]
    assert "same-course" in [f.code for f in result.findings]


def test_recorded_length_differs():
    lines = [line((0, 0), (100, 0), fields=DuctFields(recorded_length=length)) for length in (104.0, 150.0)]
    messages = [f.message for f in cleaned(lines).findings if f.code == "length-differs"]
    assert len(messages) == 1
    assert "0.67 times" in messages[0]


# -- stitching -------------------------------------------------------------------------------------------


def test_pieces_in_mixed_directions_make_one_line():
    """A straight, a quarter circle of radius 5 and a straight; each piece drawn either way round."""
    b = math.tan(math.pi / 8)
    whole = [[0, 0], [10, 0], [15, 5], [15, 20]]
    for turned in range(8):
        pieces = [((0, 0), (10, 0), 0.0), ((10, 0), (15, 5), b), ((15, 5), (15, 20), 0.0)]
        lines = [
            line(q, p, bulge=[-c]) if turned >> k & 1 else line(p, q, bulge=[c])
            for k, (p, q, c) in enumerate(pieces)
        ]
        result = cleaned(lines, [vault("A", 0, 0), vault("B", 15, 20)])
        (course,) = courses(result)
        (joined,) = result.lines
        forward = course[0] == [0, 0]
        assert course == (whole if forward else whole[::-1])
        assert joined.tied.line.bulge.tolist() == pytest.approx([0, b if forward else -b, 0])
        assert len(set(joined.tied.line.ids)) == 3
        assert codes(result) == []


@pytest.mark.parametrize("gap", [(0.02, 0.0), (-0.03, 0.0), (0.01, 0.02), (0.0, -0.02)])
def test_gaps_and_overshoots_leave_no_kink(gap):
    """The straight gives way to the arc; its heading changes by no more than the gap over its length."""
    b = math.tan(math.pi / 8)
    arc = line((10, 0), (15, 5), bulge=[b])
    straight = line((0, 0), (10 - gap[0], gap[1]))
    result = cleaned([straight, arc])
    (joined,) = result.lines
    points = joined.tied.line.points - (X0, Y0, 0)
    assert len(points) == 3
    assert sorted(points[:, 0].tolist()) == pytest.approx([0, 10, 15])
    (closed,) = [f for f in result.findings if f.code == "gap-closed"]
    assert f"{math.hypot(*gap):.3f} m (" in closed.message
    assert (closed.where.x, closed.where.y) == pytest.approx((X0 + 10, Y0))


@pytest.mark.parametrize(("over", "beyond"), [(0.02, 0.03), (-0.02, -0.03), (0.02, -0.03)])
def test_corners_meet_where_the_legs_cross(over, beyond):
    first = line((0, 0), (10 + over, 0))
    second = line((10, 0 - beyond), (10, 20))
    result = cleaned([first, second])
    assert sorted(courses(result)[0]) == sorted([[0, 0], [10, 0], [10, 20]])


def test_two_arcs_meet_halfway_with_their_turns_kept():
    result = cleaned([line((0, 0), (5, 5), bulge=[0.3]), line((5.02, 5), (10, 0), bulge=[-0.3])])
    (joined,) = result.lines
    assert joined.tied.line.points[1, 0] - X0 == pytest.approx(5.01)
    assert np.abs(joined.tied.line.bulge).tolist() == [0.3, 0.3]


def test_elevations_meet_too():
    result = cleaned([line((0, 0, 10), (5, 0, 12)), line((5, 0, 12.1), (9, 0, 11))])
    assert result.lines[0].tied.line.points[1, 2] == pytest.approx(12.05)
    assert "0.100 m (0.328 ft) in elevation" in next(
        f.message for f in result.findings if f.code == "gap-closed"
    )


def test_three_ends_without_a_vault_are_not_guessed():
    result = cleaned([line((-10, 0), (0, 0)), line((0, 0), (10, 0)), line((0, 0.01), (0, 10))])
    assert ends(result) == [(None, None)] * 3
    (finding,) = [f for f in result.findings if f.code == "ambiguous-junction"]
    assert finding.severity == "error"
    assert (finding.where.x, finding.where.y) == pytest.approx((X0, Y0), abs=0.01)
    # with a vault they are three ducts that meet in it
    result = cleaned(
        [line((-10, 0), (0, 0)), line((0, 0), (10, 0)), line((0, 0.01), (0, 10))], [vault("J", 0, 0)]
    )
    assert sorted(ends(result), key=str) == [("J", None), ("J", None), (None, "J")]


def test_ends_that_touch_go_before_a_third_that_is_near():
    result = cleaned([line((-10, 0), (0, 0)), line((0, 0), (10, 0)), line((0, 0.2), (0, 10))])
    assert len(result.lines) == 2
    assert codes(result).count("end-on-line") == 1


def test_parallel_ducts_in_pieces_are_kept_apart():
    """Two ducts 0.15 m apart, in pieces with gaps of 1 cm, snap 0.3: each goes on in itself."""
    lines = []
    for y in (0.0, 0.15):
        lines += [line((0, y), (10, y)), line((10.01, y), (20, y)), line((20, y), (30, y + 3))]
    result = cleaned(lines)
    assert len(result.lines) == 2
    for course in courses(result):
        ys = [p[1] for p in course if p[0] < 25]
        assert max(ys) == min(ys)


def test_ends_side_by_side_are_not_bent_round():
    result = cleaned([line((0, 0), (10, 0)), line((0, 0.1), (10, 0.1))])
    assert len(result.lines) == 2
    assert "ends-side-by-side" in codes(result)


def test_a_piece_shorter_than_snap_is_not_closed_on_itself():
    result = cleaned([line((0, 0), (0.2, 0))])
    assert ends(result) == [(None, None)]
    assert "ring-without-vault" not in codes(result)


def test_crossing_lines_do_not_connect():
    result = cleaned(
        [line((-10, 0), (10, 0)), line((0, -10), (0, 10))],
        [vault("W", -10, 0), vault("E", 10, 0), vault("S", 0, -10), vault("N", 0, 10)],
    )
    assert ends(result) == [("W", "E"), ("S", "N")]
    assert codes(result) == []


def test_ring():
    square = [(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)]
    result = cleaned([line(*square)])
    assert codes(result) == ["ring-without-vault"]
    assert ends(result) == [(None, None)]
    result = cleaned([line(*square)], [vault("A", 10, 0)])
    assert ends(result) == [("A", "A")]
    assert courses(result)[0][0] == courses(result)[0][-1] == [10, 0]
    assert len(courses(result)[0]) == 5
    result = cleaned([line(*square)], [vault("A", 10, 0), vault("B", 0, 10)])
    assert sorted(map(sorted, ends(result))) == [["A", "B"], ["A", "B"]]


def test_ring_of_pieces():
    result = cleaned([line((0, 0), (10, 0)), line((10, 10), (10, 0)), line((10, 10), (0, 0))])
    assert codes(result) == ["ring-without-vault"]
    assert len(courses(result)[0]) == 4


def test_pieces_that_differ_in_size_keep_their_own():
    five, four = DuctFields(size="5", recorded_length=10.0), DuctFields(size="4", recorded_length=5.0)
    result = cleaned(
        [line((0, 0), (10, 0), name="A", fields=five), line((10, 0), (15, 0), name="B", fields=four)]
    )
    (joined,) = result.lines
    assert joined.tied.line.fields == DuctFields(recorded_length=15.0)
    assert sorted((p.where.id, p.fields.size) for p in joined.pieces) == [("A", "5"), ("B", "4")]
    assert [f.code for f in result.findings].count("pieces-differ") == 1


def test_a_thousand_pieces_make_one_line():
    lines = [line((k, 0), (k + 1, 0), name=f"P{k}") for k in range(1000)]
    result = cleaned(lines, [vault("A", 0, 0), vault("B", 1000, 0)])
    assert ends(result) in ([("A", "B")], [("B", "A")])
    assert len(courses(result)[0]) == 1001
