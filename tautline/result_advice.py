"""What the result document says where there is no plan: what is in the way, what would help, the best parts of a plan."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from mechanics.centreline import place
from mechanics.pieces import cut
from mechanics.pull import Check, PullResult
from mechanics.units import show
from network.advice import Remedy, Steps, advise
from network.feeder import FeederPlan
from network.plan import NoPlan, Plan, PlanRules, Section
from network.stretch import between, missing_sections
from tautline.document import Document
from tautline.job import Job
from tautline.path import along

LOOKED = 5
"""Stretches without a section for which remedies are looked for unless more is asked."""

_KIND_OF_UNIT = {"N": "force", "N/m": "sidewall", "m": "length", "rad": "angle", "degC": "temperature"}
_SMALL = 3.0  # m; lengths under it are radii and clearances, read in inches or millimetres
_AT = 0.5  # m from the feed under which a place is not told: it holds all along, or there
_UNIT = {"friction": "1", "allow": ""} | dict.fromkeys(("radius", "vault", "reel"), "m")
_STEPS = {
    "us": Steps(radius=0.1 * 0.3048, force=10 * 4.4482216152605, length=0.3048, place=0.3048),
    "si": Steps(radius=0.05, force=50.0, length=0.1, place=0.1),
}


def best_parts(planned: FeederPlan, rules: PlanRules, plan: NoPlan) -> tuple[Section, ...]:
    """Return the best sections there are without a plan.

    Parameters
    ----------
    planned : FeederPlan
        What was asked.
    rules : PlanRules
        Of the plan.
    plan : NoPlan
        What is in the way.

    Returns
    -------
    tuple of Section
        From the start of the row, between the stretches that want a section, and to its end; never two for one span.
    """
    rest = plan.rest if plan.reached <= plan.resumes else ()
    return (*plan.partial, *between(planned.pulls, rules, plan), *rest)


def no_plan_document(
    job: Job, planned: FeederPlan, plan: NoPlan, partial: list[Document], *, everything: bool = False
) -> Document:
    """Return why there is no plan, and what would let one through.

    Parameters
    ----------
    job : Job
        For its units and its plan rules.
    planned : FeederPlan
        What was asked.
    plan : NoPlan
        What is in the way.
    partial : list of dict
        The best sections, as the document writes them.
    everything : bool, optional
        Whether to look for remedies for all stretches, however many.

    Returns
    -------
    dict
        ``no_plan`` of the schema.
    """
    tags = planned.route.tags
    stretches = missing_sections(planned.pulls, plan)
    most = None if everything else LOOKED
    found = advise(planned.pulls, job.plan, plan, _STEPS[job.units], most)
    written = [(r, _remedy(planned, r)) for r in found]
    ends = {(s.low, s.high) for s in stretches}
    return {
        "reason": _reason(planned, plan),
        "blocked": [
            {"from": tags[one], "to": tags[other], "why": _why(job, planned, one, other)}
            for one, other in plan.blocked
        ],
        "missing": [
            {
                "from": tags[s.low],
                "to": tags[s.high],
                "spans": [[tags[k], tags[k + 1]] for k in s.spans],
                "why": "; ".join([_through(job, planned, s.low, s.high), *_closed(planned, s.low, s.high)]),
                "looked": everything or k < LOOKED,
                "remedies": [
                    d
                    for r, d in written
                    if (r.low, r.high) == (s.low, s.high) and (r.kind != "allow" or r.feed is not None)
                ],
            }
            for k, s in enumerate(stretches)
        ],
        "remedies": [
            d for r, d in written if (r.low, r.high) not in ends or (r.kind == "allow" and r.feed is None)
        ],
        "reached": tags[plan.reached],
        "resumes": tags[plan.resumes],
        "partial": partial,
    }


def _reason(planned: FeederPlan, plan: NoPlan) -> str:
    tags = planned.route.tags
    if plan.blocked:
        spans = [f"{tags[low]} to {tags[high]}" for low, high in plan.blocked]
        return f"no section can cover {_listed(spans)}"
    reached = tags[plan.reached] if plan.reached else "no other vault"
    return (
        f"every span can be covered, but the sections do not meet: from {tags[0]} they reach {reached}, and it takes "
        f"{tags[plan.resumes]} to reach {tags[-1]} from there; vaults between them are wanting, or are not allowed as "
        "splice, feed or pull vaults"
    )


def _listed(parts: list[str], most: int = 6) -> str:
    shown = parts[:most] + ([f"{len(parts) - most} more"] if len(parts) > most else [])
    return shown[0] if len(shown) == 1 else ", ".join(shown[:-1]) + " and " + shown[-1]


def _why(job: Job, planned: FeederPlan, one: int, other: int) -> str:
    """Say what stops a span: its checks each way, the reel, leave to splice."""
    vaults = planned.row.vaults
    said = [_through(job, planned, one, other)]
    inner = range(1, len(vaults) - 1)
    said += [
        f"splicing is not allowed at {vaults[k].tag}"
        for k in (one, other)
        if k in inner and not vaults[k].splice
    ]
    return "; ".join(said)


def _closed(planned: FeederPlan, one: int, other: int) -> list[str]:
    """Say at which vaults between two others the stretch may not be divided."""
    closed = [v.tag for v in planned.row.vaults[one + 1 : other] if not v.splice]
    return [f"splicing is not allowed at {_listed(closed)}"] if closed else []


def _through(job: Job, planned: FeederPlan, one: int, other: int) -> str:
    """Say how pulls between two vaults fare, each way, and whether the cable fits its reel."""
    row, rules = planned.row, planned.rules.at(planned.route.tags, one)
    said = []
    need = row.length(one, other) + 2.0 * rules.slack
    if need > rules.longest:
        said.append(
            f"the cable with its slack is {show(need, 'length', job.units)} long and a reel holds "
            f"{show(rules.longest, 'length', job.units)}"
        )
    ways = []
    for feed, pull in ((one, other), (other, one)):
        closed = [
            f"{what} is not allowed at {row.vaults[k].tag}"
            for k, what in ((feed, "feeding"), (pull, "pulling"))
            if not (row.vaults[k].feed if what == "feeding" else row.vaults[k].pull)
        ]
        _, result = planned.pulls.best(feed, pull)
        told = failures(result, job, row.vaults[feed].tag)
        if closed:
            told = ", ".join(closed) + (f", and with leave it takes {told}" if told else "")
        ways.append((f"{row.vaults[feed].tag} to {row.vaults[pull].tag}", told))
    if ways[0][1] == ways[1][1]:
        ways = [("either way", ways[0][1])]
    said += [f"{way}: {told or 'passes its checks, taken alone'}" for way, told in ways if told or not said]
    return "; ".join(said)


def failures(result: PullResult, job: Job, feed: str = "") -> str:
    """Say which binding checks a pull fails, with value and limit in the job's units.

    Parameters
    ----------
    result : PullResult
        Evaluated.
    job : Job
        For its units.
    feed : str, optional
        Tag of the feed vault, to say how far from it.

    Returns
    -------
    str
        Such as ``max sidewall 900 lbf/ft against 500 lbf/ft, 126 ft from MH-6``; empty where none fails but what a reel
        holds.
    """
    said = []
    for check in result.checks:
        if not (check.binding and check.verdict == "fail") or check.name == "reel_length":
            continue
        if check.value is None or check.limit is None:
            said.append(f"{check.name.replace('_', ' ')}: {check.source}")
            continue
        value, limit = (_shown(v, check.unit, job) for v in (check.value, check.limit))
        where = ""
        if feed and check.where is not None and check.where >= _AT:
            where = f", {show(check.where, 'length', job.units)} from {feed}"
        said.append(f"{check.name.replace('_', ' ')} {value} against {limit}{where}")
    return ", ".join(said)


def _shown(value: float, unit: str, job: Job) -> str:
    """Write a value of a check in the job's units."""
    kind = _KIND_OF_UNIT.get(unit)
    if kind == "length" and abs(value) < _SMALL:
        kind = "diameter"
    return show(value, kind, job.units) if kind else f"{value:.4g}"


