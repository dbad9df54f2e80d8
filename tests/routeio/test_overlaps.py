"""Pieces drawn over each other, and ducts drawn twice by other pieces; lengths and places by hand."""

import math

import numpy as np
import pytest
import shapely

from routeio.clean import clean
from routeio.findings import Where
from routeio.options import ReadOptions
from routeio.rawlines import RawLine, RawSurvey, RawVault
from routeio.survey import DuctFields, Ground

X0, Y0 = 600_000.0, 200_000.0
PLAIN = DuctFields()


def line(name, *points, bulge=None, fields=PLAIN):
    xy = np.array([(X0 + x, Y0 + y, np.nan) for x, y in points])
    legs = len(points) - 1
    where = Where(layer="D", id=name)
    return RawLine(xy, np.array(bulge or [0.0] * legs), (name,) * legs, True, fields, where)


def read(*lines):
    """Between vault A at 0 and vault B at 40."""
    marks = [
        RawVault(tag, X0 + x, Y0, math.nan, shapely.Point(X0 + x, Y0).buffer(0.5), {}, Where(id=tag))
        for tag, x in (("A", 0), ("B", 40))
    ]
    cleaned = clean(RawSurvey(tuple(lines), tuple(marks), Ground(1.0, "m")), ReadOptions())
    tags = [v.tag for v in cleaned.vaults]
    spans = [
        (*("-" if v is None else tags[v] for v in (j.tied.start, j.tied.end)), round(length(j.tied.line), 6))
        for j in cleaned.lines
    ]
    told = [f for f in cleaned.findings if f.severity != "info" or f.code == "nearly-same-course"]
    return spans, [(f.code, f.where.id, round(f.where.x - X0, 6)) for f in told]


def length(of):
    assert not of.bulge.any()
    return float(np.hypot(*np.diff(of.points[:, :2], axis=0).T).sum())


@pytest.mark.parametrize("by", [0.5, 5.0, 9.9])
@pytest.mark.parametrize("turned", [False, True])
def test_two_pieces_that_overlap_are_one_duct_as_long_as_its_course(by, turned):
    second = ((20 - by, 0), (40, 0))
    spans, told = read(line("1", (0, 0), (20, 0)), line("2", *(second[::-1] if turned else second)))
    assert spans == [("A", "B", 40.0)]
    assert told == [("drawn-over", "1", 20.0)]


def test_an_overlap_round_a_bend_is_counted_once():
    # both pieces draw the same quarter circle of 5 m about (20, 5); the duct is 20 + 5 pi / 2 + 15 m
    quarter = math.tan(math.pi / 8)
    one = line("1", (0, 0), (20, 0), (25, 5), bulge=[0, quarter])
    two = line("2", (20, 0), (25, 5), (25, 20), bulge=[quarter, 0])
    cleaned = clean(RawSurvey((one, two), (), Ground(1.0, "m")), ReadOptions())
    (joined,) = cleaned.lines
    turns = 4 * np.arctan(joined.tied.line.bulge)
    assert np.abs(turns).sum() == pytest.approx(math.pi / 2)
    (said,) = [f for f in cleaned.findings if f.code == "drawn-over"]
    assert f"{5 * math.pi / 2:.2f} m" in said.message


@pytest.mark.parametrize("part", [((10, 0), (30, 0)), ((20, 0), (10, 0))])
def test_a_loose_piece_drawn_over_another_is_left_out(part):
    halves = [line("1", (0, 0), (20, 0)), line("2", (20, 0), (40, 0))]
    whole = [line("3", (0, 0), (40, 0))]
    for lines in (halves if part[0][0] == 20 else whole,):
        spans, told = read(*lines, line("4", *part))
        assert spans == [("A", "B", 40.0)]
        assert [(code, name) for code, name, _ in told] == [("drawn-over", "4")]


def test_pieces_of_other_sizes_are_not_joined_over_an_overlap():
    spans, told = read(line("1", (0, 0), (20, 0)), line("2", (15, 0), (40, 0), fields=DuctFields(size="4")))
    assert [span[:2] for span in spans] == [("A", "-"), ("-", "B")]
    assert {code for code, *_ in told} == {"end-on-line"}


def test_pieces_that_pass_each_other_side_by_side_are_not_joined():
    spans, told = read(line("1", (0, 0), (20, 0)), line("2", (15, 0.2), (40, 0)))
    assert [span[:2] for span in spans] == [("A", "-"), ("-", "B")]
    assert {code for code, *_ in told} == {"end-on-line"}


def test_pieces_side_by_side_for_most_of_their_way_are_not_joined():
    spans, told = read(line("1", (0, 0), (30, 0.02)), line("2", (10, 0), (40, 0)))
    assert [span[:2] for span in spans] == [("A", "-"), ("-", "B")]
    assert {code for code, *_ in told} == {"end-on-line"}


def test_a_duct_drawn_whole_and_again_in_pieces_is_one():
    spans, told = read(line("1", (0, 0), (40, 0)), line("2", (0, 0), (25, 0)), line("3", (40, 0), (25, 0)))
    assert spans == [("A", "B", 40.0)]
    assert [(code, name) for code, name, _ in told] == [("duplicate-line", "2")]


@pytest.mark.parametrize(("apart", "told"), [(0.02, ["nearly-same-course"]), (0.06, [])])
def test_ducts_nearer_than_ducts_can_be_are_kept_and_said(apart, told):
    spans, said = read(line("1", (0, 0), (40, 0)), line("2", (0, apart), (40, apart)))
    assert len(spans) == 2
    assert [code for code, *_ in said] == told


@pytest.mark.parametrize("apart", [0.0, 2e-10, 1e-9])
def test_a_short_piece_square_to_the_end_of_a_duct_stays(apart):
    # both ends of the short one are nearest to the same end of the other, but for rounding
    spans, told = read(line("1", (0, 0), (apart, 5)), line("2", (apart, 5), (apart - 0.014, 5)))
    assert sorted(length for *_, length in spans) == pytest.approx([5.014])
    assert [code for code, *_ in told] == ["loose-end"]
