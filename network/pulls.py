"""Feasible pulls between the vaults of a row, and how the planner is offered them."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from mechanics.chain import IntArray
from mechanics.errors import DomainError, FloatArray


@dataclass(frozen=True)
class PullOption:
    """A feasible pull between two vaults of the row.

    Parameters
    ----------
    feed, pull : int
        Vault indices; feed > pull is a pull against the row's direction.
    relube : tuple of int
        Vault indices where lubricant is added, in the direction of the pull.
    utilisation : float
        Worst of a binding check.
    climb : float
        Sum of rises in the direction of the pull. [m]

    Raises
    ------
    DomainError
        A pull that goes nowhere, a re-lube vault that it does not pass, a figure that is not finite.
    """

    feed: int
    pull: int
    relube: tuple[int, ...]
    utilisation: float
    climb: float

    def __post_init__(self) -> None:
        if self.relube or self.feed == self.pull:
            step = 1 if self.pull > self.feed else -1
            way = [step * v for v in (self.feed, *self.relube, self.pull)]
            if any(not a < b for a, b in itertools.pairwise(way)):
                raise DomainError(
                    f"a pull runs from feed through relube to pull, got {self.feed}, {self.relube}, {self.pull}"
                )
        if not (0.0 <= self.utilisation < math.inf and 0.0 <= self.climb < math.inf):
            name = "climb" if 0.0 <= self.utilisation < math.inf else "utilisation"
            raise DomainError(f"{name} must be finite and at least 0, got {getattr(self, name)!r}")

    def moved(self, by: int) -> PullOption:
        """Return the same pull in a row that has so many vaults more before it."""
        relube = tuple(v + by for v in self.relube)
        return replace(self, feed=self.feed + by, pull=self.pull + by, relube=relube)


class Offers(Protocol):
    """The pulls of a row on offer to the planner: through some stretches of it, in both directions.

    Offers go by number: of n stretches, offer i is the pull fed at the start of stretch i, and offer n + i the one fed
    at its end. Of stretches that start at one vault, or end at one, longer ones come later.

    An offer may be optimistic until it is settled: the pull may turn out to take more re-lube stops, or to be
    impossible, but never to be better. So only what lies on a cheapest way need be settled.

    Parameters
    ----------
    *args, **kwargs
        As the class that makes the offers has them.
    """

    @property
    def start(self) -> IntArray:
        """First vault of each stretch, shape (n,)."""

    @property
    def end(self) -> IntArray:
        """Last vault of each stretch, shape (n,)."""

    @property
    def stops(self) -> IntArray:
        """Fewest re-lube stops, shape (2n,); -1 where there is no such pull."""

    @property
    def climb(self) -> FloatArray:
        """Sum of rises in the direction of the pull, shape (2n,). [m]"""

    @property
    def exact(self) -> bool:
        """Whether what is offered is possible but for rounding, with the stops it says."""

    def settle(self, rows: IntArray, stops_free: bool) -> FloatArray:
        """Return the least utilisation of some offers, infinite where one is impossible.

        At their fewest stops, or, where stops cost nothing, at any number. ``stops`` of these rows is final afterwards,
        -1 for what is impossible.
        """

    def chosen(self, rows: IntArray, most: float, stops_free: bool) -> list[PullOption]:
        """Return settled offers: of the options of utilisation up to ``most`` of each, that with the earliest stops."""

    def by_stops(self, row: int) -> Iterator[PullOption]:
        """Yield the options of an offer, fewest stops first, each of less utilisation than those before."""


def ends_of(offers: Offers, rows: IntArray) -> tuple[IntArray, IntArray]:
    """Return where some offers are fed, and where they are pulled to.

    Parameters
    ----------
    offers : Offers
        All of them.
    rows : ndarray of int, shape (n,)
        Numbers of some.

    Returns
    -------
    tuple of two ndarrays of int, shape (n,)
        Feed and pull vaults.
    """
    stretch, back = rows % max(offers.start.size, 1), rows >= offers.start.size
    start, end = offers.start.take(stretch), offers.end.take(stretch)
    return np.where(back, end, start), np.where(back, start, end)


class Listed:
    """Options given one by one, as offers.

    Parameters
    ----------
    options : iterable of PullOption
        In any order, any number for one feed and pull vault.

    Raises
    ------
    DomainError
        Options of one pull that climb differently.
    """

    exact = True

    def __init__(self, options: Iterable[PullOption]) -> None:
        groups: dict[tuple[int, int], list[PullOption]] = {}
        for option in options:
            groups.setdefault((option.feed, option.pull), []).append(option)
        for (feed, pull), group in groups.items():
            if len({o.climb for o in group}) > 1:
                raise DomainError(f"all options of the pull from {feed} to {pull} must have one climb")
            group.sort(key=lambda o: sorted(o.relube))
        keys = sorted({(min(key), max(key)) for key in groups}, key=lambda key: (key[1] - key[0], key))
        self._options = [groups.get(key, []) for key in (*keys, *((end, start) for start, end in keys))]
        self.start: IntArray = np.array([start for start, _ in keys], dtype=np.int64)
        self.end: IntArray = np.array([end for _, end in keys], dtype=np.int64)
        self.stops: IntArray = np.array(
            [min((len(o.relube) for o in g), default=-1) for g in self._options], dtype=np.int64
        )
        self.climb: FloatArray = np.array([g[0].climb if g else 0.0 for g in self._options])

    def settle(self, rows: IntArray, stops_free: bool) -> FloatArray:
        """Return the least utilisation of some offers."""
        return np.array([min(o.utilisation for o in self._counting(k, stops_free)) for k in rows.tolist()])

    def chosen(self, rows: IntArray, most: float, stops_free: bool) -> list[PullOption]:
        """Return of each of some pulls the option with the earliest stops whose utilisation is at most ``most``."""
        return [
            next(o for o in self._counting(k, stops_free) if o.utilisation <= most) for k in rows.tolist()
        ]

    def by_stops(self, row: int) -> Iterator[PullOption]:
        """Yield the options of an offer, fewest stops first, each of less utilisation than those before."""
        least = math.inf
        for option in sorted(
            self._options[row], key=lambda o: (len(o.relube), o.utilisation, sorted(o.relube))
        ):
            if option.utilisation < least:
                least = option.utilisation
                yield option

    def _counting(self, row: int, stops_free: bool) -> list[PullOption]:
        return [o for o in self._options[row] if stops_free or len(o.relube) == self.stops[row]]


class Within:
    """Offers of which only what keeps within a utilisation counts, with as many re-lube stops as that takes.

    Parameters
    ----------
    offers : Offers
        All of them.
    most : float
        Utilisation that no pull may be above.
    """

    exact = False

    def __init__(self, offers: Offers, most: float) -> None:
        self._offers, self._most = offers, most
        self.start: IntArray = offers.start
        self.end: IntArray = offers.end
        self.stops: IntArray = offers.stops.copy()
        self.climb: FloatArray = offers.climb
        self._found: dict[int, PullOption | None] = {}

    def settle(self, rows: IntArray, stops_free: bool) -> FloatArray:
        """Return the utilisation of offers with the fewest stops that keep within the limit, infinite where none do."""
        del stops_free  # within the limit is within it: fewer stops are as good
        self._offers.settle(rows, False)
        used = np.full(rows.size, np.inf)
        for k, row in enumerate(rows.tolist()):
            if row not in self._found:
                self._found[row] = next(
                    (o for o in self._offers.by_stops(row) if o.utilisation <= self._most), None
                )
            found = self._found[row]
            self.stops[row] = -1 if found is None else len(found.relube)
            if found is not None:
                used[k] = found.utilisation
        return used

    def chosen(self, rows: IntArray, most: float, stops_free: bool) -> list[PullOption]:
        """Return settled offers."""
        del most, stops_free
        found = [self._found[row] for row in rows.tolist()]
        if None in found:
            raise DomainError(f"offer {rows[found.index(None)]} does not keep within the limit")
        return [option for option in found if option is not None]

    def by_stops(self, row: int) -> Iterator[PullOption]:
        """Yield the options of an offer that keep within the limit."""
        return (o for o in self._offers.by_stops(row) if o.utilisation <= self._most)
