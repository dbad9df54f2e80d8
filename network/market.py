"""From a row's pulls and a job's prices to the whole numbers that the search works on, and back to sections."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from decimal import Decimal
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from mechanics.chain import IntArray
from mechanics.errors import DomainError, FloatArray, in_range
from network.ahead import NOTHING
from network.cheapest import Choice, Market
from network.pairs import Pairs
from network.pulls import Offers, PullOption, ends_of
from network.row import RowFacts
from network.terms import PlanRules, Reel, Section

# A cable that is too long for its reel by less than this fits: rounding of stations. [m]
FITS = 1e-6
# Steps in which utilisations and climbs count.
UTILISATION_STEP = 1e-9
_FREE = Fraction(0)
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


def small_unit(prices: Iterable[float]) -> Fraction:
    """Return how many of one small unit of money make 1, so that prices are whole numbers of it.

    Parameters
    ----------
    prices : iterable of float
        Finite and at least 0.

    Returns
    -------
    Fraction
        A power of ten that leaves the greatest price below 10^12: a plan of a million sections still fits 64 bits.

    Examples
    --------
    >>> small_unit([10.0, 3.0, 0.1])
    Fraction(10000000000, 1)
    """
    greatest = Decimal(repr(float(max(prices))))
    return Fraction(10) ** (_DIGITS - 1 - greatest.adjusted()) if greatest else Fraction(1)


def prices_of(rules: PlanRules) -> tuple[float, ...]:
    """Return every price that a plan can be charged once.

    Parameters
    ----------
    rules : PlanRules
        Prices and reels.

    Returns
    -------
    tuple of float
        Of splice, set-up, re-lube stop, middle feed, and of each reel with all of it wasted.
    """
    costs = rules.costs
    sizes = (*rules.reels, *(r for stock in rules.stocks for r in stock.reels))
    reels = (r.cost + rules.waste * r.length for r in sizes)
    return (costs.splice, costs.setup, costs.relube, costs.middle_feed, *reels)


def reel_for(rules: PlanRules, length: float) -> tuple[Reel | None, Fraction]:
    """Return the reel on which a cable comes cheapest, and what it costs with its waste.

    Parameters
    ----------
    rules : PlanRules
        Reels and the price of waste; of one section, where reels differ (:meth:`PlanRules.at`).
    length : float
        Of the cable, not above the longest reel. [m]

    Returns
    -------
    tuple of (Reel or None, Fraction)
        Of reels that cost the same, the shortest.
    """
    if not rules.reels:
        return None, _FREE
    fitting = [
        (
            exactly(r.cost) + exactly(rules.waste) * max(exactly(r.length) - exactly(length), Fraction(0)),
            r.length,
            r,
        )
        for r in rules.reels
        if length <= r.length + FITS
    ]
    if not fitting:
        return None, _FREE
    cost, _, reel = min(fitting, key=lambda one: one[:2])
    return reel, cost


def market_of(
    facts: RowFacts, offers: Offers, rules: PlanRules, without: Collection[tuple[int, int]] = ()
) -> Market:
    """Return what the search works on.

    Parameters
    ----------
    facts : RowFacts
        Vaults and stations.
    offers : Offers
        All feasible pulls.
    rules : PlanRules
        Prices, reels, slack, middle feeds.
    without : collection of (int, int), optional
        First and last vaults of sections that may not be had.

    Returns
    -------
    Market
        Its pulls are the offers.

    Raises
    ------
    DomainError
        An offer, or a vault where a splice must be, that the row has not.
    """
    last = len(facts.vaults) - 1
    start, end = offers.start, offers.end
    if start.size and not (start.min() >= 0 and end.max() <= last):
        raise DomainError(
            f"feed and pull must each be a vault from 0 to {last}, got {start.min()} to {end.max()}"
        )
    new = facts.prices.copy()
    new[[0, -1]] = 0.0
    in_range("vaults.price", new, at_least=0.0)
    unit = small_unit((*prices_of(rules), float(new.max())))
    costs = rules.costs
    splice, setup, relube, middle = (
        round(exactly(p) * unit) for p in (costs.splice, costs.setup, costs.relube, costs.middle_feed)
    )

    def priced(stops: IntArray) -> IntArray:
        cost = relube * stops + setup
        np.putmask(cost, stops < 0, NOTHING)
        return cost

    def settle(pulls: IntArray) -> tuple[IntArray, IntArray, IntArray]:
        used = offers.settle(pulls, rules.costs.relube == 0.0)
        cost, possible = priced(offers.stops[pulls]), np.isfinite(used)
        if not possible.all():
            cost[~possible], used[~possible] = NOTHING, 0.0
        climb = np.rint(offers.climb[pulls] / _CLIMB).astype(np.int64)
        return cost, steps(used), climb

    cost = priced(offers.stops)
    fed, drawn = permitted(facts, "feed"), permitted(facts, "pull")
    if not (fed.all() and drawn.all()):
        cost[~np.append(fed[start] & drawn[end], fed[end] & drawn[start])] = NOTHING

    arrive, depart = facts.stations
    stocks = _stocks(facts, rules)
    longest = np.full(last + 1, rules.longest)
    for low, high, reels in stocks[1:]:
        longest[low:high] = reels.longest
    room = longest - 2.0 * rules.slack + FITS
    farthest = np.minimum(
        np.searchsorted(arrive, depart + room, side="right") - 1, _next_forced(facts, rules)
    )
    spliced = permitted(facts, "splice")
    priced_reels = any(own.reels for _, _, own in stocks) or new.any()

    def charge(start: IntArray, end: IntArray) -> IntArray:
        price = np.full(start.size, splice)
        np.putmask(price, end == last, 0)
        if priced_reels:
            length = arrive[end] - depart[start] + 2.0 * rules.slack
            reel = np.full(length.size, np.inf)
            for low, high, own in stocks:
                reel = np.where((low <= start) & (start < high), _of_reels(own, length), reel)
            reel = np.where(np.isfinite(reel), reel, 0.0) + new[end]
            price += np.rint(reel * float(unit)).astype(np.int64)
        np.putmask(price, end > farthest.take(start), NOTHING)
        if not spliced.all():
            price[~(spliced[start] & spliced[end])] = NOTHING
        for low, high in without:
            price[(start == low) & (end == high)] = NOTHING
        return price

    pairs = None
    if rules.middle_feed:
        # a vault that has a price is paid for where a section ends, and stands nowhere else
        pairs = Pairs(start, end, last, new == 0.0, middle)
    return Market(start, end, cost, settle, charge, last, pairs)


def _stocks(facts: RowFacts, rules: PlanRules) -> list[tuple[int, int, PlanRules]]:
    """The rules, then those of the stretches whose cable comes on other reels, with their first and last vaults."""
    tags = [v.tag for v in facts.vaults] if rules.stocks else []
    ends = [(tags.index(s.first), tags.index(s.last)) for s in rules.stocks]
    return [(0, len(facts.vaults) - 1, rules), *((low, high, rules.at(tags, low)) for low, high in ends)]


def _of_reels(rules: PlanRules, length: FloatArray) -> FloatArray:
    """What the cheapest reels for cables of these lengths cost, with what is left on them; infinite where none will do."""
    cost = np.full(length.size, np.inf)
    for reel in rules.reels:
        price = reel.cost + rules.waste * np.maximum(reel.length - length, 0.0)
        cost = np.where(length <= reel.length + FITS, np.minimum(cost, price), cost)
    return cost


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
    return np.rint(utilisation / UTILISATION_STEP).astype(np.int64)


def _next_forced(facts: RowFacts, rules: PlanRules) -> IntArray:
    """For each vault, the first after it where a splice must be."""
    last = len(facts.vaults) - 1
    if not rules.splice_at:
        return np.full(last + 1, last)
    tags = [v.tag for v in facts.vaults]
    unknown = [t for t in rules.splice_at if t not in tags]
    if unknown:
        raise DomainError(f"splice_at must name vaults of the row, got {', '.join(unknown)}")
    closed = [t for t in rules.splice_at if not permitted(facts, "splice")[tags.index(t)]]
    if closed:
        raise DomainError(f"splice_at must name vaults where splicing is allowed, got {', '.join(closed)}")
    forced = np.array(sorted({tags.index(t) for t in rules.splice_at} | {len(tags) - 1}))
    after = np.searchsorted(forced, np.arange(len(tags)), side="right")
    return forced[np.minimum(after, forced.size - 1)]


def permitted(facts: RowFacts, what: str) -> NDArray[np.bool_]:
    """Return at which vaults something is allowed; at the row's ends a cable always ends, spliced or terminated.

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
    allowed = facts.allowed[what].copy()
    if what == "splice":
        allowed[[0, -1]] = True
    return allowed


