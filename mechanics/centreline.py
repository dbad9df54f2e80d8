r"""Where a chain lies in space once it has a start and a heading.

With heading and grade linear in s, :math:`\cos g\cos h = \tfrac12[\cos(g+h)+\cos(g-h)]` has linear phases, and the
mean of a cosine of linear phase over a stretch is the cosine of its middle times sin(x)/x of half its change. So every
coordinate is exact, for every kind of segment.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from mechanics.chain import Chain, IntArray
from mechanics.errors import DomainError, FloatArray, in_range, instance, number, point


class Centreline(NamedTuple):
    """Points along one chain, close enough to draw it by chords.

    Parameters
    ----------
    points : ndarray, shape (k, 3)
        The start, every chord's end, the end. [m]
    station : ndarray, shape (k,)
        Distance along the chain to each point. [m]
    segment : ndarray of int, shape (n + 1,)
        Row of ``points`` at which each segment starts, and the last row.
    heading : float
        At the end, not reduced to one turn. [rad]
    """

    points: FloatArray
    station: FloatArray
    segment: IntArray
    heading: float


def displacement(
    chain: Chain, heading: ArrayLike, start: ArrayLike = 0.0, stop: ArrayLike = 1.0
) -> FloatArray:
    """Return how far each segment leads in x, y and z between two places on it.

    Parameters
    ----------
    chain : Chain
        n segments; chains play no part.
    heading : float or array_like, shape (n,)
        At the start of each segment. [rad]
    start, stop : float or array_like, shape (n,), optional
        Fractions of the segment's length, from 0 to 1.

    Returns
    -------
    ndarray, shape (n, 3)
        Exact. [m]

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.

    Examples
    --------
    >>> quarter = Chain(length=[np.pi / 2], grade_in=[0.0], grade_out=[0.0], turn=[np.pi / 2])
    >>> displacement(quarter, heading=0.0).round(9).tolist()
    [[1.0, 1.0, 0.0]]
    """
    h = in_range("heading", heading)
    a = in_range("start", start, at_least=0.0, at_most=1.0)
    b = in_range("stop", stop, at_least=0.0, at_most=1.0)
    middle, share = 0.5 * (a + b), b - a
    sweep = chain.grade_out - chain.grade_in
    grade = chain.grade_in + sweep * middle
    bearing = h + chain.turn * middle

    def mean(phase: FloatArray, change: FloatArray, wave: np.ufunc) -> FloatArray:
        # np.sinc(x) is sin(pi x)/(pi x)
        return np.asarray(wave(phase) * np.sinc(change * share / (2.0 * np.pi)))

    plus, minus = (grade + bearing, sweep + chain.turn), (bearing - grade, chain.turn - sweep)
    return np.asarray(
        (chain.length * share)[:, None]
        * np.stack(
            (
                0.5 * (mean(*plus, np.cos) + mean(*minus, np.cos)),
                0.5 * (mean(*plus, np.sin) + mean(*minus, np.sin)),
                mean(grade, sweep, np.sin),
            ),
            axis=-1,
        )
    )


def place(chain: Chain, start: Sequence[float], heading: float, sagitta: float | None = None) -> Centreline:
    """Place one chain in space.

    Parameters
    ----------
    chain : Chain
        One chain of n segments.
    start : sequence of 3 floats
        Where it starts. [m]
    heading : float
        In which direction, in plan, from x towards y. [rad]
    sagitta : float, optional
        Farthest that a chord may lie from its curve, above 0; None: only the ends of the segments are given. [m]

    Returns
    -------
    Centreline
        Points, stations, rows of the segments, heading at the end; the end point is the last of the points.

    Raises
    ------
    DomainError
        Names the argument and the legal range; more than one chain.

    Examples
    --------
    >>> sweep = Chain(length=[10.0, 3 * np.pi / 2], grade_in=[0, 0], grade_out=[0, 0], turn=[0, np.pi / 2])
    >>> placed = place(sweep, (100.0, 200.0, 5.0), heading=0.0, sagitta=0.12)
    >>> placed.points[-1].round(6).tolist(), len(placed.points), placed.segment.tolist()
    ([113.0, 203.0, 5.0], 5, [0, 1, 4])
    """
    if instance("chain", chain, Chain).count != 1:
        raise DomainError(f"chain must be a single chain, got {chain.count}")
    origin, heading = point("start", start), number("heading", heading)
    if sagitta is None:
        count = np.ones(len(chain), dtype=np.int64)
    else:
        sagitta = number("sagitta", sagitta, above=0.0)
        # a chord of length l lies at most l^2 k / 8 from a curve of curvature k
        count = np.maximum(1, np.ceil(chain.length * np.sqrt(chain.curvature / (8.0 * sagitta)))).astype(
            np.int64
        )
    owner = np.repeat(np.arange(len(chain)), count)
    first = np.concatenate(([0], np.cumsum(count))).astype(np.int64)
    step = (np.arange(owner.size) - first[owner]).astype(np.float64)
    headings = heading + np.concatenate(([0.0], np.cumsum(chain.turn)))
    some = Chain(chain.length[owner], chain.grade_in[owner], chain.grade_out[owner], chain.turn[owner])
    steps = displacement(some, headings[:-1][owner], step / count[owner], (step + 1.0) / count[owner])
    points = origin + np.concatenate((np.zeros((1, 3)), np.cumsum(steps, axis=0)))
    station = np.concatenate(([0.0], np.cumsum(some.length / count[owner])))
    return Centreline(points, station, first, float(headings[-1]))
