"""Biarcs: a smooth curve as straights and arcs that meet without a kink, within a tolerance.

Each span of the curve becomes two arcs that leave its first point and reach its last along the curve's own tangents
(with equal tangent lengths, so that the two meet halfway), and is halved until they lie close enough. The turn between
the ends of a span is the curve's to the last bit; elevations go linearly along each span.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from mechanics.errors import FloatArray
from routeio.bulges import STRAIGHT, feet, leg_lengths_of

#: From parameters, shape (n,), to points and derivatives, both of shape (n, 3).
Curve = Callable[[FloatArray], tuple[FloatArray, FloatArray]]

_WITHIN = np.arange(1, 8) / 8.0
#: Tangents are taken this part of a span inside its ends: a curve may have a corner there.
_INSIDE = 1e-7
#: Absolute turn of the arcs beyond that of the curve, in part and at most for nothing. [rad]
_MORE_TURN = (0.01, 1e-4)
_MOST_HALVINGS = 16
_MOST_SPANS = 100_000


@dataclass(frozen=True, eq=False)
class Fitted:
    """A curve as straights and arcs.

    Parameters
    ----------
    points : ndarray, shape (k, 3)
        Where they meet.
    bulge : ndarray, shape (k - 1,)
        Of each leg.
    off : float
        How far the curve lies from them where it was sampled, at most.
    """

    points: FloatArray
    bulge: FloatArray
    off: float


def fitted(curve: Curve, params: FloatArray, tolerance: float) -> Fitted:
    """Return a curve as straights and arcs.

    Parameters
    ----------
    curve : callable
        From parameters, shape (n,), to points and derivatives, shape (n, 3) each. [file units]
    params : ndarray, shape (k,)
        Ends of its spans, ascending; the curve is smooth between them.
    tolerance : float
        How far the curve may lie from the arcs, in space. [file units]

    Returns
    -------
    Fitted
        From ``params[0]`` to ``params[-1]``.

    Examples
    --------
    >>> import numpy as np
    >>> def parabola(t):
    ...     return np.stack((t, t * t, 0 * t), -1), np.stack((1 + 0 * t, 2 * t, 0 * t), -1)
    >>> found = fitted(parabola, np.array([0.0, 1.0]), 0.001)
    >>> found.off < 0.001, bool((found.bulge > 0).all())
    (True, True)
    """
    low, high = params[:-1], params[1:]
    ready: list[_Spans] = []
    for turn in range(_MOST_HALVINGS):
        spans = _spans(curve, low, high)
        last = turn == _MOST_HALVINGS - 1 or low.size + sum(s.low.size for s in ready) > _MOST_SPANS
        fine = spans.fine(tolerance) | last
        ready.append(spans.of(fine))
        low, high = spans.low[~fine], spans.high[~fine]
        if not low.size:
            break
        middle = 0.5 * (low + high)
        low, high = np.concatenate((low, middle)), np.concatenate((middle, high))
    return _joined(ready)


@dataclass(frozen=True, eq=False)
class _Spans:
    """Spans with their two arcs: start, joint and end of each, two bulges, and how well they do."""

    low: FloatArray
    high: FloatArray
    ends: FloatArray  # (n, 3 places, 3)
    bulge: FloatArray  # (n, 2)
    off: FloatArray
    turn: FloatArray  # of the curve, absolute

    def fine(self, tolerance: float) -> np.ndarray:
        turn = 4.0 * np.abs(np.arctan(self.bulge))
        part, rest = _MORE_TURN
        as_curved = turn.sum(axis=1) <= (1.0 + part) * self.turn + rest
        return np.asarray((self.off <= tolerance) & (turn.max(axis=1) <= 0.5 * np.pi) & as_curved)

    def of(self, rows: np.ndarray) -> _Spans:
        return _Spans(
            self.low[rows],
            self.high[rows],
            self.ends[rows],
            self.bulge[rows],
            self.off[rows],
            self.turn[rows],
        )


def _spans(curve: Curve, low: FloatArray, high: FloatArray) -> _Spans:
    n = low.size
    width = (high - low)[:, None]
    parts = np.concatenate(([0.0], _WITHIN, [1.0]))
    points = curve((low[:, None] + width * parts).ravel())[0].reshape(n, parts.size, 3)
    inside = np.concatenate(([_INSIDE], _WITHIN, [1.0 - _INSIDE]))
    slopes = curve((low[:, None] + width * inside).ravel())[1].reshape(n, parts.size, 3)[..., :2]
    speed = np.hypot(slopes[..., 0], slopes[..., 1])
    chord = np.diff(points[..., :2], axis=1)
    # where the curve stands still (or goes straight up) its tangent is the way to the next point
    still = ~(speed > 1e-9 * speed.max(axis=1, initial=1e-300, keepdims=True))
    slopes = np.where(still[..., None], np.concatenate((chord, chord[:, -1:]), axis=1), slopes)
    speed = np.maximum(np.hypot(slopes[..., 0], slopes[..., 1]), 1e-300)
    tangents = slopes / speed[..., None]
    first, last = points[:, 0, :2], points[:, -1, :2]
    joint, bulge = _biarc(first, last, tangents[:, 0], tangents[:, -1])
    ends = np.stack((points[:, 0], np.column_stack((joint, np.zeros(n))), points[:, -1]), axis=1)
    lengths = np.stack(
        (leg_lengths_of(first, joint, bulge[:, 0]), leg_lengths_of(joint, last, bulge[:, 1])), axis=1
    )
    total = np.maximum(lengths.sum(axis=1), 1e-300)
    rise = points[:, -1, 2] - points[:, 0, 2]
    ends[:, 1, 2] = points[:, 0, 2] + rise * lengths[:, 0] / total
    # how far the curve's points lie from the arcs, in plan and in elevation
    aims = points[:, 1:-1].reshape(-1, 3)
    at = np.repeat(np.arange(n), _WITHIN.size)
    part_a, off_a = feet(first[at], joint[at], bulge[at, 0], aims[:, :2])
    part_b, off_b = feet(joint[at], last[at], bulge[at, 1], aims[:, :2])
    nearer = off_a <= off_b
    station = np.where(nearer, part_a * lengths[at, 0], lengths[at, 0] + part_b * lengths[at, 1])
    z = points[at, 0, 2] + rise[at] * station / total[at]
    off = np.hypot(np.minimum(off_a, off_b), aims[:, 2] - z).reshape(n, -1).max(axis=1)
    cross = tangents[:, :-1, 0] * tangents[:, 1:, 1] - tangents[:, :-1, 1] * tangents[:, 1:, 0]
    dot = (tangents[:, :-1] * tangents[:, 1:]).sum(axis=-1)
    return _Spans(low, high, ends, bulge, off, np.abs(np.arctan2(cross, dot)).sum(axis=1))


def _biarc(
    first: FloatArray, last: FloatArray, leaving: FloatArray, arriving: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return where two arcs of equal tangent lengths meet, and their bulges."""
    v = last - first
    both = (v * (leaving + arriving)).sum(axis=1)
    square = (v * v).sum(axis=1)
    opening = 2.0 * (1.0 - (leaving * arriving).sum(axis=1))
    reach = both + np.sqrt(np.maximum(both**2 + opening * square, 0.0))
    length = square / np.where(reach > 1e-12 * np.sqrt(square), reach, np.inf)
    joint = 0.5 * (first + last + length[:, None] * (leaving - arriving))
    return joint, np.stack((_half(leaving, joint - first), _half(last - joint, arriving)), axis=1)


def _half(before: FloatArray, after: FloatArray) -> FloatArray:
    """Return the bulge of an arc whose tangent and chord (or chord and tangent) are these."""
    cross = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return np.asarray(np.tan(0.5 * np.arctan2(cross, (before * after).sum(axis=1))))


def _joined(ready: list[_Spans]) -> Fitted:
    low = np.concatenate([s.low for s in ready])
    order = np.argsort(low, kind="stable")
    ends = np.concatenate([s.ends for s in ready])[order]
    bulge = np.concatenate([s.bulge for s in ready])[order]
    off = np.concatenate([s.off for s in ready])
    places = np.vstack((ends[:, :2].reshape(-1, 3), ends[-1:, 2]))
    legs = bulge.ravel()
    # the joint of a span that is straight says nothing
    straight = (np.abs(bulge) <= STRAIGHT).all(axis=1)
    keep = np.ones(places.shape[0], dtype=bool)
    keep[1::2][: straight.size] = ~straight
    kept_legs = np.ones(legs.size, dtype=bool)
    kept_legs[1::2] = ~straight
    legs = np.where(np.abs(legs) <= STRAIGHT, 0.0, legs)
    return Fitted(places[keep], legs[kept_legs], float(off.max(initial=0.0)))
