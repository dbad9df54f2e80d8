"""Exact lines: many at once give what each gives by itself, the slow way; what is not exact is left alone."""

import math
from dataclasses import replace

import numpy as np
import pytest

from routeio import bulges
from routeio.exact import exact
from routeio.findings import Where
from routeio.options import ReadOptions
from routeio.rawlines import RawLine
from routeio.shape import recover

OPTIONS = ReadOptions(sweep=3.0)


def route(rng, kink=0.0, legs=9):
    """Straights and arcs in turn, every now and then two arcs; kinks of up to the size given; far from the origin."""
    at, heading = np.array([2e6, 5e6]), rng.uniform(-3, 3)
    points, bulge = [at], []
    for k in range(legs):
        turn = 0.0 if k % 3 == 0 else rng.uniform(0.1, 1.2) * rng.choice([-1, 1])
        length = rng.uniform(2, 30)
        chord = length * np.sinc(turn / 2 / np.pi)
        at = at + chord * np.array([math.cos(heading + turn / 2), math.sin(heading + turn / 2)])
        heading += turn + rng.uniform(-kink, kink)
        points.append(at)
        bulge.append(math.tan(turn / 4))
    xyz = np.column_stack((points, np.full(len(points), np.nan)))
    return RawLine(xyz, np.array(bulge), tuple("AABBCCCDD"[:legs]), True, where=Where("a.dxf", "D", "1"))


def turned_round(line):
    return replace(line, points=line.points[::-1], bulge=-line.bulge[::-1], ids=line.ids[::-1])


@pytest.mark.parametrize("kink", [0.0, 1e-7, 1e-3])
def test_as_one_by_one(kink):
    rng = np.random.default_rng(5)
    lines = [route(rng, kink) for _ in range(40)]
    lines += [turned_round(line) for line in lines]
    found = exact(lines, OPTIONS.chord_tolerance)
    assert len(found) > 60
    for i, shape in found.items():
        line = lines[i]
        alone = recover(line.points, line.bulge, line.ids, True, OPTIONS, line.where)
        assert alone.findings == ()
        for name in ("length", "turn", "grade_in", "grade_out"):
            assert getattr(shape.chain, name) == pytest.approx(getattr(alone.chain, name), abs=1e-9)
        assert shape.origins == alone.origins
        assert shape.start == pytest.approx(alone.start, abs=kink * 100 + 1e-7)
        assert shape.end == pytest.approx(alone.end, abs=1e-8)
        assert math.remainder(shape.heading - alone.heading, 2 * math.pi) == pytest.approx(0, abs=1e-9)
        assert shape.elevated is alone.elevated is False


def test_legs_are_segments():
    line = route(np.random.default_rng(6))
    shape = exact([line], 0.03)[0]
    assert shape.chain.length == pytest.approx(bulges.leg_lengths(line.points, line.bulge), rel=1e-12)
    assert shape.chain.turn == pytest.approx(4 * np.arctan(line.bulge), abs=1e-9)


def test_what_is_not_exact_is_left_alone():
    line = route(np.random.default_rng(7))
    raised = line.points.copy()
    raised[:, 2] = 3.0
    doubled = line.points.copy()
    doubled[4] = doubled[5]
    sharp = line.points.copy()
    sharp[4] += 2.0
    others = [
        replace(line, drawn=False),
        replace(line, bulge=np.zeros(9)),
        replace(line, points=raised),
        replace(line, points=doubled),
        replace(line, points=sharp),
        replace(line, points=line.points * (np.nan, 1, 1)),
        RawLine(line.points[:1], line.bulge[:0], (), True),
        RawLine(
            np.array([[0, 0, np.nan], [5, 0, np.nan], [9, 0, np.nan], [12, 3, np.nan]]),
            np.array([0, 0, math.tan(math.pi / 8)]),
            ("A",) * 3,
            True,
        ),
    ]
    assert sorted(exact([*others, line], 0.03)) == [len(others)]
    assert exact(others, 0.03) == exact([], 0.03) == {}
