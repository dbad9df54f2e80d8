"""Pieces: which vertices lie on a straight and which on an arc, by dynamic programming over the vertices.

Each piece is a least-squares line or circle of its own, at a price; neighbours share the vertex between them. The
cheapest division is found exactly, for pieces of up to a stated number of legs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from itertools import pairwise

import numpy as np

from mechanics.errors import FloatArray
from routeio.fit import Prior
from routeio.tangent import BoolArray, IntArray, Traces

#: Vertices dealt with at a time, legs of a long line, lines that are many, and pieces priced at a time.
_BATCH, _BLOCK, _MANY, _PAIRS = 16_000, 256, 128, 200_000
#: What a cut costs more for each unit of the root of its vertex's number: of divisions equally good, which there are where
#: vertices are exact, the one cut earlier is taken, and not the one that rounding favours.
_LATE = 1e-3
#: Arcs that turn more are two, with a straight of no length between. [rad]
LARGEST_ARC = 2.3


@dataclass(frozen=True)
class Prices:
    """What a piece costs, in units of the scatter's variance.

    Parameters
    ----------
    line, arc : float
        Of a straight, and of an arc on top of its prior.
    bow : float
        How far the chord between two vertices may bow from an arc drawn by chords. [m]
    reach : int
        Legs in a piece at most.
    """

    line: float = 10.0
    arc: float = 14.0
    bow: float = 0.2
    reach: int = 64


@dataclass(frozen=True, eq=False)
class Division:
    """Lines divided into pieces, all in one row.

    Parameters
    ----------
    offsets : ndarray of int, shape (m + 1,)
        Line k has pieces ``offsets[k]:offsets[k + 1]``.
    start, stop : ndarray of int, shape (p,)
        First and last vertex of each piece, in the traces.
    arc : ndarray of bool, shape (p,)
        Whether it is an arc.
    """

    offsets: IntArray
    start: IntArray
    stop: IntArray
    arc: BoolArray


@dataclass(frozen=True, eq=False)
class Moments:
    """Sums over the vertices of pieces, up to the fourth power, about any point.

    Parameters
    ----------
    n : ndarray
        Vertices.
    x, y : ndarray
        Sums of the coordinates. [m]
    xx, xy, yy : ndarray
        Of their products. [m2]
    xz, yz : ndarray
        Of each times z, the squared distance from the point. [m3]
    zz : ndarray
        Of z squared. [m4]
    """

    n: FloatArray
    x: FloatArray
    y: FloatArray
    xx: FloatArray
    xy: FloatArray
    yy: FloatArray
    xz: FloatArray
    yz: FloatArray
    zz: FloatArray

    def take(self, pieces: IntArray) -> Moments:
        """Return those of some pieces, counted in one row."""
        return Moments(*[getattr(self, f.name).ravel()[pieces] for f in fields(self)])

    def line(self) -> FloatArray:
        """Return the sum of squared distances from the nearest line."""
        xx, xy, yy = self.second()
        half = 0.5 * (xx + yy)
        return np.asarray(np.maximum(self.n * (half - np.sqrt((0.5 * (xx - yy)) ** 2 + xy * xy)), 0.0))

    def second(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the mean squares xx, xy and yy about the mean point."""
        mx, my = self.x / self.n, self.y / self.n
        return self.xx / self.n - mx * mx, self.xy / self.n - mx * my, self.yy / self.n - my * my

    def circle(self) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return the sum of squared distances from the nearest circle, its centre and its radius.

        Taubin's algebraic fit [taubin1991], by Newton's method on its characteristic polynomial from 0.
        """
        n = self.n
        mx, my = self.x / n, self.y / n
        xx, xy, yy = self.second()
        k = mx * mx + my * my
        z = xx + yy
        raw = (self.xx + self.yy) / n
        xz = (self.xz - 2.0 * (mx * self.xx + my * self.xy)) / n + k * mx - mx * z
        yz = (self.yz - 2.0 * (mx * self.xy + my * self.yy)) / n + k * my - my * z
        zz = (
            (self.zz - 4.0 * (mx * self.xz + my * self.yz)
             + 4.0 * (mx * mx * self.xx + my * my * self.yy + 2.0 * mx * my * self.xy)) / n
            + 2.0 * k * raw - 3.0 * k * k
        )  # fmt: skip
        cov = xx * yy - xy * xy
        a3 = 4.0 * z
        a2 = -3.0 * z * z - zz
        a1 = zz * z + 4.0 * cov * z - xz * xz - yz * yz - z * z * z
        a0 = xz * xz * yy + yz * yz * xx - zz * cov - 2.0 * xz * yz * xy + z * z * cov
        root = np.zeros_like(z)
        for _ in range(4):
            slope = a1 + root * (2.0 * a2 + 3.0 * a3 * root)
            root = root - (a0 + root * (a1 + root * (a2 + root * a3))) / np.where(slope == 0.0, 1.0, slope)
        root = np.maximum(root, 0.0)
        det = root * root - root * z + cov
        det = np.where(np.abs(det) < 1e-300, 1e-300, det)
        cx = 0.5 * (xz * (yy - root) - yz * xy) / det
        cy = 0.5 * (yz * (xx - root) - xz * xy) / det
        radius = np.hypot(np.hypot(cx, cy), np.sqrt(z))
        return n * root, cx + mx, cy + my, radius


def divide(traces: Traces, prices: Prices, prior: Prior) -> Division:
    """Return the cheapest division of each line.

    Lines of more than a few hundred legs are divided block by block, and pieces that meet at the end of a block, or
    that were cut short by the longest reach of a piece, are joined where that is cheaper.

    Parameters
    ----------
    traces : Traces
        The lines; vertices of weight 0 cost nothing.
    prices : Prices
        Of pieces.
    prior : Prior
        Of the radii.

    Returns
    -------
    Division
        Covering every leg.
    """
    block = _blocks(traces)
    sizes = block[:, 2] - block[:, 1] + 1
    order = np.argsort(-sizes, kind="stable")
    found: list[tuple[IntArray, IntArray, IntArray, BoolArray]] = []
    at = 0
    while at < len(order):
        total = np.cumsum(sizes[order[at:]])
        stop = at + max(1, int(np.searchsorted(total, _BATCH, side="right")))
        found.append(_divide_batch(traces, block[order[at:stop]], prices, prior))
        at = stop
    line, start, last, arc = (np.concatenate([f[i] for f in found]) for i in range(4))
    by = np.lexsort((start, line))
    offsets = np.concatenate(([0], np.cumsum(np.bincount(line, minlength=traces.count))))
    division = Division(offsets, start[by], last[by], arc[by].astype(bool))
    return _halved(traces, joined(traces, division, prices, prior))


def _halved(traces: Traces, division: Division) -> Division:
    """Return the division with arcs of large turn cut at their middle vertex, a quarter turn or so a part."""
    arc = np.flatnonzero(division.arc & (division.stop - division.start > 1))
    if arc.size == 0:
        return division
    start, stop = division.start[arc], division.stop[arc]
    middle = (start + stop) // 2
    _, cx, cy, _ = piece_moments(traces, start, stop).circle()
    hub = traces.xy[start] + np.stack((cx, cy), axis=-1)
    out = [traces.xy[v] - hub for v in (start, middle, stop)]
    swept = sum(
        np.abs(np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], np.einsum("ni,ni->n", a, b)))
        for a, b in pairwise(out)
    )
    large = np.zeros(len(division.arc), bool)
    large[arc] = swept > LARGEST_ARC
    if not large.any():
        return division
    at = np.repeat(np.arange(len(large)), 1 + large)
    second = np.concatenate(([False], at[1:] == at[:-1]))
    half = (division.start[at] + division.stop[at]) // 2
    line = np.repeat(np.arange(traces.count), np.diff(division.offsets))[at]
    return _halved(traces, Division(
        np.concatenate(([0], np.cumsum(np.bincount(line, minlength=traces.count)))),
        np.where(second, half, division.start[at]),
        np.where(large[at] & ~second, half, division.stop[at]),
        division.arc[at],
    ))  # fmt: skip


def _blocks(traces: Traces) -> IntArray:
    """Return line, first and last vertex of the blocks in which lines are divided, alike from either end."""
    legs = np.diff(traces.offsets) - 1
    count = np.maximum(1, -(-legs // _BLOCK))
    line = np.repeat(np.arange(traces.count), count)
    number = np.arange(len(line)) - np.repeat(np.concatenate(([0], np.cumsum(count)[:-1])), count)

    def bound(k: IntArray) -> IntArray:
        n, m = legs[line], count[line]
        half = 2 * k <= m
        return np.asarray(np.where(half, n * k // m, n - n * (m - k) // m))

    base = traces.offsets[:-1][line]
    return np.stack((line, base + bound(number), base + bound(number + 1)), axis=-1)


def joined(traces: Traces, division: Division, prices: Prices, prior: Prior) -> Division:
    """Return the division of the longer lines with neighbouring pieces of one kind joined where that is cheaper.

    Parameters
    ----------
    traces : Traces
        The lines.
    division : Division
        Theirs.
    prices : Prices
        Of pieces.
    prior : Prior
        Of the radii.

    Returns
    -------
    Division
        Of as many pieces or fewer.
    """
    long = np.diff(traces.offsets) - 1 > min(prices.reach, _BLOCK)
    while long.any():
        line = np.repeat(np.arange(traces.count), np.diff(division.offsets))
        left = np.flatnonzero(
            (line[1:] == line[:-1]) & (division.arc[1:] == division.arc[:-1]) & long[line[1:]]
        )
        if left.size == 0:
            break
        variance = traces.scatter[line] ** 2
        alone = _loss(traces, division.start, division.stop, division.arc, prior) / variance
        both = _loss(traces, division.start[left], division.stop[left + 1], division.arc[left], prior)
        price = np.where(division.arc[left], prices.arc, prices.line)
        gain = np.full(len(line), -np.inf)
        gain[left] = alone[left] + alone[left + 1] + price - both / variance[left]
        # of two that share a piece the better goes first
        better = (gain > 0.0) & (gain >= np.concatenate((gain[1:], [-np.inf])))
        better &= gain > np.concatenate(([-np.inf], gain[:-1]))
        left = np.flatnonzero(better)
        if left.size == 0:
            break
        stop = division.stop.copy()
        stop[left] = stop[left + 1]
        keep = np.ones(len(line), bool)
        keep[left + 1] = False
        offsets = np.concatenate(([0], np.cumsum(np.bincount(line[keep], minlength=traces.count))))
        division = Division(offsets, division.start[keep], stop[keep], division.arc[keep])
    return division


def _loss(traces: Traces, start: IntArray, stop: IntArray, arc: BoolArray, prior: Prior) -> FloatArray:
    """Return the squared distances of the vertices of pieces from their lines and circles, summed."""
    sums_of = piece_moments(traces, start, stop)
    line = sums_of.line()
    square, _, _, _ = sums_of.circle()
    return np.where(arc, square, line)


def piece_moments(traces: Traces, start: IntArray, stop: IntArray) -> Moments:
    """Return the moments of pieces about their first vertices.

    Parameters
    ----------
    traces : Traces
        The lines.
    start, stop : ndarray of int, shape (p,)
        First and last vertex of each piece.

    Returns
    -------
    Moments
        One entry a piece.
    """
    size = stop - start + 1
    bounds = np.concatenate(([0], np.cumsum(size)))
    index = np.arange(bounds[-1]) + np.repeat(start - bounds[:-1], size)
    x, y = (traces.xy[index] - np.repeat(traces.xy[start], size, axis=0)).T
    weight = np.maximum(traces.weight[index], 1e-9)
    z = x * x + y * y
    wx, wy = weight * x, weight * y
    every = (weight, wx, wy, wx * x, wx * y, wy * y, wx * z, wy * z, weight * z * z)
    return Moments(*[np.add.reduceat(m, bounds[:-1]) for m in every])


def _divide_batch(
    traces: Traces, block: IntArray, prices: Prices, prior: Prior
) -> tuple[IntArray, IntArray, IntArray, BoolArray]:
    lines = block[:, 0]
    sizes = block[:, 2] - block[:, 1] + 1
    offsets = np.concatenate(([0], np.cumsum(sizes)))
    index = np.arange(offsets[-1]) + np.repeat(block[:, 1] - offsets[:-1], sizes)
    reach = int(min(prices.reach, sizes.max() - 1))
    local = np.arange(len(index)) - np.repeat(offsets[:-1], sizes)
    run = np.repeat(np.arange(len(lines)), sizes)
    xy, weight = traces.xy[index], traces.weight[index]
    variance = traces.scatter[lines][run] ** 2
    line_cost = np.full((len(index), reach), np.inf)
    arc_cost = np.full((len(index), reach), np.inf)

    def price(rows: IntArray, width: int) -> None:
        cost = _piece_costs(xy, weight, variance, local, rows, width, prices, prior)
        line_cost[rows, :width], arc_cost[rows, :width] = cost

    # of many lines the vertices of one rank at a time, of few all vertices: arrays of a good size either way
    many = len(lines) >= _MANY
    if not many:
        for rows in np.array_split(np.arange(len(index)), max(1, len(index) * reach // _PAIRS)):
            price(rows, reach)
    best_line = np.zeros(len(index))
    best_arc = np.full(len(index), np.inf)
    best_any = np.zeros(len(index))
    from_line = np.zeros(len(index), np.int64)
    from_arc = np.zeros(len(index), np.int64)
    back = np.arange(1, reach + 1)
    longest = int(sizes.max())
    live = len(sizes)
    for t in range(1, longest):
        while live and sizes[live - 1] <= t:
            live -= 1
        row = offsets[:live] + t
        width = min(t, reach)
        if many:
            price(row, width)
        source = row[:, None] - back[None, :width]
        by_line = best_any[source] + line_cost[row, :width]
        pick = by_line.argmin(axis=1)
        from_line[row] = pick + 1
        late = _LATE * math.sqrt(t)
        value = by_line[np.arange(live), pick] + late
        best_line[row] = value
        by_arc = np.minimum(best_line[source], best_arc[source] + prices.line) + arc_cost[row, :width]
        pick = by_arc.argmin(axis=1)
        from_arc[row] = pick + 1
        best_arc[row] = by_arc[np.arange(live), pick] + late
        best_any[row] = np.minimum(value, best_arc[row])
    # walk back, all lines at once
    here = offsets[1:] - 1
    start_of = offsets[:-1]
    as_arc = best_arc[here] < best_line[here]
    who = np.arange(len(sizes))
    out: list[tuple[IntArray, IntArray, IntArray, BoolArray]] = []
    while who.size:
        step = np.where(as_arc, from_arc[here], from_line[here])
        before = here - step
        out.append((lines[who], index[before], index[here], as_arc))
        as_arc = np.where(
            as_arc,
            best_arc[before] + prices.line < best_line[before],
            best_arc[before] < best_line[before],
        )
        go = before > start_of[who]
        who, here, as_arc = who[go], before[go], as_arc[go]
    return (
        np.concatenate([o[0] for o in out]),
        np.concatenate([o[1] for o in out]),
        np.concatenate([o[2] for o in out]),
        np.concatenate([o[3] for o in out]),
    )


def _piece_costs(
    xy: FloatArray,
    weight: FloatArray,
    variance: FloatArray,
    local: IntArray,
    rows: IntArray,
    width: int,
    prices: Prices,
    prior: Prior,
) -> tuple[FloatArray, FloatArray]:
    """Return what straights and arcs that end at the given rows cost, by how many legs they have, 1 to width."""
    back = np.arange(width + 1)[:, None]
    at = np.maximum(rows - back, 0)
    x, y = xy[:, 0].take(at), xy[:, 1].take(at)
    x -= x[0].copy()
    y -= y[0].copy()
    w = weight.take(at)
    w[back > local[rows]] = 0.0
    z = x * x + y * y
    wx, wy = w * x, w * y
    every = (w, wx, wy, wx * x, wx * y, wy * y, wx * z, wy * z, w * z * z)
    sums = Moments(*[np.cumsum(m, axis=0)[1:] for m in every])
    np.maximum(sums.n, 1e-9, out=sums.n)
    inside = back[1:] <= local[rows]
    spread = variance[rows]
    square = sums.line() / spread
    line = np.where(inside, square + prices.line, np.inf)
    arc = np.full(line.shape, np.inf)
    # a straight may stand wherever an arc may: one that costs no more than an arc at its best leaves nothing to ask
    worth = inside & (sums.n > 2.5) & (square + prices.line > prices.arc)
    worth[0] = False
    some = np.flatnonzero(worth)
    if some.size:
        leg = np.hypot(np.diff(x, axis=0), np.diff(y, axis=0))
        longest = np.maximum.accumulate(leg, axis=0).ravel()[some]
        square, _, _, radius = sums.take(some).circle()
        unlike = ((np.log(np.maximum(radius, 1e-6)) - np.log(prior.radius)) / prior.spread) ** 2
        good = longest * longest <= 8.0 * prices.bow * radius
        cost = square / spread[some % len(rows)] + prices.arc + unlike
        arc.ravel()[some] = np.where(good, cost, np.inf)
    return line.T, arc.T
