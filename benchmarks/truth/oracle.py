"""What the vertices can tell at most: the duct fitted by one who knows how many straights and bends it has, and where.

The fit starts at the truth itself, is told the scatter, and knows how the radii of the routes are drawn. Nobody who
has only the vertices can do better but by luck. The bound beside it is that of Cramer and Rao, linearised at the truth
(from memory): no unbiased estimate of the total turn scatters less.
"""

from __future__ import annotations

import math

import numpy as np
from truth.routes import HEADING, FloatArray

from mechanics.chain import Chain
from routeio.course import advance
from routeio.elements import laid_out
from routeio.fit import Prior, fitted, normal
from routeio.tangent import Tangents, Traces

#: Radii are drawn evenly in ln R from 3 to 60 m: their median, and the standard deviation of ln R.
KNOWN = Prior(math.sqrt(3.0 * 60.0), math.log(60.0 / 3.0) / math.sqrt(12.0))


def true_tangents(truth: Chain, clean: FloatArray) -> Tangents:
    """The straights and corners of a flat duct, and which of its vertices without scatter lie about which corner."""
    heading = HEADING + np.concatenate(([0.0], np.cumsum(truth.turn)))
    knots = np.vstack(
        (
            [0.0, 0.0],
            np.cumsum(advance(heading[:-1], np.asarray(truth.length), np.asarray(truth.turn)), axis=0),
        )
    )
    straight = np.arange(0, len(truth.length), 2)
    radius = np.ones(len(straight))
    radius[1:] = truth.length[1::2] / np.abs(truth.turn[1::2])
    ends = np.concatenate(([0.0], np.cumsum(truth.length)))
    # vertices are parted in the middle of each straight
    station = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(clean[:, :2], axis=0).T))))
    station *= ends[-1] / station[-1]
    cell = np.zeros(len(straight) + 1, np.int64)
    cell[2:-1] = np.searchsorted(station, 0.5 * (ends[straight] + ends[straight + 1])[1:-1])
    cell[-1] = len(clean)
    foot = 0.5 * (knots[straight] + knots[straight + 1])
    return Tangents(
        np.array([0, len(straight)]), heading[straight], foot, np.zeros(len(straight)), np.log(radius), cell
    )


def best_fit(truth: Chain, clean: FloatArray, points: FloatArray, scatter: float) -> tuple[Chain, float]:
    """The duct by least squares from the truth, and the bound on the deviation of its total turn. [rad]"""
    start = true_tangents(truth, clean)
    traces = Traces(
        points[:, :2],
        np.array([0, len(points)]),
        np.array([scatter]),
        np.ones(len(points)),
        np.array([np.inf]),
    )
    chain, _ = fitted(traces, start, KNOWN, rounds=100, closeness=1e-6)
    laid = laid_out(traces, chain, np.zeros(len(chain.heading), bool))
    some = laid.length > 0.0
    level = np.zeros(int(some.sum()))
    return Chain(laid.length[some], level, level, laid.turn[some]), _bound(traces, start, truth)


def _bound(traces: Traces, start: Tangents, truth: Chain) -> float:
    system, count = normal(traces, start, KNOWN), len(start.heading)
    whole = np.zeros((3 * count, 3 * count))
    for k in range(count):
        rows = slice(3 * k, 3 * k + 3)
        whole[rows, rows] = system.diagonal[k]
        if k:
            before = slice(3 * k - 3, 3 * k)
            whole[before, rows], whole[rows, before] = system.beside[k], system.beside[k].T
    # total turn, by the headings of the straights
    weight = np.zeros(3 * count)
    sense = np.sign(truth.turn[1::2])
    weight[3::3] += sense
    weight[:-3:3] -= sense
    return math.sqrt(float(weight @ np.linalg.solve(whole, weight)))
