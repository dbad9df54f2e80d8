"""The handbook's closed forms of vertical bends, with the range in which each holds.

The handbook gives four quarter bends, each on one side of the duct all through. A slack cable in a sag lies on the floor
and lifts to the crown as its tension grows: there the forms refuse, and the solver in :mod:`mechanics.balance` goes on.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from mechanics.errors import DomainError, FloatArray, in_range, together
from mechanics.forms import weight_and_friction

_HALF_PI = float(np.pi / 2)
_EDGE = 1e-9  # of the weight: contact this little past its side is rounding


def sag_up(
    entry: ArrayLike, weight: ArrayLike, friction: ArrayLike, radius: ArrayLike, angle: ArrayLike
) -> FloatArray:
    r"""Tension leaving a bend that curves upward from the level: the foot of a rise.

    .. math:: T_2 = T_1e^{c\theta} + \frac{wR}{1+c^2}\left[(1-c^2)(e^{c\theta} - \cos\theta) - 2c\sin\theta\right]

    Parameters
    ----------
    entry : float or array_like
        Tension entering, at least w R. [N]
    weight : float or array_like
        At least 0. [N/m]
    friction : float or array_like
        Weight correction times coefficient, at least 0.
    radius : float or array_like
        Of the centreline, above 0. [m]
    angle : float or array_like
        Grade at the end, from 0 to pi/2. [rad]

    Returns
    -------
    ndarray
        [N]

    Raises
    ------
    DomainError
        Names the argument and the legal range. The form holds while the cable rides on the crown of the duct, which is
        while the tension is at least w R cos(grade); a slacker cable lies on the floor first
        (:func:`mechanics.balance.tension_along` finds where it lifts).

    References
    ----------
    [rifenburg1953] in docs/sources.md.

    Examples
    --------
    >>> float(sag_up(1000.0, 20.0, 0.35, 3.0, np.pi / 4).round(6))
    1318.505298
    """
    return _bend(
        entry, weight, friction, radius, 0.0, in_range("angle", angle, at_least=0.0, at_most=_HALF_PI), 1.0
    )


def sag_down(
    entry: ArrayLike, weight: ArrayLike, friction: ArrayLike, radius: ArrayLike, angle: ArrayLike
) -> FloatArray:
    r"""Tension leaving a bend that curves upward into the level: the foot of a descent.

    .. math:: T_2 = T_1e^{c\theta} - \frac{wR}{1+c^2}\left[2ce^{c\theta}\sin\theta + (1-c^2)(1 - e^{c\theta}\cos\theta)\right]

    Parameters
    ----------
    entry : float or array_like
        Tension entering, at least w R cos(angle). [N]
    weight : float or array_like
        At least 0. [N/m]
    friction : float or array_like
        Weight correction times coefficient, at least 0.
    radius : float or array_like
        Of the centreline, above 0. [m]
    angle : float or array_like
        Steepness of the descent at the start, from 0 to pi/2. [rad]

    Returns
    -------
    ndarray
        [N]

    Raises
    ------
    DomainError
        Names the argument and the legal range; the form holds while the cable rides on the crown.

    References
    ----------
    [rifenburg1953] in docs/sources.md.

    Examples
    --------
    >>> float(sag_down(1000.0, 20.0, 0.35, 3.0, np.pi / 4).round(6))
    1278.31222
    """
    return _bend(
        entry, weight, friction, radius, -in_range("angle", angle, at_least=0.0, at_most=_HALF_PI), 0.0, 1.0
    )


def crest_up(
    entry: ArrayLike, weight: ArrayLike, friction: ArrayLike, radius: ArrayLike, angle: ArrayLike
) -> FloatArray:
    r"""Tension leaving a bend that curves downward into the level: the head of a rise.

    .. math:: T_2 = T_1e^{c\theta} + \frac{wR}{1+c^2}\left[2ce^{c\theta}\sin\theta + (1-c^2)(1 - e^{c\theta}\cos\theta)\right]

    Parameters
    ----------
    entry : float or array_like
        Tension entering, at least 0. [N]
    weight : float or array_like
        At least 0. [N/m]
    friction : float or array_like
        Weight correction times coefficient, at least 0.
    radius : float or array_like
        Of the centreline, above 0. [m]
    angle : float or array_like
        Steepness of the rise at the start, from 0 to pi/2. [rad]

    Returns
    -------
    ndarray
        [N]

    Raises
    ------
    DomainError
        Names the argument and the legal range; a taut cable keeps to the floor, so that the form always holds.

    References
    ----------
    [rifenburg1953] in docs/sources.md.

    Examples
    --------
    >>> float(crest_up(50.0, 20.0, 0.35, 3.0, np.pi / 4).round(6))
    103.892049
    """
    return _bend(
        entry, weight, friction, radius, in_range("angle", angle, at_least=0.0, at_most=_HALF_PI), 0.0, -1.0
    )


def crest_down(
    entry: ArrayLike, weight: ArrayLike, friction: ArrayLike, radius: ArrayLike, angle: ArrayLike
) -> FloatArray:
    r"""Tension leaving a bend that curves downward from the level: the head of a descent.

    .. math:: T_2 = T_1e^{c\theta} + \frac{wR}{1+c^2}\left[2c\sin\theta - (1-c^2)(e^{c\theta} - \cos\theta)\right]

    Parameters
    ----------
    entry : float or array_like
        Tension entering, at least 0 and enough to leave the cable taut at the end. [N]
    weight : float or array_like
        At least 0. [N/m]
    friction : float or array_like
        Weight correction times coefficient, at least 0.
    radius : float or array_like
        Of the centreline, above 0. [m]
    angle : float or array_like
        Steepness of the descent at the end, from 0 to pi/2. [rad]

    Returns
    -------
    ndarray
        [N]

    Raises
    ------
    DomainError
        Names the argument and the legal range; the form holds while the cable keeps to the floor.

    References
    ----------
    [rifenburg1953] in docs/sources.md.

    Examples
    --------
    >>> float(crest_down(50.0, 20.0, 0.35, 3.0, np.pi / 4).round(6))
    63.698971
    """
    return _bend(
        entry, weight, friction, radius, 0.0, -in_range("angle", angle, at_least=0.0, at_most=_HALF_PI), -1.0
    )


def sag(
    entry: ArrayLike,
    weight: ArrayLike,
    friction: ArrayLike,
    radius: ArrayLike,
    grade_in: ArrayLike,
    grade_out: ArrayLike,
    crown: bool = True,
) -> FloatArray:
    r"""Tension leaving a sag between any two grades, on one side of the duct all through.

    .. math:: T = Ae^{c\sigma g} - wR\,\frac{(1-c^2)\cos g + 2c\sigma\sin g}{1+c^2},\quad \sigma = \pm1,\ A \text{ from entry}

    Parameters
    ----------
    entry : float or array_like
        Tension entering. [N]
    weight : float or array_like
        At least 0. [N/m]
    friction : float or array_like
        Weight correction times coefficient, at least 0.
    radius : float or array_like
        Of the centreline, above 0. [m]
    grade_in, grade_out : float or array_like
        Within [-pi/2, pi/2], rising. [rad]
    crown : bool, optional
        Whether the cable rides on the crown of the duct or lies on its floor.

    Returns
    -------
    ndarray
        [N]

    Raises
    ------
    DomainError
        Names the argument and the legal range; the cable would leave its side of the duct.

    References
    ----------
    [rifenburg1953] in docs/sources.md, for any two grades.

    Examples
    --------
    >>> float(sag(600.0, 0.0, 0.35, 60.0, -0.2, 0.3).round(4))  # without weight: 600 exp(0.175)
    714.7477
    """
    g0, g1 = _grades(grade_in, grade_out)
    if not np.all(g1 >= g0):
        raise DomainError("grade_out must be at least grade_in in a sag")
    return _bend(entry, weight, friction, radius, g0, g1, 1.0 if crown else -1.0)


def crest(
    entry: ArrayLike,
    weight: ArrayLike,
    friction: ArrayLike,
    radius: ArrayLike,
    grade_in: ArrayLike,
    grade_out: ArrayLike,
) -> FloatArray:
    r"""Tension leaving a crest between any two grades, the cable lying on the floor of the duct.

    .. math:: T = Ae^{-cg} + wR\,\frac{(1-c^2)\cos g - 2c\sin g}{1+c^2},\quad A \text{ from entry}

    Parameters
    ----------
    entry : float or array_like
        Tension entering. [N]
    weight : float or array_like
        At least 0. [N/m]
    friction : float or array_like
        Weight correction times coefficient, at least 0.
    radius : float or array_like
        Of the centreline, above 0. [m]
    grade_in, grade_out : float or array_like
        Within [-pi/2, pi/2], falling. [rad]

    Returns
    -------
    ndarray
        [N]

    Raises
    ------
    DomainError
        Names the argument and the legal range; the cable would leave the floor, which a taut one never does.

    References
    ----------
    [rifenburg1953] in docs/sources.md, for any two grades.

    Examples
    --------
    >>> float(crest(1000.0, 20.0, 0.35, 60.0, 0.0, -np.radians(15)).round(6))
    1167.658837
    """
    g0, g1 = _grades(grade_in, grade_out)
    if not np.all(g1 <= g0):
        raise DomainError("grade_out must be at most grade_in in a crest")
    return _bend(entry, weight, friction, radius, g0, g1, -1.0)


def _bend(
    entry: ArrayLike,
    weight: ArrayLike,
    friction: ArrayLike,
    radius: ArrayLike,
    grade_in: float | FloatArray,
    grade_out: float | FloatArray,
    side: float,
) -> FloatArray:
    """All vertical bends in one form: ``side`` is 1 on the crown and -1 on the floor, R counts negative in a crest."""
    t = in_range("entry", entry)
    w, c = weight_and_friction(weight, friction)
    r = in_range("radius", radius, above=0.0)
    together(
        entry=t,
        weight=w,
        friction=c,
        radius=r,
        grade_in=np.asarray(grade_in),
        grade_out=np.asarray(grade_out),
    )
    # angles from the level come with the sign of the grade: a sag gains grade, a crest loses it
    r = np.where(np.asarray(grade_out) < np.asarray(grade_in), -r, r)

    def swell(g: float | FloatArray) -> FloatArray:
        return np.asarray(w * r * ((1.0 - c * c) * np.cos(g) + 2.0 * c * side * np.sin(g)) / (1.0 + c * c))

    def after(g: float | FloatArray) -> FloatArray:
        return np.asarray((t + swell(grade_in)) * np.exp(c * side * (np.asarray(g) - grade_in)) - swell(g))

    # on the crown the cable is nearest to dropping where the duct is level; else the ends tell
    lowest = np.clip(0.0, np.minimum(grade_in, grade_out), np.maximum(grade_in, grade_out))
    for place, grade in (
        ("entering", grade_in),
        ("leaving", grade_out),
        ("where the grade is least steep", lowest),
    ):
        tension = after(grade)
        good = np.atleast_1d(side * (tension / r - w * np.cos(grade)) >= -_EDGE * (w + np.abs(tension / r)))
        if not good.all():
            raise DomainError(
                f"entry[{int(np.argmin(good.ravel()))}] must keep the cable on the {'crown' if side > 0.0 else 'floor'} "
                f"of the duct, where this form holds; {place} it is not"
            )
    return after(grade_out)


def _grades(grade_in: ArrayLike, grade_out: ArrayLike) -> tuple[FloatArray, FloatArray]:
    g0 = in_range("grade_in", grade_in, at_least=-_HALF_PI, at_most=_HALF_PI)
    g1 = in_range("grade_out", grade_out, at_least=-_HALF_PI, at_most=_HALF_PI)
    together(grade_in=g0, grade_out=g1)
    return g0, g1
