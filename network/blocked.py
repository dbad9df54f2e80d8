"""Why a row has no plan: the spans that no section can cover, how far sections get, and the best of what there is."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from mechanics.chain import IntArray
from network.ahead import NOTHING
from network.cheapest import Choice, Market, cheapest, reachable
from network.market import FITS, permitted, sections_of
from network.pulls import Offers, ends_of
from network.row import RowFacts
from network.terms import NoPlan, PlanRules, Section

# Vaults named in a reason, the nearest.
_NAMED = 4


def no_plan(
    facts: RowFacts,
    offers: Offers,
    rules: PlanRules,
    market: Market,
    length_text: Callable[[float], str] = "{:.2f} m".format,
) -> NoPlan:
    """Return why there is no plan.

    Parameters
    ----------
    facts : RowFacts
        Vaults and stations.
    offers : Offers
        All feasible pulls, whatever is allowed at the vaults.
    rules : PlanRules
        Reel and slack.
    market : Market
        What is allowed of them.
    length_text : callable, optional
        Writes a length in metres as a person reads it.

    Returns
    -------
    NoPlan
        With the best sections from either end.
    """
    if not offers.exact:
        market.settled(np.flatnonzero(market.cost < NOTHING))
    while True:
        begun, ended = reachable(market)
        reached, resumes = int(begun[-1]), int(ended[0])
        partial = cheapest(market, 0, reached) if reached else None
        rest = cheapest(market, resumes, market.last) if resumes < market.last else None
        # What was taken for possible may have turned out not to be.
        if (partial or not reached) and (rest or resumes == market.last):
            break
    blocked, why = _blocked(facts, offers, rules, market, length_text)
    tags = [v.tag for v in facts.vaults]
    if blocked:
        reason = "; ".join(
            f"no section can cover {tags[low]} to {tags[high]}: {because}"
            for (low, high), because in zip(blocked, why, strict=True)
        )
    else:
        reason = (
            f"every span can be covered, but the sections do not meet: from {tags[0]} they reach"
            f" {tags[reached] if reached else 'no vault'}, and it takes {tags[resumes]} to reach {tags[-1]}"
            " from there; vaults between them are wanting, or are not allowed as splice, feed or pull vaults"
        )

    def laid(choice: Choice | None) -> tuple[Section, ...]:
        return () if choice is None else sections_of(facts, offers, rules, choice)

    return NoPlan(blocked, reached, resumes, laid(partial), reason, why, laid(rest))


def _blocked(
    facts: RowFacts,
    offers: Offers,
    rules: PlanRules,
    market: Market,
    length_text: Callable[[float], str],
) -> tuple[tuple[tuple[int, int], ...], tuple[str, ...]]:
    """The spans that no section covers; for each, the first of the things in its way."""
    spans = market.last
    tags = [v.tag for v in facts.vaults]
    stretches = market.stretches()
    covered = _covered(spans, stretches.start, stretches.end, stretches.price < NOTHING)
    possible, allowed = (
        _covered(spans, offers.start, offers.end, had[0] | had[1])
        for had in ((offers.stops >= 0).reshape(2, -1), (market.cost < NOTHING).reshape(2, -1))
    )
    blocked, why = [], []
    for span in np.flatnonzero(~covered).tolist():
        need = facts.length(span, span + 1) + 2.0 * rules.slack
        longest = rules.at(tags, span).longest
        if need > longest + FITS:
            because = f"the cable with its slack is {length_text(need)} long and a reel holds {length_text(longest)}"
        elif not possible[span]:
            because = "no pull through it passes its checks, in either direction"
        elif not allowed[span]:
            because = "the pulls that pass begin or end at vaults where that is not allowed: " + _closed(
                facts, offers, span
            )
        else:
            because = "the pulls that pass begin or end at vaults where splicing is not allowed" + (
                "" if longest == float("inf") else ", or are longer than a reel holds"
            )
        blocked.append((span, span + 1))
        why.append(because)
    return tuple(blocked), tuple(why)


def _closed(facts: RowFacts, offers: Offers, span: int) -> str:
    """What is not allowed where of the pulls through a span that pass, the vaults nearest to it first."""
    through = np.tile((offers.start <= span) & (offers.end > span), 2)
    feed, pull = ends_of(offers, np.flatnonzero(through & (offers.stops >= 0)))
    said = []
    for what, name, ends in (("feed", "feeding", feed), ("pull", "pulling", pull)):
        closed = np.unique(ends[~permitted(facts, what)[ends]]).tolist()
        near = sorted(closed, key=lambda k: (abs(2 * k - 2 * span - 1), k))
        if near:
            more = f" and {len(near) - _NAMED} more" if len(near) > _NAMED else ""
            said.append(f"{name} at {', '.join(facts.vaults[k].tag for k in near[:_NAMED])}{more}")
    return "; ".join(said)


def _covered(spans: int, start: IntArray, end: IntArray, had: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which spans lie in any of the stretches that may be had."""
    edges = np.zeros(spans + 1, dtype=np.int64)
    np.add.at(edges, start[had], 1)
    np.add.at(edges, end[had], -1)
    return np.asarray(np.cumsum(edges)[:-1] > 0)
