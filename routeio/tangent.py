"""The tangent chain: straights by heading and offset, an arc at each corner tangent to both, fitted to vertices.

Tangency is built in, and every vertex feels five numbers only: the two straights it lies between and the arc that
joins them. Any number of lines are fitted side by side, all their straights in one row.
"""

from __future__ import annotations

from dataclasses import dataclass
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

    @property
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

    @property
    def first(self) -> BoolArray:
        """Which straights are the first of their line."""
        mark = np.zeros(len(self.heading), bool)
        mark[self.offsets[:-1]] = True
        return mark

    @property
    def line(self) -> IntArray:
        """Line of each straight."""
        return np.repeat(np.arange(len(self.offsets) - 1), np.diff(self.offsets))

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


def corners_of(chain: Tangents) -> Corners:
    """Return apex, centre, turn and tangent length of every corner.

    Parameters
    ----------
    chain : Tangents
        Any.

    Returns
    -------
    Corners
        One entry a straight.
    """
    before = np.maximum(np.arange(len(chain.heading)) - 1, 0)
    u = np.stack((np.cos(chain.heading), np.sin(chain.heading)), axis=-1)
    u1 = u[before]
    turn = wrap(chain.heading - chain.heading[before])
    turn = np.where(np.abs(turn) < 1e-9, 1e-9, turn)
    sine = np.sin(turn)
    gap = chain.foot[before] - chain.foot
    reach = chain.shift[before] - u1[:, 1] * gap[:, 0] + u1[:, 0] * gap[:, 1]
    apex = chain.foot + (reach[:, None] * u - chain.shift[:, None] * u1) / sine[:, None]
    radius = np.exp(chain.log_radius)
    hub = apex + (np.sign(turn) * radius / sine)[:, None] * (u - u1)
    return Corners(turn, radius, radius * np.tan(0.5 * np.abs(turn)), apex, hub, u)


@dataclass(frozen=True, eq=False)
class Fit:
    """Where each vertex lies with respect to the chain.

    Parameters
    ----------
    off : ndarray, shape (n,)
        Distance left of the chain. [m]
    part : ndarray of int, shape (n,)
        0 on the straight before the corner, 1 on its arc, 2 on the straight after.
    lever : ndarray, shape (5, n)
        Derivative of ``off`` by heading and shift of the straight before, the same after, and the log radius.
    """

    off: FloatArray
    part: IntArray
    lever: FloatArray


def measure(traces: Traces, chain: Tangents, derivatives: bool = True) -> Fit:
    """Return the distance of every vertex from the chain.

    Parameters
    ----------
    traces : Traces
        The lines.
    chain : Tangents
        Their straights and corners.
    derivatives : bool
        Whether ``lever`` is wanted.

    Returns
    -------
    Fit
        One entry a vertex.
    """
    corner = corners_of(chain)
    size = np.diff(chain.cell)
    before = np.maximum(np.arange(len(size)) - 1, 0)
    u = corner.along
    # a straight is where u x p = level; how far along it a point lies is u . p
    level = u[:, 0] * chain.foot[:, 1] - u[:, 1] * chain.foot[:, 0] + chain.shift
    u1, x, y = u[before], traces.xy[:, 0], traces.xy[:, 1]

    def each(value: NDArray[_Any]) -> NDArray[_Any]:
        return np.repeat(value, size)

    u1x, u1y, u2x, u2y = each(u1[:, 0]), each(u1[:, 1]), each(u[:, 0]), each(u[:, 1])
    along1, along2 = u1x * x + u1y * y, u2x * x + u2y * y
    a = along1 - each(np.einsum("ni,ni->n", u1, corner.apex))
    b = along2 - each(np.einsum("ni,ni->n", u, corner.apex))
    reach = each(corner.tangent)
    first = a + b < 0.0
    on_arc = np.where(first, a >= -reach, b <= reach)
    lone = each(chain.first)
    on_arc &= ~lone
    first &= ~lone
    part = np.where(on_arc, 1, np.where(first, 0, 2))
    off = np.where(first, u1x * y - u1y * x - each(level[before]), u2x * y - u2y * x - each(level))
    # the rest for the vertices on arcs alone
    arc = np.flatnonzero(on_arc)
    k = np.repeat(np.arange(len(size)), size)[arc]
    out_x, out_y = x[arc] - corner.hub[k, 0], y[arc] - corner.hub[k, 1]
    distance = np.maximum(np.sqrt(out_x * out_x + out_y * out_y), 1e-12)
    sense = np.sign(corner.turn)
    off[arc] = sense[k] * (corner.radius[k] - distance)
    if not derivatives:
        return Fit(off, part, np.zeros((5, 0)))
    lever = np.zeros((5, len(x)))
    before_arc, after_arc = (first & ~on_arc).astype(np.float64), (~first & ~on_arc).astype(np.float64)
    lever[1], lever[3] = -before_arc, -after_arc
    foot1, foot2 = chain.foot[before], chain.foot
    lever[0] = -before_arc * (along1 - each(np.einsum("ni,ni->n", u1, foot1)))
    lever[2] = -after_arc * (along2 - each(np.einsum("ni,ni->n", u, foot2)))
    # the direction from the centre is made of the two straights' normals, w1 of one and w2 of the other
    over = (-sense / np.sin(corner.turn))[k] / distance
    w1 = over * (out_x * u2x[arc] + out_y * u2y[arc])
    w2 = -over * (out_x * u1x[arc] + out_y * u1y[arc])
    lever[0, arc] = -w1 * np.einsum("ni,ni->n", u1, corner.hub - foot1)[k]
    lever[1, arc] = -w1
    lever[2, arc] = -w2 * np.einsum("ni,ni->n", u, corner.hub - foot2)[k]
    lever[3, arc] = -w2
    lever[4, arc] = (sense * corner.radius)[k] * (1.0 - w1 - w2)
    return Fit(off, part, lever)
