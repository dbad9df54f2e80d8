"""Acceptance: a recovered shape stays true to the vertices it was recovered from.

Straights fitted each to its own vertices meet where they meet, which at an acute corner between few vertices may be far
past the last of them; and a circle goes through any three vertices. So every part of a shape is measured from the legs
beside it, and every vertex from the shape.
"""

from __future__ import annotations

import numpy as np

from mechanics.errors import FloatArray
from routeio.course import advance
from routeio.elements import Elements
from routeio.strays import FEWEST, MOST_STRAY
from routeio.tangent import BoolArray, Traces

#: How far vertices may lie from their shape beside their scatter: three of it, and as much again where a radius was
#: settled on. [m/m]
_SCATTERS = 6.0
#: Turn between two vertices up to which a bend may be told from the vertices beyond them: where vertices are exact it
#: is an arc between its tangents, where they scatter it may be as sharp as the corner of the two straights. [rad]
_EXACT_TURN, _SCATTERED_TURN = np.radians(46.0), np.radians(100.0)
#: Neighbours that may be stray together.
_TOGETHER = 3
#: Where along each element it is measured.
_SHARES = np.array([0.0, 0.25, 0.5, 0.75, 1.0])


def departures(traces: Traces, elements: Elements) -> tuple[FloatArray, FloatArray]:
    """Return how far each line's shape lies from its legs, and each vertex from the shape.

    Parameters
    ----------
    traces : Traces
        The lines; vertices of weight 0 are no part of them.
    elements : Elements
        Their shapes.

    Returns
    -------
    shape : ndarray, shape (p, 4)
        Of points of the shapes: the line, the distance from the nearest leg of those about it, the length of the leg
        beside it, and the turn of the shape along that leg. [-, m, m, rad]
    vertex : ndarray, shape (n,)
        0 for those of weight 0. [m]
    """
    e = elements
    count = traces.count
    sizes = np.diff(e.offsets)
    owner = np.repeat(np.arange(count), sizes)
    first = e.offsets[:-1]

    def before(value: FloatArray) -> FloatArray:
        """Sums over the elements before each of its line."""
        total = np.cumsum(value, axis=0) - value
        return np.asarray(total - total[first][owner])

    heading = e.heading[owner] + before(e.turn)
    begin = e.start[owner] + before(advance(heading, e.length, e.turn))
    station, turned = before(e.length), before(np.abs(e.turn))

    def at(element: np.ndarray, share: FloatArray) -> FloatArray:
        part = advance(heading[element], share * e.length[element], share * e.turn[element])
        return np.asarray(begin[element] + part)

    # every vertex
    share = (e.station - station[e.element]) / np.maximum(e.length[e.element], 1e-12)
    share = np.clip(share, 0.0, 1.0)
    foot = at(e.element, share)
    away = np.hypot(*(traces.xy - foot).T)
    vertex = np.where(traces.weight > 0.0, away, 0.0)

    # points of the shapes, beside the legs between vertices that count; an end that does not is taken where its foot is
    keep = traces.weight > 0.0
    keep[traces.offsets[:-1]] = keep[traces.offsets[1:] - 1] = True
    kept = np.flatnonzero(keep)
    line = traces.line[kept]
    xy = np.where(traces.weight[kept, None] > 0.0, traces.xy[kept], foot[kept])
    # stations of all lines in one row, each line's after the last of the one before
    room = np.cumsum(np.add.reduceat(e.length, first) + 1.0)
    base = np.concatenate(([0.0], room[:-1]))
    mark = np.maximum.accumulate(e.station[kept] + base[line])
    vertex_turn = (turned[e.element] + share * np.abs(e.turn[e.element]))[kept]
    leg_turn = np.append(np.abs(np.diff(vertex_turn)), 0.0)
    leg_size = np.append(np.hypot(*np.diff(xy, axis=0).T), 0.0)
    bounds = np.searchsorted(line, np.arange(count + 1))
    low, high = bounds[:-1], bounds[1:] - 2

    element = np.repeat(np.arange(len(e.length)), len(_SHARES))
    shares = np.tile(_SHARES, len(e.length))
    points = at(element, shares)
    of = owner[element]
    where = station[element] + shares * e.length[element] + base[of]
    leg = np.clip(np.searchsorted(mark, where, side="right") - 1, low[of], high[of])
    off = np.full(len(points), np.inf)
    for beside in (-1, 0, 1):
        k = np.clip(leg + beside, low[of], high[of])
        off = np.minimum(off, _from_leg(points, xy[k], xy[k + 1]))
    return np.stack((of, off, leg_size[leg], leg_turn[leg]), axis=-1), vertex


