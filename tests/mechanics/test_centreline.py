"""Chains placed in space, against numerical quadrature of their directions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad

from mechanics.centreline import displacement, place
from mechanics.chain import Chain
from mechanics.errors import DomainError

angle = st.floats(-1.5, 1.5)


@given(st.floats(0.1, 200.0), angle, angle, st.floats(-7.0, 7.0), st.floats(-9.0, 9.0))
@settings(max_examples=60, deadline=None)
def test_any_segment_against_quadrature(
    length: float, a: float, b: float, turn: float, heading: float
) -> None:
    chain = Chain([length], [a], [b], [turn])
    rates = (
        lambda s: math.cos(a + (b - a) * s) * math.cos(heading + turn * s),
        lambda s: math.cos(a + (b - a) * s) * math.sin(heading + turn * s),
        lambda s: math.sin(a + (b - a) * s),
    )
    expected = [length * quad(rate, 0.0, 1.0, limit=200)[0] for rate in rates]
    assert displacement(chain, heading)[0] == pytest.approx(expected, abs=1e-9 * length)


def test_a_circle_closes() -> None:
    ring = Chain([5.0] * 6, [0] * 6, [0] * 6, [math.pi / 3] * 6)
    placed = place(ring, (10.0, -4.0, 2.0), 1.1, sagitta=0.01)
    assert placed.points[-1] == pytest.approx([10.0, -4.0, 2.0])
    assert placed.heading == pytest.approx(1.1 + 2 * math.pi)
    radius = 30.0 / (2 * math.pi)
    centre = placed.points[:-1].mean(axis=0)
    assert np.hypot(*(placed.points - centre)[:, :2].T) == pytest.approx(radius)


def test_chords_keep_to_the_sagitta() -> None:
    chain = Chain([10.0, 20.0, 15.0], [0, 0, 0.3], [0, 0.3, 0.3], [0, 2.0, 0])
    for sagitta in (0.5, 0.05, 0.005):
        rough, fine = (place(chain, (0, 0, 0), 0.0, sagitta=s) for s in (sagitta, sagitta / 400))
        for k in range(len(rough.station) - 1):
            inside = (fine.station >= rough.station[k]) & (fine.station <= rough.station[k + 1])
            a, b = rough.points[k], rough.points[k + 1]
            unit = (b - a) / np.linalg.norm(b - a)
            away = np.linalg.norm(np.cross(fine.points[inside] - a, unit), axis=1)
            assert away.max(initial=0.0) <= sagitta * 1.001
    straights = place(chain.part(0, 1), (0, 0, 0), 0.0, sagitta=0.01)
    assert len(straights.points) == 2


def test_stations_segments_and_ends() -> None:
    chain = Chain([10.0, 20.0, 15.0], [0, 0, 0.3], [0, 0.3, 0.3], [0, 2.0, 0])
    ends, many = place(chain, (1, 2, 3), 0.5), place(chain, (1, 2, 3), 0.5, sagitta=0.01)
    assert ends.station == pytest.approx([0, 10, 30, 45])
    assert many.points[many.segment] == pytest.approx(ends.points)
    assert many.station[many.segment] == pytest.approx(ends.station)
    assert many.station[-1] == pytest.approx(chain.total_length)


def test_reversed_leads_back() -> None:
    rng = np.random.default_rng(2)
    grades = rng.uniform(-0.5, 0.5, 8)
    chain = Chain(rng.uniform(1, 30, 7), grades[:-1], grades[1:], rng.uniform(-1.5, 1.5, 7))
    there = place(chain, (3, 4, 5), 0.7)
    back = place(chain.reversed(), there.points[-1].tolist(), there.heading + math.pi)
    assert back.points[::-1] == pytest.approx(there.points, abs=1e-9)


def test_nothing_to_place() -> None:
    placed = place(Chain([], [], [], []), (1, 2, 3), 0.5, sagitta=0.1)
    assert placed.points.tolist() == [[1, 2, 3]]
    assert placed.segment.tolist() == [0]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"start": (0, 0)}, r"start must have shape \(3,\)"),
        ({"start": (0, math.nan, 0)}, r"start\[1\] must be finite"),
        ({"heading": math.inf}, "heading must be finite"),
        ({"sagitta": 0.0}, "sagitta must be above 0"),
        ({"chain": Chain([1, 1], [0, 0], [0, 0], [0, 0], [0, 1, 2])}, "must be a single chain, got 2"),
    ],
)
def test_bad_arguments(arguments: dict[str, object], message: str) -> None:
    good = {"chain": Chain([1.0], [0], [0], [0]), "start": (0, 0, 0), "heading": 0.0}
    with pytest.raises(DomainError, match=message):
        place(**{**good, **arguments})  # type: ignore[arg-type]
