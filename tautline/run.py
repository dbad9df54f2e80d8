"""One job from file to result: read, connect, plan or check, write down."""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from mechanics.pull import PullResult
from network import FeederRoute, duct_route, feeder_route
from network.errors import UnknownVaultError
from network.feeder import plan_feeder
from network.graph import DuctNetwork
from routeio.findings import Finding, InputRefusedError, Where
from routeio.read import read_survey
from routeio.survey import Survey
from tautline.bundles import LaidBundles, laid_bundles
from tautline.document import Document
from tautline.errors import JobError
from tautline.job import Job, read_job
from tautline.job_rules import PullRequest
from tautline.job_table import nearest
from tautline.proposal import proposed
from tautline.questions import Questions, answers
from tautline.result import check_document, plan_document
from tautline.result_pull import DonePull
from tautline.wide import wide_ducts

Command = Literal["plan", "check"]
Say = Callable[[str], None]


@dataclass(frozen=True, eq=False)
class JobRun:
    """A job and what came of it.

    Parameters
    ----------
    job : Job
        As read.
    document : dict
        The result document.
    """

    job: Job
    document: Document

    @property
    def verdict(self) -> str:
        """``pass``, ``fail`` or ``no-plan``."""
        return str(self.document["verdict"])

    def to_dict(self) -> Document:
        """Return a copy of the result document."""
        return copy.deepcopy(self.document)


def run_job(
    path: str | Path,
    command: Command = "plan",
    say: Say | None = None,
    *,
    why: bool = False,
    alternatives: int = 0,
    asked: Questions | None = None,
) -> JobRun:
    """Run one job.

    Parameters
    ----------
    path : str or Path
        The job file.
    command : {"plan", "check"}, optional
        What to do with it.
    say : callable, optional
        Told in a few words what is being done.
    why : bool, optional
        Whether a plan gives all its reasons, or all that would help where there is none, however long the feeder.
    alternatives : int, optional
        How many plans to trade cost against margin with; none by default.
    asked : Questions, optional
        What a check is to answer the other way round, beside its pulls.

    Returns
    -------
    JobRun
        The answer, whatever the verdict.

    Raises
    ------
    JobError
        The job file cannot be used.
    InputRefusedError
        The drawing or layer cannot be used, or not for this feeder.
    DomainError
        The cable, the ducts and the rules do not fit together.
    """
    tell = say or (lambda _: None)
    tell(f"reading {path}")
    job = read_job(path)
    if command == "plan" and not job.feeder and job.vaults is None:
        raise JobError(
            job.file.name,
            (
                'route.feeder is missing; plan needs the first and the last vault, such as ["SUB-A", "RISER-9"] '
                f"({job.file.name}, [route])",
            ),
        )
    tell(f"reading {job.source}")
    survey = read_survey(job.source, job.options)
    _check_layers(job, survey)
    if command == "plan" and job.vaults is not None:
        made = proposed(job, job.vaults, survey, tell)
        survey, job = made.survey, replace(job, feeder=made.feeder)
    network = DuctNetwork.from_survey(survey)
    _check_tags(job, network, command)
    if command == "plan":
        _check_vaults(job, network)
        tell(f"planning {job.feeder[0]} to {job.feeder[-1]}")
        laid = laid_bundles(job, network, feeder_route(network, job.feeder) if job.others else None)
        planned = plan_feeder(
            network, job.feeder, laid.bore, job.bundle, job.rules, job.plan, job.guides, laid.others
        )
        tell("writing down the plan")
        wide = wide_ducts(laid, (leg.duct for leg in planned.route.legs))
        survey = replace(survey, findings=(*survey.findings, *wide))
        document = plan_document(laid, survey, planned, why=why, alternatives=alternatives)
        return JobRun(job, document)
    laid = laid_bundles(job, network)
    told: Document = {}
    if asked is not None:
        tell("answering what was asked")
        told = {"answers": answers(laid, network, asked)}
    done, findings = _stated(laid, network, tell) if job.pulls else _every_span(laid, network, tell)
    document = check_document(
        laid, survey, done, [*findings, *_lost_ends(job, network), *wide_ducts(laid, survey.ducts)]
    )
    return JobRun(job, document | told)


