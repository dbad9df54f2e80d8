"""New vaults for a job: the survey with them in it, and what is said of them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from pyproj import Transformer
from shapely import intersects_xy
from shapely.geometry.base import BaseGeometry

from network.ends import far_ends, with_ends
from network.graph import DuctNetwork
from network.place import PlaceRules, Proposal, propose, room_of
from network.split import Place
from routeio.findings import Finding, Where, span_text
from routeio.survey import Duct, Survey, Vault
from routeio.zones import ZoneLayer, read_zones
from tautline.bundles import laid_bundles
from tautline.errors import JobError
from tautline.job import Job
from tautline.job_vaults import NewVaults

# Coordinates read off a map name what lies within this of them, whatever the snap. [m]
_NEAR = 1.0
# A loose end so near to an end of the feeder is that end. [m]
_SAME = 0.01
# Duct ends that meet do so within a few centimetres. [m]
_JUNCTION = 0.1


@dataclass(frozen=True, eq=False)
class Proposed:
    """A job's survey and feeder, with the new vaults in them.

    Parameters
    ----------
    survey : Survey
        With findings of what was placed.
    feeder : tuple of str
        Every vault of the feeder.
    """

    survey: Survey
    feeder: tuple[str, ...]


def proposed(job: Job, wanted: NewVaults, survey: Survey, tell: Callable[[str], None]) -> Proposed:
    """Place the new vaults that a job asks for.

    Parameters
    ----------
    job : Job
        What was asked.
    wanted : NewVaults
        Its ``[vaults]``.
    survey : Survey
        What was read.
    tell : callable
        Told in a few words what is being done.

    Returns
    -------
    Proposed
        Findings say where each new vault stands, or that none is needed, or that none would do.

    Raises
    ------
    JobError
        No feeder stated, and the ducts have not just two ends.
    InputRefusedError
        Zones that cannot be used, a feeder that is none.
    """
    whole = with_ends(survey)
    feeder = _by_tag(job, whole) or _only_feeder(job, whole)
    findings: list[Finding] = []

    def area(zones: ZoneLayer | None) -> BaseGeometry | None:
        if zones is None:
            return None
        tell(f"reading {zones.file}")
        found, said = read_zones(zones, survey.ground)
        findings.extend(said)
        return found

    rules = PlaceRules(
        step=wanted.step,
        lead=wanted.lead,
        spacing=wanted.spacing,
        keep_out=area(wanted.keep_out),
        access=area(wanted.access),
    )
    tell(f"placing vaults between {feeder[0]} and {feeder[-1]}")
    laid = laid_bundles(replace(job, feeder=feeder), DuctNetwork.from_survey(whole))
    found = propose(whole, feeder, laid.bore, job.bundle, job.rules, job.plan, rules, job.guides, laid.others)
    assumed = _assumed(found, whole, rules.keep_out)
    findings += _said(found, whole, wanted, bool(assumed))
    first = tuple(Finding("vault-assumed", "warning", *told) for told in assumed.values())
    ducts = {d.id: d for d in whole.ducts}
    why = {tag: _why(found, ducts[place.duct], place, wanted) for tag, place in found.new}
    why |= {tag: told[0] for tag, told in assumed.items()}
    vaults = tuple(
        replace(v, why=why[v.tag], proposed=True) if v.tag in why else v for v in found.survey.vaults
    )
    passed = [v for v in vaults if v.tag in assumed]
    ends = [v for v in vaults if v.tag in (found.feeder[0], found.feeder[-1]) and v.kind == "end"]
    made = replace(
        found.survey,
        vaults=vaults,
        findings=(*first, *_settled(survey.findings, ends, passed), *findings),
    )
    return Proposed(made, found.feeder)


def _settled(
    findings: Sequence[Finding], ends: Sequence[Vault], passed: Sequence[Vault]
) -> Iterator[Finding]:
    """Yield what was said of loose ends and of junctions as it stands once the feeder is known.

    A loose end is none where the feeder is to begin or end. A junction without a vault is told of anew where the feeder goes
    through it, and is nothing to mend for this plan where it does not.
    """
    for finding in findings:
        if finding.code == "loose-end" and (vault := _at(finding.where, ends, _SAME)) is not None:
            yield replace(
                finding,
                severity="info",
                message=f"{finding.message}; taken as an end of the feeder, {vault.tag}",
                remedy="none needed",
            )
        elif finding.code == "ambiguous-junction":
            if _at(finding.where, passed, _JUNCTION) is None:
                yield replace(
                    finding,
                    severity="info",
                    message=f"{finding.message}; the feeder does not go on through it",
                )
        else:
            yield finding


def _at(where: Where, vaults: Sequence[Vault], within: float) -> Vault | None:
    x, y = where.x, where.y
    if x is None or y is None:
        return None
    return next((v for v in vaults if math.hypot(v.x - x, v.y - y) <= within), None)


def _assumed(
    found: Proposal, survey: Survey, keep_out: BaseGeometry | None
) -> dict[str, tuple[str, Where, str]]:
    """What is said of places between the feeder's ends where ducts meet and no vault is drawn: one is taken to stand there."""
    said = {}
    known = {v.tag: v for v in survey.vaults}
    for tag in found.feeder[1:-1]:
        vault = known.get(tag)
        if vault is None or vault.kind != "end":
            continue
        meeting = sorted({d.id for d in survey.ducts if tag in (d.start_vault, d.end_vault)})
        closed = keep_out is not None and intersects_xy(keep_out, vault.x, vault.y)
        said[tag] = (
            f"no vault is drawn where ducts {', '.join(meeting)} meet, and the feeder goes on through there: a new one is taken "
            f"to stand there, {tag}" + (", in a zone in which none may stand" if closed else ""),
            Where(file=survey.file, x=vault.x, y=vault.y),
            "draw the vault, or join the two ducts that belong together into one line",
        )
    return said