def sections_of(facts: RowFacts, offers: Offers, rules: PlanRules, choice: Choice) -> tuple[Section, ...]:
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

    Returns
    -------
    tuple of Section
        In the row's order.
    """
    ways, most = choice.ways, (choice.utilisation + 0.5) * UTILISATION_STEP
    stops_free = rules.costs.relube == 0.0
    feed = ends_of(offers, ways.first)[0]
    earliest = np.full(len(choice.stretches), len(facts.vaults))
    np.minimum.at(earliest, ways.at, feed)
    ways = ways.where(feed == earliest.take(ways.at))
    best: dict[int, tuple[PullOption, ...]] = {}
    pairs = np.flatnonzero(ways.second != ways.first)
    second = dict(zip(pairs.tolist(), offers.chosen(ways.second[pairs], most, stops_free), strict=True))
    for k, (at, first) in enumerate(
        zip(ways.at.tolist(), offers.chosen(ways.first, most, stops_free), strict=True)
    ):
        pulls = (first, second[k]) if k in second else (first,)
        if at not in best or _earliest(pulls) < _earliest(best[at]):
            best[at] = pulls
    tags = [v.tag for v in facts.vaults] if rules.stocks else []
    sized = rules.reels or rules.stocks
    low, high = np.array(choice.stretches).T
    lengths = (facts.lengths(low, high) + 2.0 * rules.slack).tolist()
    return tuple(
        Section(*ends, best[at], length, reel_for(rules.at(tags, ends[0]), length)[0] if sized else None)
        for at, (ends, length) in enumerate(zip(choice.stretches, lengths, strict=True))
    )


def _earliest(options: tuple[PullOption, ...]) -> tuple[object, ...]:
    """Of the ways to install a section the one of which this is least is fed and re-lubricated earliest."""
    return options[0].feed, *(sorted(o.relube) for o in options)
