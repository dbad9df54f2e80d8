"""How far each feed gets: the feasible pulls of a row, with the re-lube stops that make them so."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from mechanics.cable import Bundle
from mechanics.chain import IntArray
from mechanics.errors import FloatArray
from mechanics.pull import PullResult, Rules, evaluate_pull
from network.carry import Carrier
from network.pulls import PullOption
from network.row import Row
from network.steady import Steady
from network.stops import further, least_loads
from network.way import Way

# A load so near to 1 is judged by evaluating the pull on its own.
_NEAR = 1e-6


@dataclass(frozen=True, eq=False)
class RowPulls:
    """The pulls of a row: all of them as offers to the planner, those of one feed, or a single one.

    Parameters
    ----------
    row : Row
        Where.
    bundle : Bundle
        What.
    rules : Rules
        By which limits.
    further_stops : bool
        Whether calling this gives options with more re-lube stops than needed too, where they lower the utilisation:
        for trading cost against margin.
    """

    row: Row
    bundle: Bundle
    rules: Rules
    further_stops: bool = False

    def __call__(self, feed: int) -> Iterator[PullOption]:
        """Yield the feasible pulls fed at vault ``feed``, both ways, fewest stops first."""
        offers = RowOffers(self, np.array([feed]))
        used = offers.settle(np.arange(offers.feed.size), self.further_stops)
        for row in np.flatnonzero(np.isfinite(used)).tolist():
            yield from offers.options(row)

    def offers(self) -> RowOffers:
        """Return all feasible pulls of the row, for :func:`network.plan.plan_row`.

        Returns
        -------
        RowOffers
            Settled only where the planner asks.
        """
        return RowOffers(self, np.arange(len(self.row.vaults)))

    def evaluate(self, feed: int, pull: int, relube: tuple[int, ...] = ()) -> PullResult:
        """Evaluate one pull.

        Parameters
        ----------
        feed, pull : int
            Vaults of the row.
        relube : tuple of int, optional
            Vaults of the row where lubricant is added.

        Returns
        -------
        PullResult
            Whatever its verdict.

        Raises
        ------
        DomainError
            Not two different vaults, or a re-lube vault that the pull does not pass.
        """
        step = 1 if pull > feed else -1
        stops = tuple(sorted(step * (vault - feed) - 1 for vault in relube))
        return evaluate_pull(self.row.track(feed, pull), self.bundle, self.rules, stops)

    def best(self, feed: int, pull: int) -> tuple[tuple[int, ...], PullResult]:
        """Return the re-lube vaults with which a pull passes at least cost, and its evaluation.

        Parameters
        ----------
        feed, pull : int
            Vaults of the row.

        Returns
        -------
        tuple of (tuple of int, PullResult)
            The fewest stops with which it passes, of those the ones of least utilisation; if it never passes, no
            stops.

        Raises
        ------
        DomainError
            Not two different vaults.
        """
        plain = self.evaluate(feed, pull)
        if plain.verdict == "pass":
            return (), plain
        offers = RowOffers(self, np.array([feed]), pull)
        rows = np.flatnonzero(offers.pull == pull)
        if not rows.size or not np.isfinite(offers.settle(rows, False)[0]):
            return (), plain
        option = offers.option(int(rows[0]), np.inf, False)
        return option.relube, self.evaluate(feed, pull, option.relube)

    def way(self, against: bool) -> tuple[Way, Carrier]:
        """Return the row in one direction of pull, ready for choosing among pulls."""
        return self._ways[1 if against else 0]

    @cached_property
    def _ways(self) -> tuple[tuple[Way, Carrier], tuple[Way, Carrier]]:
        on, back = (Way(self.row, self.bundle, self.rules, against) for against in (False, True))
        return (on, Carrier(on)), (back, Carrier(back))

    @cached_property
    def steady(self) -> Steady:
        """The checks that no tension changes."""
        return Steady(self.row, self.bundle, self.rules)


class RowOffers:
    """Pulls of a row on offer; see :class:`network.pulls.Offers`.

    Parameters
    ----------
    pulls : RowPulls
        Of which row.
    feeds : ndarray of int
        Vaults of the row to feed from.
    only : int, optional
        The one pull vault to look at; all by default.
    """

    def __init__(self, pulls: RowPulls, feeds: IntArray, only: int | None = None) -> None:
        self._pulls = pulls
        last = len(pulls.row.spans)
        farthest = pulls.steady.farthest
        nearest = np.searchsorted(farthest, np.arange(last + 1))
        rows = []
        for against in (False, True):
            _, carrier = pulls.way(against)
            own = feeds[feeds > 0] if against else feeds[feeds < last]
            end = nearest[own] if against else farthest[own]
            if only is not None:
                end = np.maximum(end, only) if against else np.minimum(end, only)
            feed = np.abs(last - own) if against else own
            reached = carrier.reached(feed, last - end if against else end)
            number = last - np.arange(last + 1) if against else np.arange(last + 1)
            rows.append((number[feed[reached.start]], number[reached.pull], reached.stops, reached.load))
        self.feed, self.pull, self.stops, self._load = (
            np.concatenate(columns) for columns in zip(*rows, strict=True)
        )
        order = np.lexsort((self.pull, self.feed))
        self.feed, self.pull, self.stops, self._load = (
            a[order] for a in (self.feed, self.pull, self.stops, self._load)
        )
        self.climb: FloatArray = pulls.row.climbs(self.feed, self.pull)
        self.exact = pulls.way(False)[1].exact
        self._settled: dict[int, list[PullOption]] = {}
        self._extended: set[int] = set()

    def settle(self, rows: IntArray, stops_free: bool) -> FloatArray:
        """Return the least utilisation of some offers, infinite where one is impossible.

        Parameters
        ----------
        rows : ndarray of int, shape (n,)
            Which offers.
        stops_free : bool
            Whether as many stops may be made as lower the utilisation, and not just the fewest.

        Returns
        -------
        ndarray, shape (n,)
            Of the option that :meth:`option` can give.
        """
        for against in (False, True):
            own = rows[(self.feed[rows] > self.pull[rows]) == against]
            self._settle(
                np.array([k for k in own.tolist() if k not in self._settled], dtype=np.int64), against
            )
            if stops_free:
                self._add_stops(own, against)
        return np.array(
            [
                min((o.utilisation for o in self._counting(k, stops_free)), default=np.inf)
                for k in rows.tolist()
            ]
        )

    def option(self, row: int, most: float, stops_free: bool) -> PullOption:
        """Return a settled offer: of its options of utilisation up to ``most``, that with the earliest stops."""
        within = (o for o in self._counting(row, stops_free) if o.utilisation <= most)
        return min(within, key=lambda o: sorted(o.relube))

    def _counting(self, row: int, stops_free: bool) -> list[PullOption]:
        return self._settled[row] if stops_free else self._settled[row][:1]

    def options(self, row: int) -> list[PullOption]:
        """Return all options of a settled offer, fewest stops first."""
        return self._settled[row]

    def _settle(self, rows: IntArray, against: bool) -> None:
        """Settle offers of one direction: evaluate them with as many stops as offered, and with more if need be."""
        way, carrier = self._pulls.way(against)
        feed, pull = (way.numbered(a[rows]) for a in (self.feed, self.pull))
        known = np.flatnonzero((self.stops[rows] == 0) & np.isfinite(self._load[rows]))
        for k in known.tolist():
            self._accept(int(rows[k]), float(self._load[rows[k]]), ())
        left = np.setdiff1d(np.arange(rows.size), known)
        while left.size:
            found = least_loads(way, carrier, feed[left], pull[left], self.stops[rows[left]])
            for k, (load, chosen) in zip(left.tolist(), found, strict=True):
                self._accept(int(rows[k]), load, tuple(way.vault(v) for v in chosen))
            missing = np.array([k for k in left.tolist() if not self._settled[int(rows[k])]], dtype=np.int64)
            most = (pull - feed - 1)[missing] if way.ages else np.zeros(missing.size, dtype=np.int64)
            left = missing[self.stops[rows[missing]] < most]
            self.stops[rows[left]] += 1

    def _add_stops(self, rows: IntArray, against: bool) -> None:
        """Add options with more stops to offers that are settled, as long as they lower the utilisation."""
        way, carrier = self._pulls.way(against)
        for row in rows.tolist():
            if row in self._extended or not self._settled[row] or not way.ages:
                continue
            self._extended.add(row)
            first = self._settled[row][0]
            feed, pull = way.vault(first.feed), way.vault(first.pull)
            fewest = first.utilisation, tuple(way.vault(v) for v in first.relube)
            for load, chosen in further(way, carrier, feed, pull, fewest):
                self._accept(row, load, tuple(way.vault(v) for v in chosen))

    def _accept(self, row: int, load: float, relube: tuple[int, ...]) -> None:
        """Take up an option if it passes."""
        kept = self._settled.setdefault(row, [])
        feed, pull = int(self.feed[row]), int(self.pull[row])
        used = self._pulls.steady.used(min(feed, pull), max(feed, pull), load)
        passes = load <= 1.0
        if abs(load - 1.0) < _NEAR:
            passes = self._pulls.evaluate(feed, pull, relube).verdict == "pass"
        if passes and (not kept or used < kept[-1].utilisation):
            kept.append(PullOption(feed, pull, relube, used, float(self.climb[row])))
