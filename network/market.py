"""From a row's pulls and a job's prices to the whole numbers that the search works on, and back to sections."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from mechanics.chain import IntArray
from mechanics.errors import DomainError, FloatArray
from network.cheapest import IMPOSSIBLE, Choice, Market
from network.pulls import Offers, PullOption
from network.row import RowFacts
from network.terms import Costs, PlanRules, Section

# A cable that is too long for its reel by less than this fits: rounding of stations. [m]
FITS = 1e-6
# Steps in which utilisations and climbs count.
_UTILISATION = 1e-9
_CLIMB = 1e-6
# Digits of the greatest price that count.
_DIGITS = 12


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


def market_of(facts: RowFacts, offers: Offers, rules: PlanRules) -> tuple[Market, IntArray]:
    """Return what the search works on.

    Parameters
    ----------
    facts : RowFacts
        Vaults and stations.
    offers : Offers
        All feasible pulls.
    rules : PlanRules
        Prices, reel, slack, middle feeds.

    Returns
    -------
    tuple of Market and ndarray of int
        The permitted pulls, and which offer each of them is.

    Raises
    ------
    DomainError
        An offer that names a vault the row has not.
    """
    last = len(facts.vaults) - 1
    for name in ("feed", "pull"):
        values = getattr(offers, name)
        if values.size and not (values.min() >= 0 and values.max() <= last):
            raise DomainError(
                f"{name} must be a vault from 0 to {last}, got {values.min()} to {values.max()}"
            )
    splice, setup, relube, middle = whole_prices(rules.costs)
    allowed = permitted(facts, "feed")[offers.feed] & permitted(facts, "pull")[offers.pull]
    rows = np.flatnonzero(allowed)
    rows = rows[np.argsort(offers.feed[rows], kind="stable")]

    def settle(pulls: IntArray) -> tuple[IntArray, IntArray]:
        used = offers.settle(rows[pulls], rules.costs.relube == 0.0)
        possible = np.isfinite(used)
        cost = np.where(possible, setup + relube * offers.stops[rows[pulls]], IMPOSSIBLE)
        return cost, steps(np.where(possible, used, 0.0))

    arrive, depart = np.array(facts.arrive), np.array(facts.depart)
    room = np.inf if rules.reel is None else rules.reel - 2.0 * rules.slack + FITS
    market = Market(
        offers.feed[rows],
        offers.pull[rows],
        setup + relube * offers.stops[rows],
        np.rint(offers.climb[rows] / _CLIMB).astype(np.int64),
        settle,
        np.searchsorted(arrive, depart + room, side="right") - 1,
        permitted(facts, "splice"),
        splice,
        middle if rules.middle_feed else None,
    )
    return market, rows


def steps(utilisation: FloatArray) -> IntArray:
    """Return utilisations as the whole steps in which they are compared.

    Parameters
    ----------
    utilisation : ndarray
        Finite.

    Returns
    -------
    ndarray of int
        Of the same shape.
    """
    return np.rint(utilisation / _UTILISATION).astype(np.int64)


def permitted(facts: RowFacts, what: str) -> NDArray[np.bool_]:
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
    facts: RowFacts, offers: Offers, rules: PlanRules, choice: Choice, rows: IntArray
) -> tuple[Section, ...]:
    """Return a choice as sections: of what is left for each, what is fed and re-lubricated at the earlier vaults.

    Parameters
    ----------
    facts : RowFacts
        Stations.
    offers : Offers
        The pulls.
    rules : PlanRules
        Slack.
    choice : Choice
        What the search found.
    rows : ndarray of int
        Which offer each pull of the market is.

    Returns
    -------
    tuple of Section
        In the row's order.
    """
    found, most = choice.sections, (choice.utilisation + 0.5) * _UTILISATION
    stops_free = rules.costs.relube == 0.0
    best: dict[tuple[int, int], tuple[tuple[object, ...], tuple[PullOption, ...]]] = {}
    columns = (found.start, found.end, rows[found.first], np.where(found.second < 0, -1, rows[found.second]))
    for low, high, first, second in zip(*(c.tolist() for c in columns), strict=True):
        options = tuple(offers.option(p, most, stops_free) for p in (first, second) if p >= 0)
        key = (options[0].feed, *(sorted(o.relube) for o in options))
        if (low, high) not in best or key < best[low, high][0]:
            best[low, high] = key, options
    return tuple(
        Section(low, high, best[low, high][1], facts.length(low, high) + 2.0 * rules.slack)
        for low, high in choice.stretches
    )
