r"""Where in a segment the tension can be level: its slope there is zero at a given tension.

.. math:: w\sin g + c\sqrt{(T g' - w\cos g)^2 + (T h'\cos g)^2} = 0

At T = 0 that is tan g = -c, whatever the curvature.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mechanics.chain import Chain, IntArray
from mechanics.contact import FrictionLike, PressedFriction, per_segment, pick_friction
from mechanics.errors import FloatArray, in_range, instance
from mechanics.pieces import cut

_ROUNDS = 32  # halvings of the stretch in which a slope vanishes


def slope(
    chain: Chain, weight: ArrayLike, friction: FrictionLike, tension: ArrayLike, fraction: ArrayLike
) -> FloatArray:
    """Return how fast the tension rises at a place in each segment.

    Parameters
    ----------
    chain : Chain
        n segments.
    weight : float or array_like, shape (n,)
        [N/m]
    friction : float, array_like of shape (n,), or PressedFriction
        Weight correction times friction coefficient.
    tension : float or array_like, shape (n,)
        At that place. [N]
    fraction : float or array_like, shape (n,)
        Where, from 0 at the start of the segment to 1 at its end.

    Returns
    -------
    ndarray, shape (n,)
        dT/ds. [N/m]

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.

    Examples
    --------
    >>> chain = Chain(length=[10.0], grade_in=[0.0], grade_out=[0.0], turn=[0.0])
    >>> slope(chain, weight=20.0, friction=0.35, tension=0.0, fraction=0.5).tolist()
    [7.0]
    """
    n = len(chain)
    return _slope(
        chain,
        per_segment("weight", in_range("weight", weight, at_least=0.0), n),
        friction,
        per_segment("tension", in_range("tension", tension), n),
        per_segment("fraction", in_range("fraction", fraction, at_least=0.0, at_most=1.0), n),
    )


def contact_force(chain: Chain, weight: ArrayLike, tension: ArrayLike, fraction: ArrayLike) -> FloatArray:
    """Return the whole contact force of the bundle on the duct at a place in each segment, weight included.

    Parameters
    ----------
    chain : Chain
        n segments.
    weight : float or array_like, shape (n,)
        [N/m]
    tension : float or array_like, shape (n,)
        At that place. [N]
    fraction : float or array_like, shape (n,)
        Where, from 0 at the start of the segment to 1 at its end.

    Returns
    -------
    ndarray, shape (n,)
        [N/m]

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.

    Examples
    --------
    >>> bend = Chain(length=[4.0], grade_in=[0.0], grade_out=[0.0], turn=[1.0])
    >>> contact_force(bend, weight=3.0, tension=16.0, fraction=1.0).tolist()
    [5.0]
    """
    n = len(instance("chain", chain, Chain))
    return _contact(
        chain,
        per_segment("weight", in_range("weight", weight, at_least=0.0), n),
        per_segment("tension", in_range("tension", tension), n),
        per_segment("fraction", in_range("fraction", fraction, at_least=0.0, at_most=1.0), n),
    )


def _contact(chain: Chain, weight: FloatArray, tension: FloatArray, fraction: FloatArray) -> FloatArray:
    sweep = chain.grade_out - chain.grade_in
    cosine = np.cos(chain.grade_in + sweep * fraction)
    upright = tension * sweep / chain.length - weight * cosine
    return np.hypot(upright, tension * chain.turn / chain.length * cosine)


def _slope(
    chain: Chain, weight: FloatArray, friction: FrictionLike, tension: FloatArray, fraction: FloatArray
) -> FloatArray:
    grade = chain.grade_in + (chain.grade_out - chain.grade_in) * fraction
    contact = _contact(chain, weight, tension, fraction)
    rub = (
        friction.at(contact)
        if isinstance(friction, PressedFriction)
        else np.asarray(friction, dtype=np.float64)
    )
    return np.asarray(weight * np.sin(grade) + rub * contact)


def cut_at_level(
    chain: Chain, weight: ArrayLike, friction: FrictionLike, level: ArrayLike
) -> tuple[Chain, IntArray]:
    """Cut segments so that a tension that just touches a level does so only at the end of a piece.

    Parameters
    ----------
    chain : Chain
        One chain or many, n segments in all.
    weight : float or array_like, shape (n,)
        [N/m]
    friction : float, array_like of shape (n,), or PressedFriction
        Weight correction times friction coefficient.
    level : float or array_like, shape (n,)
        At least 0; 0 finds where tension can bottom out at zero. [N]

    Returns
    -------
    Chain
        The pieces.
    ndarray of int
        The segment of ``chain`` each piece belongs to.

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.

    Examples
    --------
    >>> sag = Chain(length=[60.0], grade_in=[-0.6], grade_out=[0.3], turn=[0.0])
    >>> cut_at_level(sag, weight=20.0, friction=0.35, level=0.0)[0].grade_out.round(4).tolist()  # -atan 0.35
    [-0.3367, 0.3]
    """
    n = len(chain)
    w = per_segment("weight", in_range("weight", weight, at_least=0.0), n)
    t = per_segment("level", in_range("level", level, at_least=0.0), n)
    # only downhill can the slope vanish, and only where the grade changes does it do so at one place
    which = np.flatnonzero(
        (np.minimum(chain.grade_in, chain.grade_out) < 0.0) & (chain.grade_in != chain.grade_out)
    )
    curve, rub = _some(chain, which), pick_friction(friction, which)
    w, t = w[which], t[which]
    sweep = curve.grade_out - curve.grade_in

    def at_grade(grade: float | FloatArray) -> FloatArray:
        with np.errstate(over="ignore"):  # a sweep of next to nothing
            return np.clip((grade - curve.grade_in) / sweep, 0.0, 1.0)

    # The slope at a given tension changes sign at most once along the downhill part of a sag or a crest, unless a
    # hard-pressed cable in a sag steeper than atan(1/c) peaks: that grade divides two parts, each searched.
    light = np.asarray(rub.light if isinstance(rub, PressedFriction) else rub, dtype=np.float64)
    level_off, steep = at_grade(0.0), at_grade(-np.arctan(1.0 / np.maximum(light, 1e-9)))
    first = np.where(sweep > 0.0, 0.0, level_off)
    last = np.where(sweep > 0.0, level_off, 1.0)
    segments, fractions = [], []
    for begin, end in ((first, np.clip(steep, first, last)), (np.clip(steep, first, last), last)):
        found, places = _sign_changes(lambda x: _slope(curve, w, rub, t, x), begin, end)
        segments.append(which[found])
        fractions.append(places[found])
    return cut(chain, np.concatenate(segments), np.concatenate(fractions))


def _sign_changes(
    function: Callable[[FloatArray], FloatArray], low: FloatArray, high: FloatArray
) -> tuple[NDArray[np.bool_], FloatArray]:
    """Return where ``function`` changes sign between ``low`` and ``high``, and at which argument.

    By halving; the argument need not be sharp, because the tension is level where its slope changes sign.
    """
    low, high = low.copy(), high.copy()
    positive = function(low) > 0.0
    changes = (low < high) & (positive != (function(high) > 0.0))
    if changes.any():
        for _ in range(_ROUNDS):
            middle = 0.5 * (low + high)
            same = (function(middle) > 0.0) == positive
            low, high = np.where(same, middle, low), np.where(same, high, middle)
    return changes, 0.5 * (low + high)


def _some(chain: Chain, which: IntArray) -> Chain:
    return Chain(chain.length[which], chain.grade_in[which], chain.grade_out[which], chain.turn[which])
