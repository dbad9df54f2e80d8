"""Why a row has no plan: the spans that no section can cover, how far sections get, and the best of what there is."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from mechanics.chain import IntArray
from network.cheapest import Market, cheapest, reachable
from network.market import FITS, OptionsOf, sections_of
from network.pulls import PullTable
from network.row import RowFacts
from network.terms import NoPlan, PlanRules, Section


def no_plan(
    facts: RowFacts,
    table: PullTable,
    rules: PlanRules,
    market: Market,
    options_of: OptionsOf,
    length_text: Callable[[float], str] = "{:.2f} m".format,
) -> NoPlan:
    """Return why there is no plan.

    Parameters
    ----------
    facts : RowFacts
        Vaults and stations.
    table : PullTable
        All feasible pulls, whatever is allowed at the vaults.
    rules : PlanRules
        Reel and slack.
    market : Market
        What is allowed of them.
    options_of : OptionsOf
        The options behind each pull of the market.
    length_text : callable, optional
        Writes a length in metres as a person reads it.

    Returns
    -------
    NoPlan
        With the best sections from either end.
    """
    begun, ended = reachable(market)
    reached, resumes = int(begun[-1]), int(ended[0])
    blocked, why = _blocked(facts, table, rules, market, length_text)
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

    def stretch(low: int, high: int) -> tuple[Section, ...]:
        choice = cheapest(market, low, high) if low < high else None
        return () if choice is None else sections_of(facts, table, rules, choice, options_of)

    return NoPlan(blocked, reached, resumes, stretch(0, reached), reason, why, stretch(resumes, market.last))


def _blocked(
    facts: RowFacts, table: PullTable, rules: PlanRules, market: Market, length_text: Callable[[float], str]
) -> tuple[tuple[tuple[int, int], ...], tuple[str, ...]]:
    """The spans that no section covers; for each, the first of the things in its way."""
    spans = market.last
    batches = list(market.sections())
    covered = _covered(
        spans, np.concatenate([b.start for b in batches]), np.concatenate([b.end for b in batches])
    )
    passed = _covered(spans, table.feed, table.pull)
    allowed = _covered(spans, market.pulls.feed, market.pulls.pull)
    blocked, why = [], []
    for span in np.flatnonzero(~covered).tolist():
        need = facts.length(span, span + 1) + 2.0 * rules.slack
        if not passed[span]:
            because = "no pull through it passes its checks, in either direction"
        elif rules.reel is not None and need > rules.reel + FITS:
            because = f"the cable with its slack is {length_text(need)} long and a reel holds {length_text(rules.reel)}"
        elif not allowed[span]:
            because = "the pulls that pass begin or end at vaults where feeding or pulling is not allowed"
        else:
            because = "the pulls that pass begin or end at vaults where splicing is not allowed" + (
                "" if rules.reel is None else ", or are longer than a reel holds"
            )
        blocked.append((span, span + 1))
        why.append(because)
    return tuple(blocked), tuple(why)


def _covered(spans: int, one: IntArray, other: IntArray) -> np.ndarray:
    """Which spans lie between any of these pairs of vaults."""
    edges = np.zeros(spans + 1, dtype=np.int64)
    np.add.at(edges, np.minimum(one, other), 1)
    np.add.at(edges, np.maximum(one, other), -1)
    return np.asarray(np.cumsum(edges)[:-1] > 0)