def _lost_ends(job: Job, network: DuctNetwork) -> list[Finding]:
    """Say which vaults of the feeder are not there: a check needs none of them, but whoever named them thinks they are."""
    findings = []
    for tag in job.feeder:
        try:
            network.vault(tag)
        except UnknownVaultError as error:
            message = (
                f"[route] feeder names a vault that is not there, {tag!r}; it changes nothing in a check"
            )
            findings.append(Finding(error.code, "warning", message, error.where or Where(), error.remedy))
    return findings


def _check_tags(job: Job, network: DuctNetwork, command: Command) -> None:
    """Refuse a vault that is named and not there: what is said of it would be lost without a word."""
    named: list[tuple[str, Iterable[str]]] = [("pulling.assists", job.rules.assists)]
    named += [(f"other_bundle[{k}]", (o.first, o.last)) for k, o in enumerate(job.others, 1)]
    if command == "plan":
        keys = ("splice_at", "no_splice", "no_feed", "no_pull")
        named += [
            ("route.feeder", job.feeder),
            *((f"plan.{key}", getattr(job.plan, key)) for key in keys),
        ]
    for key, tags in named:
        for tag in tags:
            try:
                network.vault(tag)
            except UnknownVaultError as error:
                there = tuple(v.tag for v in network.survey.vaults)
                raise UnknownVaultError(
                    tag, error.suggestions, error.where, error.renamed, key, there
                ) from None


def _check_vaults(job: Job, network: DuctNetwork) -> None:
    """Refuse a vault at which a splice must be and which the feeder does not pass, or which allows none."""
    rules = job.plan
    if not rules.splice_at:
        return
    route = feeder_route(network, job.feeder)
    between = {v.tag: v for v in route.vaults[1:-1]}
    faults = []
    for tag in rules.splice_at:
        if tag not in between:
            faults.append(
                f'plan.splice_at names "{tag}", and the feeder from {job.feeder[0]} to {job.feeder[-1]} does not pass it'
                f"{nearest(tag, list(between))}; it passes {', '.join(between) or 'none'} ({job.file.name}, [plan])"
            )
        elif not between[tag].splice:
            faults.append(
                f'plan.splice_at names "{tag}", where {job.source.name} allows no splice ({job.file.name}, [plan])'
            )
    if faults:
        raise JobError(job.file.name, tuple(faults))


def _check_layers(job: Job, survey: Survey) -> None:
    """Refuse a ``[[duct_layer]]`` that no duct lies on: its sizes would be lost without a word."""
    there = sorted(frozenset[str]().union(*(duct.layers for duct in survey.ducts)))
    lost = job.lining.unmatched(survey.ducts)
    if lost:
        raise JobError(
            job.file.name,
            tuple(
                f'duct_layer.layer "{name}" fits no layer with ducts on it{nearest(name, there)}; there are '
                f"{', '.join(there) or 'none'} ({job.file.name}, [[duct_layer]])"
                for name in lost
            ),
        )


def _stated(laid: LaidBundles, network: DuctNetwork, tell: Say) -> tuple[list[DonePull], list[Finding]]:
    """Evaluate the pulls of the job as given, with the other direction beside each."""
    job = laid.job
    done: list[DonePull] = []
    findings: list[Finding] = []
    for number, request in enumerate(job.pulls, 1):
        tell(f"pull {number} of {len(job.pulls)}: {request.feed} to {request.pull}")
        route = feeder_route(network, (request.feed, *request.via, request.pull))
        findings += [f for f in (*route.findings, *_not_allowed(job, route, number)) if f not in findings]
        pulls = laid.pulls(route, f"pull[{number}]")
        relube = _stops(job, request, route, number)
        last = len(route.vaults) - 1
        _, other = pulls.best(last, 0)
        result = pulls.evaluate(0, last, relube)
        done.append(DonePull(route, pulls.row, 0, last, result, other, laid.number(route.legs[0].duct)))
    return done, findings


