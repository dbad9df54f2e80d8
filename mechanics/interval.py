r"""Which entry tensions serve: taut everywhere, and nowhere above a limit.

The tension leaving a segment rises with the tension entering it, so that the entry tensions that serve are an
interval, and so are the tensions they give farther on. Both ends are carried from segment to segment and clipped at
zero and at the limits. Where a tension curve just touches a level T inside a segment, its slope there is zero:

.. math:: w\sin g + c\sqrt{(T g' - w\cos g)^2 + (T h'\cos g)^2} = 0

At T = 0 that is tan g = -c, whatever the curvature. Segments are cut at those grades first; after that the ends of
the pieces tell all. Backward, a segment is the reversed one under negative friction.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mechanics.balance import Laws, Layout, march
from mechanics.chain import Chain, IntArray
from mechanics.contact import FrictionLike, PressedFriction, per_segment
from mechanics.errors import DomainError, FloatArray, in_range
from mechanics.pieces import cut

_ROUNDS = 32  # halvings of the stretch in which a slope vanishes
_UNLIMITED = 1e100  # stands for an infinite tension, of which differences cannot be taken [N]


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
    n = len(chain)
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


def pick_friction(friction: FrictionLike, source: IntArray) -> FrictionLike:
    """Return the friction of the pieces of cut segments: each piece has that of its segment."""

    def pick(value: ArrayLike) -> FloatArray:
        array = np.asarray(value, dtype=np.float64)
        return array[source] if array.ndim else array

    if isinstance(friction, PressedFriction):
        return PressedFriction(pick(friction.light), pick(friction.pressed), pick(friction.force))
    return pick(friction)


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


def _reversing(chain: Chain) -> IntArray:
    """Return which segment of ``chain`` each segment of the reversed chain is."""
    owner = np.repeat(np.arange(chain.count), np.diff(chain.offsets))
    return chain.offsets[owner] + chain.offsets[owner + 1] - 1 - np.arange(len(chain))


def _backward(chain: Chain, weight: FloatArray, friction: FrictionLike) -> tuple[Layout, Laws]:
    """Return the layout and the laws that give entering tensions from leaving ones."""
    order, layout = _reversing(chain), Layout(chain.reversed())
    return layout, Laws.of(layout, weight[order], pick_friction(friction, order)).backward()


class Passage:
    """A stretch, or many side by side, ready to pass intervals of tension through it, either way.

    Parameters
    ----------
    chain : Chain
        m chains, n segments in all.
    weight : float or array_like, shape (n,)
        [N/m]
    friction : float, array_like of shape (n,), or PressedFriction
        Weight correction times friction coefficient.
    upper : float or array_like, shape (n,), optional
        Greatest tension allowed anywhere in each segment, both its ends included; above 0, may be infinite. [N]
    added : float or array_like, shape (n,), optional
        Added to the tension at the end of each segment; the limits hold on both sides of it. [N]

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.

    Examples
    --------
    A flat 90° bend, then 300 m down at 30°: the cable must be held at 680.8 N, and may be held at up to 8,000 N
    less what the bend adds.

    >>> chain = Chain(length=[4.712389, 300.0], grade_in=[0, -0.5235988], grade_out=[0, -0.5235988], turn=[1.5707963, 0])
    >>> stretch = Passage(chain, weight=20.0, friction=0.35, upper=8000.0)
    >>> [round(float(end), 1) for end in stretch.entering()]
    [680.8, 4616.5]
    >>> [round(float(end), 1) for end in stretch.leaving(0.0, 5000.0)]
    [0.0, 6818.7]
    """

    __slots__ = ("_added", "_back_laws", "_backward", "_forward", "_laws", "_upper", "count")

    def __init__(
        self,
        chain: Chain,
        weight: ArrayLike,
        friction: FrictionLike,
        upper: ArrayLike = np.inf,
        added: ArrayLike | None = None,
    ) -> None:
        n = len(chain)
        w = per_segment("weight", in_range("weight", weight, at_least=0.0), n)
        limit = per_segment("upper", upper, n)
        if not np.all(limit > 0.0):
            bad = int(np.argmin(limit > 0.0))
            raise DomainError(f"upper[{bad}] must be above 0, got {float(limit[bad])!r}")
        jump = per_segment("added", in_range("added", 0.0 if added is None else added), n)
        pieces, source = cut_at_level(chain, w, friction, 0.0)
        if np.isfinite(limit).any():
            bounded = np.where(np.isfinite(limit), limit, 0.0)
            pieces, again = cut_at_level(pieces, w[source], pick_friction(friction, source), bounded[source])
            source = source[again]
        last = np.ones(source.size, dtype=bool)
        last[:-1] = source[1:] != source[:-1]
        self.count = chain.count
        self._upper = limit[source]
        self._added = np.where(last, jump[source], 0.0)
        self._forward = Layout(pieces)
        self._laws = Laws.of(self._forward, w[source], pick_friction(friction, source))
        self._backward, self._back_laws = _backward(pieces, w[source], pick_friction(friction, source))

    def leaving(self, low: ArrayLike = 0.0, high: ArrayLike = np.inf) -> tuple[FloatArray, FloatArray]:
        """Return the interval of leaving tensions that an interval of entering tensions gives.

        Parameters
        ----------
        low, high : float or array_like, shape (m,) or, for a single chain, any
            Entering tensions; NaN or low above high: empty. [N]

        Returns
        -------
        low, high : ndarray, shape (m,) or as given
            NaN where no entering tension keeps the cable taut and within ``upper``; ``high`` may be infinite
            where nothing limits it. [N]

        Raises
        ------
        DomainError
            Shapes that do not fit.
        """
        return self._both(low, high, backward=False)

    def entering(self, low: ArrayLike = 0.0, high: ArrayLike = np.inf) -> tuple[FloatArray, FloatArray]:
        """Return the interval of entering tensions that leave within an interval: the inverse of :meth:`leaving`.

        Parameters
        ----------
        low, high : float or array_like, shape (m,) or, for a single chain, any
            Leaving tensions; NaN or low above high: empty. [N]

        Returns
        -------
        low, high : ndarray, shape (m,) or as given
            Least and greatest entry tension that keep the cable taut and within ``upper``; NaN where there is
            none. [N]

        Raises
        ------
        DomainError
            Shapes that do not fit.
        """
        return self._both(low, high, backward=True)

    def _both(self, low: ArrayLike, high: ArrayLike, backward: bool) -> tuple[FloatArray, FloatArray]:
        a, b = np.broadcast_arrays(np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64))
        shape = a.shape
        if self.count == 1:
            a, b = a.reshape(-1, 1), b.reshape(-1, 1)
        elif shape in ((), (self.count,)):
            shape = (self.count,)
            a, b = np.broadcast_to(a, (1, self.count)), np.broadcast_to(b, (1, self.count))
        else:
            raise DomainError(f"low and high must be numbers or have shape ({self.count},), got {shape}")
        a = self._end(np.maximum(a, 0.0), np.zeros(self._upper.size), np.maximum, backward)
        b = self._end(np.minimum(b, _UNLIMITED), np.minimum(self._upper, _UNLIMITED), np.minimum, backward)
        b = np.where(b > 1e-6 * _UNLIMITED, np.inf, b)
        # order is kept along the way, so that ends which passed each other anywhere are still so at the end
        none = ~(a <= b)
        return np.where(none, np.nan, a).reshape(shape), np.where(none, np.nan, b).reshape(shape)

    def _end(
        self, tension: FloatArray, bound: FloatArray, clip: Callable[..., FloatArray], backward: bool
    ) -> FloatArray:
        """Carry one end of intervals, shape (k, m), through all pieces, clipped at both ends of each to its bound."""
        chain, jump = self._forward.chain, self._added
        used = np.diff(chain.offsets) > 0
        if not used.any():
            return tension
        first, last = chain.offsets[:-1][used], chain.offsets[1:][used] - 1
        next_bound = bound.copy()  # what the piece after each one asks at their common point
        next_bound[:-1] = bound[1:]
        next_bound[last] = bound[last]
        if not backward:
            layout, laws, order = self._forward, self._laws, np.arange(bound.size)
            at_end, add = clip(bound, next_bound - jump), jump
            tension[:, used] = clip(tension[:, used], bound[first])
        else:
            layout, laws = self._backward, self._back_laws
            order = _reversing(chain)
            # a piece's start is the end of the one before it
            at_end, add = bound.copy(), np.zeros(bound.size)
            inner = np.setdiff1d(np.arange(bound.size), first)
            at_end[inner] = clip(bound[inner], bound[inner - 1] + jump[inner - 1])
            add[inner] = -jump[inner - 1]
            tension[:, used] = clip(clip(tension[:, used], bound[last]) - jump[last], bound[last])
        at_end, add = at_end[order][layout.index], add[order][layout.index]
        raised = at_end if clip is np.maximum else None
        cut_off = at_end if clip is np.minimum else None
        stepped = march(layout, laws, tension[:, layout.entries], add, raised, cut_off)
        in_order = np.empty_like(stepped)
        in_order[:, layout.index] = stepped
        tension[:, used] = in_order[:, last]
        return tension


def holding_tension(
    chain: Chain, weight: ArrayLike, friction: FrictionLike, added: ArrayLike | None = None
) -> float:
    """Return the least entry tension, at least 0, that keeps the cable taut everywhere, inside segments too.

    Where gravity would run the cable ahead of the rope the reel is braked, and the brake acts at the feed.

    Parameters
    ----------
    chain : Chain
        One chain of n segments.
    weight : float or array_like, shape (n,)
        Of the bundle. [N/m]
    friction : float, array_like of shape (n,), or PressedFriction
        Weight correction times friction coefficient.
    added : float or array_like, shape (n,), optional
        Added to the tension at the end of each segment. [N]

    Returns
    -------
    float
        [N]

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.

    Examples
    --------
    >>> chain = Chain(length=[4.712389, 300.0], grade_in=[0, -0.5235988], grade_out=[0, -0.5235988], turn=[1.5707963, 0])
    >>> round(holding_tension(chain, weight=20.0, friction=0.35), 1)
    680.8
    """
    return float(Passage(_single(chain), weight, friction, added=added).entering()[0])


def greatest_entry(
    chain: Chain,
    weight: ArrayLike,
    friction: FrictionLike,
    upper: ArrayLike,
    added: ArrayLike | None = None,
) -> float:
    """Return the greatest entry tension that passes no limit anywhere, or NaN where none serves.

    Parameters
    ----------
    chain : Chain
        One chain of n segments.
    weight : float or array_like, shape (n,)
        Of the bundle. [N/m]
    friction : float, array_like of shape (n,), or PressedFriction
        Weight correction times friction coefficient.
    upper : float or array_like, shape (n,)
        Greatest tension allowed anywhere in each segment; above 0. [N]
    added : float or array_like, shape (n,), optional
        Added to the tension at the end of each segment. [N]

    Returns
    -------
    float
        NaN where no entry tension keeps the cable both taut and within the limits. [N]

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.

    Examples
    --------
    >>> chain = Chain(length=[100.0], grade_in=[0.0], grade_out=[0.0], turn=[0.0])
    >>> greatest_entry(chain, weight=20.0, friction=0.35, upper=1000.0)
    300.0
    """
    return float(Passage(_single(chain), weight, friction, upper, added).entering()[1])


def carry_interval(
    chain: Chain,
    weight: ArrayLike,
    friction: FrictionLike,
    low: ArrayLike,
    high: ArrayLike,
    upper: ArrayLike = np.inf,
    added: ArrayLike | None = None,
) -> tuple[FloatArray, FloatArray]:
    """Return the leaving tensions that an interval of entering tensions gives: :meth:`Passage.leaving` in one call.

    Parameters
    ----------
    chain : Chain
        m chains, n segments in all.
    weight : float or array_like, shape (n,)
        Of the bundle. [N/m]
    friction : float, array_like of shape (n,), or PressedFriction
        Weight correction times friction coefficient.
    low, high : float or array_like, shape (m,) or, for a single chain, any
        Entering tensions; NaN or low above high: empty. [N]
    upper : float or array_like, shape (n,), optional
        Greatest tension allowed anywhere in each segment; above 0. [N]
    added : float or array_like, shape (n,), optional
        Added to the tension at the end of each segment. [N]

    Returns
    -------
    low, high : ndarray, shape (m,) or as given
        NaN in both where no entering tension keeps the cable taut and within ``upper``. [N]

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.

    Examples
    --------
    >>> down = Chain(length=[100.0], grade_in=[-1.0], grade_out=[-1.0], turn=[0.0])
    >>> low, high = carry_interval(down, weight=20.0, friction=0.35, low=0.0, high=2000.0, upper=9000.0)
    >>> float(low), round(float(high), 1)
    (0.0, 695.3)
    """
    return Passage(chain, weight, friction, upper, added).leaving(low, high)


def entry_for(
    chain: Chain,
    weight: ArrayLike,
    friction: FrictionLike,
    exit_tension: ArrayLike,
    added: ArrayLike | None = None,
) -> FloatArray:
    """Return the entry tension that leaves a chain as a given exit tension: the plain balance the other way.

    Parameters
    ----------
    chain : Chain
        m chains, n segments in all.
    weight : float or array_like, shape (n,)
        Of the bundle. [N/m]
    friction : float, array_like of shape (n,), or PressedFriction
        Weight correction times friction coefficient.
    exit_tension : float or array_like, shape (m,)
        Tension leaving each chain, ``added`` included. [N]
    added : float or array_like, shape (n,), optional
        Added to the tension at the end of each segment. [N]

    Returns
    -------
    ndarray, shape (m,)
        May be negative. [N]

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.

    Examples
    --------
    >>> chain = Chain(length=[4.712389], grade_in=[0], grade_out=[0], turn=[1.5707963267948966])
    >>> entry_for(chain, weight=5.0, friction=0.5, exit_tension=220.299824).round(3).tolist()
    [100.0]
    """
    n, m = len(chain), chain.count
    tension = in_range("exit_tension", exit_tension)
    if tension.shape not in ((), (m,)):
        raise DomainError(f"exit_tension must be a number or have shape ({m},), got shape {tension.shape}")
    w = per_segment("weight", in_range("weight", weight, at_least=0.0), n)
    jump = per_segment("added", in_range("added", 0.0 if added is None else added), n)
    ends = np.broadcast_to(tension, (m,)).copy()
    used = np.diff(chain.offsets) > 0
    if not used.any():
        return ends
    order = _reversing(chain)
    layout, laws = _backward(chain, w, friction)
    before = np.zeros(
        n
    )  # going back, what the segment before this one added is taken off at this one's start
    first = chain.offsets[:-1][used]
    before[1:] = -jump[:-1]
    before[first] = 0.0
    ends[used] -= jump[chain.offsets[1:][used] - 1]
    stepped = march(layout, laws, ends[layout.entries], before[order][layout.index])
    in_order = np.empty(n)
    in_order[layout.index] = stepped
    ends[used] = in_order[chain.offsets[1:][used] - 1]
    return ends


def _single(chain: Chain) -> Chain:
    if chain.count != 1:
        raise DomainError(f"chain must be a single chain, got {chain.count}; use Passage for many")
    return chain