def _by_tag(job: Job, survey: Survey) -> tuple[str, ...]:
    """Return the feeder's vaults by their tags, also those that are named by their coordinates in the file."""
    known = {v.tag for v in survey.vaults}
    ground = survey.ground
    scale, near = ground.metres_per_unit, max(job.options.snap, _NEAR)
    there = None
    if ground.crs_of_file is not None and ground.crs is not None:
        there = Transformer.from_crs(ground.crs_of_file, ground.crs, always_xy=True)
    tags, faults = [], []
    for name in job.feeder:
        place = _coordinates(name)
        if name in known or place is None:
            tags.append(name)
            continue
        # As in the file, or as they are shown once it was projected.
        places = [place] if there is None else [there.transform(*place), place]
        apart, vault = min(
            ((math.hypot(v.x - scale * x, v.y - scale * y), v) for v in survey.vaults for x, y in places),
            key=lambda one: one[0],
        )
        tags.append(vault.tag)
        if not apart <= near:
            shown = "" if there is None else f" in {ground.crs}"
            faults.append(
                f'route.feeder names "{name}", and neither a vault nor the end of a duct is within {span_text(near)} of '
                f"it; the nearest is {vault.tag} at {vault.x / scale:.2f}, {vault.y / scale:.2f}{shown}, {span_text(apart)} "
                f"off ({job.file.name}, [route])"
            )
    if faults:
        raise JobError(job.file.name, tuple(faults))
    return tuple(tags)


def _coordinates(name: str) -> tuple[float, float] | None:
    """Read ``"1893400.00, 722150.00"``; None where it is something else."""
    parts = name.split(",")
    try:
        x, y = (float(part) for part in parts)
    except ValueError:
        return None
    return (x, y) if math.isfinite(x) and math.isfinite(y) else None


def _only_feeder(job: Job, survey: Survey) -> tuple[str, ...]:
    """Return the two ends of the ducts where they are one line."""
    ends = far_ends(survey)
    if len(ends) == 2:
        return ends
    known = {v.tag: v for v in survey.vaults}
    scale = survey.ground.metres_per_unit
    listed = ", ".join(f"{t} at {known[t].x / scale:.2f}, {known[t].y / scale:.2f}" for t in ends[:8])
    raise JobError(
        job.file.name,
        (
            f"route.feeder is missing, and the ducts have {len(ends)} ends and not two; state the first and the last of "
            f"{listed or 'the vaults'} ({job.file.name}, [route])",
        ),
    )


def _said(found: Proposal, survey: Survey, wanted: NewVaults, assumed: bool) -> list[Finding]:
    file = Where(file=survey.file)
    if not found.solved:
        return [
            Finding(
                "vaults-not-enough",
                "warning",
                f"no choice of the {found.looked_at} places looked at lets the feeder be planned",
                file,
                "see what no pull passes; a smaller step, a shorter lead or another zone gives more places",
            )
        ]
    if not found.new:
        return [
            Finding(
                "vault-not-needed",
                "info",
                "no new vault is needed beside those taken to stand where ducts meet"
                if assumed
                else "the vaults there are do: no new vault is needed",
                file,
                "none needed",
            )
        ]
    ducts = {d.id: d for d in survey.ducts}
    rows = []
    for tag, place in found.new:
        duct = ducts[place.duct]
        at = found.feeder.index(tag)
        out = (
            ""
            if place.preferred or wanted.access is None
            else ", where it cannot be reached by the zones stated"
        )
        rows.append(
            Finding(
                "vault-proposed",
                "info",
                f"new vault {tag} between {found.feeder[at - 1]} and {found.feeder[at + 1]}, {span_text(place.station)} "
                f"along duct {duct.id} from {duct.start_vault}{out}: {_why(found, duct, place, wanted)}",
                replace(duct.where, x=place.x, y=place.y),
                "check on the ground for room, services and traffic before it is drawn",
            )
        )
    return rows


def _why(found: Proposal, duct: Duct, place: Place, wanted: NewVaults) -> str:
    """Say why a new vault stands where it does."""
    many = len(found.new)
    fewest = "the only new vault" if many == 1 else f"one of the fewest new vaults, {many},"
    also = (
        ""
        if wanted.spacing is None
        else f" and leaves no vault more than {span_text(wanted.spacing)} from the next"
    )
    return (
        f"{fewest} with which the feeder can be planned{also}; on a straight, {span_text(room_of(duct, place.station))} from "
        "the nearest bend or vault on this duct, and where the pulls keep the best margin"
    )
