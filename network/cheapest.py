"""The search for the cheapest plan, on whole numbers: candidate sections as arrays, and the best path through them.

The order of plans is lexicographic: cost, then the worst utilisation, then climb, then earlier vaults. A worst is
not a sum: of two ways to a vault, the one with the lower utilisation may be the wrong one to keep once some other
section is worse than both, because then climb decides. So the search goes in passes, each over what the pass before
has left: the least cost ahead of each vault; the sections that lie on a least-cost plan; the least utilisation within
which such a plan can keep; of the sections within that, the least climb; and last, from the start, the earliest vaults.

Costs, utilisations and climbs are whole numbers here, so that sums in another order are not other sums.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mechanics.chain import IntArray
from network.ahead import NOTHING, best_ahead, earliest_way

# Pairs of pulls looked at together: enough to keep numpy busy, few enough for memory.
_PAIRS_AT_ONCE = 1 << 20

IMPOSSIBLE = 1 << 60
"""A pull of this cost or more is none."""


@dataclass(frozen=True, eq=False)
class Sections:
    """Candidate sections of a row, each installed by one pull or by two.

    Parameters
    ----------
    start, end : ndarray of int, shape (n,)
        Vault indices, start below end.
    cost, climb : ndarray of int, shape (n,)
        Cost with the splice at its end, if it has one.
    first, second : ndarray of int, shape (n,)
        Indices into the pulls; ``second`` is -1 where there is one pull only, else ``first`` is drawn out at
        ``start`` and ``second`` at ``end``.
    """

    start: IntArray
    end: IntArray
    cost: IntArray
    climb: IntArray
    first: IntArray
    second: IntArray

    def where(self, mask: NDArray[np.bool_]) -> Sections:
        """Return the sections that ``mask`` selects."""
        if mask.all():
            return self
        which = np.flatnonzero(mask)
        return Sections(*(getattr(self, name).take(which) for name in self.__dataclass_fields__))


class Market:
    """Which sections may be had, and at what price.

    Parameters
    ----------
    feed, pull : ndarray of int, shape (n,)
        Vaults of the permitted pulls; sorted by feed where middle feeds are allowed.
    cost, climb : ndarray of int, shape (n,)
        Of each pull; the cost may turn out higher once it is settled.
    settle : callable
        Gives cost and least utilisation of pulls by their indices; a cost of :data:`IMPOSSIBLE` or more is none.
    farthest : ndarray of int, shape (v,)
        For each vault, the farthest one that a section starting there can end at with the cable on one reel.
    splice : ndarray of bool, shape (v,)
        Vaults where a section may begin or end, the row's ends included.
    splice_cost : int
        Price of a splice.
    middle_cost : int or None
        Price of a middle feed beside its two set-ups; None where it is not allowed.
    reel_cost : callable, optional
        Gives the price of the reels for sections from their first and last vaults.
    without : collection of (int, int), optional
        First and last vaults of sections that may not be had.
    middle : ndarray of bool, shape (v,), optional
        Vaults where a section may be fed between its ends; all by default.
    """

    def __init__(
        self,
        feed: IntArray,
        pull: IntArray,
        cost: IntArray,
        climb: IntArray,
        settle: Callable[[IntArray], tuple[IntArray, IntArray]],
        farthest: IntArray,
        splice: NDArray[np.bool_],
        splice_cost: int,
        middle_cost: int | None,
        reel_cost: Callable[[IntArray, IntArray], IntArray] | None = None,
        without: Collection[tuple[int, int]] = (),
        middle: NDArray[np.bool_] | None = None,
    ) -> None:
        self.feed, self.pull, self.cost, self.climb = feed, pull, cost.copy(), climb
        self.utilisation = np.full(feed.size, -1)
        self._settle = settle
        self.farthest, self.splice = farthest, splice
        self.splice_cost, self.middle_cost = splice_cost, middle_cost
        self._middle = np.ones(farthest.size, dtype=bool) if middle is None else middle
        self._reel_cost = reel_cost
        self._without = [low * farthest.size + high for low, high in without]
        self._alone: Sections | None = None

    @property
    def last(self) -> int:
        """Index of the row's last vault."""
        return int(self.farthest.size) - 1

    @property
    def possible(self) -> IntArray:
        """Pulls that are not known to be impossible."""
        return np.flatnonzero(self.cost < IMPOSSIBLE)

    def settled(self, rows: IntArray) -> bool:
        """Settle pulls, and return whether all of them cost what they were taken to cost."""
        unknown = self.utilisation.take(rows) < 0
        rows = rows if unknown.all() else rows[unknown]
        if not rows.size:
            return True
        cost, self.utilisation[rows] = self._settle(rows)
        as_taken = np.array_equal(cost, self.cost.take(rows))
        self.cost[rows] = cost
        if not as_taken:
            self._alone = None
        return as_taken

    def sections(self) -> Iterator[Sections]:
        """Yield all candidate sections, in batches."""
        if self._alone is None:
            rows = self.possible
            feed, pull, cost, climb = self.feed, self.pull, self.cost, self.climb
            if rows.size < feed.size:
                feed, pull, cost, climb = (values[rows] for values in (feed, pull, cost, climb))
            none = np.full(rows.size, -1)
            low, high = np.minimum(feed, pull), np.maximum(feed, pull)
            self._alone = self._offered(low, high, cost, climb, rows, none)
        yield self._alone
        if self.middle_cost is None:
            return
        rows = self.possible
        rows = rows[self._middle[self.feed[rows]]]
        feed, pull = self.feed[rows], self.pull[rows]
        back, on = rows[pull < feed], rows[pull > feed]
        vaults = np.arange(self.last + 2)
        back_at, on_at = np.searchsorted(self.feed[back], vaults), np.searchsorted(self.feed[on], vaults)
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
            cost = self.cost[first] + self.cost[second] + self.middle_cost
            climb = self.climb[first] + self.climb[second]
            yield self._offered(self.pull[first], self.pull[second], cost, climb, first, second)
            vault = upto

    def _offered(
        self,
        start: IntArray,
        end: IntArray,
        cost: IntArray,
        climb: IntArray,
        first: IntArray,
        second: IntArray,
    ) -> Sections:
        """Of these sections, those that a reel and the vaults at their ends allow, splice priced in."""
        good = end <= self.farthest.take(start)
        if not self.splice.all():
            good &= self.splice[start] & self.splice[end]
        if self._without:
            good &= ~np.isin(start * self.farthest.size + end, self._without)
        cost = cost + self.splice_cost
        cost[end == self.last] -= self.splice_cost
        if self._reel_cost is not None:
            cost = cost + self._reel_cost(start, end)
        return Sections(start, end, cost, climb, first, second).where(good)


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
        self.end = np.arange(1, self.start.size + 1) + (self.start - self.offsets[self.start])
        self._before = self.offsets[:-1] - np.arange(1, n + 2)
        self._known: tuple[Sections, IntArray] | None = None

    def index(self, sections: Sections) -> IntArray:
        """Return the cell of each section."""
        if self._known is None or self._known[0] is not sections:
            self._known = sections, self._before.take(sections.start) + sections.end
        return self._known[1]

    def least(self, at: IntArray, value: IntArray) -> IntArray:
        """Return the least of the values offered for each cell."""
        cells = np.full(self.start.size, NOTHING)
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
    while True:
        cells = _Cells(market)
        price = np.full(cells.start.size, NOTHING)
        for batch in market.sections():
            np.minimum.at(price, cells.index(batch), batch.cost)
        ahead = best_ahead(cells.start, cells.end, price, end, np.add)
        if ahead[start] >= NOTHING:
            return None
        tight = _on_a_cheapest_way(cells, price, ahead, start, end)
        sections = _of_least_cost(market, cells, price, tight)
        wanted = np.zeros(market.feed.size, dtype=bool)
        wanted[sections.first] = True
        wanted[sections.second[sections.second >= 0]] = True
        if market.settled(np.flatnonzero(wanted)):
            break

    second = np.where(sections.second < 0, sections.first, sections.second)
    used = np.maximum(market.utilisation.take(sections.first), market.utilisation.take(second))
    at = cells.index(sections)
    where = np.flatnonzero(tight)
    low, high = cells.start[where], cells.end[where]
    limit = int(best_ahead(low, high, cells.least(at, used)[where], end, np.maximum)[start])

    within = used <= limit
    if not within.all():
        sections, at = sections.where(within), at[within]
    climb = cells.least(at, sections.climb)
    where = where[climb[where] < NOTHING]
    low, high = cells.start[where], cells.end[where]
    above = best_ahead(low, high, climb[where], end, np.add)
    exact = (climb[where] + above[high] == above[low]) & (above[low] < NOTHING)
    stretches = earliest_way(low, high, exact, start, end)
    chosen = np.zeros(cells.start.size, dtype=bool)
    low, high = np.array(stretches).T
    chosen[cells.offsets[low] + high - low - 1] = True
    return Choice(sections.where(chosen[at] & (sections.climb == climb[at])), tuple(stretches), limit)


