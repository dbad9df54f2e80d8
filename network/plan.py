"""The cheapest plan of a feeder: sections, pulls, directions, re-lube stops. Knows pulls only through a callable."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable

from network.blocked import no_plan
from network.cheapest import cheapest
from network.market import exactly, market_of, reel_for, sections_of
from network.pulls import Listed, Offers, PullOption
from network.row import RowFacts
from network.terms import Costs, NoPlan, Plan, PlanRules, Reel, Section

__all__ = [
    "Costs",
    "NoPlan",
    "Options",
    "Plan",
    "PlanRules",
    "PullOption",
    "Reel",
    "Section",
    "plan_row",
]

Options = Callable[[int], Iterable[PullOption]]
"""All feasible pulls fed at a vault: for each pull vault in reach, for each number of re-lube stops worth having
(fewest first; more only where they lower the utilisation), the option of least utilisation."""


def plan_row(
    facts: RowFacts,
    options: Options | Offers,
    rules: PlanRules,
    without: Collection[tuple[int, int]] = (),
) -> Plan | NoPlan:
    """Return the cheapest plan of a row, or why there is none.

    Parameters
    ----------
    facts : RowFacts
        Vaults, what is allowed at them, and stations.
    options : Options or Offers
        The feasible pulls, whatever is allowed at the vaults: as a callable of the feed vault, or all at once.
    rules : PlanRules
        Prices, reels, slack, middle feeds, vaults where a splice must be.
    without : collection of (int, int), optional
        First and last vaults of sections that the plan must do without.

    Returns
    -------
    Plan or NoPlan
        Of all plans the one of least cost; among those, the one whose worst utilisation is lowest; among those, the one
        that climbs least; among those, the one whose sections end at the earlier vaults, then that is fed and
        re-lubricated at the earlier vaults. Prices count in steps of 1e-12 of the greatest, utilisations of 1e-9, climbs of a
        micrometre, so that rounding cannot decide.

    Raises
    ------
    DomainError
        An option that names a vault the row has not, or a figure that is not finite.
    """
    if callable(options):
        given = options
        options = Listed(o for feed in range(len(facts.vaults)) for o in given(feed))
    market = market_of(facts, options, rules, without)
    choice = cheapest(market, 0, market.last)
    if choice is None:
        return no_plan(facts, options, rules, market)
    sections = sections_of(facts, options, rules, choice)
    pulls = [p for s in sections for p in s.pulls]
    splices, setups = len(sections) - 1, len(pulls)
    relubes = sum([len(p.relube) for p in pulls])
    middles = setups - len(sections)
    costs = rules.costs
    tags = [v.tag for v in facts.vaults] if rules.stocks else []
    cost = (
        exactly(costs.splice) * splices
        + exactly(costs.setup) * setups
        + exactly(costs.relube) * relubes
        + exactly(costs.middle_feed) * middles
        + sum(reel_for(rules.at(tags, s.start), s.cable_length)[1] for s in sections if s.reel is not None)
        + sum(exactly(price) for s in sections[:-1] if (price := facts.vaults[s.end].price))
    )
    return Plan(
        sections,
        float(cost),
        splices,
        setups,
        relubes,
        middles,
        max([p.utilisation for p in pulls]),
        sum([p.climb for p in pulls]),
    )
