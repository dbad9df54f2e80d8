"""Bulges: geometry of lines whose legs may be arcs, each leg's arc by the tangent of a quarter of its turn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from mechanics.errors import FloatArray

#: Below this a leg is straight: even a kilometre of chord stands off its arc by less than a micrometre.
STRAIGHT = 1e-9
#: Places nearer than this along a line are one. [m]
ROUNDING = 1e-6
#: Lines measured together.
_BLOCK = 2_048


def arc_points(start: FloatArray, end: FloatArray, bulge: FloatArray, part: FloatArray) -> FloatArray:
    """Return points at parts of the way along legs.

    Parameters
    ----------
    start, end : ndarray, shape (n, 2)
        [m]
    bulge : ndarray, shape (n,)
        Of each leg.
    part : ndarray, shape (n,)
        From 0 at the start to 1 at the end, by turn.

    Returns
    -------
    ndarray, shape (n, 2)
        [m]
    """
    chord = (end[:, 0] - start[:, 0]) + 1j * (end[:, 1] - start[:, 1])
    turn = 4.0 * np.arctan(bulge)
    # (e^(i t turn) - 1) / (e^(i turn) - 1), well-behaved down to turn 0
    scale = part * np.sinc(part * turn / (2 * np.pi)) / np.sinc(turn / (2 * np.pi))
    step = chord * scale * np.exp(0.5j * turn * (part - 1.0))
    return np.asarray(start + np.stack((step.real, step.imag), axis=-1))


def leg_lengths(points: FloatArray, bulge: FloatArray) -> FloatArray:
    """Return the length in plan of each leg.

    Parameters
    ----------
    points : ndarray, shape (k, 2 or 3)
        [m]
    bulge : ndarray, shape (k - 1,)
        Of each leg.

    Returns
    -------
    ndarray, shape (k - 1,)
        [m]
    """
    return leg_lengths_of(points[:-1, :2], points[1:, :2], bulge)


def leg_lengths_of(start: FloatArray, end: FloatArray, bulge: FloatArray) -> FloatArray:
    """Return the length in plan of legs given by their ends.

    Parameters
    ----------
    start, end : ndarray, shape (n, 2)
        [m]
    bulge : ndarray, shape (n,)
        Of each leg.

    Returns
    -------
    ndarray, shape (n,)
        [m]
    """
    chord = np.hypot(*(end - start).T)
    if not bulge.any():
        return np.asarray(chord)
    return np.asarray(chord / np.sinc(2.0 * np.arctan(bulge) / np.pi))


def line_lengths(points: Sequence[FloatArray], bulge: Sequence[FloatArray]) -> FloatArray:
    """Return the length in plan of each of many lines.

    Parameters
    ----------
    points : sequence of ndarray, shape (k, 2 or 3)
        Of each line. [m]
    bulge : sequence of ndarray, shape (k - 1,)
        Of each line's legs.

    Returns
    -------
    ndarray, shape (n,)
        [m]
    """
    # some thousand lines at a time: the steps between would take several times the memory of what comes out
    blocks = [slice(k, k + _BLOCK) for k in range(0, len(points), _BLOCK)]
    return np.concatenate([np.zeros(0), *(_lengths(points[some], bulge[some]) for some in blocks)])


def _lengths(points: Sequence[FloatArray], bulge: Sequence[FloatArray]) -> FloatArray:
    legs = np.array([b.size for b in bulge])
    every = np.concatenate(points)
    first = np.delete(np.arange(len(every)), np.cumsum(legs + 1) - 1)
    length = leg_lengths_of(every[first, :2], every[first + 1, :2], np.concatenate(bulge))
    owner = np.repeat(np.arange(legs.size), legs)
    return np.asarray(np.bincount(owner, length, minlength=legs.size), dtype=np.float64)


def headings(points: FloatArray, bulge: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the heading at the start and at the end of each leg.

    Parameters
    ----------
    points : ndarray, shape (k, 2 or 3)
        [m]
    bulge : ndarray, shape (k - 1,)
        Of each leg.

    Returns
    -------
    first, last : ndarray, shape (k - 1,)
        From the x axis, anticlockwise, not wrapped. [rad]
    """
    step = np.diff(points[:, :2], axis=0)
    chord = np.arctan2(step[:, 1], step[:, 0])
    half = 2.0 * np.arctan(bulge)
    return chord - half, chord + half


@dataclass(frozen=True)
class Spot:
    """A place on a line.

    Parameters
    ----------
    leg : int
        Which leg.
    part : float
        How far along the leg, 0 to 1.
    station : float
        Distance in plan from the line's start. [m]
    distance : float
        From the point asked about. [m]
    """

    leg: int
    part: float
    station: float
    distance: float