def _of_least_cost(market: Market, cells: _Cells, price: IntArray, tight: NDArray[np.bool_]) -> Sections:
    """The sections that have the least cost of their stretch, of the stretches on a cheapest way."""
    kept = []
    for batch in market.sections():
        at = cells.index(batch)
        kept.append(batch.where(tight.take(at) & (batch.cost == price.take(at))))
    if len(kept) == 1:
        return kept[0]
    return Sections(*(np.concatenate([getattr(k, f) for k in kept]) for f in Sections.__dataclass_fields__))


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


def _on_a_cheapest_way(
    cells: _Cells, price: IntArray, ahead: IntArray, start: int, end: int
) -> NDArray[np.bool_]:
    """Mark the cells that lie on some way of least cost from ``start`` to ``end``."""
    left = np.append(ahead, np.full(cells.offsets.size - 1 - ahead.size, NOTHING))
    before = left.take(cells.start)
    tight: NDArray[np.bool_] = price + left.take(cells.end) == before
    tight &= before < NOTHING
    tight[: cells.offsets[start]] = False
    # Which of them can be come to from the start is the same question asked from the other end.
    where, goal = np.flatnonzero(tight)[::-1], left.size - 1
    turned = goal - cells.end[where]
    # Of narrow numbers the order is found by counting.
    order = np.argsort(turned.astype(np.min_scalar_type(goal)), kind="stable")
    where, turned = where[order], turned[order]
    back = best_ahead(turned, goal - cells.start[where], np.zeros_like(where), goal - start, np.add)
    met = np.zeros(left.size, dtype=bool)
    met[start:] = back[::-1] == 0
    tight[where] = met.take(cells.start.take(where))
    return tight
