"""Elements: tangent chains laid out as runs of straights and arcs, with lengths, places and stations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mechanics.errors import FloatArray
from routeio.tangent import BoolArray, IntArray, Tangents, Traces, measure, ragged_take


@dataclass(frozen=True, eq=False)
class Elements:
    """Straights and arcs of many lines in turn: straight, arc, straight, ... straight.

    Parameters
    ----------
    offsets : ndarray of int, shape (m + 1,)
        Line k is elements ``offsets[k]:offsets[k + 1]``, an odd number of them.
    length, turn : ndarray, shape (e,)
        Of each element; a sharp corner is an arc of no length. [m, rad]
    straight : ndarray of int, shape (e,)
        The straight of the chain each element is, or that follows the arc it is.
    start : ndarray, shape (m, 2)
        Of each line: the point of the chain nearest its first vertex. [m]
    heading : ndarray, shape (m,)
        At the start. [rad]
    element : ndarray of int, shape (n,)
        On which element each vertex lies.
    station : ndarray, shape (n,)
        How far along its line the point of the chain nearest each vertex lies. [m]
    off : ndarray, shape (n,)
        How far left of it the vertex lies. [m]
    """

    offsets: IntArray
    length: FloatArray
    turn: FloatArray
    straight: IntArray
    start: FloatArray
    heading: FloatArray
    element: IntArray
    station: FloatArray
    off: FloatArray

    def take(self, lines: IntArray, vertices: IntArray) -> Elements:
        """Return those of the given lines alone, ``vertices`` being the offsets of all lines' vertices."""
        index, offsets = ragged_take(self.offsets, lines)
        at, sizes = ragged_take(vertices, lines)
        moved = np.repeat(offsets[:-1] - self.offsets[:-1][lines], np.diff(sizes))
        return Elements(
            offsets, self.length[index], self.turn[index], self.straight[index], self.start[lines],
            self.heading[lines], self.element[at] + moved, self.station[at], self.off[at],
        )  # fmt: skip


