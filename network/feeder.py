"""The whole chain for one feeder: network, route, row, pulls, plan."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from mechanics.cable import Bundle
from mechanics.pull import Rules
from mechanics.track import Bore
from network.graph import DuctNetwork
from network.lay import Guides, build_row
from network.mixed import OtherBundle, Pulls, pulls_of, with_others
from network.plan import NoPlan, Plan, PlanRules, plan_row
from network.route import FeederRoute, feeder_route
from network.row import Row
from routeio.survey import Duct


@dataclass(frozen=True, eq=False)
class FeederPlan:
    """A feeder's route, row, pulls and plan.

    Parameters
    ----------
    route : FeederRoute
        Vaults and ducts, with findings.
    row : Row
        The same as chains and bores.
    pulls : RowPulls or MixedPulls
        Evaluates any pull of the row.
    plan : Plan or NoPlan
        The answer.
    rules : PlanRules
        What the plan keeps to: a splice wherever the bundle changes, too.
    """

    route: FeederRoute
    row: Row
    pulls: Pulls
    plan: Plan | NoPlan
    rules: PlanRules


def plan_feeder(
    network: DuctNetwork,
    feeder: Sequence[str],
    bore_of: Callable[[Duct], Bore],
    bundle: Bundle,
    rules: Rules,
    plan_rules: PlanRules,
    guides: Guides | None = None,
    others: Sequence[OtherBundle] = (),
) -> FeederPlan:
    """Plan one feeder: route, row, pulls and the cheapest plan in one call.

    Parameters
    ----------
    network : DuctNetwork
        Vaults and ducts.
    feeder : sequence of str
        From, to, and any vaults it must pass between them.
    bore_of : callable
        The bore of a duct.
    bundle : Bundle
        What is pulled.
    rules : Rules
        What a pull is judged by.
    plan_rules : PlanRules
        Prices, reel, slack, middle feeds.
    guides : Guides, optional
        At the vaults; default as :class:`network.lay.Guides` has them.
    others : sequence of OtherBundle, optional
        What else is pulled, between which vaults.

    Returns
    -------
    FeederPlan
        With a plan, or with why there is none.

    Raises
    ------
    InputRefusedError
        Unknown vaults, no way between them.
    DomainError
        A figure out of its range, another bundle between vaults that are not the feeder's, or where no splice is allowed.
    """
    route = feeder_route(network, feeder)
    row = restricted(build_row(route, bore_of, guides or Guides()), plan_rules)
    pulls = pulls_of(row, bundle, rules, others)
    keeping = with_others(plan_rules, route.tags, others)
    return FeederPlan(route, row, pulls, plan_row(row.facts, pulls.offers(), keeping), keeping)


def restricted(row: Row, rules: PlanRules) -> Row:
    """Return a row at whose vaults what the rules forbid is not allowed.

    Parameters
    ----------
    row : Row
        With what its vaults' own fields say.
    rules : PlanRules
        What else is forbidden.

    Returns
    -------
    Row
        Itself where nothing is.
    """
    vaults = tuple(
        replace(
            v,
            splice=v.splice and v.tag not in rules.no_splice,
            feed=v.feed and v.tag not in rules.no_feed,
            pull=v.pull and v.tag not in rules.no_pull,
        )
        for v in row.vaults
    )
    return row if vaults == row.vaults else replace(row, vaults=vaults)
