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
from network.pulls import PullOption, ends_of
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
        offers = RowOffers(self, range(feed, feed + 1))
        rows = np.flatnonzero(offers.stops >= 0)
        for row in rows[np.isfinite(offers.settle(rows, False))].tolist():
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
        return RowOffers(self, range(len(self.row.vaults)))

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
        offers = RowOffers(self, range(feed, feed + 1), pull)
        low, high = min(feed, pull), max(feed, pull)
        rows = np.flatnonzero((offers.start == low) & (offers.end == high))
        rows = rows if feed < pull else rows + offers.start.size
        if not rows.size or offers.stops[rows[0]] < 0 or not np.isfinite(offers.settle(rows, False)[0]):
            return (), plain
        option = offers.chosen(rows, np.inf, False)[0]
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
        return self._back if against else self._on

    @cached_property
    def _on(self) -> tuple[Way, Carrier]:
        way = Way(self.row, self.bundle, self.rules, False)
        return way, Carrier(way)

    @cached_property
    def _back(self) -> tuple[Way, Carrier]:
        way = Way(self.row, self.bundle, self.rules, True, self._on[0])
        return way, Carrier(way)

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
    feeds : range
        Vaults of the row to feed from, rising one by one.
    only : int, optional
        The one pull vault to look at; all by default.
    """

    def __init__(self, pulls: RowPulls, feeds: range, only: int | None = None) -> None:
        self._pulls = pulls
        load, stops = self._found(feeds, only)
        known = load.min(axis=0) != np.inf
        at = np.flatnonzero(known)
        spans = np.repeat(np.arange(len(known)), np.count_nonzero(known, axis=1))
        self.start: IntArray = at - spans * known.shape[1]
        self.end: IntArray = self.start + spans + 1
        self._load = np.concatenate([one.ravel().take(at) for one in load])
        self.stops: IntArray = np.zeros(self._load.size, dtype=np.int64)
        if stops is not None:
            self.stops = np.concatenate([one.ravel().take(at) for one in stops])
        np.putmask(self.stops, self._load == np.inf, -1)
        self.exact = pulls.way(False)[1].exact
        # Utilisation at the fewest stops: NaN until settled, infinite where impossible; and the options with stops.
        self._used = np.full(self.stops.size, np.nan)
        self._stopping: dict[int, list[PullOption]] = {}
        self._further: dict[int, Iterator[tuple[float, tuple[int, ...]]]] = {}

    def _found(self, feeds: range, only: int | None) -> tuple[FloatArray, IntArray | None]:
        """Load of every pull, and how many stops it takes; None where no pull takes any.

        Both of shape (2, k, spans): through i + 1 spans of which span j is the first of the row, in the row's direction and
        against it; loads are infinite where there is no pull.
        """
        pulls, last = self._pulls, len(self._pulls.row.spans)
        farthest = pulls.steady.farthest
        nearest = np.searchsorted(farthest, np.arange(last + 1))
        ends = farthest[feeds.start : feeds.stop], nearest[feeds.start : feeds.stop]
        if only is not None:
            ends = np.minimum(ends[0], only), np.maximum(ends[1], only)
        swept = pulls.way(False)[1].swept(feeds, ends)
        if swept is not None:
            return swept, None
        found = []
        for against in (False, True):
            way, carrier = pulls.way(against)
            order = slice(None, None, -1 if against else 1)
            fed, end = np.arange(feeds.start, feeds.stop)[order], ends[against][order]
            fed, end = fed[fed != end], end[fed != end]
            reached = carrier.reached(way.numbered(fed), way.numbered(end))
            feed, pull = fed[reached.start], way.numbered(reached.pull)
            found.append((np.minimum(feed, pull), np.abs(feed - pull), reached))
        shape = 2, max(int(spans.max(initial=1)) for _, spans, _ in found), last
        load, stops = np.full(shape, np.inf), np.zeros(shape, dtype=np.int64)
        for k, (start, spans, reached) in enumerate(found):
            load[k, spans - 1, start], stops[k, spans - 1, start] = reached.load, reached.stops
        return load, stops

    @cached_property
    def climb(self) -> FloatArray:
        """Sum of rises in the direction of each pull. [m]"""
        row, start, end = self._pulls.row, self.start, self.end
        return np.append(row.climbs(start, end), row.climbs(end, start))

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
        new = rows[np.isnan(self._used.take(rows))]
        loads = self._load.take(new)
        known = np.isfinite(loads)
        if known.all():
            self._accept(new, loads, [()] * new.size)
        else:
            self._accept(new[known], loads[known], [()] * int(known.sum()))
            new = new[~known]
            for against in (False, True):
                self._settle(new[(new >= self.start.size) == against], against)
        used = self._used.take(rows)
        if stops_free:
            for k, row in enumerate(rows.tolist()):
                used[k] = min((o.utilisation for o in self.by_stops(row)), default=np.inf)
        self.stops[rows[used == np.inf]] = -1
        return used

    def chosen(self, rows: IntArray, most: float, stops_free: bool) -> list[PullOption]:
        """Return settled offers: of the options of utilisation up to ``most`` of each, that with the earliest stops."""
        if not self._stopping:
            columns = (*ends_of(self, rows), self._used.take(rows), self.climb.take(rows))
            own = zip(*(column.tolist() for column in columns), strict=True)
            return [PullOption(feed, pull, (), used, climb) for feed, pull, used, climb in own]
        found = []
        for row in rows.tolist():
            options = [o for o in self.options(row) if o.utilisation <= most or not stops_free]
            found.append(min(options, key=lambda o: sorted(o.relube)) if stops_free else options[0])
        return found

    def options(self, row: int) -> list[PullOption]:
        """Return the options of a settled offer, fewest stops first; none where it is impossible."""
        used = float(self._used[row])
        if self.stops[row] or not used < np.inf:
            return self._stopping.get(row, [])
        plain = PullOption(*self._named(row), (), used, float(self.climb[row]))
        return [plain, *self._stopping.get(row, ())]

    def _settle(self, rows: IntArray, against: bool) -> None:
        """Settle offers of one direction: evaluate them with as many stops as offered, and with more if need be."""
        way, carrier = self._pulls.way(against)
        left = rows
        between = np.concatenate(([0], np.cumsum(way.lubes))) if way.ages else None
        while left.size:
            feed, pull = (way.numbered(vaults) for vaults in ends_of(self, left))
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
        against = row >= self.start.size
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
            own = PullOption(*self._named(row), relube[k], float(used[k]), float(self.climb[row]))
            self._stopping[row] = [own]

    def _judged(self, rows: IntArray, loads: FloatArray, relube: Sequence[tuple[int, ...]]) -> FloatArray:
        """Worst utilisation by any binding check, infinite where one fails."""
        passes = loads <= 1.0
        for k in np.flatnonzero(np.abs(loads - 1.0) < _NEAR).tolist():
            result = self._pulls.evaluate(*self._named(int(rows[k])), relube[k])
            passes[k] = result.verdict == "pass"
        stretch = rows % self.start.size
        low, high = self.start.take(stretch), self.end.take(stretch)
        if passes.all():
            return self._pulls.steady.used(low, high, loads)
        used = np.full(rows.size, np.inf)
        used[passes] = self._pulls.steady.used(low[passes], high[passes], loads[passes])
        return used

    def _named(self, row: int) -> tuple[int, int]:
        """Feed and pull vault of an offer."""
        back, stretch = divmod(row, self.start.size)
        ends = int(self.start[stretch]), int(self.end[stretch])
        return ends[::-1] if back else ends
