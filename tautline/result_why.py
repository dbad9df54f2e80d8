"""What the result document says of a plan beside the plan: why it is so, what would relieve it, what else there is."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

from mechanics.units import show
from network.alternatives import RunnerUp, alternatives, runners_up
from network.feeder import FeederPlan
from network.gains import Gain, gains
from network.market import permitted
from network.plan import Plan, PlanRules, PullOption, Section, plan_row
from network.pulls import Offers
from tautline.document import Document
from tautline.job import Job
from tautline.result_advice import brief, spot_of, worst_check
from tautline.result_pull import DonePull

SHORT = 60
"""Vaults up to which a feeder's plan is explained without being asked: that takes about as long as reading the drawing."""

_SAME = 1e-9
OtherWay = Literal[
    "fails", "not-allowed", "more-stops", "harder", "climbs-more", "later-vaults", "worse-plan"
]


def explained(
    job: Job, planned: FeederPlan, plan: Plan, sections: list[Document], done: list[DonePull]
) -> list[Document]:
    """Write into the sections of a plan why they are as they are, and return the same of its splices.

    Parameters
    ----------
    job : Job
        For its units and its plan rules.
    planned : FeederPlan
        What was asked.
    plan : Plan
        What came of it.
    sections : list of dict
        The plan's sections as the document writes them; each is given its ``why``, and each of its pulls.
    done : list of DonePull
        The pulls, in order.

    Returns
    -------
    list of dict
        ``splices`` of the schema.
    """
    offers = planned.pulls.offers()
    pulls = iter(done)
    for section, written, runner in zip(
        plan.sections, sections, runners_up(planned.row.facts, offers, job.plan, plan), strict=True
    ):
        written["why"] = _runner(planned, runner, section)
        for option, pull in zip(section.pulls, written["pulls"], strict=True):
            pull["why"] = _pull(job, planned, section, option, next(pulls))
    return [_splice(job, planned, plan, offers, k) for k in range(1, len(plan.sections))]


def alternatives_of(job: Job, planned: FeederPlan, most: int) -> list[Document]:
    """Return the trade-off between cost and margin.

    Parameters
    ----------
    job : Job
        For its plan rules.
    planned : FeederPlan
        What was asked.
    most : int
        How many plans.

    Returns
    -------
    list of dict
        ``alternatives`` of the schema, the plan itself first.
    """
    found = alternatives(planned.row.facts, planned.pulls.offers(), job.plan, most)
    return [
        {"knee": one.knee, "chosen": number == 0, "plan": brief(planned, one.plan)}
        for number, one in enumerate(found)
    ]


def _runner(planned: FeederPlan, runner: RunnerUp, section: Section) -> Document:
    tags = planned.route.tags
    if not isinstance(runner.plan, Plan):
        none = f"no other sections cover {tags[section.start]} to {tags[section.end]}"
        return {"runner_up": None, "extra_cost": None, "none": none}
    return {"runner_up": brief(planned, runner.plan), "extra_cost": runner.extra_cost, "none": ""}


def _pull(job: Job, planned: FeederPlan, section: Section, option: PullOption, done: DonePull) -> Document:
    climb = planned.row.climb(option.pull, option.feed)
    return {
        "other_way": _other_way(planned, job.plan, section, option, done, climb),
        "climb_m": option.climb,
        "other_climb_m": climb,
        "gains": [_gain(planned, gain) for gain in gains(planned.pulls, option, job.options.standard_radii)],
    }


def _other_way(
    planned: FeederPlan, rules: PlanRules, section: Section, option: PullOption, done: DonePull, climb: float
) -> OtherWay:
    """Why the pull does not go the other way, by the order in which plans are compared."""
    facts, other = planned.row.facts, done.reverse
    if len(section.pulls) > 1:
        return "worse-plan"
    if not (permitted(facts, "feed")[option.pull] and permitted(facts, "pull")[option.feed]):
        return "not-allowed"
    if other is None or other.verdict == "fail":
        return "fails"
    if len(other.relube) > len(option.relube) and rules.costs.relube > 0.0:
        return "more-stops"
    if other.utilisation >= option.utilisation:
        return "harder"
    if climb > option.climb + 1e-6:
        return "climbs-more"
    return "later-vaults" if math.isclose(climb, option.climb, abs_tol=1e-6) else "worse-plan"


