"""From a division into pieces to a first tangent chain."""

from __future__ import annotations

import numpy as np

from mechanics.errors import FloatArray
from routeio.course import wrap
from routeio.pieces import Division, piece_moments
from routeio.tangent import BoolArray, IntArray, Tangents, Traces


def first_chain(
    traces: Traces, division: Division, kinked: BoolArray | None = None
) -> tuple[Tangents, BoolArray, BoolArray]:
    """Return the chain with a straight for each line piece, and one of no length where arcs meet or end a line.

    Parameters
    ----------
    traces : Traces
        The lines.
    division : Division
        Their pieces.
    kinked : ndarray of bool, shape (p,), optional
        Arcs that do not touch their neighbours: each gets straights of no length, tangent to it, at its two ends.

    Returns
    -------
    chain : Tangents
        To start a fit from.
    joint : ndarray of bool, shape (s,)
        Straights that follow another with no arc between them.
    single : ndarray of bool, shape (s,)
        Straights that follow an arc of one chord, whose radius is that of the arc that touches at its two ends.
    """
    arc = division.arc
    count = len(arc)
    first = np.zeros(count, bool)
    first[division.offsets[:-1]] = True
    last = np.concatenate((first[1:], [True]))
    after_arc = np.concatenate(([False], arc[:-1])) & ~first
    # what each piece adds: a straight before it (an arc that follows no line), itself (a line), one after it
    kinked = np.zeros(count, bool) if kinked is None else kinked
    adds_before = arc & (first | after_arc | kinked)
    adds_after = arc & (last | kinked)
    adds = adds_before.astype(np.int64) + ~arc + adds_after
    place = np.concatenate(([0], np.cumsum(adds)))
    total = int(place[-1])
    heading, foot = np.zeros(total), np.zeros((total, 2))
    log_radius, middle = np.zeros(total), np.zeros(total, np.int64)

    fit = _fitted(traces, division)
    line = np.flatnonzero(~arc)
    at = place[line]
    heading[at], foot[at] = _through_joints(traces, division, fit, line, ~arc & ~first & ~after_arc)
    middle[at] = (division.start[line] + division.stop[line] + 1) // 2
    for mask, vertex, slot in (
        (adds_before, division.start, place[:-1]),
        (adds_after, division.stop, place[1:] - 1),
    ):
        piece = np.flatnonzero(mask)
        at = slot[piece]
        out = traces.xy[vertex[piece]] - fit.hub[piece]
        sense = fit.sense[piece]
        heading[at] = np.arctan2(sense * out[:, 0], -sense * out[:, 1])
        foot[at] = fit.hub[piece] + out * (fit.radius[piece] / np.maximum(np.hypot(*out.T), 1e-9))[:, None]
        middle[at] = vertex[piece]
    # where two arcs meet, the mean of the two tangents
    piece = np.flatnonzero(arc & after_arc & ~kinked)
    piece = piece[~kinked[piece - 1]]
    out = traces.xy[division.start[piece]] - fit.hub[piece - 1]
    sense = fit.sense[piece - 1]
    other = np.arctan2(sense * out[:, 0], -sense * out[:, 1])
    at = place[piece]
    heading[at] = np.arctan2(np.sin(heading[at]) + np.sin(other), np.cos(heading[at]) + np.cos(other))
    # radii: the arc's own, or next to nothing where two lines meet
    log_radius[:] = np.log(1e-3)
    size = np.hypot(*(traces.xy[division.stop] - traces.xy[division.start]).T)
    piece = np.flatnonzero(~first & ~after_arc & ~arc)
    log_radius[place[piece]] = _unseen(traces, division, piece, heading, place, size)
    piece = np.flatnonzero(arc)
    node_after = place[piece] + adds_before[piece]
    radius = fit.radius[piece]
    # an arc of one chord: tangent to the straights beside it
    chord = (division.stop - division.start)[piece] == 1
    bend = np.abs(wrap(heading[node_after] - heading[np.maximum(node_after - 1, 0)]))
    radius[chord] = (size[piece] / np.maximum(2.0 * np.sin(0.5 * bend), 1e-9))[chord]
    log_radius[node_after] = np.log(radius)

    offsets = place[division.offsets]
    start = np.zeros(total, bool)
    start[offsets[:-1]] = True
    cell = np.zeros(total + 1, np.int64)
    # the cell of a corner runs from the middle of the straight before to the middle of the straight after
    cell[1:total] = middle[:-1]
    begin = traces.offsets[:-1]
    cell[offsets[:-1]] = begin
    second = offsets[:-1] + 1
    has = second < offsets[1:]
    cell[second[has]] = begin[has]
    cell[total] = traces.offsets[-1]
    joint = ~start
    joint[node_after] = False
    single = np.zeros(total, bool)
    single[node_after[chord]] = True
    return Tangents(offsets, heading, foot, np.zeros(total), log_radius, cell), joint, single