def laid_out(traces: Traces, chain: Tangents, sharp: BoolArray) -> Elements:
    """Return the elements of the chains.

    Parameters
    ----------
    traces : Traces
        The lines.
    chain : Tangents
        Their straights and corners.
    sharp : ndarray of bool, shape (s,)
        Corners without an arc, before each straight.

    Returns
    -------
    Elements
        Of every line.
    """
    corner = chain.corners
    count = len(chain.heading)
    first, last = chain.first, np.concatenate((chain.first[1:], [True]))
    line = chain.line
    u = corner.along
    radius = np.where(sharp, 0.0, corner.radius)
    tangent = np.where(sharp, 0.0, corner.tangent)
    hub = np.where(sharp[:, None], corner.apex, corner.hub)
    sense = np.sign(corner.turn)

    # straights from the arc before, or the foot of the first vertex, to the arc after, or that of the last
    head, tail = traces.xy[traces.offsets[:-1]], traces.xy[traces.offsets[1:] - 1]
    base = chain.foot + chain.shift[:, None] * np.stack((-u[:, 1], u[:, 0]), axis=-1)
    begin = corner.apex + tangent[:, None] * u
    begin[first] = _foot(head, base[first], u[first])
    end = np.empty_like(begin)
    end[:-1] = corner.apex[1:] - tangent[1:, None] * u[:-1]
    end[last] = _foot(tail, base[last], u[last])
    straight = np.einsum("ni,ni->n", end - begin, u)
    turn = np.where(first, 0.0, corner.turn)

    # a line may begin or end within its first or last arc
    start, heading = begin[first].copy(), chain.heading[first].copy()
    early = np.zeros(traces.count)
    k = np.flatnonzero(first & ~last & (straight < 0.0))
    if k.size:
        swing = _swing(begin_of_arc(corner.apex, tangent, u, k + 1) - hub[k + 1], head[line[k]] - hub[k + 1])
        swing = np.clip(swing * sense[k + 1], 0.0, np.abs(turn[k + 1]))
        start[line[k]] = hub[k + 1] + _turned(
            begin_of_arc(corner.apex, tangent, u, k + 1) - hub[k + 1], swing * sense[k + 1]
        )
        heading[line[k]] += swing * sense[k + 1]
        early[line[k]] = swing * radius[k + 1]
        turn[k + 1] -= swing * sense[k + 1]
    k = np.flatnonzero(last & ~first & (straight < 0.0))
    if k.size:
        swing = _swing(tail[line[k]] - hub[k], begin[k] - hub[k])
        swing = np.clip(swing * sense[k], 0.0, np.abs(turn[k]))
        turn[k] -= swing * sense[k]
    straight = np.maximum(straight, 0.0)

    offsets = 2 * chain.offsets - np.arange(traces.count + 1)
    at = 2 * np.arange(count) - line
    total = int(offsets[-1])
    length, turns, owner = np.zeros(total), np.zeros(total), np.zeros(total, np.int64)
    length[at] = straight
    owner[at] = np.arange(count)
    bend = np.flatnonzero(~first)
    length[at[bend] - 1] = radius[bend] * np.abs(turn[bend])
    turns[at[bend] - 1] = turn[bend]
    owner[at[bend] - 1] = bend

    # vertices
    seen = measure(traces, chain, derivatives=False)
    cell = np.repeat(np.arange(count), np.diff(chain.cell))
    before = np.maximum(cell - 1, 0)
    part = np.where(first[cell], 2, seen.part)
    ends = np.concatenate(([0.0], np.cumsum(length)))
    station0 = ends[:-1] - np.repeat(ends[offsets[:-1]], np.diff(offsets))
    element = np.where(part == 0, at[before], np.where(part == 2, at[cell], at[cell] - 1))
    xy = traces.xy
    on_before = np.einsum("ni,ni->n", xy - begin[before], u[before])
    on_after = np.einsum("ni,ni->n", xy - begin[cell], u[cell])
    arc_start = corner.apex - tangent[:, None] * u[np.maximum(np.arange(count) - 1, 0)] - hub
    angle = _swing(arc_start[cell], xy - hub[cell]) * sense[cell]
    on_arc = angle * radius[cell] - np.where(first[before], early[traces.line], 0.0)
    along = np.where(part == 0, on_before, np.where(part == 2, on_after, on_arc))
    # the chain starts at the first vertex's foot, and stations before it or past an element's end are its ends
    along = np.clip(along, 0.0, length[element])
    return Elements(
        offsets, length, turns, owner, start, heading, element, station0[element] + along, seen.off
    )


def begin_of_arc(apex: FloatArray, tangent: FloatArray, u: FloatArray, k: IntArray) -> FloatArray:
    """Return where the arcs before some straights begin.

    Parameters
    ----------
    apex : ndarray, shape (n, 2)
        Where each straight would meet the one before it. [m]
    tangent : ndarray, shape (n,)
        From the apex to either end of its arc. [m]
    u : ndarray, shape (n, 2)
        Directions of the straights.
    k : ndarray of int
        Which straights, by the arc before them.

    Returns
    -------
    ndarray, shape (len(k), 2)
        [m]
    """
    return np.asarray(apex[k] - tangent[k, None] * u[k - 1])


def _foot(point: FloatArray, base: FloatArray, u: FloatArray) -> FloatArray:
    return np.asarray(base + np.einsum("ni,ni->n", point - base, u)[:, None] * u)


def _swing(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the angle from a to b, anticlockwise, in (-pi, pi]."""
    return np.asarray(np.arctan2(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0], np.einsum("ni,ni->n", a, b)))


def _turned(vector: FloatArray, angle: FloatArray) -> FloatArray:
    c, s = np.cos(angle), np.sin(angle)
    return np.stack((c * vector[:, 0] - s * vector[:, 1], s * vector[:, 0] + c * vector[:, 1]), axis=-1)
