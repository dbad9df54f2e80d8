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
"""What cannot be had costs this: above any plan, and twice it still fits 64 bits."""


def best_ahead(start: IntArray, end: IntArray, value: IntArray, goal: int, combine: np.ufunc) -> IntArray:
    """Return the least value of any ways from each place to a goal.

    Parameters
    ----------
    start, end : ndarray of int, shape (k,)
        Places each way leads from and to, end above start; in the order of the starts, then of the ends.
    value : ndarray of int, shape (k,)
        Of each way, at least 0; :data:`NOTHING` where it cannot be had.
    goal : int
        Where to.
    combine : ufunc
        What ways one after another come to: their sum, or the greatest of them.

    Returns
    -------
    ndarray of int, shape (m,)
        One for each place up to the goal; :data:`NOTHING` where no ways lead on to it.

    Examples
    --------
    >>> start, end, value = np.array([0, 0, 1]), np.array([1, 2, 2]), np.array([1, 5, 3])
    >>> best_ahead(start, end, value, 2, np.add).tolist(), best_ahead(start, end, value, 2, np.maximum).tolist()
    ([4, 3, 0], [3, 3, 0])
    """
    ahead = np.full(goal + 1, NOTHING)
    ahead[goal] = 0
    useful = (end <= goal) & (value < NOTHING)
    if not useful.all():
        start, end, value = start[useful], end[useful], value[useful]
    if not start.size:
        return ahead
    first = np.flatnonzero(np.append(True, start[1:] != start[:-1]))
    places = start[first]
    count = np.diff(np.append(first, start.size))
    onward, price = np.arange(goal + 1), ahead.copy()
    last = np.append(first[1:], start.size) - 1
    onward[places], price[places] = end[last], value[last]
    while True:
        ahead = _reckoned(onward, price, combine)
        whole = combine(value, ahead.take(end))
        best = np.minimum.reduceat(whole, first)
        better = best < ahead.take(places)
        if not better.any():
            return ahead
        # Of equal first steps the one that goes farthest.
        which = np.flatnonzero(whole == np.repeat(np.where(better, best, -1), count))
        onward[start[which]], price[start[which]] = end[which], value[which]


def _reckoned(onward: IntArray, price: IntArray, combine: np.ufunc) -> IntArray:
    """What following the first steps comes to from each place, two of them taken as one and so on."""
    while True:
        price = np.minimum(combine(price, price[onward]), NOTHING)
        farther = onward[onward]
        if (farther == onward).all():
            return price
        onward = farther


def earliest_way(
    start: IntArray, end: IntArray, exact: NDArray[np.bool_], begin: int, goal: int
) -> list[tuple[int, int]]:
    """Return the ways from one place to another of which each leads to the nearest place it may.

    Parameters
    ----------
    start, end : ndarray of int, shape (k,)
        As for :func:`best_ahead`.
    exact : ndarray of bool, shape (k,)
        Which ways may be taken; some lead on from each place that these lead to.
    begin, goal : int
        From where, and where to.

    Returns
    -------
    list of (int, int)
        Places each leads from and to.
    """
    onward = np.zeros(goal + 1, dtype=np.int64)
    which = np.flatnonzero(exact)[::-1]
    onward[start[which]] = end[which]
    ahead = onward.tolist()
    ways = []
    while begin < goal:
        ways.append((begin, ahead[begin]))
        begin = ahead[begin]
    return ways
