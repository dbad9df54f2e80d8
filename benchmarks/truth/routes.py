"""Ducts known to the last digit, and vertices as a drafter or a digitiser would leave them."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from mechanics.centreline import place
from mechanics.chain import Chain

FloatArray = NDArray[np.float64]

#: How far a chord stands off the arc it is drawn for. [m]
SAGITTA = 0.02
#: At which a duct sets out. [rad]
HEADING = 0.3


def route(rng: np.random.Generator, bends: int | None = None, hilly: bool = False) -> Chain:
    """A duct of straights of 10 to 60 m and 4 to 10 bends (if not said) of 3 to 60 m radius and 11.25 to 90 degrees.

    On hills the grade changes every 30 to 120 m to another within 0 to 10 %, up or down, along a vertical curve of 30
    to 300 m radius, whatever the plan does there.
    """
    bends = bends or int(rng.integers(4, 11))
    radius = np.exp(rng.uniform(math.log(3.0), math.log(60.0), bends))
    turn = np.radians(rng.uniform(11.25, 90.0, bends)) * rng.choice([-1.0, 1.0], bends)
    length, turns = np.zeros(2 * bends + 1), np.zeros(2 * bends + 1)
    length[::2] = rng.uniform(10.0, 60.0, bends + 1)
    length[1::2], turns[1::2] = radius * np.abs(turn), turn
    if not hilly:
        level = np.zeros(len(length))
        return Chain(length, level, level, turns)
    ends = np.concatenate(([0.0], np.cumsum(length)))
    heading = np.concatenate(([0.0], np.cumsum(turns)))
    knots, grades = [0.0], [math.atan(rng.uniform(-0.1, 0.1))]
    while knots[-1] < ends[-1]:
        curve = math.atan(rng.uniform(-0.1, 0.1)) - grades[-1]
        knots += [knots[-1] + rng.uniform(30.0, 120.0)]
        knots += [knots[-1] + abs(curve) * rng.uniform(30.0, 300.0)]
        grades += [grades[-1], grades[-1] + curve]
    cuts = np.unique(np.concatenate((ends, [k for k in knots if 0.0 < k < ends[-1]])))
    cuts = cuts[np.concatenate(([True], np.diff(cuts) > 1e-6))]
    grade = np.interp(cuts, knots, grades)
    return Chain(np.diff(cuts), grade[:-1], grade[1:], np.diff(np.interp(cuts, ends, heading)))


def drawn(chain: Chain, step: float | None = None) -> FloatArray:
    """Vertices of chords that stand off by ``SAGITTA``, cut up so that none is longer than the step, shape (k, 3)."""
    points = place(chain, (0.0, 0.0, 0.0), HEADING, SAGITTA).points
    if step is None:
        return points
    legs = np.hypot(*np.diff(points[:, :2], axis=0).T)
    parts = np.maximum(1, np.ceil(legs / step)).astype(int)
    pieces = [points[i] + np.outer(np.arange(n) / n, points[i + 1] - points[i]) for i, n in enumerate(parts)]
    return np.concatenate([*pieces, points[-1:]])


def digitised(
    points: FloatArray,
    rng: np.random.Generator,
    scatter: float,
    *,
    heights: float = 0.0,
    correlation: float = 0.0,
    strays: float = 0.0,
    together: int = 1,
) -> FloatArray:
    """The vertices with scatter on each, correlated along the line if said, and a share of them a metre off, alone or so
    many neighbours together the same way.
    """
    noise = rng.normal(0.0, 1.0, points.shape)
    for i in range(1, len(noise) if correlation else 0):
        noise[i] = correlation * noise[i - 1] + math.sqrt(1.0 - correlation**2) * noise[i]
    out = points + noise * np.array([scatter, scatter, heights])
    off = rng.random(len(points)) < strays / together
    way = rng.uniform(0.0, 2.0 * math.pi, len(points))
    for beside in range(together):
        k = np.flatnonzero(off) + beside
        k = k[k < len(out)]
        out[k, 0] += np.cos(way[k - beside])
        out[k, 1] += np.sin(way[k - beside])
    return out


def short_line(rng: np.random.Generator, bent: bool) -> tuple[Chain, FloatArray]:
    """A duct of 4 to 10 vertices 5 m apart or so, a straight or two straights and a bend, and those vertices on it."""
    count = int(rng.integers(4, 11))
    span = 5.0 * (count - 1)
    length, turn = np.array([span]), np.zeros(1)
    if bent:
        angle = np.radians(rng.uniform(11.25, 90.0))
        arc = angle * rng.uniform(3.0, min(15.0, 0.6 * span / angle))
        before = rng.uniform(0.3, 0.7) * (span - arc)
        length, turn = np.array([before, arc, span - arc - before]), np.array([0.0, angle, 0.0])
    truth = Chain(length, np.zeros(len(turn)), np.zeros(len(turn)), turn)
    at = np.linspace(0.0, 1.0, count)
    at[1:-1] += rng.uniform(-0.3, 0.3, count - 2) / (count - 1)
    ends = np.concatenate(([0.0], np.cumsum(length)))
    station = at * ends[-1]
    fine = np.linspace(0.0, ends[-1], 4001)
    way = np.interp(fine, ends, np.concatenate(([0.0], np.cumsum(turn))))
    steps = np.diff(fine)[:, None] * np.column_stack((np.cos(way), np.sin(way)))[1:]
    path = np.vstack(([0.0, 0.0], np.cumsum(steps, axis=0)))
    points = np.column_stack([np.interp(station, fine, path[:, k]) for k in (0, 1)] + [np.zeros(count)])
    return truth, points
