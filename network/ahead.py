"""The best that lies ahead of each place on ways that only lead on, reckoned for all places together.

Guess for each place which way to take first; reckon what that comes to, by doubling: two steps at once, then four,
then eight; and where another first step would now be better, take that one, until none is. Then each value is the
best over all first steps of what follows, which on ways that never turn back only the right values are. The first
guess, to go on as far as one can, is nearly always right, so that a few rounds do.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from mechanics.chain import IntArray

NOTHING = 1 << 61
"""What cannot be had costs this: above any plan, and three times it still fits 64 bits."""


def best_ahead(
    start: IntArray, end: IntArray, value: IntArray, goal: int, combine: np.ufunc
) -> tuple[IntArray, NDArray[np.bool_]]:
    """Return the least value of any ways from each place to a goal, and by which ways that begins.

    Parameters
    ----------
    start, end : ndarray of int, shape (k,)
        Places each way leads from and to, end above start and not beyond the goal. Quickest where of the ways from one
        place those that lead farther come later.
    value : ndarray of int, shape (k,)
        Of each way, at least 0 and below :data:`NOTHING`.
    goal : int
        Where to.
    combine : ufunc
        What ways one after another come to: their sum, or the greatest of them.

    Returns
    -------
    ahead : ndarray of int, shape (goal + 1,)
        One for each place up to the goal; :data:`NOTHING` where no ways lead on to it.
    best : ndarray of bool, shape (k,)
        Which ways some of least value begin with, of those that lead on to the goal; of the others any may be marked.

    Examples
    --------
    >>> start, end, value = np.array([0, 1, 0]), np.array([1, 2, 2]), np.array([1, 3, 5])
    >>> ahead, best = best_ahead(start, end, value, 2, np.add)
    >>> ahead.tolist(), best.tolist()
    ([4, 3, 0], [True, True, False])
    >>> best_ahead(start, end, value, 2, np.maximum)[0].tolist()
    [3, 3, 0]
    """
    # Where no way leads on, one that costs what cannot be had leads straight to the goal.
    onward, price = np.full(goal + 1, goal), np.full(goal + 1, NOTHING)
    price[goal] = 0
    onward[start], price[start] = end, value
    while True:
        ahead = _reckoned(onward, price, combine)
        whole = combine(value, ahead.take(end))
        before = ahead.take(start)
        better = np.flatnonzero(whole < before)
        if not better.size:
            return ahead, whole == before
        here, best = start[better], ahead.copy()
        np.minimum.at(best, here, whole[better])
        # Of equal first steps the last, which goes farthest.
        which = better[whole[better] == best[here]]
        onward[start[which]], price[start[which]] = end[which], value[which]


def _reckoned(onward: IntArray, price: IntArray, combine: np.ufunc) -> IntArray:
    """What following the first steps to the goal comes to from each place, two of them taken as one and so on."""
    goal = onward.size - 1
    while onward.min() < goal:
        price = combine(price, price.take(onward))
        onward = onward.take(onward)
    return np.minimum(price, NOTHING)


def earliest_way(start: IntArray, end: IntArray, best: NDArray[np.bool_], goal: int) -> list[int]:
    """Return the ways from the first place to a goal of which each leads to the nearest place it may.

    Parameters
    ----------
    start, end : ndarray of int, shape (k,)
        As for :func:`best_ahead`; of the ways from one place those that lead farther come later.
    best : ndarray of bool, shape (k,)
        Which ways may be taken; from the first place on, each place that they lead to has one that leads on.
    goal : int
        Where to.

    Returns
    -------
    list of int
        Which ways, one after another.
    """
    first = np.zeros(goal + 1, dtype=np.int64)
    which = np.flatnonzero(best)[::-1]
    first[start[which]] = which
    ahead, onward = first.tolist(), end.take(first).tolist()
    ways, here = [], 0
    while here < goal:
        ways.append(ahead[here])
        here = onward[here]
    return ways
