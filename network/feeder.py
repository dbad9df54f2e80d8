"""The whole chain for one feeder: network, route, row, pulls, plan."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from mechanics.cable import Bundle
from mechanics.pull import Rules
from mechanics.track import Bore
from network.graph import DuctNetwork
from network.lay import Guides
from network.plan import NoPlan, Plan, PlanRules
from network.reach import RowPulls
from network.route import FeederRoute
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
    pulls : RowPulls
        Evaluates any pull of the row.
    plan : Plan or NoPlan
        The answer.
    """

    route: FeederRoute
    row: Row
    pulls: RowPulls
    plan: Plan | NoPlan


def plan_feeder(
    network: DuctNetwork,
    feeder: Sequence[str],
    bore_of: Callable[[Duct], Bore],
    bundle: Bundle,
    rules: Rules,
    plan_rules: PlanRules,
    guides: Guides | None = None,
) -> FeederPlan:
    """Plan one feeder: route, row, pulls and the cheapest plan in one call."""
    raise NotImplementedError
