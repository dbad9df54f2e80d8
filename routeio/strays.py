"""Strays: single vertices far off a line that goes on smoothly without them."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from mechanics.errors import FloatArray
from routeio.course import wrap
from routeio.tangent import BoolArray, IntArray, Tangents, Traces, measure

#: A vertex this many standard deviations off its neighbours is stray.
_FAR = 5.0
#: Neighbours within this many agree.
_NEAR = 3.0
#: A vertex is stray by at least this. [m]
_LEAST = 0.1
#: Lines of fewer vertices have none: what a few vertices do may be the duct.
FEWEST = 12
#: Where more of a line's vertices seem stray, it is the shape that is rough.
MOST_STRAY = 0.15
#: Neighbours looked at, and how many of them must agree.
_LOOK, _AGREE = 6, 5
#: Two legs that turn by more than this have a bend between them, which one vertex may stand for. [rad]
_BENDS = 0.15
#: Turned one way and back again within a few vertices by more than this, it is a spike. [rad]
_WASTE = 0.35
#: Vertices in a spike at most.
_SPIKE = 5


def strays(traces: Traces, scatter: FloatArray) -> BoolArray:
    """Return which vertices are stray.

    A vertex is stray when five of its six neighbours, some on either side, lie on one parabola and it does not.
    At a corner no such parabola is found, so corners are never taken for strays; nor is a vertex that may be the only one
    inside a bend.

    Parameters
    ----------
    traces : Traces
        The lines.
    scatter : ndarray, shape (m,)
        Of each line. [m]

    Returns
    -------
    ndarray of bool, shape (n,)
        One a vertex; never the first or the last of a line.
    """
    line = traces.line
    stray = np.zeros(len(line), bool)
    enough = (np.diff(traces.offsets) >= FEWEST)[line]
    for _ in range(3):
        at = np.flatnonzero(~stray & enough)
        found = _found(traces.xy[at], line[at], scatter[line[at]])
        if not found.any():
            break
        stray[at[found]] = True
    share = np.bincount(line, stray, minlength=traces.count) / np.diff(traces.offsets)
    stray[share[line] > MOST_STRAY] = False
    return stray


def spiked(traces: Traces, chain: Tangents) -> BoolArray:
    """Return which vertices a fitted chain follows through two or three corners that turn far more than they get.

    Parameters
    ----------
    traces : Traces
        The lines.
    chain : Tangents
        Fitted.

    Returns
    -------
    ndarray of bool, shape (n,)
        A few vertices for each spike, those that belong to the duct among them.
    """
    turn = np.where(chain.first, 0.0, chain.corners.turn)
    part = measure(traces, chain, derivatives=False).part
    cell = np.repeat(np.arange(len(turn)), np.diff(chain.cell))
    # vertices of each corner's cell before, on and after its arc
    size = np.stack([np.bincount(cell, part == p, minlength=len(turn)) for p in range(3)])
    line = chain.line
    marked = np.zeros(len(traces.xy), bool)
    for many in (2, 3):
        count = len(turn) - many + 1
        if count < 1:
            continue
        window = np.stack([turn[i : i + count] for i in range(many)])
        waste = np.abs(window).sum(axis=0) - np.abs(wrap(window.sum(axis=0)))
        whole = (line[:count] == line[many - 1 :]) & ~chain.first[:count]
        inside = sum(size[:, i : i + count].sum(axis=0) for i in range(many))
        inside = inside - size[0, :count] - size[2, many - 1 :]
        for f in np.flatnonzero(whole & (waste > _WASTE) & (inside > 0) & (inside <= _SPIKE)):
            vertices = slice(
                chain.cell[f] + int(size[0, f]), chain.cell[f + many] - int(size[2, f + many - 1])
            )
            marked[vertices] = True
    marked[traces.offsets[:-1]] = marked[traces.offsets[1:] - 1] = False
    return marked


def _found(xy: FloatArray, line: IntArray, scatter: FloatArray) -> BoolArray:
    n = len(xy)
    found = np.zeros(n, bool)
    if n <= _LOOK:
        return found
    k = _suspects(xy, line, scatter)
    begin = np.searchsorted(line, line[k], side="left")
    end = np.searchsorted(line, line[k], side="right")
    k, begin, end = (a[(k > begin) & (k < end - 1) & (end - begin > _LOOK)] for a in (k, begin, end))
    if k.size == 0:
        return found
    # three neighbours on each side, more on one where the line ends on the other
    first = np.clip(k - _LOOK // 2, begin, end - 1 - _LOOK)
    near = first[:, None] + np.arange(_LOOK)
    near += near >= k[:, None]
    left = near < k[:, None]
    chord = xy[near[:, -1]] - xy[near[:, 0]]
    length = np.maximum(np.hypot(*chord.T), 1e-9)
    unit = chord / length[:, None]
    rel = xy[near] - xy[k][:, None, :]
    t = np.einsum("nkx,nx->nk", rel, unit) / length[:, None]
    y = unit[:, :1] * rel[..., 1] - unit[:, 1:] * rel[..., 0]
    best = np.full(len(k), np.inf)
    agree = np.zeros(near.shape, bool)
    for three in combinations(range(_LOOK), 3):
        off = np.abs(y - _through(t, y, three))
        worst = np.partition(off, _AGREE - 1, axis=1)[:, _AGREE - 1]
        better = worst < best
        best[better] = worst[better]
        agree[better] = (off <= worst[:, None])[better]
    off, share = _predicted(t, y, agree)
    sides = ((agree & left).sum(axis=1) >= np.minimum(2, left.sum(axis=1))) & (
        (agree & ~left).sum(axis=1) >= np.minimum(2, (~left).sum(axis=1))
    )
    sigma = scatter[k]
    far = np.abs(off) > np.maximum(_FAR * sigma * np.sqrt(1.0 + share), _LEAST)
    suspect = np.flatnonzero(sides & far & (best <= _NEAR * sigma))
    found[k[suspect[~_in_a_bend(xy, k[suspect], sigma[suspect], begin[suspect], end[suspect])]]] = True
    return found


def _in_a_bend(xy: FloatArray, k: IntArray, sigma: FloatArray, begin: IntArray, end: IntArray) -> BoolArray:
    """Return which vertices may be the only one inside a bend between the two legs before and the two after them.

    They lie between the corner of these legs and the arc that touches both where the legs end.
    """
    inner = (k - 2 >= begin) & (k + 2 < end)
    at = np.where(inner, k, begin + 2)
    a2, a1, v, b1, b2 = (xy[at + i] for i in range(-2, 3))
    leg_a, leg_b = np.hypot(*(a1 - a2).T), np.hypot(*(b2 - b1).T)
    u, w = (a1 - a2) / leg_a[:, None], (b2 - b1) / leg_b[:, None]
    cross, turn = _cross(u, w), np.arctan2(_cross(u, w), (u * w).sum(axis=1))
    told = np.abs(turn) > np.maximum(_BENDS, 2.0 * _NEAR * sigma / np.minimum(leg_a, leg_b))
    safe = np.where(told, cross, 1.0)
    ahead = _cross(b1 - a1, w) / safe
    corner = a1 + ahead[:, None] * u
    behind = ((b1 - corner) * w).sum(axis=1)
    told &= (ahead > 0.0) & (behind > 0.0)
    side = np.sign(turn)
    slack = _NEAR * sigma * (1.0 + 2.0 * np.maximum(ahead / leg_a, behind / leg_b))
    inside = (side * _cross(u, v - a1) > -slack) & (side * _cross(w, v - b1) > -slack)
    middle = w - u
    middle = middle / np.maximum(np.hypot(*middle.T), 1e-12)[:, None]
    depth = ((v - corner) * middle).sum(axis=1)
    deepest = np.minimum(ahead, behind) * np.tan(0.25 * np.abs(turn))
    return np.asarray(inner & told & inside & (depth <= deepest + slack))


def _cross(a: FloatArray, b: FloatArray) -> FloatArray:
    return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])


def _suspects(xy: FloatArray, line: IntArray, scatter: FloatArray) -> IntArray:
    """Return the vertices whose distance from the chord of their neighbours is not the mean of their neighbours'."""
    bend = np.zeros_like(xy)
    bend[1:-1] = xy[2:] - 2.0 * xy[1:-1] + xy[:-2]
    rough = np.zeros(len(xy))
    rough[1:-1] = np.hypot(*(bend[2:] - 2.0 * bend[1:-1] + bend[:-2]).T)
    rough[2:-2] = np.maximum(rough[2:-2], np.hypot(*bend[2:-2].T))
    near_end = np.concatenate(([True], line[1:] != line[:-1]))
    near_end |= np.concatenate((near_end[1:], [True]))
    for _ in range(2):
        near_end[1:] |= near_end[:-1]
        near_end[:-1] |= near_end[1:]
    return np.flatnonzero((rough > _NEAR * scatter) | near_end)


