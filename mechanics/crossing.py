"""The cable's way through a vault, from one duct mouth to the next: straight across, one bend, or an S of two."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from mechanics.chain import Chain
from mechanics.errors import number, point

_SMALL = 1e-6  # lengths below this are none [m]
_TOUCH = 1e-2  # of the radius: bends nearer to each other touch
_ROUNDS = 60
_WIDEST = math.radians(150.0)  # beyond, tangents hardly meet: one bend, wherever the mouths stand
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(8)

_Vector = tuple[float, float, float]


class Crossing(NamedTuple):
    """A way through a vault.

    Parameters
    ----------
    chain : Chain
        One chain; empty where the mouths meet face to face.
    guide : ndarray of bool, shape (n,)
        Which segments are bends on guides; the others are straight from mouth to guide.
    set_back : float
        How far each mouth had to be taken as standing back along its own duct, for guides of the stated radius to
        fit between them; 0 where they fit. [m]
    """

    chain: Chain
    guide: NDArray[np.bool_]
    set_back: float


def vault_crossing(
    offset: Sequence[float],
    heading_in: float,
    grade_in: float,
    heading_out: float,
    grade_out: float,
    radius: float,
    least_angle: float = math.radians(1.0),
) -> Crossing:
    """Lead the cable from the mouth of one duct to the mouth of the next.

    Parameters
    ----------
    offset : sequence of 3 floats
        From the mouth it comes out of to the mouth it goes into: x, y, z. [m]
    heading_in, grade_in : float
        Direction in which it comes out of the first duct. [rad]
    heading_out, grade_out : float
        Direction in which it goes into the second. [rad]
    radius : float
        Of the guides, above 0. [m]
    least_angle : float, optional
        A smaller bend needs no guide and is left out. [rad]

    Returns
    -------
    Crossing
        The chain, which of its segments are guides, and by how much they did not fit.

    Raises
    ------
    DomainError
        Names the argument and the legal range.

    Notes
    -----
    - Mouths that face each other: straight across.
    - The lines of the two ducts meet ahead of both mouths, with room for the bend: straight, bend, straight.
    - Otherwise an S: a bend at each mouth and a straight between, each bend as far as the tangent to both demands.
      Bends take changes of grade as well as of heading.
    - Where the guides do not fit between the mouths, which is the rule where both lines are drawn to one point, the
      mouths are taken as set back along their ducts just as far as is needed, and ``set_back`` tells. The ducts are
      not shortened for it: the way comes out a little too long, which is the safe side.
    - A bend changes heading and grade evenly, which is not quite a circle in a tilted plane: where a way turns
      and climbs steeply at once it ends some decimetres beside the second mouth. Directions, angles and lengths
      are not touched by it.
    - Mouths that nearly face back (more than 150° between the directions) get one bend, its set-back not counted.

    Common practice, no source.

    Examples
    --------
    Ducts drawn to one point, with a right angle between them:

    >>> import math
    >>> corner = vault_crossing((0, 0, 0), 0.0, 0.0, math.pi / 2, 0.0, radius=0.9144)
    >>> corner.chain.turn.round(4).tolist(), corner.guide.tolist(), round(corner.set_back, 4)
    ([1.5708], [True], 0.9144)

    Mouths 3 m apart, the second 0.5 m higher:

    >>> up = vault_crossing((3.0, 0.0, 0.5), 0.0, 0.0, 0.0, 0.0, radius=0.9144)
    >>> np.degrees(up.chain.grade_out).round(1).tolist(), up.guide.tolist(), up.set_back
    ([10.0, 10.0, 0.0], [True, False, True], 0.0)
    """
    place = point("offset", offset)
    radius, least_angle = (
        number("radius", radius, above=0.0),
        number("least_angle", least_angle, at_least=0.0),
    )
    heading_in, heading_out = number("heading_in", heading_in), number("heading_out", heading_out)
    grade_in = number("grade_in", grade_in, at_least=-math.pi / 2, at_most=math.pi / 2)
    grade_out = number("grade_out", grade_out, at_least=-math.pi / 2, at_most=math.pi / 2)
    a, b = _direction(heading_in, grade_in), _direction(heading_out, grade_out)
    d: _Vector = (float(place[0]), float(place[1]), float(place[2]))
    way = _Way(radius, least_angle, (heading_in, grade_in))
    bend = _angle(a, b)
    gap = _norm(d)
    if gap < _SMALL or bend > _WIDEST:
        way.bend(heading_out, grade_out)
        return way.crossing(_set_back(radius, bend) if bend >= least_angle else 0.0)
    if _angle(a, d) < least_angle and _angle(d, b) < least_angle:
        way.straight(gap)
        return way.crossing(0.0)
    legs = _legs(a, b, d)
    tangent = radius * math.tan(0.5 * bend)
    if legs is not None and min(legs) >= tangent and bend >= least_angle:
        way.straight(legs[0] - tangent)
        way.bend(heading_out, grade_out)
        way.straight(legs[1] - tangent)
        return way.crossing(0.0)
    back, middle, between = _least_set_back(a, b, d, radius)
    if _norm(middle) > 0.0:
        way.bend(*_heading_grade(middle, heading_in))
        way.straight(between)
    way.bend(heading_out, grade_out)
    return way.crossing(back)


class _Way:
    """A crossing in the making: where the cable points, and the segments so far."""

    def __init__(self, radius: float, least_angle: float, direction: tuple[float, float]) -> None:
        self.radius, self.least_angle = radius, least_angle
        self.heading, self.grade = direction
        self.rows: list[tuple[float, float, float, float]] = []
        self.guide: list[bool] = []

    def straight(self, length: float) -> None:
        if length > _SMALL:
            self.rows.append((length, self.grade, self.grade, 0.0))
            self.guide.append(False)

    def bend(self, heading: float, grade: float) -> None:
        turn = math.remainder(heading - self.heading, math.tau)
        rise = grade - self.grade
        at = self.grade + rise * 0.5 * (_NODES + 1.0)
        angle = float(0.5 * _WEIGHTS @ np.hypot(rise, turn * np.cos(at)))
        if angle >= self.least_angle and angle * self.radius > _SMALL:
            self.rows.append((angle * self.radius, self.grade, grade, turn))
            self.guide.append(True)
        self.heading, self.grade = heading, grade

    def crossing(self, set_back: float) -> Crossing:
        rows = np.array(self.rows).reshape(-1, 4)
        return Crossing(Chain(*rows.T), np.array(self.guide, dtype=bool), set_back)


def _least_set_back(a: _Vector, b: _Vector, d: _Vector, radius: float) -> tuple[float, _Vector, float]:
    """Return the least set-back with which two bends fit, the direction between them and the straight left there."""

    def fit(back: float) -> tuple[_Vector, float] | None:
        return _s_bend(a, b, _sum(d, back, a, b), radius)

    found = fit(0.0)
    if found is not None:
        return 0.0, *found
    low, high = 0.0, radius + _norm(d)
    found = fit(high)
    while found is None and high < 1e3 * (radius + _norm(d)):
        low, high = high, 2.0 * high
        found = fit(high)
    if found is None:  # directions so far apart that no S serves: one bend, as for ducts drawn to one point
        return _set_back(radius, _angle(a, b)), (0.0, 0.0, 0.0), 0.0
    for _ in range(_ROUNDS):
        if high - low <= _SMALL:
            break
        middle = 0.5 * (low + high)
        nearer = fit(middle)
        if nearer is None:
            low = middle
        else:
            high, found = middle, nearer
    # either the bends just touch, or it is only for the way not to lead back, and a straight is left between them
    return high, found[0], found[1] if found[1] > _TOUCH * radius else 0.0


def _s_bend(a: _Vector, b: _Vector, d: _Vector, radius: float) -> tuple[_Vector, float] | None:
    """Return the direction between two bends, one beginning at the origin, one ending at ``d``, and the straight left.

    None where they overlap. Unknown are the tangents of both bends; Newton's method with differences, from none.
    """
    first = last = 0.0
    for _ in range(_ROUNDS):
        middle, long = _between(a, b, d, first, last)
        lack = _lack(a, b, middle, radius, first, last)
        if abs(lack[0]) + abs(lack[1]) < 1e-10 * radius:
            # a way that leads back needs less room between the mouths, but no crew would bend a cable so
            fits = long >= first + last - _SMALL and _dot(middle, a) + _dot(middle, b) >= -1e-9
            return (middle, max(long - first - last, 0.0)) if fits else None
        h = 1e-7 * radius
        by_first = _lack(a, b, _between(a, b, d, first + h, last)[0], radius, first + h, last)
        by_last = _lack(a, b, _between(a, b, d, first, last + h)[0], radius, first, last + h)
        p, q = (by_first[0] - lack[0]) / h, (by_last[0] - lack[0]) / h
        r, s = (by_first[1] - lack[1]) / h, (by_last[1] - lack[1]) / h
        determinant = p * s - q * r
        if determinant == 0.0:
            return None
        first = max(first - (s * lack[0] - q * lack[1]) / determinant, 0.0)
        last = max(last - (p * lack[1] - r * lack[0]) / determinant, 0.0)
        if not first + last < 1e3 * (radius + _norm(d)):
            return None
    return None


def _between(a: _Vector, b: _Vector, d: _Vector, first: float, last: float) -> tuple[_Vector, float]:
    """Return direction and length of the line between the far ends of two tangents."""
    way = (
        d[0] - first * a[0] - last * b[0],
        d[1] - first * a[1] - last * b[1],
        d[2] - first * a[2] - last * b[2],
    )
    return _unit(way), _norm(way)


def _lack(
    a: _Vector, b: _Vector, middle: _Vector, radius: float, first: float, last: float
) -> tuple[float, float]:
    """Return how much longer the tangents of the bends are than they were taken to be."""
    return (
        radius * math.tan(0.5 * min(_angle(a, middle), _WIDEST)) - first,
        radius * math.tan(0.5 * min(_angle(middle, b), _WIDEST)) - last,
    )


def _legs(a: _Vector, b: _Vector, d: _Vector) -> tuple[float, float] | None:
    """Return how far ahead of each mouth the lines of the ducts meet; None where they pass each other."""
    cosine = _dot(a, b)
    sine2 = 1.0 - cosine * cosine
    if sine2 < 1e-12:
        return None
    along_a, along_b = _dot(d, a), _dot(d, b)
    s = (along_a - cosine * along_b) / sine2
    t = (along_b - cosine * along_a) / sine2
    miss = (d[0] - s * a[0] - t * b[0], d[1] - s * a[1] - t * b[1], d[2] - s * a[2] - t * b[2])
    return (s, t) if _norm(miss) <= _SMALL else None


def _set_back(radius: float, bend: float) -> float:
    return radius * math.tan(0.5 * bend) if bend <= _WIDEST else 0.0


def _direction(heading: float, grade: float) -> _Vector:
    flat = math.cos(grade)
    return flat * math.cos(heading), flat * math.sin(heading), math.sin(grade)


def _heading_grade(v: _Vector, heading: float) -> tuple[float, float]:
    """Return heading and grade of a unit vector; a vertical one keeps the heading given."""
    flat = math.hypot(v[0], v[1])
    return (math.atan2(v[1], v[0]) if flat > 1e-9 else heading), math.atan2(v[2], flat)


def _dot(u: _Vector, v: _Vector) -> float:
    return u[0] * v[0] + u[1] * v[1] + u[2] * v[2]


def _norm(v: _Vector) -> float:
    return math.sqrt(_dot(v, v))


def _unit(v: _Vector) -> _Vector:
    size = _norm(v)
    return (v[0] / size, v[1] / size, v[2] / size) if size > 0.0 else v


def _sum(d: _Vector, back: float, a: _Vector, b: _Vector) -> _Vector:
    return d[0] + back * (a[0] + b[0]), d[1] + back * (a[1] + b[1]), d[2] + back * (a[2] + b[2])


def _angle(u: _Vector, v: _Vector) -> float:
    cross = (u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0])
    return math.atan2(_norm(cross), _dot(u, v))
