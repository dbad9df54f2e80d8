"""From a row's pulls and a job's prices to the whole numbers that the search works on, and back to sections."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from decimal import Decimal
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from mechanics.chain import IntArray
from mechanics.errors import DomainError, FloatArray, in_range
from network.cheapest import IMPOSSIBLE, Choice, Market, Sections
from network.pulls import Offers, PullOption
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
) -> tuple[Market, IntArray]:
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
    tuple of Market and ndarray of int
        The permitted pulls, and which offer each of them is.

    Raises
    ------
    DomainError
        An offer, or a vault where a splice must be, that the row has not.
    """
    last = len(facts.vaults) - 1
    for name in ("feed", "pull"):
        values = getattr(offers, name)
        if values.size and not (values.min() >= 0 and values.max() <= last):
            raise DomainError(
                f"{name} must be a vault from 0 to {last}, got {values.min()} to {values.max()}"
            )
    new = facts.prices.copy()
    new[[0, -1]] = 0.0
    in_range("vaults.price", new, at_least=0.0)
    unit = small_unit((*prices_of(rules), float(new.max())))
    costs = rules.costs
    splice, setup, relube, middle = (
        round(exactly(p) * unit) for p in (costs.splice, costs.setup, costs.relube, costs.middle_feed)
    )
    rows = np.arange(offers.feed.size)
    for what, ends in (("feed", offers.feed), ("pull", offers.pull)):
        allowed = permitted(facts, what)
        if not allowed.all():
            rows = rows[allowed[ends[rows]]]
    if rules.middle_feed:
        rows = rows[np.argsort(offers.feed[rows], kind="stable")]
    feed, pull, stops, rise = offers.feed, offers.pull, offers.stops, offers.climb
    if rules.middle_feed or rows.size < feed.size:
        feed, pull, stops, rise = feed[rows], pull[rows], stops[rows], rise[rows]

    def settle(pulls: IntArray) -> tuple[IntArray, IntArray]:
        own = rows[pulls]
        used = offers.settle(own, rules.costs.relube == 0.0)
        cost, possible = setup + relube * offers.stops[own], np.isfinite(used)
        if not possible.all():
            cost[~possible], used[~possible] = IMPOSSIBLE, 0.0
        return cost, steps(used)

    arrive, depart = facts.stations
    stocks = _stocks(facts, rules)
    longest = np.full(last + 1, rules.longest)
    for low, high, reels in stocks[1:]:
        longest[low:high] = reels.longest
    room = longest - 2.0 * rules.slack + FITS

    def reel_cost(start: IntArray, end: IntArray) -> IntArray:
        length = arrive[end] - depart[start] + 2.0 * rules.slack
        cost = np.full(length.size, np.inf)
        for low, high, own in stocks:
            cost = np.where((low <= start) & (start < high), _of_reels(own, length), cost)
        price = np.where(np.isfinite(cost), cost, 0.0) + new[end]
        return np.asarray(np.rint(price * float(unit)).astype(np.int64))

    climb = np.rint(rise / _CLIMB).astype(np.int64) if rise.any() else np.zeros(rows.size, dtype=np.int64)
    market = Market(
        feed,
        pull,
        setup + relube * stops,
        climb,
        settle,
        np.minimum(np.searchsorted(arrive, depart + room, side="right") - 1, _next_forced(facts, rules)),
        permitted(facts, "splice"),
        splice,
        middle if rules.middle_feed else None,
        reel_cost if any(own.reels for _, _, own in stocks) or new.any() else None,
        without,
        # a vault that has a price is paid for where a section ends, and stands nowhere else
        new == 0.0,
    )
    return market, rows


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


def _earliest_fed(found: Sections, feed: IntArray) -> Sections:
    """Of the sections of each stretch, those fed at its earliest vault."""
    order = np.lexsort((feed, found.end, found.start))
    start, end, fed = found.start[order], found.end[order], feed[order]
    new = np.append(True, (start[1:] != start[:-1]) | (end[1:] != end[:-1]))
    earliest = np.zeros(feed.size, dtype=bool)
    earliest[order] = fed == fed[new][np.cumsum(new) - 1]
    return found.where(earliest)


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
    found, most = choice.sections, (choice.utilisation + 0.5) * UTILISATION_STEP
    found = _earliest_fed(found, offers.feed[rows[found.first]])
    stops_free = rules.costs.relube == 0.0
    best: dict[tuple[int, int], list[tuple[PullOption, ...]]] = {}
    columns = (found.start, found.end, rows[found.first], np.where(found.second < 0, -1, rows[found.second]))
    for low, high, first, second in zip(*(c.tolist() for c in columns), strict=True):
        option = offers.option(first, most, stops_free)
        options = (option,) if second < 0 else (option, offers.option(second, most, stops_free))
        best.setdefault((low, high), []).append(options)
    sections = []
    tags = [v.tag for v in facts.vaults] if rules.stocks else []
    for low, high in choice.stretches:
        length = facts.length(low, high) + 2.0 * rules.slack
        reel = reel_for(rules.at(tags, low), length)[0]
        ways = best[low, high]
        sections.append(
            Section(low, high, ways[0] if len(ways) == 1 else min(ways, key=_earliest), length, reel)
        )
    return tuple(sections)


def _earliest(options: tuple[PullOption, ...]) -> tuple[object, ...]:
    """Of the ways to install a section the one of which this is least is fed and re-lubricated earliest."""
    return options[0].feed, *(sorted(o.relube) for o in options)
