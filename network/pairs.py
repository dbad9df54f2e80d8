"""Sections fed between their ends: pairs of pulls from one vault, one against the row's direction and one in it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from mechanics.chain import IntArray
from network.ahead import NOTHING

# Pairs looked at together: enough to keep numpy busy, few enough for memory.
_AT_ONCE = 1 << 20


class Pairs:
    """Pairs of the pulls through some stretches of a row; pulls go by number as in :class:`network.cheapest.Market`.

    Parameters
    ----------
    start, end : ndarray of int, shape (n,)
        First and last vault of each stretch.
    last : int
        The row's last vault.
    middle : ndarray of bool, shape (last + 1,)
        Vaults where a section may be fed between its ends.
    price : int
        Of a middle feed, beside its two set-ups.
    """

    def __init__(
        self, start: IntArray, end: IntArray, last: int, middle: NDArray[np.bool_], price: int
    ) -> None:
        self._start, self._end, self._last, self._middle, self._price = start, end, last, middle, price
        # No pair covers more spans.
        longest = min(2 * int((end - start).max(initial=0)), last)
        self.size = longest * last
        """No key is as great."""

    def keys(self, start: IntArray, end: IntArray) -> IntArray:
        """Return a number for each stretch, which grows with its spans, then with its start.

        Parameters
        ----------
        start, end : ndarray of int, shape (k,)
            First and last vaults.

        Returns
        -------
        ndarray of int, shape (k,)
            From 0 on.
        """
        return (end - start - 1) * self._last + start

    def stretches(self, cost: IntArray) -> tuple[IntArray, IntArray, IntArray]:
        """Return the stretches that one pull covers or two do, and what the cheapest of those cost.

        Parameters
        ----------
        cost : ndarray of int, shape (2n,)
            Of each pull, :data:`network.ahead.NOTHING` for what is none.

        Returns
        -------
        tuple of three ndarrays of int
            First vaults, last vaults, costs; shorter stretches first.
        """
        least = np.full(self.size, NOTHING)
        least[self.keys(self._start, self._end)] = np.minimum(*cost.reshape(2, -1))
        for _, _, key, price in self.lots(cost):
            np.minimum.at(least, key, price)
        known = np.flatnonzero(least < NOTHING)
        start = known % self._last
        return start, start + known // self._last + 1, least[known]

    def lots(self, cost: IntArray) -> Iterator[tuple[IntArray, IntArray, IntArray, IntArray]]:
        """Yield all pairs, some at a time.

        Parameters
        ----------
        cost : ndarray of int, shape (2n,)
            As for :meth:`stretches`.

        Yields
        ------
        tuple of four ndarrays of int, shape (k,)
            The pull against the row's direction, the one in it, the key of the stretch that they cover, what they cost.
        """
        n = self._start.size
        vaults = np.arange(self._last + 2)
        fed = []
        for feed, price in ((self._start, cost[:n]), (self._end, cost[n:])):
            own = np.flatnonzero((price < NOTHING) & self._middle[feed])
            own = own[np.argsort(feed[own], kind="stable")]
            fed.append((own, np.searchsorted(feed[own], vaults)))
        (on, on_at), (back, back_at) = fed
        ons, backs = np.diff(on_at), np.diff(back_at)
        total = np.concatenate(([0], np.cumsum(backs * ons)))
        vault = 0
        while vault <= self._last:
            upto = max(vault + 1, int(np.searchsorted(total, total[vault] + _AT_ONCE, side="right")) - 1)
            feeds = np.arange(vault, upto)
            pairs = backs[feeds] * ons[feeds]
            feed = np.repeat(feeds, pairs)
            which = np.arange(feed.size) - np.repeat(total[feeds] - total[vault], pairs)
            first = back[back_at[feed] + which // np.maximum(ons[feed], 1)]
            second = on[on_at[feed] + which % np.maximum(ons[feed], 1)]
            key = self.keys(self._start[first], self._end[second])
            yield first + n, second, key, cost[first + n] + cost[second] + self._price
            vault = upto
