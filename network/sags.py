"""Tension that peaks inside a piece, where the cable goes down through a sag: which may, and how high it comes.

The tension is level where friction just carries the weight on the slope, so that the contact force would have to be
``weight sin(-grade) / rub``. On a crest it is more unless that is steep; in a sag it may be anything, but is more where
the tension lifts the cable well clear of the floor, and where it hardly lifts it.
"""

from __future__ import annotations

import numpy as np

from mechanics.chain import Chain, IntArray
from mechanics.contact import FrictionLike, PressedFriction
from mechanics.errors import FloatArray
from mechanics.interval import pick_friction
from mechanics.peaks import level_tensions


class Sags:
    """Pieces of stretches in which the tension may be level somewhere.

    Parameters
    ----------
    chain : Chain
        One chain a stretch, n pieces.
    weight : ndarray, shape (n,)
        [N/m]
    rub : ndarray of shape (n,) or PressedFriction
        Weight correction times friction coefficient.
    upper : ndarray, shape (n,)
        Most tension allowed in each piece. [N]
    first : ndarray of int, shape (m,)
        First piece of each stretch.
    """

    def __init__(
        self, chain: Chain, weight: FloatArray, rub: FrictionLike, upper: FloatArray, first: IntArray
    ) -> None:
        lowest = np.minimum(chain.grade_in, chain.grade_out)
        bend = (chain.grade_out - chain.grade_in) / chain.length
        least = np.minimum(rub.light, rub.pressed) if isinstance(rub, PressedFriction) else np.asarray(rub)
        steep = lowest < -np.arctan(least)
        self._at = at = np.flatnonzero((lowest < 0.0) & ((bend > 0.0) | ((bend < 0.0) & steep)))
        self._owner = np.searchsorted(first, at, side="right") - 1
        # Pieces of one stretch stand together: which of them each stretch has.
        self._begin = np.searchsorted(self._owner, np.arange(first.size))
        self._count = np.diff(np.append(self._begin, at.size))
        self._heads = at == first[self._owner]
        self._chain = Chain(chain.length[at], chain.grade_in[at], chain.grade_out[at], chain.turn[at])
        self._weight, self._upper = weight[at], upper[at]
        self._rub = pick_friction(rub, at)
        bend, c, w, sag = bend[at], least[at], weight[at], bend[at] > 0.0
        needed = w * -np.sin(lowest[at])
        flattest = np.maximum(np.abs(chain.grade_in), np.abs(chain.grade_out))[at]
        # Between its ends the tension is at most this much beyond either: gravity alone works on the way.
        swing = needed * chain.length[at]
        with np.errstate(divide="ignore"):
            needed /= c
        bend = np.where(sag, bend, 1.0)
        self._lifted = np.where(sag, (needed + w) / bend + swing, np.inf)
        self._laid = np.where(sag, (w * np.cos(flattest) - needed) / bend - swing, -np.inf)

    def loads(self, row: IntArray, column: IntArray, entering: FloatArray, leaving: FloatArray) -> FloatArray:
        """Return how great a part of its limit the tension is where it is level inside a piece.

        Parameters
        ----------
        row, column : ndarray of int, shape (k,)
            Of each tension carried: its row in ``leaving``, and its stretch.
        entering : ndarray, shape (k,)
            Tension entering the stretch. [N]
        leaving : ndarray, shape (rows, n)
            Tension at the end of each piece. [N]

        Returns
        -------
        ndarray, shape (k,)
            The greatest for each; 0 where it is level nowhere.
        """
        loads = np.zeros(row.size)
        if not self._at.size:
            return loads
        count = self._count[column]
        owner = np.repeat(np.arange(row.size), count)
        place = np.arange(owner.size) - np.repeat(np.cumsum(count) - count - self._begin[column], count)
        at = self._at[place]
        before = np.where(self._heads[place], entering[owner], leaving[row[owner], at - 1])
        after = leaving[row[owner], at]
        with np.errstate(invalid="ignore"):
            clear = (np.minimum(before, after) > self._lifted[place]) | (
                np.maximum(before, after) < self._laid[place]
            )
            may = np.flatnonzero(~clear & (after < np.inf) & (np.minimum(before, after) >= 0.0))
        if may.size:
            place, owner = place[may], owner[may]
            own = self._chain
            pieces = Chain(own.length[place], own.grade_in[place], own.grade_out[place], own.turn[place])
            which, tension = level_tensions(
                pieces, self._weight[place], pick_friction(self._rub, place), before[may], after[may]
            )
            np.maximum.at(loads, owner[which], tension / self._upper[place[which]])
        return loads
