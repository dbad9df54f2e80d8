"""The handbook's closed forms of straights and flat bends, one function a formula, each with its source and the range in which it holds.

The solver in :mod:`mechanics.balance` is checked against them, and a hand calculation can be written with them. Each
takes floats or arrays that broadcast together.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from mechanics.errors import FloatArray, in_range, together

_HALF_PI = float(np.pi / 2)


def straight(
    entry: ArrayLike, weight: ArrayLike, friction: ArrayLike, length: ArrayLike, grade: ArrayLike = 0.0
) -> FloatArray:
    r"""Tension leaving a straight run, level or sloped.

    .. math:: T_2 = T_1 + wL(\sin g + c\cos g)

    Parameters
    ----------
    entry : float or array_like
        Tension entering. [N]
    weight : float or array_like
        At least 0. [N/m]
    friction : float or array_like
        Weight correction times coefficient, at least 0.
    length : float or array_like
        At least 0. [m]
    grade : float or array_like, optional
        Above the horizontal, within [-pi/2, pi/2]; downhill negative. [rad]

    Returns
    -------
    ndarray
        Negative where the cable would have to be held back. [N]

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.

    Notes
    -----
    Exact for a cable lying on the floor of the duct.

    References
    ----------
    [rifenburg1953] and, level in SI, [tes-p-104.05] Eq. 05-2, in docs/sources.md.

    Examples
    --------
    >>> float(straight(100.0, 20.0, 0.35, 50.0))
    450.0
    """
    t = in_range("entry", entry)
    w, c = weight_and_friction(weight, friction)
    long = in_range("length", length, at_least=0.0)
    g = in_range("grade", grade, at_least=-_HALF_PI, at_most=_HALF_PI)
    together(entry=t, weight=w, friction=c, length=long, grade=g)
    return np.asarray(t + w * long * (np.sin(g) + c * np.cos(g)))


def longest_straight(limit: ArrayLike, weight: ArrayLike, friction: ArrayLike) -> FloatArray:
    r"""Longest level straight that a tension limit allows, fed slack.

    .. math:: L = \frac{T}{cw}

    Parameters
    ----------
    limit : float or array_like
        Greatest tension, at least 0. [N]
    weight : float or array_like
        Above 0. [N/m]
    friction : float or array_like
        Weight correction times coefficient, above 0.

    Returns
    -------
    ndarray
        [m]

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.

    References
    ----------
    [ufc-3-535-01] in docs/sources.md, which takes 0.3 for one cable and 0.4 for several.

    Examples
    --------
    >>> round(float(longest_straight(900.0, 20.0, 0.3)), 9)
    150.0
    """
    t = in_range("limit", limit, at_least=0.0)
    w = in_range("weight", weight, above=0.0)
    c = in_range("friction", friction, above=0.0)
    together(limit=t, weight=w, friction=c)
    return np.asarray(t / (c * w))


def weightless_bend(entry: ArrayLike, friction: ArrayLike, angle: ArrayLike) -> FloatArray:
    r"""Tension leaving any bend in which weight is negligible beside the tension.

    .. math:: T_2 = T_1 e^{c\theta}

    Parameters
    ----------
    entry : float or array_like
        Tension entering, at least 0. [N]
    friction : float or array_like
        Weight correction times coefficient, at least 0.
    angle : float or array_like
        Of the bend; its sense makes no difference. [rad]

    Returns
    -------
    ndarray
        [N]

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.

    Notes
    -----
    Good enough where the tension entering is at least 10 w R [ieee1185, from memory].

    References
    ----------
    [rifenburg1953] and [ieee1185] in docs/sources.md.

    Examples
    --------
    >>> round(float(weightless_bend(100.0, 0.5, np.pi / 2)), 6)
    219.328005
    """
    t = in_range("entry", entry, at_least=0.0)
    c = in_range("friction", friction, at_least=0.0)
    turned = np.abs(in_range("angle", angle))
    together(entry=t, friction=c, angle=turned)
    return np.asarray(t * np.exp(c * turned))


def flat_bend(
    entry: ArrayLike, weight: ArrayLike, friction: ArrayLike, radius: ArrayLike, turn: ArrayLike
) -> FloatArray:
    r"""Tension leaving a horizontal bend, cable weight included.

    .. math:: T_2 = T_1\cosh c\theta + \sqrt{T_1^2 + (wR)^2}\,\sinh c\theta

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
    turn : float or array_like
        Change of heading; its sense makes no difference. [rad]

    Returns
    -------
    ndarray
        [N]

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.

    Notes
    -----
    Exact: sliding contact all through, no bending stiffness. Neighbouring bends of one radius add their angles.

    References
    ----------
    [rifenburg1953] in docs/sources.md.

    Examples
    --------
    >>> round(float(flat_bend(100.0, 5.0, 0.5, 3.0, np.pi / 2)), 6)
    220.299824
    """
    t = in_range("entry", entry, at_least=0.0)
    w, c = weight_and_friction(weight, friction)
    r = in_range("radius", radius, above=0.0)
    turned = np.abs(in_range("turn", turn))
    together(entry=t, weight=w, friction=c, radius=r, turn=turned)
    angle = c * turned
    return np.asarray(t * np.cosh(angle) + np.hypot(t, w * r) * np.sinh(angle))


def weight_and_friction(weight: ArrayLike, friction: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Check what nearly every form needs.

    Parameters
    ----------
    weight : float or array_like
        [N/m]
    friction : float or array_like
        Weight correction times coefficient.

    Returns
    -------
    weight, friction : ndarray
        As arrays, each at least 0.

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.
    """
    return in_range("weight", weight, at_least=0.0), in_range("friction", friction, at_least=0.0)
