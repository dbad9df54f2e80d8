"""Doubts: vertices that may be stray and are kept, since the duct may do what they do; each is said."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mechanics.errors import FloatArray
from routeio.elements import Elements
from routeio.explain import Explained
from routeio.strays import FEWEST, spiked
from routeio.tangent import IntArray

#: A vertex this many standard deviations off what goes on without it is in doubt, and at least this far.
_FAR, _LEAST = 5.0, 0.1
#: Vertices that tell the straight it is off.
_TOLD = 3


@dataclass(frozen=True, eq=False)
class Doubts:
    """Vertices in doubt.

    Parameters
    ----------
    line : ndarray of int, shape (k,)
        On which line each is.
    vertex : ndarray of int, shape (k,)
        Of the line.
    off : ndarray, shape (k,)
        How far the first or the last vertex of a line lies from the straight before it; of others 0. [m]
    turn : ndarray, shape (k,)
        Of the bend at an end that hangs on it alone; of others 0. [rad]
    """

    line: IntArray
    vertex: IntArray
    off: FloatArray
    turn: FloatArray


def doubts(found: Explained, elements: Elements) -> Doubts:
    """Return the vertices that may be stray and are kept.

    Those are the first and the last vertex of a line, where they alone make a bend, and single vertices in lines of few.

    Parameters
    ----------
    found : Explained
        Lines.
    elements : Elements
        As laid out.

    Returns
    -------
    Doubts
        Of lines whose vertices scatter.
    """
    traces, chain = found.traces, found.chain
    loose = found.averaged | ~found.scatter.exact
    some = np.flatnonzero(loose & (chain.count > 1))
    lines: list[IntArray] = []
    vertices: list[IntArray] = []
    offs: list[FloatArray] = []
    turns: list[FloatArray] = []
    if some.size:
        on = np.bincount(elements.element[traces.weight > 0.0], minlength=len(elements.length))
        for side in (1, -1):
            # the last straight, the arc before it, the straight before that; or the first ones
            end = elements.offsets[some] if side > 0 else elements.offsets[some + 1] - 1
            straight = chain.offsets[some] if side > 0 else chain.offsets[some + 1] - 1
            vertex = traces.offsets[some] if side > 0 else traces.offsets[some + 1] - 1
            alone = (on[end] == 1) & (on[end + side] <= 1) & (on[end + 2 * side] >= _TOLD)
            alone &= traces.weight[vertex] > 0.0
            inner = straight + side
            u = chain.corners.along[inner]
            out = traces.xy[vertex] - chain.foot[inner]
            off = np.abs(u[:, 0] * out[:, 1] - u[:, 1] * out[:, 0] - chain.shift[inner])
            far = alone & (off > np.maximum(_FAR * found.scatter.sigma[some], _LEAST))
            lines.append(some[far])
            vertices.append((vertex - traces.offsets[some])[far])
            offs.append(off[far])
            turns.append(np.abs(elements.turn[end + side][far]))
    few = np.flatnonzero(loose & (chain.count > 2) & (np.diff(traces.offsets) < FEWEST))
    if few.size:
        part = traces.take(few)
        mark = spiked(part, chain.take(few))
        # of vertices side by side the middle one
        edge = np.flatnonzero(np.diff(np.concatenate(([False], mark, [False])).astype(np.int8)))
        marked = (edge[::2] + edge[1::2] - 1) // 2
        lines.append(few[part.line[marked]])
        vertices.append(marked - part.offsets[part.line[marked]])
        offs.append(np.zeros(marked.size))
        turns.append(np.zeros(marked.size))
    if not lines:
        none = np.zeros(0, np.int64)
        return Doubts(none, none, np.zeros(0), np.zeros(0))
    return Doubts(
        np.concatenate(lines), np.concatenate(vertices), np.concatenate(offs), np.concatenate(turns)
    )
