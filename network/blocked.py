"""Why a row has no plan: the spans that no section can cover, how far sections get, and the best of what there is."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from mechanics.chain import IntArray
from network.cheapest import IMPOSSIBLE, Choice, Market, cheapest, reachable
from network.market import FITS, permitted, sections_of
from network.pulls import Offers
from network.row import RowFacts
from network.terms import NoPlan, PlanRules, Section

# Vaults named in a reason, the nearest.
_NAMED = 4


def no_plan(
    facts: RowFacts,
    offers: Offers,
    rules: PlanRules,
    market: Market,
    rows: IntArray,
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
    rows : ndarray of int
        Which offer each pull of the market is.
    length_text : callable, optional
        Writes a length in metres as a person reads it.

    Returns
    -------
    NoPlan
        With the best sections from either end.
    """
    if not offers.exact:
        market.settled(np.arange(rows.size))
    while True:
        begun, ended = reachable(market)
        reached, resumes = int(begun[-1]), int(ended[0])
        partial = cheapest(market, 0, reached) if reached else None
        rest = cheapest(market, resumes, market.last) if resumes < market.last else None
        # What was taken for possible may have turned out not to be.
        if (partial or not reached) and (rest or resumes == market.last):
            break
    blocked, why = _blocked(facts, offers, rules, market, rows, length_text)
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
        return () if choice is None else sections_of(facts, offers, rules, choice, rows)

    return NoPlan(blocked, reached, resumes, laid(partial), reason, why, laid(rest))


def _blocked(
    facts: RowFacts,
    offers: Offers,
    rules: PlanRules,
    market: Market,
    rows: IntArray,
    length_text: Callable[[float], str],
) -> tuple[tuple[tuple[int, int], ...], tuple[str, ...]]:
    """The spans that no section covers; for each, the first of the things in its way."""
    spans = market.last
    tags = [v.tag for v in facts.vaults]
    batches = list(market.sections())
    covered = _covered(
        spans, np.concatenate([b.start for b in batches]), np.concatenate([b.end for b in batches])
    )
    possible = np.ones(offers.feed.size, dtype=bool)
    possible[rows] = market.cost < IMPOSSIBLE
    passed = _covered(spans, offers.feed[possible], offers.pull[possible])
    allowed = _covered(spans, market.feed[market.possible], market.pull[market.possible])
    blocked, why = [], []
    for span in np.flatnonzero(~covered).tolist():
        need = facts.length(span, span + 1) + 2.0 * rules.slack
        longest = rules.at(tags, span).longest
        if need > longest + FITS:
            because = f"the cable with its slack is {length_text(need)} long and a reel holds {length_text(longest)}"
        elif not passed[span]:
            because = "no pull through it passes its checks, in either direction"
        elif not allowed[span]:
            because = "the pulls that pass begin or end at vaults where that is not allowed: " + _closed(
                facts, offers, possible, span
            )
        else:
            because = "the pulls that pass begin or end at vaults where splicing is not allowed" + (
                "" if longest == float("inf") else ", or are longer than a reel holds"
            )
        blocked.append((span, span + 1))
        why.append(because)
    return tuple(blocked), tuple(why)


def _closed(facts: RowFacts, offers: Offers, possible: NDArray[np.bool_], span: int) -> str:
    """What is not allowed where of the pulls through a span that pass, the vaults nearest to it first."""
    through = np.flatnonzero(
        possible
        & (np.minimum(offers.feed, offers.pull) <= span)
        & (np.maximum(offers.feed, offers.pull) > span)
    )
    said = []
    for what, name, ends in (("feed", "feeding", offers.feed), ("pull", "pulling", offers.pull)):
        closed = np.unique(ends[through][~permitted(facts, what)[ends[through]]]).tolist()
        near = sorted(closed, key=lambda k: (abs(2 * k - 2 * span - 1), k))
        if near:
            more = f" and {len(near) - _NAMED} more" if len(near) > _NAMED else ""
            said.append(f"{name} at {', '.join(facts.vaults[k].tag for k in near[:_NAMED])}{more}")
    return "; ".join(said)


def _covered(spans: int, one: IntArray, other: IntArray) -> NDArray[np.bool_]:
    """Which spans lie between any of these pairs of vaults."""
    edges = np.zeros(spans + 1, dtype=np.int64)
    np.add.at(edges, np.minimum(one, other), 1)
    np.add.at(edges, np.maximum(one, other), -1)
    return np.asarray(np.cumsum(edges)[:-1] > 0)
