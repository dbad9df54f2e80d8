"""The search for the cheapest plan, on whole numbers: candidate sections as arrays, and the best path through them.

The order of plans is lexicographic: cost, then the worst utilisation, then climb, then earlier vaults. A worst is
not a sum: of two ways to a vault, the one with the lower utilisation may be the wrong one to keep once some other
section is worse than both, because then climb decides. So the search goes in passes, each over what the pass before
has left: the least cost ahead of each vault; the sections that lie on a least-cost plan; the least utilisation within
which such a plan can keep; of the sections within that, the least climb; and last, from the start, the earliest vaults.

Costs, utilisations and climbs are whole numbers here, so that sums in another order are not other sums.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from operator import add

import numpy as np

from mechanics.chain import IntArray

# Pairs of pulls looked at together: enough to keep numpy busy, few enough for memory.
_PAIRS_AT_ONCE = 1 << 20


@dataclass(frozen=True, eq=False)
class Pulls:
    """Permitted pulls, one element for each feed and pull vault, whole numbers throughout, sorted by feed.

    Parameters
    ----------
    feed, pull : ndarray of int, shape (n,)
        Vault indices.
    cost : ndarray of int, shape (n,)
        Of its set-up and re-lube stops.
    utilisation : ndarray of int, shape (n,)
        Least at that cost.
    climb : ndarray of int, shape (n,)
        In the direction of the pull.
    """

    feed: IntArray
    pull: IntArray
    cost: IntArray
    utilisation: IntArray
    climb: IntArray


@dataclass(frozen=True, eq=False)
class Sections:
    """Candidate sections of a row, each installed by one pull or by two.

    Parameters
    ----------
    start, end : ndarray of int, shape (n,)
        Vault indices, start below end.
    cost, utilisation, climb : ndarray of int, shape (n,)
        Cost with the splice at its end, if it has one.
    first, second : ndarray of int, shape (n,)
        Indices into the pulls; ``second`` is -1 where there is one pull only, else ``first`` is drawn out at
        ``start`` and ``second`` at ``end``.
    """

    start: IntArray
    end: IntArray
    cost: IntArray
    utilisation: IntArray
    climb: IntArray
    first: IntArray
    second: IntArray

    def where(self, mask: np.ndarray) -> Sections:
        """Return the sections that ``mask`` selects."""
        return Sections(*(getattr(self, name)[mask] for name in self.__dataclass_fields__))


@dataclass(frozen=True, eq=False)
class Market:
    """Which sections may be had, and at what price.

    Parameters
    ----------
    pulls : Pulls
        All permitted pulls.
    farthest : ndarray of int, shape (n + 1,)
        For each vault, the farthest one that a section starting there can end at with the cable on one reel.
    splice : ndarray of bool, shape (n + 1,)
        Vaults where a section may begin or end, the row's ends included.
    splice_cost : int
        Price of a splice.
    middle_cost : int or None
        Price of a middle feed beside its two set-ups; None where it is not allowed.
    """

    pulls: Pulls
    farthest: IntArray
    splice: np.ndarray
    splice_cost: int
    middle_cost: int | None

    @property
    def last(self) -> int:
        """Index of the row's last vault."""
        return int(self.farthest.size) - 1

    def sections(self) -> Iterator[Sections]:
        """Yield all candidate sections, in batches."""
        pulls = self.pulls
        low, high = np.minimum(pulls.feed, pulls.pull), np.maximum(pulls.feed, pulls.pull)
        rows = np.arange(pulls.feed.size)
        none = np.full(rows.size, -1)
        yield self._offered(low, high, pulls.cost, pulls.utilisation, pulls.climb, rows, none)
        if self.middle_cost is None:
            return
        back, on = rows[pulls.pull < pulls.feed], rows[pulls.pull > pulls.feed]
        vaults = np.arange(self.last + 2)
        back_at = np.searchsorted(pulls.feed[back], vaults)
        on_at = np.searchsorted(pulls.feed[on], vaults)
        backs, ons = np.diff(back_at), np.diff(on_at)
        total = np.concatenate(([0], np.cumsum(backs * ons)))
        vault = 0
        while vault <= self.last:
            upto = max(
                vault + 1, int(np.searchsorted(total, total[vault] + _PAIRS_AT_ONCE, side="right")) - 1
            )
            feeds = np.arange(vault, upto)
            pairs = backs[feeds] * ons[feeds]
            feed = np.repeat(feeds, pairs)
            which = np.arange(feed.size) - np.repeat(total[feeds] - total[vault], pairs)
            first = back[back_at[feed] + which // np.maximum(ons[feed], 1)]
            second = on[on_at[feed] + which % np.maximum(ons[feed], 1)]
            yield self._offered(
                pulls.pull[first],
                pulls.pull[second],
                pulls.cost[first] + pulls.cost[second] + self.middle_cost,
                np.maximum(pulls.utilisation[first], pulls.utilisation[second]),
                pulls.climb[first] + pulls.climb[second],
                first,
                second,
            )
            vault = upto

    def _offered(
        self,
        start: IntArray,
        end: IntArray,
        cost: IntArray,
        utilisation: IntArray,
        climb: IntArray,
        first: IntArray,
        second: IntArray,
    ) -> Sections:
        """Of these sections, those that a reel and the vaults at their ends allow, splice priced in."""
        good = self.splice[start] & self.splice[end] & (end <= self.farthest[start])
        cost = cost + np.where(end < self.last, self.splice_cost, 0)
        return Sections(start, end, cost, utilisation, climb, first, second).where(good)


@dataclass(frozen=True, eq=False)
class Choice:
    """The sections of the cheapest plan.

    Parameters
    ----------
    sections : Sections
        All candidates for the chosen stretches that are as good as any, in no order.
    stretches : tuple of (int, int)
        First and last vault of each section, in the row's order.
    utilisation : int
        The worst that the plan has, and any option within it may have.
    """

    sections: Sections
    stretches: tuple[tuple[int, int], ...]
    utilisation: int


class _Cells:
    """A number for each pair of a start and an end vault in its reach: ragged rows, one a start, end rising."""

    def __init__(self, market: Market) -> None:
        n = market.last
        reach = np.zeros(n + 1, dtype=np.int64)
        for batch in market.sections():
            np.maximum.at(reach, batch.start, batch.end - batch.start)
        self.offsets = np.concatenate(([0], np.cumsum(reach)))
        self.start = np.repeat(np.arange(n + 1), reach)
        self.end = self.start + 1 + np.arange(self.start.size) - self.offsets[self.start]

    def index(self, start: IntArray, end: IntArray) -> IntArray:
        """Return the cell of each pair."""
        return np.asarray(self.offsets[start] + end - start - 1)

    def least(self, at: IntArray, value: IntArray, nothing: int) -> IntArray:
        """Return the least of the values offered for each cell."""
        cells = np.full(self.start.size, nothing, dtype=np.int64)
        np.minimum.at(cells, at, value)
        return cells


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
    cells = _Cells(market)
    nothing = np.iinfo(np.int64).max // 4
    price = np.full(cells.start.size, nothing, dtype=np.int64)
    for batch in market.sections():
        np.minimum.at(price, cells.index(batch.start, batch.end), batch.cost)
    ahead = _ahead(cells, price, start, end, nothing)
    if ahead[start] >= nothing:
        return None
    tight = _on_a_cheapest_way(cells, price, ahead, start, end, nothing)

    kept = [
        batch.where(tight[at] & (batch.cost == price[at]))
        for batch in market.sections()
        for at in [cells.index(batch.start, batch.end)]
    ]
    sections = Sections(
        *(np.concatenate([getattr(k, f) for k in kept]) for f in Sections.__dataclass_fields__)
    )
    at = cells.index(sections.start, sections.end)
    where = np.flatnonzero(tight)
    ways = list(zip(cells.start[where].tolist(), cells.end[where].tolist(), strict=True))

    least = cells.least(at, sections.utilisation, nothing)[where].tolist()
    worst: dict[int, int] = {end: 0}
    for (low, high), value in zip(reversed(ways), reversed(least), strict=True):
        worst[low] = min(worst.get(low, nothing), max(value, worst[high]))
    limit = worst[start]

    sections = sections.where(sections.utilisation <= limit)
    at = cells.index(sections.start, sections.end)
    climb = cells.least(at, sections.climb, nothing)
    rises = climb[where].tolist()
    above: dict[int, int] = {end: 0}
    for (low, high), value in zip(reversed(ways), reversed(rises), strict=True):
        if value < nothing and high in above:
            above[low] = min(above.get(low, nothing), value + above[high])

    stretches = []
    here = start
    for (low, high), value in zip(ways, rises, strict=True):
        if low == here and value < nothing and high in above and value + above[high] == above[low]:
            stretches.append((low, high))
            here = high
    chosen = np.zeros(cells.start.size, dtype=bool)
    chosen[[int(cells.offsets[low]) + high - low - 1 for low, high in stretches]] = True
    return Choice(sections.where(chosen[at] & (sections.climb == climb[at])), tuple(stretches), limit)


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
    ways: set[tuple[int, int]] = set()
    for batch in market.sections():
        ways.update(zip(batch.start.tolist(), batch.end.tolist(), strict=True))
    begun, ended = {0}, {market.last}
    for low, high in sorted(ways):
        if low in begun:
            begun.add(high)
    for low, high in sorted(ways, reverse=True):
        if high in ended:
            ended.add(low)
    return np.array(sorted(begun)), np.array(sorted(ended))


def _ahead(cells: _Cells, price: IntArray, start: int, end: int, nothing: int) -> list[int]:
    """Least cost from each vault to ``end``; plain lists are quicker here than arrays of a few elements."""
    prices = price.tolist()
    offsets = cells.offsets.tolist()
    ahead = [nothing] * (len(offsets) + 1)
    ahead[end] = 0
    for vault in range(end - 1, start - 1, -1):
        first, stop = offsets[vault], offsets[vault + 1]
        if first < stop:
            least = min(map(add, prices[first:stop], ahead[vault + 1 : min(end, vault + stop - first) + 1]))
            ahead[vault] = min(nothing, least)
    return ahead


def _on_a_cheapest_way(
    cells: _Cells, price: IntArray, ahead: list[int], start: int, end: int, nothing: int
) -> np.ndarray:
    """Mark the cells that lie on some way of least cost from ``start`` to ``end``."""
    left = np.array(ahead)
    inside = (cells.start >= start) & (cells.end <= end) & (price < nothing)
    tight = inside & (price + left[cells.end] == left[cells.start]) & (left[cells.start] < nothing)
    where = np.flatnonzero(tight)
    met = {start}
    for cell, low, high in zip(
        where.tolist(), cells.start[where].tolist(), cells.end[where].tolist(), strict=True
    ):
        if low in met:
            met.add(high)
        else:
            tight[cell] = False
    return np.asarray(tight)
