"""Exact lines: drawn arcs between straights, nothing to recover; chains for all of them by a few array operations.

A line is exact where every vertex joins an arc to something it is tangent to, within what drafting leaves: its legs are
its segments. The result is that of :mod:`routeio.plan`, where such a line goes leg by leg.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from mechanics.chain import Chain
from mechanics.errors import FloatArray
from routeio.corners import DRAFTING_KINK
from routeio.course import advance, wrap
from routeio.legs import ZERO_LENGTH
from routeio.rawlines import RawLine
from routeio.ready import backward
from routeio.shape import Shape
from routeio.survey import Origin
from routeio.tangent import BoolArray, IntArray, ragged_take

#: Turns and kinks up to this are none. [rad]
_NONE = 1e-9
#: Lines looked at together.
_BLOCK = 2_048


def exact(lines: Sequence[RawLine], tolerance: float) -> dict[int, Shape]:
    """Return the lines among many that are exact.

    Parameters
    ----------
    lines : sequence of RawLine
        As read or cleaned.
    tolerance : float
        How far the last segment may end from the last vertex. [m]

    Returns
    -------
    dict of int to Shape
        By their place among the lines; those with elevations, sharp corners, or straights that follow upon each
        other are left to the recovery of shapes.
    """
    some = [i for i, line in enumerate(lines) if line.drawn and len(line.bulge) and line.bulge.any()]
    found: dict[int, Shape] = {}
    # some thousand at a time: the steps between would take several times the memory of what comes out
    for k in range(0, len(some), _BLOCK):
        found |= _exact(lines, some[k : k + _BLOCK], tolerance)
    return found


def _exact(lines: Sequence[RawLine], some: Sequence[int], tolerance: float) -> dict[int, Shape]:
    sizes = np.array([len(lines[i].bulge) for i in some])
    offsets = np.concatenate(([0], np.cumsum(sizes)))
    points = np.concatenate([lines[i].points for i in some])
    first = np.delete(np.arange(len(points)), np.cumsum(sizes + 1) - 1)
    chord = points[first + 1, :2] - points[first, :2]
    bulge = np.concatenate([lines[i].bulge for i in some])
    known = np.isfinite(chord).all(axis=1) & np.isfinite(bulge)
    # one line's bad number is no other's
    chord[~known], bulge[~known] = 0.0, 0.0
    span = np.hypot(chord[:, 0], chord[:, 1])
    turn = 4.0 * np.arctan(bulge)
    turn[np.abs(turn) < _NONE] = 0.0
    heading = np.arctan2(chord[:, 1], chord[:, 0]) - 0.5 * turn
    length = span / np.sinc(turn / (2.0 * np.pi))
    # between each leg and the next of the same line
    kink = np.append(wrap(heading[1:] - heading[:-1] - turn[:-1]), 0.0)
    kink[offsets[1:] - 1] = 0.0
    kink[np.abs(kink) < _NONE] = 0.0
    straight = turn == 0.0
    both = np.append(straight[1:] & straight[:-1], False)
    both[offsets[1:] - 1] = False
    odd = both | ~(np.abs(kink) <= DRAFTING_KINK) | ~(span > ZERO_LENGTH)
    odd |= np.isfinite(points[first, 2]) | np.isfinite(points[first + 1, 2])
    good = ~np.logical_or.reduceat(odd, offsets[:-1])
    _take_up(turn, kink, straight, np.repeat(backward(span, offsets), sizes))
    good &= _misses(heading, length, turn, chord, offsets) <= tolerance
    rows = np.flatnonzero(good)
    index, bounds = ragged_take(offsets, rows)
    level = np.zeros(len(index))
    chains = Chain(length[index], level, level, turn[index], bounds).apart()
    first_vertex = (offsets[:-1] + np.arange(len(some)))[rows]
    starts = points[first_vertex, :2].tolist()
    ends = points[first_vertex + sizes[rows], :2].tolist()
    headings = heading[offsets[:-1][rows]].tolist()
    return {
        some[k]: Shape(chain, (x, y, 0.0), way, (last_x, last_y, 0.0), _origins(lines[some[k]].ids))
        for k, chain, (x, y), way, (last_x, last_y) in zip(
            rows.tolist(), chains, starts, headings, ends, strict=True
        )
    }


def _take_up(turn: FloatArray, kink: FloatArray, straight: BoolArray, back: BoolArray) -> None:
    """Let an arc beside each kink take it, so that every heading after it stays as drawn.

    Of two arcs it is the first as the line is taken, which may be from its end.
    """
    at = np.flatnonzero(kink[:-1])
    after = np.where(back[at], ~straight[at + 1], straight[at])
    np.add.at(turn, at + after, kink[at])


def _misses(
    heading: FloatArray, length: FloatArray, turn: FloatArray, chord: FloatArray, offsets: IntArray
) -> FloatArray:
    """Return how far each line's last segment ends from its last vertex."""
    turned = np.cumsum(turn) - turn
    start = np.repeat(offsets[:-1], np.diff(offsets))
    steps = advance(heading[start] + turned - turned[start], length, turn)
    return np.asarray(np.hypot(*np.add.reduceat(steps - chord, offsets[:-1]).T))


def _origins(ids: tuple[str, ...]) -> tuple[Origin, ...]:
    if ids.count(ids[0]) == len(ids):
        return (Origin(ids[0], "drawn"),) * len(ids)
    return tuple(Origin(name, "drawn") for name in ids)