def _gain(planned: FeederPlan, gain: Gain) -> Document:
    tags = planned.route.tags
    station = turn = None
    x = y = None
    if gain.span is not None and gain.segment is not None:
        chain = planned.row.spans[gain.span].chain
        station = float(chain.station[gain.segment] - 0.5 * chain.length[gain.segment])
        turn = float(chain.turn[gain.segment])
        x, y, _ = spot_of(planned, gain.span, station)
    return {
        "kind": gain.kind,
        "vault": gain.where if gain.kind == "stop" else None,
        "segment": gain.where if gain.kind == "radius" else "",
        "span": None if gain.span is None else [tags[gain.span], tags[gain.span + 1]],
        "station_m": station,
        "x": x,
        "y": y,
        "turn_rad": turn,
        "now": gain.now,
        "value": None if gain.kind == "stop" else gain.value,
        "utilisation": gain.utilisation,
    }


def _splice(job: Job, planned: FeederPlan, plan: Plan, offers: Offers, number: int) -> Document:
    """What it would mean to have a splice at the vault before or behind where one may be."""
    tags = planned.route.tags
    before, behind = plan.sections[number - 1], plan.sections[number]
    here = before.end
    forced = tags[here] in job.plan.splice_at
    allowed = permitted(planned.row.facts, "splice")
    ranges = (range(here - 1, before.start, -1), range(here + 1, behind.end))
    near = [next((k for k in others if allowed[k]), None) for others in ranges]
    return {
        "vault": tags[here],
        "forced": forced,
        "moved": []
        if forced
        else [_moved(job, planned, plan, offers, number, k) for k in near if k is not None],
    }


def _moved(job: Job, planned: FeederPlan, plan: Plan, offers: Offers, number: int, to: int) -> Document:
    """The plan with one splice at another vault and all others where they are."""
    tags, facts = planned.route.tags, planned.row.facts
    ends = [s.end for s in plan.sections[:-1]]
    ends[number - 1] = to
    vaults = tuple(replace(v, splice=k in ends) for k, v in enumerate(facts.vaults))
    rules = replace(job.plan, splice_at=tuple(tags[k] for k in ends))
    other = plan_row(replace(facts, vaults=vaults), offers, rules)
    if isinstance(other, Plan):
        extra = other.cost - plan.cost
        return {
            "to": tags[to],
            "extra_cost": 0.0 if abs(extra) < _SAME else extra,
            "utilisation": other.utilisation,
            "why": _same_cost(job, plan, other),
        }
    low, high = plan.sections[number - 1].start, plan.sections[number].end
    why = _unfit(job, planned, low, to) or _unfit(job, planned, to, high) or "no section fits there"
    return {"to": tags[to], "extra_cost": None, "utilisation": None, "why": why}


def _same_cost(job: Job, plan: Plan, other: Plan) -> str:
    """Why a plan of the same cost comes second."""
    if other.utilisation > plan.utilisation + _SAME:
        return (
            f"with a worst use of {100 * other.utilisation:.1f} % in place of {100 * plan.utilisation:.1f} %"
        )
    if other.climb > plan.climb + 1e-6:
        return f"and climb {show(other.climb - plan.climb, 'length', job.units)} more"
    return "and stand at a later vault"


def _unfit(job: Job, planned: FeederPlan, low: int, high: int) -> str:
    """Why there is no section between two vaults; empty where there is one."""
    row, rules = planned.row, job.plan
    one, other = row.vaults[low].tag, row.vaults[high].tag
    rules = rules.at(planned.route.tags, low)
    need = row.length(low, high) + 2.0 * rules.slack
    if need > rules.longest:
        return (
            f"{one} to {other} takes {show(need, 'length', job.units)} of cable, and a reel holds "
            f"{show(rules.longest, 'length', job.units)}"
        )
    feed, pull = permitted(row.facts, "feed"), permitted(row.facts, "pull")
    ways = [(a, b) for a, b in ((low, high), (high, low)) if feed[a] and pull[b]]
    results = [planned.pulls.best(a, b)[1] for a, b in ways]
    if not results:
        return f"feeding or pulling is not allowed at {one} and {other}"
    if any(r.verdict == "pass" for r in results):
        return ""
    best = min(results, key=lambda r: r.utilisation)
    check = worst_check(best)
    name = check.name.replace("_", " ") if check is not None else "its checks"
    return f"no pull passes between {one} and {other}: without a stop it takes {100 * best.utilisation:.0f} % of {name}"
