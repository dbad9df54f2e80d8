"""The course: a run of straights and arcs in a plane, with its place. A plan is one, and so is a profile."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from mechanics.chain import IntArray
from mechanics.errors import FloatArray


@dataclass(frozen=True, eq=False)
class Course:
    """Straights and arcs end to end, each tangent to the next.

    In plan the axes are x and y and the heading is anticlockwise from x; in profile they are the distance in plan
    and the elevation, and the heading is the grade.

    Parameters
    ----------
    start : tuple of 2 floats
        [m]
    heading : float
        At the start. [rad]
    length : ndarray, shape (n,)
        Of each element, along it. [m]
    turn : ndarray, shape (n,)
        Change of heading over each element, left (in profile: upward) positive; 0 for a straight. [rad]
    """

    start: tuple[float, float]
    heading: float
    length: FloatArray
    turn: FloatArray

    @property
    def headings(self) -> FloatArray:
        """Heading at the start of each element and at the very end, shape (n + 1,). [rad]"""
        return np.asarray(self.heading + np.concatenate(([0.0], np.cumsum(self.turn))))

    @property
    def stations(self) -> FloatArray:
        """Distance along the course to the start of each element and to its end, shape (n + 1,). [m]"""
        return np.concatenate(([0.0], np.cumsum(self.length)))

    @property
    def knots(self) -> FloatArray:
        """Points where elements start, and the last point, shape (n + 1, 2). [m]"""
        steps = advance(self.headings[:-1], self.length, self.turn)
        return np.asarray(np.vstack(([0.0, 0.0], np.cumsum(steps, axis=0))) + np.asarray(self.start))

    @property
    def end(self) -> tuple[float, float]:
        """The last point. [m]"""
        x, y = self.knots[-1]
        return float(x), float(y)

    def at(self, station: FloatArray) -> FloatArray:
        """Return the points at the given stations, shape (k, 2). [m]

        Parameters
        ----------
        station : ndarray, shape (k,)
            Clipped to the course. [m]

        Returns
        -------
        ndarray, shape (k, 2)
            Points on the course. [m]
        """
        if self.length.size == 0:
            return np.tile(np.asarray(self.start), (np.size(station), 1))
        stations = self.stations
        along = np.clip(station, 0.0, stations[-1])
        index = np.clip(np.searchsorted(stations, along, side="right") - 1, 0, self.length.size - 1)
        part = along - stations[index]
        turned = self.turn[index] * (part / self.length[index])
        return self.knots[index] + advance(self.headings[index], part, turned)


def ends_of(
    start: FloatArray, heading: FloatArray, length: FloatArray, turn: FloatArray, offsets: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Return where many courses end, and their headings there.

    Parameters
    ----------
    start : ndarray, shape (m, 2)
        Of each course. [m]
    heading : ndarray, shape (m,)
        At its start. [rad]
    length, turn : ndarray, shape (n,)
        Of the elements of all, course after course. [m, rad]
    offsets : ndarray of int, shape (m + 1,)
        Course k is elements ``offsets[k]:offsets[k + 1]``.

    Returns
    -------
    end : ndarray, shape (m, 2)
        As :attr:`Course.end` gives it. [m]
    heading : ndarray, shape (m,)
        The last of :attr:`Course.headings`. [rad]
    """
    end, out = start.copy(), heading.copy()
    sizes = np.diff(offsets)
    # courses of as many elements at once, each added up by itself
    for size in np.unique(sizes[sizes > 0]).tolist():
        rows = np.flatnonzero(sizes == size)
        at = offsets[rows, None] + np.arange(size)
        turned = np.cumsum(turn[at], axis=1)
        along = heading[rows, None] + turned
        out[rows] = along[:, -1]
        along = np.concatenate((heading[rows, None], along[:, :-1]), axis=1)
        steps = advance(along.ravel(), length[at].ravel(), turn[at].ravel()).reshape(len(rows), size, 2)
        end[rows] = np.cumsum(steps, axis=1)[:, -1] + start[rows]
    return end, out


def advance(heading: FloatArray, length: FloatArray, turn: FloatArray) -> FloatArray:
    """Return the displacement over elements that set out at a heading, shape (n, 2). [m]

    Parameters
    ----------
    heading, length, turn : ndarray, shape (n,)
        As in :class:`Course`. [rad, m, rad]

    Returns
    -------
    ndarray, shape (n, 2)
        From the start of each element to its end. [m]
    """
    # chord of an arc: length * sin(turn/2) / (turn/2); numpy's sinc takes its argument over pi
    chord = length * np.sinc(turn / (2.0 * np.pi))
    middle = heading + 0.5 * turn
    return np.stack((chord * np.cos(middle), chord * np.sin(middle)), axis=-1)


def wrap(angle: FloatArray) -> FloatArray:
    """Return angles brought into (-pi, pi].

    Parameters
    ----------
    angle : ndarray
        Any shape. [rad]

    Returns
    -------
    ndarray
        The same shape. [rad]
    """
    return np.asarray(angle - 2.0 * np.pi * np.ceil((angle - np.pi) / (2.0 * np.pi)))
