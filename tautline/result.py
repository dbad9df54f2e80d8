"""The result document: everything a run found, in SI, complete enough to recompute every tension from it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from mechanics.cable import Bundle, Cable
from network.feeder import FeederPlan
from network.market import reel_for
from network.plan import NoPlan, Plan, PlanRules, PullOption, Section
from routeio.findings import Finding
from routeio.survey import Survey, Vault
from tautline.bundles import LaidBundles
from tautline.cautions import CAUTIONS
from tautline.document import SCHEMA, Document, program_version
from tautline.job import Job
from tautline.job_other import StatedBundle
from tautline.result_advice import best_parts, no_plan_document
from tautline.result_narrow import narrow_document
from tautline.result_pull import DonePull, of_bundle, pull_document, span_path
from tautline.result_rules import rules_document
from tautline.result_why import SHORT, alternatives_of, explained

_ROLES = ("end", "splice", "feed", "pull", "relube", "pass", "proposed")


def plan_document(
    laid: LaidBundles, survey: Survey, planned: FeederPlan, *, why: bool = False, alternatives: int = 0
) -> Document:
    """Return the document of a planned feeder.

    Parameters
    ----------
    laid : LaidBundles
        What was asked, and which bundle goes where.
    survey : Survey
        What was read.
    planned : FeederPlan
        What came of it.
    why : bool, optional
        Whether to give every reason, however long the feeder.
    alternatives : int, optional
        How many plans to trade cost against margin with; none by default.

    Returns
    -------
    dict
        Valid against ``result.schema.json``, its command ``plan``.
    """
    plan = planned.plan
    job = replace(laid.job, plan=planned.rules)
    tags = planned.route.tags
    sections, done = _sections(
        laid, planned, best_parts(planned, job.plan, plan) if isinstance(plan, NoPlan) else plan.sections
    )
    failed = any(d.result.verdict == "fail" for d in done)
    whole = DonePull(planned.route, planned.row, 0, len(tags) - 1, planned.pulls.evaluate(0, 1))
    station = planned.row.facts.depart
    more: Document = {}
    if isinstance(plan, Plan):
        if why or len(tags) <= SHORT:
            more["splices"] = explained(job, planned, plan, sections, done)
        if alternatives:
            more["alternatives"] = alternatives_of(job, planned, alternatives)
    document = _common(job, survey, "plan")
    document |= {
        "verdict": "no-plan" if isinstance(plan, NoPlan) else "fail" if failed else "pass",
        "feeder": {
            "from": tags[0],
            "to": tags[-1],
            "length_m": planned.row.length(0, len(tags) - 1),
            "vaults": list(tags),
        },
        "sections": [] if isinstance(plan, NoPlan) else sections,
        "vaults": _vaults(
            planned.route.vaults,
            _roles(sections, done, (tags[0], tags[-1])),
            dict(zip(tags, station, strict=True)),
        ),
        "route": [_span(whole, k, laid) for k in range(len(planned.route.legs))],
        "cost": None
        if isinstance(plan, NoPlan)
        else {
            "splices": plan.splices,
            "setups": plan.setups,
            "relubes": plan.relubes,
            "middle_feeds": plan.middle_feeds,
            "reels": _price_of_reels(job.plan, tags, plan),
            "total": plan.cost,
        },
        "no_plan": no_plan_document(job, planned, plan, sections, everything=why)
        | {"narrow": narrow_document(laid, planned, plan)}
        if isinstance(plan, NoPlan)
        else None,
        "reel": _reels(job.plan),
        "assumptions": [*job.assumed, *_bore_assumptions([*done, whole]), *job.guides.assumed],
        "findings": [_finding(f) for f in (*survey.findings, *planned.route.findings)],
    }
    return document | more


def check_document(
    laid: LaidBundles, survey: Survey, done: Sequence[DonePull], findings: Sequence[Finding] = ()
) -> Document:
    """Return the document of pulls evaluated as they are.

    Parameters
    ----------
    laid : LaidBundles
        What was asked, and which bundle goes where.
    survey : Survey
        What was read.
    done : sequence of DonePull
        The pulls.
    findings : sequence of Finding, optional
        Beyond the survey's own.

    Returns
    -------
    dict
        Valid against ``result.schema.json``, its command ``check``.
    """
    job = laid.job
    pulls = [pull_document(d) for d in done]
    vaults: dict[str, Vault] = {}
    spans: dict[str, Document] = {}
    for d in done:
        low, high = sorted((d.feed, d.pull))
        for k in range(low, high):
            spans.setdefault(d.route.legs[k].duct.id, _span(d, k, laid))
        vaults |= {v.tag: v for v in d.route.vaults[low : high + 1]}
    document = _common(job, survey, "check")
    document |= {
        "verdict": "fail" if any(p["verdict"] == "fail" for p in pulls) else "pass",
        "feeder": None,
        "pulls": pulls,
        "vaults": _vaults(vaults.values(), _roles([], done, ()), {}),
        "route": list(spans.values()),
        "assumptions": [*job.assumed, *_bore_assumptions(done), *job.guides.assumed],
        "findings": [_finding(f) for f in (*survey.findings, *findings)],
    }
    return document


def _common(job: Job, survey: Survey, command: str) -> Document:
    """Return what every document begins with."""
    return {
        "schema": SCHEMA,
        "program": {"name": "tautline", "version": program_version()},
        "job": {"name": job.name, "units": job.units, "file": job.file.name},
        "command": command,
        "bundle": _bundle(job.bundle),
        "crs": survey.ground.crs,
        "ground": {"unit": survey.ground.unit, "metres_per_unit": survey.ground.metres_per_unit},
        "source": {"file": job.source.name, "sha256": survey.sha256},
        "overrides": list(job.overridden),
        "cautions": list(CAUTIONS),
        "settings": [
            {"name": s.name, "value": s.value, "unit": s.unit, "source": s.source} for s in job.settings
        ],
        "rules": rules_document(job.bundle, job.rules),
        **({"other_bundles": [_other(job, o) for o in job.others]} if job.others else {}),
    }


def _bundle(bundle: Bundle) -> Document:
    return {
        "cables": [_cable(c) for c in bundle.cables],
        "weight_N_per_m": math.fsum(c.weight for c in bundle.cables),
    }


def _other(job: Job, other: StatedBundle) -> Document:
    """Return another bundle, with what is the job's own for the first."""
    own = replace(job.plan, reel=other.reel, reels=other.reels)
    return {
        "from": other.first,
        "to": other.last,
        **_bundle(other.bundle),
        "rules": rules_document(other.bundle, other.rules),
        "reel": _reels(own),
    }