def feet(
    start: FloatArray, end: FloatArray, bulge: FloatArray, target: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return where each leg is nearest to a point, and how far off.

    Parameters
    ----------
    start, end : ndarray, shape (n, 2)
        [m]
    bulge : ndarray, shape (n,)
        Of each leg.
    target : ndarray, shape (2,) or (n, 2)
        One point for all, or one for each. [m]

    Returns
    -------
    part : ndarray, shape (n,)
        How far along each leg, 0 to 1.
    distance : ndarray, shape (n,)
        [m]
    """
    chord = end - start
    square = np.maximum((chord**2).sum(axis=1), 1e-300)
    part = np.clip(((target - start) * chord).sum(axis=1) / square, 0.0, 1.0)
    curved = np.abs(bulge) > 1e-6
    if not curved.any():
        foot = start + part[:, None] * chord
    else:
        aim = target[curved] if target.ndim == 2 else target
        part[curved] = _part_of_arc(start[curved], end[curved], bulge[curved], aim)
        foot = arc_points(start, end, bulge, part)
    return part, np.hypot(*(foot - target).T)


def nearest_spot(points: FloatArray, bulge: FloatArray, x: float, y: float) -> Spot:
    """Return the place on a line nearest to a point in plan.

    Parameters
    ----------
    points : ndarray, shape (k, 2 or 3)
        k at least 2. [m]
    bulge : ndarray, shape (k - 1,)
        Of each leg.
    x, y : float
        [m]

    Returns
    -------
    Spot
        The first of equally near places.
    """
    part, distance = feet(points[:-1, :2], points[1:, :2], bulge, np.array([x, y]))
    leg = int(np.argmin(distance))
    length = leg_lengths(points, bulge)
    station = float(length[:leg].sum() + part[leg] * length[leg])
    return Spot(leg, float(part[leg]), station, float(distance[leg]))


def _part_of_arc(start: FloatArray, end: FloatArray, bulge: FloatArray, target: FloatArray) -> FloatArray:
    """Return how far along each arc its point nearest the target lies, 0 to 1."""
    chord = end - start
    normal = np.stack((-chord[:, 1], chord[:, 0]), axis=-1)
    centre = 0.5 * (start + end) + normal * ((1.0 - bulge**2) / (4.0 * bulge))[:, None]
    turn = 4.0 * np.arctan(bulge)
    first, aim = start - centre, target - centre
    swung = np.arctan2(
        first[:, 0] * aim[:, 1] - first[:, 1] * aim[:, 0], (first * aim).sum(axis=1)
    ) * np.sign(turn)
    swung = np.where(swung < 0.0, swung + 2.0 * np.pi, swung)
    # beyond the end: whichever end of the arc is nearer by angle
    beyond = swung > np.abs(turn)
    to_start = 2.0 * np.pi - swung < swung - np.abs(turn)
    return np.where(beyond, np.where(to_start, 0.0, 1.0), swung / np.abs(turn))


def spot_at(points: FloatArray, bulge: FloatArray, station: float) -> Spot:
    """Return the place at a distance in plan from the line's start.

    Parameters
    ----------
    points : ndarray, shape (k, 2 or 3)
        [m]
    bulge : ndarray, shape (k - 1,)
        Of each leg.
    station : float
        Clipped to the line. [m]

    Returns
    -------
    Spot
        With distance 0.
    """
    length = leg_lengths(points, bulge)
    ends = np.cumsum(length)
    along = min(max(station, 0.0), float(ends[-1]))
    leg = min(int(np.searchsorted(ends, along)), length.size - 1)
    before = float(ends[leg] - length[leg])
    part = (along - before) / float(length[leg]) if length[leg] > 0.0 else 0.0
    return Spot(leg, min(max(part, 0.0), 1.0), along, 0.0)


def point_at(points: FloatArray, bulge: FloatArray, spot: Spot) -> FloatArray:
    """Return the point of a place on a line, z linear along its leg.

    Parameters
    ----------
    points : ndarray, shape (k, 3)
        [m]
    bulge : ndarray, shape (k - 1,)
        Of each leg.
    spot : Spot
        On that line.

    Returns
    -------
    ndarray, shape (3,)
        [m]
    """
    a, b = points[spot.leg], points[spot.leg + 1]
    if spot.part <= 0.0 or spot.part >= 1.0:
        return np.array(a if spot.part <= 0.0 else b)
    plan = arc_points(a[None, :2], b[None, :2], bulge[spot.leg : spot.leg + 1], np.array([spot.part]))[0]
    return np.array([plan[0], plan[1], a[2] + spot.part * (b[2] - a[2])])


def cut(
    points: FloatArray, bulge: FloatArray, start: Spot | None, end: Spot | None
) -> tuple[FloatArray, FloatArray, slice]:
    """Return the part of a line between two places.

    Parameters
    ----------
    points : ndarray, shape (k, 3)
        [m]
    bulge : ndarray, shape (k - 1,)
        Of each leg.
    start, end : Spot or None
        None for the line's own ends; ``start`` before ``end``.

    Returns
    -------
    points : ndarray, shape (j, 3)
        [m]
    bulge : ndarray, shape (j - 1,)
        Of the legs that remain, those cut into with what is left of their turn.
    legs : slice
        Which legs of the line these are.
    """
    start, end = (_on_a_vertex(spot, points, bulge) for spot in (start, end))
    first = 0 if start is None else start.leg + (1 if start.part >= 1.0 else 0)
    last = bulge.size - 1 if end is None else end.leg - (1 if end.part <= 0.0 else 0)
    head = 0.0 if start is None or start.part >= 1.0 else start.part
    tail = 1.0 if end is None or end.part <= 0.0 else end.part
    kept = np.array(points[first : last + 2])
    turn = np.array(np.arctan(bulge[first : last + 1]))
    if start is not None:
        kept[0] = point_at(points, bulge, start)
    if end is not None:
        kept[-1] = point_at(points, bulge, end)
    if first == last:
        turn[0] *= tail - head
    else:
        turn[0] *= 1.0 - head
        turn[-1] *= tail
    # legs not cut into keep their bulge to the last bit
    whole = np.array(bulge[first : last + 1])
    parted = np.zeros(whole.size, dtype=bool)
    parted[0] = head > 0.0 or (first == last and tail < 1.0)
    parted[-1] |= tail < 1.0
    return kept, np.where(parted, np.tan(turn), whole), slice(first, last + 1)


def _on_a_vertex(spot: Spot | None, points: FloatArray, bulge: FloatArray) -> Spot | None:
    """Return a spot a rounding away from a vertex as that vertex, so that no leg without length is left over."""
    if spot is None:
        return None
    leg = slice(spot.leg, spot.leg + 2)
    length = float(leg_lengths(points[leg], bulge[spot.leg : spot.leg + 1])[0])
    if spot.part * length < ROUNDING:
        return replace(spot, part=0.0)
    return replace(spot, part=1.0) if (1.0 - spot.part) * length < ROUNDING else spot


def flattened(points: FloatArray, bulge: FloatArray, tolerance: float) -> tuple[FloatArray, FloatArray]:
    """Return a line's vertices with points added along its arcs, and the leg each vertex starts.

    Parameters
    ----------
    points : ndarray, shape (k, 3)
        [m]
    bulge : ndarray, shape (k - 1,)
        Of each leg.
    tolerance : float
        How far a chord may lie from its arc. [m]

    Returns
    -------
    points : ndarray, shape (j, 3)
        The vertices themselves among them. [m]
    spots : ndarray, shape (j,)
        Leg number plus part of the way along it, of each point.
    """
    if not (np.abs(bulge) > STRAIGHT).any():
        return points, np.arange(points.shape[0], dtype=np.float64)
    turn = np.abs(4.0 * np.arctan(bulge))
    chord = np.hypot(*np.diff(points[:, :2], axis=0).T)
    radius = chord / np.maximum(2.0 * np.sin(np.minimum(turn, 2 * np.pi - 1e-9) / 2.0), 1e-12)
    step = 2.0 * np.arccos(np.clip(1.0 - tolerance / np.maximum(radius, tolerance), 0.0, 1.0))
    step = np.minimum(np.maximum(step, 1e-3), np.pi / 8)
    count = np.where(np.abs(bulge) > STRAIGHT, np.maximum(np.ceil(turn / step), 1.0), 1.0).astype(np.int64)
    leg = np.repeat(np.arange(bulge.size), count)
    within = np.arange(leg.size) - np.repeat(np.cumsum(count) - count, count)
    part = within / count[leg]
    plan = arc_points(points[leg, :2], points[leg + 1, :2], bulge[leg], part)
    z = points[leg, 2] + part * (points[leg + 1, 2] - points[leg, 2])
    inner = np.column_stack((plan, z))
    inner[within == 0] = points[:-1]
    return np.vstack((inner, points[-1:])), np.concatenate((leg + part, [float(bulge.size)]))