def _remedy(planned: FeederPlan, remedy: Remedy) -> Document:
    tags = planned.route.tags

    def tag(vault: int | None) -> str | None:
        return None if vault is None else tags[vault]

    span, segment = remedy.span, remedy.segment
    turn = begins = None
    spot: tuple[float, float, float | None] | None = None
    if span is not None:
        chain = planned.row.spans[span].chain
        begins = remedy.value if remedy.kind == "vault" else None
        if remedy.kind == "radius" and segment is not None:
            begins = float(chain.station[segment] - 0.5 * chain.length[segment])
            turn = float(chain.turn[segment])
        if begins is not None:
            spot = spot_of(planned, span, begins)
    vault = remedy.where if remedy.kind in ("pusher", "assist", "allow") else None
    return {
        "kind": remedy.kind,
        "from": tags[remedy.low],
        "to": tags[remedy.high],
        "value": None if remedy.kind == "allow" else remedy.value,
        "unit": _UNIT.get(remedy.kind, "N"),
        "now": remedy.now,
        "vault": vault or None,
        "reel_m": remedy.reel,
        "leave": [{"vault": tags[k], "what": list(what)} for k, what in remedy.leave],
        "segment": remedy.where if remedy.kind == "radius" else "",
        "span": None if span is None else [tags[span], tags[span + 1]],
        "station_m": begins,
        "x": None if spot is None else spot[0],
        "y": None if spot is None else spot[1],
        "z": None if spot is None else spot[2],
        "turn_rad": turn,
        "friction": list(_frictions(planned, remedy)),
        "feed": tag(remedy.feed),
        "pull": tag(remedy.pull),
        "utilisation": remedy.utilisation,
        "plan": None if remedy.plan is None else brief(planned, remedy.plan),
    }