def _not_allowed(job: Job, route: FeederRoute, number: int) -> Iterator[Finding]:
    """Say of a stated pull that a vault at its ends, or the job, does not allow it; it is evaluated all the same."""
    feed, pull = route.vaults[0], route.vaults[-1]
    for vault, what, may in (
        (feed, "feeding", feed.feed and feed.tag not in job.plan.no_feed),
        (pull, "pulling", pull.pull and pull.tag not in job.plan.no_pull),
    ):
        if not may:
            message = f"pull[{number}] from {feed.tag} to {pull.tag}: {what} is not allowed at {vault.tag}"
            where = Where(file=job.source.name, x=vault.x, y=vault.y)
            yield Finding(
                "pull-not-allowed", "warning", message, where, "turn the pull round, or ask for leave there"
            )


def _stops(job: Job, request: PullRequest, route: FeederRoute, number: int) -> tuple[int, ...]:
    """Return the re-lube vaults of a stated pull as indices into its route."""
    between = route.tags[1:-1]
    unknown = [tag for tag in request.relube if tag not in between]
    if unknown:
        passes = ", ".join(between) or "none"
        raise JobError(
            job.file.name,
            tuple(
                f'pull[{number}].relube names "{tag}", and the pull from {request.feed} to {request.pull} does not '
                f"pass it{nearest(tag, between)}; it passes {passes} ({job.file.name}, [[pull]])"
                for tag in unknown
            ),
        )
    return tuple(sorted(route.tags.index(tag) for tag in set(request.relube)))


def _every_span(laid: LaidBundles, network: DuctNetwork, tell: Say) -> tuple[list[DonePull], list[Finding]]:
    """Evaluate every duct between two vaults in its better direction, with the other beside it."""
    done: list[DonePull] = []
    findings: list[Finding] = []
    ducts = network.survey.ducts
    for number, duct in enumerate(ducts, 1):
        tell(f"span {number} of {len(ducts)}")
        reason = ""
        if duct.start_vault is None or duct.end_vault is None:
            reason = "has an end that meets no vault"
        elif duct.start_vault == duct.end_vault:
            reason = f"starts and ends at vault {duct.start_vault}"
        if reason:
            findings.append(
                Finding(
                    "span-not-checked",
                    "warning",
                    f"duct {duct.id} {reason}: no pull through it was evaluated",
                    duct.where,
                    "draw the vault it ends at, or raise snap above the width of the gap",
                )
            )
            continue
        route = duct_route(network, duct.id)
        pulls = laid.pulls(route, "a pull")
        ways = {(0, 1): pulls.evaluate(0, 1), (1, 0): pulls.evaluate(1, 0)}
        feed, pull = min(ways, key=lambda way: _merit(ways[way]))
        result, other = ways[feed, pull], ways[pull, feed]
        done.append(DonePull(route, pulls.row, feed, pull, result, other, laid.number(duct)))
    if not done:
        raise InputRefusedError(
            "nothing-to-check",
            f"none of {len(ducts)} ducts runs from one vault to another"
            if ducts
            else "there are no ducts: the layer, or what is chosen from it, holds none",
            Where(file=laid.job.source.name),
            "tautline inspect shows what was read; raise snap if the ducts end short of their vaults"
            if ducts
            else "correct the layer or the filter of ducts = { ... }",
            (*network.survey.findings, *findings),
        )
    return done, findings


def _merit(result: PullResult) -> tuple[bool, float, float]:
    """Order directions: those that pass, then by worst utilisation, then by exit tension."""
    return result.verdict != "pass", result.utilisation, result.exit_tension