def _through(t: FloatArray, y: FloatArray, three: tuple[int, ...]) -> FloatArray:
    """Return the parabola through three of the points, at all of them."""
    out = np.zeros_like(y)
    for i in three:
        a, b = (j for j in three if j != i)
        weight = (t - t[:, a, None]) * (t - t[:, b, None])
        base = (t[:, i] - t[:, a]) * (t[:, i] - t[:, b])
        out += weight * (y[:, i] / np.where(np.abs(base) < 1e-12, np.inf, base))[:, None]
    return out


def _predicted(t: FloatArray, y: FloatArray, agree: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Return the least-squares parabola through the points that agree, at t = 0, and its variance there."""
    s = [(agree * t**power).sum(axis=1) for power in range(5)]
    r = [(agree * y * t**power).sum(axis=1) for power in range(3)]
    m0, m1, m2 = s[2] * s[4] - s[3] ** 2, s[2] * s[3] - s[1] * s[4], s[1] * s[3] - s[2] ** 2
    det = s[0] * m0 + s[1] * m1 + s[2] * m2
    good = det > 1e-12
    det = np.where(good, det, 1.0)
    return np.where(good, (r[0] * m0 + r[1] * m1 + r[2] * m2) / det, 0.0), np.where(good, m0 / det, np.inf)