def _frictions(planned: FeederPlan, remedy: Remedy) -> Iterator[Document]:
    """Each friction there is in a stretch, and what it is to be."""
    if remedy.kind != "friction" or remedy.now is None:
        return
    factor = remedy.value / remedy.now
    laws = {
        (b.friction.lubricated, b.friction.dry)
        for s in planned.row.spans[remedy.low : remedy.high]
        for b in s.bores
        if not b.guide
    }
    for wet, dry in sorted(laws, key=lambda law: (law[0], law[1] or 0.0)):
        yield {
            "lubricated_now": wet,
            "lubricated": wet * factor,
            "dry_now": dry,
            "dry": None if dry is None else dry * factor,
        }


def spot_of(planned: FeederPlan, span: int, station: float) -> tuple[float, float, float | None]:
    """Return where a place along a span lies on the map.

    Parameters
    ----------
    planned : FeederPlan
        For the ducts on the map.
    span : int
        Of the row.
    station : float
        From the span's first vault, within it. [m]

    Returns
    -------
    tuple of (float, float, float or None)
        Elevation of the duct last, None where it is not known. [m]
    """
    chain, start, heading = along(planned.route.legs[span])
    ends = chain.station
    segment = min(int(np.searchsorted(ends, station, side="left")), len(chain) - 1)
    begin = float(ends[segment] - chain.length[segment])
    part = min(max((station - begin) / float(chain.length[segment]), 1e-9), 1.0 - 1e-9)
    pieces, _ = cut(chain, [segment], [part])
    x, y, z = place(pieces, start, heading).points[segment + 1]
    return float(x), float(y), float(z) if planned.route.legs[span].duct.elevated else None


def brief(planned: FeederPlan, plan: Plan) -> Document:
    """Return a plan that was not chosen, in a few words.

    Parameters
    ----------
    planned : FeederPlan
        For the vaults' tags.
    plan : Plan
        Of its row, or of a row with a vault more.

    Returns
    -------
    dict
        ``brief`` of the schema; its sections empty where the row has other vaults.
    """
    tags = planned.route.tags
    same = plan.sections[-1].end == len(tags) - 1
    return {
        "cost": plan.cost,
        "utilisation": plan.utilisation,
        "splices": plan.splices,
        "setups": plan.setups,
        "relubes": plan.relubes,
        "sections": [_brief_section(tags, s) for s in plan.sections] if same else [],
    }


def _brief_section(tags: tuple[str, ...], section: Section) -> Document:
    return {
        "from": tags[section.start],
        "to": tags[section.end],
        "cable_length_m": section.cable_length,
        "reel_m": None if section.reel is None else section.reel.length,
        "pulls": [
            {
                "feed": tags[p.feed],
                "pull": tags[p.pull],
                "relube": [tags[v] for v in p.relube],
                "utilisation": p.utilisation,
            }
            for p in section.pulls
        ],
    }


def worst_check(result: PullResult) -> Check | None:
    """Return the binding check nearest to its limit.

    Parameters
    ----------
    result : PullResult
        Evaluated.

    Returns
    -------
    Check or None
        None where no check counts.
    """
    return max((c for c in result.checks if c.strains), key=lambda c: c.utilisation or 0.0, default=None)
