"""Legs: a raw line as straight and curved elements with the kinks between them, before any kink is rounded."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from mechanics.errors import FloatArray
from routeio.course import advance, wrap
from routeio.survey import Origin

#: Legs shorter than this in plan and in elevation are no legs. [m]
ZERO_LENGTH = 1e-6
#: So far before the start of an arc a point may be found by rounding. [rad]
_ROUND = 1e-9


@dataclass
class Piece:
    """An element on its way to a course: its vertices, its turn, where it came from.

    Parameters
    ----------
    first, last : ndarray, shape (2,)
        End points as drawn. [m]
    heading : float
        At the start. [rad]
    length : float
        Along it. [m]
    turn : float
        [rad]
    origin : Origin
        Where from.
    vertices : tuple of 2 int
        Indices of its first and last vertex.
    """

    first: FloatArray
    last: FloatArray
    heading: float
    length: float
    turn: float
    origin: Origin
    vertices: tuple[int, int] = field(default=(0, 0))

    @property
    def heading_out(self) -> float:
        """Heading at the end. [rad]"""
        return self.heading + self.turn

    @property
    def radius(self) -> float:
        """Of an arc, signed like its turn; inf for a straight. [m]"""
        return self.length / self.turn if self.turn else float("inf")

    def along(self, points: FloatArray) -> FloatArray:
        """Return how far along the piece the given points lie, shape (k,). [m]"""
        ray = np.array([np.cos(self.heading), np.sin(self.heading)])
        if self.turn == 0.0:
            return np.asarray((points - self.first) @ ray)
        hub = self.first + self.radius * np.array([-ray[1], ray[0]])
        out, away = self.first - hub, points - hub
        angle = np.arctan2(out[0] * away[:, 1] - out[1] * away[:, 0], away @ out)
        # a point at the very start is there, whatever rounding says, and not once round
        swing = np.mod(angle * np.sign(self.turn) + _ROUND, 2.0 * np.pi) - _ROUND
        return np.asarray(swing * abs(self.radius))

    def end_of(self) -> FloatArray:
        """Return where the element ends when it sets out from ``first``. [m]"""
        step = advance(np.array([self.heading]), np.array([self.length]), np.array([self.turn]))
        return np.asarray(self.first + step[0])


def kept_vertices(points: FloatArray) -> NDArray[np.bool_]:
    """Return a mask of the vertices that remain when legs of no length are dropped, the first always.

    Parameters
    ----------
    points : ndarray, shape (k, 3)
        [m]

    Returns
    -------
    ndarray of bool, shape (k,)
        False where the leg before the vertex has no length.
    """
    step = np.diff(points, axis=0)
    rise = np.where(np.isfinite(step[:, 2]), np.abs(step[:, 2]), 0.0)
    long = (np.hypot(step[:, 0], step[:, 1]) > ZERO_LENGTH) | (rise > ZERO_LENGTH)
    return np.concatenate(([True], long))


def pieces_of(points: FloatArray, bulge: FloatArray, ids: tuple[str, ...]) -> list[Piece]:
    """Return one piece a leg.

    Parameters
    ----------
    points : ndarray, shape (k, 2)
        No two neighbours alike. [m]
    bulge : ndarray, shape (k - 1,)
        Tangent of a quarter of each leg's turn.
    ids : tuple of str
        One a leg.

    Returns
    -------
    list of Piece
        Legs with a turn under 1e-9 rad are straights.
    """
    chord = np.diff(points, axis=0)
    span = np.hypot(chord[:, 0], chord[:, 1])
    turn = 4.0 * np.arctan(bulge)
    turn = np.where(np.abs(turn) < 1e-9, 0.0, turn)
    heading = np.arctan2(chord[:, 1], chord[:, 0]) - 0.5 * turn
    length = span / np.sinc(turn / (2.0 * np.pi))
    return [
        Piece(points[i], points[i + 1], float(heading[i]), float(length[i]), float(turn[i]),
              Origin(ids[i], "drawn"), (i, i + 1))
        for i in range(len(ids))
    ]  # fmt: skip


def kinks(pieces: list[Piece]) -> FloatArray:
    """Return the change of heading between each piece and the next, shape (n - 1,). [rad]

    Parameters
    ----------
    pieces : list of Piece
        Of one line.

    Returns
    -------
    ndarray, shape (n - 1,)
        In (-pi, pi].
    """
    if len(pieces) < 2:
        return np.zeros(0)
    inward = np.array([p.heading for p in pieces[1:]])
    outward = np.array([p.heading_out for p in pieces[:-1]])
    return wrap(inward - outward)
