"""From a row's pulls and a job's prices to the whole numbers that the search works on, and back to sections."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np

from mechanics.chain import IntArray
from mechanics.errors import DomainError
from network.cheapest import Choice, Market, Pulls
from network.pulls import PullTable
from network.row import RowFacts
from network.terms import Costs, PlanRules, Section

# A cable that is too long for its reel by less than this fits: rounding of stations. [m]
FITS = 1e-6
# Steps in which utilisations and climbs count.
_UTILISATION = 1e-9
_CLIMB = 1e-6
# Digits of the greatest price that count.
_DIGITS = 12


@dataclass(frozen=True, eq=False)
class OptionsOf:
    """The options of a table behind each pull of a market: those of least cost for its feed, pull vault and climb.

    Parameters
    ----------
    offsets : ndarray of int, shape (pulls + 1,)
        Pull k has ``option[offsets[k]:offsets[k + 1]]``.
    option : ndarray of int
        Index into the table.
    utilisation : ndarray of int
        Of each option, in whole steps.
    """

    offsets: IntArray
    option: IntArray
    utilisation: IntArray

    def within(self, pull: int, limit: int) -> list[int]:
        """Return the options of a pull that keep within a utilisation."""
        rows = slice(int(self.offsets[pull]), int(self.offsets[pull + 1]))
        return [int(o) for o in self.option[rows][self.utilisation[rows] <= limit]]


def exactly(price: float) -> Fraction:
    """Return a price as it is written: 0.1 is a tenth.

    Parameters
    ----------
    price : float
        Finite.

    Returns
    -------
    Fraction
        The shortest decimal that gives this float.

    Examples
    --------
    >>> exactly(0.1)
    Fraction(1, 10)
    """
    return Fraction(repr(float(price)))


def whole_prices(costs: Costs) -> tuple[int, int, int, int]:
    """Return the prices of a splice, a set-up, a re-lube stop and a middle feed as whole numbers of one small unit.

    Parameters
    ----------
    costs : Costs
        Finite and at least 0.

    Returns
    -------
    tuple of 4 int
        The greatest below 10^12, so that a plan of a million sections still fits 64 bits.

    Examples
    --------
    >>> whole_prices(Costs(splice=10.0, setup=3.0, relube=0.1))
    (100000000000, 30000000000, 1000000000, 0)
    """
    prices = (costs.splice, costs.setup, costs.relube, costs.middle_feed)
    greatest = Decimal(repr(float(max(prices))))
    unit = Fraction(10) ** (_DIGITS - 1 - greatest.adjusted()) if greatest else Fraction(1)
    splice, setup, relube, middle = (round(exactly(p) * unit) for p in prices)
    return splice, setup, relube, middle


def market_of(facts: RowFacts, table: PullTable, rules: PlanRules) -> tuple[Market, OptionsOf]:
    """Return what the search works on.

    Parameters
    ----------
    facts : RowFacts
        Vaults and stations.
    table : PullTable
        All feasible pulls.
    rules : PlanRules
        Prices, reel, slack, middle feeds.

    Returns
    -------
    tuple of Market and OptionsOf
        The permitted pulls, each at its least cost, and the options that have it.

    Raises
    ------
    DomainError
        An option that names a vault the row has not.
    """
    last = len(facts.vaults) - 1
    for name in ("feed", "pull"):
        values = getattr(table, name)
        if values.size and not (values.min() >= 0 and values.max() <= last):
            raise DomainError(
                f"{name} must be a vault from 0 to {last}, got {values.min()} to {values.max()}"
            )
    splice, setup, relube, middle = whole_prices(rules.costs)
    cost = setup + relube * table.stops
    utilisation = np.rint(table.utilisation / _UTILISATION).astype(np.int64)
    climb = np.rint(table.climb / _CLIMB).astype(np.int64)

    allowed = permitted(facts, "feed")[table.feed] & permitted(facts, "pull")[table.pull]
    order = np.flatnonzero(allowed)
    way = table.feed * (last + 1) + table.pull
    if not np.all(np.diff(way[order]) > 0):
        order = order[np.lexsort((cost[order], climb[order], way[order]))]
        key = np.stack((way[order], climb[order]))
        new = np.concatenate(([True], np.any(key[:, 1:] != key[:, :-1], axis=0)))
        least = cost[order][new]
        order = order[cost[order] == least[np.cumsum(new) - 1]]
        key = np.stack((way[order], climb[order]))
        first = np.flatnonzero(np.concatenate(([True], np.any(key[:, 1:] != key[:, :-1], axis=0))))
    else:
        first = np.arange(order.size)
    lead = order[first]
    spread = np.minimum.reduceat(utilisation[order], first) if first.size else utilisation[order]
    pulls = Pulls(table.feed[lead], table.pull[lead], cost[lead], spread, climb[lead])

    arrive, depart = np.array(facts.arrive), np.array(facts.depart)
    room = np.inf if rules.reel is None else rules.reel - 2.0 * rules.slack + FITS
    farthest = np.searchsorted(arrive, depart + room, side="right") - 1
    market = Market(
        pulls, farthest, permitted(facts, "splice"), splice, middle if rules.middle_feed else None
    )
    return market, OptionsOf(np.append(first, order.size), order, utilisation[order])


def permitted(facts: RowFacts, what: str) -> np.ndarray:
    """Return at which vaults something is allowed; at the row's ends everything is.

    Parameters
    ----------
    facts : RowFacts
        Vaults.
    what : {"splice", "feed", "pull"}
        Which permission.

    Returns
    -------
    ndarray of bool, shape (n + 1,)
        One a vault.
    """
    allowed = np.array([bool(getattr(v, what)) for v in facts.vaults])
    allowed[[0, -1]] = True
    return allowed


def sections_of(
    facts: RowFacts, table: PullTable, rules: PlanRules, choice: Choice, options_of: OptionsOf
) -> tuple[Section, ...]:
    """Return a choice as sections: of what is left for each, what is fed and re-lubricated at the earlier vaults.

    Parameters
    ----------
    facts : RowFacts
        Stations.
    table : PullTable
        The options.
    rules : PlanRules
        Slack.
    choice : Choice
        What the search found.
    options_of : OptionsOf
        The options behind each pull.

    Returns
    -------
    tuple of Section
        In the row's order.
    """
    found = choice.sections
    best: dict[tuple[int, int], tuple[tuple[object, ...], tuple[int, ...]]] = {}
    for k in range(found.start.size):
        options = [
            min(options_of.within(int(pull), choice.utilisation), key=lambda o: sorted(table.stops_of(o)))
            for pull in (found.first[k], found.second[k])
            if pull >= 0
        ]
        key = (int(table.feed[options[0]]), *(sorted(table.stops_of(o)) for o in options))
        stretch = int(found.start[k]), int(found.end[k])
        if stretch not in best or key < best[stretch][0]:
            best[stretch] = key, tuple(options)
    return tuple(
        Section(
            low,
            high,
            tuple(table.option(o) for o in best[low, high][1]),
            facts.length(low, high) + 2.0 * rules.slack,
        )
        for low, high in choice.stretches
    )
