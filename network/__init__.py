"""The graph of vaults and ducts: feeder routes, pulls, sections, plans.

From a survey to a plan, step by step (:func:`plan_feeder` does steps 2 to 5 in one)::

    network = DuctNetwork.from_survey(survey)               # 1. vaults and ducts as a graph
    route = feeder_route(network, ["SUB-A", "RISER-9"])     # 2. which vaults, which ducts, findings
    row = build_row(route, bore_of, Guides())               # 3. spans and crossings, ready to slice
    pulls = RowPulls(row, bundle, rules)                    # 4. feasible pulls, with re-lube stops
    plan = plan_row(row.facts, pulls.offers(), plan_rules)  # 5. Plan or NoPlan

What else is asked of a plan: :func:`alternatives` trades cost against margin, :func:`runners_up` gives the best plan
without each section, :func:`gains` says what one more stop, a larger sweep or less friction would make of a pull, and
:func:`advise` what would let a plan through where there is none.

A single pull of the row: ``pulls.evaluate(feed, pull, relube)`` gives the :class:`mechanics.pull.PullResult`,
``pulls.best(feed, pull)`` chooses the re-lube stops too. A span on its own, where no feeder is asked for:
``build_row(duct_route(network, duct_id), ...)`` gives a row of two vaults. Where other cables are pulled on a stretch of the
row, :class:`OtherBundle` says which, and :func:`pulls_of` takes the place of ``RowPulls``.
"""

from network.advice import Remedy, Steps, advise
from network.alternatives import Alternative, RunnerUp, alternatives, runners_up
from network.errors import DoublesBackError, Gap, NoRouteError, UnknownVaultError
from network.feeder import FeederPlan, plan_feeder
from network.gains import Gain, gains
from network.graph import DuctNetwork
from network.lay import Guides, build_row, guide_bend
from network.mixed import MixedPulls, OtherBundle, pulls_of
from network.place import PlaceRules, Proposal, propose
from network.plan import Costs, NoPlan, Options, Plan, PlanRules, PullOption, Reel, Section, plan_row
from network.reach import RowPulls
from network.route import FeederRoute, Leg, duct_route, feeder_route
from network.row import Row, RowFacts, RowVault, Stretch

__all__ = [
    "Alternative",
    "Costs",
    "DoublesBackError",
    "DuctNetwork",
    "FeederPlan",
    "FeederRoute",
    "Gain",
    "Gap",
    "Guides",
    "Leg",
    "MixedPulls",
    "NoPlan",
    "NoRouteError",
    "Options",
    "OtherBundle",
    "PlaceRules",
    "Plan",
    "PlanRules",
    "Proposal",
    "PullOption",
    "Reel",
    "Remedy",
    "Row",
    "RowFacts",
    "RowPulls",
    "RowVault",
    "RunnerUp",
    "Section",
    "Steps",
    "Stretch",
    "UnknownVaultError",
    "advise",
    "alternatives",
    "build_row",
    "duct_route",
    "feeder_route",
    "gains",
    "guide_bend",
    "plan_feeder",
    "plan_row",
    "propose",
    "pulls_of",
    "runners_up",
]
