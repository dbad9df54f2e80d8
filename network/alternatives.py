"""What else there is: plans that cost more and strain the cable less, and what each section's runner-up would cost."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from network.market import UTILISATION_STEP
from network.plan import plan_row
from network.pulls import Offers, Within
from network.row import RowFacts
from network.terms import NoPlan, Plan, PlanRules


@dataclass(frozen=True)
class Alternative:
    """A plan that none beats in both cost and margin.

    Parameters
    ----------
    plan : Plan
        The cheapest at its worst utilisation.
    knee : bool
        Whether beyond it margin becomes dear: of all, it lies farthest below the line from the first to the last.
    """

    plan: Plan
    knee: bool


@dataclass(frozen=True)
class RunnerUp:
    """The best plan without one of the sections.

    Parameters
    ----------
    section : int
        Which section of the plan is done without.
    plan : Plan or NoPlan
        The best without it, or why there is none.
    extra_cost : float or None
        What it costs more; None where there is none.
    """

    section: int
    plan: Plan | NoPlan
    extra_cost: float | None


def alternatives(facts: RowFacts, offers: Offers, rules: PlanRules, count: int) -> tuple[Alternative, ...]:
    """Return the trade-off between cost and margin, cheapest first.

    Parameters
    ----------
    facts : RowFacts
        Vaults and stations.
    offers : Offers
        All feasible pulls.
    rules : PlanRules
        Prices, reels, slack.
    count : int
        How many plans at most.

    Returns
    -------
    tuple of Alternative
        The first is the plan itself; each further one is the cheapest of those that strain the cable less than the one
        before, with as many re-lube stops as that takes. Empty where there is no plan.
    """
    plans: list[Plan] = []
    most = 1.0
    while len(plans) < count and most > 0.0:
        found = plan_row(facts, Within(offers, most), rules) if plans else plan_row(facts, offers, rules)
        if isinstance(found, NoPlan):
            break
        if plans and found.cost <= plans[-1].cost:
            # Where stops cost nothing, the first of them was not yet the one of least utilisation.
            plans.pop()
        plans.append(found)
        most = found.utilisation - 2.0 * UTILISATION_STEP
    knee = _knee(plans)
    return tuple(Alternative(plan, k == knee) for k, plan in enumerate(plans))


def runners_up(facts: RowFacts, offers: Offers, rules: PlanRules, plan: Plan) -> tuple[RunnerUp, ...]:
    """Return, for each section of a plan, the best plan that does without it.

    Parameters
    ----------
    facts : RowFacts
        Vaults and stations.
    offers : Offers
        All feasible pulls.
    rules : PlanRules
        Prices, reels, slack.
    plan : Plan
        The best there is.

    Returns
    -------
    tuple of RunnerUp
        One a section.
    """
    found = []
    for k, section in enumerate(plan.sections):
        other = plan_row(facts, offers, rules, without=[(section.start, section.end)])
        extra = other.cost - plan.cost if isinstance(other, Plan) else None
        found.append(RunnerUp(k, other, extra))
    return tuple(found)


def _knee(plans: Sequence[Plan]) -> int | None:
    """Index of the plan farthest below the line from the first to the last; None where none lies below it."""
    if len(plans) < 3:
        return None
    first, last = plans[0], plans[-1]
    dear, strain = last.cost - first.cost, first.utilisation - last.utilisation
    if not (dear > 0.0 and strain > 0.0):
        return None
    below = [(first.utilisation - p.utilisation) / strain - (p.cost - first.cost) / dear for p in plans[1:-1]]
    best = max(range(len(below)), key=below.__getitem__)
    return best + 1 if below[best] > 0.0 else None
