"""How far each feed gets: the feasible pulls of a row, with the re-lube stops that make them so."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from mechanics.cable import Bundle
from mechanics.chain import IntArray
from mechanics.errors import FloatArray
from mechanics.pull import PullResult, Rules, evaluate_pull
from network.carry import Carrier
from network.changed import part_of
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
        used = offers.settle(np.arange(offers.feed.size), False)
        for row in np.flatnonzero(np.isfinite(used)).tolist():
            yield from offers.by_stops(row) if self.further_stops else offers.options(row)

    def offers(self) -> RowOffers:
        """Return all feasible pulls of the row, for :func:`network.plan.plan_row`.

        Returns
        -------
        RowOffers
            Settled only where the planner asks; the same each time, so that what is settled stays so.
        """
        return self._offers

    @cached_property
    def _offers(self) -> RowOffers:
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

    def on(self, row: Row) -> RowPulls:
        """Return the pulls of a changed row."""
        return replace(self, row=row)

    def ruled(self, change: Callable[[Rules], Rules], at: int | None = None) -> RowPulls:
        """Return the pulls judged by changed rules; ``at`` as in :meth:`network.mixed.MixedPulls.ruled`."""
        del at  # there is but one part
        return replace(self, rules=change(self.rules))

    def between(self, low: int, high: int) -> RowPulls:
        """Return the pulls of a stretch of the row, with numbers from 0."""
        return replace(self, row=part_of(self.row, low, high))

    def part(self, low: int, high: int) -> RowPulls:
        """Return the pulls of a stretch; see :meth:`network.mixed.MixedPulls.part`."""
        return self.between(low, high)

    @property
    def changes(self) -> tuple[int, ...]:
        """Vaults at which the bundle changes: none."""
        return ()

    def way(self, against: bool) -> tuple[Way, Carrier]:
        """Return the row in one direction of pull, ready for choosing among pulls."""
        return self._ways[1 if against else 0]

    @cached_property
    def _ways(self) -> tuple[tuple[Way, Carrier], tuple[Way, Carrier]]:
        on = Way(self.row, self.bundle, self.rules, False)
        back = Way(self.row, self.bundle, self.rules, True, on)
        ahead = Carrier(on)
        return (on, ahead), (back, Carrier(back, ahead))

    @cached_property
    def steady(self) -> Steady:
        """The checks that no tension changes."""
        on = self.way(False)[0]
        alone = not (on.before.size or on.behind.size)
        return Steady(self.row, self.bundle, self.rules, on.setting if alone else None)


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
        found = []
        for against in (False, True):
            _, carrier = pulls.way(against)
            own = feeds[feeds > 0][::-1] if against else feeds[feeds < last]
            end = nearest[own] if against else farthest[own]
            if only is not None:
                end = np.maximum(end, only) if against else np.minimum(end, only)
            feed = last - own if against else own
            reached = carrier.reached(feed, last - end if against else end)
            pull = last - reached.pull if against else reached.pull
            found.append((own.take(reached.start), pull, reached.stops, reached.load))
        self.feed, self.pull, self.stops, self._load = (
            np.concatenate(columns) for columns in zip(*found, strict=True)
        )
        self.climb: FloatArray = pulls.row.climbs(self.feed, self.pull)
        self.exact = pulls.way(False)[1].exact
        # Utilisation at the fewest stops: NaN until settled, infinite where impossible; and the options with stops.
        self._used = np.full(self.feed.size, np.nan)
        self._stopping: dict[int, list[PullOption]] = {}
        self._further: dict[int, Iterator[tuple[float, tuple[int, ...]]]] = {}

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
        new = rows.take(np.flatnonzero(np.isnan(self._used.take(rows))))
        back = self.feed.take(new) > self.pull.take(new)
        for against in (False, True):
            self._settle(new.take(np.flatnonzero(back == against)), against)
        used = self._used.take(rows)
        if stops_free:
            for k, row in enumerate(rows.tolist()):
                used[k] = min((o.utilisation for o in self.by_stops(row)), default=np.inf)
        return used

    def option(self, row: int, most: float, stops_free: bool) -> PullOption:
        """Return a settled offer: of its options of utilisation up to ``most``, that with the earliest stops."""
        options = self.options(row)
        if len(options) == 1 or not stops_free:
            return options[0]
        return min((o for o in options if o.utilisation <= most), key=lambda o: sorted(o.relube))

    def options(self, row: int) -> list[PullOption]:
        """Return the options of a settled offer, fewest stops first; none where it is impossible."""
        used = float(self._used[row])
        if self.stops[row] or not used < np.inf:
            return self._stopping.get(row, [])
        plain = PullOption(int(self.feed[row]), int(self.pull[row]), (), used, float(self.climb[row]))
        return [plain, *self._stopping.get(row, ())]

    def _settle(self, rows: IntArray, against: bool) -> None:
        """Settle offers of one direction: evaluate them with as many stops as offered, and with more if need be."""
        way, carrier = self._pulls.way(against)
        loads = self._load.take(rows)
        known = np.isfinite(loads)
        if known.all():
            self._accept(rows, loads, [()] * rows.size)
            return
        if known.any():
            self._accept(rows[known], loads[known], [()] * int(known.sum()))
        left = rows[~known]
        between = np.concatenate(([0], np.cumsum(way.lubes))) if way.ages else None
        while left.size:
            feed, pull = (way.numbered(a[left]) for a in (self.feed, self.pull))
            found = least_loads(way, carrier, feed, pull, self.stops[left])
            relube = [tuple(way.vault(v) for v in stops) for _, stops in found]
            self._accept(left, np.array([load for load, _ in found]), relube)
            most = 0 if between is None else between[pull] - between[feed + 1]
            left = left[~np.isfinite(self._used[left]) & (self.stops[left] < most)]
            self.stops[left] += 1

    def by_stops(self, row: int) -> Iterator[PullOption]:
        """Yield the options of a settled offer, fewest stops first, each of less utilisation than those before."""
        place = 0
        while True:
            options = self.options(row)
            if place < len(options):
                yield options[place]
                place += 1
            elif not self._add_stops(row):
                return

    def _add_stops(self, row: int) -> bool:
        """Look for one more option of a settled offer, with more stops and less utilisation; say whether there is."""
        options = self.options(row)
        against = bool(self.feed[row] > self.pull[row])
        way, carrier = self._pulls.way(against)
        if not options or not way.ages:
            return False
        if row not in self._further:
            first = options[0]
            fewest = first.utilisation, tuple(way.vault(v) for v in first.relube)
            self._further[row] = further(way, carrier, way.vault(first.feed), way.vault(first.pull), fewest)
        last = options[-1]
        for load, stops in self._further[row]:
            relube = tuple(way.vault(v) for v in stops)
            used = float(self._judged(np.array([row]), np.array([load]), [relube])[0])
            if used < last.utilisation:
                more = PullOption(last.feed, last.pull, relube, used, last.climb)
                self._stopping.setdefault(row, []).append(more)
                return True
        return False

    def _accept(self, rows: IntArray, loads: FloatArray, relube: Sequence[tuple[int, ...]]) -> None:
        """Settle offers at the stops they now have: by what loads them least, and where."""
        self._used[rows] = used = self._judged(rows, loads, relube)
        for k in np.flatnonzero((self.stops.take(rows) > 0) & np.isfinite(used)).tolist():
            row = int(rows[k])
            feed, pull, climb = int(self.feed[row]), int(self.pull[row]), float(self.climb[row])
            self._stopping[row] = [PullOption(feed, pull, relube[k], float(used[k]), climb)]

    def _judged(self, rows: IntArray, loads: FloatArray, relube: Sequence[tuple[int, ...]]) -> FloatArray:
        """Worst utilisation by any binding check, infinite where one fails."""
        feed, pull = self.feed.take(rows), self.pull.take(rows)
        passes = loads <= 1.0
        for k in np.flatnonzero(np.abs(loads - 1.0) < _NEAR).tolist():
            passes[k] = self._pulls.evaluate(int(feed[k]), int(pull[k]), relube[k]).verdict == "pass"
        low, high = np.minimum(feed, pull), np.maximum(feed, pull)
        if passes.all():
            return self._pulls.steady.used(low, high, loads)
        used = np.full(rows.size, np.inf)
        used[passes] = self._pulls.steady.used(low[passes], high[passes], loads[passes])
        return used
