"""A stretch of duct through which intervals of tension are passed, either way.

The tension leaving a segment rises with the tension entering it, so that the entry tensions that serve (taut
everywhere, nowhere above a limit) are an interval, and so are the tensions they give farther on. Both ends are carried
from segment to segment and clipped at zero and at the limits. Where a tension just touches a level inside a segment it
is level there; segments are cut at those places first, after which the ends of the pieces tell all. Backward, a segment
is the reversed one under negative friction.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike

from mechanics.balance import Laws, Layout, march
from mechanics.chain import Chain, IntArray
from mechanics.contact import FrictionLike, checked_friction, per_segment, pick_friction
from mechanics.errors import DomainError, FloatArray, as_numbers, in_range, instance, together
from mechanics.level import cut_at_level

_UNLIMITED = 1e100  # stands for an infinite tension, of which differences cannot be taken [N]


def reversing(chain: Chain) -> IntArray:
    """Return which segment each segment of the reversed chain is.

    Parameters
    ----------
    chain : Chain
        One chain or many, n segments in all.

    Returns
    -------
    ndarray of int, shape (n,)
        ``chain.reversed()`` has the segments of ``chain`` in this order.
    """
    return np.repeat(chain.offsets[:-1] + chain.offsets[1:] - 1, np.diff(chain.offsets)) - np.arange(
        len(chain)
    )


def backward_laws(chain: Chain, weight: FloatArray, friction: FrictionLike) -> tuple[Layout, Laws]:
    """Return what gives entering tensions from leaving ones.

    Parameters
    ----------
    chain : Chain
        One chain or many, n segments in all.
    weight : ndarray, shape (n,)
        [N/m]
    friction : float, array_like of shape (n,), or PressedFriction
        Weight correction times friction coefficient.

    Returns
    -------
    Layout
        Of the reversed chain.
    Laws
        With negative friction.

    Raises
    ------
    DomainError
        Names the argument, the first bad index and the legal range.
    """
    order, layout = reversing(chain), Layout(chain.reversed())
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
        n = len(instance("chain", chain, Chain))
        w = per_segment("weight", in_range("weight", weight, at_least=0.0), n)
        limit = per_segment("upper", upper, n)
        if not np.all(limit > 0.0):
            bad = int(np.argmin(limit > 0.0))
            raise DomainError(f"upper[{bad}] must be above 0, got {float(limit[bad])!r}")
        jump = per_segment("added", in_range("added", 0.0 if added is None else added), n)
        friction = checked_friction(friction, n)
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
        self._backward, self._back_laws = backward_laws(pieces, w[source], pick_friction(friction, source))

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

    def least(self) -> FloatArray:
        """Return the least entering tensions, at least 0, that keep the cable taut, whatever limits it passes.

        Returns
        -------
        ndarray, shape (m,)
            [N]
        """
        none = np.zeros((1, self.count))
        return np.asarray(self._end(none, np.zeros(self._upper.size), np.maximum, True)[0])

    def _both(self, low: ArrayLike, high: ArrayLike, backward: bool) -> tuple[FloatArray, FloatArray]:
        a, b = as_numbers("low", low), as_numbers("high", high)
        together(low=a, high=b)
        a, b = np.broadcast_arrays(a, b)
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
            order = reversing(chain)
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
