"""Lines whose vertices are as good as exact: corners where they are drawn, arcs where vertices lie on one.

Nothing is averaged: each straight is that of its own vertices, and an arc is the one tangent to the straights
beside it that lies nearest its vertices. Corners stay corners, for the caller to give a sweep.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from mechanics.errors import FloatArray
from routeio.begin import first_chain
from routeio.course import wrap
from routeio.fit import Prior, fitted
from routeio.newton import polished
from routeio.pieces import Division, Prices, divide, piece_moments
from routeio.tangent import BoolArray, IntArray, Tangents, Traces, measure

#: Prices of pieces where every vertex is meant: a corner is cheap, three chords of one circle are an arc.
PRICES = Prices(line=3.0, arc=5.0, reach=256)
#: Vertices that turn and stand out by less than this are only there to divide a straight. [rad, m]
_FLAT, _LEVEL = 1e-5, 1e-6
#: No belief about radii.
_NO_PRIOR = Prior(spread=1e6)
#: Chords from which an arc that does not touch its neighbours is kept as an arc.
_MANY = 4
#: Two kinks at the ends of one chord of an arc are alike within this part of their sum.
_ALIKE = 0.1
#: Legs alike within this part of their length are of one length.
_LIKE = 1e-6


@dataclass(frozen=True, eq=False)
class AsDrawn:
    """Exact lines as chains.

    Parameters
    ----------
    chain : Tangents
        Straights and corners.
    sharp : ndarray of bool, shape (s,)
        Corners with no arc, before each straight.
    turn_sd, radius_sd : ndarray, shape (s,)
        Standard deviation of the turn [rad] and of ln R of the corner before each straight.
    """

    chain: Tangents
    sharp: BoolArray
    turn_sd: FloatArray
    radius_sd: FloatArray


def as_drawn(traces: Traces, tolerance: float, prices: Prices = PRICES) -> AsDrawn:
    """Return the chains of exact lines.

    Parameters
    ----------
    traces : Traces
        The lines.
    tolerance : float
        How far an arc may lie from the vertices drawn for it. [m]
    prices : Prices, optional
        Of pieces; an arc of no finite price is none.

    Returns
    -------
    AsDrawn
        One chain a line.
    """
    every, (traces, kept) = traces, _thinned(traces)
    division = divide(traces, prices, Prior())
    if np.isfinite(prices.arc):
        division = _with_single_chords(traces, division, tolerance)
    kinked = np.zeros(len(division.arc), bool)
    while True:
        begun, sharp, single = first_chain(traces, division, kinked)
        chain, _ = fitted(traces, begun, _NO_PRIOR, closeness=1e-20, radii_only=True)
        chain = polished(traces, chain, _NO_PRIOR)
        # the two ends of one chord hardly tell a radius, but they are where its arc touches
        chain = replace(chain, log_radius=np.where(single, begun.log_radius, chain.log_radius))
        off = np.abs(measure(traces, chain, derivatives=False).off)
        bad = division.arc & ~kinked & (_most(off, division) > tolerance)
        if not bad.any():
            break
        many = division.stop - division.start >= _MANY
        kinked = kinked | (bad & many)
        division, kinked = _as_legs(traces, division, kinked, bad & ~many)
    turn_sd, radius_sd = _spread(traces, division, kinked, chain, sharp)
    cell = np.append(kept, len(every.xy))[chain.cell]
    return AsDrawn(replace(chain, cell=cell), sharp, turn_sd, radius_sd)


def _thinned(traces: Traces) -> tuple[Traces, IntArray]:
    """Return the lines without vertices that only divide their straights, and which vertices are left."""
    step = np.diff(traces.xy, axis=0)
    size = np.maximum(np.hypot(step[:, 0], step[:, 1]), 1e-12)
    turn = wrap(np.diff(np.arctan2(step[:, 1], step[:, 0])))
    out = np.abs(turn) * size[:-1] * size[1:] / (size[:-1] + size[1:])
    keep = np.ones(len(traces.xy), bool)
    keep[1:-1] = (np.abs(turn) > _FLAT) | (out > _LEVEL) | (traces.weight[1:-1] == 0.0)
    keep[traces.offsets[:-1]] = keep[traces.offsets[1:] - 1] = True
    kept = np.flatnonzero(keep)
    offsets = np.searchsorted(kept, traces.offsets)
    return Traces(traces.xy[kept], offsets, traces.scatter, traces.weight[kept], traces.most), kept


def _with_single_chords(traces: Traces, division: Division, tolerance: float) -> Division:
    """Return the division with a leg between two like kinks, short enough to be the chord of an arc, made an arc."""
    line = np.repeat(np.arange(traces.count), np.diff(division.offsets))
    if len(line) < 3:
        return division
    run = traces.xy[division.stop] - traces.xy[division.start]
    heading, size = np.arctan2(run[:, 1], run[:, 0]), np.hypot(run[:, 0], run[:, 1])
    kink = wrap(np.diff(heading))
    k = np.arange(1, len(line) - 1)
    before, after = kink[:-1], kink[1:]
    half = 0.5 * np.abs(before + after)
    straight = ~division.arc
    single = (
        (line[k - 1] == line[k]) & (line[k + 1] == line[k]) & straight[k - 1] & straight[k] & straight[k + 1]
    )
    single &= (division.stop[k] - division.start[k] == 1) & (before * after > 0.0) & (half < np.radians(50.0))
    single &= np.abs(before - after) < _ALIKE * np.abs(before + after)
    single &= 0.5 * size[k] * np.tan(0.5 * half) <= tolerance
    # legs drawn alike are no shorter one than another, whatever rounding makes of them
    single &= size[k] < (1.0 - _LIKE) * np.minimum(size[k - 1], size[k + 1])
    arc = division.arc.copy()
    arc[k[single]] = True
    return replace(division, arc=arc)


def _most(value: FloatArray, division: Division) -> FloatArray:
    """Return the greatest value over the vertices of each piece."""
    bounds = np.stack((division.start, division.stop + 1), axis=-1).ravel()
    bounds = np.minimum(bounds, len(value) - 1)
    most = np.maximum.reduceat(value, bounds)[::2]
    return np.maximum(most, value[division.stop])


def _as_legs(
    traces: Traces, division: Division, kinked: BoolArray, broken: BoolArray
) -> tuple[Division, BoolArray]:
    """Return the division with the broken pieces cut into their legs."""
    count = np.where(broken, division.stop - division.start, 1)
    index = np.repeat(np.arange(len(count)), count)
    number = np.arange(len(index)) - np.repeat(np.concatenate(([0], np.cumsum(count)[:-1])), count)
    start = division.start[index] + number
    stop = np.where(broken[index], start + 1, division.stop[index])
    line = np.repeat(np.arange(traces.count), np.diff(division.offsets))[index]
    offsets = np.concatenate(([0], np.cumsum(np.bincount(line, minlength=traces.count))))
    return Division(offsets, start, stop, division.arc[index] & ~broken[index]), kinked[index]


def _spread(
    traces: Traces, division: Division, kinked: BoolArray, chain: Tangents, sharp: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Return standard deviations of turns and log radii, each straight known from its own vertices alone."""
    moments = piece_moments(traces, division.start, division.stop)
    xx, xy, yy = moments.second()
    along = moments.n * (0.5 * (xx + yy) + np.sqrt((0.5 * (xx - yy)) ** 2 + xy * xy))
    line = np.repeat(np.arange(traces.count), np.diff(division.offsets))
    heading_var = traces.scatter[line] ** 2 / np.maximum(along, 1e-12)
    # straights of no length, tangent to an arc, are as certain as its chord
    node = np.zeros(len(chain.heading))
    owner = _piece_of(division, kinked, len(node))
    node[:] = heading_var[owner]
    turn = np.zeros(len(node))
    turn[1:] = node[1:] + node[:-1]
    turn[chain.first] = 0.0
    seen = measure(traces, chain)
    lever = (seen.lever[4] / traces.scatter[traces.line[seen.arc]]) ** 2
    weight = np.bincount(seen.corner[seen.arc], lever, minlength=len(node))
    radius = np.where(sharp | chain.first, 0.0, 1.0 / np.sqrt(np.maximum(weight, 1.0)))
    return np.sqrt(turn), radius


def _piece_of(division: Division, kinked: BoolArray, nodes: int) -> IntArray:
    """Return the piece each straight of a first chain comes from."""
    arc = division.arc
    first = np.zeros(len(arc), bool)
    first[division.offsets[:-1]] = True
    last = np.concatenate((first[1:], [True]))
    after_arc = np.concatenate(([False], arc[:-1])) & ~first
    adds = (arc & (first | after_arc | kinked)).astype(np.int64) + ~arc + (arc & (last | kinked))
    owner = np.repeat(np.arange(len(arc)), adds)
    if len(owner) != nodes:
        raise ValueError(f"{len(owner)} straights from the pieces, {nodes} in the chain")
    return owner