def offsets_of_pieces(traces: Traces, division: Division) -> FloatArray:
    """Return the distance of each vertex left of the line or the circle of its piece.

    Parameters
    ----------
    traces : Traces
        The lines.
    division : Division
        Their pieces.

    Returns
    -------
    ndarray, shape (n,)
        Vertices between two pieces count with the later one. [m]
    """
    fit = _fitted(traces, division)
    piece = np.searchsorted(division.start, np.arange(len(traces.xy)), side="right") - 1
    rel = traces.xy - fit.foot[piece]
    flat = np.cos(fit.heading[piece]) * rel[:, 1] - np.sin(fit.heading[piece]) * rel[:, 0]
    out = np.hypot(*(traces.xy - fit.hub[piece]).T)
    round_ = fit.sense[piece] * (fit.radius[piece] - out)
    return np.asarray(np.where(division.arc[piece], round_, flat))


def _unseen(
    traces: Traces,
    division: Division,
    piece: IntArray,
    heading: FloatArray,
    place: IntArray,
    size: FloatArray,
) -> FloatArray:
    """Return ln of radii for bends between two straights: as large as could hide in the scatter of one vertex."""
    half = 0.5 * np.abs(wrap(heading[place[piece]] - heading[np.maximum(place[piece] - 1, 0)]))
    line = np.searchsorted(traces.offsets, division.start[piece], side="right") - 1
    hidden = 2.0 * traces.scatter[line] * np.cos(half) / np.maximum(1.0 - np.cos(half), 1e-9)
    room = 0.3 * np.minimum(size[piece], size[piece - 1]) / np.maximum(np.tan(half), 1e-9)
    return np.asarray(np.log(np.clip(np.minimum(hidden, room), 1e-3, 100.0)))


def _through_joints(
    traces: Traces, division: Division, fit: _Fitted, line: IntArray, joint: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Return heading and middle of the straights, those that meet made to meet beside the vertex they share.

    Straights fitted each for itself may meet anywhere where they hardly turn.
    """
    unit = np.stack((np.cos(fit.heading), np.sin(fit.heading)), axis=-1)

    def nearest(vertex: IntArray) -> FloatArray:
        rel = traces.xy[vertex] - fit.foot
        return np.asarray(fit.foot + np.einsum("ni,ni->n", rel, unit)[:, None] * unit)

    begin, end = nearest(division.start), nearest(division.stop)
    k = np.flatnonzero(joint)
    begin[k] = end[k - 1] = 0.5 * (begin[k] + end[k - 1])
    run = (end - begin)[line]
    return np.arctan2(run[:, 1], run[:, 0]), 0.5 * (begin + end)[line]


class _Fitted:
    """Line and circle of every piece."""

    def __init__(
        self, heading: FloatArray, foot: FloatArray, hub: FloatArray, radius: FloatArray, sense: FloatArray
    ) -> None:
        self.heading = heading
        self.foot = foot
        self.hub = hub
        self.radius = radius
        self.sense = sense


def _fitted(traces: Traces, division: Division) -> _Fitted:
    origin = traces.xy[division.start]
    moments = piece_moments(traces, division.start, division.stop)
    xx, xy, yy = moments.second()
    chord = traces.xy[division.stop] - origin
    heading = 0.5 * np.arctan2(2.0 * xy, xx - yy)
    heading = np.where(
        np.cos(heading) * chord[:, 0] + np.sin(heading) * chord[:, 1] < 0.0, heading + np.pi, heading
    )
    foot = origin + np.stack((moments.x / moments.n, moments.y / moments.n), axis=-1)
    _, cx, cy, radius = moments.circle()
    # left where the middle of the vertices lies right of the chord
    bulge = chord[:, 0] * (moments.y / moments.n) - chord[:, 1] * (moments.x / moments.n)
    return _Fitted(
        heading, foot, origin + np.stack((cx, cy), axis=-1), radius, np.where(bulge > 0.0, -1.0, 1.0)
    )