def _reels(rules: PlanRules) -> Document:
    return {
        "longest_m": rules.longest if math.isfinite(rules.longest) else None,
        "slack_m": rules.slack,
        "sizes": [{"length_m": r.length, "cost": r.cost} for r in rules.reels],
        "waste_per_m": rules.waste,
    }


def _cable(cable: Cable) -> Document:
    return {
        "name": cable.name,
        "diameter_m": cable.diameter,
        "weight_N_per_m": cable.weight,
        "material": cable.material,
        "conductor_area_m2": cable.conductor_area,
        "construction": cable.construction,
        "role": cable.role,
        "conductors": cable.conductors,
        "temper": cable.temper,
        "sheath_area_m2": cable.sheath_area,
    }


def _sections(
    laid: LaidBundles, planned: FeederPlan, sections: Iterable[Section]
) -> tuple[list[Document], list[DonePull]]:
    written, everything = [], []
    for section in sections:
        other = laid.number(planned.route.legs[section.start].duct)
        done = [_done(planned, option, other) for option in section.pulls]
        everything += done
        written.append(
            {
                "from": planned.row.vaults[section.start].tag,
                "to": planned.row.vaults[section.end].tag,
                "cable_length_m": section.cable_length,
                "reel": _reel(section),
                "pulls": [pull_document(d) for d in done],
                **of_bundle(other),
            }
        )
    return written, everything


def _reel(section: Section) -> Document | None:
    reel = section.reel
    if reel is None:
        return None
    return {
        "length_m": reel.length,
        "cost": reel.cost,
        "waste_m": max(reel.length - section.cable_length, 0.0),
    }


def _price_of_reels(rules: PlanRules, tags: Sequence[str], plan: Plan) -> float:
    """Return what the plan's reels cost, waste counted: one a section, as every price of a section is."""
    return float(sum(reel_for(rules.at(tags, s.start), s.cable_length)[1] for s in plan.sections))


def _done(planned: FeederPlan, option: PullOption, bundle: int | None) -> DonePull:
    """Evaluate a chosen pull, and the other direction with its own re-lube vaults."""
    _, other = planned.pulls.best(option.pull, option.feed)
    return DonePull(
        planned.route,
        planned.row,
        option.feed,
        option.pull,
        planned.pulls.evaluate(option.feed, option.pull, option.relube),
        other,
        bundle,
    )


def _roles(
    sections: Sequence[Document], done: Sequence[DonePull], ends: Sequence[str]
) -> dict[str, set[str]]:
    """Return what each vault is for."""
    roles: dict[str, set[str]] = {}

    def add(tag: str, role: str) -> None:
        roles.setdefault(tag, set()).add(role)

    for tag in ends:
        add(tag, "end")
    for section in sections:
        for tag in (section["from"], section["to"]):
            if tag not in ends:
                add(tag, "splice")
    for d in done:
        add(d.row.vaults[d.feed].tag, "feed")
        add(d.row.vaults[d.pull].tag, "pull")
        for k, tag in enumerate(d.result.track.tags):
            add(tag, "relube" if k in d.result.relube else "pass")
    return roles


def _vaults(vaults: Iterable[Vault], roles: dict[str, set[str]], station: dict[str, float]) -> list[Document]:
    return [
        {
            "tag": v.tag,
            "x": v.x,
            "y": v.y,
            "z": v.z,
            "roles": [r for r in _ROLES if r in roles.get(v.tag, ()) or (v.proposed and r == "proposed")],
            "kind": v.kind,
            "station_m": station.get(v.tag),
            **({"why": v.why} if v.proposed else {}),
        }
        for v in vaults
    ]


def _span(done: DonePull, k: int, laid: LaidBundles) -> Document:
    path, index, turns = span_path(done, k)
    return {
        "from": done.row.vaults[k].tag,
        "to": done.row.vaults[k + 1].tag,
        "duct": done.route.legs[k].duct.id,
        "bore": ", then ".join(dict.fromkeys(bore.label for bore in done.row.spans[k].bores)),
        "path": path,
        "path_index": index,
        "turn_rad": turns,
        **of_bundle(laid.number(done.route.legs[k].duct)),
    }


def _bore_assumptions(done: Iterable[DonePull]) -> list[str]:
    """Return what was assumed of the ducts, each sentence once."""
    found: dict[str, None] = {}
    for d in done:
        for span in (*d.row.spans, *d.row.crossings):
            for bore in span.bores:
                found |= dict.fromkeys(bore.assumed)
    return list(found)


def _finding(finding: Finding) -> Document:
    where = finding.where
    return {
        "code": finding.code,
        "severity": finding.severity,
        "message": finding.message,
        "where": {"file": where.file, "layer": where.layer, "id": where.id, "x": where.x, "y": where.y},
        "remedy": finding.remedy,
    }
