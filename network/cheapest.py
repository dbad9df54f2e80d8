"""The search for the cheapest plan, on whole numbers: stretches of a row with their prices, and the best path through them.

The order of plans is lexicographic: cost, then the worst utilisation, then climb, then earlier vaults. A worst is
not a sum: of two ways to a vault, the one with the lower utilisation may be the wrong one to keep once some other
section is worse than both, because then climb decides. So the search goes in passes, each over what the pass before
has left: the stretches that are sections of some plan of least cost; the least utilisation within which such a plan
can keep; of what keeps within that, the least climb; and last, from the start, the earliest vaults.

Costs, utilisations and climbs are whole numbers here, so that sums in another order are not other sums.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mechanics.chain import IntArray
from network.ahead import NOTHING, best_ahead, earliest_way
from network.pairs import Pairs


@dataclass(frozen=True, eq=False)
class Stretches:
    """Stretches of a row that can be sections, each at the least price it can be had for.

    Parameters
    ----------
    start, end : ndarray of int, shape (n,)
        Vault indices, start below end. Of stretches that begin at one vault, or that end at one, longer ones come later.
    pulls : ndarray of int, shape (n,)
        What the cheapest pulls through it cost.
    price : ndarray of int, shape (n,)
        The same with all that a section costs besides; :data:`network.ahead.NOTHING` where it cannot be had.
    """

    start: IntArray
    end: IntArray
    pulls: IntArray
    price: IntArray


@dataclass(frozen=True, eq=False)
class Ways:
    """Ways to install sections, each by one pull or by two.

    Parameters
    ----------
    at : ndarray of int, shape (n,)
        Which of the stretches asked for each installs.
    first, second : ndarray of int, shape (n,)
        Its pulls; ``second`` is ``first`` again where there is one pull only, else ``first`` is drawn out at the start
        and ``second`` at the end.
    """

    at: IntArray
    first: IntArray
    second: IntArray

    def where(self, mask: NDArray[np.bool_]) -> Ways:
        """Return the ways that ``mask`` selects."""
        if mask.all():
            return self
        which = np.flatnonzero(mask)
        return Ways(self.at.take(which), self.first.take(which), self.second.take(which))


class Market:
    """Which sections may be had, and at what price.

    Pulls go by number: of n stretches, pull i is fed at the start of stretch i, and pull n + i at its end.

    Parameters
    ----------
    start, end : ndarray of int, shape (n,)
        Stretches that one pull may cover, in an order as for :class:`Stretches`.
    cost : ndarray of int, shape (2n,)
        Of each pull, :data:`network.ahead.NOTHING` for what is none; may turn out higher once it is settled.
    settle : callable
        Gives cost, least utilisation and climb of pulls by their numbers.
    charge : callable
        Gives what sections cost besides their pulls, from their first and last vaults;
        :data:`network.ahead.NOTHING` where none may be.
    last : int
        The row's last vault.
    pairs : Pairs or None
        Of the pulls, where sections may be fed between their ends.
    """

    def __init__(
        self,
        start: IntArray,
        end: IntArray,
        cost: IntArray,
        settle: Callable[[IntArray], tuple[IntArray, IntArray, IntArray]],
        charge: Callable[[IntArray, IntArray], IntArray],
        last: int,
        pairs: Pairs | None,
    ) -> None:
        self.start, self.end, self.cost, self.last = start, end, cost, last
        self.utilisation, self.climb = np.full(cost.size, -1), np.zeros(cost.size, dtype=np.int64)
        self._settle, self._charge, self._pairs = settle, charge, pairs

    def settled(self, pulls: IntArray) -> bool:
        """Settle pulls, and return whether all of them cost what they were taken to cost."""
        unknown = self.utilisation.take(pulls) < 0
        pulls = pulls if unknown.all() else pulls[unknown]
        taken = self.cost.take(pulls)
        self.cost[pulls], self.utilisation[pulls], self.climb[pulls] = self._settle(pulls)
        return np.array_equal(taken, self.cost.take(pulls))

    def stretches(self) -> Stretches:
        """Return all stretches that can be sections."""
        if self._pairs is None:
            start, end, pulls = self.start, self.end, np.minimum(*self.cost.reshape(2, -1))
        else:
            start, end, pulls = self._pairs.stretches(self.cost)
        return Stretches(start, end, pulls, np.minimum(pulls + self._charge(start, end), NOTHING))

    def ways(self, stretches: Stretches, which: IntArray) -> Ways:
        """Return all ways to install some of the stretches by pulls that cost the least.

        Parameters
        ----------
        stretches : Stretches
            All that there are.
        which : ndarray of int, shape (n,)
            Some of them.

        Returns
        -------
        Ways
            With indices into ``which``.
        """
        least = stretches.pulls.take(which)
        found = []
        own, at = which, np.arange(which.size)
        if self._pairs is not None:
            place = np.full(self._pairs.size, -1)
            place[self._pairs.keys(stretches.start[which], stretches.end[which])] = at
            for first, second, key, cost in self._pairs.lots(self.cost):
                at = place[key]
                good = np.flatnonzero((at >= 0) & (cost == least[at]))
                found.append((at[good], first[good], second[good]))
            at = place[self._pairs.keys(self.start, self.end)]
            own = np.flatnonzero(at >= 0)
            at = at[own]
        for pulls in (own, own + self.start.size):
            good = np.flatnonzero(self.cost.take(pulls) == least.take(at))
            found.append((at.take(good), pulls.take(good), pulls.take(good)))
        return Ways(*(np.concatenate(column) for column in zip(*found, strict=True)))


@dataclass(frozen=True, eq=False)
class Choice:
    """The sections of the cheapest plan.

    Parameters
    ----------
    stretches : tuple of (int, int)
        First and last vault of each section, in the row's order.
    ways : Ways
        All that are as good as any, in no order; with indices into ``stretches``.
    utilisation : int
        The worst that the plan has, and any way within it may have.
    """

    stretches: tuple[tuple[int, int], ...]
    ways: Ways
    utilisation: int


def cheapest(market: Market, start: int, end: int) -> Choice | None:
    """Return the cheapest sections from one vault to another.

    Parameters
    ----------
    market : Market
        What may be had at what price.
    start, end : int
        Vault indices, start below end.

    Returns
    -------
    Choice or None
        None where sections cannot fill the way.
    """
    while True:
        stretches = market.stretches()
        which = _of_least_cost(stretches, start, end)
        if not which.size:
            return None
        ways = market.ways(stretches, which)
        wanted = np.zeros(market.cost.size, dtype=bool)
        wanted[ways.first] = wanted[ways.second] = True
        if market.settled(np.flatnonzero(wanted)):
            break

    # Only the vaults that a plan of least cost may splice at are places from here on.
    begun, ended = stretches.start.take(which), stretches.end.take(which)
    met = np.zeros(market.last + 1, dtype=bool)
    met[begun] = met[ended] = True
    number = np.cumsum(met) - 1
    low, high, goal = number.take(begun), number.take(ended), int(number[-1])

    def least(value: IntArray) -> IntArray:
        found = np.full(which.size, NOTHING)
        np.minimum.at(found, ways.at, value)
        return found

    used = np.maximum(market.utilisation.take(ways.first), market.utilisation.take(ways.second))
    limit = int(best_ahead(low, high, least(used), goal, np.maximum)[0][0])
    ways = ways.where(used <= limit)
    climbs = market.climb.take(ways.first)
    climbs += np.where(ways.second == ways.first, 0, market.climb.take(ways.second))
    climb = least(climbs)
    left = np.flatnonzero(climb < NOTHING)
    low, high = low.take(left), high.take(left)
    _, best = best_ahead(low, high, climb.take(left), goal, np.add)
    chosen = left[earliest_way(low, high, best, goal)]
    place = np.full(which.size, -1)
    place[chosen] = np.arange(chosen.size)
    good = np.flatnonzero((place.take(ways.at) >= 0) & (climbs == climb.take(ways.at)))
    return Choice(
        tuple(zip(begun[chosen].tolist(), ended[chosen].tolist(), strict=True)),
        Ways(place.take(ways.at.take(good)), ways.first.take(good), ways.second.take(good)),
        limit,
    )


def _of_least_cost(stretches: Stretches, start: int, end: int) -> IntArray:
    """Which stretches lie on some way of least cost from one vault to another; none where there is no way."""
    inside = (stretches.start >= start) & (stretches.end <= end) & (stretches.price < NOTHING)
    which = np.flatnonzero(inside)
    low, high, price = (
        values if which.size == values.size else values.take(which)
        for values in (stretches.start, stretches.end, stretches.price)
    )
    ahead, best = best_ahead(low - start, high - start, price, end - start, np.add)
    if ahead[0] >= NOTHING:
        return which[:0]
    # Of those with which some way of least cost goes on, the ones that are come to: the same asked from the other end.
    left = np.flatnonzero(best)
    gone = end - low.take(left)
    behind, _ = best_ahead(end - high.take(left), gone, np.zeros_like(left), end - start, np.add)
    return which[left[behind.take(gone) < NOTHING]]


def reachable(market: Market) -> tuple[IntArray, IntArray]:
    """Return the vaults that sections reach from the row's start, and those from which they reach its end.

    Parameters
    ----------
    market : Market
        What may be had.

    Returns
    -------
    tuple of two ndarrays of int
        Vault indices, rising; the first holds the row's start, the second its end.
    """
    stretches = market.stretches()
    had = stretches.price < NOTHING
    ways = sorted(zip(stretches.start[had].tolist(), stretches.end[had].tolist(), strict=True))
    begun, ended = {0}, {market.last}
    for low, high in ways:
        if low in begun:
            begun.add(high)
    for low, high in reversed(ways):
        if high in ended:
            ended.add(low)
    return np.array(sorted(begun)), np.array(sorted(ended))
