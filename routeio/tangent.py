"""The tangent chain: straights by heading and offset, an arc at each corner tangent to both, fitted to vertices.

Tangency is built in, and every vertex feels five numbers only: the two straights it lies between and the arc that
joins them. Any number of lines are fitted side by side, all their straights in one row.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from mechanics.errors import FloatArray
from routeio.course import wrap

IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]
_Any = TypeVar("_Any", bound=np.generic)

#: Beyond this distance, in standard deviations, a vertex pulls less and less (Lorentzian loss).
OUTLYING = 4.0
#: Corners are kept below this; larger bends are two corners with a straight of no length between. [rad]
LARGEST_TURN = np.radians(150.0)


@dataclass(frozen=True, eq=False)
class Traces:
    """Vertices of many lines in one row.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        [m]
    offsets : ndarray of int, shape (m + 1,)
        Line k is vertices ``offsets[k]:offsets[k + 1]``.
    scatter : ndarray, shape (m,)
        Standard deviation of the vertices of each line. [m]
    weight : ndarray, shape (n,)
        0 for vertices left out.
    most : ndarray, shape (m,)
        What one vertex of each line may cost, in units of the scatter's variance, where chains are compared: inf
        where no vertex may be left out.
    """

    xy: FloatArray
    offsets: IntArray
    scatter: FloatArray
    weight: FloatArray
    most: FloatArray

    @property
    def count(self) -> int:
        """Number of lines."""
        return len(self.offsets) - 1

    @cached_property
    def line(self) -> IntArray:
        """Line of each vertex."""
        return np.repeat(np.arange(self.count), np.diff(self.offsets))

    def take(self, lines: IntArray) -> Traces:
        """Return the given lines alone."""
        index, offsets = ragged_take(self.offsets, lines)
        return Traces(self.xy[index], offsets, self.scatter[lines], self.weight[index], self.most[lines])


def ragged_take(offsets: IntArray, rows: IntArray) -> tuple[IntArray, IntArray]:
    """Return the element indices of the given ragged rows, and the offsets of the rows taken.

    Parameters
    ----------
    offsets : ndarray of int, shape (m + 1,)
        Of the rows.
    rows : ndarray of int
        Which to take, in this order.

    Returns
    -------
    index : ndarray of int
        Of the elements.
    taken : ndarray of int
        Offsets of the new rows.
    """
    sizes = np.diff(offsets)[rows]
    taken = np.concatenate(([0], np.cumsum(sizes)))
    index = np.arange(taken[-1]) + np.repeat(offsets[rows] - taken[:-1], sizes)
    return index, taken


@dataclass(frozen=True, eq=False)
class Tangents:
    """Straights and corners of many lines.

    Parameters
    ----------
    offsets : ndarray of int, shape (m + 1,)
        Line k has straights ``offsets[k]:offsets[k + 1]``.
    heading : ndarray, shape (s,)
        Of each straight. [rad]
    foot : ndarray, shape (s, 2)
        A point near each straight, fixed during a fit. [m]
    shift : ndarray, shape (s,)
        How far left of its foot each straight passes. [m]
    log_radius : ndarray, shape (s,)
        Of the corner before each straight, ln of metres; unused for the first of a line.
    cell : ndarray of int, shape (s + 1,)
        Vertices ``cell[i]:cell[i + 1]`` lie about the corner before straight i; none for the first of a line, unless
        it is the only one, whose they all are.
    """

    offsets: IntArray
    heading: FloatArray
    foot: FloatArray
    shift: FloatArray
    log_radius: FloatArray
    cell: IntArray

    @property
    def count(self) -> IntArray:
        """Straights of each line."""
        return np.diff(self.offsets)

    @cached_property
    def first(self) -> BoolArray:
        """Which straights are the first of their line."""
        mark = np.zeros(len(self.heading), bool)
        mark[self.offsets[:-1]] = True
        return mark

    @cached_property
    def line(self) -> IntArray:
        """Line of each straight."""
        return np.repeat(np.arange(len(self.offsets) - 1), np.diff(self.offsets))

    @cached_property
    def corners(self) -> Corners:
        """What follows from the straights at each corner."""
        return _corners_of(self)

    def take(self, lines: IntArray) -> Tangents:
        """Return the straights of the given lines alone, their vertices taken alike."""
        index, offsets = ragged_take(self.offsets, lines)
        sizes = np.diff(self.cell)[index]
        return Tangents(
            offsets, self.heading[index], self.foot[index], self.shift[index], self.log_radius[index],
            np.concatenate(([0], np.cumsum(sizes))),
        )  # fmt: skip


def put(whole: Tangents, lines: IntArray, part: Tangents) -> Tangents:
    """Return ``whole`` with the given lines replaced.

    Parameters
    ----------
    whole : Tangents
        All lines.
    lines : ndarray of int
        Which to replace, rising.
    part : Tangents
        What to replace them by, in that order; straights may be fewer or more, vertices are the same.

    Returns
    -------
    Tangents
        All lines.
    """
    count = len(whole.offsets) - 1
    if lines.size == count:
        return part
    taken = np.zeros(count, bool)
    taken[lines] = True
    sizes = np.diff(whole.offsets)
    sizes[lines] = np.diff(part.offsets)
    offsets = np.concatenate(([0], np.cumsum(sizes)))
    new = np.repeat(taken, sizes)
    old = ~taken[whole.line]

    def mixed(a: NDArray[_Any], b: NDArray[_Any]) -> NDArray[_Any]:
        out = np.empty((len(new), *a.shape[1:]), a.dtype)
        out[~new] = a[old]
        out[new] = b
        return out

    cells = mixed(np.diff(whole.cell), np.diff(part.cell))
    return Tangents(
        offsets, mixed(whole.heading, part.heading), mixed(whole.foot, part.foot), mixed(whole.shift, part.shift),
        mixed(whole.log_radius, part.log_radius), np.concatenate(([0], np.cumsum(cells))),
    )  # fmt: skip


def stacked(chains: list[Tangents], lines: list[IntArray]) -> tuple[Tangents, IntArray]:
    """Return chains of several lots of lines as one, in the order of the lines.

    Parameters
    ----------
    chains : list of Tangents
        Each of some of the lines, and of their vertices.
    lines : list of ndarray of int
        Which lines; each line once.

    Returns
    -------
    chain : Tangents
        Of all lines.
    order : ndarray of int
        Where each straight stands in the lots put end to end.
    """
    counts = np.concatenate([c.count for c in chains])
    bounds = np.concatenate(([0], np.cumsum(counts)))
    order, offsets = ragged_take(bounds, np.argsort(np.concatenate(lines), kind="stable"))
    cells = np.concatenate([np.diff(c.cell) for c in chains])[order]
    return Tangents(
        offsets,
        np.concatenate([c.heading for c in chains])[order],
        np.concatenate([c.foot for c in chains])[order],
        np.concatenate([c.shift for c in chains])[order],
        np.concatenate([c.log_radius for c in chains])[order],
        np.concatenate(([0], np.cumsum(cells))),
    ), order


@dataclass(frozen=True, eq=False)
class Corners:
    """What follows from the straights at each corner; entries of first straights mean nothing.

    Parameters
    ----------
    turn, radius, tangent : ndarray, shape (s,)
        Turn [rad], radius [m] and tangent length [m] of the corner before each straight.
    apex, hub : ndarray, shape (s, 2)
        Where the straights meet, and the centre of the arc. [m]
    along : ndarray, shape (s, 2)
        Unit vectors of the straights.
    """

    turn: FloatArray
    radius: FloatArray
    tangent: FloatArray
    apex: FloatArray
    hub: FloatArray
    along: FloatArray


def _corners_of(chain: Tangents) -> Corners:
    """Return apex, centre, turn and tangent length of every corner."""
    before = np.maximum(np.arange(len(chain.heading)) - 1, 0)
    x, y = np.cos(chain.heading), np.sin(chain.heading)
    x1, y1 = x[before], y[before]
    turn = wrap(chain.heading - chain.heading[before])
    turn = np.where(np.abs(turn) < 1e-9, 1e-9, turn)
    sine = np.sin(turn)
    foot_x, foot_y = chain.foot[:, 0], chain.foot[:, 1]
    shift = chain.shift / sine
    reach = (chain.shift[before] - y1 * (foot_x[before] - foot_x) + x1 * (foot_y[before] - foot_y)) / sine
    apex_x, apex_y = foot_x + reach * x - shift * x1, foot_y + reach * y - shift * y1
    radius = np.exp(chain.log_radius)
    # half the sum of the straights' normals, to where the centre is
    out = np.sign(turn) * radius / np.maximum(1.0 + np.cos(turn), 1e-12)
    return Corners(
        turn, radius, radius * np.tan(0.5 * np.abs(turn)), np.stack((apex_x, apex_y), axis=-1),
        np.stack((apex_x - out * (y + y1), apex_y + out * (x + x1)), axis=-1), np.stack((x, y), axis=-1),
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Fit:
    """Where each vertex lies with respect to the chain.

    Parameters
    ----------
    off : ndarray, shape (n,)
        Distance left of the chain. [m]
    corner : ndarray of int, shape (n,)
        About which corner it lies, by the straight after it.
    early : ndarray of bool, shape (n,)
        Whether it lies before the middle of the corner.
    straight : ndarray of int, shape (n,)
        The straight on that side.
    along : ndarray, shape (n,)
        How far along it the vertex lies, from its foot. [m]
    arc : ndarray of int, shape (a,)
        Vertices that lie on the arc.
    lever : ndarray, shape (5, a)
        Derivative of ``off`` of those, by heading and shift of the straight before, the same after, and the log radius;
        of the others it is -along and -1 by heading and shift of their straight.
    """

    off: FloatArray
    corner: IntArray
    early: BoolArray
    straight: IntArray
    along: FloatArray
    arc: IntArray
    lever: FloatArray

    @property
    def part(self) -> IntArray:
        """0 on the straight before the corner, 1 on its arc, 2 on the straight after, shape (n,)."""
        part = np.where(self.early, 0, 2)
        part[self.arc] = 1
        return part


def measure(traces: Traces, chain: Tangents, derivatives: bool = True, fine: bool = False) -> Fit:
    """Return the distance of every vertex from the chain.

    Parameters
    ----------
    traces : Traces
        The lines.
    chain : Tangents
        Their straights and corners.
    derivatives : bool
        Whether ``lever`` is wanted.
    fine : bool
        Whether to the last digit: by the radius of a bend of little turn, it is the difference of two numbers alike.

    Returns
    -------
    Fit
        One entry a vertex.
    """
    corner = chain.corners
    size = np.diff(chain.cell)
    ux, uy = corner.along[:, 0].copy(), corner.along[:, 1].copy()
    before = np.maximum(np.arange(len(size)) - 1, 0)
    u1x, u1y = ux[before], uy[before]
    x, y = traces.xy[:, 0].copy(), traces.xy[:, 1].copy()
    # a straight is where u x p = level; how far along it a point lies is u . p, and u . foot of that to its foot
    foot_x, foot_y = chain.foot[:, 0], chain.foot[:, 1]
    level = ux * foot_y - uy * foot_x + chain.shift
    foot = ux * foot_x + uy * foot_y
    apex_x, apex_y = corner.apex[:, 0], corner.apex[:, 1]
    # which side of the line through the apex that halves the corner; of a lone straight all is after
    mid_x, mid_y = u1x + ux, u1y + uy
    middle = mid_x * apex_x + mid_y * apex_y
    lone = chain.first
    mid_x[lone] = mid_y[lone] = 0.0
    middle[lone] = -1.0
    # where the arc takes over, along the straight on either side
    limit = np.empty((len(size), 2))
    limit[:, 0] = u1x * apex_x + u1y * apex_y - corner.tangent
    limit[:, 1] = ux * apex_x + uy * apex_y + corner.tangent
    limit[lone] = -np.inf

    k = np.repeat(np.arange(len(size)), size)
    early = mid_x[k] * x + mid_y[k] * y < middle[k]
    j = k - early
    vx, vy = ux[j], uy[j]
    along = vx * x + vy * y
    off = vx * y - vy * x - level[j]
    arc = np.flatnonzero((along > limit.ravel()[k + j + 1]) == early)
    along -= foot[j]
    # the rest for the vertices on arcs alone
    at = k[arc]
    sense = np.sign(corner.turn[at])
    radius, hub = corner.radius[at], corner.hub[at]
    out_x, out_y = x[arc] - hub[:, 0], y[arc] - hub[:, 1]
    distance = np.maximum(np.sqrt(out_x * out_x + out_y * out_y), 1e-12)
    off[arc] = sense * (radius - distance)
    lever = np.zeros((5, 0))
    if derivatives:
        # the direction from the centre is made of the two straights' normals, w1 of one and w2 of the other
        over = -sense / np.sin(corner.turn[at]) / distance
        w1 = over * (out_x * ux[at] + out_y * uy[at])
        w2 = -over * (out_x * u1x[at] + out_y * u1y[at])
        lever = np.empty((5, len(arc)))
        lever[0] = -w1 * (u1x[at] * hub[:, 0] + u1y[at] * hub[:, 1] - foot[before][at])
        lever[1] = -w1
        lever[2] = -w2 * (ux[at] * hub[:, 0] + uy[at] * hub[:, 1] - foot[at])
        lever[3] = -w2
        if not fine:
            lever[4] = sense * radius * (1.0 - w1 - w2)
        else:
            # two sines of half the angles between that direction and the normals, over the cosine of half the turn
            out_x *= sense / distance
            out_y *= sense / distance
            chord1 = (u1y[at] - out_x) ** 2 + (u1x[at] + out_y) ** 2
            chord2 = (uy[at] - out_x) ** 2 + (ux[at] + out_y) ** 2
            lever[4] = -0.5 * sense * radius * np.sqrt(chord1 * chord2) / np.cos(0.5 * corner.turn[at])
    return Fit(off, k, early, j, along, arc, lever)


def bending(traces: Traces, chain: Tangents, seen: Fit, force: FloatArray) -> FloatArray:
    """Return the second derivatives of ``off`` by the numbers of each corner, each vertex's times a force, summed.

    Parameters
    ----------
    traces : Traces
        The lines.
    chain : Tangents
        Their straights and corners.
    seen : Fit
        Where the vertices lie.
    force : ndarray, shape (n,)
        What each counts.

    Returns
    -------
    ndarray, shape (s, 5, 5)
        Of the vertices on the arc before each straight, in the order of :attr:`Fit.lever`.
    """
    corner = chain.corners
    out = np.zeros((len(chain.heading), 5, 5))
    after = np.flatnonzero(~chain.first)
    if after.size == 0:
        return out
    before = after - 1
    arc = seen.arc
    at, pull = (np.cumsum(~chain.first) - 1)[seen.corner[arc]], force[arc]
    out_x, out_y = (traces.xy[arc] - corner.hub[seen.corner[arc]]).T
    distance = np.maximum(np.hypot(out_x, out_y), 1e-12)
    x, y = out_x / distance, out_y / distance

    def summed(value: FloatArray) -> FloatArray:
        return np.bincount(at, value, minlength=after.size).astype(np.float64)

    toward = np.stack((summed(pull * x), summed(pull * y)), axis=-1)
    across = pull / distance
    xx, xy, yy = summed(across * y * y), summed(-across * x * y), summed(across * x * x)
    # how the centre moves: it keeps its distance, the radius, from either straight
    u1, u2, hub = corner.along[before], corner.along[after], corner.hub[after]
    sense, sine = np.sign(corner.turn[after]), np.sin(corner.turn[after])
    reach = sense * corner.radius[after]
    by1, by2 = np.zeros((after.size, 5)), np.zeros((after.size, 5))
    by1[:, 0] = np.einsum("ni,ni->n", u1, hub - chain.foot[before])
    by2[:, 2] = np.einsum("ni,ni->n", u2, hub - chain.foot[after])
    by1[:, 1] = by2[:, 3] = 1.0
    by1[:, 4] = by2[:, 4] = reach
    by1 /= sine[:, None]
    by2 /= sine[:, None]
    move_x = by1 * u2[:, :1] - by2 * u1[:, :1]
    move_y = by1 * u2[:, 1:] - by2 * u1[:, 1:]
    swing_x, swing_y = (
        xx[:, None] * move_x + xy[:, None] * move_y,
        xy[:, None] * move_x + yy[:, None] * move_y,
    )
    whole = -(move_x[:, :, None] * swing_x[:, None, :] + move_y[:, :, None] * swing_y[:, None, :])
    share1 = np.einsum("ni,ni->n", toward, u2) / sine
    share2 = -np.einsum("ni,ni->n", toward, u1) / sine
    for i, share, u, straight in ((0, share1, u1, before), (2, share2, u2, after)):
        turned = share[:, None] * (move_x * u[:, :1] + move_y * u[:, 1:])
        whole[:, i, :] += turned
        whole[:, :, i] += turned
        whole[:, i, i] += share * (chain.shift[straight] + reach)
    whole[:, 4, 4] += (share1 + share2) * reach
    whole *= sense[:, None, None]
    whole[:, 4, 4] += summed(pull) * reach
    out[after] = whole
    return out
