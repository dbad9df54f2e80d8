"""Where the tension peaks or bottoms inside a curve: the greatest of a pull has to stand at the end of a piece."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mechanics.balance import tension_along
from mechanics.chain import Chain, IntArray
from mechanics.contact import FrictionLike, PressedFriction, per_segment
from mechanics.errors import FloatArray
from mechanics.interval import pick_friction, slope
from mechanics.pieces import cut

_PARTS = 16  # each search looks at this many parts of a curve


def steep(chain: Chain, rubbing: FrictionLike) -> NDArray[np.bool_]:
    """Say which segments fall so steeply somewhere that a cable without tension slides down them by itself.

    Parameters
    ----------
    chain : Chain
        n segments.
    rubbing : float, ndarray of shape (n,) or PressedFriction
        Weight correction times friction coefficient.

    Returns
    -------
    ndarray of bool, shape (n,)
        Where there is none, a cable stays taut from any entry tension.

    Examples
    --------
    >>> slopes = Chain(length=[9.0, 9.0], grade_in=[-0.3, -0.4], grade_out=[-0.3, -0.4], turn=[0.0, 0.0])
    >>> steep(slopes, 0.35).tolist()  # -atan 0.35 is -0.337
    [False, True]
    """
    return np.asarray(np.minimum(chain.grade_in, chain.grade_out) < -np.arctan(_least(rubbing)))


def _least(rubbing: FrictionLike) -> FloatArray:
    if isinstance(rubbing, PressedFriction):
        return np.minimum(rubbing.light, rubbing.pressed)
    return np.asarray(rubbing, dtype=np.float64)


def cut_at_peaks(
    chain: Chain, weight: ArrayLike, rubbing: FrictionLike, start: float, added: FloatArray, after: FloatArray
) -> tuple[Chain, IntArray | None, FloatArray]:
    """Cut pieces where the tension peaks or bottoms inside them.

    Parameters
    ----------
    chain : Chain
        One chain of n pieces.
    weight : float or array_like, shape (n,)
        Of the bundle. [N/m]
    rubbing : ndarray of shape (n,) or PressedFriction
        Weight correction times friction coefficient.
    start : float
        Entry tension. [N]
    added : ndarray, shape (n,)
        Added to the tension at the end of each piece. [N]
    after : ndarray, shape (n,)
        Tension at the end of each piece, with what is added. [N]

    Returns
    -------
    chain : Chain
        The pieces, shorter ones where the tension was level.
    again : ndarray of int or None
        Which piece each belonged to; None where nothing was cut.
    after : ndarray
        Tension at the end of each. [N]

    Notes
    -----
    Only a curve with a downhill part can hold a level place. Two rounds of sixteen parts, then a straight line between
    the slopes at the ends of the last part: the tension is so flat there that the place need be no sharper.

    Examples
    --------
    >>> crest = Chain(length=[60.0], grade_in=[0.5], grade_out=[-0.9], turn=[0.0])
    >>> tensions = tension_along(crest, 20.0, 0.35, 100.0)
    >>> cut, _, peak = cut_at_peaks(crest, 20.0, np.array([0.35]), 100.0, np.zeros(1), tensions)
    >>> len(cut), bool(peak[0] > tensions[0])
    (2, True)
    """
    weight = per_segment("weight", weight, len(chain))
    entering = np.concatenate(([start], after[:-1]))
    which = _may_level(chain, weight, rubbing, entering, after - added)
    if not which.size:
        return chain, None, after
    entering = entering[which]
    some = Chain(chain.length[which], chain.grade_in[which], chain.grade_out[which], chain.turn[which])
    owner, fraction = _level_places(some, weight[which], pick_friction(rubbing, which), entering)
    if not owner.size:
        return chain, None, after
    pieces, again = cut(chain, which[owner], fraction)
    last = np.append(again[1:] != again[:-1], True)
    tensions = tension_along(
        pieces, weight[again], pick_friction(rubbing, again), start, np.where(last, added[again], 0.0)
    )
    return pieces, again, tensions


def level_tensions(
    chain: Chain, weight: ArrayLike, rubbing: FrictionLike, entering: FloatArray, leaving: FloatArray
) -> tuple[IntArray, FloatArray]:
    """Return the tensions where they peak or bottom inside segments, each segment taken on its own.

    Parameters
    ----------
    chain : Chain
        One chain or many, n segments in all.
    weight : float or array_like, shape (n,)
        Of the bundle. [N/m]
    rubbing : ndarray of shape (n,) or PressedFriction
        Weight correction times friction coefficient.
    entering, leaving : ndarray, shape (n,)
        Tension at the two ends of each segment. [N]

    Returns
    -------
    segment : ndarray of int, shape (k,)
        In which segment each of these places lies; a segment has none, one or two.
    tension : ndarray, shape (k,)
        There. [N]

    Examples
    --------
    >>> crest = Chain(length=[60.0], grade_in=[0.5], grade_out=[-0.9], turn=[0.0])
    >>> after = tension_along(crest, 20.0, 0.35, 100.0)
    >>> segment, peak = level_tensions(crest, 20.0, np.array([0.35]), np.array([100.0]), after)
    >>> segment.tolist(), bool(peak[0] > after[0])
    ([0], True)
    """
    weight = per_segment("weight", weight, len(chain))
    which = _may_level(chain, weight, rubbing, entering, leaving)
    if not which.size:
        return which, np.zeros(0)
    some = Chain(chain.length[which], chain.grade_in[which], chain.grade_out[which], chain.turn[which])
    owner, fraction = _level_places(some, weight[which], pick_friction(rubbing, which), entering[which])
    segment = which[owner]
    grade = chain.grade_in[segment]
    part = Chain(
        chain.length[segment] * fraction,
        grade,
        grade + (chain.grade_out[segment] - grade) * fraction,
        chain.turn[segment] * fraction,
        np.arange(segment.size + 1),
    )
    return segment, tension_along(part, weight[segment], pick_friction(rubbing, segment), entering[segment])


def _may_level(
    chain: Chain, weight: FloatArray, rubbing: FrictionLike, entering: FloatArray, leaving: FloatArray
) -> IntArray:
    """Return the curves in which the tension may be level somewhere.

    Level means that friction just carries the weight on the slope: contact force = w sin(-g) / c. On a crest it is
    at least w cos g, so that only a steep one can; in a sag it can be anything between the bounds worked out here.
    """
    lowest = np.minimum(chain.grade_in, chain.grade_out)
    which = np.flatnonzero((lowest < 0.0) & (chain.grade_in != chain.grade_out))
    if not which.size:
        return which
    lowest, c = lowest[which], np.broadcast_to(_least(rubbing), (len(chain),))[which]
    weight = weight[which]
    bend = (chain.grade_out[which] - chain.grade_in[which]) / chain.length[which]
    drop = -np.sin(lowest)
    needed = weight * drop
    # between its ends the tension is at most this much beyond either: gravity alone works on the way
    swing = needed * chain.length[which]
    least = np.minimum(entering[which], leaving[which]) - swing
    most = np.maximum(entering[which], leaving[which]) + swing
    flattest = np.maximum(np.abs(chain.grade_in[which]), np.abs(chain.grade_out[which]))
    lifted = c * (least * bend - weight) > needed
    pressed = c * (weight * np.cos(flattest) - most * bend) > needed
    return which[~np.where(bend < 0.0, c * np.cos(lowest) >= drop, lifted | pressed)]


def _level_places(
    chain: Chain, weight: FloatArray, rubbing: FrictionLike, entering: FloatArray
) -> tuple[IntArray, FloatArray]:
    """Return where along separate segments the tension is level: which segment, at which fraction of its length."""
    owner = np.arange(len(chain))
    low, high = np.zeros(owner.size), np.ones(owner.size)
    a = b = np.empty(0)
    for _ in range(2):
        fractions = low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, _PARTS + 1)
        slopes, tensions = _slopes(chain, weight, rubbing, entering, owner, fractions)
        row, column = np.nonzero(np.sign(slopes[:, :-1]) * np.sign(slopes[:, 1:]) < 0.0)
        a, b = slopes[row, column], slopes[row, column + 1]
        low, high = fractions[row, column], fractions[row, column + 1]
        owner, entering = owner[row], tensions[row, column]
    return owner, low + (high - low) * a / (a - b)


def _slopes(
    chain: Chain,
    weight: FloatArray,
    rubbing: FrictionLike,
    entering: FloatArray,
    owner: IntArray,
    fractions: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Return slope and tension at rows of rising fractions of segments, each row entered at its first fraction."""
    m = owner.size
    steps = np.diff(fractions, axis=1)
    sweep = (chain.grade_out - chain.grade_in)[owner]
    grades = np.clip(chain.grade_in[owner, None] + sweep[:, None] * fractions, -np.pi / 2, np.pi / 2)
    parts = Chain(
        (chain.length[owner, None] * steps).ravel(),
        grades[:, :-1].ravel(),
        grades[:, 1:].ravel(),
        (chain.turn[owner, None] * steps).ravel(),
        np.arange(m + 1) * _PARTS,
    )
    rub, weight = pick_friction(rubbing, np.repeat(owner, _PARTS)), np.repeat(weight[owner], _PARTS)
    after = tension_along(parts, weight, rub, entering).reshape(m, _PARTS)
    tensions = np.concatenate((entering[:, None], after), axis=1)
    begin = slope(parts, weight, rub, tensions[:, :-1].ravel(), 0.0).reshape(m, _PARTS)
    end = slope(parts, weight, rub, after.ravel(), 1.0).reshape(m, _PARTS)
    return np.concatenate((begin, end[:, -1:]), axis=1), tensions
