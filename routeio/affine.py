"""Affine maps: lines carried by what places a block, their arcs kept where the map keeps circles."""

from __future__ import annotations

import numpy as np

from mechanics.errors import FloatArray
from routeio.biarcs import Curve, fitted
from routeio.bulges import arc_points, headings, leg_lengths


def moved(
    points: FloatArray, bulge: FloatArray, matrix: FloatArray, tolerance: float
) -> tuple[FloatArray, FloatArray, float | None]:
    """Return a line carried by an affine map, its arcs kept where the map keeps circles in plan.

    Parameters
    ----------
    points : ndarray, shape (k, 3)
        NaN z is carried as 0 and stays NaN.
    bulge : ndarray, shape (k - 1,)
        Of each leg.
    matrix : ndarray, shape (4, 4)
        Row vectors: ``[x y z 1] @ matrix``.
    tolerance : float
        How far arcs and straights may lie from arcs that the map turns into ellipses or tilts, after the map.

    Returns
    -------
    points : ndarray, shape (j, 3)
        Carried.
    bulge : ndarray, shape (j - 1,)
        Carried; the sense turned round by a mirroring map.
    off : float or None
        Where arcs had to be replaced, how far what replaces them lies from them at most.
    """
    a, b, c, d = matrix[0, 0], matrix[0, 1], matrix[1, 0], matrix[1, 1]
    size = float(np.hypot(a, b))
    slack = 1e-9 * max(size, float(np.hypot(c, d)), 1e-300)
    mirrored = a * d - b * c < 0.0
    sign = -1.0 if mirrored else 1.0
    circles_stay = (
        abs(c + sign * b) <= slack
        and abs(d - sign * a) <= slack
        and bool((np.abs(matrix[:2, 2]) <= slack).all())
        and bool((np.abs(matrix[2, :2]) <= slack).all())
    )
    curved = bool((np.abs(bulge) > 0.0).any())
    exact = circles_stay or not curved
    flat = bool((np.abs(matrix[:2, 2]) <= slack).all())
    if not exact:
        fit = fitted(_carried(points, bulge, matrix), np.arange(points.shape[0], dtype=np.float64), tolerance)
        carried, bulge = fit.points, fit.bulge
        if flat and not np.isfinite(points[:, 2]).all():
            carried[:, 2] = np.nan
        return carried, bulge, fit.off
    carried = _placed(points, matrix)
    if flat:  # the map itself gives no elevation to what has none
        carried[~np.isfinite(points[:, 2]), 2] = np.nan
    return carried, (bulge * sign if circles_stay else bulge), None


def _placed(points: FloatArray, matrix: FloatArray) -> FloatArray:
    z = np.where(np.isfinite(points[:, 2]), points[:, 2], 0.0)
    return np.asarray(np.column_stack((points[:, :2], z)) @ matrix[:3, :3] + matrix[3, :3])


def _carried(points: FloatArray, bulge: FloatArray, matrix: FloatArray) -> Curve:
    """Return a line after a map as a curve, its parameter the number of the leg and the part of the way along it."""
    first, _ = headings(points, bulge)
    turn = 4.0 * np.arctan(bulge)
    length = leg_lengths(points, bulge)

    def curve(at: FloatArray) -> tuple[FloatArray, FloatArray]:
        leg = np.minimum(at.astype(np.int64), bulge.size - 1)
        part = at - leg
        plan = arc_points(points[leg, :2], points[leg + 1, :2], bulge[leg], part)
        rise = points[leg + 1, 2] - points[leg, 2]
        heading = first[leg] + part * turn[leg]
        along = np.column_stack((length[leg] * np.cos(heading), length[leg] * np.sin(heading), rise))
        place = np.column_stack((plan, points[leg, 2] + part * rise))
        return _placed(place, matrix), np.nan_to_num(along) @ matrix[:3, :3]

    return curve