def faithless(traces: Traces, elements: Elements, tolerance: float, loose: BoolArray) -> BoolArray:
    """Return the lines whose shape leaves them somewhere.

    Parameters
    ----------
    traces : Traces
        The lines.
    elements : Elements
        Their shapes.
    tolerance : float
        How far an arc may lie from vertices drawn for it. [m]
    loose : ndarray of bool, shape (m,)
        Lines whose vertices scatter: their bends may lie between vertices that are not on them.

    Returns
    -------
    ndarray of bool, shape (m,)
        Those with a point of the shape further from its leg, or a vertex further from the shape, than scatter,
        tolerance and a bend told by the vertices about it explain.
    """
    margin = tolerance + np.where(loose, _SCATTERS * traces.scatter, tolerance)
    # a straight alone lies as near its legs as their vertices lie to it
    lone = (np.diff(elements.offsets) == 1) & np.logical_and.reduceat(
        traces.weight > 0.0, traces.offsets[:-1]
    )
    if lone.any():
        out = lone & ~(np.maximum.reduceat(np.abs(elements.off), traces.offsets[:-1]) <= margin)
        rest = np.flatnonzero(~lone)
        if rest.size:
            part = elements.take(rest, traces.offsets)
            out[rest] = faithless(traces.take(rest), part, tolerance, loose[rest])
        return np.asarray(out)
    shape, vertex = departures(traces, elements)
    line = shape[:, 0].astype(np.int64)
    off, size, turn = shape[:, 1], shape[:, 2], shape[:, 3]
    sharp = 0.5 * size * np.tan(0.5 * np.minimum(turn, _SCATTERED_TURN))
    round_ = 0.5 * size * np.tan(0.25 * np.minimum(turn, _EXACT_TURN))
    far = ~(off <= margin[line] + np.where(loose[line], sharp, round_))
    astray = ~(vertex <= margin[traces.line])
    out = np.bincount(line, far, minlength=traces.count) > 0
    return np.asarray(out | (np.bincount(traces.line, astray, minlength=traces.count) > 0))


def left_behind(traces: Traces, elements: Elements, tolerance: float, loose: BoolArray) -> BoolArray:
    """Return the vertices that a shape leaves, where they are so few, and so few together, that they are strays.

    A line of scattered vertices does not become corners at every vertex because two of them lie a metre off.

    Parameters
    ----------
    traces : Traces
        The lines.
    elements : Elements
        Their shapes.
    tolerance : float
        How far an arc may lie from vertices drawn for it. [m]
    loose : ndarray of bool, shape (m,)
        Lines whose vertices scatter.

    Returns
    -------
    ndarray of bool, shape (n,)
        One a vertex.
    """
    line, size = traces.line, np.diff(traces.offsets)
    _, vertex = departures(traces, elements)
    margin = tolerance + _SCATTERS * traces.scatter
    off = ~(vertex <= margin[line]) & (loose & (size >= FEWEST))[line]
    out = off | (traces.weight == 0.0)
    many = np.bincount(line, out, minlength=traces.count) > MOST_STRAY * size
    # neighbours that go off together, more than strays do
    together = off.copy()
    for beside in range(1, _TOGETHER + 1):
        together[beside:] &= off[:-beside] & (line[beside:] == line[:-beside])
        together[:beside] = False
    many |= np.bincount(line, together, minlength=traces.count) > 0
    return np.asarray(off & ~many[line])


def _from_leg(points: FloatArray, a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the distance of points from the legs a to b. [m]"""
    run, out = b - a, points - a
    along = np.einsum("ni,ni->n", out, run) / np.maximum(np.einsum("ni,ni->n", run, run), 1e-24)
    return np.asarray(np.hypot(*(out - np.clip(along, 0.0, 1.0)[:, None] * run).T))
